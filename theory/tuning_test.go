package theory_test

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	. "singback/theory"

	"pgregory.net/rapid"
)

// Equal temperament on A4 = 440 Hz as any frequency table prints it.
func TestHz(t *testing.T) {
	tuning, err := NewTuning(DefaultA4)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		pitch string
		midi  int
		hz    float64
	}{
		{"C2", 36, 65.406}, {"E2", 40, 82.407}, {"A2", 45, 110.000}, {"C3", 48, 130.813},
		{"A3", 57, 220.000}, {"C4", 60, 261.626}, {"E4", 64, 329.628}, {"G4", 67, 391.995},
		{"A4", 69, 440.000}, {"C5", 72, 523.251}, {"A5", 81, 880.000}, {"C6", 84, 1046.502},
	} {
		p, err := ParsePitch(c.pitch)
		if err != nil {
			t.Fatal(err)
		}
		if p.MIDI() != c.midi {
			t.Errorf("%s is MIDI %d, want %d", c.pitch, p.MIDI(), c.midi)
		}
		if got := tuning.Hz(p); math.Abs(got-c.hz) > 0.0005 {
			t.Errorf("%s = %.4f Hz, want %.3f", c.pitch, got, c.hz)
		}
	}
	// What is spelled differently and sounds alike has one frequency.
	for _, pair := range [][2]string{{"B#3", "C4"}, {"Cb4", "B3"}, {"F##4", "G4"}, {"D#4", "Eb4"}} {
		a, _ := ParsePitch(pair[0])
		b, _ := ParsePitch(pair[1])
		if a == b || tuning.Hz(a) != tuning.Hz(b) {
			t.Errorf("%v and %v: %v and %v Hz, want two spellings of one frequency", a, b, tuning.Hz(a), tuning.Hz(b))
		}
	}
}

// Pitch standards against 440 Hz: 1200·log2(a/440), worked out apart.
func TestA4(t *testing.T) {
	a4 := Pitch{Note{Letter: A}, 4}
	for _, c := range []struct{ hz, cents float64 }{
		{415, -101.27}, {432, -31.77}, {435, -19.79}, {440, 0}, {442, 7.85}, {443, 11.76}, {466, 99.39},
	} {
		tuning, err := NewTuning(c.hz)
		if err != nil {
			t.Fatal(err)
		}
		if got := tuning.Hz(a4); got != c.hz {
			t.Errorf("A4 = %v Hz, want %v", got, c.hz)
		}
		if got := CentsBetween(c.hz, 440); math.Abs(got-c.cents) > 0.005+1e-9 {
			t.Errorf("%v Hz is %.4f c from 440, want %.2f", c.hz, got, c.cents)
		}
	}
	for _, hz := range []float64{MinA4, MaxA4} {
		if _, err := NewTuning(hz); err != nil {
			t.Errorf("NewTuning(%v): %v; the limits are inside", hz, err)
		}
	}
	for _, hz := range []float64{0, -440, 391.99, 494.01, math.NaN(), math.Inf(1), 44100} {
		if _, err := NewTuning(hz); err == nil || !strings.Contains(err.Error(), "want 392 to 494") {
			t.Errorf("NewTuning(%v): %v; want it refused with the range", hz, err)
		}
	}
}

// Tones against C4 = 261.6256 Hz, worked out apart and rounded to 0.01 c.
func TestTestTones(t *testing.T) {
	for _, c := range []struct{ hz, cents float64 }{
		{130.81, -1200.04}, {255, -44.41}, {264, 15.64}, {270, 54.55}, {293.66, 199.97}, {327.03, 386.30},
		{330, 401.96}, {392.44, 701.96}, {436.04, 884.35}, {440, 900.00}, {490.55, 1088.28}, {523.25, 1200.00},
	} {
		if got := CentsBetween(c.hz, 261.6256); math.Abs(got-c.cents) > 0.01 {
			t.Errorf("%v Hz is %.4f c above C4, want %.2f", c.hz, got, c.cents)
		}
	}
}

// Shift undoes CentsBetween, and an octave doubles.
func TestShift(t *testing.T) {
	if got := Shift(440, 1200); got != 880 {
		t.Errorf("440 Hz and 1200 c = %v Hz, want 880", got)
	}
	for _, c := range []Cents{-4800, -50, 0, 21.506, 701.955, 2400} {
		if got := CentsBetween(Shift(261.6256, c), 261.6256); math.Abs(got-c) > 1e-9 {
			t.Errorf("shifted by %v c, measured %v c", c, got)
		}
	}
}

// Degree sizes in three systems, in cents: equal; 5-limit just, with the second
// size of re and te; Pythagorean. The ratios are those of any table of the two
// tunings, the cents 1200·log2 of them, worked out apart to 0.001.
func TestDegreeSizes(t *testing.T) {
	const table = `
ra  100  16/15 111.731 256/243 90.225
re  200  9/8   203.910 9/8     203.910
me  300  6/5   315.641 32/27   294.135
mi  400  5/4   386.314 81/64   407.820
fa  500  4/3   498.045 4/3     498.045
fi  600  45/32 590.224 729/512 611.730
sol 700  3/2   701.955 3/2     701.955
le  800  8/5   813.686 128/81  792.180
la  900  5/3   884.359 27/16   905.865
te  1000 9/5   1017.596 16/9   996.090
ti  1100 15/8  1088.269 243/128 1109.775`
	just, small, pythagorean := mustTuning(t, "just"), mustTuning(t, "just re=10/9 te=16/9"), mustTuning(t, "pythagorean")
	check := func(tuning Tuning, d Degree, ratio, cents string) {
		t.Helper()
		want, err := strconv.ParseFloat(cents, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := tuning.Cents(d); math.Abs(got-want) > 0.0005+1e-9 {
			t.Errorf("%v in %v: %.4f c, want %s", d, tuning, got, cents)
		}
		num, den, ok := tuning.Ratio(d)
		if got := fmt.Sprintf("%d/%d", num, den); ratio != "" && (got != ratio || !ok) {
			t.Errorf("%v in %v: %s, want %s", d, tuning, got, ratio)
		}
	}
	for row := range strings.SplitSeq(strings.TrimSpace(table), "\n") {
		c := strings.Fields(row)
		d, err := ParseDegree(c[0], Key{}, Movable)
		if err != nil {
			t.Fatal(err)
		}
		check(Tuning{A4: 440}, d, "", c[1])
		check(just, d, c[2], c[3])
		check(pythagorean, d, c[4], c[5])
		switch c[0] {
		case "re":
			check(small, d, "10/9", "182.404")
		case "te":
			check(small, d, "16/9", "996.090")
		default:
			check(small, d, c[2], c[3])
		}
	}
	// The syntonic comma 81/80 between mi and mi, and the two sizes of re and of
	// te; the Pythagorean comma between fi and se.
	mi, re, te := Degree{3, 0}, Degree{2, 0}, Degree{7, -1}
	for _, comma := range []float64{pythagorean.Cents(mi) - just.Cents(mi), just.Cents(re) - small.Cents(re), just.Cents(te) - small.Cents(te)} {
		if math.Abs(comma-21.506) > 0.0005 {
			t.Errorf("syntonic comma %.4f c, want 21.506", comma)
		}
	}
	if comma := pythagorean.Cents(Degree{4, 1}) - pythagorean.Cents(Degree{5, -1}); math.Abs(comma-23.460) > 0.0005 {
		t.Errorf("Pythagorean comma %.4f c, want 23.460", comma)
	}
	// Tones against C4 = 261.6256 Hz, worked out apart: pure ti, la, sol and mi.
	for degree, hz := range map[string]float64{"mi": 327.03, "sol": 392.44, "la": 436.04, "ti": 490.55} {
		d, _ := ParseDegree(degree, Key{}, Movable)
		if got := just.HzIn(Key{}, Key{}.Pitch(d, 4)); math.Abs(got-hz) > 0.005 {
			t.Errorf("just %s on C4 = %.3f Hz, want %.2f", degree, got, hz)
		}
	}
}

// Pure chords: the ratios of the triads that just intonation is made for
// (4:5:6 and 10:12:15; any text on tuning), and which re is for which.
func TestJustChords(t *testing.T) {
	just, small := mustTuning(t, "just"), mustTuning(t, "just re=10/9")
	above := func(tuning Tuning, low, high string) float64 {
		a, _ := ParseDegree(low, Key{}, Movable)
		b, _ := ParseDegree(high, Key{}, Movable)
		return math.Mod(tuning.Cents(b)-tuning.Cents(a)+1200, 1200)
	}
	const fifth, third, minorThird = 701.955, 386.314, 315.641
	for _, c := range []struct {
		tuning    Tuning
		low, high string
		want      float64
	}{
		{just, "do", "mi", third}, {just, "do", "sol", fifth}, {just, "fa", "la", third}, {just, "fa", "do", fifth},
		{just, "sol", "ti", third}, {just, "sol", "re", fifth}, {just, "la", "do", minorThird}, {just, "la", "mi", fifth},
		{just, "do", "me", minorThird}, {just, "fa", "le", minorThird}, {just, "me", "te", fifth},
		{just, "la", "di", third}, {just, "ti", "ri", third}, {just, "mi", "si", third}, {just, "re", "fi", third},
		{small, "re", "fa", minorThird}, {small, "re", "la", fifth},
		{just, "re", "la", 680.449}, {small, "sol", "re", 680.449}, // a comma narrow: the wolf
		{mustTuning(t, "just te=16/9"), "te", "fa", fifth},
	} {
		if got := above(c.tuning, c.low, c.high); math.Abs(got-c.want) > 0.0005 {
			t.Errorf("%s to %s in %v: %.3f c, want %.3f", c.low, c.high, c.tuning, got, c.want)
		}
	}
}

func mustTuning(t testing.TB, s string) Tuning {
	t.Helper()
	tuning, err := ParseTuning(s, 440)
	if err != nil {
		t.Fatal(err)
	}
	return tuning
}

func tunings(t testing.TB) []Tuning {
	var ts []Tuning
	for _, s := range []string{"equal", "just", "just re=10/9", "just te=16/9", "just re=10/9 te=16/9", "pythagorean"} {
		ts = append(ts, mustTuning(t, s))
	}
	return ts
}

func TestParseTuning(t *testing.T) {
	for _, tuning := range tunings(t) {
		for _, in := range []string{tuning.String(), strings.ToUpper(tuning.String()), strings.ReplaceAll(tuning.String(), " ", ", ")} {
			if got, err := ParseTuning(in, 440); got != tuning || err != nil {
				t.Errorf("ParseTuning(%q) = %v, %v; want %v", in, got, err, tuning)
			}
		}
	}
	if got, err := ParseTuning("just re=9/8 te=9/5", 392); got != (Tuning{A4: 392, System: Just}) || err != nil {
		t.Errorf("the larger sizes by name: %+v, %v", got, err)
	}
	for in, want := range map[string]string{
		"":               `not a tuning: ""; want equal, just or pythagorean, or just with re=9/8 or 10/9 and te=9/5 or 16/9`,
		"meantone":       `not a tuning: "meantone"; want equal, just or pythagorean, or just with re=9/8 or 10/9 and te=9/5 or 16/9`,
		"just re=8/7":    `not a tuning: "re=8/7" in "just re=8/7"; want re=9/8, re=10/9, te=9/5 or te=16/9`,
		"equal re=10/9":  `not a tuning: "re=10/9" in "equal re=10/9"; nothing follows equal`,
		"just equal":     `not a tuning: "equal" in "just equal"; want re=9/8, re=10/9, te=9/5 or te=16/9`,
		"pythagorean  x": `not a tuning: "x" in "pythagorean  x"; nothing follows pythagorean`,
	} {
		if _, err := ParseTuning(in, 440); err == nil || err.Error() != want || !errors.Is(err, ErrTuning) {
			t.Errorf("ParseTuning(%q): %v\nwant %s", in, err, want)
		}
	}
	if _, err := ParseTuning("just", 391); err == nil || !strings.Contains(err.Error(), "392 to 494") {
		t.Errorf("A4 = 391: %v", err)
	}
}

// Every key has the same degrees: transposing key and pitch by any interval
// leaves the cents above the tonic. Equal temperament is Hz, to the bit.
func TestTransposingCommutesWithTuning(t *testing.T) {
	all := tunings(t)
	rapid.Check(t, func(t *rapid.T) {
		tuning := rapid.SampledFrom(all).Draw(t, "tuning")
		k := rapid.SampledFrom(modalKeys()).Draw(t, "key")
		d := Degree{rapid.IntRange(1, 7).Draw(t, "step"), rapid.IntRange(-2, 2).Draw(t, "alter")}
		octave := rapid.IntRange(1, 6).Draw(t, "octave")
		i := drawInterval(t)
		tonic, p := Pitch{k.Tonic, octave}, k.Pitch(d, octave)
		up := Key{k.Tonic.Up(i), k.Mode}
		for _, c := range []struct {
			k        Key
			tonic, p Pitch
		}{{k, tonic, p}, {up, tonic.Up(i), p.Up(i)}} {
			if got := CentsBetween(tuning.HzIn(c.k, c.p), tuning.Hz(c.tonic)); math.Abs(got-tuning.Cents(d)) > 1e-6 {
				t.Fatalf("%v in %v, %v: %v c above the tonic, want %v", c.p, c.k, tuning, got, tuning.Cents(d))
			}
		}
		octaveUp := Pitch{p.Note, p.Octave + 1}
		if got := CentsBetween(tuning.HzIn(k, octaveUp), tuning.HzIn(k, p)); math.Abs(got-1200) > 1e-6 {
			t.Fatalf("an octave in %v is %v c", tuning, got)
		}
		if equal := (Tuning{A4: 440}); equal.HzIn(k, p) != equal.Hz(p) {
			t.Fatalf("equal temperament: %v Hz in %v, %v Hz", equal.HzIn(k, p), k, equal.Hz(p))
		}
		if off := tuning.Cents(d) - 100*float64(d.Interval().Semitones); math.Abs(off) > 100 {
			t.Fatalf("%v in %v lies %v c from equal temperament", d, tuning, off)
		}
	})
}

// Nearest in equal temperament is that of the key; in every system what lies
// within the borders of a degree is that degree, and what lies beyond is not.
func TestNearestInTunings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-3000, 3000).Draw(t, "cents")
		d, rest := Key{}.Nearest(c)
		got, gotRest := Tuning{A4: 440}.Nearest(c, d)
		if got != d || math.Abs(gotRest-rest) > 1e-9 {
			t.Fatalf("Nearest(%v) = %v %v, want %v %v", c, got, gotRest, d, rest)
		}
	})
	for _, tuning := range tunings(t) {
		for _, d := range allDegrees() {
			below, above := tuning.Borders(d)
			if tuning.System == Equal && (below != 50 || above != 50) {
				t.Errorf("equal: borders of %v at %v and %v", d, below, above)
			}
			if below <= 0 || above <= 0 {
				t.Errorf("%v: borders of %v at %v and %v", tuning, d, below, above)
			}
			if d.Alter < -1 || d.Alter > 1 {
				continue
			}
			for _, c := range []struct {
				off    Cents
				within bool
			}{{0, true}, {above - 0.01, true}, {0.01 - below, true}, {above + 0.01, false}, {-below - 0.01, false}} {
				got, rest := tuning.Nearest(tuning.Cents(d)+c.off, d)
				if (got == d) != c.within || c.within && math.Abs(rest-c.off) > 1e-6 {
					t.Errorf("%v: %v and %v c is called %v %v", tuning, d, c.off, got, rest)
				}
			}
		}
	}
}

func FuzzParseTuning(f *testing.F) {
	for _, s := range []string{"equal", "just", "just re=10/9 te=16/9", "pythagorean", "", "just re=", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		tuning, err := ParseTuning(s, 440)
		if err != nil {
			checkRefusal(t, s, err, ErrTuning)
		} else if back, err := ParseTuning(tuning.String(), 440); back != tuning || err != nil {
			t.Errorf("%q is %v, read back %v, %v", s, tuning, back, err)
		}
	})
}
