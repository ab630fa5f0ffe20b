package listen

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
)

// The split of the sound into blocks changes neither notes nor score.
func TestTakeInAnyBlocks(t *testing.T) {
	const rate = 16000
	var samples []float64
	phase := 0.0
	for _, midi := range []float64{60, 62, 64, 65, 67} {
		hz := 220 * math.Exp2((midi-57)/12)
		for k := range rate / 2 {
			fade := min(1, float64(k)/400, float64(rate/2-k)/800)
			phase += 2 * math.Pi * hz / rate
			v := 0.0
			for h := 1.0; h <= 6; h++ {
				v += math.Sin(h*phase) / h
			}
			samples = append(samples, 0.1*fade*v)
		}
	}
	line := grade.Line{Timed: true}
	for i, c := range []float64{6000, 6200, 6400, 6500, 6700} {
		line.Notes = append(line.Notes, grade.Due{Cents: c, Onset: float64(i), Length: 1})
	}
	var first grade.Grading
	for i, block := range []int{4096, 1, 160, 777} {
		p, err := Take(t.Context(), &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: samples}}, Chunk: func() int { return block }}, Hearing{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		g, err := grade.Of(line, p, grade.DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if g.Right != 5 || g.Pass < 0.8 {
			t.Errorf("blocks of %d: %d of 5 right, pass %g: %v", block, g.Right, g.Pass, g.Faults)
		}
		if i == 0 {
			first = g
		} else if g.Score != first.Score {
			t.Errorf("blocks of %d: score %v, was %v", block, g.Score, first.Score)
		}
	}
}

// Track gives the points that the tracker gives, however the source is split, and
// says when each came: offline at the end of a block, live at the millisecond.
func TestTrack(t *testing.T) {
	x := noisy(sungBy(1, synth.Rest(0.2), synth.NewSung(220, 0.7), synth.Rest(0.4)))
	x = x[:len(x)-77]
	for _, reading := range []pitch.Reading{pitch.Settled, pitch.Offline, pitch.Live} {
		config := Hearing{Gate: -50}.Config(rate)
		config.Reading = reading
		tracker, err := pitch.NewTracker(config)
		if err != nil {
			t.Fatal(err)
		}
		want := tracker.Flush(tracker.Push(nil, x))
		var times [][]int64
		for _, chunk := range []int{4096, 1, 333} {
			var got []pitch.Point
			var at []int64
			src := &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: x}}, Chunk: func() int { return chunk }}
			err := Track(t.Context(), src, Hearing{Gate: -50}, reading, nil, func(points []pitch.Point, heard int64) {
				got = append(got, points...)
				for range points {
					at = append(at, heard)
				}
			})
			if err != nil || !slices.Equal(got, want) {
				t.Errorf("reading %d in blocks of %d: %d points of %d as they should be, %v", reading, chunk, len(got), len(want), err)
			}
			if last := at[len(at)-1]; last != int64(len(x)) {
				t.Errorf("reading %d in blocks of %d: the last came after %d samples of %d", reading, chunk, last, len(x))
			}
			times = append(times, at)
		}
		if reading == pitch.Live {
			for i, at := range times[0][:len(times[0])-2] {
				// The blocks of one sample say when each comes; the others a millisecond later at most.
				if d := at - times[1][i]; d < 0 || d >= rate/1000 || at%(rate/1000) != 0 {
					t.Errorf("live: point %d after %d samples, want %d or up to a millisecond later", i, at, times[1][i])
				}
			}
		}
	}
}

// Melody finds what pitch.Notes finds in the whole track.
func TestMelody(t *testing.T) {
	x := noisy(sungBy(2, synth.Rest(0.3), synth.NewSung(196, 0.6), synth.NewSung(220, 0.5), synth.Rest(0.1), synth.NewSung(247, 0.8)))
	h := Hearing{Low: 100, High: 400, Gate: -45}
	config := h.Config(rate)
	config.Reading = pitch.Offline
	tracker, err := pitch.NewTracker(config)
	if err != nil {
		t.Fatal(err)
	}
	want, err := pitch.Notes(config, tracker.Flush(tracker.Push(nil, x)))
	if err != nil || len(want) != 3 {
		t.Fatalf("%d notes, want 3: %v", len(want), err)
	}
	var got []pitch.Note
	if err := Melody(t.Context(), audio.NewSamples(rate, x), h, func(n []pitch.Note) { got = append(got, n...) }); err != nil || !slices.Equal(got, want) {
		t.Errorf("%+v, %v; want %+v", got, err, want)
	}
	gone := errors.New("gone")
	src := &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: x[:rate]}, {Err: gone}}}
	if err := Melody(t.Context(), src, h, func([]pitch.Note) {}); !errors.Is(err, gone) {
		t.Errorf("%v, want %v", err, gone)
	}
	if err := Melody(t.Context(), src, Hearing{Low: 5, High: 1}, func([]pitch.Note) {}); err == nil {
		t.Error("a range upside down was taken")
	}
}

// A take is heard with the singer's gate: a tone below it is not heard. Without one it
// is, so the test shows something.
func TestTakeKnowsTheGate(t *testing.T) {
	hum := testkit.Whine(rate, 3, 155, -48)
	for _, c := range []struct {
		h     Hearing
		notes int
	}{{Hearing{}, 1}, {Hearing{Gate: -40}, 0}} {
		p, err := Take(t.Context(), audio.NewSamples(rate, hum), c.h, nil)
		if err != nil || len(p.Notes) != c.notes {
			t.Errorf("a tone of -48 dBFS with %+v: %d notes, want %d; %v", c.h, len(p.Notes), c.notes, err)
		}
		if voiced := slices.ContainsFunc(p.Curve, func(m grade.Moment) bool { return m.Voiced }); voiced != (c.notes > 0) {
			t.Errorf("a tone of -48 dBFS with %+v: voiced %v", c.h, voiced)
		}
	}
}

// Record counts what was lost as silence, and no more than it wants.
func TestRecord(t *testing.T) {
	x := tone(1, 220)
	for _, c := range []struct {
		name string
		cues []testkit.Cue
		want []float64
	}{
		{"all", []testkit.Cue{{Samples: x}}, x[:rate/2]},
		{"less than wanted", []testkit.Cue{{Samples: x[:1000]}}, x[:1000]},
		{"some lost", []testkit.Cue{{Samples: x[:1000]}, {Lost: 500, Samples: x}}, slices.Concat(x[:1000], make([]float64, 500), x[:rate/2-1500])},
		{"more lost than wanted", []testkit.Cue{{Samples: x[:1000]}, {Lost: 1 << 40}}, slices.Concat(x[:1000], make([]float64, rate/2-1000))},
	} {
		got, err := Record(t.Context(), &testkit.Source{Rate: rate, Cues: c.cues}, 0.5)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %d samples, want %d; %v", c.name, len(got), len(c.want), err)
		}
	}
}

// skipping is a source that says when it forgets, and may have to be waited for.
type skipping struct {
	testkit.Source
	calls []string
	wait  error
}

func (s *skipping) Skip() int64 { s.calls = append(s.calls, "skip"); return 0 }
func (s *skipping) Read(ctx context.Context, dst []float64) (int, int64, error) {
	s.calls = append(s.calls, "read")
	return s.Source.Read(ctx, dst)
}
func (s *skipping) Await(context.Context) error { s.calls = append(s.calls, "await"); return s.wait }

// What is read after Freshly begins when a sample has just come; a source that keeps
// nothing is left alone.
func TestFreshlyAndAwait(t *testing.T) {
	s := &skipping{Source: testkit.Source{Rate: rate, Forever: true}}
	if err := Freshly(t.Context(), s); err != nil || !slices.Equal(s.calls, []string{"skip", "read", "skip"}) {
		t.Errorf("%v, %v", s.calls, err)
	}
	plain := &testkit.Source{Rate: rate, Forever: true}
	if err := Freshly(t.Context(), plain); err != nil || plain.Reads != 0 {
		t.Errorf("%d reads of a source that keeps nothing, %v", plain.Reads, err)
	}
	gone := errors.New("gone")
	if err := Freshly(t.Context(), &skipping{Source: testkit.Source{Rate: rate, Cues: []testkit.Cue{{Err: gone}}}}); !errors.Is(err, gone) {
		t.Errorf("%v, want %v", err, gone)
	}
	s.calls, s.wait = nil, gone
	if err := Await(t.Context(), s); !errors.Is(err, gone) || len(s.calls) != 1 {
		t.Errorf("%v after %v", err, s.calls)
	}
	if err := Await(t.Context(), plain); err != nil {
		t.Error(err)
	}
}
