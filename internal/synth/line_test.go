package synth

import (
	"io"
	"math"
	"testing"

	"singback/pitch"
	"singback/theory"
)

func score(t testing.TB) theory.Score {
	t.Helper()
	s := theory.Score{Key: theory.Key{Tonic: theory.Note{Letter: theory.G}}, Meter: theory.Meter{Beats: 4, Unit: 4}}
	for _, p := range []string{"G3", "A3", "B3", "", "C4", "D4"} {
		n := theory.Written{Length: theory.Fraction{Num: 1, Den: 1}, Rest: p == ""}
		if p != "" {
			var err error
			if n.Pitch, err = theory.ParsePitch(p); err != nil {
				t.Fatal(err)
			}
		}
		s.Notes = append(s.Notes, n)
	}
	return s
}

// Each note starts where the lengths before it end, at the frequency of its
// degree: in just intonation 5/4 for mi and 4/3 for fa above the tonic.
func TestLine(t *testing.T) {
	just := theory.Tuning{A4: 440, System: theory.Just}
	line := Line(score(t), just, 0.5)
	g3 := 440 * math.Exp2(-14.0/12)
	for i, want := range []float64{1, 9.0 / 8, 5.0 / 4, 0, 4.0 / 3, 3.0 / 2} {
		n := line[i]
		if n.Start != float64(i)/2 || n.Duration != 0.5 || math.Abs(n.Hz-want*g3) > 1e-9*g3 {
			t.Errorf("note %d: %+v, want %.3f Hz at %.1f s", i+1, n, want*g3, float64(i)/2)
		}
	}
	if p := PhraseOf(line); len(p) != 5 || p.Length() > 3 {
		t.Errorf("%d sounds, %.2f s", len(p), p.Length())
	}
}

// Clicks are where they should be, no louder than said, quiet at both ends, and no
// tracker hears a note in them.
func TestClicks(t *testing.T) {
	for _, rate := range []int{16000, 48000} {
		k := Keyboard{SampleRate: rate, Level: -26}
		beats := []Beat{{At: 0, Strong: true}, {At: 0.5}, {At: 1}, {At: 1.5}}
		x := k.Clicks(beats, 2.2)
		peak := 0.0
		for i, v := range x {
			peak = max(peak, math.Abs(v))
			since := math.Mod(float64(i)/float64(rate), 0.5)
			if since > clickLength+0.001 && v != 0 {
				t.Fatalf("%d Hz: %g at %.3f s, between the clicks", rate, v, float64(i)/float64(rate))
			}
			if since < 0.5/float64(rate) && math.Abs(v) > 1e-4 {
				t.Fatalf("%d Hz: a click jumps to %g", rate, v)
			}
		}
		if level := 20 * math.Log10(peak); level > -18 || level < -26 {
			t.Errorf("%d Hz: peak %.1f dBFS, want -18 at most", rate, level)
		}
		tracker, err := pitch.NewTracker(pitch.DefaultConfig(rate))
		if err != nil {
			t.Fatal(err)
		}
		points := tracker.Flush(tracker.Push(nil, x))
		voiced := 0
		for _, p := range points {
			if p.Voiced {
				voiced++
			}
		}
		if voiced > 0 {
			t.Errorf("%d Hz: %d of %d frames of clicks are called sung", rate, voiced, len(points))
		}
	}
}

// The same seed sings the same, another seed otherwise; it lasts as long as the
// line, with the lead before and two seconds after it.
func TestSingerLine(t *testing.T) {
	line := Line(score(t), theory.Tuning{A4: 440}, 0.5)
	all := func(seed uint64) []float64 {
		src := Singer{Voice: Voice{SampleRate: 16000, Type: Tenor}, Seed: seed}.Line(line, 0.25, 1)
		var x []float64
		block := make([]float64, 1000)
		for {
			n, _, err := src.Read(t.Context(), block)
			x = append(x, block[:n]...)
			if err == io.EOF {
				return x
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	one, same, other := all(1), all(1), all(2)
	if d := float64(len(one))/16000 - (0.25 + 3 + 2); math.Abs(d) > 0.01 {
		t.Errorf("it lasts %.2f s", float64(len(one))/16000)
	}
	differ := false
	for i := range one {
		if one[i] != same[i] {
			t.Fatal("the same seed sang differently")
		}
		differ = differ || one[i] != other[i]
	}
	if !differ {
		t.Error("two seeds sang the same")
	}
}
