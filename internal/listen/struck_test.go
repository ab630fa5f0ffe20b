package listen

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"singback/internal/synth"
	"singback/internal/testkit/instruments"
	"singback/theory"
)

// scores is what became of the notes of one voice.
type scores struct {
	name         string
	notes, found int
	added        int
	worst, mean  float64 // cents from the key in equal temperament, of those found
	early, late  float64 // seconds, of the onsets
	missed       []string
}

func (s *scores) String() string {
	return fmt.Sprintf("%-16s %3d of %3d, %d added, mean %+.1f c, worst %.1f c, onsets %+.2f to %+.2f s %s", s.name, s.found, s.notes, s.added, s.mean/float64(max(1, s.found)), s.worst, s.early, s.late, strings.Join(s.missed, " "))
}

// count compares what was heard with what was played: a note is found where one of its
// degree begins within 0.15 s of it.
func (s *scores) count(notes []instruments.Note, heard []string, in Instrument) {
	used := make([]bool, len(in.Notes))
	for _, n := range notes {
		s.notes++
		best := -1
		for j, h := range in.Notes {
			if !used[j] && math.Abs(h.Onset-n.At) < 0.15 && (best < 0 || math.Abs(h.Onset-n.At) < math.Abs(in.Notes[best].Onset-n.At)) {
				best = j
			}
		}
		if best < 0 {
			s.missed = append(s.missed, fmt.Sprintf("%d:none", n.Key))
			continue
		}
		used[best] = true
		h := in.Notes[best]
		off := math.Remainder(h.Cents-100*float64(n.Key), 1200)
		if math.Abs(off) > 50 {
			s.missed = append(s.missed, fmt.Sprintf("%d:%.0f", n.Key, off))
			continue
		}
		s.found++
		s.mean += off
		s.worst = max(s.worst, math.Abs(off))
		s.early, s.late = min(s.early, h.Onset-n.At), max(s.late, h.Onset-n.At)
	}
	for _, u := range used {
		if !u {
			s.added++
		}
	}
}

// line draws notes that follow each other, with repeats.
func line(rng *rand.Rand, low, high, count int, least float64) (notes []instruments.Note, seconds float64) {
	at := 0.4
	for i := range count {
		n := instruments.Note{Key: low + rng.IntN(high-low+1), At: at, Loud: 0.4 + 0.6*rng.Float64()}
		if i > 0 && rng.IntN(5) == 0 { // struck again: the key has come up before
			last := &notes[i-1]
			n.Key, last.Length = last.Key, min(last.Length, 0.8*(at-last.At))
		}
		step := least + 0.5*rng.Float64()
		n.Length = step * (0.6 + 0.5*rng.Float64())
		notes = append(notes, n)
		at += step
	}
	return notes, at + 1
}

func TestStruckTimbres(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 15))
	for _, timbre := range instruments.Timbres() {
		s := &scores{name: timbre.Name}
		for run := range 3 {
			notes, seconds := line(rng, timbre.Low, timbre.Hi, 10, 0.3)
			x := timbre.Play(48000, 440, notes, seconds, uint64(run))
			in, err := Struck(t.Context(), x, 48000, Hearing{}, nil, true)
			if err != nil {
				t.Fatal(err)
			}
			s.count(notes, nil, in)
		}
		t.Log(s)
	}
}

func TestStruckSoundfont(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 15))
	for _, p := range instruments.Programs() {
		s := &scores{name: p.Name}
		notes, _ := line(rng, p.Low, p.Hi, 30, 0.3)
		x := instruments.Soundfont(t, p.Number, notes)
		in, err := Struck(t.Context(), x, 48000, Hearing{}, nil, true)
		if err != nil {
			t.Fatal(err)
		}
		s.count(notes, nil, in)
		t.Log(s)
	}
}

var _ = synth.Chords
var _ = theory.C
