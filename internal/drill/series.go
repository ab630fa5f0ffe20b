package drill

import (
	"cmp"
	"context"
	"fmt"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// Series is a drill of whole lines: read at sight, or heard and sung back.
type Series struct {
	Music        *Music
	Echo         bool
	Level        int // of the melodies
	Count        int
	Notes        int // of a phrase that is sung back
	Tempo        float64
	Study        float64 // seconds
	Gap          float64 // seconds
	Free, Click  bool
	CountIn      string // how it is counted in
	Cursor       bool   // whoever shows it shows while somebody sings which degree is heard
	Then         string // what comes after what was sung: ThenPlay; "": nothing
	Keyed        bool   // a keyboard that is not simulated tells what is played
	StrictOctave bool
	SilentBars   string // that are heard inwardly
	Degrees      string // sung one after the other in place of a melody; scale
	Company
	Tolerance  float64 // cents
	Setting    string
	Loudness   float64 // LUFS
	Instrument string  // that plays what is heard
	Sound      string  // ByKeyboard or ByVoice
	HideNames  bool
	Hear       bool // the melody is played before it is read
	Seed       uint64

	Recordings int
	OwnProfile bool

	// Given are lines to be sung in place of melodies of a level, or to cut phrases
	// from. They have no level: nothing of them is recorded.
	Given []theory.Score
	// Beside is for each of them what sounds while it is sung, as of session.Line; nil:
	// nothing.
	Beside []func(synth.Keyboard, theory.Tuning, float64) []float64
}

// noNames in the place of a naming shows no names.
const noNames = "none"

// usualTempo is that of a line that has none, in beats a minute.
const usualTempo = 72

// Plan reads the options. Every mistake in them is a [Wrong].
func (o *Series) Plan() (*Plan, error) {
	if o.Music.Names == noNames {
		o.HideNames, o.Music.Names = true, theory.Movable.String()
	}
	p := &Plan{Command: "series", Seed: o.Seed, Loudness: o.Loudness, Recordings: o.Recordings, music: o.Music, hideNames: o.HideNames}
	if o.Echo {
		p.Command = "echo"
	}
	manner := Manner{Then: o.Then, Keyed: o.Keyed}
	if err := manner.readThen(p); err != nil {
		return p, err
	}
	if n, err := manner.questions(o.Recordings); err != nil {
		return p, err
	} else if o.Recordings = n; n > 0 && !o.Music.said("count") {
		o.Count = n
	}
	if o.Degrees != "" && o.Given == nil {
		line, err := o.line()
		if err != nil {
			return p, err
		}
		for range max(1, o.Count) {
			if o.Given = append(o.Given, line); !o.Music.said("count") {
				break
			}
		}
	} else if o.Degrees != "" {
		return p, wrongf("--degrees: a file of music is given; want one of them")
	}
	if o.Given != nil {
		o.Level = 0
		if !o.Echo {
			o.Count = len(o.Given)
		}
	}
	if err := o.check(); err != nil {
		return p, err
	}
	var err error
	if p.Config.Instrument, err = ReadInstrument(o.Instrument); err != nil {
		return p, err
	}
	if p.Config.Setting, err = synth.ParseKeySetting(o.Setting); err != nil {
		return p, wrong(fmt.Errorf("--set: %w", err))
	}
	melodies, err := o.melodies()
	if err != nil {
		return p, err
	}
	if err = o.inBars(melodies); err != nil {
		return p, err
	}
	if o.Music.Key == "" || o.Given != nil {
		o.Music.Key = melodies[0].Score.Key.ASCII()
	}
	if p.Item, p.Naming, err = o.Music.Base(nil); err != nil {
		return p, err
	}
	if err := p.model(o.Sound); err != nil {
		return p, err
	}
	tempo := o.Tempo
	if tempo == 0 {
		tempo = usualTempo
	} else {
		for i := range melodies {
			melodies[i].Score.Tempo = 0 // the tempo asked for
		}
	}
	p.Config.Hearing = Hearing(o.Music.Known, p.Item.Tuning.A4, o.Recordings == 0 || o.OwnProfile)
	p.Config.Delay = o.Music.delay()
	p.Config.Count = len(melodies)
	silent, bars, err := o.silences(melodies)
	if err != nil {
		return p, err
	}
	var bands []*session.Band
	switch {
	case o.Beside == nil && o.Backing != "":
		if bands, p.band, err = o.bands(melodies, p.Item.Key); err != nil {
			return p, err
		}
	case o.Beside == nil && (!o.Click || o.Drone != "" || o.Vamp != ""): // headphones are for the clicks, too
		if p.Config.Under, err = o.under(o.Music, p.Item.Key, tempo); err != nil {
			return p, err
		}
	case o.Beside != nil && (o.Drone != "" || o.Vamp != "" || o.Backing != ""):
		return p, wrongf("--against: a drone, a vamp or a band sounds already; want one of them")
	}
	if p.Config.Under != nil && o.Click {
		return p, wrongf("--click: a drone or a vamp sounds meanwhile")
	}
	p.asker, p.given = &lines{series: o, tempo: tempo, melodies: melodies, silent: silent, bars: bars, bands: bands}, o.Given != nil
	return p, nil
}

func (o *Series) check() error {
	switch {
	case o.Given != nil && o.Music.said("level"):
		return wrongf("--level: it is about melodies that are made, and a file of music is given")
	case o.Given != nil && !o.Echo && o.Degrees == "" && o.Music.said("count"):
		return wrongf("--count: every file of music is asked once: name it as often as you want to sing it")
	case o.Recordings > 0 && o.Count > o.Recordings:
		return wrongf("--count: %s want %s, %d given", report.Many(o.Count, "melody"), report.Many(o.Count, "recording"), o.Recordings)
	case o.Tempo != 0 && !(o.Tempo >= 30 && o.Tempo <= 200):
		return wrongf("--tempo: %g is out of range: want 30 to 200", o.Tempo)
	case !(o.Study >= 0 && o.Study <= 600):
		return wrongf("--study: %g s is out of range: want 0 to 600", o.Study)
	case !(o.Gap >= 0 && o.Gap <= 60):
		return wrongf("--gap: %g s is out of range: want 0 to 60", o.Gap)
	case o.Free && o.Click:
		return wrongf("--click: there is no beat with --free")
	case o.Free && o.Backing != "":
		return wrongf("--backing: there is no beat with --free")
	case o.Music.said("octave"):
		return wrongf("--octave: a melody lies where its notes fit: say --voice")
	}
	if err := o.checkCount(); err != nil {
		return err
	}
	if err := CheckLoudness(o.Loudness); err != nil {
		return err
	}
	if err := (exercise.Tolerance{Cents: o.Tolerance}).Validate(); err != nil {
		return wrong(fmt.Errorf("--tolerance: %w", err))
	}
	return nil
}

// melodies makes the lines.
func (o *Series) melodies() ([]compose.SightMelody, error) {
	if o.Given != nil {
		return o.given()
	}
	order := compose.MelodyOrder{Level: o.Level, Count: o.Count, Seed: o.Seed}
	if o.Music.Key != "" {
		k, err := o.Music.ReadKey("--key", nil)
		if err != nil {
			return nil, err
		}
		order.Key = &k
	}
	working, _, known, err := o.Music.Reach()
	if err != nil {
		return nil, err
	}
	if known {
		order.Range = working
	}
	var melodies []compose.SightMelody
	if o.Echo {
		melodies, err = compose.NewEchoes(order, o.Notes)
	} else {
		melodies, err = compose.NewMelodies(order)
	}
	return melodies, wrong(err)
}

// given are the lines that were given, moved by octaves to where the singer's notes
// are, or phrases cut from them.
func (o *Series) given() ([]compose.SightMelody, error) {
	working, _, known, err := o.Music.Reach()
	if err != nil {
		return nil, err
	}
	var out []compose.SightMelody
	for _, s := range o.Given {
		tempo := cmp.Or(o.Tempo, s.Tempo, usualTempo)
		if seconds := s.Length().Float() / session.BeatOf(s) * 60 / tempo; seconds > longestLine && !o.Echo {
			return nil, wrongf("the melody%s lasts %.0f s at %.0f beats a minute: want at most %d s; sing a part of it", named(s), seconds, tempo, longestLine)
		}
		if known {
			if s, err = s.Into(working); err != nil {
				return nil, wrong(err)
			}
		}
		if !o.Echo {
			out = append(out, compose.SightMelody{Score: s})
			continue
		}
		phrases, err := compose.EchoesOf(s, o.Notes, o.Count-len(out))
		if err != nil {
			return nil, wrongf("--notes: the melody%s: %v", named(s), err)
		}
		if out = append(out, phrases...); len(out) == o.Count {
			break
		}
	}
	if o.Music.said("count") && len(out) < o.Count {
		return nil, wrongf("--count: %d phrases of %d notes can be cut from that, not %d", len(out), o.Notes, o.Count)
	}
	return out, nil
}

// longestLine is how long a line that is sung in one go may be, in seconds.
const longestLine = 600

// named is the title of a line in quotes, a blank before it; "" without one.
func named(s theory.Score) string {
	if s.Title == "" {
		return ""
	}
	return fmt.Sprintf(" %q", plain.Short(s.Title))
}

// Moved says, a line each, what lines that were given are for the singer: moved by
// octaves, or with notes outside the range even so.
func (o *Series) Moved() []string {
	working, _, known, err := o.Music.Reach()
	if o.Given == nil || err != nil || !known {
		return nil
	}
	var out []string
	for _, s := range o.Given {
		moved, err := s.Into(working)
		if err != nil {
			continue
		}
		by, outside, low, high := 0, 0, 127, 0
		for i, n := range moved.Notes {
			if n.Rest {
				continue
			}
			by = n.Pitch.Octave - s.Notes[i].Pitch.Octave
			low, high = min(low, n.Pitch.MIDI()), max(high, n.Pitch.MIDI())
			if !working.Contains(n.Pitch) {
				outside++
			}
		}
		if by != 0 {
			way := "up"
			if by < 0 {
				way, by = "down", -by
			}
			out = append(out, fmt.Sprintf("The melody%s is moved %s %s, into your range.", named(s), way, report.Many(by, "octave")))
		}
		if outside > 0 {
			out = append(out, fmt.Sprintf("%s of the melody%s, which goes from %s to %s, outside your range, %s to %s: another key may fit (--to-key).",
				report.Many(outside, "note"), named(s), report.PitchName(low), report.PitchName(high), report.PitchName(working.Low), report.PitchName(working.High)))
		}
	}
	return out
}

// lines asks the lines of a series, and sums up what became of them.
type lines struct {
	series   *Series
	tempo    float64
	melodies []compose.SightMelody
	silent   [][]bool // their notes that are heard inwardly; nil: none
	bars     [][]int  // and the numbers of their bars
	bands    []*session.Band
	asked    int
	Sums
}

// Sums is what became of a series of lines.
type Sums struct {
	Sung           int // and measured
	Right, Written int // notes
	Points, Of     int
}

// Sums returns what became of the lines of a series; zeros for other plans.
func (p *Plan) Sums() Sums {
	if l, ok := p.asker.(*lines); ok {
		return l.Sums
	}
	return Sums{}
}

func (l *lines) next(r *Run, _ float64) (session.Task, error) {
	if l.asked == len(l.melodies) {
		return nil, nil
	}
	l.asked++
	o := l.series
	line := session.Line{
		Melody: l.melodies[l.asked-1], Tuning: r.Plan.Item.Tuning, Tempo: l.tempo,
		Study: o.Study, Hear: o.Hear, Free: o.Free, Click: o.Click, Echo: o.Echo, Gap: o.Gap, Singer: r, Hand: r.hands(),
		Rules: grade.Rules{Freedom: grade.Freedom{Octave: !o.StrictOctave}, Tolerance: o.Tolerance},
	}
	if l.silent != nil {
		line.Silent, line.Bars = l.silent[l.asked-1], l.bars[l.asked-1]
	}
	if l.bands != nil {
		line.Band = l.bands[l.asked-1]
	}
	if o.CountIn == countVoice {
		line.Counting = session.VoiceCount
	}
	if l.asked <= len(o.Beside) {
		line.Beside = o.Beside[l.asked-1]
	}
	return line, nil
}

func (l *lines) kept(r *Run, e session.Event) {
	s, ok := e.(session.LineSung)
	if !ok || !s.Counts() {
		return
	}
	l.Sung++
	l.Right, l.Written = l.Right+s.Grade.Right, l.Written+len(s.Grade.Notes)
	l.Points, l.Of = l.Points+s.Grade.Points, l.Of+s.Grade.PointsOf
	if s, ok := r.Answers.(*Simulated); ok {
		s.Lines++
	}
}

func (*lines) shown(*Run, session.Event) {}

// practise asks for an interval of a line a few times: a short drill within the drill,
// which is neither kept nor summed up.
func (r *Run) practise(ctx context.Context, sung session.LineSung, pair [2]theory.Degree) error {
	item := r.Plan.Item
	item.Key = sung.Melody.Score.Key
	var err error
	if item.Register, err = r.Plan.music.Register(item.Key); err != nil {
		return err
	}
	item.From, item.Asked = &pair[0], pair[1]
	show := r.Aside
	if show == nil {
		show = func(session.Event) {}
	}
	tolerance := exercise.Tolerance{Cents: exercise.DefaultTolerance, StrictOctave: !sung.Rules.Octave}
	plan := Plan{Item: item, Naming: r.Plan.Naming, Seed: r.Plan.Seed, music: r.Plan.music,
		asker: degrees([]exercise.Item{item, item, item}, 0, tolerance)}
	plan.Config = session.Config{
		Setting: synth.ByTonic, Window: exercise.DefaultWindow(), Level: r.Level, Think: 1, Compare: true, Count: 3,
		Hearing: Hearing(r.Plan.music.Known, item.Tuning.A4, true), Delay: r.Plan.Config.Delay,
		Instrument: r.Plan.Config.Instrument, Model: r.Plan.Config.Model, Back: r.Plan.Config.Back,
	}
	if _, ok := r.Answers.(*Simulated); ok && r.Watched {
		plan.Config.Still = r.still
	}
	inner := &Run{
		Plan: &plan, Style: r.Style, Answers: r.Answers, Out: r.Out, Level: r.Level, Person: Nobody{}, Keeper: &Keeper{}, Show: show,
		Start: r.Start, Clock: r.Clock, watch: r.watch,
	}
	_, err = session.Run(ctx, plan.Config, r.Out, inner)
	return err
}
