package class

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"singback/exercise/grade"
)

// performances are what may have been measured: curves with even and uneven steps,
// holes, notes.
func performances(t *rapid.T) grade.Performance {
	var p grade.Performance
	at := rapid.Float64Range(0, 1).Draw(t, "start")
	voiced, cents := false, 6000.0
	for range rapid.IntRange(0, 300).Draw(t, "points") {
		at += rapid.SampledFrom([]float64{0.01, 0.01, 0.01, 0.0123, 0.5}).Draw(t, "step")
		if rapid.IntRange(0, 20).Draw(t, "turn") == 0 {
			voiced = !voiced
		}
		cents += rapid.Float64Range(-40, 40).Draw(t, "change")
		m := grade.Moment{At: at, Voiced: voiced}
		if voiced {
			m.Cents = cents
		}
		p.Curve = append(p.Curve, m)
	}
	on := 0.0
	for range rapid.IntRange(0, 20).Draw(t, "notes") {
		on += rapid.Float64Range(0.001, 2).Draw(t, "wait")
		n := grade.Sung{Onset: on, Offset: on + rapid.Float64Range(0.05, 3).Draw(t, "length"), Cents: rapid.Float64Range(0, 12700).Draw(t, "cents"), Level: rapid.Float64Range(-90, 0).Draw(t, "level")}
		on = n.Offset
		p.Notes = append(p.Notes, n)
	}
	return p
}

// What is kept is what was measured, to the grain, and is kept the same again.
func TestPack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := performances(t)
		got, b, err := Grained(p)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Curve) != len(p.Curve) || len(got.Notes) != len(p.Notes) {
			t.Fatalf("%d points and %d notes of %d and %d", len(got.Curve), len(got.Notes), len(p.Curve), len(p.Notes))
		}
		near := func(what string, a, b, most float64) {
			if math.Abs(a-b) > most {
				t.Fatalf("%s: %v became %v", what, b, a)
			}
		}
		for i, m := range got.Curve {
			near("time", m.At, p.Curve[i].At, 0.5001/timeGrain)
			if m.Voiced != p.Curve[i].Voiced {
				t.Fatalf("point %d: voiced %v", i, m.Voiced)
			}
			near("cents", m.Cents, p.Curve[i].Cents, 0.5001/centsGrain)
		}
		for i, n := range got.Notes {
			near("onset", n.Onset, p.Notes[i].Onset, 0.5001/timeGrain)
			near("offset", n.Offset, p.Notes[i].Offset, 0.5001/timeGrain)
			near("cents", n.Cents, p.Notes[i].Cents, 0.5001/centsGrain)
			near("level", n.Level, p.Notes[i].Level, 0.5001/levelGrain)
		}
		again, err := Pack(got)
		if err != nil || !bytes.Equal(again, b) {
			t.Fatalf("it is not kept the same again (%v)", err)
		}
	})
}

// A number that is none is an error, not a curve with a hole.
func TestPackRefuses(t *testing.T) {
	for _, p := range []grade.Performance{
		{Curve: []grade.Moment{{At: math.NaN()}}},
		{Curve: []grade.Moment{{At: 1, Voiced: true, Cents: math.Inf(1)}}},
		{Notes: []grade.Sung{{Onset: 0, Offset: 1, Cents: math.NaN()}}},
	} {
		if _, err := Pack(p); err == nil {
			t.Errorf("%+v was kept", p)
		}
	}
}

// Bytes from outside are refused or read, and what is read is kept the same again.
func FuzzUnpack(f *testing.F) {
	for _, p := range []grade.Performance{{}, {
		Curve: []grade.Moment{{At: 0.01, Voiced: true, Cents: 6000}, {At: 0.02, Voiced: true, Cents: 6003}, {At: 0.03}},
		Notes: []grade.Sung{{Onset: 0.01, Offset: 0.3, Cents: 6001, Level: -20}},
	}} {
		b, err := Pack(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte{})
	f.Add([]byte{2, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := Unpack(b)
		if err != nil {
			if !errors.Is(err, ErrPacked) {
				t.Fatal(err)
			}
			return
		}
		again, err := Pack(p)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Unpack(again)
		if err != nil || len(back.Curve) != len(p.Curve) || len(back.Notes) != len(p.Notes) {
			t.Fatalf("what was read is not read again: %v", err)
		}
	})
}
