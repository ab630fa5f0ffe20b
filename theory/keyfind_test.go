package theory_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit"
	. "singback/theory"

	"pgregory.net/rapid"
)

func mustProfile(t testing.TB, s string) Profile {
	t.Helper()
	p, err := ParseProfile(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Correlations of plain histograms with three profiles, worked out apart, rounded to four places: the best key and the next (or those
// that are named).
func TestFindKeysTable(t *testing.T) {
	for _, c := range []struct {
		name       string
		histogram  [12]float64 // from C
		kk, kp, as string
	}{
		{"C major scale", [12]float64{1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1},
			"C .7564 Am .7121 G .6775", "C .9001 Am .7542", "C .8084 Am .7346"},
		{"C harmonic minor", [12]float64{1, 0, 1, 1, 0, 1, 0, 1, 1, 0, 0, 1},
			"Cm .6872 Ab .3924", "Cm .8883 Eb .4987", "Cm .7129 Fm .4189"},
		{"C natural minor", [12]float64{1, 0, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0},
			"Eb .7564 Cm .7121", "Eb .9001 Cm .7542", "Eb .8084 Cm .7346"},
		{"C E G", [12]float64{1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0},
			"C .8338 Em .7602", "C .8014 Em .5335", "C .8395 Cm .5583"},
		{"triads I IV V I", [12]float64{3, 0, 1, 0, 2, 1, 0, 3, 0, 1, 0, 1},
			"C .9589", "C .9586", "C .9888"},
		{"do re mi fa sol", [12]float64{1, 0, 1, 0, 1, 1, 0, 1, 0, 0, 0, 0},
			"C .8133 G .5577", "C .8617 F .6226", "C .8208 F .6685"},
	} {
		for profile, want := range map[string]string{"listeners": c.kk, "textbook": c.kp, "concert-works": c.as} {
			got, err := FindKeys(c.histogram, mustProfile(t, profile))
			if err != nil || len(got) != 24 {
				t.Fatalf("%s, %s: %d keys, %v", c.name, profile, len(got), err)
			}
			words := strings.Fields(want)
			for i := 0; i < len(words); i += 2 {
				score, _ := strconv.ParseFloat(words[i+1], 64)
				if g := got[i/2]; g.Key != mustKey(t, words[i]) || math.Abs(g.Score-score) > 0.00005+1e-9 {
					t.Errorf("%s, %s, place %d: %v %.4f, want %s %s", c.name, profile, i/2+1, g.Key, g.Score, words[i], words[i+1])
				}
			}
		}
	}
}

// The profiles as they were published: Krumhansl and Kessler 1982 (Psychol Rev
// 89:334); Temperley, Music and Probability, 2007, from the Kostka-Payne
// corpus; Temperley 1999 (Music Percept 17:65), by hand; Albrecht and Shanahan
// 2013 (Music Percept 31:59). Second-hand: the reading of most copies.
func TestProfileTable(t *testing.T) {
	for _, tc := range []struct{ name, major, minor string }{
		{"listeners", "6.35 2.23 3.48 2.33 4.38 4.09 2.52 5.19 2.39 3.66 2.29 2.88", "6.33 2.68 3.52 5.38 2.60 3.53 2.54 4.75 3.98 2.69 3.34 3.17"},
		{"textbook", ".748 .060 .488 .082 .670 .460 .096 .715 .104 .366 .057 .400", ".712 .084 .474 .618 .049 .460 .105 .747 .404 .067 .133 .330"},
		{"by-hand", "5 2 3.5 2 4.5 4 2 4.5 2 3.5 1.5 4", "5 2 3.5 4.5 2 4 2 4.5 3.5 2 1.5 4"},
		{"concert-works", ".238 .006 .111 .006 .137 .094 .016 .214 .009 .080 .008 .081", ".220 .006 .104 .123 .019 .103 .012 .214 .062 .022 .061 .052"},
	} {
		p := mustProfile(t, tc.name)
		for mode, want := range map[Mode]string{Major: tc.major, Minor: tc.minor} {
			got := p.Major
			if mode == Minor {
				got = p.Minor
			}
			for i, word := range strings.Fields(want) {
				if w, err := strconv.ParseFloat(word, 64); err != nil || got[i] != w {
					t.Errorf("%s, %v, %d semitones above the tonic: %v, want %s", tc.name, mode, i, got[i], word)
				}
			}
		}
	}
}

// The names that profiles had before are still read, and every profile says where
// it is from.
func TestProfileNames(t *testing.T) {
	for old, now := range map[string]string{
		"kostka-payne": "textbook", "Temperley": "by-hand", "krumhansl-kessler": "listeners", "albrecht-shanahan": "concert-works",
		"aarden-essen": "folk-songs", "bellman-budge": "chord-counts", " simple ": "scale",
	} {
		if p := mustProfile(t, old); p.Name != now {
			t.Errorf("%s is %s, want %s", old, p.Name, now)
		}
	}
	for _, p := range Profiles() {
		if p.Source == "" {
			t.Errorf("%s has no source", p.Name)
		}
	}
}

func TestFindKeysOfNothing(t *testing.T) {
	flat, third := [12]float64{}, [12]float64{}
	for i := range flat {
		flat[i], third[i] = 1, 1.0/3
	}
	for _, h := range [][12]float64{{}, flat, third, {0: math.Inf(1)}, {3: math.NaN()}} {
		for _, p := range Profiles() {
			if got, err := FindKeys(h, p); !errors.Is(err, ErrNoKey) || got != nil {
				t.Errorf("%v with %s: %v, %v; want no key", h, p.Name, got, err)
			}
		}
	}
	if _, err := ParseProfile("krumhansl"); !errors.Is(err, ErrProfile) || !strings.Contains(err.Error(), "textbook") {
		t.Errorf("an unknown profile: %v", err)
	}
}

// Transposing the melody transposes the keys; how long a unit is, or a share
// that all have in common, changes nothing.
func TestTransposingCommutesWithFindKeys(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(Profiles()).Draw(t, "profile")
		by := rapid.IntRange(0, 11).Draw(t, "by")
		scale := rapid.Float64Range(0.01, 1000).Draw(t, "scale")
		more := rapid.Float64Range(0, 10).Draw(t, "more")
		var h, turned [12]float64
		for i := range h {
			h[i] = float64(rapid.IntRange(0, 16).Draw(t, "share"))
			turned[(i+by)%12] = h[i]*scale + more
		}
		a, errA := FindKeys(h, p)
		b, errB := FindKeys(turned, p)
		if (errA == nil) != (errB == nil) {
			t.Fatalf("%v: %v, turned: %v", h, errA, errB)
		}
		scores := map[Key]float64{}
		for _, s := range b {
			scores[s.Key] = s.Score
		}
		for i, s := range a {
			up := Key{}
			for _, k := range TwelveKeys(s.Key.Mode) {
				if k.Tonic.PitchClass() == (s.Key.Tonic.PitchClass()+by)%12 {
					up = k
				}
			}
			if got, ok := scores[up]; !ok || math.Abs(got-s.Score) > 1e-9 {
				t.Fatalf("%v has %v, %v has %v", s.Key, s.Score, up, got)
			}
			if i > 0 && a[i-1].Score < s.Score-1e-9 || !s.Key.Valid() {
				t.Fatalf("%v at place %d after %v", s, i+1, a[i-1])
			}
		}
	})
}

func TestTwelveKeys(t *testing.T) {
	for mode, want := range map[Mode]string{
		Major: "C Db D Eb E F Gb G Ab A Bb B", Minor: "C C# D Eb E F F# G G# A Bb B", Dorian: "C C# D Eb E F F# G Ab A Bb B",
	} {
		var got []string
		for _, k := range TwelveKeys(mode) {
			got = append(got, k.Tonic.ASCII())
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("the twelve %v keys: %s, want %s", mode, s, want)
		}
	}
}

// Offset: whole semitones moved by c lie c away, and agree.
func TestOffset(t *testing.T) {
	for _, c := range []float64{-49, -20, 0, 12.5, 49} {
		got, agreement := Offset([]Cents{c, 400 + c, -300 + c, 1200 + c}, []float64{1, 2, 0.5, 3})
		if math.Abs(got-c) > 1e-9 || math.Abs(agreement-1) > 1e-9 {
			t.Errorf("semitones %v c away: %v, agreement %v", c, got, agreement)
		}
	}
	// Two equal notes 20 c apart: the middle; agreement cos(2π·10/100).
	if got, agreement := Offset([]Cents{0, 320}, []float64{1, 1}); math.Abs(got-10) > 1e-9 || math.Abs(agreement-math.Cos(0.2*math.Pi)) > 1e-9 {
		t.Errorf("0 and 20 c: %v, %v", got, agreement)
	}
	// Half a semitone apart they cancel out: nothing is agreed.
	if _, agreement := Offset([]Cents{0, 50}, []float64{1, 1}); agreement > 1e-9 {
		t.Errorf("0 and 50 c agree by %v", agreement)
	}
	if got, agreement := Offset(nil, nil); got != 0 || agreement != 0 {
		t.Errorf("nothing: %v, %v", got, agreement)
	}
}

// referenceFile reads a table of the reference data, without its header.
func referenceFile(t *testing.T, names ...string) [][]string {
	t.Helper()
	_, rows := testkit.Reference(t, names...)
	return rows
}

// profile, mode, semitones_above_tonic, weight: as the library music21 has them.
func TestReferenceProfiles(t *testing.T) {
	names := map[string]string{
		"Krumhansl-Schmuckler": "listeners", "Krumhansl-Kessler": "listeners", "Aarden-Essen": "folk-songs",
		"Simple": "scale", "Bellman-Budge": "chord-counts", "Temperley-Kostka-Payne": "textbook",
	}
	rows := reference(t, "key_profiles.csv")
	if len(rows) != 144 {
		t.Errorf("%d weights, want 144", len(rows))
	}
	for _, row := range rows {
		p := mustProfile(t, names[row[0]])
		i, err := strconv.Atoi(row[2])
		want, err2 := strconv.ParseFloat(row[3], 64)
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		got := p.Major[i]
		if row[1] == "minor" {
			got = p.Minor[i]
		}
		if got != want {
			t.Errorf("%s %s %d: %v, want %v", row[0], row[1], i, got, want)
		}
	}
}

// weighted is the usual score of key finding (the MIREX audio key detection
// task): 1 right, 0.5 a fifth above, 0.3 the relative, 0.2 the parallel key.
func weighted(ref, est Key) float64 {
	up := (est.Tonic.PitchClass() - ref.Tonic.PitchClass() + 12) % 12
	switch {
	case up == 0 && ref.Mode == est.Mode:
		return 1
	case up == 7 && ref.Mode == est.Mode:
		return 0.5
	case ref.Mode == Major && est.Mode == Minor && up == 9, ref.Mode == Minor && est.Mode == Major && up == 3:
		return 0.3
	case up == 0:
		return 0.2
	}
	return 0
}

// The score above against the fixtures of the library mir_eval.
func TestReferenceWeightedScore(t *testing.T) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE is not set: no comparison with the fixtures of mir_eval")
	}
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(dir, "mir-eval-fixtures", "key", name))
		if err != nil {
			t.Fatal(err)
		}
		text, _, _ := strings.Cut(string(b), "#  ")
		for line := range strings.Lines(text) {
			if !strings.HasPrefix(line, "#") {
				return strings.TrimSpace(line)
			}
		}
		return ""
	}
	for _, n := range []string{"00", "01", "02", "03", "04"} {
		key := func(name string) Key { // D flat minor is a name there
			tonic, mode, _ := strings.Cut(read(name), "\t")
			return Key{mustNote(t, tonic), map[string]Mode{"major": Major, "minor": Minor}[mode]}
		}
		ref, est := key("ref"+n+".txt"), key("est"+n+".txt")
		out := read("output" + n + ".json")
		want, err := strconv.ParseFloat(strings.Trim(out[strings.IndexByte(out, ':')+1:], " }"), 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := weighted(ref, est); got != want {
			t.Errorf("%v for %v scores %v, want %v", est, ref, got, want)
		}
	}
}

// How often the tonic is found from the soprano line of a hymn: 103 public
// domain hymns whose tonic is known from the last bass note and the signature.
// The limits are what was measured.
func TestReferenceHymns(t *testing.T) {
	histograms := map[string]*[12]float64{}
	for _, row := range referenceFile(t, "hymns", "notes.csv.gz") { // hymn, voice, onset_beats, beats, midi
		if row[1] != "S" {
			continue
		}
		beats, err := strconv.ParseFloat(row[3], 64)
		midi, err2 := strconv.Atoi(row[4])
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if histograms[row[0]] == nil {
			histograms[row[0]] = new([12]float64)
		}
		histograms[row[0]][midi%12] += beats
	}
	want := map[string][3]int{ // tonic first, tonic among three, tonic and mode first
		"textbook": {96, 100, 96}, "by-hand": {92, 100, 92}, "listeners": {87, 102, 86},
		"concert-works": {94, 101, 94}, "folk-songs": {80, 99, 80}, "chord-counts": {89, 98, 89}, "scale": {87, 100, 87},
	}
	for _, p := range Profiles() {
		hymns, first, three, right, score := 0, 0, 0, 0, 0.0
		for _, row := range referenceFile(t, "hymns", "hymns.csv") { // hymn, title, signature_as_major_key, mode, tonic_pc
			tonic, err := strconv.Atoi(row[4])
			if err != nil {
				continue // no tonic is known
			}
			hymns++
			found, err := FindKeys(*histograms[row[0]], p)
			if err != nil {
				t.Fatalf("%s: %v", row[0], err)
			}
			for i, s := range found[:3] {
				if s.Key.Tonic.PitchClass() == tonic {
					three++
					if i == 0 {
						first++
					}
					break
				}
			}
			mode := Major
			if row[3] == "minor" || row[3] == "dorian" || row[3] == "phrygian" {
				mode = Minor
			}
			if ref := TwelveKeys(mode)[tonic]; ref == found[0].Key {
				right++
				score++
			} else {
				score += weighted(ref, found[0].Key)
			}
		}
		t.Logf("%-18s %d hymns: tonic first %d, among three %d, tonic and mode %d, weighted score %.3f", p.Name, hymns, first, three, right, score/float64(hymns))
		if got := [3]int{first, three, right}; hymns != 103 || got[0] < want[p.Name][0] || got[1] < want[p.Name][1] || got[2] < want[p.Name][2] {
			t.Errorf("%s: %d hymns, %v, measured before: %v", p.Name, hymns, got, want[p.Name])
		}
	}
}

// Exercises of a solfège book of 1891, in C: exercise, index, onset_beats,
// beats, midi, syllable, octave_above_c4. The names follow from the notes, the
// lines are written in tonic sol-fa and read back, and the key is found.
func TestReferenceSolfegeExercises(t *testing.T) {
	melodies, ends := map[string]*Melody{}, map[string]float64{}
	var order []string
	sign := func(x float64) Fraction { return NewFraction(int(math.Round(x*48)), 48) }
	for _, row := range referenceFile(t, "solfege-exercises", "exercises.csv") {
		onset, err := strconv.ParseFloat(row[2], 64)
		beats, err2 := strconv.ParseFloat(row[3], 64)
		midi, err3 := strconv.Atoi(row[4])
		octave, err4 := strconv.Atoi(row[6])
		if err != nil || err2 != nil || err3 != nil || err4 != nil {
			t.Fatal(err, err2, err3, err4)
		}
		m := melodies[row[0]]
		if m == nil {
			m = new(Melody)
			melodies[row[0]], order = m, append(order, row[0])
		}
		d := Key{}.SpellLine([]int{midi - 60})[0]
		if got := Movable.Name(Key{}, d); got != row[5] {
			t.Errorf("exercise %s: MIDI %d is %s, want %s", row[0], midi, got, row[5])
		}
		if gap := sign(onset - ends[row[0]]); gap.Num > 0 {
			m.Tones = append(m.Tones, Tone{Rest: true, Length: gap})
		}
		ends[row[0]] = onset + beats
		m.Tones = append(m.Tones, Tone{Degree: d, Octave: octave, Length: sign(beats)})
	}
	written, found := 0, 0
	for _, name := range order {
		m := melodies[name]
		pulses := int(math.Ceil(ends[name] - 1e-9))
		if rest := sign(float64(pulses) - ends[name]); rest.Num > 0 {
			m.Tones = append(m.Tones, Tone{Rest: true, Length: rest})
		}
		m.Accents = Metre(4, 0, pulses)
		text, err := m.Text(Curwen, false)
		if err == nil {
			written++
			back, err := ParseMelody(text, Key{}, Curwen)
			if err != nil || show(back) != show(*m) {
				t.Errorf("exercise %s: %q is read %s, %v; want %s", name, text, show(back), err, show(*m))
			}
		} else {
			t.Logf("exercise %s: %v", name, err)
		}
		keys, err := FindKeys(m.Histogram(), Profiles()[0])
		if err != nil {
			t.Fatal(err)
		}
		if keys[0].Key == (Key{}) {
			found++
		} else {
			t.Logf("exercise %s: %v %.3f, then %v %.3f", name, keys[0].Key, keys[0].Score, keys[1].Key, keys[1].Score)
		}
	}
	t.Logf("%d exercises, %d written in tonic sol-fa, %d found in C major", len(order), written, found)
	if len(order) != 29 || written != 29 || found < 23 {
		t.Errorf("%d exercises, %d written, %d found; measured before: 29, 29, 23", len(order), written, found)
	}
}

func FuzzParseProfile(f *testing.F) {
	f.Add("textbook")
	f.Add("kostka-payne")
	f.Add("")
	f.Fuzz(func(t *testing.T, s string) {
		if p, err := ParseProfile(s); err != nil {
			checkRefusal(t, s, err, ErrProfile)
		} else if back, err := ParseProfile(p.Name); err != nil || back.Name != p.Name {
			t.Errorf("%q is %s, read back %v", s, p.Name, err)
		}
	})
}
