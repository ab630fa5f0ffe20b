//go:build unix

package cli

import (
	"fmt"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// server is a sound server of its own for one program, which a test may end.
type server struct {
	pid    int
	start  string   // starts it again
	reach  []string // what others want in their environment who use it
	killed time.Time
}

// onServer starts the program with a server of its own.
func onServer(t *testing.T, path string, args ...string) (*running, *server) {
	t.Helper()
	tell := `echo "server $SINGBACK_VIRTUAL_MIC_SERVER $SINGBACK_VIRTUAL_MIC_START $PULSE_SERVER program $$" >&2; exec "$@"`
	r := startProgram(t, nil, "../device/virtualmic/with-virtual-mic", append([]string{"bash", "-c", tell, "bash", path}, args...)...)
	r.await(t, "server ")
	told := strings.Fields(r.stderr.String())
	r.stderr.Reset()
	pid, err := strconv.Atoi(told[1])
	if err != nil || pid <= 1 || len(told) != 6 {
		t.Fatalf("no server in %q", told)
	}
	program, err := strconv.Atoi(told[5])
	if err != nil {
		t.Fatal(err)
	}
	r.pid = program
	return r, &server{pid: pid, start: told[2], reach: []string{"PULSE_SERVER=" + told[3]}}
}

func (s *server) kill(t *testing.T) {
	t.Helper()
	if err := syscall.Kill(s.pid, syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	s.killed = time.Now()
}

func (s *server) again(t *testing.T) {
	t.Helper()
	pid, err := exec.Command(s.start).Output()
	if err != nil {
		t.Fatalf("the server does not start again: %v", err)
	}
	if s.pid, err = strconv.Atoi(strings.TrimSpace(string(pid))); err != nil {
		t.Fatal(err)
	}
}

// A server that dies in the middle and is started again: the drill waits, says so in one
// line, and asks anew what was not judged; while it listens, before the window, while the
// key sounds, between two questions, and with a drone under all of it.
func TestVirtualMicServerComesBack(t *testing.T) {
	path := needVirtualMic(t)
	tr := recordingNamed(t, "la-eb-major-tenor")
	for _, c := range []struct {
		when string
		more []string
		sung bool
	}{
		{when: "Listening.", sung: true},
		{when: "Hear it inside"},
		{when: "E♭ major: tonic"},
		{when: "2 of 2: "}, // the right note of the first has just sounded
		{when: "Listening.", more: []string{"--drone", "tonic", "--headphones"}},
	} {
		t.Run(strings.Join(append([]string{c.when}, c.more...), " "), func(t *testing.T) {
			t.Parallel() // each has a server of its own
			args := append([]string{"sing", "--count", "2", "--timeout", "2", "--set", "tonic", "--input", "mic", "--output", "speaker", "--format", "json",
				"--degrees", tr.says["asked"]}, append(tr.music(), c.more...)...)
			r, s := onServer(t, path, args...)
			r.await(t, c.when)
			s.kill(t)
			r.await(t, goneLine)
			t.Logf("told after %v", time.Since(s.killed).Round(10*time.Millisecond))
			time.Sleep(1500 * time.Millisecond) // no server
			s.again(t)
			began := time.Now()
			r.await(t, backLine)
			t.Logf("back after %v", time.Since(began).Round(10*time.Millisecond))
			if c.sung {
				r.await(t, "Listening.")
				play(t, s.reach, tr.path)
			}
			if code := r.end(t); code != exitDone {
				t.Fatalf("exit %d: %s", code, &r.stderr)
			}
			all := events(t, r.stdout.String())
			verdicts := named(all, "verdict")
			if len(verdicts) != 2 || verdicts[0].Index != 1 || verdicts[1].Index != 2 {
				t.Fatalf("verdicts %+v, want one for each question", verdicts)
			}
			if c.sung && verdicts[0].Outcome != tr.says["expect_outcome"] {
				t.Errorf("sung once the server was back: %s, want %s", verdicts[0].Outcome, tr.says["expect_outcome"])
			}
			if last := all[len(all)-1]; last.Event != "summary" || last.Interrupted || last.Total.Asked != 2 {
				t.Errorf("last event %+v", last)
			}
			if n := strings.Count(r.stderr.String(), goneLine); n != 1 {
				t.Errorf("told %d times that it waits: %s", n, &r.stderr)
			}
		})
	}
}

// A server that does not come back: who has waited long enough ends the drill as ever.
func TestVirtualMicServerStaysAway(t *testing.T) {
	path := needVirtualMic(t)
	t.Parallel()
	r, s := onServer(t, path, "sing", "--count", "3", "--input", "mic", "--output", "speaker", "--format", "json")
	r.await(t, "Listening.")
	s.kill(t)
	r.await(t, goneLine)
	time.Sleep(2500 * time.Millisecond) // it looks for the device meanwhile
	if err := syscall.Kill(r.pid, syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	code := r.end(t)
	all := events(t, r.stdout.String())
	if last := all[len(all)-1]; code != exitDone || last.Event != "summary" || !last.Interrupted || last.Total.Asked != 0 {
		t.Errorf("interrupted while it waits: exit %d, last event %+v: %s", code, last, &r.stderr)
	}
	if strings.Contains(r.stderr.String(), backLine) {
		t.Errorf("nothing came back: %s", &r.stderr)
	}
}

// A program that is stopped, as by Ctrl-Z, in a window or while it plays, and goes on
// later than the window would have been open: the question is asked anew, and not judged
// by the silence. So it is with a sound server that is stopped.
func TestVirtualMicStoppedAndContinued(t *testing.T) {
	path := needVirtualMic(t)
	for _, c := range []struct {
		when   string
		server bool
	}{{"Listening.", false}, {"C major: cadence", false}, {"Listening.", true}} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			t.Parallel()
			r, s := onServer(t, path, "sing", "--count", "1", "--timeout", "4", "--input", "mic", "--output", "speaker", "--format", "json")
			r.await(t, c.when)
			time.Sleep(300 * time.Millisecond)
			who := r.pid
			if c.server {
				who = s.pid
			}
			if err := syscall.Kill(who, syscall.SIGSTOP); err != nil {
				t.Fatal(err)
			}
			time.Sleep(6 * time.Second)
			if err := syscall.Kill(who, syscall.SIGCONT); err != nil {
				t.Fatal(err)
			}
			r.await(t, goneLine)
			r.await(t, backLine)
			r.await(t, "Listening.")
			again := time.Now()
			if code := r.end(t); code != exitDone {
				t.Fatalf("exit %d: %s", code, &r.stderr)
			}
			if open := time.Since(again); open < 3*time.Second {
				t.Errorf("the window was open for %v, want 4 s anew", open)
			}
			all := events(t, r.stdout.String())
			if v := named(all, "verdict"); len(v) != 1 || len(named(all, "prompt")) < 1 {
				t.Errorf("verdicts %+v", v)
			}
		})
	}
}
