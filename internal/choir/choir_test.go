package choir

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/newfile"
	"singback/internal/notation"
	"singback/internal/synth"
	"singback/theory"
)

// read reads parts written as ABC.
func read(t testing.TB, abc string) Choir {
	t.Helper()
	parts, _, err := notation.ReadParts("x.abc", strings.NewReader(abc), notation.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := New(parts)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func harbour(t testing.TB) Choir {
	t.Helper()
	b, err := os.ReadFile("../../testdata/harbour.abc")
	if err != nil {
		t.Fatal(err)
	}
	return read(t, string(b))
}

// Lowest, highest, and the pitch that halves the time; what lies outside the usual ranges
// (exercise.VoiceNamed: soprano C4-A5, bass F2-E4), where and by how much. Worked by hand.
func TestReach(t *testing.T) {
	c := read(t, "X:1\nM:4/4\nL:1/4\nK:C\nV:S\nC|c2 e2|b4|c'2 C2|\nV:B\nC,|C,4|E,,2 D,,2|G,4|\n")
	s, b := c.Parts[0], c.Parts[1]
	if r := s.Reach; r.Low.ASCII() != "C4" || r.High.ASCII() != "C6" || r.Median != 76 || r.Quarters != 13 {
		t.Errorf("soprano %+v", r)
	}
	if o := s.Outside(); o.Notes != 2 || o.Above != 3 || o.Below != 0 || o.Quarters != 6 || !slices.Equal(o.Bars, []int{2, 3}) || o.Weight != 2*4+3*2 {
		t.Errorf("soprano outside: %+v", o)
	}
	if o := b.Outside(); o.Notes != 2 || o.Below != 3 || o.Above != 0 || !slices.Equal(o.Bars, []int{2}) {
		t.Errorf("bass outside: %+v", o)
	}
	text := Style{}.Choir(c)
	for _, want := range []string{"C4-C6", "2 notes: B5 C6, 3 above; bars 2 3", "2 notes: E2 D2, 3 below; bar 2"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text does not say %q:\n%s", want, text)
		}
	}
}

// The key that is advised keeps the rules of advice: at most three semitones, least
// outside, the tune's median from F4 to A4 (of men an octave lower), the shortest way.
func TestMoves(t *testing.T) {
	for _, c := range []struct {
		name, abc string
		by        int
		key       string
		fits      bool
	}{
		{"it lies well: it stays", "X:1\nL:1/4\nK:C\nV:S\nG A G F|\nV:A\nE E E C|\n", 0, "C major", true},
		{"the median of the tune is B4", "X:1\nL:1/4\nK:G\nV:S\nB B B d|\nV:A\nG G G G|\n", -2, "F major", true},
		{"the median is E4", "X:1\nL:1/4\nK:C\nV:S\nE E E G|\nV:A\nC C C C|\n", 1, "Db major", true},
		{"men, an octave lower", "X:1\nL:1/4\nK:C\nV:Tenor\nG, G, A, G,|\nV:Bass\nC, C, C, C,|\n", 0, "C major", true},
		{"a bass below its range goes before the median", "X:1\nL:1/4\nK:C\nV:S\nA A A G|\nV:B\nD,, D,, G,, C,|\n", 3, "Eb major", false},
		{"farther than three semitones is not advised", "X:1\nL:1/4\nK:C\nV:S\nd d e d|\nV:A\nA A A A|\n", -3, "A major", false},
	} {
		ch := read(t, c.abc)
		moves, best := ch.Moves()
		m := moves[best]
		if m.Semitones != c.by || m.Key.ASCII() != c.key || m.Fits() != c.fits {
			t.Errorf("%s: %+d %s, fits %v; want %+d %s %v", c.name, m.Semitones, m.Key.ASCII(), m.Fits(), c.by, c.key, c.fits)
		}
		for i, by := 0, -6; by <= 6; i, by = i+1, by+1 {
			if moves[i].Semitones != by {
				t.Fatalf("move %d is %d", i, moves[i].Semitones)
			}
			moved, err := ch.MovedBy(by)
			if err != nil {
				t.Fatal(err)
			}
			for k, p := range moved.Parts {
				if got := p.Reach.Low.MIDI() - ch.Parts[k].Reach.Low.MIDI(); got != by {
					t.Errorf("%s, %+d: %s goes by %d", c.name, by, p.Name, got)
				}
				if p.Score.Key != moves[i].Key {
					t.Errorf("%s, %+d: %s is in %s, want %s", c.name, by, p.Name, p.Score.Key.ASCII(), moves[i].Key.ASCII())
				}
				if o := p.Outside(); o.Weight != moves[i].Outside[k].Weight {
					t.Errorf("%s, %+d, %s: %g outside after the move, %g before it said", c.name, by, p.Name, o.Weight, moves[i].Outside[k].Weight)
				}
			}
		}
	}
}

// All parts move by one interval and are spelled by it: F sharp in G is E in F and B
// sharp in C sharp, in every part; a part in a key of its own follows, and where that key
// would have eight sharps (E sharp minor) it is in the one of the same sound (F minor).
func TestMovedTogether(t *testing.T) {
	c := read(t, "X:1\nL:1/4\nK:G\nV:S\n\"D7\"f \"C\"c|\nV:A\nd c|\nV:T\n[K:Bm]^A F|\nV:B\nD, C,|\n")
	for to, want := range map[string]string{
		"F":  "E5 Bb4 / C5 Bb4 / G#4 E4 / C3 Bb2",
		"C#": "B#5 F#5 / G#5 F#5 / E5 C5 / G#3 F#3",
		"Db": "C6 Gb5 / Ab5 Gb5 / E5 C5 / Ab3 Gb3",
	} {
		k, err := theory.ParseKey(to + " major")
		if err != nil {
			t.Fatal(err)
		}
		moved, err := c.In(k)
		if err != nil {
			t.Fatal(err)
		}
		var parts []string
		for _, p := range moved.Parts {
			var names []string
			for _, n := range p.Score.Notes {
				names = append(names, n.Pitch.ASCII())
			}
			parts = append(parts, strings.Join(names, " "))
		}
		if got := strings.Join(parts, " / "); got != want {
			t.Errorf("in %s: %s\nwant %s", to, got, want)
		}
	}
	low, err := c.MovedBy(-14)
	if err != nil || low.Parts[0].Score.Notes[0].Pitch.ASCII() != "E4" || low.Parts[3].Score.Notes[0].Pitch.ASCII() != "C2" {
		t.Errorf("14 semitones down: %v, %v", low.Parts, err)
	}
}

// Words go to the notes that begin with theirs, chord symbols to all.
func TestLent(t *testing.T) {
	c := read(t, "X:1\nL:1/4\nK:C\nV:S\n\"C\"c d \"G\"e2|\nw:a b c\nV:A\nE2 G2|\n")
	a := c.Parts[1].Score
	if a.Notes[0].Words != "a" || a.Notes[1].Words != "c" || len(a.Symbols) != 2 || len(c.Said) != 1 {
		t.Errorf("%+v, %v", a, c.Said)
	}
}

// Where pure intervals lie against equal temperament, in cents: major third 5/4 −13.69,
// minor third 6/5 +15.64, fifth 3/2 +1.96, fourth 4/3 −1.96, major sixth 5/3 −15.64, minor
// sixth 8/5 +13.69 (the ratios' logarithms; as in any table of just intonation).
func TestPureInChords(t *testing.T) {
	cents := func(num, den float64, semitones float64) float64 {
		return 1200*math.Log2(num/den) - 100*semitones
	}
	for _, c := range []struct {
		name, others, own string
		chord             string
		want              float64
		none              bool
	}{
		{"third of a major triad", "C, G, c", "E", "C", cents(5, 4, 4), false},
		{"third of a minor triad", "A,, E, A", "c", "Am", cents(6, 5, 3), false},
		{"fifth", "C, E c", "G", "C", cents(3, 2, 7), false},
		{"the root over its third in the bass", "B,, D G", "g", "G/B", cents(8, 5, 8), false},
		{"the bass itself is told by the next above: the root under its third", "E G c", "C,", "C", -cents(5, 4, 4), false},
		{"the seventh, 9/5", "G,, B, D", "f", "G7", cents(9, 5, 10), false},
		{"a third alone", "C", "E", "", cents(5, 4, 4), false},
		{"a sixth alone", "E", "c", "", cents(8, 5, 8), false},
		{"an octave alone", "C", "c", "", 0, false},
		{"a second alone has nothing pure", "C", "D", "", 0, true},
		{"nothing sounds", "z", "D", "", 0, true},
	} {
		abc := "X:1\nL:1/4\nK:C\nV:1\n" + c.own + "4|\n"
		for i, o := range strings.Fields(c.others) {
			abc += "V:" + string(rune('2'+i)) + "\n" + o + "4|\n"
		}
		abc += "V:9\nC,,,4|\n" // so that there are two parts with notes
		ch := read(t, abc)
		ch.Parts = ch.Parts[:len(ch.Parts)-1]
		s := ch.Chords(0, theory.Tuning{A4: 442})[0]
		if s.HasPure == c.none || math.Abs(s.Pure-c.want-theory.CentsBetween(442, 442)) > 0.01 && !c.none || c.chord != "" && s.Chord.ASCII() != c.chord {
			t.Errorf("%s: %s %v, pure %v at %+.2f, want %+.2f", c.name, s.Chord.ASCII(), s.HasChord, s.HasPure, s.Pure, c.want)
		}
	}
}

// The chord that sounds longest with a note counts; the bar is that in which it begins.
func TestChordsInTime(t *testing.T) {
	c := read(t, "X:1\nM:4/4\nL:1/4\nK:C\nV:1\nE|E4|G4|\nV:2\nC|C A,3|C4|\nV:3\nG,|G, C3|E,4|\n")
	var got []string
	for _, s := range c.Chords(0, theory.Tuning{A4: 440}) {
		got = append(got, s.Chord.ASCII())
	}
	if want := []string{"C/G", "Am", "C/E"}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if s := c.Chords(0, theory.Tuning{A4: 440}); s[0].Bar != 0 || s[2].Bar != 2 {
		t.Errorf("bars %d and %d", s[0].Bar, s[2].Bar)
	}
}

// A third that is sung 14 cents low is 14 flat of equal temperament and pure in its chord;
// heard, it is counted from what sounded, else from the singer's own key.
func TestTuned(t *testing.T) {
	c := read(t, "X:1\nM:4/4\nL:1/4\nK:C\nV:1\nE G E G|\nV:2\nC C C C|\nV:3\nG, G, G, G,|\n")
	tuning := theory.Tuning{A4: 440}
	line, err := grade.NewLine(c.Parts[0].Score, tuning)
	if err != nil {
		t.Fatal(err)
	}
	var take grade.Performance
	for i, midi := range []float64{64, 67, 64, 67} {
		off := 0.0
		if midi == 64 {
			off = -13.7
		}
		take.Notes = append(take.Notes, grade.Sung{Cents: 100*midi + off - 10, Onset: float64(i), Offset: float64(i) + 0.9})
	}
	g, err := grade.Of(line, take, grade.DefaultRules())
	if err != nil {
		t.Fatal(err)
	}
	for heard, flat := range map[bool]float64{true: 10, false: 10 - 16.85} { // the take's own key: the median of its notes
		notes := c.Tuned(0, tuning, line, take, g, heard)
		if n := notes[0]; !n.Sung || heard && (math.Abs(n.FromEqual+13.7+flat) > 0.1 || math.Abs(n.FromChord+flat+0.01) > 2.1) {
			t.Errorf("heard %v: third %+.1f from equal, %+.1f in the chord", heard, n.FromEqual, n.FromChord)
		}
		if d := notes[1].FromEqual - notes[0].FromEqual; math.Abs(d-13.7) > 0.1 {
			t.Errorf("heard %v: fifth and third are %.1f apart, want 13.7", heard, d)
		}
	}
}

// What each practice file sounds like, measured as RMS per part: louder is louder by what
// was asked, what is left out is not there.
func TestSamples(t *testing.T) {
	c := harbour(t)
	s := Sound{SampleRate: 8000, Level: -12, Instrument: synth.Organ, Tuning: theory.Tuning{A4: 440}, Quarter: 0.3}
	power := func(x []float64) (sum float64) {
		for _, v := range x {
			sum += v * v
		}
		return sum
	}
	minus := func(a, b []float64) (out []float64) {
		for i := range a {
			out = append(out, a[i]-b[i])
		}
		return out
	}
	all, mine := c.Samples(s, All.Gains(4, 0, 6)), c.Samples(s, Mine.Gains(4, 1, 6))
	alone, others := c.Samples(s, Alone.Gains(4, 1, 6)), c.Samples(s, Others.Gains(4, 1, 6))
	if d := 10 * math.Log10(power(minus(all, alone))/power(others)); math.Abs(d) > 0.01 {
		t.Errorf("all without alto is %.2f dB louder than the others", d)
	}
	scale := math.Sqrt(power(minus(mine, alone)) / power(others))
	if d := -20 * math.Log10(scale); math.Abs(d-6) > 0.01 {
		t.Errorf("the others are %.2f dB softer, want 6", d)
	}
	for name, x := range map[string][]float64{"all": all, "mine": mine, "alone": alone, "others": others} {
		for _, v := range x {
			if math.Abs(v) > math.Pow(10, -1.99/20) {
				t.Fatalf("%s exceeds the ceiling: %g", name, v)
			}
		}
	}
	s.Count = true
	if counted := c.Samples(s, All.Gains(4, 0, 6)); len(counted)-len(all) != int(7*0.3*8000) { // a bar, and what the pickup lacks
		t.Errorf("the count-in lasts %d samples", len(counted)-len(all))
	}
}

// The files of a folder are whole and readable: scores read back as the parts, sounds as
// WAV, pictures as SVG, the page with a link to each; names any file system takes.
func TestPractice(t *testing.T) {
	c := harbour(t)
	c.Parts[1].Name = `../Älto: "CON" <2>/`
	dir := filepath.Join(t.TempDir(), "new", "practice")
	files := c.Practice(Sound{SampleRate: 8000, Level: -24, Instrument: synth.Organ, Tuning: theory.Tuning{A4: 440}, Quarter: 0.1}, 6)
	name := func(i int) string { return files[i].Name }
	write := func(force bool) error {
		return newfile.WriteFolder(dir, len(files), name, force, newfile.ForAll, func(i int, w io.Writer) error { return files[i].Write(w) })
	}
	if err := write(false); err != nil {
		t.Fatal(err)
	}
	got := map[string][]byte{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*\.(abc|musicxml|svg|wav|html)$`).MatchString(e.Name()) {
			t.Errorf("a file is called %q", e.Name())
		}
		if got[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	if len(got) != 4+6*4 {
		t.Errorf("%d files", len(got))
	}
	for _, f := range []string{"all.musicxml", "all.abc"} {
		parts, _, err := notation.ReadParts(f, bytes.NewReader(got[f]), notation.Options{})
		if err != nil || len(parts) != 4 {
			t.Fatalf("%s: %v", f, err)
		}
		for i, p := range parts {
			if heard(p.Score) != heard(c.Parts[i].Score) {
				t.Errorf("%s, %s: %s", f, p.Name, heard(p.Score))
			}
		}
	}
	for _, f := range []string{"4-bass.musicxml", "4-bass.abc"} {
		s, _, err := notation.Parse(f, got[f], notation.Options{})
		if err != nil || heard(s) != heard(c.Parts[3].Score) || len(s.Symbols) != len(c.Parts[0].Score.Symbols) || s.Notes[0].Words != "The" || s.Title != "The harbour lamp (Bass)" {
			t.Errorf("%s: %v, %q, %d symbols, %q", f, err, s.Title, len(s.Symbols), s.Notes[0].Words)
		}
	}
	for f, b := range got {
		switch filepath.Ext(f) {
		case ".wav":
			if w, err := audio.NewWAV(bytes.NewReader(b), f); err != nil || w.SampleRate() != 8000 {
				t.Errorf("%s: %v", f, err)
			}
		case ".svg":
			if !bytes.HasPrefix(b, []byte("<svg")) && !bytes.HasPrefix(b, []byte("<?xml")) {
				t.Errorf("%s begins %.20q", f, b)
			}
		}
		if f != "index.html" && !bytes.Contains(got["index.html"], []byte(`"`+f+`"`)) {
			t.Errorf("index.html does not link to %s", f)
		}
	}
	if err := write(false); !errors.Is(err, newfile.ErrThere) {
		t.Errorf("again: %v", err)
	}
	if err := write(true); err != nil {
		t.Errorf("with force: %v", err)
	}
}
