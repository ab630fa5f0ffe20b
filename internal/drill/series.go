package drill

import (
	"context"
	"fmt"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
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
	StrictOctave bool
	Tolerance    float64 // cents
	Setting      string
	Loudness     float64 // dBFS
	HideNames    bool
	Seed         uint64

	Recordings int
	OwnProfile bool
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
	if o.Recordings > 0 && !o.Music.said("count") {
		o.Count = o.Recordings
	}
	if err := o.check(); err != nil {
		return p, err
	}
	var err error
	if p.Config.Setting, err = synth.ParseKeySetting(o.Setting); err != nil {
		return p, wrong(fmt.Errorf("--set: %w", err))
	}
	melodies, err := o.melodies()
	if err != nil {
		return p, err
	}
	if o.Music.Key == "" {
		o.Music.Key = melodies[0].Score.Key.ASCII()
	}
	if p.Item, p.Naming, err = o.Music.Base(nil); err != nil {
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
	p.asker = &lines{series: o, tempo: tempo, melodies: melodies}
	return p, nil
}

func (o *Series) check() error {
	switch {
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
	case o.Music.said("octave"):
		return wrongf("--octave: a melody lies where its notes fit: say --voice")
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

// lines asks the lines of a series, and sums up what became of them.
type lines struct {
	series   *Series
	tempo    float64
	melodies []compose.SightMelody
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
	return session.Line{
		Melody: l.melodies[l.asked-1], Tuning: r.Plan.Item.Tuning, Tempo: l.tempo,
		Study: o.Study, Free: o.Free, Click: o.Click, Echo: o.Echo, Gap: o.Gap, Singer: r,
		Rules: grade.Rules{Freedom: grade.Freedom{Octave: !o.StrictOctave}, Tolerance: o.Tolerance},
	}, nil
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
	}
	if _, ok := r.Answers.(*Simulated); ok && r.Watched {
		plan.Config.Still = r.still
	}
	inner := &Run{
		Plan: &plan, Style: r.Style, Answers: r.Answers, Out: r.Out, Level: r.Level, Person: Nobody{}, Keeper: &Keeper{}, Show: show,
		Start: r.Start, Clock: r.Clock, begun: r.begun,
	}
	_, err = session.Run(ctx, plan.Config, r.Out, inner)
	return err
}
