package drill

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"singback/exercise"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// The limits of the playback level in dBFS, both allowed.
const (
	MinLoudness = -60.0
	MaxLoudness = -14.0
)

// Manner says how it is asked.
type Manner struct {
	Setting    string  // how the key is set
	Think      float64 // seconds
	Window     exercise.Window
	Loudness   float64 // LUFS
	Instrument string  // that plays what is heard; "": the piano
	Sound      string  // ByKeyboard or ByVoice, of notes and lines; "": the keyboard
	Compare    bool
	Retry      string // "ask", "always" or "never"; "": never
	Then       string // what comes after what was sung: ThenPlay; "": nothing
	Keyed      bool   // and a keyboard was named on which it is played
}

// read reads the options into a plan.
func (o *Manner) read(p *Plan) (err error) {
	c := &p.Config
	c.Window, c.Think, c.Compare = o.Window, o.Think, o.Compare
	p.Loudness = o.Loudness
	if c.Instrument, err = ReadInstrument(o.Instrument); err != nil {
		return err
	}
	if err := p.model(o.Sound); err != nil {
		return err
	}
	if c.Setting, err = synth.ParseKeySetting(o.Setting); err != nil {
		return wrong(fmt.Errorf("--set: %w", err))
	}
	if err := o.Window.Validate(); err != nil {
		return wrong(err)
	}
	if err := o.readThen(p); err != nil {
		return err
	}
	switch {
	case !(o.Think >= 0 && o.Think <= 30):
		return wrongf("--think: %g s is out of range: want 0 to 30", o.Think)
	case o.Retry != "" && o.Retry != "ask" && o.Retry != "always" && o.Retry != "never":
		return wrongf("--retry: %q: want ask, always or never", plain.Short(o.Retry))
	}
	return CheckLoudness(o.Loudness)
}

// ReadInstrument reads the option instrument; without one it is the piano.
func ReadInstrument(name string) (synth.Instrument, error) {
	i, err := synth.ParseInstrument(cmp.Or(name, synth.Piano.String()))
	if err != nil {
		return 0, wrong(fmt.Errorf("--instrument: %w", err))
	}
	return i, nil
}

// CheckLoudness refuses a level at which nothing is played.
func CheckLoudness(lufs float64) error {
	if !(lufs >= MinLoudness && lufs <= MaxLoudness) {
		return wrongf("--loudness: %g LUFS is out of range: want %g to %g", lufs, MinLoudness, MaxLoudness)
	}
	return nil
}

// Plan is what the options of a drill come to.
type Plan struct {
	Command    string        // "sing", "today", …
	Item       exercise.Item // what all items share
	Naming     theory.Naming
	Config     session.Config // but for Level
	Loudness   float64        // LUFS, to begin with
	Seed       uint64
	Best       *Choice // where the key was left to us
	Recordings int     // that answer; 0: nobody knows how often somebody does
	Retry      string  // as in Manner
	Note       string  // a line that is to be said first; ""

	music     *Music
	asker     asker
	band      *session.Under // a band that plays while somebody sings; nil: none
	sung      bool           // a dictation is sung back
	reasons   bool           // it is of progressions
	played    bool           // a dictation is played back
	chords    bool           // and what is played are chords
	hand      bool           // what was sung is then played
	given     bool           // its lines were read from files
	hideNames bool           // the names of the notes are not shown below a line
}

// asker chooses the tasks of a run, and learns what became of them.
type asker interface {
	// next returns the next task; nil ends the run.
	next(r *Run, seconds float64) (session.Task, error)
	// kept is called with a verdict that has been kept, before it is shown.
	kept(r *Run, e session.Event)
	// shown is called after it was shown.
	shown(r *Run, e session.Event)
}

// listed is an asker of tasks in a list, which learns nothing.
type listed struct {
	tasks func(r *Run, index int) session.Task // from 0; nil: there are no more
	asked int
}

func (l *listed) next(r *Run, _ float64) (session.Task, error) {
	l.asked++
	return l.tasks(r, l.asked-1), nil
}
func (*listed) kept(*Run, session.Event)  {}
func (*listed) shown(*Run, session.Event) {}

// suit fits the plan to the singer and the room of the profile, and to recordings, if
// any answer. Own tells that the profile was asked for.
func (p *Plan) suit(own bool) {
	c := &p.Config
	c.Hearing = Hearing(p.music.Known, p.Item.Tuning.A4, p.Recordings == 0 || own)
	c.Apart = p.music.Known.Voice != nil
	c.RestAfter = p.music.restAfter()
	c.Delay = p.music.delay()
	if p.Recordings > 0 {
		c.Window = c.Window.Recorded() // as judge listens
		c.RestAfter = 0                // that was sung before
	}
}

// Sing is a drill of single degrees.
type Sing struct {
	Music     *Music
	Manner    Manner
	Inner     Inner
	Degrees   string
	From      string
	Count     int
	KeyEvery  int // the key is set again after so many; 0: only at the start
	Tolerance exercise.Tolerance
	Seed      uint64

	Recordings int  // that answer
	OwnProfile bool // the profile was asked for

	items []exercise.Item
}

// Items are what is asked, in order, once there is a plan.
func (o *Sing) Items() []exercise.Item { return o.items }

// Plan reads the options. Every mistake in them is a [Wrong].
func (o *Sing) Plan() (*Plan, error) {
	p := &Plan{Command: "sing", Seed: o.Seed, Recordings: o.Recordings, Retry: o.Manner.Retry, music: o.Music}
	var err error
	if p.Best, err = o.bestKey(); err != nil {
		return p, err
	}
	if p.Item, p.Naming, err = o.Music.Base(func() uint64 { return p.Seed }); err != nil {
		return p, err
	}
	if p.Item.Key.Mode > theory.Minor {
		if !o.Music.said("set") {
			o.Manner.Setting = synth.ByScale.String()
		} else if s, err := synth.ParseKeySetting(o.Manner.Setting); err == nil && s == synth.ByCadence {
			return p, wrongf("--set cadence: its chords are major or minor, and would not set %s; want scale, tonic or drone", p.Item.Key.ASCII())
		}
	}
	if err := o.Inner.check(o.Music); err != nil {
		return p, err
	}
	order, err := o.order(p.Item.Key, p.Naming)
	if err != nil {
		return p, err
	}
	order.Seed = p.Seed
	if err := o.Manner.readThen(p); err != nil {
		return p, err
	}
	n, err := o.Manner.questions(o.Recordings)
	if err != nil {
		return p, err
	}
	if n > 0 {
		if !o.Music.said("count") {
			order.Count = n
		}
		if o.Manner.Retry == "always" {
			return p, wrongf("--retry always: a recording answers only once")
		}
		if order.Count > n {
			return p, wrongf("--count: %s want %s, %d given", report.Many(order.Count, "question"), report.Many(order.Count, "recording"), n)
		}
	}
	if order.Count < 1 || order.Count > exercise.MaxCount {
		return p, wrongf("--count: %d is out of range: want 1 to %d", order.Count, exercise.MaxCount)
	}
	items, err := exercise.NewSeries(p.Item, order)
	if o.items = items; err != nil {
		return p, wrong(err)
	}
	ways, err := o.away(items)
	if err != nil {
		return p, err
	}
	if err := o.Manner.read(p); err != nil {
		return p, err
	}
	p.suit(o.OwnProfile)
	if p.Config.Under, err = o.Inner.under(o.Music, p.Item.Key, o.Inner.Tempo); err != nil {
		return p, err
	}
	if o.Inner.Backing != "" {
		p.band = p.Config.Under
	}
	if err := o.Tolerance.Validate(); err != nil {
		return p, wrong(fmt.Errorf("--tolerance: %w", err))
	}
	if o.KeyEvery < 0 {
		return p, wrongf("--set-every: %d is out of range: want 0 or more", o.KeyEvery)
	}
	p.Config.Count = len(items)
	asked := degrees(items, o.KeyEvery, o.Tolerance)
	p.asker = &listed{tasks: func(r *Run, i int) session.Task {
		task := asked.tasks(r, i)
		if d, ok := task.(session.Degree); ok {
			d.Silence = o.Inner.silence()
			if ways != nil {
				d.Away = ways[i]
			}
			return d
		}
		return task
	}}
	return p, nil
}

// degrees asks items in their order, the key set again after so many.
func degrees(items []exercise.Item, keyEvery int, tolerance exercise.Tolerance) *listed {
	return &listed{tasks: func(r *Run, i int) session.Task {
		if i >= len(items) {
			return nil
		}
		coming := items[i:]
		if keyEvery > 0 && keyEvery < len(coming) {
			coming = coming[:keyEvery]
		}
		return session.Degree{
			Item: items[i], Tolerance: tolerance, Coming: coming, Singer: r, Hand: r.hands(),
			SetKey: i == 0 || keyEvery > 0 && i%keyEvery == 0,
		}
	}}
}

// order reads which degrees are asked, and from which.
func (o *Sing) order(k theory.Key, n theory.Naming) (exercise.Order, error) {
	order := exercise.Order{Count: o.Count}
	var err error
	if order.Asked, err = theory.ParseDegrees(o.degreesAfter(), k, n); err != nil {
		return order, wrong(fmt.Errorf("--degrees: %w", err))
	}
	switch o.From {
	case "":
	case "any":
		scale := k.ScaleDegrees()
		order.From = scale[:]
	default:
		if order.From, err = theory.ParseDegrees(o.From, k, n); err != nil {
			return order, wrong(fmt.Errorf("--from: %w", err))
		}
	}
	return order, nil
}

// Choice is a key that was chosen since it fits the voice.
type Choice struct {
	exercise.Fit
	Degrees int          // that are asked or sounded
	Among   []theory.Key // the keys that fit best
}

// bestKey chooses the key for "best" and puts it in the place of the option; nil where
// another key was asked for.
func (o *Sing) bestKey() (*Choice, error) {
	m := o.Music
	word, mode, _ := strings.Cut(strings.ToLower(strings.TrimSpace(m.Key)), " ")
	if word != "best" {
		return nil, nil
	}
	if mode = strings.TrimSpace(mode); mode != "" && mode != "major" && mode != "minor" {
		return nil, wrongf("--key: %q; want best, best major or best minor", plain.Short(m.Key))
	}
	_, tessitura, known, err := m.Reach()
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, wrongf("--key %s: no voice is known; give --voice, or once: singback profile set --range C3-G4", word)
	}
	var fits []exercise.Fit
	count := map[theory.Key]int{}
	for _, k := range theory.Keys() {
		if mode != "" && k.Mode.String() != mode {
			continue
		}
		m.Key = k.ASCII()
		item, naming, err := m.Base(nil)
		if err != nil {
			return nil, err
		}
		order, err := o.order(k, naming)
		if err != nil {
			return nil, err
		}
		all := slices.Clone(order.Asked)
		for _, d := range order.From {
			if !slices.Contains(all, d) {
				all = append(all, d)
			}
		}
		count[k] = len(all)
		fits = append(fits, exercise.FitOf(k, all, item.Register, tessitura))
	}
	best := exercise.Best(fits)
	c := &Choice{Fit: best[rand.New(rand.NewPCG(o.Seed, 0x62657374)).IntN(len(best))]}
	c.Degrees = count[c.Key]
	for _, f := range best {
		c.Among = append(c.Among, f.Key)
	}
	m.Key = c.Key.ASCII()
	return c, nil
}

// Given reports whether the lines of the drill were read from files.
func (p *Plan) Given() bool { return p.given }
