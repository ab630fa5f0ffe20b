package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/internal/drill"
)

// The folder of the XDG base directory specification: an absolute XDG_DATA_HOME,
// else .local/share in the home folder.
func TestDataFolder(t *testing.T) {
	if filepath.Separator != '/' {
		t.Skip("other systems have folders of their own")
	}
	for _, c := range []struct{ xdg, home, want string }{
		{"/data", "/home/x", "/data/singback"},
		{"relative", "", ""},
		{"", "", ""},
	} {
		e := &env{getenv: func(name string) string { return map[string]string{"XDG_DATA_HOME": c.xdg, "HOME": c.home}[name] }}
		if got := e.dataDir(); got != c.want {
			t.Errorf("XDG_DATA_HOME %q, HOME %q: %q, want %q", c.xdg, c.home, got, c.want)
		}
	}
}

var mic = drill.Microphone{}

func keeperFor(t *testing.T, dir, command string, o recordOptions, answers drill.Answers) *drill.Keeper {
	t.Helper()
	now := clock()
	e := &env{now: func() time.Time { return now }, getenv: func(name string) string {
		if name == "XDG_DATA_HOME" {
			return dir
		}
		return ""
	}}
	k := o.keeper(e, &performance{plan: &drill.Plan{Command: command}, start: now}, &stage{answers: answers})
	t.Cleanup(func() { k.Close() })
	return k
}

// What goes into the user's record: what the microphone heard, of today always,
// of sing where there is a record.
func TestWhatIsRecorded(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "singback", "record.db")
	me := recordOptions{singer: "me"}
	if k := keeperFor(t, dir, "sing", me, mic); k.Record != nil || k.Trouble != "" {
		t.Errorf("sing without a record: %+v", k)
	}
	for _, answers := range []drill.Answers{&drill.Simulated{}, &drill.Recordings{}} {
		if k := keeperFor(t, dir, "today", me, answers); k.Record != nil || !strings.HasPrefix(k.Trouble, "Not recorded: ") {
			t.Errorf("%T: %+v", answers, k)
		}
	}
	if k := keeperFor(t, dir, "today", recordOptions{singer: "me", none: true}, mic); k.Record != nil || k.Trouble != "" {
		t.Errorf("--no-record: %+v", k)
	}
	if _, err := os.Stat(path); err == nil {
		t.Fatal("there is a record, and nothing was to be recorded")
	}
	k := keeperFor(t, dir, "today", me, mic)
	if k.Record == nil || k.Record.Path() != path || k.Session.Source != "mic" {
		t.Fatalf("today with a microphone: %+v", k)
	}
	// Another one meanwhile goes on without, and says so.
	if k := keeperFor(t, dir, "sing", me, mic); k.Record != nil || !strings.Contains(k.Trouble, "not being recorded: "+path+": another singback is recording into it; end the other one first.") {
		t.Errorf("a second one: %+v", k)
	}
	k.Close()
	if k := keeperFor(t, dir, "sing", me, mic); k.Record == nil || k.Trouble != "" {
		t.Errorf("sing where there is a record: %+v", k)
	}
	if k := keeperFor(t, dir, "sing", me, &drill.Simulated{}); k.Record != nil || !strings.HasPrefix(k.Trouble, "Not recorded: a simulated singer") {
		t.Errorf("sing with a simulated singer where there is a record: %+v", k)
	}
	if k := keeperFor(t, "", "today", me, mic); k.Record != nil || !strings.Contains(k.Trouble, "set XDG_DATA_HOME or HOME") {
		t.Errorf("no folder: %+v", k)
	}
}

// Every run of sing says at its end what was kept and what was not.
func TestTheEndSaysWhatWasNotKept(t *testing.T) {
	dir := t.TempDir()
	me := recordOptions{singer: "me"}
	if got := keeperFor(t, dir, "sing", me, mic).End(); !strings.HasPrefix(got, "Not recorded: there is no practice record yet") {
		t.Errorf("no record: %q", got)
	}
	if got := keeperFor(t, dir, "sing", recordOptions{none: true}, mic).End(); got != "Not recorded, as --no-record says." {
		t.Errorf("--no-record: %q", got)
	}
	// As part of the run: with the results where they are text, beside JSON.
	for format, wants := range map[string][2]bool{"text": {true, false}, "json": {false, true}} {
		for _, command := range []string{"sing", "series"} {
			stdout, stderr := call{data: dir}.must(t, command, "--input", "simulated", "--count", "1", "--format", format, "--no-record")
			const end = "Not recorded, as --no-record says.\n"
			if strings.HasSuffix(stdout, end) != wants[0] || strings.HasSuffix(stderr, end) != wants[1] {
				t.Errorf("%s --format %s: %q, %q", command, format, stdout, stderr)
			}
		}
	}
}
