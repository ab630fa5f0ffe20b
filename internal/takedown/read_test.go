package takedown

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/theory"
)

// tone is a note of a take; the curve lies at its pitch.
type tone struct {
	midi, from, to float64
}

// take is a performance of tones.
func take(tones ...tone) (p grade.Performance) {
	for _, n := range tones {
		p.Notes = append(p.Notes, grade.Sung{Cents: 100 * n.midi, Onset: n.from, Offset: n.to, Level: -20})
		for at := n.from; at < n.to; at += 0.01 {
			p.Curve = append(p.Curve, grade.Moment{At: at, Cents: 100 * n.midi, Voiced: true})
		}
	}
	return p
}

// ups reads a take whose first note is home and returns the semitones above it.
func ups(t *testing.T, p grade.Performance) (ups []int, taken Taken) {
	t.Helper()
	home, err := FirstHeld(p, 0)
	if err != nil {
		t.Fatal(err)
	}
	taken, err = Read(p, Options{Home: home, A4: 440, From: home.Offset, Profile: theory.Profiles()[0]})
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range taken.Notes {
		ups = append(ups, n.Up)
	}
	return ups, taken
}

func TestRead(t *testing.T) {
	home := tone{45.3, 0, 1.5}
	for _, c := range []struct {
		rule  string
		tones []tone
		want  []int
	}{
		{"degrees are counted from the home as it was sung", []tone{{45.3, 3, 3.5}, {50.3, 3.6, 4}, {40.3, 4.2, 5}}, []int{0, 5, -5}},
		{"a singer who drifts is followed", []tone{
			{45.35, 3, 4}, {49.4, 4, 5}, {52.45, 5, 6}, {45.5, 6, 7}, {50.55, 7, 8}, {52.6, 8, 9}, {45.65, 9, 10}, {49.7, 10, 11}, {52.75, 11, 12}, {45.8, 12, 13}, {50.82, 13, 14},
		}, []int{0, 4, 7, 0, 5, 7, 0, 4, 7, 0, 5}},
		{"what is too short is no note, and a short slide is the beginning of the next", []tone{{45.3, 3, 3.5}, {60, 3.7, 3.75}, {48, 4, 4.1}, {50.3, 4.1, 5}}, []int{0, 5}},
		{"a slip of an octave within a note is undone", []tone{{45.3, 3, 3.6}, {57.3, 3.6, 3.8}, {50.3, 4, 5}}, []int{0, 5}},
		{"one note an octave off both neighbours is undone", []tone{{45.3, 3, 3.5}, {64.3, 4, 4.5}, {47.3, 5, 6}}, []int{0, 7, 2}},
		{"an octave is sung where it is joined to neither", []tone{{45.3, 3, 3.5}, {57.3, 4, 4.5}, {45.3, 5, 6}}, []int{0, 12, 0}},
		{"a syllable that is sung again is a note", []tone{{45.3, 3, 3.5}, {45.3, 3.5, 4}, {45.3, 4.1, 4.6}}, []int{0, 0, 0}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got, taken := ups(t, take(append([]tone{home}, c.tones...)...))
			if len(got) != len(c.want) {
				t.Fatalf("%v, want %v", got, c.want)
			}
			for i := range got {
				if got[i] != c.want[i] || taken.Notes[i].Unclear != Clear {
					t.Errorf("%v, want %v; note %d %v", got, c.want, i, taken.Notes[i].Unclear)
				}
			}
		})
	}
}

// The home lies where it was sung, whatever the piano has there; it is named by the
// nearest key, or as told.
func TestHome(t *testing.T) {
	p := take(tone{45.3, 0, 1.5}, tone{45.3, 3, 4}, tone{49.3, 4, 5}, tone{52.3, 5, 6})
	_, taken := ups(t, p)
	if midi, off := taken.Home.Pitch(440); midi != 45 || math.Abs(float64(off)-30) > 1 || taken.Key.ASCII() != "A major" {
		t.Errorf("home %d %+.0f, %s", midi, float64(off), taken.Key.ASCII())
	}
	if midi, off := (Home{Cents: 4551}).Pitch(440); midi != 46 || off != -49 {
		t.Errorf("%d %v", midi, off)
	}
	if midi, off := (Home{Cents: 4550}).Pitch(440); midi != 45 || off != 50 {
		t.Errorf("%d %v", midi, off)
	}
	minor := take(tone{45, 0, 1.5}, tone{45, -1, 0}, tone{52, 0, 1}, tone{45, 1, 2}, tone{50, 2, 3}, tone{45, 3, 4}, tone{48, 4, 5}, tone{52, 5, 6}, tone{53, 6, 7}, tone{45, 7, 8})
	if _, taken := ups(t, minor); taken.Key.ASCII() != "A minor" || taken.Minor <= taken.Major {
		t.Errorf("%s: %.2f, %.2f", taken.Key.ASCII(), taken.Major, taken.Minor)
	}
	if _, err := FirstHeld(take(tone{45, 0, 0.4}, tone{47, 1, 1.4}), 0); !errors.Is(err, ErrNoHome) {
		t.Errorf("short notes: %v", err)
	}
	again := take(tone{45, 0, 1.5}, tone{47, 2, 3.5}, tone{50, 5, 6})
	if h, err := FirstHeld(again, 4); err != nil || h.Cents != 4700 {
		t.Errorf("the last before it was confirmed: %v, %v", h, err)
	}
	if _, err := Read(take(tone{45, 0, 1.5}), Options{Home: Home{Cents: 4500}, A4: 440, From: 2, Profile: theory.Profiles()[0]}); !errors.Is(err, ErrNoNotes) {
		t.Errorf("nothing after home: %v", err)
	}
	k := theory.Key{Tonic: theory.Note{Letter: theory.B, Alter: -1}}
	if h, err := OfKey(take(tone{46.2, 0, 1}, tone{50.2, 1, 2}, tone{53.2, 2, 3}), k, 440); err != nil || math.Abs(h.Cents-4620) > 1 {
		t.Errorf("of a key: %v, %v", h, err)
	}
	h, keys, _, err := Find(take(tone{43.3, 0, 1}, tone{48.3, 1, 2}, tone{50.3, 2, 3}, tone{47.3, 3, 4}, tone{45.3, 4, 5}, tone{38.3, 5, 6}, tone{43.3, 6, 8}), nil, 440, theory.Profiles()[0])
	if err != nil || keys[0].Key.ASCII() != "G major" || math.Abs(h.Cents-4330) > 1 {
		t.Errorf("found %v, %v, %v", h, keys[0], err)
	}
}

// What is not clear is marked: a note between two degrees, and one that has no pitch
// of its own.
func TestUnclear(t *testing.T) {
	p := take(tone{45, 0, 1.5}, tone{45, 3, 4}, tone{52, 4.1, 5}, tone{45, 5.1, 6}, tone{50, 6.1, 7}, tone{45, 7.1, 8},
		tone{49, 8.1, 9}, tone{49.5, 9.1, 9.4}, tone{45, 10, 11}, tone{52, 11.1, 12})
	for at := 12.2; at < 13.2; at += 0.01 { // a glide over an octave
		p.Curve = append(p.Curve, grade.Moment{At: at, Cents: 4500 + 1200*(at-12.2), Voiced: true})
	}
	p.Notes = append(p.Notes, grade.Sung{Cents: 5100, Onset: 12.2, Offset: 13.2, Level: -20})
	_, taken := ups(t, p)
	var got []Unclear
	for _, n := range taken.Notes {
		got = append(got, n.Unclear)
	}
	want := []Unclear{Clear, Clear, Clear, Clear, Clear, Clear, Between, Clear, Clear, Unsteady}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("note %d: %q, want %q", i, got[i], want[i])
		}
	}
	laid := taken.Line(&Beats{Meter: common, At: []float64{3, 4, 5, 6, 7, 8, 9, 10, 11, 12}}, "", 2)
	if text, err := laid.Text(theory.Movable, nil); err != nil || !containsLine(text, "bass   | do sol do fa | do mi ? do | sol ? - - |") {
		t.Errorf("%v:\n%s", err, text)
	}
}

func containsLine(text, line string) bool { return slices.Contains(strings.Split(text, "\n"), line) }

// Notes are laid into bars: late ones, one that was mended, a pickup, a rest.
func TestLine(t *testing.T) {
	beats := Beats{Meter: common, At: []float64{4, 4.6, 5.2, 5.8, 6.4, 7, 7.6, 8.2, 8.8}}
	home := tone{45, 0, 1.5}
	for _, c := range []struct {
		rule, want string
		tones      []tone
	}{
		{"to the beat", "bass   | do - sol fa | do - - - |", []tone{{45, 4.05, 5.1}, {52, 5.25, 5.7}, {50, 5.83, 6.3}, {45, 6.45, 8.6}}},
		{"halves of a beat", "bass   | do.re mi fa - | do - - - |", []tone{{45, 4.05, 4.3}, {47, 4.35, 4.6}, {49, 4.65, 5.2}, {50, 5.25, 6.3}, {45, 6.45, 8.6}}},
		{"a singer who waits means the beat", "bass   | do sol fa - | do - - - |", []tone{{45, 4.05, 4.6}, {52, 4.9, 5.2}, {50, 5.25, 6.3}, {45, 6.45, 8.6}}},
		{"a wrong note that is mended", "bass   | do - sol - | do - - - |", []tone{{45, 4.05, 5.1}, {50, 5.25, 5.42}, {52, 5.42, 6.3}, {45, 6.45, 8.6}}},
		{"a pickup", "bass   | sol | do - mi - | do - - - |", []tone{{52, 3.45, 3.95}, {45, 4.05, 5.1}, {49, 5.25, 6.3}, {45, 6.45, 8.6}}},
		{"a rest", "bass   | do 0 - sol | do - - - |", []tone{{45, 4.05, 4.6}, {52, 5.85, 6.3}, {45, 6.45, 8.6}}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			_, taken := ups(t, take(append([]tone{home}, c.tones...)...))
			laid := taken.Line(&beats, "", 2)
			text, err := laid.Text(theory.Movable, nil)
			if err != nil {
				t.Fatal(err)
			}
			if !containsLine(text, c.want) {
				t.Errorf("%s\nwant %s", text, c.want)
			}
		})
	}
}

// A bass is written where basses lie, in whatever octave it was sung.
func TestOctavesAbove(t *testing.T) {
	for _, c := range []struct{ home, want int }{{2, 0}, {3, 0}, {4, 1}, {5, 2}, {1, -1}, {0, -2}} {
		p := theory.Pitch{Note: theory.Note{Letter: theory.D}, Octave: c.home}
		taken := Taken{Notes: []Note{{Up: 0}, {Up: 5}, {Up: 7}, {Up: -5}, {Up: 0}}}
		if got := OctavesAbove(taken, p); got != c.want {
			t.Errorf("home D%d: %d octaves, want %d", c.home, got, c.want)
		}
	}
}
