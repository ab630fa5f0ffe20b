package notation

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"singback/exercise/compose"
	"singback/theory"
)

// melodies are generated ones of all levels, in all keys in turn.
func melodies(t testing.TB, each int) []theory.Score {
	t.Helper()
	var out []theory.Score
	keys := theory.Keys()
	for level := 1; level <= compose.Levels; level++ {
		for i := range each {
			k := keys[(7*level+i)%len(keys)]
			ms, err := compose.NewMelodies(compose.MelodyOrder{Level: level, Key: &k, Count: 1, Seed: uint64(i)})
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, ms[0].Score)
		}
	}
	return out
}

// decorated adds what the generator does not make: words, slurs, rests at both
// ends, long and odd lengths, five in the time of four, no meter.
func decorated(t testing.TB) []theory.Score {
	f := theory.NewFraction
	p := func(s string) theory.Pitch {
		q, err := theory.ParsePitch(s)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	note := func(name string, length theory.Fraction) theory.Written {
		return theory.Written{Pitch: p(name), Length: length}
	}
	rest := func(length theory.Fraction) theory.Written { return theory.Written{Rest: true, Length: length} }
	a := theory.Score{Title: `The <first> & "last" 100 %`, Key: theory.Key{Tonic: theory.Note{Letter: theory.E, Alter: -1}}, Meter: theory.Meter{Beats: 3, Unit: 4}, Tempo: 66.5,
		Start: f(1, 1), Notes: []theory.Written{note("Bb3", f(1, 1)), note("Eb4", f(5, 2)), note("F4", f(1, 2)), note("Gb4", f(1, 8)), note("G4", f(7, 8)), note("Ab4", f(13, 4)),
			note("A4", f(3, 4)), note("Bb4", f(1, 1)), rest(f(1, 1)), note("Bbb4", f(7, 4)), note("F##4", f(1, 4)), rest(f(1, 2)), note("Eb4", f(1, 2))}}
	a.Notes[0].Words, a.Notes[1].Words, a.Notes[2].Words, a.Notes[3].Words = "Al-", "le-", "lu_ja*|%", "two words"
	a.Notes[2].Slur, a.Notes[3].Slur, a.Notes[6].Slur = true, true, true
	b := theory.Score{Key: theory.Key{Tonic: theory.Note{Letter: theory.A}, Mode: theory.Minor}, Notes: []theory.Written{note("A4", f(1, 1)), note("B4", f(1, 5)), note("C5", f(1, 5)),
		note("D5", f(1, 5)), note("C5", f(2, 5)), rest(f(1, 3)), note("A4", f(2, 3)), note("A4", f(16, 1))}}
	c := theory.Score{Key: theory.Key{Mode: theory.Dorian, Tonic: theory.Note{Letter: theory.D}}, Meter: theory.Meter{Beats: 5, Unit: 8}, Tempo: 90,
		Notes:   []theory.Written{rest(f(5, 2)), note("D4", f(9, 2)), note("C6", f(1, 2)), note("C2", f(7, 2))},
		Changes: []theory.Change{{At: f(5, 1), Key: theory.Key{Mode: theory.Mixolydian, Tonic: theory.Note{Letter: theory.G}}, Meter: theory.Meter{Beats: 4, Unit: 4}}}}
	return []theory.Score{a, b, c}
}

// symbolled adds chord symbols to lines: over notes and rests, within them and in
// tuplets, plain and altered, and text.
func symbolled(t testing.TB) []theory.Score {
	all := decorated(t)
	for i := range all {
		for j, c := range []struct {
			at   theory.Fraction
			text string
		}{{zero, "Eb"}, {one, "Bb7/D"}, {theory.NewFraction(3, 2), "Cm7"}, {theory.NewFraction(5, 2), "Ab6/9"}, {theory.NewFraction(13, 4), "F#m7b5"}, {theory.NewFraction(4, 1), "N.C."},
			{theory.NewFraction(19, 4), "G7(b9,#11)/F"}, {theory.NewFraction(5, 1), `free <"now">`}, {theory.NewFraction(6, 1), "A7b5#5"}} {
			symbol, err := theory.ParseChordSymbol(c.text)
			if (err == nil) != (j != 5 && j != 7) {
				t.Fatalf("%s: %v", c.text, err)
			}
			if symbol.At = c.at; symbol.At.Less(all[i].Length()) {
				all[i].Symbols = append(all[i].Symbols, symbol)
			}
		}
	}
	all[0].Notes[2].Words, all[0].Notes[3].Words = "lu-", "ja" // begin, middle, middle, end
	return all
}

// What is written is read back as the same line, in every format; MIDI has no
// spelling, slurs, modes and chord symbols.
func TestRoundTrip(t *testing.T) {
	all := slices.Concat(melodies(t, 150), decorated(t), symbolled(t))
	for _, f := range []Format{ABC, MusicXML, CompressedMusicXML, MIDI} {
		for _, s := range all {
			var b bytes.Buffer
			if err := Write(&b, s, f); err != nil {
				t.Fatalf("%v: %v\n%v", f, err, s)
			}
			got, warnings, err := Parse("x", b.Bytes(), Options{})
			free := 0 // a chord symbol that is text is warned of
			if s.Symbols != nil && f != MIDI {
				free = 1
			}
			if err != nil || len(warnings) != free {
				t.Fatalf("%v: %v %v\n%s", f, err, warnings, b.String())
			}
			want := s
			if f == ABC && s.Symbols != nil {
				for i, c := range want.Symbols {
					want.Symbols = slices.Clone(want.Symbols)
					want.Symbols[i].Text = strings.ReplaceAll(c.Text, `"`, "'") // ABC has no other sign
				}
			}
			if f == MIDI {
				want, got = sounding(s), sounding(got)
			}
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("%v: got\n%v\nwant\n%v\n%s", f, got, want, b.String())
			}
		}
	}
}

// sounding is what a MIDI file keeps of a line.
func sounding(s theory.Score) theory.Score {
	keep := func(k theory.Key) theory.Key {
		if k.Mode > theory.Minor {
			return k.WithMode(theory.Major)
		}
		return k
	}
	s.Key = keep(s.Key)
	s.Symbols = nil
	s.Notes = append([]theory.Written(nil), s.Notes...)
	s.Changes = append([]theory.Change(nil), s.Changes...)
	for i := range s.Changes {
		s.Changes[i].Key = keep(s.Changes[i].Key)
	}
	for i := range s.Notes {
		n := &s.Notes[i]
		n.Slur = false
		if !n.Rest {
			n.Pitch = theory.Pitch{Octave: n.Pitch.MIDI()}
		}
	}
	return s
}

// A line through degrees, and through the names and signs that a user types, is
// the same line; at both ends there may be more rest.
func TestNamesRoundTrip(t *testing.T) {
	written := 0
	for _, s := range melodies(t, 100) {
		m, octave, err := s.Melody()
		if err != nil {
			if len(s.Changes) > 0 && s.Changes[0].Meter.Pulse() != s.Meter.Pulse() {
				continue
			}
			t.Fatalf("%v\n%v", err, s)
		}
		back, err := m.Score(octave, s.Meter.Pulse())
		if err != nil {
			t.Fatalf("%v\n%v", err, s)
		}
		if got, want := core(back), core(s); got != want {
			t.Fatalf("got\n%s\nwant\n%s", got, want)
		}
		text, err := m.Text(theory.Movable, true)
		if err != nil {
			continue // lengths that tonic sol-fa has no sign for
		}
		written++
		again, _, err := Parse("typed", []byte(text), Options{Key: s.Key, Octave: func(theory.Key) int { return octave }, Pulse: s.Meter.Pulse()})
		if err != nil || core(again) != core(s) {
			t.Fatalf("%s\ngot\n%s, %v\nwant\n%s", text, core(again), err, core(s))
		}
	}
	if written < 400 {
		t.Errorf("only %d of 700 melodies were written in tonic sol-fa", written)
	}
}

// core is a line from its first to its last note.
func core(s theory.Score) string {
	ns := s.Notes
	for ns[0].Rest {
		ns = ns[1:]
	}
	for ns[len(ns)-1].Rest {
		ns = ns[:len(ns)-1]
	}
	return fmt.Sprint(s.Meter, ns)
}
