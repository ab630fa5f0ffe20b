package cli

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/spf13/cobra"

	"singback/internal/device"
	"singback/internal/page"
)

// The test binary stands in for the program where a test needs a process of
// its own: as the command singback of the scripts and of exec.Command.
func TestMain(m *testing.M) {
	if device.ServeProbe(os.Args[1:], os.Stdout) {
		return
	}
	testscript.Main(m, map[string]func(){
		"singback": func() {
			e := outside(os.Stdin, os.Stdout, os.Stderr)
			e.now, e.seed, e.site = clock, func() uint64 { return 4 }, madeUp
			os.Exit(run(context.Background(), e, os.Args[1:]))
		},
	})
}

// noDevices is an environment in which no sound device is found, on Linux.
func noDevices(dir string) []string {
	return []string{
		"ALSA_CONFIG_PATH=" + filepath.Join(dir, "none.conf"), "PULSE_SERVER=unix:" + filepath.Join(dir, "none"),
		"JACK_NO_START_SERVER=1", "LANG=C.UTF-8", "LC_ALL=", "HOME=" + dir, "XDG_DATA_HOME=",
	}
}

func TestScripts(t *testing.T) {
	wav, err := filepath.Abs("../../testdata/wav")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Condition: func(name string) (bool, error) {
			// Eight minutes of practice are for the day of the tests and for the midnight
			// at which a leap day begins.
			if at := os.Getenv(clockEnv); name == "long" {
				return !raceDetector && (at == "" || at == awkward[0]), nil
			}
			return false, fmt.Errorf("no condition %q", name)
		},
		Setup: func(env *testscript.Env) error {
			env.Vars = append(env.Vars, noDevices(env.WorkDir)...)
			env.Setenv("WAV", wav)
			env.Setenv("TODAY", today())
			env.Setenv("LATER", clock().Add(time.Minute).Format(time.DateOnly)) // another day, where the clock stands before midnight
			env.Setenv(clockEnv, os.Getenv(clockEnv))
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// exits N COMMAND ... runs a command that must exit with status N
			// and, unless N is 0, print nothing and say why in one line.
			"exits": func(ts *testscript.TestScript, neg bool, args []string) {
				if neg || len(args) < 2 {
					ts.Fatalf("usage: exits N COMMAND ...")
				}
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				got := 0
				if err := ts.Exec(args[1], args[2:]...); err != nil {
					var exit *exec.ExitError
					if !errors.As(err, &exit) {
						ts.Fatalf("%v", err)
					}
					got = exit.ExitCode()
				}
				if got != want {
					ts.Fatalf("exit status %d, want %d", got, want)
				}
				if want == 0 {
					return
				}
				if out := ts.ReadFile("stdout"); out != "" {
					ts.Fatalf("standard output has %q, want nothing", out)
				}
				if msg := ts.ReadFile("stderr"); strings.Count(msg, "\n") != 1 || !strings.HasSuffix(msg, "\n") {
					ts.Fatalf("standard error has %q, want one line", msg)
				}
			},
		},
	})
}

// call runs the command line in this process, with no terminal and the locale
// C.UTF-8.
type call struct {
	ctx           context.Context
	data          string           // XDG_DATA_HOME
	now           func() time.Time // nil: clock
	stdin         io.Reader
	stdout        io.Writer
	stderr        io.Writer
	interruptible func(context.Context) (context.Context, context.CancelFunc)
	browse        func(address string) error
	way           http.RoundTripper // nil: to a folder in memory
}

// madeUp is a page of a few files, for the tests of a build without the engine.
func madeUp() (*page.Site, error) {
	return page.New(fstest.MapFS{
		"index.html": {Data: []byte("<!DOCTYPE html>\n<title>singback</title>\n")}, "sw.js": {Data: []byte("'use strict';\n")},
		"icons/192.png": {Data: []byte("\x89PNG")},
	}, fstest.MapFS{"engine.wasm.xz": {Data: make([]byte, 1000)}, "wasm_exec.js": {Data: []byte("// loader\n")}})
}

func (c call) run(t testing.TB, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs bytes.Buffer
	if c.ctx == nil {
		c.ctx = t.Context()
	}
	if c.stdin == nil {
		c.stdin = strings.NewReader("")
	}
	if c.stdout == nil {
		c.stdout = &out
	}
	if c.stderr == nil {
		c.stderr = &errs
	}
	if c.now == nil {
		c.now = clock
	}
	if c.interruptible == nil {
		c.interruptible = context.WithCancel
	}
	code = run(c.ctx, &env{
		stdin: c.stdin, stdout: c.stdout, stderr: c.stderr,
		getenv: func(name string) string {
			switch name {
			case "LANG":
				return "C.UTF-8"
			case "XDG_DATA_HOME":
				return c.data
			}
			return ""
		},
		terminal: func(any) bool { return false },
		seed:     func() uint64 { return 4 },
		wait: func(ctx context.Context, _ time.Duration) error {
			t.Error("a drill without a terminal waited")
			return ctx.Err()
		},
		way:           cmp.Or[http.RoundTripper](c.way, classFolder(c.data)),
		now:           c.now,
		interruptible: c.interruptible,
		site:          madeUp,
		browse: func(address string) error {
			if c.browse == nil {
				t.Errorf("a browser was opened at %s", address)
				return nil
			}
			return c.browse(address)
		},
	}, args)
	return out.String(), errs.String(), code
}

// must runs a call that must succeed.
func (c call) must(t testing.TB, args ...string) (stdout, stderr string) {
	t.Helper()
	stdout, stderr, code := c.run(t, args...)
	if code != exitDone {
		t.Fatalf("singback %s: exit %d: %s", strings.Join(args, " "), code, stderr)
	}
	return stdout, stderr
}

// refused checks that a call ends with a status, one line on standard error
// that has the texts, and nothing on standard output.
func refused(t *testing.T, args []string, stdout, stderr string, code, want int, texts ...string) {
	t.Helper()
	name := "singback " + strings.Join(args, " ")
	if code != want {
		t.Errorf("%s: exit %d, want %d", name, code, want)
	}
	if stdout != "" {
		t.Errorf("%s: standard output has %q", name, stdout)
	}
	if strings.Count(stderr, "\n") != 1 || !strings.HasSuffix(stderr, "\n") || !strings.HasPrefix(stderr, "singback") || len(stderr) > 800 {
		t.Errorf("%s: standard error has %q, want one line of the program's", name, stderr)
	}
	for _, text := range texts {
		if !strings.Contains(stderr, text) {
			t.Errorf("%s: %q does not say %q", name, stderr, text)
		}
	}
}

// visible calls f for every command that help shows.
func visible(cmd *cobra.Command, f func(*cobra.Command)) {
	f(cmd)
	for _, c := range cmd.Commands() {
		if !c.Hidden {
			visible(c, f)
		}
	}
}

func TestWrongUsage(t *testing.T) {
	take := "../../testdata/wav/flat-40.wav"
	for _, c := range []struct {
		name string
		args []string
		says string
	}{
		{"a command that does not exist", []string{"warble"}, `there is no command "warble"`},
		{"help about nothing", []string{"help", "nothing"}, `there is no topic and no command "nothing"; singback help lists them`},
		{"a mistyped command", []string{"sng"}, "did you mean sing?"},
		{"a mistyped command and more", []string{"jugde", "--key", "C"}, "did you mean judge?"},
		{"a level that does not exist", []string{"series", "--level", "9"}, "there is no level 9: want 1 to 7"},
		{"a beat without a tempo", []string{"series", "--free", "--click"}, "there is no beat with --free"},
		{"a tempo that nobody sings", []string{"series", "--tempo", "5"}, "want 30 to 200"},
		{"a phrase that is too long", []string{"echo", "--notes", "9"}, "want 2 to 7"},
		{"more melodies than recordings", []string{"series", "--count", "2", take}, "2 melodies want 2 recordings, 1 given"},
		{"an unknown flag", []string{"sing", "--loud"}, "there is no flag --loud; did you mean --loudness?"},
		{"a flag without its value", []string{"sing", "--key"}, "flag needs an argument: --key"},
		{"a number that is none", []string{"sing", "--count", "ten"}, `invalid argument "ten" for "--count" flag: want a whole number`},
		{"a length that is none", []string{"echo", "--gap", "x"}, `invalid argument "x" for "--gap" flag: want a number`},
		{"no recording", []string{"judge", "--key", "C", "--degree", "do"}, "TAKE is missing"},
		{"two recordings", []string{"judge", "--key", "C", "--degree", "do", take, take}, "2 arguments given, want one"},
		{"trace of nothing", []string{"trace"}, "TAKE is missing"},
		{"trace of two", []string{"trace", take, take}, "2 recordings given: say with --out FOLDER"},
		{"notes of nothing", []string{"notes"}, "TAKE is missing"},
		{"grade nothing", []string{"grade", "--model", "do re"}, "a recording or pitch curve TAKE is missing"},
		{"grade against nothing", []string{"grade", take}, "--model is missing"},
		{"grade against no melody", []string{"grade", "--model", "do lu", take}, `not a degree of C major: "lu"`},
		{"grade against a file that is not there", []string{"grade", "--model", "none.abc", take}, "--model: there is no file none.abc"},
		{"grade with tolerance 101", []string{"grade", "--model", "do", "--tolerance", "101", take}, "--tolerance: a tolerance of 101 cents is out of range: want 5 to 100"},
		{"resume without a file", []string{"grade", "--model", "do", "--resume", take}, "say which with --out FILE"},
		{"a table into a file", []string{"grade", "--model", "do", "--out", "x.csv", take}, "--out needs --format csv, json or jsonl"},
		{"a take name of two lines", []string{"grade", "--model", "do", "--format", "csv", "--out", "x.csv", "a\nb"}, "has a line break in its name"},
		{"two of one name", []string{"notes", "--out", t.TempDir(), take, take}, "give one of them another name"},
		{"devices with a word", []string{"devices", "all"}, `"all" is one word too many`},
		{"no key", []string{"key"}, "a key is missing"},
		{"an empty key", []string{"key", ""}, `not a key: ""`},
		{"no letter of a key", []string{"key", "H# major"}, `not a key: "H# major"`},
		{"a key beyond seven flats", []string{"key", "Fbb"}, "at most 7; want Eb major"},
		{"sing in no key", []string{"sing", "--key", "H# major"}, `--key: not a key: "H# major"`},
		{"sing in a random mood", []string{"sing", "--key", "random sad"}, "want random, random major or random minor"},
		{"judge in no key", []string{"judge", "--degree", "la", take}, "--key is missing"},
		{"judge in a random key", []string{"judge", "--key", "random", "--degree", "la", take}, `not a key: "random"`},
		{"judge no degree", []string{"judge", "--key", "Ab", take}, "--degree is missing"},
		{"judge what is no degree", []string{"judge", "--key", "Ab", "--degree", "lu", take}, "not a degree"},
		{"judge an empty degree", []string{"judge", "--key", "Ab", "--degree", " ", take}, "--degree: "},
		{"sing no degrees", []string{"sing", "--degrees", ""}, "--degrees: "},
		{"sing what is no degree", []string{"sing", "--degrees", "do lu"}, "--degrees: "},
		{"sing from what is no degree", []string{"sing", "--from", "lu"}, "--from: "},
		{"sing from a degree to itself", []string{"sing", "--from", "la", "--degrees", "la"}, "give another --from or --degrees"},
		{"tolerance 0", []string{"sing", "--tolerance", "0"}, "--tolerance: a tolerance of 0 cents is out of range: want 5 to 50"},
		{"tolerance NaN", []string{"sing", "--tolerance", "NaN"}, "--tolerance: a tolerance of NaN cents is out of range"},
		{"tolerance 1e9", []string{"sing", "--tolerance", "1e9"}, "is out of range: want 5 to 50"},
		{"judge with tolerance 51", []string{"judge", "--key", "C", "--degree", "do", "--tolerance", "51", take}, "--tolerance: "},
		{"hold 0", []string{"judge", "--key", "C", "--degree", "do", "--hold", "0", take}, "hold of 0 s is out of range"},
		{"hold NaN", []string{"sing", "--hold", "NaN"}, "hold of NaN s is out of range"},
		{"a negative timeout", []string{"sing", "--timeout", "-1"}, "want 0 or more"},
		{"a4 0", []string{"sing", "--a4", "0"}, "--a4: A4 = 0 Hz is out of range"},
		{"a4 NaN", []string{"key", "C", "--a4", "NaN"}, "--a4: "},
		{"count 0", []string{"sing", "--count", "0"}, "--count: 0 is out of range: want 1 to 1000"},
		{"count -1", []string{"sing", "--count", "-1"}, "--count: -1 is out of range"},
		{"count 100000", []string{"sing", "--count", "100000"}, "--count: 100000 is out of range"},
		{"loudness 0", []string{"sing", "--loudness", "0"}, "--loudness: 0 LUFS is out of range: want -60 to -14"},
		{"loudness NaN", []string{"sing", "--loudness", "NaN"}, "--loudness: "},
		{"think 31", []string{"sing", "--think", "31"}, "--think: 31 s is out of range"},
		{"set-every -1", []string{"sing", "--set-every", "-1"}, "--set-every: "},
		{"set by a bell", []string{"sing", "--set", "bell"}, "want cadence, scale, tonic, drone"},
		{"retry maybe", []string{"sing", "--retry", "maybe"}, "want ask, always or never"},
		{"retry of a recording", []string{"sing", "--retry", "always", take}, "a recording answers only once"},
		{"names in Klingon", []string{"sing", "--names", "klingon"}, "--names: "},
		{"an unknown voice", []string{"sing", "--voice", "countertenor"}, "--voice: "},
		{"octave 9", []string{"sing", "--octave", "9"}, "--octave: 9 is out of range: want 1 to 6"},
		{"sing to xml", []string{"sing", "--format", "xml"}, "want text or json"},
		{"trace to xml", []string{"trace", "--format", "xml", take}, "want csv or json"},
		{"key to xml", []string{"key", "--format", "xml", "C"}, "want text or json or csv"},
		{"output to an MP3", []string{"sing", "--output", "x.mp3"}, "want speaker, none or a file that ends in .wav"},
		{"output over the recording", []string{"sing", "--output", take, take}, "would be lost"},
		{"more questions than recordings", []string{"sing", "--count", "2", take}, "2 questions want 2 recordings, 1 given"},
		{"the simulated singer and a recording", []string{"sing", "--input", "simulated", take}, "simulated cannot be mixed with recordings"},
		{"an empty input", []string{"sing", "--input", ""}, "--input: it is empty"},
		{"standard input twice", []string{"sing", "-", "-"}, "standard input (-) can be read only once"},
		{"a microphone for a recording", []string{"sing", "--device", "usb", take}, "--device: "},
		{"a loudspeaker for a file", []string{"sing", "--output", "none", "--output-device", "usb"}, "--output-device: "},
		{"channel -1", []string{"trace", "--channel", "-1", take}, "--channel: -1 is out of range"},
		{"a shell that does not exist", []string{"completion", "bsh"}, `there is no command "bsh"`},
		{"a shell and a word", []string{"completion", "bash", "x"}, `"x" is one word too many`},
		{"a very long word", []string{strings.Repeat("é", 5000)}, "there is no command"},
	} {
		t.Run(c.name, func(t *testing.T) {
			stdout, stderr, code := call{}.run(t, c.args...)
			refused(t, c.args, stdout, stderr, code, exitUsage, c.says, "--help)")
		})
	}
}

// An interrupt while nothing can be summed up ends in one line.
func TestInterruptedJudge(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	args := []string{"judge", "--key", "A", "--degree", "ti", "../../testdata/wav/flat-40.wav"}
	stdout, stderr, code := call{ctx: ctx}.run(t, args...)
	refused(t, args, stdout, stderr, code, exitFailed, "interrupted")
}

// full is a writer on a full disk, after some bytes.
type full struct{ room int }

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, syscall.ENOSPC
	}
	return len(p), nil
}

// Results that cannot be written are a failure of every command, and end a
// drill at once.
func TestResultsThatCannotBeWritten(t *testing.T) {
	take := "../../testdata/wav/flat-40.wav"
	for _, args := range [][]string{
		{"key", "C"}, {"key", "C", "--format", "csv"}, {"key", "C", "--format", "json"},
		{"trace", take}, {"trace", take, "--format", "json"},
		{"judge", "--key", "A", "--degree", "ti", take}, {"judge", "--key", "A", "--degree", "ti", "--format", "json", take},
		{"sing", "--input", "simulated"}, {"sing", "--input", "simulated", "--format", "json"},
	} {
		_, stderr, code := call{stdout: &full{}}.run(t, args...)
		last := stderr[strings.LastIndexByte(strings.TrimSpace(stderr), '\n')+1:]
		if code != exitFailed || !strings.Contains(last, "no space left on device") {
			t.Errorf("singback %s to a full disk: exit %d, standard error %q", strings.Join(args, " "), code, stderr)
		}
		if n := strings.Count(stderr, "sing "); args[0] == "sing" && n > 2 {
			t.Errorf("singback %s went on asking: %q", strings.Join(args, " "), stderr)
		}
	}
	for _, args := range [][]string{{"key", "C"}, {"trace", take}, {"sing", "--input", "simulated", "--format", "json"}} {
		_, stderr, code := call{stdout: broken{}}.run(t, args...)
		if code != exitFailed || strings.Contains(stderr, "pipe") {
			t.Errorf("singback %s to a closed pipe: exit %d, standard error %q", strings.Join(args, " "), code, stderr)
		}
	}
}

type broken struct{}

func (broken) Write([]byte) (int, error) {
	return 0, &os.PathError{Op: "write", Path: "x", Err: syscall.EPIPE}
}

// A reader that goes away, as head does, brings no panic and no message.
func TestClosedStandardOutput(t *testing.T) {
	for _, args := range [][]string{
		{"key", "C"}, {"trace", "../../testdata/wav/flat-40.wav"},
		{"sing", "--input", "simulated", "--count", "3", "--format", "json"},
	} {
		r, w, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		r.Close()
		t.Setenv("XDG_DATA_HOME", t.TempDir()) // nobody has a profile
		cmd := exec.CommandContext(t.Context(), "singback", args...)
		var stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = w, &stderr
		err = cmd.Run()
		w.Close()
		if err == nil || strings.Contains(stderr.String(), "goroutine") || strings.Contains(stderr.String(), "pipe") {
			t.Errorf("singback %s to a closed pipe: %v, %q", strings.Join(args, " "), err, stderr.String())
		}
	}
}
