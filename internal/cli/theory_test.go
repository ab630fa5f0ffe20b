package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/internal/audio"
	"singback/internal/report"
	"singback/internal/synth"
	"singback/theory"
)

// user runs a command as a user of a terminal, or of none, types it.
type user struct {
	stdin    string
	terminal bool
	ascii    bool
}

func (u user) runs(t testing.TB, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), &env{
		stdin: strings.NewReader(u.stdin), stdout: &out, stderr: &errs,
		getenv: func(name string) string {
			if name == "LANG" && !u.ascii {
				return "C.UTF-8"
			}
			return ""
		},
		terminal:      func(any) bool { return u.terminal },
		seed:          func() uint64 { return 4 },
		wait:          func(context.Context, time.Duration) error { return nil },
		now:           clock,
		interruptible: context.WithCancel,
	}, args)
	return out.String(), errs.String(), code
}

// What a user reads: worked out by hand from scales and syllables.
func TestRename(t *testing.T) {
	for _, c := range []struct {
		args  []string
		stdin string
		want  string
	}{
		{[]string{"--read-as", "movable", "--names", "fixed", "--key", "G", "do mi sol ti"}, "", "sol si re fa♯\n"},
		{[]string{"--read-as", "fixed", "--key", "Ab", "la", "do", "mi", "sol"}, "", "do mi sol ti\n"},
		{[]string{"--names", "fixed-chromatic", "--key", "Ab", "do mi sol me"}, "", "le do me do♭\n"},
		{[]string{"--names", "letters", "--key", "G", "--to-key", "D", "sol, do do' fi"}, "", "A₁ D D¹ G♯\n"},
		{[]string{"--names", "letters", "--key", "G", "sol, do re mi", "--all-keys"}, "", "" +
			"C major   G₁ C D E\nD♭ major  A♭₁ D♭ E♭ F\nD major   A₁ D E F♯\nE♭ major  B♭₁ E♭ F G\nE major   B₁ E F♯ G♯\nF major   C₁ F G A\n" +
			"G♭ major  D♭₁ G♭ A♭ B♭\nG major   D₁ G A B\nA♭ major  E♭₁ A♭ B♭ C\nA major   E₁ A B C♯\nB♭ major  F₁ B♭ C D\nB major   F♯₁ B C♯ D♯\n"},
		{[]string{"--names", "relative", "--key", "D", "--scale", "dorian", "do re me fa sol la te do'"}, "", "re mi fa sol la ti do¹ re¹\n"},
		{[]string{"--names", "curwen", "--key", "Am", "| do :re | me :ti, ||"}, "", "Key C, Lah is A. | l₁ :t₁ | d :se₁ ||\n"},
		{[]string{"--read-as", "curwen", "--names", "movable", "--key", "G", "| d :r | m .,f :s | l :- ||"}, "", "| do :re | mi .,fa :sol | la :– ||\n"},
		{[]string{"--read-as", "curwen", "--names", "letters", "-"}, "Key G.\n| d :r | m :f | s :– | – :– ||\n", "| G :A | B :C | D :– | – :– ||\n"},
		{[]string{"--read-as", "curwen", "--names", "letters", "| d :s | ˢd :t₁ ||"}, "", "| C :G | G :F♯ ||\n"},
	} {
		stdout, stderr, code := user{stdin: c.stdin}.runs(t, append([]string{"rename"}, c.args...)...)
		if stdout != c.want || stderr != "" || code != exitDone {
			t.Errorf("rename %q: %d\n%s%s\nwant %s", c.args, code, stdout, stderr, c.want)
		}
	}
	// What is written for a terminal without musical signs is read back.
	stdout, _, _ := user{ascii: true}.runs(t, "rename", "--names", "fixed", "--key", "Eb", "do' me ‘", "–")
	if stdout != "" {
		t.Errorf("a stray sign is accepted: %q", stdout)
	}
	stdout, _, _ = user{ascii: true}.runs(t, "rename", "--names", "fixed", "--key", "Eb", "do' me – ti,")
	if stdout != "mib' solb - re,\n" {
		t.Errorf("in ASCII: %q", stdout)
	}
	stdout, _, _ = user{}.runs(t, "rename", "--read-as", "fixed", "--names", "movable", "--key", "Eb", strings.TrimSpace(stdout))
	if stdout != "do¹ me – ti₁\n" {
		t.Errorf("read back from ASCII: %q", stdout)
	}
	// All 15 spellings, and JSON.
	stdout, _, code := user{}.runs(t, "rename", "--names", "letters", "--key", "F# minor", "--all-keys=15", "--format", "json", "| do .ti, :  ||")
	var record report.Renaming
	if err := json.Unmarshal([]byte(stdout), &record); err != nil || code != exitDone {
		t.Fatalf("%d %v: %s", code, err, stdout)
	}
	if len(record.Melodies) != 15 || record.Schema != 1 || record.Key != "F# minor" || record.To != "letters" {
		t.Errorf("%+v", record)
	}
	for _, m := range record.Melodies {
		k, err := theory.ParseKey(m.Key)
		if err != nil || k.Mode != theory.Minor {
			t.Errorf("%q: %v", m.Key, err)
		}
		if len(m.Tones) != 3 || *m.Tones[1].Note != k.Note(theory.Degree{Step: 7}).ASCII() || m.Tones[1].Octave != -1 ||
			m.Tones[1].Pulses != "1/2" || m.Tones[2].Name != nil || *m.Tones[0].Degree != "1" {
			t.Errorf("%s: %s", m.Key, stdout)
		}
	}
}

// A profile is found by the name it had before, with a line that says what it is
// called now.
func TestFindKeyOldProfile(t *testing.T) {
	now, _, _ := user{}.runs(t, "findkey", "--key-profile", "listeners", "do re mi fa sol", "--format", "json")
	out, errs, code := user{}.runs(t, "findkey", "--key-profile", "krumhansl-kessler", "do re mi fa sol", "--format", "json")
	if code != exitDone || out != now || !strings.Contains(out, `"profile":"listeners"`) || !strings.HasPrefix(errs, "--key-profile: krumhansl-kessler is called listeners now\n") {
		t.Errorf("exit %d, %s, %s; want %s", code, out, errs, now)
	}
}

func TestTheoryRefusals(t *testing.T) {
	dir := t.TempDir()
	long := filepath.Join(dir, "long.txt")
	if err := os.WriteFile(long, bytes.Repeat([]byte("do "), 400_000), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"rename"}, exitUsage, "a melody is missing"},
		{[]string{"rename", "do re lu"}, exitUsage, `column 7: not a degree of C major: "lu"`},
		{[]string{"rename", "--read-as", "solfa", "do"}, exitUsage, `--read-as: not a naming: "solfa"`},
		{[]string{"rename", "--names", "solfa", "do"}, exitUsage, `--names: not a naming: "solfa"`},
		{[]string{"rename", "--key", "H", "do"}, exitUsage, `--key: not a key: "H"`},
		{[]string{"rename", "--to-key", "H", "do"}, exitUsage, `--to-key: not a key: "H"`},
		{[]string{"rename", "--key", "G", "--to-key", "Em", "do"}, exitUsage, "a melody in G major cannot be moved to E minor: want a major key"},
		{[]string{"rename", "--to-key", "D", "--all-keys", "do"}, exitUsage, "exclude each other"},
		{[]string{"rename", "--all-keys=13", "do"}, exitUsage, `"13": want 12 or 15`},
		{[]string{"rename", "--scale", "dur", "do"}, exitUsage, `--scale: not a scale: "dur"`},
		{[]string{"rename", "--read-as", "curwen", "| d r ||"}, exitUsage, "column 5: 'r' follows without a rhythm sign"},
		{[]string{"findkey"}, exitUsage, "a melody is missing"},
		{[]string{"findkey", "do re xx"}, exitUsage, `column 7: not a degree of C major: "xx"`},
		{[]string{"findkey", "--key-profile", "x", "do"}, exitUsage, `--key-profile: not a key profile: "x"; want one of textbook by-hand listeners concert-works folk-songs chord-counts scale`},
		{[]string{"findkey", "--count", "25", "do"}, exitUsage, "--count: 25 is out of range"},
		{[]string{"findkey", "--a4", "300", "do"}, exitUsage, "--a4: A4 = 300 Hz is out of range"},
		{[]string{"findkey", "do di re ri mi fa fi sol si la li ti", "--names", "movable"}, exitFailed, "no key can be told"},
		{[]string{"findkey", filepath.Join(dir, "none.txt")}, exitFailed, "no such file"},
		{[]string{"findkey", filepath.Join(dir, "none.wav")}, exitFailed, "no such file"},
		{[]string{"findkey", long}, exitFailed, "more than 1 MiB"},
		{[]string{"findkey", "../../testdata/wav/silence.wav"}, exitFailed, "no sung or played note was found"},
		{[]string{"key", "C", "--scale", "dur"}, exitUsage, `--scale: not a scale: "dur"; want one of: major, natural minor`},
		{[]string{"key", "H", "--scale", "dorian"}, exitUsage, `--key: not a key: "H"`},
		{[]string{"key", "C", "--tuning", "meantone"}, exitUsage, `--tuning: not a tuning: "meantone"; want equal, just or pythagorean`},
		{[]string{"sing", "--tuning", "just re=1"}, exitUsage, `--tuning: not a tuning: "re=1"`},
	} {
		stdout, stderr, code := user{}.runs(t, c.args...)
		if code != c.code || stdout != "" || !strings.Contains(stderr, c.want) || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%q: %d, %q, %q; want %d and %q in one line", c.args, code, stdout, stderr, c.code, c.want)
		}
	}
}

// The table of a scale, in the tuning asked for. The ratios are those of any
// table of just intonation.
func TestKeyScaleAndTuning(t *testing.T) {
	stdout, stderr, code := user{}.runs(t, "key", "D", "--scale", "dorian", "--tuning", "just re=10/9")
	if code != exitDone || stderr != "" {
		t.Fatalf("%d %s", code, stderr)
	}
	lines := strings.Split(stdout, "\n")
	if lines[0] != "D dorian, no sharps or flats, A4 = 440 Hz, just re=10/9 tuning" {
		t.Errorf("first line %q", lines[0])
	}
	want := []string{"1 D4 do re 1/1", "2 E4 re mi 10/9", "♭3 F4 me fa 6/5", "4 G4 fa sol 4/3", "5 A4 sol la 3/2", "6 B4 la ti 5/3", "♭7 C5 te do 9/5"}
	for i, w := range want {
		f := strings.Fields(lines[3+i])
		if got := strings.Join([]string{f[0], f[1], f[2], f[3], f[len(f)-3]}, " "); got != w {
			t.Errorf("row %d: %q, want %q", i+1, got, w)
		}
	}
	var table struct {
		Key, Scale, Mode, Tuning string
		Degrees                  []struct {
			Degree string
			Cents  float64
			Ratio  *string
			Hz     float64
		}
		Falling []struct{ Degree string }
	}
	read := func(args ...string) {
		t.Helper()
		stdout, _, _ := user{}.runs(t, append([]string{"key", "--format", "json"}, args...)...)
		table.Degrees, table.Falling = nil, nil
		if err := json.Unmarshal([]byte(stdout), &table); err != nil {
			t.Fatal(err)
		}
	}
	read("A", "--scale", "melodic minor", "--tuning", "pythagorean")
	if len(table.Degrees) != 9 || table.Falling[0].Degree != "b7" || table.Falling[6].Degree != "1" || table.Scale != "melodic minor" ||
		table.Key != "A minor" || table.Tuning != "pythagorean" || *table.Degrees[6].Ratio != "243/128" || math.Abs(table.Degrees[6].Cents-1109.775) > 0.001 {
		t.Errorf("%+v", table)
	}
	read("C")
	if table.Scale != "major" || table.Tuning != "equal" || table.Degrees[2].Ratio != nil || table.Degrees[2].Cents != 400 || len(table.Falling) != 7 {
		t.Errorf("%+v", table)
	}
	stdout, _, _ = user{}.runs(t, "key", "C", "--chromatic")
	if !strings.HasSuffix(stdout, "\nfalling: ti te la le sol se fa mi me re ra do\n") {
		t.Errorf("no falling chromatic scale in\n%s", stdout)
	}
}

// A tolerance under 20 cents that collides with the tuning is told, in words and
// in the record; a wider one is not.
// A church mode is a key for the judge, the drill and the table. The C of the
// recording is te of D dorian, re of B♭ lydian, and so on.
func TestModalKeys(t *testing.T) {
	take := recordingNamed(t, "la-eb-major-tenor").path
	for _, c := range []struct{ key, degree string }{{"D dorian", "te"}, {"Bb lydian", "re"}, {"F# locrian", "se"}, {"A phrygian", "me"}} {
		out, _ := call{}.must(t, "judge", "--key", c.key, "--degree", c.degree, take)
		if !strings.HasPrefix(out, "asked  "+c.degree+" in ") || !strings.Contains(out, ": C") || !strings.Contains(out, c.degree+", right (") {
			t.Errorf("judge --key %q --degree %s says\n%s", c.key, c.degree, out)
		}
	}
	if one, _ := (call{}).must(t, "key", "D", "--scale", "dorian"); one == "" {
		t.Error("no table")
	} else if other, _ := (call{}).must(t, "key", "D dorian"); other != one {
		t.Errorf("key \"D dorian\" is\n%s, want\n%s", other, one)
	}
	for set, want := range map[string]string{"": "scale", "tonic": "tonic", "drone": "drone", "scale": "scale"} {
		args := []string{"--key", "D dorian", "--count", "2"}
		if set != "" {
			args = append(args, "--set", set)
		}
		all := simulate(t, args...)
		if all[0].Key != "D dorian" || all[0].Setting != want {
			t.Errorf("sing %v: %+v", args, all[0])
		}
	}
	args := []string{"sing", "--key", "D dorian", "--set", "cadence", "--input", "simulated"}
	out, stderr, code := call{}.run(t, args...)
	refused(t, args, out, stderr, code, exitUsage, "want scale, tonic or drone")
}

func TestTuningNote(t *testing.T) {
	take := "../../testdata/wav/la-eb-major-tenor.wav"
	const note = "a tolerance of 10 cents is finer than tunings differ: judged in equal tuning, while just has la 15.6 cents lower"
	stdout, _, _ := user{}.runs(t, "judge", "--key", "Eb", "--degree", "la", "--tolerance", "10", take)
	if !strings.Contains(stdout, "note   "+note+"\n") {
		t.Errorf("no note in\n%s", stdout)
	}
	for tolerance, want := range map[string]any{"10": note, "20": nil, "35": nil} {
		stdout, _, _ := user{}.runs(t, "judge", "--key", "Eb", "--degree", "la", "--tolerance", tolerance, "--format", "json", take)
		var record map[string]any
		if err := json.Unmarshal([]byte(stdout), &record); err != nil {
			t.Fatal(err)
		}
		if got, ok := record["tuning_note"]; got != want || !ok {
			t.Errorf("within %s cents: %v, want %v", tolerance, got, want)
		}
	}
	_, stderr, code := user{}.runs(t, "sing", "--key", "Eb", "--degrees", "mi la do", "--count", "3", "--tolerance", "12", "--tuning", "just", "--input", "simulated", "--output", "none")
	if want := "Note: a tolerance of 12 cents is finer than tunings differ: judged in just tuning, while equal has "; code != exitDone || !strings.Contains(stderr, want) ||
		strings.Count(stderr, "la 15.6 cents higher") != 1 || !strings.Contains(stderr, "A4 = 440 Hz, just tuning, seed 4.") {
		t.Errorf("%d\n%s", code, stderr)
	}
}

// The same voice is judged against the tuning asked for: a note at the just mi
// is in tune to a cent there and flat by 13.7 in equal temperament.
func TestJudgeInTuning(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mi.wav")
	keyOfC := theory.Key{}
	just := theory.Tuning{A4: 440, System: theory.Just}
	hz := just.HzIn(keyOfC, keyOfC.Pitch(theory.Degree{Step: 3}, 4))
	sing(t, path, hz)
	for tuning, want := range map[string]float64{"just": 0, "equal": -13.69, "pythagorean": -21.51} {
		stdout, stderr, _ := user{}.runs(t, "judge", "--key", "C", "--degree", "mi", "--tolerance", "10", "--tuning", tuning, "--format", "json", path)
		var record struct {
			Tuning, Outcome string
			Cents           float64
			TargetHz        float64 `json:"target_hz"`
		}
		if err := json.Unmarshal([]byte(stdout), &record); err != nil {
			t.Fatalf("%v: %s %s", err, stdout, stderr)
		}
		if record.Tuning != tuning || math.Abs(record.Cents-want) > 1.5 || (record.Outcome == "in_tune") != (want == 0) {
			t.Errorf("%s: %+v, want %.2f cents", tuning, record, want)
		}
	}
}

// sing writes a recording of notes of 0.6 s with short rests between.
func sing(t *testing.T, path string, hz ...float64) {
	t.Helper()
	out, err := audio.CreateWAV(path, sampleRate)
	if err != nil {
		t.Fatal(err)
	}
	var line []synth.Sung
	for _, f := range hz {
		n := synth.NewSung(f, 0.6)
		n.VibratoCents, n.DriftCents, n.JitterCents = 0, 0, 0
		line = append(line, n, synth.Sung{Duration: 0.1})
	}
	samples, _ := synth.Voice{SampleRate: sampleRate, Type: synth.Alto}.Sing(line, 1)
	if err := out.Write(t.Context(), samples); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestFindKey(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "melody.txt")
	if err := os.WriteFile(file, []byte("| d :r | m :f\n| s :– ||\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	// From the published table of profiles: 0.8617, then F 0.6226.
	const five = "1  C major  0.8617\n2  F major  0.6226\n3  C minor  0.4759\n"
	for _, args := range [][]string{{"do re mi fa sol"}, {"do", "re", "mi", "fa", "sol"}, {"--names", "letters", "C D E F G'"}} {
		stdout, stderr, code := user{}.runs(t, append([]string{"findkey"}, args...)...)
		if stdout != five || code != exitDone || !strings.HasPrefix(stderr, "Which is it?") {
			t.Errorf("findkey %q: %d %q %q", args, code, stdout, stderr)
		}
	}
	stdout, stderr, code := user{}.runs(t, "findkey", "--names", "curwen", "--count", "1", file)
	if !strings.HasPrefix(stdout, "1  C major") || code != exitDone {
		t.Errorf("a file: %d %q %q", code, stdout, stderr)
	}
	// It asks, and takes an answer only from a person.
	for answer, want := range map[string]string{"2\n": five + "key F major\n", "\n": five, "": five} {
		stdout, stderr, code := user{stdin: answer, terminal: true}.runs(t, "findkey", "do re mi fa sol")
		if stdout != want || code != exitDone || !strings.Contains(stderr, "Which is it?") {
			t.Errorf("answer %q: %d %q %q", answer, code, stdout, stderr)
		}
	}
	if _, stderr, code := (user{stdin: "4\n", terminal: true}).runs(t, "findkey", "do re mi fa sol"); code != exitFailed || !strings.Contains(stderr, `"4" is none of the keys`) {
		t.Errorf("answer 4: %d %q", code, stderr)
	}
}

// A sung line in D major, 30 cents sharp of A4 = 440 Hz: the offset is found to
// a cent or two, and the key.
func TestFindKeyOfRecording(t *testing.T) {
	path := filepath.Join(t.TempDir(), "line.wav")
	k, err := theory.ParseKey("D")
	if err != nil {
		t.Fatal(err)
	}
	m, err := theory.ParseMelody("do re mi fa sol la sol mi re ti, do do", k, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	var hz []float64
	for _, p := range m.Pitches(4) {
		hz = append(hz, theory.Shift(theory.Tuning{A4: 440}.Hz(p), 30))
	}
	sing(t, path, hz...)
	for _, args := range [][]string{{path}, {path, "--a4", "447.69"}} {
		stdout, stderr, code := user{}.runs(t, append([]string{"findkey", "--format", "json"}, args...)...)
		var got report.KeyProposals
		if err := json.Unmarshal([]byte(stdout), &got); err != nil || code != exitDone {
			t.Fatalf("%d %v: %s %s", code, err, stdout, stderr)
		}
		offset := 30.0
		if len(args) > 1 {
			offset = 0
		}
		if got.Notes != len(hz) || math.Abs(*got.OffsetCents-offset) > 3 || *got.Agreement < 0.9 || got.Proposals[0].Key != "D major" || len(got.Proposals) != 3 {
			t.Errorf("%v: %s", args, stdout)
		}
	}
	_, stderr, _ := user{}.runs(t, "findkey", path)
	if !strings.Contains(stderr, "12 notes, as a whole +") {
		t.Errorf("%q", stderr)
	}
}

func FuzzRenameArgument(f *testing.F) {
	for _, s := range []string{"do re mi", "| d :r ||", "Key G. do", "lu", "", "-", "--help", "\x00", "♭♭♭"} {
		f.Add(s, "curwen", "12")
	}
	f.Fuzz(func(t *testing.T, melody, from, all string) {
		for _, args := range [][]string{
			{"rename", "--read-as=" + from, "--names=movable", "--all-keys=" + all, "--", melody}, {"findkey", "--names=" + from, "--", melody},
		} {
			stdout, stderr, code := user{}.runs(t, args...)
			if code != exitDone && (stdout != "" || strings.Count(stderr, "\n") != 1) {
				t.Errorf("%q: %d, %q, %q", args, code, stdout, stderr)
			}
		}
	})
}
