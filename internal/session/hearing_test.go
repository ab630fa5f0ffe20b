package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/theory"
)

// The measured delay keeps a live window shut for longer, by just that.
func TestDelayExtendsTheWait(t *testing.T) {
	waited := func(delay float64) float64 {
		r := &room{Source: testkit.Source{Rate: rate, Forever: true}}
		cfg := config()
		cfg.Window, cfg.Think, cfg.Delay = exercise.DefaultWindow(), 0.5, delay
		read := int64(0)
		counted := &counting{r, &read}
		open := int64(-1)
		s := &script{sing: live(counted)}
		s.on = func(e Event) {
			if _, ok := e.(Listening); ok {
				open = read
			}
		}
		if _, err := s.degrees(items(t, "do"), 0).run(t.Context(), cfg, r); err != nil {
			t.Fatal(err)
		}
		return float64(open) / rate
	}
	if without, with := waited(0), waited(0.125); math.Abs(without-(guard+0.5)) > 1e-4 || math.Abs(with-without-0.125) > 1e-4 {
		t.Errorf("waited %g s, with a delay of 0.125 s %g s", without, with)
	}
}

// With Apart no tone that sets the key is a note that is then asked, wherever
// an octave allows it; without it the key sounds in the singer's octave.
func TestKeySetApartFromTheAnswer(t *testing.T) {
	touches := func(p synth.Phrase, list []exercise.Item) int {
		n := 0
		for _, it := range list {
			target, _ := it.Target()
			for _, s := range p {
				if math.Abs(theory.CentsBetween(s.Hz, it.Hz(target))) < 50 {
					n++
					break
				}
			}
		}
		return n
	}
	moved, sounded := 0, 0
	for _, k := range theory.Keys() {
		for _, voice := range exercise.Voices() {
			v, _ := exercise.VoiceNamed(voice)
			base := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 442}, Register: exercise.RegisterFor(k, exercise.Working(v.Range))}
			var list []exercise.Item
			for _, d := range k.ScaleDegrees() {
				it := base
				it.Asked = d
				list = append(list, it)
			}
			for _, setting := range []synth.KeySetting{synth.ByCadence, synth.ByScale, synth.ByTonic, synth.ByDrone} {
				n := apart(setting, list)
				octave := base.Register.TonicOctave
				now := touches(setting.Phrase(k, base.Tuning, octave+n), list)
				sounded++
				if n != 0 {
					moved++
				}
				for by := -2; by <= 2; by++ {
					if other := touches(setting.Phrase(k, base.Tuning, octave+by), list); other < now {
						t.Errorf("%s, %v by %v, moved %+d: %d notes are asked where they sounded; %+d octaves has %d", voice, k, setting, n, now, by, other)
					}
				}
				if setting == synth.ByTonic && now != 0 {
					t.Errorf("%s, %v: the tonic sounds where do is asked", voice, k)
				}
			}
		}
	}
	if moved == 0 || moved == sounded {
		t.Errorf("%d of %d moved", moved, sounded)
	}

	// In a run: the key moves, what is reported as the tonic does not.
	for _, apart := range []bool{false, true} {
		cfg := config()
		cfg.Apart = apart
		var key KeySet
		sink := &firstSound{}
		s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 0}, nil)}
		s.on = func(e Event) {
			if k, ok := e.(KeySet); ok {
				key = k
			}
		}
		if _, err := s.degrees(items(t, "do", "sol"), 0).run(t.Context(), cfg, sink); err != nil {
			t.Fatal(err)
		}
		want, octaves := 220.0, 0
		if apart {
			want, octaves = 110, -1
		}
		if key.Octaves != octaves || key.Tonic.String() != "A3" {
			t.Errorf("apart %v: key set %+v", apart, key)
		}
		if take := heardIn(t, append(silence(0.5), sink.samples...)); !take.Found || math.Abs(theory.CentsBetween(take.Note.F0, want)) > 2 {
			t.Errorf("apart %v: the tonic sounds at %.2f Hz, want %g", apart, take.Note.F0, want)
		}
	}
}

// The rest comes once, when so much has been sung, counted in voiced samples.
func TestRest(t *testing.T) {
	cfg := config()
	cfg.RestAfter = 2
	var rests []Rest
	s := &script{sing: sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: silent, {3, 1}: 0, {4, 1}: 0, {5, 1}: 0}, nil)}
	s.on = func(e Event) {
		if r, ok := e.(Rest); ok {
			rests = append(rests, r)
		}
	}
	if _, err := s.degrees(items(t, "do", "do", "do", "do", "do"), 0).run(t.Context(), cfg, null); err != nil {
		t.Fatal(err)
	}
	// Each answer holds for 0.8 s: the third one sung completes 2 s.
	same(t, s.log, "key",
		"ask 1/5.1", "listen", "1.1 in_tune counts=true",
		"ask 2/5.1", "listen", "2.1 not_measured counts=false",
		"ask 3/5.1", "listen", "3.1 in_tune counts=true",
		"ask 4/5.1", "listen", "4.1 in_tune counts=true", "rest",
		"ask 5/5.1", "listen", "5.1 in_tune counts=true", "finished false")
	if len(rests) == 1 && (rests[0].Sung < 2.2 || rests[0].Sung > 2.6) {
		t.Errorf("%g s, want three notes of 0.8 s", rests[0].Sung)
	}
}

// buffering is a live source that keeps what comes while nobody reads, and is
// silent otherwise.
type buffering struct {
	testkit.Source
	kept []float64
}

func (b *buffering) Read(ctx context.Context, dst []float64) (int, int64, error) {
	if len(b.kept) == 0 {
		return b.Source.Read(ctx, dst)
	}
	n := copy(dst, b.kept)
	b.kept = b.kept[n:]
	return n, 0, nil
}

func (b *buffering) Skip() int64 {
	n := len(b.kept)
	b.kept = nil
	return int64(n)
}

// The singer rests before the next question and not after the last one; what was
// heard meanwhile answers nothing and counts as nobody's time. A rest that fails,
// or that the singer ends, ends the run tidily.
func TestPause(t *testing.T) {
	for _, c := range []struct {
		questions int
		err       error
		want      []string
	}{
		{2, nil, []string{"key", "ask 1/2.1", "wait", "listen", "1.1 in_tune counts=true", "rest", "pause",
			"ask 2/2.1", "wait", "listen", "2.1 not_measured counts=false", "finished false"}},
		{1, nil, []string{"key", "ask 1/1.1", "wait", "listen", "1.1 in_tune counts=true", "rest", "finished false"}},
		{2, context.Canceled, []string{"key", "ask 1/2.1", "wait", "listen", "1.1 in_tune counts=true", "rest", "pause", "finished true"}},
	} {
		cfg := config()
		cfg.RestAfter, cfg.Window = 0.3, exercise.DefaultWindow()
		src := &buffering{Source: testkit.Source{Rate: rate, Forever: true}}
		list := items(t, "do", "do")[:c.questions]
		hz := list[0].Hz(theory.Pitch{Note: list[0].Key.Tonic, Octave: 3})
		s := &script{sing: live(src)}
		seconds := map[string]float64{}
		s.rest = func(context.Context) error {
			s.log = append(s.log, "pause")
			src.kept = tone(60, hz)
			return c.err
		}
		s.on = func(e Event) {
			switch e := e.(type) {
			case Judged:
				seconds[fmt.Sprint(e.Index)] = e.Seconds
			case Listening:
				if !slices.Contains(s.log, "rest") {
					src.kept = tone(2, hz)
				}
			}
		}
		_, err := s.degrees(list, 0).run(t.Context(), cfg, null)
		if err != c.err {
			t.Errorf("%d questions: %v, want %v", c.questions, err, c.err)
		}
		same(t, s.log, c.want...)
		if s := seconds["2"]; s > 30 {
			t.Errorf("%d questions: %g s, the rest counted in", c.questions, s)
		}
	}
}

// counting is a live source that counts what is read of it.
type counting struct {
	*room
	read *int64
}

func (c *counting) Read(ctx context.Context, dst []float64) (int, int64, error) {
	n, lost, err := c.room.Read(ctx, dst)
	*c.read += int64(n) + lost
	return n, lost, err
}

// firstSound keeps the first sound that is played.
type firstSound struct{ samples []float64 }

func (*firstSound) SampleRate() int             { return rate }
func (*firstSound) Drain(context.Context) error { return nil }
func (*firstSound) Close() error                { return nil }
func (f *firstSound) Write(_ context.Context, x []float64) error {
	if f.samples == nil {
		f.samples = slices.Clone(x)
	}
	return nil
}
