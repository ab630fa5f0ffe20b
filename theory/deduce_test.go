package theory_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
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
		{Chorale, "G", "fa", "IV", 0.42, 0.01},
		{Chorale, "G", "fa:min", "ii65", 22.0 / 31, 0.03},      // ii65 22, ii6 9, and a little iv
		{Chorale, "G", "fa:min:no7", "ii6", 0.95, 0.05},        // ii6 9
		{Chorale, "G", "fa:7", "V42", 0.98, 0.02},              // V42 21
		{Chorale, "G", "fa:+ti", "V42", 0.95, 0.05},            // ti is in no other of them
		{Chorale, "G", "re", "vii°6", 0.36, 0.01},              // the bass alone misleads
		{Chorale, "G", "re:min", "ii", 35.0 / 53, 0.03},        // ii 35, ii7 18
		{Chorale, "G", "la:maj", "IV6", 34.0 / 36, 0.06},       // IV6 34
		{Chorale, "A minor", "le:min", "iv6", 46.0 / 52, 0.06}, // iv6 46, iv65 4
		{Chorale, "A minor", "sol:maj:-fa", "V", 0.99, 0.05},   // V 54
		{Chorale, "A minor", "ti:dim7", "vii°7", 1, 0.02},
		{Rock, "E", "te", "♭VII", 0.90, 0.01},
		{Rock, "E", "la:maj", "IV6", 10.0 / 13, 0.09}, // IV6 10, VI 3
		{Pop, "C", "sol", "V", 0.56, 0.01},
		{Pop, "C", "sol:sus", "V7sus4", 5.0 / 9, 0.05},
		{Pop, "C", "mi:maj", "I6", 19.0 / 35, 0.04}, // I6 19, III7 8, III 7
		{Pop, "C minor", "do:min7", "i7", 0.98, 0.03},
		{Pop, "C minor", "te", "VII", 0.72, 0.01},
		{Chorale, "G", "si", "V6/vi", 0.48, 0.01}, // as le
		{Chorale, "G", "do:aug", "I+", 0.5, 0.5},  // rare, but not impossible
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
	d, err := Deduce(k, Chorale, mustLine(t, "do fa:min sol do", k), 3)
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
// other; in hymns one chord, and the first and the last.
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
				for _, a := range d.Places[0].Candidates {
					for _, b := range d.Places[1].Candidates {
						for _, c := range d.Places[2].Candidates {
							w := a.Alone * b.Alone * c.Alone * Step(s, m, a, b) * Step(s, m, b, c) * Begin(s, m, a) * End(s, m, c)
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
	if _, err := ParseStyle("jazz"); !errors.Is(err, ErrStyle) || !strings.Contains(err.Error(), "want pop, rock, hymn, chorale") {
		t.Errorf("ParseStyle: %v", err)
	}
}

// What stands on a bass degree, in percent, and what root follows what: rows of
// the counts of the McGill Billboard annotations 2.0 (pop, by time), of RS 200
// (rock) and of the chorale analyses of When in Rome (chorale), as they came from
// the whole collections, written out apart. The corpus tests count them again.
func TestStyleTable(t *testing.T) {
	names := map[string]Style{"pop": Pop, "rock": Rock, "chorale": Chorale}
	const stands = `
pop  major do  I 74, I7 13, Imaj7 3
rock major do  I 90, IV64 4
chorale major do  I 92
pop  major re  ii7 33, ii 30, II 14, II7 13
rock major re  ii 58, ii7 16, II 16, V64 4, II7 3
chorale major re  viio6 36, ii 35, ii7 18, V43 5
pop  major me  bIII 69, bIIImaj7 8
rock major me  bIII 91
pop  major mi  iii 31, iii7 29, I6 19, III7 8, III 7
rock major mi  iii 46, I6 28, III 9, vi64 6, III7 4
chorale major mi  I6 83, iii 8, I65 3
pop  major fa  IV 76, IV7 9, IVmaj7 6, iv 3
rock major fa  IV 93
chorale major fa  IV 42, ii65 22, V42 21, ii6 9, IVmaj7 3
rock major fi  #ivo7 33, #IV 25, II6 19
chorale major fi  II65 60, II6 20
pop  major sol V 56, V7 24, I64 3
rock major sol V 78, V7 8, I64 4, v7 3, v 3
chorale major sol V 60, V7 31, I64 6
pop  major le  bVI 59, bVImaj7 20, bVI7 7
rock major le  bVI 73, iiø43 9, III6 5
pop  major la  vi 57, vi7 19, VI 9, VI7 7, IV6 3
rock major la  vi 76, IV6 10, vi7 8, VI 3
chorale major la  vi 53, IV6 34, vi7 4, #ivo6 4
pop  major te  bVII 75, bVII7 6, I42 3
rock major te  bVII 90, I42 6
chorale major te  I42 89
pop  major ti  V6 35, VII 13, Imaj42 8, V65 5
rock major ti  V6 62, iii64 9, VII 6
chorale major ti  V6 55, V65 34
pop  minor do  i 58, i7 29, I 4
rock minor do  i 90, I 4
chorale minor do  i 82, I 10
pop  minor re  II 26, ii7 23, bVII6 14
rock minor re  ii 68, ii7 11, bVII6 10
chorale minor re  iiø7 14, V43 8, bVII6 8
pop  minor me  bIII 75, i6 3
rock minor me  bIII 93, i6 4
chorale minor me  i6 81, bIII 11, IV42 5
pop  minor fa  IV 30, iv 24, iv7 23, IV7 14
rock minor fa  IV 51, iv 42, IV7 5
chorale minor fa  iiø65 29, iv 25, V42 14, iio6 13, iv7 7
pop  minor sol V7 25, v 20, V 18, v7 14
rock minor sol V 65, v 21, V7 6
chorale minor sol V 54, V7 27, i64 8, v 7
pop  minor le  bVI 68, bVImaj7 22, bVI7 4, bVII42 3
rock minor le  bVI 86, iv6 10
chorale minor le  iv6 46, bVI 35, iv65 4, bVImaj7 4
rock minor la  vi 49, IV6 34, viø7 10
chorale minor la  IV6 49, IV65 42
pop  minor te  bVII 72, bIII64 5
rock minor te  bVII 95
chorale minor te  v6 47, bVII 31, I42 8
rock minor ti  V65 52, V6 39
chorale minor ti  V6 44, V65 37, viio7 12, viio 6`
	for row := range strings.SplitSeq(strings.TrimSpace(stands), "\n") {
		words := strings.Fields(row)
		style, mode := names[words[0]], Major
		if words[1] == "minor" {
			mode = Minor
		}
		// Numerals of the table count from the major scale.
		k := Key{}
		bass, err := ParseDegree(words[2], k, Movable)
		if err != nil {
			t.Fatal(err)
		}
		chords, _, times := Standing(style, mode, bass.Semitones())
		for cell := range strings.SplitSeq(strings.Join(words[3:], " "), ", ") {
			numeral, percent, _ := strings.Cut(cell, " ")
			want, got := mustRoman(t, numeral, k).Chord, 0
			for i, c := range chords {
				if c.Quality == want.Quality && c.Root.PitchClass() == want.Root.PitchClass() && c.Bass.PitchClass() == want.Bass.PitchClass() {
					got = times[i]
				}
			}
			if strconv.Itoa(got) != percent {
				t.Errorf("%v, %v, %s on %v: %d of 100, want %s", style, mode, numeral, bass, got, percent)
			}
		}
	}
	const follow = `
rock major I    IV 39, V 22, bVII 14, VI 9
rock major II   V 37, I 36, IV 14
rock major III  IV 34, VI 32, II 19
rock major IV   I 57, V 27
rock major V    I 60, IV 22, VI 9
rock major VI   IV 36, I 23, II 16, V 15
rock major bVII I 49, IV 24, bVI 17
chorale major I    V 36, IV 27, II 17, VI 10
chorale major II   V 71, VII 18, I 5
chorale major III  IV 45, VI 25, I 10, V 9
chorale major IV   V 36, I 27, II 12, VII 11
chorale major V    I 82, VI 8, IV 4
chorale major VI   II 29, V 24, I 16, IV 13
chorale minor I    V 37, IV 13, II 13, VII 9, bVI 7
chorale minor bIII IV 27, bVI 14, V 11
chorale minor IV   V 44, I 25, VII 9
chorale minor V    I 87, bVI 7
chorale minor bVI  II 42, IV 20, V 8
chorale minor bVII bIII 57, VII 12`
	for row := range strings.SplitSeq(strings.TrimSpace(follow), "\n") {
		words := strings.Fields(row)
		style, mode := names[words[0]], Major
		if words[1] == "minor" {
			mode = Minor
		}
		root := func(numeral string) int { return mustRoman(t, numeral, Key{}).Chord.Root.PitchClass() }
		for cell := range strings.SplitSeq(strings.Join(words[3:], " "), ", ") {
			numeral, percent, _ := strings.Cut(cell, " ")
			if got := Moves(style, mode, root(words[2]), root(numeral)); strconv.Itoa(got) != percent {
				t.Errorf("%v, %v, %s to %s: %d of 100, want %s", style, mode, words[2], numeral, got, percent)
			}
		}
	}
}

// What was heard in its usual forms.
func TestParseBassLine(t *testing.T) {
	k := mustKey(t, "G")
	for s, want := range map[string]Above{
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
	if _, err := Deduce(k, Chorale, impossible, 1); !errors.Is(err, ErrImpossible) {
		t.Errorf("%v, want ErrImpossible", err)
	}
	if _, err := Deduce(Key{Mode: Dorian}, Chorale, mustLine(t, "do", k), 1); !errors.Is(err, ErrKey) {
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
		d, err := Deduce(k, Styles()[int(choice)%len(Styles())], line, 2)
		if errors.Is(err, ErrImpossible) {
			return
		}
		if err != nil || len(d.Places) != len(line) || len(d.Progressions) == 0 {
			t.Errorf("%q: %d places, %v", s, len(d.Places), err)
		}
	})
}
