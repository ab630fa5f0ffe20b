package synth

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"singback/theory"
)

func key(t *testing.T, name string) theory.Key {
	t.Helper()
	k, err := theory.ParseModalKey(name)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func spell(ps []theory.Pitch) string {
	var s []string
	for _, p := range ps {
		s = append(s, p.ASCII())
	}
	return strings.Join(s, " ")
}

// Semitones above the tonic in the bass octave, bass to soprano: I–IV–V7–I and
// i–iv–V7–i as harmony is taught (common practice; checked by rule below).
func TestCadenceVoicing(t *testing.T) {
	want := map[theory.Mode][4][4]int{
		theory.Major: {{0, 12, 16, 19}, {5, 12, 17, 21}, {7, 11, 17, 19}, {0, 12, 16, 19}},
		theory.Minor: {{0, 12, 15, 19}, {5, 12, 17, 20}, {7, 11, 17, 19}, {0, 12, 15, 19}},
	}
	for _, k := range theory.Keys() {
		for octave := 1; octave <= 7; octave++ {
			chords := CadencePitches(k, octave)
			tonic := chords[0][0]
			if tonic.Note != k.Tonic {
				t.Errorf("%v: the bass starts on %v", k, tonic)
			}
			for i, chord := range chords {
				for j, p := range chord {
					if got := p.MIDI() - tonic.MIDI(); got != want[k.Mode][i][j] {
						t.Errorf("%v, octave %d, chord %d, voice %d: %v is %d above the tonic, want %d", k, octave, i, j, p, got, want[k.Mode][i][j])
					}
					if p.MIDI() < 36 || p.MIDI() > 84 {
						t.Errorf("%v, octave %d: %v lies outside C2 … C6", k, octave, p)
					}
				}
			}
		}
		// From C3 as tonic to B4 nothing has to move.
		for octave := 3; octave <= 4; octave++ {
			if got := CadencePitches(k, octave)[0][0].Octave; got != octave-1 && k.Tonic.Alter >= 0 {
				t.Errorf("%v: with the tonic in octave %d the bass starts in octave %d, want %d", k, octave, got, octave-1)
			}
		}
	}
}

func TestCadenceSpelling(t *testing.T) {
	for _, c := range []struct{ key, want string }{
		{"C major", "C3 C4 E4 G4|F3 C4 F4 A4|G3 B3 F4 G4|C3 C4 E4 G4"},
		{"Ab major", "Ab3 Ab4 C5 Eb5|Db4 Ab4 Db5 F5|Eb4 G4 Db5 Eb5|Ab3 Ab4 C5 Eb5"},
		{"F# major", "F#3 F#4 A#4 C#5|B3 F#4 B4 D#5|C#4 E#4 B4 C#5|F#3 F#4 A#4 C#5"},
		{"G minor", "G3 G4 Bb4 D5|C4 G4 C5 Eb5|D4 F#4 C5 D5|G3 G4 Bb4 D5"},
		{"G# minor", "G#3 G#4 B4 D#5|C#4 G#4 C#5 E5|D#4 F##4 C#5 D#5|G#3 G#4 B4 D#5"},
		{"Ab minor", "Ab3 Ab4 Cb5 Eb5|Db4 Ab4 Db5 Fb5|Eb4 G4 Db5 Eb5|Ab3 Ab4 Cb5 Eb5"},
	} {
		var got []string
		for _, chord := range CadencePitches(key(t, c.key), 4) {
			got = append(got, spell(chord[:]))
		}
		if s := strings.Join(got, "|"); s != c.want {
			t.Errorf("%s: %s, want %s", c.key, s, c.want)
		}
	}
}

// The rules of four-part writing (common practice).
func TestCadenceIsLedProperly(t *testing.T) {
	for _, k := range theory.Keys() {
		chords := CadencePitches(k, 4)
		for i, chord := range chords {
			for j := 1; j < 4; j++ {
				if chord[j].MIDI() <= chord[j-1].MIDI() {
					t.Errorf("%v, chord %d: %v does not lie above %v", k, i, chord[j], chord[j-1])
				}
			}
		}
		for i := 1; i < 4; i++ {
			a, b := chords[i-1], chords[i]
			for low := range 4 {
				for high := low + 1; high < 4; high++ {
					before, after := (a[high].MIDI()-a[low].MIDI())%12, (b[high].MIDI()-b[low].MIDI())%12
					moved := a[low] != b[low] && a[high] != b[high]
					if moved && before == after && (before == 0 || before == 7) {
						t.Errorf("%v, chord %d to %d: voices %d and %d move in parallel fifths or octaves", k, i-1, i, low, high)
					}
					if b[low].MIDI() > a[high].MIDI() || b[high].MIDI() < a[low].MIDI() {
						t.Errorf("%v, chord %d to %d: voices %d and %d overlap", k, i-1, i, low, high)
					}
				}
			}
			for j := 1; j < 4; j++ {
				if d := b[j].MIDI() - a[j].MIDI(); d > 5 || d < -5 {
					t.Errorf("%v, chord %d to %d: voice %d leaps by %d semitones", k, i-1, i, j, d)
				}
				if s := a[j].IntervalTo(b[j]).String(); strings.ContainsAny(s, "Ad") {
					t.Errorf("%v, chord %d to %d: voice %d moves by %s", k, i-1, i, j, s)
				}
			}
		}
		ti, fa := k.Note(theory.Degree{Step: 7}), k.Note(theory.Degree{Step: 4})
		tis := 0
		for j := range 4 {
			step := chords[2][j].IntervalTo(chords[3][j])
			switch chords[2][j].Note {
			case ti:
				tis++
				if step != (theory.Interval{Steps: 1, Semitones: 1}) {
					t.Errorf("%v: ti goes by %v, want up a minor second", k, step)
				}
			case fa:
				if step.Steps != -1 {
					t.Errorf("%v: the seventh goes by %v, want down a step", k, step)
				}
			}
		}
		if tis != 1 {
			t.Errorf("%v: ti sounds in %d voices of V7, want 1", k, tis)
		}
	}
}

func TestScale(t *testing.T) {
	for _, c := range []struct{ key, want string }{
		{"Eb major", "Eb4 F4 G4 Ab4 Bb4 C5 D5 Eb5 D5 C5 Bb4 Ab4 G4 F4 Eb4"},
		{"A minor", "A4 B4 C5 D5 E5 F#5 G#5 A5 G5 F5 E5 D5 C5 B4 A4"},
		{"C# minor", "C#4 D#4 E4 F#4 G#4 A#4 B#4 C#5 B4 A4 G#4 F#4 E4 D#4 C#4"},
		{"D dorian", "D4 E4 F4 G4 A4 B4 C5 D5 C5 B4 A4 G4 F4 E4 D4"},
		{"F lydian", "F4 G4 A4 B4 C5 D5 E5 F5 E5 D5 C5 B4 A4 G4 F4"},
	} {
		ps := ScalePitches(key(t, c.key), 4)
		if got := spell(ps[:]); got != c.want {
			t.Errorf("%s: %s, want %s", c.key, got, c.want)
		}
	}
}

// What is played is what is written, in hertz, and nothing leaves the register.
func TestPhrases(t *testing.T) {
	for _, k := range theory.Keys() {
		for octave := 1; octave <= 7; octave++ {
			scale := ScalePitches(k, octave)
			for i, s := range Scale(k, a440, octave) {
				if s.Hz != a440.Hz(scale[i]) {
					t.Errorf("%v: note %d of the scale sounds at %g Hz, want %g", k, i, s.Hz, a440.Hz(scale[i]))
				}
			}
			for i, s := range Cadence(k, a440, octave) {
				if want := a440.Hz(CadencePitches(k, octave)[i/4][i%4]); s.Hz != want {
					t.Errorf("%v: note %d of the cadence sounds at %g Hz, want %g", k, i, s.Hz, want)
				}
			}
			drone, tonic := Drone(k, a440, octave), Tonic(k, a440, octave)
			if len(tonic) != 1 || len(drone) != 2 || drone[0].Hz != tonic[0].Hz {
				t.Errorf("%v: tonic %v, drone %v: want one note, and two of which the first is the same", k, tonic, drone)
			}
			// The tempered fifth is 700 cents.
			if c := cents(drone[1].Hz, drone[0].Hz); c < 699.999 || c > 700.001 {
				t.Errorf("%v: the drone's fifth has %g cents, want 700", k, c)
			}
			for s := ByCadence; s <= ByDrone; s++ {
				for _, n := range s.Phrase(k, a440, octave) {
					if n.Hz < 65.4 || n.Hz > 1046.6 { // C2 and C6
						t.Errorf("%v, octave %d: %v plays %g Hz, outside C2 … C6", k, octave, s, n.Hz)
					}
				}
			}
		}
	}
	if got := Tonic(key(t, "A minor"), theory.Tuning{A4: 442}, 4)[0].Hz; got < 441.9999 || got > 442.0001 {
		t.Errorf("the tonic of A minor at A4 = 442 sounds at %g Hz", got)
	}
}

func TestParseKeySetting(t *testing.T) {
	for i, name := range KeySettingNames() {
		got, err := ParseKeySetting(" " + strings.ToUpper(name))
		if err != nil || got != KeySetting(i) || got.String() != name {
			t.Errorf("ParseKeySetting(%q) = %v, %v", name, got, err)
		}
	}
	if _, err := ParseKeySetting("arpeggio"); !errors.Is(err, ErrKeySetting) || !strings.Contains(err.Error(), "cadence, scale, tonic, drone") {
		t.Errorf("ParseKeySetting(arpeggio): %v, want ErrKeySetting and the choices", err)
	}
}

func FuzzParseKeySetting(f *testing.F) {
	for _, name := range append(KeySettingNames(), "", "Cadence ", "x") {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		s, err := ParseKeySetting(name)
		if err == nil && !strings.EqualFold(s.String(), strings.TrimSpace(name)) {
			t.Errorf("%q was read as %v", name, s)
		}
	})
}

func ExampleCadencePitches() {
	k, _ := theory.ParseKey("F minor")
	for _, chord := range CadencePitches(k, 4) {
		fmt.Println(chord)
	}
	// Output:
	// [F3 F4 A♭4 C5]
	// [B♭3 F4 B♭4 D♭5]
	// [C4 E4 B♭4 C5]
	// [F3 F4 A♭4 C5]
}

// In just intonation the chords of the cadence stand in the ratios that make
// them pure (4:5:6, 10:12:15, and 36:45:64 for sol, ti, fa): any text on tuning.
// The scale has the re that was chosen, and nothing but the tonic stays where
// equal temperament has it.
func TestPhrasesInTunings(t *testing.T) {
	tuned := func(s string) theory.Tuning {
		tuning, err := theory.ParseTuning(s, 440)
		if err != nil {
			t.Fatal(err)
		}
		return tuning
	}
	for _, name := range []string{"C", "Ab", "F# minor"} {
		k := key(t, name)
		third := 5.0 / 4
		if k.Mode == theory.Minor {
			third = 6.0 / 5
		}
		sixth := third * 4 / 3
		want := [4][4]float64{
			{1, 2, 2 * third, 3}, {4.0 / 3, 2, 8.0 / 3, 2 * sixth}, {3.0 / 2, 15.0 / 8, 8.0 / 3, 3}, {1, 2, 2 * third, 3},
		}
		p := Cadence(k, tuned("just"), 4)
		tonic := tuned("equal").Hz(CadencePitches(k, 4)[0][0])
		for i, sound := range p {
			if got := sound.Hz / tonic; math.Abs(got-want[i/4][i%4]) > 1e-9 {
				t.Errorf("%s, chord %d, voice %d: %.6f of the tonic, want %.6f", name, i/4, i%4, got, want[i/4][i%4])
			}
		}
		for system, re := range map[string]float64{"just": 9.0 / 8, "just re=10/9": 10.0 / 9, "pythagorean": 9.0 / 8, "equal": math.Exp2(2.0 / 12)} {
			s := Scale(k, tuned(system), 4)
			if got := s[1].Hz / s[0].Hz; math.Abs(got-re) > 1e-9 {
				t.Errorf("%s: re in %s is %.6f of the tonic, want %.6f", name, system, got, re)
			}
			if got := s[7].Hz / s[0].Hz; math.Abs(got-2) > 1e-9 {
				t.Errorf("%s: the octave in %s is %.6f", name, system, got)
			}
		}
		for system, fifth := range map[string]float64{"just": 1.5, "pythagorean": 1.5, "equal": math.Exp2(7.0 / 12)} {
			d := Drone(k, tuned(system), 4)
			if got := d[1].Hz / d[0].Hz; math.Abs(got-fifth) > 1e-9 {
				t.Errorf("%s: the drone's fifth in %s is %.6f, want %.6f", name, system, got, fifth)
			}
		}
		if a, b := Tonic(k, tuned("just"), 4)[0].Hz, Tonic(k, tuned("equal"), 4)[0].Hz; math.Abs(a-b) > 1e-9 {
			t.Errorf("%s: the tonic is %v Hz in just and %v Hz in equal tuning", name, a, b)
		}
	}
}
