package session

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// script is a host, and who sings and names for its tasks, that does what a test
// says. What it is not told it does not do: nothing answers, nothing is repeated.
type script struct {
	tasks []Task
	next  func(seconds float64) (Task, error) // instead of tasks
	on    func(Event)                         // is told every event, after the log
	rest  func(context.Context) error

	sing  func(Prompted) (audio.Source, bool, error)
	retry func(context.Context, Judged) (bool, error)
	guess func(context.Context) (exercise.Outcome, error)
	name  func(context.Context, compose.Dictation) ([]exercise.Skill, bool, float64, error)
	line  func(LinePrompted, float64) (audio.Source, bool, error)
	read  func(context.Context, float64) error
	again func(context.Context, LineSung) (bool, error)

	log     log
	seconds []float64 // at each Next
}

func (s *script) Next(seconds float64) (Task, error) {
	s.seconds = append(s.seconds, seconds)
	if s.next != nil {
		return s.next(seconds)
	}
	if len(s.seconds) > len(s.tasks) {
		return nil, nil
	}
	return s.tasks[len(s.seconds)-1], nil
}

func (s *script) Emit(e Event) {
	s.log.add(e)
	if l, ok := e.(Listening); ok && l.Index != len(s.seconds) {
		s.log = append(s.log, fmt.Sprintf("listen to %d in task %d", l.Index, len(s.seconds)))
	}
	if s.on != nil {
		s.on(e)
	}
}

func (s *script) Rest(ctx context.Context) error {
	if s.rest == nil {
		return nil
	}
	return s.rest(ctx)
}

func (s *script) Source(p Prompted) (audio.Source, bool, error) {
	if s.sing == nil {
		return nil, false, ErrNoMore
	}
	return s.sing(p)
}

func (s *script) Retry(ctx context.Context, j Judged) (bool, error) {
	if s.retry == nil {
		return false, nil
	}
	return s.retry(ctx, j)
}

func (s *script) Guess(ctx context.Context) (exercise.Outcome, error) {
	if s.guess == nil {
		return exercise.NotMeasured, nil
	}
	return s.guess(ctx)
}

func (s *script) Name(ctx context.Context, d compose.Dictation) ([]exercise.Skill, bool, float64, error) {
	return s.name(ctx, d)
}

func (s *script) LineSource(p LinePrompted, lead float64) (audio.Source, bool, error) {
	if s.line == nil {
		return nil, false, ErrNoMore
	}
	return s.line(p, lead)
}

func (s *script) Read(ctx context.Context, seconds float64) error {
	if s.read == nil {
		return nil
	}
	return s.read(ctx, seconds)
}

func (s *script) Again(ctx context.Context, sung LineSung) (bool, error) {
	if s.again == nil {
		return false, nil
	}
	return s.again(ctx, sung)
}

// tolerance is that of the tests, unless they say otherwise.
var tolerance = exercise.Tolerance{Cents: 35}

// degree is the task to sing an item.
func (s *script) degree(it exercise.Item) Degree {
	return Degree{Item: it, Tolerance: tolerance, Singer: s}
}

// degrees has the script ask items, and set the key at the beginning and after so
// many of them, for those that come until then; 0: only at the beginning.
func (s *script) degrees(list []exercise.Item, every int) *script {
	for i, it := range list {
		d := s.degree(it)
		if d.SetKey = i == 0 || every > 0 && i%every == 0; d.SetKey {
			if d.Coming = list[i:]; every > 0 {
				d.Coming = d.Coming[:min(every, len(d.Coming))]
			}
		}
		s.tasks = append(s.tasks, d)
	}
	return s
}

// lines has the script ask for lines, in A4 = 440 Hz, which are read for 12 s.
func (s *script) lines(scores ...theory.Score) *script {
	for _, score := range scores {
		s.tasks = append(s.tasks, s.sightLine(score))
	}
	return s
}

func (s *script) sightLine(score theory.Score) Line {
	return Line{
		Melody: compose.SightMelody{Score: score, Level: 3}, Tuning: theory.Tuning{A4: 440},
		Tempo: 90, Study: 12, Rules: grade.DefaultRules(), Singer: s,
	}
}

// run runs the script with as many tasks as it has.
func (s *script) run(ctx context.Context, c Config, out audio.Sink) (exercise.Tally, error) {
	c.Count = len(s.tasks)
	return Run(ctx, c, out, s)
}

func config() Config {
	return Config{
		Setting: synth.ByTonic, Window: exercise.DefaultWindow().Recorded(),
		Level: func() float64 { return -24 },
	}
}

var null = audio.Null{Rate: rate}

const rate = 48000

// tone sings hz for so many seconds at 48 kHz.
func tone(seconds, hz float64) []float64 {
	return testkit.Tone(rate, seconds, testkit.Steady(hz), testkit.Harmonics(8, 9))
}

func silence(seconds float64) []float64 { return testkit.Silence(int(seconds * rate)) }

// recording is a source that gives pieces and ends.
func recording(pieces ...[]float64) *testkit.Source {
	src := &testkit.Source{Rate: rate}
	for _, x := range pieces {
		src.Cues = append(src.Cues, testkit.Cue{Samples: x})
	}
	return src
}

const silent = 9999

// sung answers each prompt with a note so many cents off, and every attempt after the
// last one given with ErrNoMore; silent stands for silence.
func sung(cents map[[2]int]float64, opened *[]*testkit.Source) func(Prompted) (audio.Source, bool, error) {
	return func(p Prompted) (audio.Source, bool, error) {
		off, ok := cents[[2]int{p.Index, p.Attempt}]
		if !ok {
			return nil, false, ErrNoMore
		}
		src := recording()
		if off != silent {
			src = recording(tone(0.8, theory.Shift(p.Item.Tuning.Hz(p.Target), off)))
		}
		if opened != nil {
			*opened = append(*opened, src)
		}
		return src, false, nil
	}
}

// live answers everything with one running device.
func live(src audio.Source) func(Prompted) (audio.Source, bool, error) {
	return func(Prompted) (audio.Source, bool, error) { return src, true, nil }
}

// sings is a line itself, in tones, after the lead.
func sings(p LinePrompted, lead float64) []float64 {
	x := silence(lead)
	for _, n := range synth.Line(p.Melody.Score, p.Tuning, p.Quarter) {
		x = append(x, tone(n.Duration*0.9, n.Hz)...)
		x = append(x, silence(n.Duration*0.1)...)
	}
	return append(x, silence(1)...)
}

// sightSung answers a line with itself.
func sightSung(p LinePrompted, lead float64) (audio.Source, bool, error) {
	return recording(sings(p, lead)), false, nil
}

func key(t testing.TB, name string) theory.Key {
	t.Helper()
	k, err := theory.ParseKey(name)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func degree(t testing.TB, name string, k theory.Key) theory.Degree {
	t.Helper()
	d, err := theory.ParseDegree(name, k, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func items(t testing.TB, asked ...string) []exercise.Item {
	k := key(t, "A major")
	var out []exercise.Item
	for _, name := range asked {
		it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}}
		if from, to, ok := strings.Cut(name, "-"); ok {
			d := degree(t, from, k)
			it.From, name = &d, to
		}
		it.Asked = degree(t, name, k)
		out = append(out, it)
	}
	return out
}

// scale is do re mi fa in a meter.
func scale(t testing.TB, meter string, start theory.Fraction) theory.Score {
	t.Helper()
	m, err := theory.ParseMeter(meter)
	if err != nil {
		t.Fatal(err)
	}
	s := theory.Score{Key: key(t, "A major"), Meter: m, Start: start, Tempo: 120}
	for _, name := range []string{"A3", "B3", "C#4", "D4"} {
		p, err := theory.ParsePitch(name)
		if err != nil {
			t.Fatal(err)
		}
		s.Notes = append(s.Notes, theory.Written{Pitch: p, Length: theory.Fraction{Num: 1, Den: 1}})
	}
	return s
}

// heardIn is what an ear hears of samples in a live window.
func heardIn(t *testing.T, samples []float64) exercise.Take {
	t.Helper()
	ear, err := listen.New(audio.NewSamples(rate, samples), listen.Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	take, err := ear.Note(t.Context(), exercise.DefaultWindow(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return take
}

// brief writes an event in a few words; Heard is left out.
func brief(e Event) string {
	switch e := e.(type) {
	case KeySet:
		if e.Again {
			return "key again"
		}
		return "key"
	case Prompted:
		return fmt.Sprintf("ask %d/%d.%d", e.Index, e.Of, e.Attempt)
	case Waiting:
		return "wait"
	case Listening:
		return "listen"
	case Judged:
		return fmt.Sprintf("%d.%d %v counts=%v", e.Index, e.Attempt, e.Verdict.Outcome, e.Counts)
	case Sounding:
		return "sound"
	case Rest:
		return "rest"
	case DictationAsked:
		return fmt.Sprintf("hear %d again=%v", e.Index, e.Again)
	case Naming:
		return "name"
	case Named:
		return fmt.Sprintf("named %d %v again=%v hidden=%v", e.Index, e.Right, e.Again, e.Hidden)
	case LinePrompted:
		return fmt.Sprintf("read %d/%d, %g a minute", e.Index, e.Of, e.Tempo)
	case CountIn:
		return fmt.Sprintf("%d beats", e.Beats)
	case PlayingLine:
		return "plays"
	case LineSung:
		return fmt.Sprintf("sung %d, %.1f s voiced", e.Index, e.Take.Voiced)
	case Finished:
		return fmt.Sprintf("finished %v", e.Interrupted)
	}
	return ""
}

type log []string

func (l *log) add(e Event) {
	if s := brief(e); s != "" {
		*l = append(*l, s)
	}
}

func same(t *testing.T, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("got\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}
