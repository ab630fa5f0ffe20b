package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"singback/calib"
	"singback/internal/kept"
	"singback/internal/page"
)

// opened is the page while it is served.
type opened struct {
	address, base string
	end           func() (stderr string, code int)
}

// open runs singback page until end is called.
func (c call) open(t *testing.T, args ...string) opened {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	out, in := io.Pipe()
	c.ctx, c.stdout = ctx, in
	var stderr bytes.Buffer
	if c.stderr == nil {
		c.stderr = &stderr
	}
	code := make(chan int, 1)
	go func() {
		_, _, n := c.run(t, append([]string{"page"}, args...)...)
		in.Close()
		code <- n
	}()
	lines := bufio.NewReader(out)
	address, err := lines.ReadString('\n')
	if err != nil {
		stop()
		t.Fatalf("page %q printed %q, %v: exit %d, %s", args, address, err, <-code, &stderr)
	}
	address = strings.TrimSuffix(address, "\n")
	base, _, _ := strings.Cut(address, "#")
	return opened{address, base, func() (string, int) {
		stop()
		if more, err := io.ReadAll(lines); err != nil || len(more) > 0 {
			t.Errorf("page prints more than its address: %q, %v", more, err)
		}
		n := <-code
		return stderr.String(), n
	}}
}

// ask sends a request as the page does.
func (o opened) ask(t *testing.T, method, name, body string) (status int, answer string) {
	t.Helper()
	r, err := http.NewRequest(method, o.base+name, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(b)
}

func (o opened) known(t *testing.T) (k page.Known) {
	t.Helper()
	status, answer := o.ask(t, "GET", "data/known", "")
	if err := json.Unmarshal([]byte(answer), &k); status != 200 || err != nil {
		t.Errorf("data/known: %d, %s, %v", status, answer, err)
	}
	return k
}

// Page opens the address that it prints in the browser, and with --no-open does not;
// it serves until it is interrupted, and ends well.
func TestPage(t *testing.T) {
	opens := make(chan string, 1)
	c := call{data: t.TempDir(), browse: func(address string) error { opens <- address; return nil }}
	p := c.open(t, "sing?key=Eb&count=5")
	if !regexp.MustCompile(`^http://127\.0\.0\.1:\d+/[0-9a-f]{32}/#sing\?key=Eb&count=5$`).MatchString(p.address) {
		t.Errorf("the address is %s", p.address)
	}
	if got := <-opens; got != p.address {
		t.Errorf("the browser is sent to %s, want %s", got, p.address)
	}
	if status, text := p.ask(t, "GET", "", ""); status != 200 || !strings.Contains(text, "<title>singback</title>") {
		t.Errorf("the page is %d, %s", status, text)
	}
	stderr, code := p.end()
	if code != exitDone || strings.Count(stderr, "\n") != 1 || !strings.Contains(stderr, "Ctrl-C ends it") {
		t.Errorf("exit %d, %q", code, stderr)
	}
	p = call{data: c.data}.open(t, "--no-open") // a browser that opens fails the test
	if strings.Contains(p.address, "#") || strings.HasSuffix(p.base, "//") {
		t.Errorf("the address is %s", p.address)
	}
	if _, code := p.end(); code != exitDone {
		t.Errorf("exit %d", code)
	}
	if entries, err := os.ReadDir(c.data); err != nil || len(entries) > 0 {
		t.Errorf("nothing was sung, and there is %v, %v", entries, err)
	}
	// A browser that cannot be opened is no reason to end.
	out, in := io.Pipe()
	told := make(chan bool)
	go func() {
		for said := bufio.NewScanner(out); said.Scan(); {
			if said.Text() == "No browser could be opened (xdg-open is not here): open the address by hand." {
				close(told)
			}
		}
	}()
	p = call{data: c.data, stderr: in, browse: func(string) error { return errors.New("xdg-open is not here") }}.open(t)
	<-told
	if _, code := p.end(); code != exitDone {
		t.Errorf("exit %d", code)
	}
}

// What the page stores is the terminal's: the record, of the singer whose profile is
// in use, and the profile; and what the terminal changes is told at once.
func TestPageSharesTheRecord(t *testing.T) {
	data := t.TempDir()
	c := call{data: data}
	record := filepath.Join(data, "singback", "record.db")
	c.must(t, "profile", "set", "--voice", "alto", "--profile", "Anna")
	c.must(t, "course", "export", "--out", filepath.Join(data, "mine.toml"))
	p := c.open(t, "--no-open", "--course", filepath.Join(data, "mine.toml"))
	k := p.known(t)
	course, err := os.ReadFile(filepath.Join(data, "mine.toml"))
	if err != nil || k.Singer != "Anna" || k.ProfileName != "Anna" || !strings.Contains(k.Profile, "'alto'") || k.Record != record || k.There || k.Course != string(course) || len(k.Notes) > 0 {
		t.Errorf("known is %+v, %v", k, err)
	}
	// Anna's first answers, as the terminal would write them.
	other := filepath.Join(data, "other.db")
	c.must(t, "record", "import", "../../testdata/record/anna.csv", "--record", other)
	lines, _ := c.must(t, "record", "export", "--format", "jsonl", "--record", other)
	ten := strings.Join(strings.SplitAfter(lines, "\n")[:10], "")
	for _, want := range []string{`{"read":10,"added":10}`, `{"read":10,"added":0}`} {
		if status, answer := p.ask(t, "POST", "data/answers", ten); status != 200 || answer != want+"\n" {
			t.Errorf("answers: %d, %s", status, answer)
		}
	}
	got, _ := c.must(t, "record", "export", "--format", "jsonl")
	if got != ten {
		t.Errorf("the terminal's record has %s", got)
	}
	csv, _ := c.must(t, "record", "export")
	if status, answer := p.ask(t, "GET", "data/record", ""); status != 200 || answer != csv || !p.known(t).There {
		t.Errorf("the record is %d, %.200s", status, answer)
	}
	// A profile is the singer's, whoever's name it has, and the one before is kept.
	c.must(t, "profile", "set", "--voice", "bass", "--profile", "Otto")
	c.must(t, "profile", "use", "Otto")
	bass, _ := c.must(t, "profile", "export", "--profile", "Otto")
	file := filepath.Join(data, "singback", "singers", "Anna.toml")
	if status, answer := p.ask(t, "PUT", "data/profile", bass); status != 200 || answer != `{"saved":"`+file+"\"}\n" {
		t.Errorf("the profile: %d, %s", status, answer)
	}
	if k := p.known(t); k.Singer != "Anna" || k.ProfileName != "Anna" || !strings.Contains(k.Profile, "'bass'") {
		t.Errorf("after somebody else sings in the terminal: %+v", k)
	}
	if old, err := os.ReadFile(filepath.Join(data, "singback", "singers", "old", "Anna.0001.toml")); err != nil || !strings.Contains(string(old), "'alto'") {
		t.Errorf("the profile before is %q, %v", old, err)
	}
	stderr, code := p.end()
	if code != exitDone || !strings.Contains(stderr, "10 answers added to "+record+".") {
		t.Errorf("exit %d, %s", code, stderr)
	}
}

// Who sings is settled as in today: by --singer, by --profile, by nobody.
func TestPageSinger(t *testing.T) {
	data := t.TempDir()
	c := call{data: data}
	c.must(t, "profile", "set", "--voice", "alto", "--profile", "Anna")
	c.must(t, "profile", "set", "--voice", "bass", "--profile", "Otto")
	c.must(t, "profile", "use", "Anna")
	file := filepath.Join(data, "file.toml")
	c.must(t, "profile", "export", "--profile", "Otto", "--out", file)
	profile, err := kept.EncodeProfile(calib.Profile{Version: calib.Version, Name: "Zoe", Made: calib.Date{Year: 2026, Month: 11, Day: 25}})
	if err != nil {
		t.Fatal(err)
	}
	singers := filepath.Join(data, "singback", "singers")
	for _, s := range []struct {
		args            []string
		singer, profile string
		note, saved     string
		status          int
	}{
		{[]string{"--singer", "Nina"}, "Nina", "", "Nina has no profile: safe defaults hold, not those of Anna.", filepath.Join(singers, "Nina.toml"), 200},
		{[]string{"--singer", "otto"}, "otto", "Otto", "", filepath.Join(singers, "Otto.toml"), 200},
		{[]string{"--profile", "none"}, "me", "", "", "", 200},
		{[]string{"--profile", file}, "Otto", "Otto", "", file, 200},
		{[]string{"--profile", "Otto", "--singer", "Anna"}, "Anna", "Otto", "", filepath.Join(singers, "Otto.toml"), 200},
		{[]string{"--singer", "a/b"}, "a/b", "", "a/b has no profile", "", 400},
	} {
		p := c.open(t, append([]string{"--no-open"}, s.args...)...)
		k := p.known(t)
		if k.Singer != s.singer || k.ProfileName != s.profile || (s.note == "") != (len(k.Notes) == 0) || !strings.Contains(strings.Join(k.Notes, "\n"), s.note) {
			t.Errorf("%q: %+v", s.args, k)
		}
		want, _ := json.Marshal(map[string]string{"saved": s.saved})
		if status, answer := p.ask(t, "PUT", "data/profile", string(profile)); status != s.status || status == 200 && answer != string(want)+"\n" {
			t.Errorf("%q: a profile: %d, %s, want %s", s.args, status, answer, want)
		}
		if _, code := p.end(); code != exitDone {
			t.Errorf("%q: exit %d", s.args, code)
		}
	}
	// Where the user wants no profile there is none, until the page has measured one.
	c.must(t, "profile", "use", "none")
	p := c.open(t, "--no-open")
	if k := p.known(t); k.Singer != "me" || k.Profile != "" {
		t.Errorf("without a profile: %+v", k)
	}
	if status, answer := p.ask(t, "PUT", "data/profile", string(profile)); status != 200 {
		t.Errorf("%d, %s", status, answer)
	}
	if k := p.known(t); k.ProfileName != "me" {
		t.Errorf("with one: %+v", k)
	}
	p.end()
}

// What cannot be meant is refused in one line.
func TestPageRefuses(t *testing.T) {
	data := t.TempDir()
	taken := call{data: data}.open(t, "--no-open")
	port := regexp.MustCompile(`:(\d+)/`).FindStringSubmatch(taken.address)[1]
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"sng?key=Eb"}, exitUsage, `there is no command "sng"; did you mean sing?`},
		{[]string{"#x\x1b[2J"}, exitUsage, "what is no text"},
		{[]string{"sing?kay=Eb"}, exitUsage, "there is no flag --kay; did you mean --key?"},
		{[]string{"sing?count=few"}, exitUsage, `invalid argument "few" for "--count" flag: want a whole number`},
		{[]string{"sing?key=%zz"}, exitUsage, "is cut short or misspelled"},
		{[]string{"sing", "echo"}, exitUsage, "2 arguments given"},
		{[]string{"--port", "70000"}, exitUsage, "--port: 70000"}, {[]string{"--port", "-1"}, exitUsage, "--port: -1"},
		{[]string{"--port", port}, exitFailed, "--port: " + port + ": "},
		{[]string{"--force"}, exitUsage, "--out FOLDER"}, {[]string{"--out", ""}, exitUsage, "name of a folder"}, {[]string{"--out", "-"}, exitUsage, "name of a folder"},
		{[]string{"--out", "x", "sing"}, exitUsage, "--out writes the whole page"},
		{[]string{"--out", "x", "--singer", "Anna"}, exitUsage, "--singer: "}, {[]string{"--out", "x", "--port", "80"}, exitUsage, "--port: "}, {[]string{"--out", "x", "--no-open"}, exitUsage, "--no-open: "},
		{[]string{"--out", "../../README.md"}, exitFailed, "it is a file, want a folder"},
		{[]string{"--profile", "Nobody"}, exitFailed, "no such singer"}, {[]string{"--singer", " x"}, exitUsage, "--singer"},
		{[]string{"--course", "none.toml"}, exitFailed, "none.toml: "}, {[]string{"--course", "../../README.md"}, exitFailed, "../../README.md: line "},
	} {
		args := append([]string{"page"}, c.args...)
		if c.args[0] != "--out" {
			args = append(args, "--no-open")
		}
		stdout, stderr, code := call{data: data}.run(t, args...)
		refused(t, args, stdout, stderr, code, c.code, c.says)
	}
	taken.end()
	stdout, stderr, code := call{}.run(t, "page", "--no-open") // no folder is known
	refused(t, []string{"page"}, stdout, stderr, code, exitFailed, "no folder for the practice record is known", "--record")
	// A build without the engine says how to get it, before anything else is done.
	for _, args := range [][]string{{"page"}, {"page", "--out", filepath.Join(data, "x")}} {
		var out, errs bytes.Buffer
		code := run(t.Context(), &env{
			stdin: strings.NewReader(""), stdout: &out, stderr: &errs, getenv: func(string) string { return "" }, terminal: func(any) bool { return false },
			site: func() (*page.Site, error) { return nil, page.ErrNoEngine },
		}, args)
		refused(t, args, out.String(), errs.String(), code, exitFailed, "make build")
	}
	if _, err := os.Stat(filepath.Join(data, "x")); err == nil {
		t.Error("a folder without a page was made")
	}
}

// A folder of the page says what it has; what is there stays without --force.
func TestPageOut(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "page")
	stdout, stderr := call{}.must(t, "page", "--out", folder)
	n := 0
	filepath.WalkDir(folder, func(_ string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			n++
		}
		return err
	})
	if want := regexp.MustCompile(`^\d+ files written to .*page: \d{4} bytes over the wire at the first visit\.\n$`); !want.MatchString(stdout) || !strings.HasPrefix(stdout, fmt.Sprint(n, " ")) || strings.Count(stderr, "\n") != 1 || !strings.Contains(stderr, "HTTPS") || !strings.Contains(stderr, "localhost") {
		t.Errorf("%d files, %q, %q", n, stdout, stderr)
	}
	args := []string{"page", "--out", folder}
	out, errs, code := call{}.run(t, args...)
	refused(t, args, out, errs, code, exitFailed, "--out: ", "it is there already: --force replaces it")
	if again, _ := (call{}).must(t, "page", "--out", folder, "--force"); again != stdout {
		t.Errorf("with --force: %q", again)
	}
	if err := os.Remove(filepath.Join(folder, "files.json")); err != nil {
		t.Fatal(err)
	}
	args = append(args, "--force")
	out, errs, code = call{}.run(t, args...)
	refused(t, args, out, errs, code, exitFailed, "--out: ", "in the way")
}

// A real interrupt of the real program ends the page with status 0.
func TestPageInterrupted(t *testing.T) {
	interrupts := make(chan os.Signal, 1) // which a background of a script would ignore
	signal.Notify(interrupts, os.Interrupt)
	defer signal.Stop(interrupts)
	cmd := exec.CommandContext(t.Context(), "singback", "page", "--no-open", "today")
	cmd.Env = append(os.Environ(), "XDG_DATA_HOME="+t.TempDir())
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(stdout)
	address, err := lines.ReadString('\n')
	if err != nil {
		t.Fatalf("%v; %s", err, &stderr)
	}
	res, err := http.Get(strings.TrimSuffix(address, "#today\n"))
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	cmd.Process.Signal(os.Interrupt)
	rest, _ := io.ReadAll(lines)
	if err := cmd.Wait(); err != nil || len(rest) > 0 || res.StatusCode != 200 {
		t.Errorf("%v: status %d, %q, %q", err, res.StatusCode, rest, &stderr)
	}
	if _, err := http.Get(strings.TrimSuffix(address, "#today\n")); err == nil {
		t.Error("it still answers")
	}
}
