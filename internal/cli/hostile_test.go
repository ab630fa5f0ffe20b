package cli

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/store"
	"singback/theory"
)

// hostile are names that somebody would like a terminal to obey: SGR, a window's
// title, an erased screen, a carriage return and delete; the one-character CSI of
// ISO/IEC 6429, overrides, isolates and marks of UAX #9, separators; CSI as a byte
// that is no UTF-8.
var hostile = []string{
	"n\x1b[31mred\x1b]0;title\x07\x1b[2J\ra\x7fb\bc", "n\u009b2J\u202egnp\u2066a\u2069b\u200e\u200f\u061cc\u2028d\u2029e\u0085f", "n\x9b2Jbyte",
}

// tame checks that nothing of what was printed does anything but show text.
func tame(t *testing.T, what string, printed ...string) {
	t.Helper()
	for _, s := range printed {
		if !utf8.ValidString(s) {
			t.Errorf("%s: %q is no UTF-8", what, s)
		}
		if at := strings.IndexFunc(s, func(r rune) bool {
			return r != '\n' && r != '\t' && unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
		}); at >= 0 {
			t.Errorf("%s: a control reaches the terminal: %q", what, s[max(0, at-30):min(len(s), at+30)])
		}
	}
}

// hostileMIDI is a file of one note with a name and a word.
func hostileMIDI(text string) []byte {
	event := func(kind byte) []byte { return append([]byte{0, 0xff, kind, byte(len(text))}, text...) }
	var track []byte
	track = append(track, event(3)...)
	track = append(track, event(5)...)
	track = append(track, 0, 0x90, 60, 80, 0x60, 0x80, 60, 64, 0, 0xff, 0x2f, 0)
	b := append([]byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk"), binary.BigEndian.AppendUint32(nil, uint32(len(track)))...)
	return append(b, track...)
}

// xmlText is text as XML 1.0 can have it: no C0 but the three of white space.
func xmlText(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' && r != '\r' {
			return '?'
		}
		return r
	}, strings.ToValidUTF8(s, "?")))
}

// Titles, words and names of whatever is read.
func TestHostileTextInFiles(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for i, name := range hostile {
		x := xmlText(name)
		quoted, err := json.Marshal(strings.ToValidUTF8(name, "?"))
		if err != nil {
			t.Fatal(err)
		}
		tomlName := strings.ReplaceAll(string(quoted), "\x7f", `\u007f`)     // a basic string of TOML has the escapes of JSON
		one := strings.NewReplacer("\r", "\x1b", "\n", "\x1b").Replace(name) // a field of ABC is one line
		course := put(fmt.Sprintf("%d.toml", i), fmt.Sprintf("name = %s\n[[stage]]\nname = %s\nkeys = [\"F major\"]\ndegrees = \"sol mi\"\namong = \"do mi sol\"\n", tomlName, tomlName))
		scores := []string{
			put(fmt.Sprintf("%d.abc", i), "X:1\nT:"+one+"\nV:"+one+" name="+one+"\nM:4/4\nL:1/4\nK:C\nC \"^"+one+"\"D {E}F !"+one+"!E|\nw:a"+one+" b c d\n"),
			put(fmt.Sprintf("%d.mid", i), string(hostileMIDI(name))),
			put(fmt.Sprintf("%d.xml", i), `<?xml version="1.0"?><score-partwise version="4.0"><work><work-title>`+x+`</work-title></work><part-list><score-part id="P1"><part-name>`+x+
				`</part-name></score-part></part-list><part id="P1"><measure number="`+x+`"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type><lyric><text>`+
				x+`</text></lyric></note><note><grace/><pitch><step>D</step><octave>4</octave></pitch></note><`+"harmony><root><root-step>"+x+"</root-step></root></harmony></measure></part></score-partwise>"),
			put(fmt.Sprintf("%d.txt", i), "do re "+name+" mi"),
			put(fmt.Sprintf("%d-bad.abc", i), "X:1\nT:"+one+"\nK:"+one+"\nC"+one+"|\n"),
		}
		read := 0
		for _, path := range scores {
			for _, args := range [][]string{
				{"melody", path}, {"melody", path, "--format", "json"}, {"melody", path, "--part", name},
				{"melody", path, "--to", "abc"}, {"melody", path, "--to", "musicxml"}, {"melody", path, "--to", "svg"}, {"melody", path, "--to", "names"},
				{"findkey", path}, {"grade", "--model", path, "../../testdata/wav/a4-clean.wav"},
			} {
				stdout, stderr, code := user{}.runs(t, args...)
				tame(t, strings.Join(args, " "), stdout, stderr)
				if code == exitDone {
					read++
				}
			}
		}
		if read < 3*4 { // four of each of three files at least
			t.Errorf("%q: only %d files could be read", name, read)
		}
		for _, args := range [][]string{{"course", "check", course}, {"course", "show", course}, {"course", "show", course, "--format", "json"},
			{"today", "--course", course, "--input", "simulated", "--minutes", "1"}} {
			stdout, stderr, code := user{}.runs(t, args...)
			tame(t, strings.Join(args, " "), stdout, stderr)
			if code != exitDone {
				t.Errorf("%s: %s", args, stderr)
			}
		}
	}
}

// Everything that can be typed, wherever it is said again: each flag, each
// argument and each file's name of each command.
func TestHostileTextTyped(t *testing.T) {
	root, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	wav, err := os.ReadFile(filepath.Join(root, "../../testdata/wav/border-50.wav"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	var commands func(c *cobra.Command) [][]string
	commands = func(c *cobra.Command) (all [][]string) {
		words := strings.Fields(c.CommandPath())[1:]
		full := func(more ...string) []string {
			out := append(append([]string{}, words...), more...)
			// Nobody is to be heard, and nothing to sound, where this is run.
			for _, f := range []string{"input=simulated", "output=none", "count=1", "minutes=1"} {
				name, _, _ := strings.Cut(f, "=")
				if c.Flags().Lookup(name) != nil && !strings.HasPrefix(more[0], "--"+name+"=") {
					out = append(out, "--"+f)
				}
			}
			return out
		}
		for i, name := range hostile {
			file := fmt.Sprintf("%d-%s.wav", i, name)
			if err := os.WriteFile(file, wav, 0o666); err != nil {
				t.Fatal(err)
			}
			all = append(all, full(name), full(name, name), full("--"+name), full(file), full(file, "--format=json"), full(name+".abc"))
			for _, flag := range regexp.MustCompile(`--[a-z0-9-]+`).FindAllString(c.Flags().FlagUsages(), -1) {
				all = append(all, full(flag+"="+name), full(flag+"="+name+"/x.wav"))
			}
		}
		for _, below := range c.Commands() {
			all = append(all, commands(below)...)
		}
		return all
	}
	calls := 0
	for _, args := range commands(newRoot(&env{getenv: func(string) string { return "" }})) {
		calls++
		c := call{interruptible: over, browse: func(string) error { return nil }} // a drill, or the page, ends when it has begun
		stdout, stderr, _ := c.run(t, args...)
		tame(t, fmt.Sprintf("%q", args), stdout, stderr)
	}
	if calls < 1000 {
		t.Errorf("only %d calls", calls)
	}
}

// Singers of an export that came from elsewhere.
func TestHostileSingers(t *testing.T) {
	for _, name := range []string{"n\u009b2Jc1", "n\u202egnp.exe", "n\u2066a\u2069b\u200e\u200f\u061c", "n\u2028a\u2029b\u0085c"} {
		data := t.TempDir()
		path := filepath.Join(data, "record.db")
		at := time.Date(2026, 11, 24, 19, 0, 0, 0, time.UTC)
		r, err := store.OpenRecord(path, at)
		if err != nil {
			t.Fatal(err)
		}
		key, err := theory.ParseKey("C major")
		if err != nil {
			t.Fatal(err)
		}
		tuning, err := theory.NewTuning(theory.DefaultA4)
		if err != nil {
			t.Fatal(err)
		}
		item := exercise.Item{Key: key, Asked: theory.Degree{Step: 3}, Tuning: tuning, Register: exercise.MiddleRegister(key)}
		session := store.NewSession(name, "sing", "mic", 4, "test", at)
		for i := range 12 {
			a := practice.Answer{Session: session, Number: 1, Index: i + 1, Attempt: 1, At: at.Add(time.Duration(i) * time.Minute), Skill: item.Skill(), Item: item,
				Tolerance: exercise.Tolerance{Cents: 40}, Counts: true,
				Verdict: exercise.Verdict{Outcome: exercise.InTune, HasSung: true, Sung: item.Asked, F0: item.Hz(theory.Pitch{Note: key.Tonic, Octave: 4})}}
			if err := r.Add(a); err != nil {
				t.Fatal(err)
			}
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		page := filepath.Join(data, "page.html")
		for _, args := range [][]string{
			{"record"}, {"record", "check"}, {"record", "check", "--format", "json"}, {"progress", "--singer", name}, {"progress", "--singer", name, "--format", "json"},
			{"progress", "--singer", "Otto"}, {"progress", "--singer", name, "--html", page}, {"record", "export", "--format", "jsonl", "--singer", "Otto"},
		} {
			stdout, stderr, _ := call{data: data}.run(t, append(args, "--record", path)...)
			tame(t, fmt.Sprintf("%q", args), stdout, stderr)
		}
		html, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		tame(t, "the page", string(html))
		// JSON says the name as it is, and what is exported is what can be imported.
		stdout, _ := call{}.must(t, "progress", "--record", path, "--singer", name, "--format", "json")
		var shown struct{ Singer string }
		if err := json.Unmarshal([]byte(stdout), &shown); err != nil || shown.Singer != name {
			t.Errorf("%q is shown as %q, %v", name, shown.Singer, err)
		}
		stdout, _ = call{}.must(t, "record", "export", "--record", path)
		rows, err := csv.NewReader(strings.NewReader(stdout)).ReadAll()
		if err != nil || !strings.Contains(strings.Join(rows[1], "\x00"), name) {
			t.Errorf("the export has not %q: %v", name, err)
		}
		if _, _, code := (call{stdin: strings.NewReader(stdout)}).run(t, "record", "import", "-", "--record", filepath.Join(data, "new.db")); code != exitDone {
			t.Errorf("%q is not imported", name)
		}
	}
}

// On a terminal an export is text like all the rest.
func TestDataOnATerminal(t *testing.T) {
	var out bytes.Buffer
	for _, terminal := range []bool{false, true} {
		out.Reset()
		e, flush := (&env{stdout: &out, stderr: &out, terminal: func(any) bool { return terminal }}).plain()
		fmt.Fprint(e.data(), "\x1b[31m\x9b")
		flush()
		want := "\x1b[31m\x9b"
		if terminal {
			want = `\u001b[31m\x9b`
		}
		if out.String() != want {
			t.Errorf("terminal %v: %q, want %q", terminal, out.String(), want)
		}
	}
}
