package compose

import (
	"reflect"
	"strings"
	"testing"

	"singback/theory"
)

// What a phrase to be sung back must be, for every level, length and voice.
func TestEchoes(t *testing.T) {
	stableEnds, all := 0, 0
	for level := 1; level <= Levels; level++ {
		for notes := MinEcho; notes <= MaxEcho; notes++ {
			o := MelodyOrder{Level: level, Count: 8, Seed: uint64(level), Range: theory.Range{Low: 48, High: 69}} // C3 to A4
			es, err := NewEchoes(o, notes)
			if err != nil {
				if level == 1 { // there are few lines of three or four pitches
					continue
				}
				t.Fatalf("level %d, %d notes: %v", level, notes, err)
			}
			seen := map[string]bool{}
			for _, e := range es {
				s := e.Score
				if len(s.Notes) != notes || s.Validate() != nil || s.Meter.Valid() {
					t.Fatalf("level %d: %d notes, %v", level, len(s.Notes), s.Validate())
				}
				for _, n := range s.Notes {
					if m := n.Pitch.MIDI(); n.Rest || !o.Range.Contains(n.Pitch) {
						t.Fatalf("level %d: a rest, or MIDI note %d", level, m)
					}
				}
				if f := fingerprint(s); seen[f] {
					t.Fatalf("level %d, %d notes: the same phrase twice", level, notes)
				} else {
					seen[f] = true
				}
				triad := func(p theory.Pitch) bool {
					up := theory.Pitch{Note: s.Key.Tonic}.IntervalTo(p).Semitones
					third := 4
					if s.Key.Mode == theory.Minor {
						third = 3
					}
					c := ((up % 12) + 12) % 12
					return c == 0 || c == third || c == 7
				}
				if !triad(s.Notes[0].Pitch) {
					t.Fatalf("level %d: %s begins on %s", level, s.Key.ASCII(), s.Notes[0].Pitch)
				}
				all++
				if triad(s.Notes[notes-1].Pitch) {
					stableEnds++
				}
			}
			again, err := NewEchoes(o, notes)
			if err != nil || !reflect.DeepEqual(es, again) {
				t.Fatalf("level %d: another series from the same seed", level)
			}
		}
	}
	if 2*stableEnds < all {
		t.Errorf("%d of %d phrases end on the tonic triad", stableEnds, all)
	}
	t.Logf("%d of %d phrases end on the tonic triad", stableEnds, all)
}

func TestEchoesRefused(t *testing.T) {
	for _, c := range []struct {
		o     MelodyOrder
		notes int
	}{
		{MelodyOrder{Level: 2, Count: 1}, 1}, {MelodyOrder{Level: 2, Count: 1}, 8},
		{MelodyOrder{Level: 2, Count: 0}, 4}, {MelodyOrder{Level: 8, Count: 1}, 4},
		{MelodyOrder{Level: 1, Count: 1000}, 2}, // there are not so many
	} {
		if _, err := NewEchoes(c.o, c.notes); err == nil {
			t.Errorf("%+v, %d notes: taken", c.o, c.notes)
		}
	}
}

// Phrases of a line are stretches of it, in its order, none twice, without rests and
// in the key of their place.
func TestEchoesOf(t *testing.T) {
	one := theory.Fraction{Num: 1, Den: 1}
	s := theory.Score{Key: theory.Key{Tonic: theory.Note{Letter: theory.C}}, Changes: []theory.Change{{At: theory.Fraction{Num: 9, Den: 1}, Key: theory.Key{Tonic: theory.Note{Letter: theory.G}}}}}
	for _, r := range "CDE CDECDEFFFGAG" {
		w := theory.Written{Rest: r == ' ', Length: one}
		if !w.Rest {
			n, err := theory.ParsePitch(string(r) + "4")
			if err != nil {
				t.Fatal(err)
			}
			w.Pitch = n
		}
		s.Notes = append(s.Notes, w)
	}
	for _, c := range []struct {
		notes, count int
		want         string
	}{
		{3, 9, "CDE C, DEC C, DEF C, FFG G"},
		{3, 2, "CDE C, DEC C"},
		{5, 9, "CDECD C, EFFFG G"},
	} {
		es, err := EchoesOf(s, c.notes, c.count)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, e := range es {
			text := ""
			for _, n := range e.Score.Notes {
				text += n.Pitch.Letter.String()
			}
			got = append(got, text+" "+e.Score.Key.Tonic.ASCII())
			if err := e.Score.Validate(); err != nil || e.Level != 0 {
				t.Errorf("%v, level %d", err, e.Level)
			}
		}
		if strings.Join(got, ", ") != c.want {
			t.Errorf("%d notes: %v, want %s", c.notes, got, c.want)
		}
	}
	for _, notes := range []int{1, 7, 8} {
		if es, err := EchoesOf(theory.Score{Notes: s.Notes[9:13]}, notes, 3); err == nil {
			t.Errorf("%d notes: %v", notes, es)
		}
	}
}
