package drill

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// Inner are the options of inner hearing that a drill of degrees has.
type Inner struct {
	Beats    int     // of silence before the answer
	Click    bool    // which are clicked
	Tempo    float64 // beats a minute; 0: the usual one
	Modulate string  // to these chords
	Company
}

// Company is what sounds while the singer sings.
type Company struct {
	Drone, Vamp string
	Backing     string // the groove of a band
	Headphones  bool
}

// maxBeats is the longest silence, in beats.
const maxBeats = 64

// The drones.
const (
	DroneTonic = "tonic"
	DroneFifth = "fifth"
)

func (o *Inner) addFlags(f Flags) {
	f.IntVar(&o.Beats, "wait", 0, "keep do in mind for so many `BEATS` of silence before you sing, 1 to 64")
	f.BoolVar(&o.Click, "wait-click", false, "click the beats of --wait")
	f.Float64Var(&o.Tempo, "tempo", 0, "`BEATS` a minute, 30 to 200 (of --wait, --vamp and --backing; else 72, or that of the groove)")
	f.StringVar(&o.Modulate, "modulate", "", "a passage leads to one of these `CHORDS`, like \"V IV vi\": find the new do")
	o.Company.addFlags(f)
}

func (o *Company) addFlags(f Flags) {
	f.StringVar(&o.Drone, "drone", "", "a `DRONE` sounds while you sing: tonic or fifth (with the fifth above it)")
	f.StringVar(&o.Vamp, "vamp", "", "these `CHORDS` repeat while you sing, like \"I IV\", a bar each")
	f.StringVar(&o.Backing, "backing", "", BackingHelp()+"; use headphones")
	f.BoolVar(&o.Headphones, "headphones", false, "you hear it in headphones: the microphone does not")
}

// under is what sounds while the singer sings, at a tempo; nil: nothing does.
func (o *Company) under(m *Music, key theory.Key, tempo float64) (*session.Under, error) {
	if o.Drone == "" && o.Vamp == "" && o.Backing == "" {
		if o.Headphones {
			return nil, wrongf("--headphones: nothing sounds while you sing; give --drone, --vamp or --backing")
		}
		return nil, nil
	}
	u := &session.Under{Headphones: o.Headphones}
	if r := m.Known.Room; r != nil {
		u.Voice = r.Voice
		u.Headphones = u.Headphones || r.LeakTried && !r.Leaks
	}
	switch {
	case o.Backing != "" && o.Drone != "":
		return nil, wrongf("--backing: a drone sounds already; want one of --drone and --backing")
	case o.Vamp != "" && o.Drone != "":
		return nil, wrongf("--vamp: a drone sounds already; want one of --drone and --vamp")
	case o.Backing != "":
		return u, o.band(u, key, tempo)
	case o.Vamp != "":
		u.Sound = func(k theory.Key, t theory.Tuning, _ int) (synth.Under, error) {
			chords, err := o.chords(k)
			if err != nil {
				return synth.Under{}, err
			}
			return synth.NewVamp(k, t, compose.Voiced(chords), 4*60/cmp.Or(tempo, usualTempo)), nil
		}
		if _, err := o.chords(key); err != nil {
			return nil, err
		}
	case o.Drone == DroneTonic || o.Drone == DroneFifth:
		u.Sound = func(k theory.Key, t theory.Tuning, octave int) (synth.Under, error) {
			return synth.NewDrone(k, t, octave, o.Drone == DroneFifth), nil
		}
	default:
		return nil, wrongf("--drone: %q: want %s or %s", plain.Short(o.Drone), DroneTonic, DroneFifth)
	}
	return u, nil
}

// check finds mistakes in the options.
func (o *Inner) check(m *Music) error {
	sounds := o.Drone != "" || o.Vamp != "" || o.Backing != ""
	switch {
	case o.Beats != 0 && (o.Beats < 1 || o.Beats > maxBeats):
		return wrongf("--wait: %d beats are out of range: want 1 to %d", o.Beats, maxBeats)
	case o.Click && o.Beats == 0:
		return wrongf("--wait-click: there are no beats to click; give --wait")
	case o.Tempo != 0 && !(o.Tempo >= 30 && o.Tempo <= 200):
		return wrongf("--tempo: %g is out of range: want 30 to 200", o.Tempo)
	case o.Tempo != 0 && o.Beats == 0 && o.Vamp == "" && o.Backing == "":
		return wrongf("--tempo: nothing has a beat; give --wait, --vamp or --backing")
	case o.Beats > 0 && m.said("think"):
		return wrongf("--think: with --wait the beats are the time to hear it inwardly")
	case o.Beats > 0 && sounds:
		return wrongf("--wait: there is no silence where a drone, a vamp or a band sounds")
	case o.Modulate != "" && sounds:
		return wrongf("--modulate: a drone, a vamp or a band would keep the old key")
	}
	return nil
}

// silence is the silence before each answer.
func (o *Inner) silence() session.Silence {
	if o.Beats == 0 {
		return session.Silence{}
	}
	return session.Silence{Beats: o.Beats, Tempo: cmp.Or(o.Tempo, usualTempo), Click: o.Click}
}

// away draws where each question leads to, and moves the items into that key: each goal
// is met once before any is met again.
func (o *Sing) away(items []exercise.Item) (ways []*theory.Modulation, err error) {
	if o.Inner.Modulate == "" {
		return nil, nil
	}
	home := items[0].Key
	if o.From != "" {
		return nil, wrongf("--from: with --modulate a passage comes before the answer")
	}
	words, err := theory.CutChords(o.Inner.Modulate)
	if err != nil {
		return nil, wrong(fmt.Errorf("--modulate: %w", err))
	}
	var goals []*theory.Modulation
	for _, w := range words {
		m, err := theory.NewModulation(home, w)
		if err != nil {
			return nil, wrong(fmt.Errorf("--modulate: %w", err))
		}
		goals = append(goals, &m)
	}
	if len(goals) == 0 {
		return nil, wrongf("--modulate: there is no chord; want some like \"V IV vi\"")
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x6d6f64))
	for i := range items {
		if k := i % len(goals); k == 0 {
			rng.Shuffle(len(goals), func(a, b int) { goals[a], goals[b] = goals[b], goals[a] })
			if i > 0 && len(goals) > 1 && goals[0] == ways[i-1] {
				goals[0], goals[1] = goals[1], goals[0]
			}
		}
		m := goals[i%len(goals)]
		ways = append(ways, m)
		items[i].Key = m.To
		if items[i].Register, err = o.Music.Register(m.To); err != nil {
			return nil, err
		}
	}
	return ways, nil
}

// degreesAfter are the degrees that are asked: after a modulation do, unless others are.
func (o *Sing) degreesAfter() string {
	if o.Inner.Modulate != "" && !o.Music.said("degrees") {
		return "1"
	}
	return o.Degrees
}

// drifts are how far what was asked for moved in the silence before each answer.
func (r *Run) drifted(j *session.Judged) {
	if cents, ok := j.Drift(); ok {
		r.drifts = append(r.drifts, cents)
	}
}

// driftText says how far do moved in the silences of a run; "" without any.
func (r *Run) driftText() string {
	if len(r.drifts) == 0 {
		return ""
	}
	slices.Sort(r.drifts)
	n := len(r.drifts)
	most := r.drifts[n-1]
	if -r.drifts[0] > most {
		most = r.drifts[0]
	}
	return fmt.Sprintf("Over the silent beats do moved by %+.0f cents (median of %s), %+.0f at most.\n",
		(r.drifts[(n-1)/2]+r.drifts[n/2])/2, report.Many(n, "answer"), most)
}

// anyBar asks for one silent bar that is drawn.
const anyBar = "any"

// maxBar is the highest number of a bar that is read.
const maxBar = 999

// readBars reads numbers of bars: "2", "2,4-5", "2 4".
func readBars(s string) ([]int, error) {
	var out []int
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' }) {
		from, to, ranged := strings.Cut(word, "-")
		if !ranged {
			to = from
		}
		a, err := strconv.Atoi(from)
		b, err2 := strconv.Atoi(to)
		if err != nil || err2 != nil || a < 0 || b < a || b > maxBar {
			return nil, wrongf("--silent-bars: %q: want numbers of bars, like 2 or 2,4-5, or %s", plain.Short(word), anyBar)
		}
		for n := a; n <= b; n++ {
			out = append(out, n)
		}
	}
	if len(out) == 0 {
		return nil, wrongf("--silent-bars: there is no bar; want some like 2 or 2,4-5, or %s", anyBar)
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

// silences finds the notes of each melody that are heard inwardly, and the numbers of their
// bars; nil where all are sung.
func (o *Series) silences(melodies []compose.SightMelody) (silent [][]bool, bars [][]int, err error) {
	if o.SilentBars == "" {
		return nil, nil, nil
	}
	drawn := strings.EqualFold(strings.TrimSpace(o.SilentBars), anyBar)
	var asked []int
	if !drawn {
		if asked, err = readBars(o.SilentBars); err != nil {
			return nil, nil, err
		}
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x736c6e74))
	for i := range melodies {
		m := &melodies[i]
		var now []bool
		if drawn { // one between two that are sung, or else the last
			n := len(m.Score.Bars())
			for _, b := range append(rng.Perm(max(0, n-2)), n-2) {
				asked = []int{b + 2}
				if now, err = grade.SilentBars(&m.Score, asked); err == nil {
					break
				}
			}
		} else {
			now, err = grade.SilentBars(&m.Score, asked)
		}
		if err != nil && !(m.Level > 0 && errors.Is(err, grade.ErrNoGap)) {
			return nil, nil, wrong(fmt.Errorf("--silent-bars: the melody%s: %w", named(m.Score), err))
		}
		silent, bars = append(silent, now), append(bars, asked)
	}
	return silent, bars, nil
}

// scaleWord asks series for the scale, up and down.
const scaleWord = "scale"

// line makes a line of the degrees asked for: in quarter notes, four to a bar, each as near
// to the one before as it can be, and up where two are as near.
func (o *Series) line() (theory.Score, error) {
	m := *o.Music
	m.Key = cmp.Or(m.Key, "C major")
	item, naming, err := m.Base(func() uint64 { return o.Seed })
	if err != nil {
		return theory.Score{}, err
	}
	s := theory.Score{Key: item.Key, Meter: theory.Meter{Beats: 4, Unit: 4}, Title: o.Degrees}
	octave := item.Register.TonicOctave
	quarter := theory.NewFraction(1, 1)
	if strings.EqualFold(strings.TrimSpace(o.Degrees), scaleWord) {
		for _, p := range synth.ScalePitches(item.Key, octave) {
			s.Notes = append(s.Notes, theory.Written{Pitch: p, Length: quarter})
		}
	} else {
		var degrees []theory.Degree
		for _, word := range strings.FieldsFunc(o.Degrees, func(r rune) bool { return r == ',' || r == ' ' }) {
			some, err := theory.ParseDegrees(word, item.Key, naming) // a degree may come again
			if err != nil {
				return s, wrong(fmt.Errorf("--degrees: %w", err))
			}
			degrees = append(degrees, some...)
		}
		last := theory.Pitch{Note: item.Key.Tonic, Octave: octave}
		for _, d := range degrees {
			p := item.Key.Pitch(d, octave)
			for p.MIDI()-last.MIDI() > 6 {
				p.Octave--
			}
			for last.MIDI()-p.MIDI() >= 6 {
				p.Octave++
			}
			s.Notes = append(s.Notes, theory.Written{Pitch: p, Length: quarter})
			last = p
		}
	}
	if n := len(s.Notes); n > 0 {
		s.Notes[n-1].Length = theory.NewFraction(4-(n-1)%4, 1)
	}
	return s, wrong(s.Validate())
}
