package drill

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/kept"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// How answers are made, and what is to be said of them.
const (
	rightAnswer = iota
	oneWrong
	octaveOff
	late
	extraNote
	hesitant
	wayCount
)

var ways = [wayCount]string{"right", "one wrong", "octave off", "late", "extra note", "hesitant"}

// built is an answer that was made to be so.
type built struct {
	way     int
	samples []float64
	sung    []theory.Degree // one for each chord
	right   []bool
	cents   []float64 // of what answers
	octave  []int     // above the bass
	added   []theory.Degree
	start   float64 // seconds of silence before it
	waits   []float64
	lead    float64 // of what is thrown away at a live source
}

// chromatic has the twelve degrees.
func chromatic() []theory.Degree {
	d := theory.Key{}.ChromaticDegrees()
	return d[:]
}

// build makes an answer to a dictation, by a voice of a register.
func build(d compose.Dictation, it exercise.Item, way int, voice synth.Voice, rng *rand.Rand) built {
	n := len(d.Chords)
	b := built{way: way, start: 0.3 + rng.Float64(), right: make([]bool, n), cents: make([]float64, n), octave: make([]int, n), waits: make([]float64, n)}
	if way == late {
		b.start = 4 + 4*rng.Float64()
	}
	bass := func(i int) float64 { return it.Hz(d.Voices[i][0]) }
	up := 1
	for bass(0)*math.Exp2(float64(up)) < 110 {
		up++
	}
	odd := rng.IntN(n)
	for i, s := range d.Skills() {
		b.sung, b.right[i] = append(b.sung, s.Degree), true
		b.cents[i] = 36*rng.Float64() - 18
		if b.octave[i] = up; way == octaveOff && i == odd {
			b.octave[i] = up + 1
		}
		if way == hesitant && i > 0 && (i == max(odd, 1) || rng.IntN(3) == 0) {
			b.waits[i] = 1.3 + 1.5*rng.Float64()
		}
	}
	neighbours := func(at int, d theory.Degree) bool { // sounds like what is sung beside
		for i := max(at-1, 0); i <= min(at+1, n-1); i++ {
			if b.sung[i].Semitones() == d.Semitones() {
				return true
			}
		}
		return false
	}
	other := func(at int) theory.Degree {
		for {
			if d := chromatic()[rng.IntN(12)]; !neighbours(at, d) {
				return d
			}
		}
	}
	if way == oneWrong {
		b.sung[odd], b.right[odd] = other(odd), false
	}
	hz := func(i int, d, from theory.Degree, cents float64) float64 {
		away := it.Tuning.Cents(d) - it.Tuning.Cents(from)
		return theory.Shift(bass(i), away+1200*float64(b.octave[i])+cents)
	}
	var notes []synth.Sung
	sing := func(hz, seconds float64) {
		s := synth.NewSung(hz, seconds)
		s.Vowel, s.Consonant = synth.Vowel(rng.IntN(5)), synth.Consonant(rng.IntN(4))
		s.VibratoCents = 25 * rng.Float64()
		notes = append(notes, s)
	}
	for i, s := range d.Skills() {
		if b.waits[i] > 0 {
			notes = append(notes, synth.Rest(b.waits[i]))
		}
		if way == extraNote && i == odd {
			e := other(i)
			b.added = append(b.added, e)
			sing(hz(i, e, s.Degree, 0), 0.5)
		}
		if way == hesitant && i == odd { // begun, broken off and begun again
			sing(hz(i, b.sung[i], s.Degree, b.cents[i]), 0.35)
			notes = append(notes, synth.Rest(0.2))
		}
		sing(hz(i, b.sung[i], s.Degree, b.cents[i]), 0.7+0.5*rng.Float64())
	}
	b.samples, _ = voice.Sing(slices.Concat([]synth.Sung{synth.Rest(b.lead + b.start)}, notes, []synth.Sung{synth.Rest(0.5)}), rng.Uint64())
	for i, x := range synth.Pink(len(b.samples), rng.Uint64()) {
		b.samples[i] += x * 1e-3
	}
	return b
}

// singers are Answers that sing as a test has them.
type singers struct {
	Answers
	live bool
	rate int
	make func(d session.Dictation, index int) built
	made []built
}

func (s *singers) Kind() Kind { return ByMicrophone }

func (s *singers) BackSource(d session.Dictation, index, attempt int) (audio.Source, bool, error) {
	if attempt > 1 {
		return nil, false, session.ErrNoMore
	}
	b := s.make(d, index)
	s.made = append(s.made, b)
	x := b.samples
	if s.live {
		x = slices.Concat(make([]float64, int(1.2*float64(s.rate))), x, make([]float64, 8*s.rate))
	}
	return audio.NewSamples(s.rate, x), s.live, nil
}

// check compares what was said with what was made.
func (b built) check(n session.Named) error {
	if n.Sung == nil || n.Reason() != exercise.NoReason {
		return fmt.Errorf("not measured: %s", n.Reason())
	}
	back := n.Sung.Back
	if !slices.Equal(n.Right, b.right) {
		return fmt.Errorf("right %v, made %v", n.Right, b.right)
	}
	if len(back.Added) != len(b.added) {
		return fmt.Errorf("too many: %v, made %v", back.Added, b.added)
	}
	for i, d := range back.Added {
		if d.Semitones() != b.added[i].Semitones() {
			return fmt.Errorf("too many: %v, made %v", back.Added, b.added)
		}
	}
	for i, d := range back.Degrees {
		switch {
		case !d.Sung || d.Degree.Semitones() != b.sung[i].Semitones():
			return fmt.Errorf("note %d: %v, made %v", i+1, d, b.sung[i])
		case math.Abs(d.Cents-b.cents[i]) > 12:
			return fmt.Errorf("note %d: %.1f cents, made %.1f", i+1, d.Cents, b.cents[i])
		case b.right[i] && d.Octave != b.octave[i]:
			return fmt.Errorf("note %d: %d octaves above the bass, made %d", i+1, d.Octave, b.octave[i])
		case (d.Wait >= grade.Hesitated) != (b.waits[i] > 0):
			return fmt.Errorf("note %d: after %.1f s, made %.1f", i+1, d.Wait, b.waits[i])
		}
	}
	if math.Abs(back.Onset-b.start) > 0.25 {
		return fmt.Errorf("began after %.2f s, made %.2f", back.Onset, b.start)
	}
	return nil
}

// Answers that are sung back are marked as they were made: each way, in each naming,
// from one chord to six, for low and high voices, live and from recordings, in major
// and minor, by all that is heard of them.
func TestSungBack(t *testing.T) {
	const rate = 16000
	answers := 500
	if raceDetector {
		answers = 60
	}
	keys := []string{"C", "Eb", "f#m", "A", "gm", "Bb", "dm", "B"}
	voices := []synth.VoiceType{synth.Bass, synth.Tenor, synth.Alto, synth.Soprano}
	asked, wrong := [wayCount]int{}, [wayCount]int{}
	namings := theory.Namings()
	for run, done := 0, 0; done < answers; run++ {
		o := &Dictation{
			Music: music(keys[run%len(keys)]), Manner: manner(), Of: "bass", Answer: BySinging, Degrees: "all",
			Length: 1 + run%6, Count: min(10, answers-done), Seed: uint64(run + 1),
		}
		o.Manner.Think = 1
		o.Music.Names = namings[run%len(namings)].String()
		if run%3 == 2 {
			o.Degrees = "chromatic"
		}
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		p.Config.Compare = false
		rng := rand.New(rand.NewPCG(uint64(run), 7))
		var record memory
		r, events := heardRun(p, &record)
		voice := synth.Voice{SampleRate: rate, Type: voices[run%len(voices)]}
		who := &singers{live: run%4 != 0, rate: rate, make: func(d session.Dictation, index int) built {
			return build(d.Dictation, d.Item, (run+index)%wayCount, voice, rng)
		}}
		r.Answers = who
		if _, err := r.Do(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, e := range *events {
			n, ok := e.(session.Named)
			if !ok {
				continue
			}
			b := who.made[n.Index-1]
			asked[b.way]++
			if err := b.check(n); err != nil {
				wrong[b.way]++
				t.Logf("run %d, answer %d, %s, %s: %v", run, n.Index, ways[b.way], n.Dictation.Material(), err)
			}
			// What is said in the naming is what was heard, and can be read again.
			read, err := n.Dictation.Read(r.Style.Named(n.Dictation.Key, n.Names), p.Naming)
			if slices.Contains(n.Names, exercise.Skill{}) {
				continue // one is left out
			}
			if err != nil || !slices.Equal(n.Dictation.Right(read), n.Right) {
				t.Errorf("%s: %v said as %q: %v", o.Music.Names, n.Names, r.Style.Named(n.Dictation.Key, n.Names), err)
			}
		}
		for _, a := range record.answers {
			a.Session = kept.NewSession([16]byte{1}, "Anna", "dictation", "mic", 1, "test", began)
			if err := kept.Check(a); err != nil {
				t.Errorf("%+v cannot be kept: %v", a, err)
			}
		}
		done += o.Count
	}
	for way, n := range wrong {
		t.Logf("%-10s %d of %d as they were made", ways[way], asked[way]-n, asked[way])
		if n > 0 {
			t.Errorf("%s: %d of %d are not marked as they were made", ways[way], n, asked[way])
		}
	}
}

// heardRun is run with somebody who hears it.
func heardRun(p *Plan, record Record) (*Run, *[]session.Event) {
	r, events := run(p, record)
	r.Silent = false
	r.Out = audio.Null{Rate: 16000}
	r.Person = patient{}
	return r, events
}

type patient struct{ Nobody }

func (patient) Rest(context.Context) error { return nil }
