package listen

import (
	"errors"
	"io"
	"math"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
)

// Wherever a whine lies, what would be heard as an answer is known after 0.6 s, and
// answers nothing from then on.
func TestToneAtEveryPitch(t *testing.T) {
	window := exercise.DefaultWindow().Recorded()
	heard := 0
	for hz := 70.0; hz < 1500; hz *= math.Exp2(5. / 24) { // not on the pitches of a scale
		for _, level := range []float64{-55, -40} {
			x := testkit.Whine(rate, 2, hz, level)[rate/7:]
			if !listen(t, audio.NewSamples(rate, x), window).Found {
				continue
			}
			heard++
			ear, err := New(audio.NewSamples(rate, x), Hearing{})
			if err != nil {
				t.Fatal(err)
			}
			wait := int64(rate * 6 / 10)
			if err := ear.Pass(t.Context(), wait, wait); err != nil {
				t.Fatal(err)
			}
			take, err := ear.Note(t.Context(), window, nil)
			if err != nil || ear.Room() == nil || take.Found {
				t.Errorf("a whine of %.1f Hz at %g dBFS: known %v, found %v, %v", hz, level, ear.Room() != nil, take.Found, err)
			}
		}
	}
	if heard < 30 {
		t.Errorf("only %d whines are heard as answers", heard)
	}
}

// Who sings straight, and through all of the wait, is no tone of the room.
func TestVoiceBeforeTheWindowIsNoTone(t *testing.T) {
	for seed := range uint64(8) {
		for _, breath := range []float64{15, 30} {
			n := synth.NewSung(196, 4)
			n.VibratoCents, n.BreathDB = 0, breath
			x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing([]synth.Sung{n}, seed)
			ear, err := New(audio.NewSamples(rate, x[3*rate/2:]), Hearing{})
			if err != nil {
				t.Fatal(err)
			}
			ear.Before(nil)
			ear.Before(x[rate/2 : 3*rate/2])
			take, err := ear.Note(t.Context(), exercise.DefaultWindow(), nil)
			if err != nil || !take.Found || take.Start > rate/10 {
				t.Errorf("seed %d, breath at %g dB: found %v from %d, %v", seed, breath, take.Found, take.Start, err)
			}
		}
	}
}

// What the ear learns is forgotten when the next wait begins.
func TestBeforeBeginsAnew(t *testing.T) {
	whine := testkit.Whine(rate, 11, 155, -40)
	ear, err := New(audio.NewSamples(rate, whine), Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	ear.Before(whine[:rate])
	if ear.room == nil {
		t.Fatal("the whine is no tone")
	}
	if n := testing.AllocsPerRun(50, func() { ear.Before(whine[:blockSize]) }); n != 0 {
		t.Errorf("%v allocations a block", n)
	}
	ear.Before(nil)
	if ear.room != nil {
		t.Error("the tone of the wait before is kept")
	}
}

// Pass forgets what was buffered, reads so much and no more, lost samples counted in,
// and learns anew only where some of it is quiet.
func TestPass(t *testing.T) {
	whine := testkit.Whine(rate, 4, 155, -40)
	src := &skipping{Source: testkit.Source{Rate: rate, Cues: []testkit.Cue{
		{Samples: whine[:rate]}, {Samples: whine[:700]}, {Lost: 300, Samples: whine[700:1000]}, {Samples: whine[:1000]}, {Samples: whine[:rate]},
	}}}
	ear, err := New(src, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name           string
		samples        int64
		quiet          int64
		knows          bool
		cues, samples1 int // left of the source, and of its first cue
	}{
		{"a second, all quiet", rate, rate, true, 4, 700},
		{"with lost ones, none of it quiet", 1300, 0, true, 2, 1000},
		{"too little quiet", 1000, 1000, false, 1, rate},
	} {
		src.calls = nil
		if err := ear.Pass(t.Context(), c.samples, c.quiet); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if src.calls[0] != "skip" || slices.Contains(src.calls[1:], "skip") {
			t.Errorf("%s: %v, want skip before all else", c.name, src.calls)
		}
		for len(src.Cues) > 0 && src.Cues[0].Lost == 0 && len(src.Cues[0].Samples) == 0 {
			src.Cues = src.Cues[1:]
		}
		if len(src.Cues) != c.cues || len(src.Cues[0].Samples) != c.samples1 {
			t.Errorf("%s: left are %d cues, %d samples of the first; want %d, %d", c.name, len(src.Cues), len(src.Cues[0].Samples), c.cues, c.samples1)
		}
		if (ear.Room() != nil) != c.knows {
			t.Errorf("%s: knows the whine: %v, want %v", c.name, ear.Room() != nil, c.knows)
		}
	}
	if err := ear.Pass(t.Context(), 2*rate, 0); !errors.Is(err, io.EOF) {
		t.Errorf("a live source that ends: %v, want %v", err, io.EOF)
	}
}
