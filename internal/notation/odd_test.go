package notation

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// cells last two eighths each. Accidentals are written out on every F, for
// readers differ in how far they hold.
var cells = [][]string{
	{"C2"}, {"D", "E"}, {"G", ">", "A"}, {"B", "<", "c"}, {"(3", "G", "A", "B"}, {"c/", "d/", "e"}, {"^F", "G"}, {"=F2"}, {"z2"}, {"G", "-", "G"},
	{"_B,2"}, {"c'", "b"}, {"A3/2", "B/"}, {"d", ">>", "e"}, {"^f", "=f"}, {"z", "e"}, {"D,2"}, {"x2"},
}

// The forms of a section: B stands for some bars, and what lies between are bar
// lines and endings (4.8 to 4.10 of the ABC standard, version 2.1).
var forms = []string{
	"|: B :|", "B ||", "B |]", "|: B |1 B :|2 B |]", "|: B [1 B :| [2 B ||", "|: B |1,3 B :|2 B :|4 B |]", "|: B |1-3 B :|4 B |]", "|: B |1,2 B :|3 B |]",
	"|: B |1 B :|2 B :|3 B |]", "|: B :: B :|", "|: B |[1,4 B :|[2,3 B :|",
}

// oddABC makes a tune: its symbols, bar lines among them.
func oddABC(r *rand.Rand) []string {
	var out []string
	// The first bar has a note, so that the line begins with it.
	out = append(out, "C2", "D2", "E2", "G2", "|")
	for range 1 + r.IntN(3) {
		for _, part := range strings.Fields(forms[r.IntN(len(forms))]) {
			if part != "B" {
				out = append(out, part)
				continue
			}
			for i := range 1 + r.IntN(2) {
				if i > 0 {
					out = append(out, "|")
				}
				for range 4 {
					out = append(out, cells[r.IntN(len(cells))]...)
				}
			}
		}
	}
	return out
}

const oddHead = "X:1\nM:4/4\nL:1/8\nK:C\n"

// What the standard says is no note, or is to be ignored, in all places where it
// may stand, leaves the line as it is (4.1, 4.11, 4.14, 4.16, 4.18, 4.19, 6.1,
// 8.1 of version 2.1).
func TestOddABCIsTheSameLine(t *testing.T) {
	between := []string{" ", "  ", "`", "y", "y3", "[r:a remark: C D|]", "[I:something else]", "\n", "\\\n", "% a remark: C D|\n", "\n%%directive C D\n", "\nN:notes C D|\n", "\nr:remark C D|\n", "#", "*", ";", "?", "@", "$", "\r\n", "!\n", " \t"}
	before := []string{"!trill!", "+fermata+", "!crescendo(!", `"Am"`, `"F#m7/C#"`, `"^above: C D|"`, `"<left"`, ".", "~", "H", "L", "M", "P", "T", "u", "v", "k", "N", "w", "q", "!D.C.!", "!fine!", "S", "O", "{gd}", "{/c}", ""}
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 1))
		symbols := oddABC(r)
		plain := oddHead + strings.Join(symbols, " ") + "\n"
		var b strings.Builder
		b.WriteString("%abc-2.1\nA:header C D|\nX:1\nT:x\nM:4/4\nL:1/8\n%%directive\nU: k = !trill!\nK:C clef=treble\n")
		glued := true // to what went before
		for i, s := range symbols {
			isNote := strings.ContainsAny(s, "ABCDEFGabcdefgzx")
			if !glued && r.IntN(3) == 0 {
				b.WriteString(between[r.IntN(len(between))])
			}
			for isNote && r.IntN(3) == 0 {
				b.WriteString(before[r.IntN(len(before))])
			}
			b.WriteString(s)
			// A sign of broken rhythm or a tuplet stands right before its note, a
			// tie right behind it; an ending needs space before what follows.
			glued = strings.Trim(s, "<>-") == "" || strings.HasPrefix(s, "(") || i+1 < len(symbols) && strings.Trim(symbols[i+1], "<>-") == ""
			if last := s[len(s)-1]; last >= '0' && last <= '9' && strings.ContainsAny(s, "|[") || !glued && r.IntN(2) == 0 {
				b.WriteString(" ")
			}
		}
		odd := b.String() + "\n"
		want, warnings, err := Parse("x.abc", []byte(plain), Options{})
		if err != nil || len(warnings) > 0 {
			t.Fatalf("seed %d: %v %v\n%s", seed, err, warnings, plain)
		}
		got, _, err := Parse("x.abc", []byte(odd), Options{})
		got.Symbols = nil // they stand above the notes
		if err != nil || show(got) != show(want) {
			t.Fatalf("seed %d: %v\n%s\n%s\ngot  %s\nwant %s", seed, err, odd, plain, show(got), show(want))
		}
	}
}

// abc2midi plays the same notes at the same times: repeats, endings for lists
// and ranges of passes, broken rhythm, tuplets, ties.
func TestABCPlayedByAbc2midi(t *testing.T) {
	tool, csvTool := testkit.Tool(t, "abc2midi"), testkit.Tool(t, "midicsv")
	for seed := range uint64(80) {
		text := oddHead + strings.Join(oddABC(rand.New(rand.NewPCG(seed, 2))), " ") + "\n"
		s, _, err := Parse("x.abc", []byte(text), Options{})
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		in, out := filepath.Join(dir, "x.abc"), filepath.Join(dir, "x.mid")
		if err := os.WriteFile(in, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if said, err := exec.Command(tool, in, "-o", out, "-NGRA").CombinedOutput(); err != nil {
			t.Fatalf("abc2midi: %v\n%s", err, said)
		}
		begins := func(notes []string) string {
			var b strings.Builder
			for _, n := range notes {
				f := strings.Fields(n)
				at, _ := strconv.Atoi(f[1])
				fmt.Fprint(&b, f[0], " ", at/2*2, ";") // abc2midi begins a tick late
			}
			return b.String()
		}
		if got, want := begins(midiNotes(t, csvTool, out, 480)), begins(halved(heard(s))); got != want {
			t.Errorf("seed %d: abc2midi hears\n%s\nwe read\n%s\n%s", seed, got, want, text)
		}
	}
}

// halved moves notes from parts of 1/960 quarter note to parts of 1/480.
func halved(notes []string) []string {
	var out []string
	for _, n := range notes {
		f := strings.Fields(n)
		at, _ := strconv.Atoi(f[1])
		out = append(out, fmt.Sprint(f[0], " ", at/2))
	}
	return out
}
