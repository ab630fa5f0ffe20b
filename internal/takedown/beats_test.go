package takedown

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"singback/theory"
)

var common = theory.Meter{Beats: 4, Unit: 4}

func TestParseBeats(t *testing.T) {
	for _, c := range []struct {
		rule, text string
		at         []float64
		first      int
	}{
		{"seconds, one a line", "1.5\n2.0\n2.5\n", []float64{1.5, 2, 2.5}, 0},
		{"with the number in the bar", "1.5 4\n2.0 1\r\n2.5\t2\n", []float64{1.5, 2, 2.5}, 1},
		{"a number with a point, a remark, blank lines, commas", "# taps\n\n0,3\n0.5, 4.0\n1.0,1 # here\n", []float64{0, 0.5, 1}, 2},
	} {
		b, err := ParseBeats(c.text, common)
		if err != nil || len(b.At) != len(c.at) || b.First != c.first {
			t.Errorf("%s: %v, %v", c.rule, b, err)
			continue
		}
		for i := range c.at {
			if b.At[i] != c.at[i] {
				t.Errorf("%s: %v, want %v", c.rule, b.At, c.at)
			}
		}
	}
	for text, says := range map[string]string{
		"":             "0 beats: want at least two",
		"1\n":          "1 beats: want at least two",
		"1\none\n":     `line 2: "one" is no time of a beat`,
		"1\n0.5\n":     "line 2: 0.5 s is not after 1.00 s",
		"1\n1.01\n":    "line 2: 1.01 s is not after",
		"-1\n2\n":      "line 1",
		"1 5\n2\n":     `line 1: "5" is no beat of a bar of 4/4: want 1 to 4`,
		"1\nNaN\n":     "line 2",
		"1\n1e9\n":     "line 2",
		"1 one\n2\n":   `"one" is no beat`,
		"1\n2 1.5\n":   `"1.5" is no beat`,
		"1\n2\n3\n 2 ": "line 4",
	} {
		if _, err := ParseBeats(text, common); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
}

func FuzzParseBeats(f *testing.F) {
	f.Add("1.5 4\n2.0 1\n")
	f.Add("0,1\n0.5\n# no")
	f.Fuzz(func(t *testing.T, text string) {
		b, err := ParseBeats(text, common)
		if err != nil {
			return
		}
		if b.First < 0 || b.First >= len(b.At) {
			t.Fatalf("first %d of %d", b.First, len(b.At))
		}
		for i := 1; i < len(b.At); i++ {
			if !(b.At[i] > b.At[i-1]) {
				t.Fatalf("%v", b.At)
			}
		}
		if x := b.position(b.At[b.First]); math.Abs(x) > 1e-9 {
			t.Fatalf("the first beat lies at %v", x)
		}
	})
}

// Beats that a hand taps: unsteady by 25 ms, some missing, some twice, the tempo
// growing. Each beat is found, in order, within 25 ms in the mean.
func TestTapped(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var truth, taps []float64
	at := 3.0
	for i := range 80 {
		truth = append(truth, at)
		tap := at + 0.025*rng.NormFloat64()
		switch {
		case i == 20 || i == 41 || i == 42: // missed
		case i == 50:
			taps = append(taps, tap, tap+0.09) // twice
		default:
			taps = append(taps, tap)
		}
		at += 0.62 - 0.001*float64(i)
	}
	b, err := Tapped(common, taps)
	if err != nil {
		t.Fatal(err)
	}
	if len(b.At) != len(truth) {
		t.Fatalf("%d beats, want %d", len(b.At), len(truth))
	}
	sum := 0.0
	for i := range truth {
		off := math.Abs(b.At[i] - truth[i])
		if sum += off; off > 0.07 {
			t.Errorf("beat %d is off by %.0f ms", i, 1000*off)
		}
	}
	if mean := sum / float64(len(truth)); mean > 0.025 {
		t.Errorf("off by %.0f ms in the mean", 1000*mean)
	}
	for _, few := range [][]float64{nil, {1}, {1, 2}, {1, 9, 17}, {1, 1.05, 1.1, 1.15}} {
		if _, err := Tapped(common, few); err == nil {
			t.Errorf("%v are beats", few)
		}
	}
}

// Positions between and beyond beats.
func TestPosition(t *testing.T) {
	b := Beats{Meter: common, At: []float64{1, 2, 4, 5}, First: 1}
	for at, want := range map[float64]float64{0: -2, 1: -1, 1.5: -0.5, 2: 0, 3: 0.5, 4: 1, 5: 2, 6.5: 3.5} {
		if got := b.position(at); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v s lies at %v, want %v", at, got, want)
		}
	}
	s := Steady(common, 120, 2, 4)
	if len(s.At) != 5 || s.At[4] != 4 || s.Tempo() != 120 {
		t.Errorf("%v, %v a minute", s.At, s.Tempo())
	}
}
