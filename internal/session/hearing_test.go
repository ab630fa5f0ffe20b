package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
	"singback/theory"
)

// hummed is a room in which, a third of a second after the window has opened,
// something begins to hum at twice the 60 Hz of the mains, as a refrigerator
// does, at so many dBFS, and in which somebody sings an A3 after so many seconds.
func hummed(after, seconds, level float64) []float64 {
	n := int((after + seconds + 1) * rate)
	x := testkit.Scale(testkit.White(n, 3), math.Pow(10, -75.0/20))
	hum := testkit.Tone(rate, after+seconds, testkit.Steady(120), []float64{1, 0.5, 0.25, 0.12})
	hum = testkit.Scale(hum, math.Pow(10, level/20)/testkit.RMS(hum))
	for i, v := range hum[:min(len(hum), n-rate/3)] {
		x[rate/3+i] += v
	}
	// A tone would not do: with hum beside it nothing so still is taken for a voice.
	note := synth.NewSung(220, seconds)
	note.Level, note.ScoopCents, note.FallCents = -34, 0, 0
	voice, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{note}, 1)
	for i, v := range voice {
		x[int(after*rate)+i] += v
	}
	return x
}

func heardIn(t *testing.T, h Hearing, samples []float64) exercise.Take {
	t.Helper()
	ear, err := h.NewEar(audio.NewSamples(rate, samples))
	if err != nil {
		t.Fatal(err)
	}
	take, err := ear.Listen(t.Context(), exercise.DefaultWindow(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return take
}

// Hum that passes for a voice closes a live window before anybody has sung.
// With the gate that was measured in that room the window stays open, and the
// singer is measured.
func TestHumKeepsTheWindowOpenWithTheMeasuredGate(t *testing.T) {
	it := items(t, "do")[0]
	tol := exercise.Tolerance{Cents: 35}
	samples := hummed(4, 2.5, -48)

	without := heardIn(t, Hearing{}, samples)
	if v := exercise.Judge(it, without, tol); v.Outcome != exercise.NotMeasured || v.Reason != exercise.TooNoisy || without.Heard > 4*rate {
		t.Errorf("without a gate: %v %v after %.2f s; the hum no longer passes for a voice, so this test shows nothing", v.Outcome, v.Reason, float64(without.Heard)/rate)
	}
	with := heardIn(t, Hearing{Gate: -40}, samples)
	v := exercise.Judge(it, with, tol)
	if v.Outcome != exercise.InTune || math.Abs(v.Cents) > 1 {
		t.Errorf("with the gate: %v %v, %.2f cents; want A3 in tune", v.Outcome, v.Reason, v.Cents)
	}
	if v.Answer < 3.9 || v.Answer > 4.1 {
		t.Errorf("the answer began after %.2f s, want 4", v.Answer)
	}
}

// Where only the room is heard, the window waits for its time and says so; a
// voice below the gate is too quiet, not noise.
func TestNobodySingsInARoomOfKnownLevel(t *testing.T) {
	it := items(t, "do")[0]
	room := hummed(20, 0, -48)
	for _, c := range []struct {
		name    string
		samples []float64
	}{
		{"hum alone", room},
		{"a voice below the gate", slices.Concat(silence(0.5), testkit.Scale(tone(3, 220), 0.005/testkit.RMS(tone(1, 220))), silence(20))},
	} {
		take := heardIn(t, Hearing{Gate: -40}, c.samples)
		if seconds := float64(take.Heard) / rate; take.Found || seconds < 7.9 || seconds > 8.1 {
			t.Errorf("%s: found %v after %.2f s, want nothing for 8 s", c.name, take.Found, seconds)
		}
		if v := exercise.Judge(it, take, exercise.Tolerance{Cents: 35}); v.Reason != exercise.TooQuiet {
			t.Errorf("%s: %v, want too quiet", c.name, v.Reason)
		}
	}
}

// The range is no wall: notes up to an octave outside it are heard as they
// are, live and at the same pitch.
func TestRangeIsNoWall(t *testing.T) {
	tenor := Hearing{Low: 98, High: 523} // G2 to C5
	for _, hz := range []float64{65.4, 82.4, 98, 220, 523, 740, 1047} {
		for _, h := range []Hearing{{}, tenor} {
			take := heardIn(t, h, slices.Concat(silence(0.5), testkit.Scale(tone(1.5, hz), 0.2), silence(1)))
			if !take.Found || math.Abs(theory.CentsBetween(take.Note.F0, hz)) > 1 {
				t.Errorf("%g Hz with %+v: found %v, %.2f Hz", hz, h, take.Found, take.Note.F0)
			}
		}
	}
}

func TestHearingConfig(t *testing.T) {
	if got, want := (Hearing{}).Config(rate), pitch.DefaultConfig(rate); got.Low != want.Low || got.High != want.High || got.MinLevel != want.MinLevel {
		t.Errorf("knowing nothing: %+v, want %+v", got, want)
	}
	got := Hearing{Low: 100, High: 400, Gate: -44}.Config(rate)
	if got.Low != 100 || got.High != 400 || got.MinLevel != -44 || got.MinHz != pitch.DefaultConfig(rate).MinHz {
		t.Errorf("%+v", got)
	}
	if _, err := (Hearing{Low: 5, High: 1}).NewEar(audio.NewSamples(rate, nil)); err == nil {
		t.Error("a range upside down was taken")
	}
}

// The measured delay keeps a live window shut for longer, by just that.
func TestDelayExtendsTheWait(t *testing.T) {
	waited := func(delay float64) float64 {
		r := &room{Source: testkit.Source{Rate: rate, Forever: true}}
		cfg := config(items(t, "do"))
		cfg.Window, cfg.Think, cfg.Delay = exercise.DefaultWindow(), 0.5, delay
		read := int64(0)
		counted := &counting{r, &read}
		open := int64(-1)
		_, err := Run(t.Context(), cfg, answerFunc(func(Prompted) (audio.Source, bool, error) { return counted, true, nil }), r, func(e Event) {
			if _, ok := e.(Listening); ok {
				open = read
			}
		})
		if err != nil {
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
		cfg := config(items(t, "do", "sol"))
		cfg.Apart = apart
		var key KeySet
		sink := &firstSound{}
		_, err := Run(t.Context(), cfg, sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: 0}, nil), sink, func(e Event) {
			if k, ok := e.(KeySet); ok {
				key = k
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		want, octaves := 220.0, 0
		if apart {
			want, octaves = 110, -1
		}
		if key.Octaves != octaves || key.Tonic.String() != "A3" {
			t.Errorf("apart %v: key set %+v", apart, key)
		}
		if take := heardIn(t, Hearing{}, append(silence(0.5), sink.samples...)); !take.Found || math.Abs(theory.CentsBetween(take.Note.F0, want)) > 2 {
			t.Errorf("apart %v: the tonic sounds at %.2f Hz, want %g", apart, take.Note.F0, want)
		}
	}
}

// The rest comes once, when so much has been sung, counted in voiced samples.
func TestRest(t *testing.T) {
	cfg := config(items(t, "do", "do", "do", "do", "do"))
	cfg.RestAfter = 2
	var got log
	var rests []Rest
	_, err := Run(t.Context(), cfg, sung(map[[2]int]float64{{1, 1}: 0, {2, 1}: silent, {3, 1}: 0, {4, 1}: 0, {5, 1}: 0}, nil), audio.Null{Rate: rate}, func(e Event) {
		if r, ok := e.(Rest); ok {
			rests = append(rests, r)
			got = append(got, "rest")
		}
		got.add(e)
	})
	if err != nil {
		t.Fatal(err)
	}
	// Each answer holds for 0.8 s: the third one sung completes 2 s.
	same(t, got, "key",
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
		cfg := config(items(t, "do", "do")[:c.questions])
		cfg.RestAfter, cfg.Window = 0.3, exercise.DefaultWindow()
		src := &buffering{Source: testkit.Source{Rate: rate, Forever: true}}
		hz := cfg.Items[0].Hz(theory.Pitch{Note: cfg.Items[0].Key.Tonic, Octave: 3})
		var got log
		seconds := map[string]float64{}
		cfg.Pause = func(context.Context) error {
			got = append(got, "pause")
			src.kept = tone(60, hz)
			return c.err
		}
		cfg.Keep = func(j Judged) { seconds[fmt.Sprint(j.Index)] = j.Seconds }
		_, err := Run(t.Context(), cfg, answerFunc(func(Prompted) (audio.Source, bool, error) { return src, true, nil }), audio.Null{Rate: rate}, func(e Event) {
			switch e := e.(type) {
			case Rest:
				got = append(got, "rest")
			case Listening:
				if !slices.Contains(got, "rest") {
					src.kept = tone(2, hz)
				}
				got.add(e)
			default:
				got.add(e)
			}
		})
		if err != c.err {
			t.Errorf("%d questions: %v, want %v", c.questions, err, c.err)
		}
		same(t, got, c.want...)
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
