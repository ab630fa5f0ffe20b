package cli

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"singback/theory"
)

// keyTable is key --format json as a reader of it sees it.
type keyTable struct {
	Schema    int
	Key       string
	Signature int
	A4Hz      float64 `json:"a4_hz"`
	Degrees   []struct {
		Degree, Syllable, Name, Note string
		Semitones                    int
		Names                        map[string]string
		Hz                           float64
	}
}

func readKeyTable(t *testing.T, args ...string) keyTable {
	t.Helper()
	stdout, stderr := call{}.must(t, append([]string{"key", "--format", "json"}, args...)...)
	if stderr != "" {
		t.Errorf("key %v: standard error has %q", args, stderr)
	}
	var table keyTable
	if err := json.Unmarshal([]byte(stdout), &table); err != nil {
		t.Fatalf("key %v: %v", args, err)
	}
	return table
}

// midi reads a spelled note with its octave, independently of package theory.
func midi(t *testing.T, s string) int {
	t.Helper()
	octave, err := strconv.Atoi(strings.TrimLeft(s, "ABCDEFG#b"))
	if err != nil {
		t.Fatalf("note %q: %v", s, err)
	}
	return 12*(octave+1) + map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}[s[0]] +
		strings.Count(s, "#") - strings.Count(s[1:], "b")
}

// The order of sharps and flats in signatures: any textbook of music theory.
const sharps, flats = "FCGDAEB", "BEADGCF"

func TestKeyOfAllThirty(t *testing.T) {
	// The 15 signatures of each mode: the circle of fifths.
	major := "Cb Gb Db Ab Eb Bb F C G D A E B F# C#"
	minor := "Ab Eb Bb F C G D A E B F# C# G# D# A#"
	for mode, tonics := range map[string]string{"major": major, "minor": minor} {
		for i, tonic := range strings.Fields(tonics) {
			name, signature := tonic+" "+mode, i-7
			table := readKeyTable(t, name)
			if table.Schema != 1 || table.Key != name || table.Signature != signature || table.A4Hz != 440 {
				t.Errorf("%s: %+v", name, table)
			}
			accidental := map[byte]string{}
			for _, l := range []byte(sharps[:max(0, signature)]) {
				accidental[l] = "#"
			}
			for _, l := range []byte(flats[:max(0, -signature)]) {
				accidental[l] = "b"
			}
			letter := strings.IndexByte("CDEFGAB", tonic[0])
			for n, row := range table.Degrees {
				// Frequencies in equal temperament: A4·2^((m−69)/12).
				if want := 440 * math.Exp2(float64(midi(t, row.Note)-69)/12); math.Abs(row.Hz-want) > 0.0006 {
					t.Errorf("%s: %s at %v Hz, want %.3f", name, row.Note, row.Hz, want)
				}
				if n >= 7 {
					continue
				}
				l := "CDEFGAB"[(letter+n)%7]
				if note := string(l) + accidental[l]; strings.TrimRight(row.Note, "0123456789") != note {
					t.Errorf("%s: degree %d is %s, want %s", name, n+1, row.Note, note)
				}
			}
			if want := map[string]int{"major": 7, "minor": 9}[mode]; len(table.Degrees) != want {
				t.Errorf("%s: %d degrees, want %d", name, len(table.Degrees), want)
			}
		}
	}
}

// Common practice: movable do, and fixed do with si for B (in G major the B is
// mi, in C major ti; in fixed do it is si in both).
func TestKeyNames(t *testing.T) {
	for _, c := range []struct{ key, degree, movable, fixed, letters, numbers string }{
		{"G major", "3", "mi", "si", "B", "3"},
		{"C major", "7", "ti", "si", "B", "7"},
		{"Ab major", "6", "la", "fa", "F", "6"},
		{"f#m", "b3", "me", "la", "A", "b3"},
	} {
		table := readKeyTable(t, c.key)
		i := slices.IndexFunc(table.Degrees, func(d struct {
			Degree, Syllable, Name, Note string
			Semitones                    int
			Names                        map[string]string
			Hz                           float64
		}) bool {
			return d.Degree == c.degree
		})
		if i < 0 {
			t.Errorf("%s has no degree %s", c.key, c.degree)
			continue
		}
		row := table.Degrees[i]
		got := []string{row.Syllable, row.Names["movable"], row.Names["fixed"], row.Names["letters"], row.Names["numbers"]}
		if want := []string{c.movable, c.movable, c.fixed, c.letters, c.numbers}; !slices.Equal(got, want) {
			t.Errorf("%s, degree %s: names %q, want %q", c.key, c.degree, got, want)
		}
	}
}

func TestKeyFlags(t *testing.T) {
	if n := len(readKeyTable(t, "C", "--chromatic").Degrees); n != 12 {
		t.Errorf("--chromatic has %d rows", n)
	}
	if got := readKeyTable(t, "A", "--a4", "442", "--octave", "4").Degrees[0]; got.Note != "A4" || got.Hz != 442 {
		t.Errorf("A major at A4 = 442 begins with %+v", got)
	}
	if got := readKeyTable(t, "Ab", "--names", "fixed").Degrees[0].Name; got != "lab" {
		t.Errorf("do of A-flat major in fixed do is %q, want lab", got)
	}
	for _, words := range [][]string{{"Gb", "major"}, {"gb"}, {"G♭ major"}, {"G flat major"}} {
		if got := readKeyTable(t, words...).Key; got != "Gb major" {
			t.Errorf("key %v is %q", words, got)
		}
	}
	// A random key is one of the 30, and the seed decides which.
	for mode, arg := range map[string]string{"": "random", "major": "random major", "minor": "random minor"} {
		got := readKeyTable(t, arg).Key
		if k, err := theory.ParseKey(got); err != nil || !k.Valid() || !strings.HasSuffix(got, mode) {
			t.Errorf("key %s is %q: %v", arg, got, err)
		}
		if again := readKeyTable(t, arg).Key; again != got {
			t.Errorf("key %s is %q, then %q with the same seed", arg, got, again)
		}
	}
}

// The three formats hold the same numbers.
func TestKeyFormats(t *testing.T) {
	table := readKeyTable(t, "f#m", "--voice", "tenor", "--a4", "442")
	stdout, _ := call{}.must(t, "key", "f#m", "--voice", "tenor", "--a4", "442", "--format", "csv")
	rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if want := "degree,note,semitones,movable,la_based,fixed,fixed_chromatic,numbers,letters,curwen,kodaly,hz,cents,ratio"; strings.Join(rows[0], ",") != want {
		t.Errorf("header %q, want %q", rows[0], want)
	}
	text, _ := call{}.must(t, "key", "f#m", "--voice", "tenor", "--a4", "442")
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if lines[0] != "F♯ minor, 3 sharps, A4 = 442 Hz" {
		t.Errorf("first line %q", lines[0])
	}
	if len(rows)-1 != len(table.Degrees) || len(lines)-5 != 2*len(table.Degrees) {
		t.Fatalf("%d degrees in JSON, %d in CSV, %d lines of text", len(table.Degrees), len(rows)-1, len(lines))
	}
	for i, d := range table.Degrees {
		record := rows[i+1]
		if record[0] != d.Degree || record[1] != d.Note || record[11] != fmt.Sprintf("%.3f", d.Hz) || record[5] != d.Names["fixed"] {
			t.Errorf("CSV %q, JSON %+v", record, d)
		}
		if f := strings.Fields(lines[i+3]); math.Abs(number(t, f[len(f)-1])-d.Hz) > 0.0055 {
			t.Errorf("text %q, JSON %v Hz", lines[i+3], d.Hz)
		}
		f := strings.Fields(lines[i+5+len(table.Degrees)])
		want := []string{d.Names["fixed"], d.Names["fixed_chromatic"], d.Names["letters"], d.Names["curwen"], d.Names["kodaly"]}
		if got := strings.NewReplacer("♯", "#", "♭", "b", "♮", "n").Replace(strings.Join(f[1:], " ")); got != strings.Join(want, " ") {
			t.Errorf("text %q, JSON %q", got, want)
		}
	}
}

// Both tables fit a terminal, in every key and tuning.
func TestKeyTextFits(t *testing.T) {
	for _, k := range theory.Keys() {
		for _, tuning := range []string{"equal", "just", "pythagorean"} {
			text, _ := call{}.must(t, "key", k.ASCII(), "--chromatic", "--tuning", tuning)
			for line := range strings.Lines(text) {
				if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
					t.Errorf("%v, %s: %d columns: %q", k, tuning, n, line)
				}
			}
		}
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestCompletion(t *testing.T) {
	complete := func(args ...string) []string {
		stdout, _ := call{}.must(t, append([]string{"__complete"}, args...)...)
		lines := strings.Split(strings.TrimSpace(stdout), "\n")
		return lines[:len(lines)-1] // the last is a directive to the shell
	}
	for _, args := range [][]string{{"key", ""}, {"sing", "--key", ""}, {"judge", "--key", ""}} {
		keys := complete(args...)
		n := 0
		for _, k := range keys {
			if _, err := theory.ParseKey(k); err == nil {
				n++
			}
		}
		if n != 30 || !slices.Contains(keys, "Gb major") || slices.Contains(keys, "random") != (args[0] != "judge") {
			t.Errorf("%q offers %d keys: %q", args, n, keys)
		}
	}
	if got := complete("key", "C", ""); len(got) != 0 {
		t.Errorf("a second key: %q", got)
	}
	for _, c := range []struct {
		args []string
		has  string
	}{
		{[]string{"judge", "--key", "Ab major", "--degree", ""}, "la"},
		{[]string{"judge", "--degree", ""}, "la"},
		{[]string{"judge", "--key", "Ab major", "--names", "fixed", "--degree", ""}, "lab"},
		{[]string{"judge", "--key", "Ab major", "--names", "letters", "--degree", ""}, "Db"},
		{[]string{"sing", "--names", "numbers", "--degrees", ""}, "6"},
		{[]string{"sing", "--degrees", ""}, "triad"},
		{[]string{"sing", "--from", ""}, "any"},
		{[]string{"sing", "--names", ""}, "movable"},
		{[]string{"key", "--names", ""}, "letters"},
		{[]string{"sing", "--set", ""}, "drone"},
		{[]string{"sing", "--voice", ""}, "alto"},
		{[]string{"sing", "--retry", ""}, "never"},
		{[]string{"sing", "--input", ""}, "simulated"},
		{[]string{"sing", "--output", ""}, "none"},
		{[]string{"trace", "--format", ""}, "csv"},
		{[]string{""}, "sing\tThe drill: hear the key, sing the degree, hear how near you were"},
	} {
		if got := complete(c.args...); !slices.Contains(got, c.has) {
			t.Errorf("%q offers %q, want %q among them", c.args, got, c.has)
		}
	}
	// Everything offered is accepted.
	for _, d := range complete("judge", "--key", "Ab major", "--degree", "") {
		call{}.must(t, "judge", "--key", "Ab major", "--degree", d, "../../testdata/wav/silence.wav")
	}
	for _, d := range complete("sing", "--degrees", "") {
		call{}.must(t, "sing", "--degrees", d, "../../testdata/wav/silence.wav")
	}
	for _, d := range complete("sing", "--from", "") {
		call{}.must(t, "sing", "--from", d, "--degrees", "chromatic", "../../testdata/wav/silence.wav")
	}
}

func FuzzKeyArgument(f *testing.F) {
	for _, s := range []string{"Ab major", "f#m", "H# major", "", "Fbb", "G♭ dur", "random minor", "--help", "-", "\x00", "c\nd"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, args := range [][]string{{"key", "--", s}, {"key", s}} {
			stdout, stderr, code := call{}.run(t, args...)
			if code == exitDone && stdout != "" && stderr == "" {
				continue
			}
			refused(t, args, stdout, stderr, code, exitUsage)
		}
	})
}

func FuzzDegreeArgument(f *testing.F) {
	for _, s := range []string{"la", "6", "F", "b3", "lu", "", "do mi sol", "♭♭♭", "ti\n", "99999999999999999999", "all", "1-5"} {
		f.Add(s, "Ab major", "movable")
	}
	f.Fuzz(func(t *testing.T, degree, key, names string) {
		take := "../../testdata/wav/silence.wav"
		for _, args := range [][]string{
			{"judge", "--key=" + key, "--names=" + names, "--degree=" + degree, take},
			{"sing", "--seed=1", "--key=" + key, "--names=" + names, "--degrees=" + degree, take},
			{"sing", "--seed=1", "--key=" + key, "--names=" + names, "--from=" + degree, take},
		} {
			if stdout, stderr, code := (call{}).run(t, args...); code != exitDone {
				refused(t, args, stdout, stderr, code, exitUsage)
			}
		}
	})
}
