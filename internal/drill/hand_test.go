package drill

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/kept"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/internal/testkit/instruments"
	"singback/theory"
)

// hands are Answers that sing what a test has them sing, and play on an instrument.
type hands struct {
	Answers
	rate int
	sing func(p session.Prompted) []float64
	play func(asked *session.HandAsked) []float64 // nil: a keyboard answers
}

func (h *hands) Kind() Kind { return ByMicrophone }

func (h *hands) Source(p session.Prompted) (audio.Source, bool, error) {
	return audio.NewSamples(h.rate, h.sing(p)), false, nil
}

func (h *hands) HandSource(asked *session.HandAsked) (audio.Source, bool, error) {
	return audio.NewSamples(h.rate, h.play(asked)), false, nil
}

// struckAs is what was struck, and what is to be said of it.
type struckAs struct {
	way     int
	strikes []exercise.Strike
	degree  theory.Degree
	right   bool
	octave  int
	added   []theory.Degree
	at      float64
}

// strikeDegree strikes a degree in a way: the first key counts, and what comes after it
// puts nothing right.
func strikeDegree(it exercise.Item, way int, rng *rand.Rand) struckAs {
	target, _ := it.Target()
	s := struckAs{way: way, degree: it.Asked, right: true, at: 0.5 + rng.Float64()}
	key := target.MIDI()
	switch way {
	case late, hesitant:
		s.at = 6 + 8*rng.Float64()
	case octaveOff:
		s.octave = 1 + rng.IntN(2)
		if rng.IntN(2) == 0 {
			s.octave = -s.octave
		}
	case oneWrong:
		by := 1 + rng.IntN(11)
		s.right, s.degree = false, chromatic()[(it.Asked.Semitones()+by)%12]
		key += by
		if by > 6 {
			key -= 12
		}
	}
	keys := []int{key + 12*s.octave}
	if way != octaveOff && rng.IntN(4) == 0 {
		keys = append(keys, keys[0]+12) // with its octave
	}
	s.strikes = []exercise.Strike{{Keys: keys, At: s.at, Length: 0.5}}
	if way == extraNote {
		by := 1 + rng.IntN(11)
		s.added = []theory.Degree{chromatic()[(it.Asked.Semitones()+by)%12]}
		s.strikes = append(s.strikes, exercise.Strike{Keys: []int{keys[0] + by}, At: s.at + 0.7, Length: 0.3})
	}
	return s
}

func (s struckAs) check(h *session.HandStruck) error {
	d := h.Back.Degrees[0]
	switch {
	case h.Reason != exercise.NoReason || (d.Outcome == exercise.RightAnswer) != s.right:
		return fmt.Errorf("%v, %s, made %v", h.Reason, d.Outcome, s.right)
	case d.Degree.Semitones() != s.degree.Semitones() || d.Cents > 1e-6 || d.Cents < -1e-6:
		return fmt.Errorf("%v %+.1f cents, made %v", d.Degree, d.Cents, s.degree)
	case s.right && d.Octave != s.octave:
		return fmt.Errorf("octave %d, made %d", d.Octave, s.octave)
	case len(h.Back.Added) != len(s.added) || len(s.added) > 0 && h.Back.Added[0].Semitones() != s.added[0].Semitones():
		return fmt.Errorf("then %v, made %v", h.Back.Added, s.added)
	case d.Onset != s.at:
		return fmt.Errorf("after %.2f s, made %.2f", d.Onset, s.at)
	}
	return nil
}

// Keys that are struck after something was sung are marked as they were made: 500, each
// way, in each naming, in equal and in just tuning of what is sung.
func TestThenPlay(t *testing.T) {
	keys := []string{"C", "Eb", "f#m", "A", "gm", "D dorian", "dm", "Db"}
	namings := theory.Namings()
	asked, wrong := [wayCount]int{}, [wayCount]int{}
	for run, done := 0, 0; done < 500; run++ {
		o := &Sing{
			Music: music(keys[run%len(keys)]), Manner: manner(), Degrees: "chromatic", Count: min(25, 500-done),
			Tolerance: exercise.Tolerance{Cents: 35}, Seed: uint64(run + 1),
		}
		o.Manner.Then, o.Manner.Compare, o.Manner.Retry = ThenPlay, false, "never"
		o.Music.Names = namings[run%len(namings)].String()
		if run%2 == 1 {
			o.Music.Tuning, o.Music.A4 = "just", 442
		}
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		rng := rand.New(rand.NewPCG(uint64(run), 16))
		var record memory
		r, events := heardRun(p, &record)
		r.Answers = &hands{rate: 8000, sing: func(session.Prompted) []float64 { return make([]float64, 800) }}
		var made []struckAs
		r.Keys = func(_ context.Context, count int, chords bool) ([]exercise.Strike, error) {
			if count != 1 || chords {
				t.Errorf("%d, chords %v", count, chords)
			}
			made = append(made, strikeDegree(o.Items()[len(made)], (run+len(made))%wayCount, rng))
			return made[len(made)-1].strikes, nil
		}
		tally, err := r.Do(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		right := 0
		for _, e := range *events {
			h, ok := e.(*session.HandStruck)
			if !ok {
				continue
			}
			m := made[h.Index-1]
			asked[m.way]++
			if m.right {
				right++
			}
			if err := m.check(h); err != nil {
				wrong[m.way]++
				t.Logf("run %d, answer %d, %s: %v", run, h.Index, ways[m.way], err)
			}
			ev := r.EventRecord(h).(*struckEvent)
			if ev.By != "keys" || len(ev.Notes) != 1 || *ev.Notes[0].Struck != h.Back.Degrees[0].Degree.ASCII() || ev.Notes[0].Agrees != nil || len(ev.Played) != len(m.strikes) {
				t.Errorf("%+v", ev)
			}
		}
		if tally.Hand != (exercise.Marks{Right: right, Of: o.Count}) {
			t.Errorf("%+v, made %d of %d", tally.Hand, right, o.Count)
		}
		for _, a := range record.answers {
			a.Session = kept.NewSession([16]byte{1}, "Anna", "sing", "mic", 1, "test", began)
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

// Sung by a voice, then played on an instrument that is heard: both are judged, told
// beside each other, kept and counted by who was right.
func TestSungThenPlayed(t *testing.T) {
	const rate = 16000
	questions := 16
	switch {
	case os.Getenv("SINGBACK_LONG") == "1":
		questions = 100
	case raceDetector || testing.Short():
		questions = 4
	}
	o := &Sing{Music: music("Eb"), Manner: manner(), Degrees: "all", Count: questions, Tolerance: exercise.Tolerance{Cents: 35}, Seed: 7}
	o.Manner.Then, o.Manner.Compare, o.Manner.Retry = ThenPlay, false, "never"
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	var record memory
	r, events := heardRun(p, &record)
	timbres := instruments.Timbres()
	var want practice.VoiceHand
	asked := -1
	r.Answers = &hands{rate: rate, sing: func(p session.Prompted) []float64 {
		asked++
		hz := p.Item.Hz(p.Target)
		if asked%2 == 1 {
			hz = theory.Shift(hz, 300) // another
		}
		x, _ := synth.Voice{SampleRate: rate, Type: synth.Alto}.Sing([]synth.Sung{synth.Rest(0.3), synth.NewSung(hz, 1), synth.Rest(0.3)}, uint64(asked))
		return x
	}, play: func(h *session.HandAsked) []float64 {
		timbre := timbres[asked%len(timbres)]
		target, _ := h.Item.Target()
		key := target.MIDI()
		for key > min(timbre.Hi, 79) {
			key -= 12
		}
		voice, hand := asked%2 == 0, asked%4 < 2
		if !hand {
			key += 2
		}
		switch {
		case voice && hand:
			want.Both++
		case voice:
			want.Voice++
		case hand:
			want.Hand++
		default:
			want.Neither++
		}
		return timbre.Play(rate, 440, []instruments.Note{{Key: key, At: 0.4, Length: 0.8}}, 1.8, uint64(asked))
	}}
	if _, err := r.Do(t.Context()); err != nil {
		t.Fatal(err)
	}
	var progress practice.Progress
	for i, a := range record.answers {
		a.Session, a.Number = kept.NewSession([16]byte{1}, "Anna", "sing", "mic", 1, "test", began), i+1
		if err := kept.Check(a); err != nil {
			t.Errorf("%+v cannot be kept: %v", a, err)
		}
		progress.Add(practice.Entry{At: a.At, Session: a.Session.ID, Question: a.Index, Skill: a.Skill, Item: a.Item, Tolerance: a.Tolerance.Cents, Verdict: a.Verdict, Named: a.Named})
	}
	if got := progress.VoiceHand(); got != want || len(record.answers) != 2*questions {
		t.Errorf("%+v, made %+v; %d answers", got, want, len(record.answers))
	}
	said := map[string]int{}
	for _, e := range *events {
		if h, ok := e.(*session.HandStruck); ok {
			ev := r.EventRecord(h).(*struckEvent)
			if ev.By != "instrument" || ev.Notes[0].Cents == nil || *ev.Notes[0].Cents > 20 || *ev.Notes[0].Cents < -20 || ev.Notes[0].Agrees == nil {
				t.Errorf("%+v", ev)
			}
			_, what, _ := strings.Cut(r.Style.HandHeadline(Handed(h)), ": ")
			if strings.HasPrefix(what, "it was") {
				what = "it was"
			}
			said[what]++
		}
	}
	if said["voice and hand agree"] != want.Both || said["the hand took another"] != want.Voice || said["the hand found it, the voice did not"] != want.Hand || said["it was"] != want.Neither {
		t.Errorf("said %v, made %+v", said, want)
	}
}

// A keyboard that is gone between singing and playing ends the drill with its word; what
// was sung is kept. Where nothing is struck it counts for nothing.
func TestThenPlayGone(t *testing.T) {
	o := &Sing{Music: music("C"), Manner: manner(), Degrees: "la", Count: 3, Tolerance: exercise.Tolerance{Cents: 35}, Seed: 7}
	o.Manner.Then, o.Manner.Compare, o.Manner.Retry = ThenPlay, false, "never"
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	var record memory
	r, events := heardRun(p, &record)
	r.Answers = &hands{rate: 16000, sing: func(p session.Prompted) []float64 {
		x, _ := synth.Voice{SampleRate: 16000, Type: synth.Alto}.Sing([]synth.Sung{synth.NewSung(p.Item.Hz(p.Target), 1), synth.Rest(0.3)}, 1)
		return x
	}}
	gone, calls := errors.New("the keyboard x is gone"), 0
	r.Keys = func(context.Context, int, bool) ([]exercise.Strike, error) {
		if calls++; calls == 2 {
			return nil, gone
		}
		return nil, nil
	}
	tally, err := r.Do(t.Context())
	if !errors.Is(err, gone) || tally.All.Right != 2 || tally.Hand.Of != 0 {
		t.Errorf("%v, %+v", err, tally)
	}
	if len(record.answers) != 3 || !record.answers[0].Counts || record.answers[1].Counts || record.answers[1].Skill.Kind != exercise.HandSkill || !record.answers[2].Counts {
		t.Errorf("%+v", record.answers)
	}
	for _, e := range *events {
		if h, ok := e.(*session.HandStruck); ok {
			if got := r.Style.HandHeadline(Handed(h)); got != "played nothing that counts: nothing was struck" {
				t.Error(got)
			}
		}
	}
}
