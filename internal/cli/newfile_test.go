package cli

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/newfile"
	"singback/internal/store"
	"singback/theory"
)

// writers are all the commands that write a file or a folder that is named, with
// the flag that names it and a file that comes to be there.
func writers(t *testing.T, dir string) map[string]struct {
	args []string
	flag string
	name string // in the folder; "" where the flag names the file
} {
	t.Helper()
	take := filepath.Join(dir, "take.wav")
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, 16000, make([]float64, 16000)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(take, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	record := filepath.Join(dir, "r.db")
	at := time.Date(2026, 11, 24, 19, 0, 0, 0, time.UTC)
	r, err := store.OpenRecord(record, at)
	if err != nil {
		t.Fatal(err)
	}
	key, err := theory.ParseKey("C major")
	if err != nil {
		t.Fatal(err)
	}
	item := exercise.Item{Key: key, Asked: theory.Degree{Step: 3}, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(key)}
	session := store.NewSession("me", "sing", "mic", 4, "test", at)
	for i := range 12 {
		if err := r.Add(practice.Answer{Session: session, Number: 1, Index: i + 1, Attempt: 1, At: at.Add(time.Duration(i) * time.Minute), Skill: item.Skill(), Item: item,
			Tolerance: exercise.Tolerance{Cents: 40}, Counts: true,
			Verdict: exercise.Verdict{Outcome: exercise.InTune, HasSung: true, Sung: item.Asked, F0: 330}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	type writer = struct {
		args []string
		flag string
		name string
	}
	drill := []string{"--input", "simulated", "--count", "1", "--no-record"}
	return map[string]writer{
		"sing":           {append([]string{"sing"}, drill...), "--output", ""},
		"dictation":      {append([]string{"dictation"}, drill...), "--output", ""},
		"series":         {append([]string{"series"}, drill...), "--output", ""},
		"echo":           {append([]string{"echo"}, drill...), "--output", ""},
		"today":          {[]string{"today", "--input", "simulated", "--minutes", "1", "--no-record"}, "--output", ""},
		"calibrate":      {[]string{"calibrate", "--input", "simulated", "--only", "room", "--profile", "none"}, "--output", ""},
		"cadence":        {[]string{"cadence", "--key", "C", "I V I"}, "--output", ""},
		"melody":         {[]string{"melody", "--level", "1", "--seed", "1", "--to", "abc"}, "--out", ""},
		"melodies":       {[]string{"melody", "--level", "1", "--seed", "1", "--count", "2", "--to", "abc"}, "--out", "level-1-1.abc"},
		"trace":          {[]string{"trace", take}, "--out", "take.csv"},
		"notes":          {[]string{"notes", take}, "--out", "take.csv"},
		"grade":          {[]string{"grade", "--model", "do re", "--format", "csv", "../../testdata/wav/border-50.wav"}, "--out", ""},
		"progress page":  {[]string{"progress", "--record", record, "--singer", "me"}, "--html", ""},
		"progress chart": {[]string{"progress", "--record", record, "--singer", "me"}, "--svg", "days.svg"},
		"record export":  {[]string{"record", "export", "--record", record}, "--out", ""},
		"course":         {[]string{"course", "export"}, "--out", ""},
		"profile export": {[]string{"profile", "export", "--profile", "Otto"}, "--out", ""},
	}
}

// What is there stays, unless --force says otherwise; then it is replaced in one
// step, by a file of the same mode, and a link to it stays one. Nothing else is
// left in the folder.
func TestFilesAreNotReplacedSilently(t *testing.T) {
	dir := t.TempDir()
	data := t.TempDir()
	call{data: data}.must(t, "profile", "set", "--voice", "bass", "--profile", "Otto")
	for name, w := range writers(t, t.TempDir()) {
		folder := filepath.Join(dir, name)
		if err := os.Mkdir(folder, 0o777); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(folder, "x.wav")
		value := path
		if w.name != "" {
			path, value = filepath.Join(folder, w.name), folder
		}
		if err := os.WriteFile(path, []byte("mine"), 0o640); err != nil {
			t.Fatal(err)
		}
		args := append(append([]string{}, w.args...), w.flag, value)
		stdout, stderr, code := call{data: data}.run(t, args...)
		if b, err := os.ReadFile(path); err != nil || string(b) != "mine" || code != exitFailed || !strings.Contains(stderr, w.flag+": ") || !strings.Contains(stderr, path) || !strings.Contains(stderr, "it is there already: --") || strings.Count(stderr, "there already") != 1 {
			t.Errorf("%s: exit %d, %q, %q; the file is %q now", name, code, stdout, stderr, b)
		}
		real := filepath.Join(dir, name+".real")
		if err := os.Rename(path, real); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(real, path); err != nil {
			t.Fatal(err)
		}
		if _, stderr, code := (call{data: data}).run(t, append(args, "--force")...); code != exitDone {
			t.Errorf("%s --force: exit %d, %s", name, code, stderr)
		}
		mode := os.FileMode(0o640)
		if strings.HasSuffix(name, "export") {
			mode = 0o600 // what tells of a singer
		}
		info, err := os.Stat(real)
		if b, _ := os.ReadFile(real); err != nil || string(b) == "mine" || len(b) == 0 || info.Mode().Perm() != mode {
			t.Errorf("%s --force: %v %v, %d bytes", name, err, info, len(b))
		}
		if link, err := os.Readlink(path); err != nil || link != real {
			t.Errorf("%s --force: the link is %q, %v", name, link, err)
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "*", ".*")); len(left) > 0 {
			t.Errorf("%s: left behind: %q", name, left)
		}
		if left, _ := filepath.Glob(filepath.Join(dir, ".*")); len(left) > 0 {
			t.Errorf("%s: left behind: %q", name, left)
		}
	}
}

// A file that cannot be completed does not come to be, and one that came to be
// while it was written stays.
func TestFilesAppearWhenWhole(t *testing.T) {
	dir := t.TempDir()
	e := &env{stdout: io.Discard}
	path := filepath.Join(dir, "x")
	if err := e.writeFile(path, false, newfile.ForAll, func(w io.Writer) error {
		io.WriteString(w, "half")
		if _, err := os.Stat(path); err == nil {
			t.Error("it is there before it is whole")
		}
		return io.ErrUnexpectedEOF
	}); err != io.ErrUnexpectedEOF {
		t.Error(err)
	}
	err := e.writeFile(path, false, newfile.ForAll, func(w io.Writer) error { return os.WriteFile(path, []byte("another's"), 0o666) })
	if b, _ := os.ReadFile(path); err == nil || !strings.Contains(err.Error(), "it is there already") || string(b) != "another's" {
		t.Errorf("%v; %q", err, b)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	if err := e.writeFile(dir, true, newfile.ForAll, func(io.Writer) error { return nil }); err == nil || !strings.Contains(err.Error(), "it is a folder") {
		t.Error(err)
	}
	private := filepath.Join(dir, "private")
	if err := e.writeFile(private, false, newfile.ForOwner, func(io.Writer) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(private); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("%v %v", info, err)
	}
}

// Standard output and what is no file on disk are written into.
func TestFilesThatAreNone(t *testing.T) {
	want, _ := call{}.must(t, "melody", "--level", "1", "--seed", "1", "--to", "abc")
	if got, _ := (call{}).must(t, "melody", "--level", "1", "--seed", "1", "--to", "abc", "--out", "-"); got != want {
		t.Errorf("--out - writes %q, want %q", got, want)
	}
	if _, err := os.Stat("/dev/null"); err == nil {
		call{}.must(t, "melody", "--level", "1", "--seed", "1", "--to", "abc", "--out", "/dev/null")
		if info, err := os.Stat("/dev/null"); err != nil || info.Mode().IsRegular() {
			t.Errorf("/dev/null is %v now, %v", info, err)
		}
	}
}
