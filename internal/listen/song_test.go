package listen_test

import (
	"context"
	"math"
	"reflect"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
)

// Song hears what Take hears, aloud or not; what it tells meanwhile are the same notes,
// nearly. Deep, it hears struck notes below any voice where they are.
func TestSong(t *testing.T) {
	const rate = 16000
	semitones := []float64{43, 48, 50, 43, 45}
	hz := func(midi float64) float64 { return 440 * math.Exp2((midi-69)/12) }
	var sung []synth.Sung
	var struck synth.Phrase
	for i, s := range semitones {
		n := synth.NewSung(hz(s), 0.8)
		n.Consonant = synth.Plosive
		sung = append(sung, n)
		struck = append(struck, synth.Sound{Hz: hz(s - 14), Start: 0.3 + 0.8*float64(i), Duration: 0.75})
	}
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Bass}.Sing(append(sung, synth.Rest(0.5)), 1)
	read := func(x []float64, deep bool, told func(grade.Sung)) grade.Performance {
		t.Helper()
		p, err := listen.Song(context.Background(), audio.NewSamples(rate, x), listen.Hearing{}, deep, told)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	want, err := listen.Take(context.Background(), audio.NewSamples(rate, x), listen.Hearing{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := read(x, false, nil); !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want what Take hears: %v", got.Notes, want.Notes)
	}
	var told []grade.Sung
	if got := read(x, false, func(n grade.Sung) { told = append(told, n) }); !reflect.DeepEqual(got, want) {
		t.Errorf("aloud: %v, want %v", got.Notes, want.Notes)
	}
	check := func(name string, notes []grade.Sung, down float64) {
		t.Helper()
		if len(notes) != len(semitones) {
			t.Fatalf("%s: %d notes, want %d: %v", name, len(notes), len(semitones), notes)
		}
		for i, n := range notes {
			at := 0.8 * float64(i)
			if off := n.Cents - 100*(semitones[i]-down); math.Abs(off) > 15 || n.Onset < at-0.05 || n.Offset > at+1.2 {
				t.Errorf("%s: note %d is off by %.0f cents, from %.2f to %.2f s", name, i, off, n.Onset, n.Offset)
			}
		}
	}
	check("told", told, 0)
	k := synth.NewKeyboard(rate)
	k.Level = -12
	low := k.Render(struck) // from F1, 44 Hz
	told = nil
	p := read(low, true, func(n grade.Sung) { told = append(told, n) })
	check("deep", p.Notes, 14)
	check("deep, told", told, 14)
	if last := p.Curve[len(p.Curve)-1].At; math.Abs(last-float64(len(low))/rate) > 0.1 {
		t.Errorf("the curve ends at %.2f s", last)
	}
}
