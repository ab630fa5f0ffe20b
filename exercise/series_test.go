package exercise

import (
	"math"
	"reflect"
	"testing"

	"singback/theory"
)

func TestSeriesMeetsEachOnceBeforeAnyTwice(t *testing.T) {
	base := item(t, "Bb major", "do")
	scale := base.Key.ScaleDegrees()
	for seed := range uint64(50) {
		s, err := NewSeries(base, Order{Asked: scale[:], From: scale[:], Count: 2*42 + 10, Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		// 7·6 = 42 ordered pairs of different degrees.
		for round := range 2 {
			seen := map[Pair]bool{}
			for _, it := range s[42*round : 42*round+42] {
				if *it.From == it.Asked {
					t.Fatalf("seed %d: from %v to itself", seed, it.Asked)
				}
				seen[Pair{*it.From, it.Asked}] = true
			}
			if len(seen) != 42 {
				t.Fatalf("seed %d, round %d: %d different pairs, want 42", seed, round, len(seen))
			}
		}
		for i := 1; i < len(s); i++ {
			if sameQuestion(s[i-1], s[i]) {
				t.Fatalf("seed %d: question %d repeats the one before", seed, i+1)
			}
		}
	}
}

func TestSeriesIsReproducible(t *testing.T) {
	base := item(t, "C major", "do")
	scale := base.Key.ScaleDegrees()
	order := Order{Asked: scale[:], Count: 20, Seed: 7}
	a, _ := NewSeries(base, order)
	b, _ := NewSeries(base, order)
	if !reflect.DeepEqual(a, b) {
		t.Error("the same seed gave two series")
	}
	order.Seed = 8
	if c, _ := NewSeries(base, order); reflect.DeepEqual(a, c) {
		t.Error("another seed gave the same series")
	}
}

func TestSeriesOfOneDegreeRepeatsIt(t *testing.T) {
	base := item(t, "C major", "do")
	s, err := NewSeries(base, Order{Asked: []theory.Degree{{Step: 6}}, Count: 3})
	if err != nil || len(s) != 3 || s[2].Asked.Step != 6 || s[0].From != nil {
		t.Errorf("%v, %v", s, err)
	}
}

func TestSeriesRefuses(t *testing.T) {
	base := item(t, "C major", "do")
	la := []theory.Degree{{Step: 6}}
	for _, o := range []Order{{Asked: la}, {Asked: la, Count: MaxCount + 1}, {Count: 1}, {Asked: la, From: la, Count: 1}} {
		if s, err := NewSeries(base, o); err == nil {
			t.Errorf("%+v gave %d items, want an error", o, len(s))
		}
	}
}

// Every prompt for every voice in every key lies in the working range, or says
// that it was moved by an octave and then lies in it.
func TestPromptsFitTheVoice(t *testing.T) {
	for _, name := range Voices() {
		v, err := VoiceNamed(name)
		if err != nil {
			t.Fatal(err)
		}
		working := Working(v.Range)
		for _, k := range theory.Keys() {
			r := RegisterFor(k, working)
			for _, d := range k.ChromaticDegrees() {
				p, folded := r.Place(k, d)
				if !working.Contains(p) {
					t.Errorf("%s, %v, %v: %v lies outside %v", name, k, d, p, working)
				}
				if home := k.Pitch(d, r.TonicOctave); (home != p) != folded {
					t.Errorf("%s, %v, %v: at %v instead of %v, folded = %v", name, k, d, p, home, folded)
				}
				if p.PitchClass() != k.Note(d).PitchClass() {
					t.Errorf("%s, %v, %v: %v is another note", name, k, d, p)
				}
			}
		}
	}
}

func TestMiddleRegisterLiesAroundMiddleC(t *testing.T) {
	for _, k := range theory.Keys() {
		tonic := k.Pitch(theory.Degree{Step: 1}, MiddleRegister(k).TonicOctave).MIDI()
		if tonic < 54 || tonic > 65 {
			t.Errorf("%v: tonic at MIDI %d, want 54 to 65", k, tonic)
		}
	}
}

func TestTally(t *testing.T) {
	var tally Tally
	la, sol, do := theory.Degree{Step: 6}, theory.Degree{Step: 5}, theory.Degree{Step: 1}
	add := func(asked theory.Degree, from *theory.Degree, o Outcome, cents float64) {
		tally.Add(Item{Asked: asked, From: from}, Verdict{Outcome: o, HasSung: o != NotMeasured, Cents: cents})
	}
	add(la, nil, InTune, 10)
	add(la, nil, Sharp, 40)
	add(la, &do, Flat, -42)
	add(la, &do, OtherDegree, 3)
	add(sol, &do, InTune, -6)
	add(sol, &la, NotMeasured, 0)
	add(sol, &la, Ambiguous, 50)
	add(sol, &la, Unsteady, 0)
	tally.Add(Item{Asked: sol}, Verdict{Outcome: Unsteady}) // no degree: neither right nor wrong

	if c := tally.All; c.Asked != 9 || c.Answered() != 6 || c.Right != 2 || c.Sharp != 1 || c.Flat != 1 || c.Other != 1 || c.Unsteady != 1 || c.NoDegree != 1 || c.NotMeasured != 1 || c.Ambiguous != 1 {
		t.Errorf("all: %+v", c)
	}
	degrees := tally.ByDegree()
	if len(degrees) != 2 || degrees[0].Degree != sol || degrees[1].Degree != la {
		t.Fatalf("by degree: %+v", degrees)
	}
	// The median of an even number of values is the mean of the middle two.
	if m, n := degrees[1].Median(); n != 3 || m != 10 {
		t.Errorf("la: median %g of %d, want 10 of 3", m, n)
	}
	if m, n := degrees[0].Median(); n != 1 || m != -6 {
		t.Errorf("sol: median %g of %d, want -6 of 1", m, n)
	}
	if m, n := tally.All.Median(); n != 4 || m != 2 {
		t.Errorf("all: median %g of %d, want 2 of 4", m, n)
	}
	pairs := tally.ByPair()
	want := []Pair{{do, sol}, {do, la}, {la, sol}}
	if len(pairs) != len(want) {
		t.Fatalf("by pair: %+v", pairs)
	}
	for i, p := range pairs {
		if p.Pair != want[i] {
			t.Errorf("pair %d: %v, want %v", i, p.Pair, want[i])
		}
	}
	if m, n := pairs[2].Median(); n != 0 || m != 0 || math.IsNaN(m) {
		t.Errorf("a pair without a measured answer: median %g of %d", m, n)
	}
}
