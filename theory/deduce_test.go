package theory_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	. "singback/theory"
)

func mustLine(t testing.TB, s string, k Key) []Bass {
	t.Helper()
	line, err := ParseBassLine(s, k, Movable)
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// The most probable chord on one bass, with its share of what was heard, worked
// out by hand, but for what the counts leave out, from the counts of each collection (McGill Billboard 2.0; RS 200;
// chorale analyses of When in Rome).
func TestDeduceOneBass(t *testing.T) {
	for _, tc := range []struct {
		style           Style
		key, bass, want string
		p, within       float64
	}{
		{Hymn, "G", "fa", "IV", 0.42, 0.01},
		{Hymn, "G", "fa:min", "ii65", 22.0 / 31, 0.03},      // ii65 22, ii6 9, and a little iv
		{Hymn, "G", "fa:min:no7", "ii6", 0.95, 0.05},        // ii6 9
		{Hymn, "G", "fa:7", "V42", 0.98, 0.02},              // V42 21
		{Hymn, "G", "fa:+ti", "V42", 0.95, 0.05},            // ti is in no other of them
		{Hymn, "G", "re", "vii°6", 0.36, 0.01},              // the bass alone misleads
		{Hymn, "G", "re:min", "ii", 35.0 / 53, 0.03},        // ii 35, ii7 18
		{Hymn, "G", "la:maj", "IV6", 34.0 / 36, 0.06},       // IV6 34
		{Hymn, "A minor", "le:min", "iv6", 46.0 / 52, 0.06}, // iv6 46, iv65 4
		{Hymn, "A minor", "sol:maj:-fa", "V", 0.99, 0.05},   // V 54
		{Hymn, "A minor", "ti:dim7", "vii°7", 1, 0.02},
		{Rock, "E", "te", "♭VII", 0.90, 0.01},
		{Rock, "E", "la:maj", "IV6", 10.0 / 13, 0.09}, // IV6 10, VI 3
		{Pop, "C", "sol", "V", 0.56, 0.01},
		{Pop, "C", "sol:sus", "V7sus4", 5.0 / 9, 0.05},
		{Pop, "C", "mi:maj", "I6", 19.0 / 35, 0.04}, // I6 19, III7 8, III 7
		{Pop, "C minor", "do:min7", "i7", 0.98, 0.03},
		{Pop, "C minor", "te", "VII", 0.72, 0.01},
		{Hymn, "G", "si", "V6/vi", 0.48, 0.01}, // as le
		{Hymn, "G", "do:aug", "I+", 0.5, 0.5},  // rare, but not impossible
		{Rock, "C", "me:dim:7th", "♭iii°7", 0.4, 0.2},
	} {
		k := mustKey(t, tc.key)
		d, err := Deduce(k, tc.style, mustLine(t, tc.bass, k), 3)
		if err != nil {
			t.Errorf("%s: %v", tc.bass, err)
			continue
		}
		c := d.Places[0].Candidates[0]
		if got := c.Roman.String(); got != tc.want || math.Abs(c.P-tc.p) > tc.within {
			t.Errorf("%v, %s, %s: %s %.3f, want %s %.3f within %g", tc.style, tc.key, tc.bass, got, c.P, tc.want, tc.p, tc.within)
		}
	}
}

// do fa:min sol do in G: the minor chord over fa is ii65, since it stands there
// most often and ii goes to V.
func TestDeduceLine(t *testing.T) {
	k := mustKey(t, "G")
	d, err := Deduce(k, Hymn, mustLine(t, "do fa:min sol do", k), 3)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, g := range d.Progressions {
		got = append(got, symbols(g.Chords))
	}
	if want := []string{"G Am7/C D G", "G Am7/C D7 G", "G Am/C D G"}; !slices.Equal(got, want) {
		t.Errorf("progressions %q, want %q", got, want)
	}
	p := d.Places[1]
	if p.Before != 17 || p.After != 71 || p.Excluded[0].Roman.String() != "IV" || p.Excluded[0].Times != 42 {
		t.Errorf("before %d, after %d, excluded %v", p.Before, p.After, p.Excluded)
	}
	// Am7 and Am over C differ in G, which is do.
	if q := p.Listen; q.Asks != ForDegree || q.Degree != (Degree{1, 0}) || len(q.Answers) != 2 ||
		!q.Answers[0].Yes || q.Answers[0].Then.Roman.String() != "ii65" || q.Answers[1].Then.Roman.String() != "ii6" {
		t.Errorf("listen for %+v", q)
	}
}

func symbolsOf(cs []Candidate) string {
	var out []string
	for _, c := range cs {
		out = append(out, c.Roman.Chord.ASCII())
	}
	return strings.Join(out, " ")
}

// randomLine is a bass line with partial hearing that no chord contradicts.
func randomLine(t *rapid.T, k Key) []Bass {
	own := k.ScaleDegrees()
	degrees := append(own[:], Degree{4, 1}, Degree{7, -1}, Degree{6, -1}, Degree{2, -1}, Degree{5, 1})
	heard := []string{"", "", ":maj", ":min", ":dim", ":aug", ":sus", ":7", ":maj7", ":min7", ":hdim7", ":dim7", ":no7", ":7th"}
	var line []Bass
	for range rapid.IntRange(1, 5).Draw(t, "length") {
		text := Movable.NameASCII(k, rapid.SampledFrom(degrees).Draw(t, "bass")) + rapid.SampledFrom(heard).Draw(t, "heard")
		b, err := ParseBassLine(text, k, Movable)
		if err != nil {
			t.Fatal(err)
		}
		line = append(line, b...)
	}
	return line
}

// Whatever triad or seventh is heard on whatever bass, there are chords; their
// probabilities sum to 1, alone and in the line; the answers to a question do
// too; and another key gives the same, transposed.
func TestDeduceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mode := Mode(rapid.IntRange(0, 1).Draw(t, "mode"))
		var ks []Key
		for _, k := range Keys() {
			if k.Mode == mode {
				ks = append(ks, k)
			}
		}
		a, b := rapid.SampledFrom(ks).Draw(t, "a"), rapid.SampledFrom(ks).Draw(t, "b")
		up := Pitch{Note: a.Tonic}.IntervalTo(Pitch{Note: b.Tonic})
		style := rapid.SampledFrom(Styles()).Draw(t, "style")
		line := randomLine(t, a)
		x, err := Deduce(a, style, line, 5)
		if err != nil {
			t.Fatal(err)
		}
		y, err := Deduce(b, style, line, 5)
		if err != nil {
			t.Fatal(err)
		}
		one := func(what string, p float64) {
			if math.Abs(p-1) > 1e-9 {
				t.Fatalf("%s: the probabilities sum to %g", what, p)
			}
		}
		for i, p := range x.Places {
			sum, alone, answers := 0.0, 0.0, 0.0
			for j, c := range p.Candidates {
				sum, alone = sum+c.P, alone+c.Alone
				if !(c.P > 0 && c.Alone > 0) {
					t.Fatalf("%v has no probability", c.Roman)
				}
				d := y.Places[i].Candidates[j]
				if c.Roman.Chord.Up(up) != d.Roman.Chord || c.Roman.String() != d.Roman.String() || c.P != d.P {
					t.Fatalf("%v in %v, %v in %v", c.Roman, a, d.Roman, b)
				}
				if j > 0 && c.P > p.Candidates[j-1].P {
					t.Fatalf("not sorted: %s", symbolsOf(p.Candidates))
				}
				if bass := a.Degree(c.Roman.Chord.Bass); bass.Semitones() != line[i].Degree.Semitones() {
					t.Fatalf("%v does not stand on %v", c.Roman, line[i].Degree)
				}
				if r, err := ParseRoman(c.Roman.ASCII(), a); err != nil || r.Chord != c.Roman.Chord {
					t.Fatalf("%v is written %s, which is %v, %v", c.Roman.Chord, c.Roman.ASCII(), r.Chord, err)
				}
			}
			one("place", sum)
			one("alone", alone)
			if q := p.Listen; q.Bits > 0 {
				for _, a := range q.Answers {
					answers += a.P
				}
				one("answers", answers)
			}
		}
		for i, g := range x.Progressions {
			if i > 0 && g.P > x.Progressions[i-1].P+1e-12 {
				t.Fatalf("progressions are not sorted")
			}
			for j := range i {
				if symbols(g.Chords) == symbols(x.Progressions[j].Chords) {
					t.Fatalf("%s comes twice", symbols(g.Chords))
				}
			}
		}
	})
}

// The chain against the obvious way: every progression of three chords, its
// weight the product of shares and of how much likelier one root is after the
// other.
func TestDeduceAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	degrees := Key{}.ChromaticDegrees()
	for _, s := range Styles() {
		for _, m := range []Mode{Major, Minor} {
			for range 5 {
				var line []Bass
				for range 3 {
					line = append(line, Bass{Degree: degrees[rng.IntN(12)]})
				}
				line[rng.IntN(3)].Heard.Triad = Triad(1 + rng.IntN(5))
				const n = 6
				d, err := Deduce(Key{Mode: m}, s, line, n)
				if err != nil {
					t.Fatal(err)
				}
				total := 0.0
				var weights []float64
				marginal := map[string]float64{}
				root := func(c Candidate) int { return d.Key.Degree(c.Roman.Chord.Root).Semitones() }
				for _, a := range d.Places[0].Candidates {
					for _, b := range d.Places[1].Candidates {
						for _, c := range d.Places[2].Candidates {
							w := a.Alone * b.Alone * c.Alone * Ratio(s, m, root(a), root(b)) * Ratio(s, m, root(b), root(c))
							total += w
							weights = append(weights, w)
							marginal[b.Roman.String()] += w
						}
					}
				}
				slices.SortFunc(weights, func(a, b float64) int { return -int(math.Copysign(1, a-b)) })
				for i, g := range d.Progressions {
					if math.Abs(g.P-weights[i]/total) > 1e-9 {
						t.Errorf("%v, %v, progression %d: %g, want %g", s, m, i, g.P, weights[i]/total)
					}
				}
				if len(d.Progressions) != n {
					t.Errorf("%d progressions, want %d", len(d.Progressions), n)
				}
				for _, c := range d.Places[1].Candidates {
					if want := marginal[c.Roman.String()] / total; math.Abs(c.P-want) > 1e-9 {
						t.Errorf("%v, %v, %v: %g, want %g", s, m, c.Roman, c.P, want)
					}
				}
			}
		}
	}
}

// Every row of the counts is whole: it names the chords that stand there, at
// most 100 of them but for rounding, and what is left is spread.
func TestStyleRows(t *testing.T) {
	for _, s := range Styles() {
		for _, m := range []Mode{Major, Minor} {
			for bass := range 12 {
				chords, shares, times := Standing(s, m, bass)
				sum, counted := 0.0, 0
				for i := range chords {
					sum += shares[i]
					counted += times[i]
					if times[i] > 0 && math.Abs(shares[i]-float64(times[i])/100) > 0.02 {
						t.Errorf("%v, %v on %d: share %.3f, counted %d", m, chords[i], bass, shares[i], times[i])
					}
				}
				if math.Abs(sum-1) > 1e-9 || counted > 101 || len(chords) < 30 {
					t.Errorf("%v, %v, bass %d: %d chords sum to %g, counted %d", s, m, bass, len(chords), sum, counted)
				}
			}
		}
		if got, err := ParseStyle(strings.ToUpper(s.String())); got != s || err != nil {
			t.Errorf("ParseStyle(%v) = %v, %v", s, got, err)
		}
	}
	if _, err := ParseStyle("jazz"); !errors.Is(err, ErrStyle) || !strings.Contains(err.Error(), "pop, rock, hymn") {
		t.Errorf("ParseStyle: %v", err)
	}
}

// What was heard in its usual forms.
func TestParseBassLine(t *testing.T) {
	k := mustKey(t, "G")
	for s, want := range map[string]Heard{
		"fa": {}, "fa:min": {Triad: MinorHeard}, "fa:m": {Triad: MinorHeard}, "fa:-": {Triad: MinorHeard},
		"fa:maj": {Triad: MajorHeard}, "fa:M": {Triad: MajorHeard}, "fa:dim": {Triad: DiminishedHeard}, "fa:o": {Triad: DiminishedHeard},
		"fa:aug": {Triad: AugmentedHeard}, "fa:+": {Triad: AugmentedHeard}, "fa:sus": {Triad: SuspendedHeard}, "fa:sus2": {Triad: SuspendedHeard},
		"fa:7": {Triad: MajorHeard, Seventh: MinorSeventh}, "fa:maj7": {Triad: MajorHeard, Seventh: MajorSeventh},
		"fa:min7": {Triad: MinorHeard, Seventh: MinorSeventh}, "fa:-7": {Triad: MinorHeard, Seventh: MinorSeventh},
		"fa:hdim7": {Triad: DiminishedHeard, Seventh: MinorSeventh}, "fa:m7b5": {Triad: DiminishedHeard, Seventh: MinorSeventh},
		"fa:dim7": {Triad: DiminishedHeard, Seventh: DiminishedSeventh}, "fa:9": {Triad: MajorHeard, Seventh: MinorSeventh},
		"fa:6": {Triad: MajorHeard, Seventh: NoSeventh}, "fa:no7": {Seventh: NoSeventh}, "fa:min:no7": {Triad: MinorHeard, Seventh: NoSeventh},
		"fa:7th": {Seventh: SomeSeventh}, "fa:+la": {Sounds: 1 << 9}, "fa:la": {Sounds: 1 << 9}, "fa:-la": {Silent: 1 << 9},
		"fa:min:+re:-do": {Triad: MinorHeard, Sounds: 1 << 2, Silent: 1},
	} {
		line, err := ParseBassLine(s, k, Movable)
		if err != nil || len(line) != 1 || line[0] != (Bass{Degree{4, 0}, want}) {
			t.Errorf("%s: %+v, %v; want %+v", s, line, err, want)
		}
	}
	for s, names := range map[string]string{
		"do fu": `bass 2: not a degree of G major: "fu"`, "fa:mni": `"mni"`, "": "the bass line is empty", "fa:": "nothing stands behind the colon",
		"fa:5": `"5" has no third`, "fa:maj:min": "want one triad", "fa:7:maj7": "another seventh", "fa:-fa": "the bass itself sounds",
		"do:+la:-la": "sounds and does not",
	} {
		if _, err := ParseBassLine(s, k, Movable); err == nil || !strings.Contains(err.Error(), names) {
			t.Errorf("%q: %v; want the message to name %s", s, err, names)
		}
	}
	impossible := mustLine(t, "do:+di:+re:+me:+mi", k)
	if _, err := Deduce(k, Hymn, impossible, 1); !errors.Is(err, ErrImpossible) {
		t.Errorf("%v, want ErrImpossible", err)
	}
	if _, err := Deduce(Key{Mode: Dorian}, Hymn, mustLine(t, "do", k), 1); !errors.Is(err, ErrKey) {
		t.Errorf("dorian: %v, want ErrKey", err)
	}
}

func FuzzParseBassLine(f *testing.F) {
	for _, s := range []string{"do fa:min sol do", "1 4:+2 5:7 6", "le:m7b5|te", "fa:min:no7,sol:maj:-fa", "do:", ":", "fa:dim(maj7)", "do:7#9", "fa:𝄫", "\xff"} {
		f.Add(s, uint8(3))
	}
	f.Fuzz(func(t *testing.T, s string, choice uint8) {
		k := Keys()[int(choice)%30]
		line, err := ParseBassLine(s, k, Namings()[int(choice)%len(Namings())])
		if err != nil {
			if len(err.Error()) > longestMessage || !errors.Is(err, ErrDegree) && !errors.Is(err, ErrHeard) {
				t.Errorf("%q: %v", s, err)
			}
			return
		}
		if len(line) > 20 {
			return
		}
		d, err := Deduce(k, Styles()[int(choice)%3], line, 2)
		if errors.Is(err, ErrImpossible) {
			return
		}
		if err != nil || len(d.Places) != len(line) || len(d.Progressions) == 0 {
			t.Errorf("%q: %d places, %v", s, len(d.Places), err)
		}
	})
}
