package cli

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit/invented"
)

// wavOf is an invented take as the bytes of a WAV.
func wavOf(t *testing.T, take invented.ClassTake) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, 16000, take.Samples(16000)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// oneOf is an invented take in which that is planted.
func oneOf(t *testing.T, p invented.Planted) invented.ClassTake {
	t.Helper()
	for _, take := range invented.Class(30, 8, 8, 1) {
		if take.Planted == p {
			_, line := invented.ClassTask(0, 8)
			if p == invented.Well {
				take.Sung = line
			}
			return take
		}
	}
	t.Fatalf("no take is %v", p)
	return invented.ClassTake{}
}

// zipped is a zip with files in an order; a name may come twice.
func zipped(t *testing.T, files ...[2]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range files {
		w, err := z.Create(f[0])
		if err == nil {
			_, err = w.Write([]byte(f[1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Whatever is sent that is no take ends in one clear line, and nothing else is lost by it.
func TestClassBadFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	var c call
	c.must(t, "class", "new", "Invented")
	c.must(t, "class", "add", "student", "Ana", "Bo", "Cy", "Du", "Eb", "Fay", "Gil", "--consent", "2026-09-01")
	names, _ := invented.ClassTask(0, 8)
	c.must(t, "class", "add", "task", "week 1", "--model", names)
	good := wavOf(t, oneOf(t, invented.Well))
	if err := os.MkdirAll("takes/Du", 0o777); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{
		"takes/ana.wav":       good,
		"takes/bo.wav":        good[:len(good)/2],
		"takes/cy.wav":        wavOf(t, oneOf(t, invented.Silent)),
		"takes/Du/voice.wav":  wavOf(t, oneOf(t, invented.Speaking)),
		"takes/Du/again.wav":  good,
		"takes/eb.wav":        wavOf(t, oneOf(t, invented.OtherLine)),
		"takes/fay.mp3":       []byte("this is a text that is called a recording"),
		"takes/gil.wav":       {},
		"takes/who.wav":       good,
		"takes/week plan.txt": []byte("week 1: do to ti"),
		"takes/bomb.zip":      zipped(t, [2]string{"ana.wav", "RIFF" + strings.Repeat("\x00", 200<<20)}, [2]string{"readme.txt", "hi"}),
		"takes/out.zip":       zipped(t, [2]string{"../../ana.wav", string(good)}),
		"takes/twice.zip":     zipped(t, [2]string{"bo.wav", string(good)}, [2]string{"bo.wav", string(good[:2000])}),
		"takes/torn.zip":      zipped(t, [2]string{"bo.wav", string(good)})[:3000],
	} {
		if err := os.WriteFile(name, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	stdout, stderr, code := c.run(t, "class", "collect", "takes", "--mark", "--format", "json")
	if code != exitFailed {
		t.Errorf("exit %d", code)
	}
	for _, want := range []string{
		"takes/bo.wav: cut short", "takes/fay.mp3: ", "takes/gil.wav: passed over: it is empty", "takes/who.wav: left out: whose it is: its name has none of them in it",
		"takes/week plan.txt: passed over: neither a recording", "takes/bomb.zip/ana.wav: passed over: unpacks to", "takes/out.zip/../../ana.wav: passed over: its path leads out of the zip",
		"takes/twice.zip/bo.wav: passed over: a second file of that name", "takes/torn.zip: passed over: ",
	} {
		if n := strings.Count("\n"+stderr, "\n"+want); n != 1 {
			t.Errorf("%d lines begin with %q in\n%s", n, want, stderr)
		}
	}
	if strings.Contains(stderr, "panic") || strings.Contains(stderr, "goroutine") {
		t.Error(stderr)
	}
	var rows []collectRecord
	if err := json.Unmarshal([]byte(stdout), &rows); err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, r := range rows {
		pass := ""
		if r.Pass != nil {
			pass = fmt.Sprint(*r.Pass)
		}
		got[r.Path] = r.Student + " " + r.Result + " " + pass
	}
	for path, want := range map[string]string{
		"takes/ana.wav": "Ana new true", "takes/bo.wav": "Bo trouble ", "takes/cy.wav": "Cy new false", "takes/Du/voice.wav": "Du new false", "takes/Du/again.wav": "Du new true",
		"takes/eb.wav": "Eb new false", "takes/fay.mp3": "Fay trouble ", "takes/twice.zip/bo.wav": "Bo new true",
	} {
		if got[path] != want {
			t.Errorf("%s: %q, want %q", path, got[path], want)
		}
	}
	if len(got) != 8 {
		t.Errorf("%d files: %v", len(got), got)
	}
	if _, err := os.Stat(filepath.Join("..", "ana.wav")); err == nil {
		t.Error("a file came out of the zip")
	}
	stdout, _ = c.must(t, "class", "table", "--format", "csv")
	heard := map[string]string{}
	for _, r := range rowsOf(t, stdout) {
		heard[r["student"]] = r["heard"]
	}
	if heard["Cy"] != "nothing" {
		t.Errorf("silence is heard as %q", heard["Cy"])
	}
	// What was half sent is sent again, whole.
	if err := os.WriteFile("takes/bo.wav", good, 0o666); err != nil {
		t.Fatal(err)
	}
	stdout, _, _ = c.run(t, "class", "collect", "takes/bo.wav", "--mark")
	if stdout != "0 new takes, 1 there already\n" { // the zip had the same
		t.Errorf("sent again: %q", stdout)
	}
}

// What students hand in on a server is fetched and collected; what is half sent is named.
func TestClassCollectsFromServer(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	c := call{data: dir}
	c.must(t, "class", "new", "Invented")
	c.must(t, "class", "add", "student", "Ana", "Bo", "--consent", "2026-09-01")
	names, _ := invented.ClassTask(0, 8)
	c.must(t, "class", "add", "task", "week 1", "--model", names)
	way := classFolder(dir)
	take := oneOf(t, invented.Well)
	write(t, "Ana week 1.csv", take.Curve())
	c.must(t, "hand-in", "Ana week 1.csv", "--address", classAddress, "--yes")
	f, err := way.fs.OpenFile(t.Context(), "/dav/class/Bo.wav.0123456789abcdef-9000000.001-of-003.part", os.O_CREATE|os.O_RDWR, 0o666)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(make([]byte, 4<<20)); err != nil {
		t.Fatal(err)
	}
	f.Close()
	stdout, stderr, code := c.run(t, "class", "collect", classAddress, "--mark")
	if code != exitFailed || stdout != "1 new take\n" || !strings.Contains(stderr, "Bo.wav") || !strings.Contains(stderr, "1 of 3 pieces") || !strings.Contains(stderr, "1 file fetched into Invented takes") {
		t.Errorf("exit %d\n%s\n%s", code, stdout, stderr)
	}
	if err := way.fs.RemoveAll(t.Context(), "/dav/class/Bo.wav.0123456789abcdef-9000000.001-of-003.part"); err != nil {
		t.Fatal(err)
	}
	if stdout, _ := c.must(t, "class", "collect", classAddress, "--mark"); stdout != "0 new takes, 1 there already\n" {
		t.Errorf("again: %q", stdout)
	}
}

// To forget deletes the recordings that were collected, wherever the teacher stands, and
// nothing that only has their name by now.
func TestClassForgetsOwnFiles(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	var c call
	c.must(t, "class", "new", "Invented")
	c.must(t, "class", "add", "student", "Ana", "--consent", "2026-09-01")
	names, _ := invented.ClassTask(0, 8)
	c.must(t, "class", "add", "task", "week 1", "--model", names)
	take := oneOf(t, invented.Well)
	write(t, "ana 1.csv", take.Curve())
	write(t, "ana 2.csv", take.Curve()+"\n")
	c.must(t, "class", "collect", "ana 1.csv", "ana 2.csv")
	write(t, "ana 2.csv", "the diary of somebody else")
	if err := os.Mkdir("away", 0o777); err != nil {
		t.Fatal(err)
	}
	t.Chdir("away")
	stdout, _ := c.must(t, "class", "forget", "Ana", "--yes", "--recordings", "--class", filepath.Join("..", "Invented.sbclass"))
	if !strings.Contains(stdout, "Deleted: "+filepath.Join("..", "ana 1.csv")+".\n") || !strings.Contains(stdout, "Still there, recordings: "+filepath.Join("..", "ana 2.csv")+" (another file by now).\n") {
		t.Error(stdout)
	}
	if _, err := os.Stat(filepath.Join(dir, "ana 1.csv")); err == nil {
		t.Error("the recording is still there")
	}
	if b, err := os.ReadFile(filepath.Join(dir, "ana 2.csv")); err != nil || !strings.Contains(string(b), "diary") {
		t.Errorf("another file is gone: %v", err)
	}
}

// What is asked for wrongly is said in one line, and is wrong usage where the words are.
func TestClassWrongUsage(t *testing.T) {
	t.Chdir(t.TempDir())
	var c call
	if _, stderr, code := c.run(t, "class", "show"); code != exitUsage || !strings.Contains(stderr, "no class is in this folder") {
		t.Errorf("no class: exit %d, %s", code, stderr)
	}
	c.must(t, "class", "new", "Invented")
	c.must(t, "class", "add", "student", "Ana", "--consent", "2026-09-01")
	c.must(t, "class", "add", "task", "week 1", "--model", "do re mi")
	for _, bad := range []struct {
		args string
		code int
		want string
	}{
		{"add student", exitUsage, "say who"},
		{"add student| Bo", exitUsage, "begins or ends with a blank"},
		{"add student|Ana", exitFailed, "the name is taken"},
		{"add student|Bo|--voice|baritenor", exitUsage, "no voice"},
		{"add student|Bo|--consent|yesterday", exitUsage, "is no day"},
		{"add task|x", exitUsage, "--model MODEL or --exercise COMMAND"},
		{"add task|x|--model|do blah", exitUsage, "column 4"},
		{"add task|x|--model|nothing.abc", exitUsage, "there is no file"},
		{"add task|x|--model|do re|--tolerance|3", exitUsage, "want 5 to 100"},
		{"add task|x|--exercise|rm -rf .", exitUsage, "want a command of practice"},
		{"add task|x|--exercise|sing --nothing", exitUsage, "unknown flag"},
		{"add task|x|--exercise|sing|--rubric|notes", exitUsage, "an exercise has none"},
		{"add task|x|--model|do re|--due|2026-01-01|--given|2026-02-01", exitUsage, "before it was given"},
		{"collect", exitUsage, "say what there is"},
		{"collect|nowhere", exitFailed, "no such file"},
		{"collect|.|--share|5/4|--out|x.jsonl", exitUsage, "K from 1 to N"},
		{"collect|.|--share|1/4", exitUsage, "--out FILE"},
		{"mark|--rubric|nothing", exitUsage, "want \"faults\""},
		{"review|--verdict|perhaps", exitUsage, "want pass or fail"},
		{"review|--student|Ana|--task|week 1|--verdict|pass", exitFailed, "has handed in nothing"},
		{"remark|Ana|", exitUsage, "without words"},
		{"remark|Zed|hello", exitFailed, "not in the class; it has Ana"},
		{"hand-out|week 1", exitUsage, "--out FILE"},
		{"hand-out|week 1|--out|x.txt", exitUsage, "ends in .html"},
		{"hand-out|--student|Ana|--out|x.toml", exitFailed, "too little was sung"},
		{"forget|Zed|--yes", exitFailed, "not in the class"},
		{"show|--class|nothing.sbclass", exitFailed, "there is no such file"},
	} {
		args := strings.Split(strings.NewReplacer("add student", "add|student", "add task", "add|task").Replace(bad.args), "|")
		_, stderr, code := c.run(t, append([]string{"class"}, args...)...)
		if code != bad.code || !strings.Contains(stderr, bad.want) || strings.Count(strings.TrimSpace(stderr), "\n") > 0 {
			t.Errorf("%s: exit %d, want %d: %q, want %q", bad.args, code, bad.code, stderr, bad.want)
		}
	}
	if stdout, _ := c.must(t, "class", "show", "--format", "json"); strings.Count(stdout, `"student":`) != 1 || strings.Count(stdout, `"task":`) != 1 {
		t.Errorf("something was added: %s", stdout)
	}
}
