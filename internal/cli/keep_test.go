package cli

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"singback/exercise"
	"singback/internal/session"
	"singback/internal/store"
	"singback/theory"
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

func keeperFor(t *testing.T, dir, command string, o recordOptions, answers session.Answers) *keeper {
	t.Helper()
	now := clock()
	e := &env{now: func() time.Time { return now }, getenv: func(name string) string {
		if name == "XDG_DATA_HOME" {
			return dir
		}
		return ""
	}}
	k := o.keeper(e, &performance{command: command, start: now}, &stage{answers: answers})
	t.Cleanup(func() { k.close() })
	return k
}

// What goes into the user's record: what the microphone heard, of today always,
// of sing where there is a record.
func TestWhatIsRecorded(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "singback", "record.db")
	me := recordOptions{singer: "me"}
	if k := keeperFor(t, dir, "sing", me, micAnswers{}); k.record != nil || k.trouble != "" {
		t.Errorf("sing without a record: %+v", k)
	}
	for _, answers := range []session.Answers{simulated{}, &fileAnswers{}} {
		if k := keeperFor(t, dir, "today", me, answers); k.record != nil || !strings.HasPrefix(k.trouble, "Not recorded: ") {
			t.Errorf("%T: %+v", answers, k)
		}
	}
	if k := keeperFor(t, dir, "today", recordOptions{singer: "me", none: true}, micAnswers{}); k.record != nil || k.trouble != "" {
		t.Errorf("--no-record: %+v", k)
	}
	if _, err := os.Stat(path); err == nil {
		t.Fatal("there is a record, and nothing was to be recorded")
	}
	k := keeperFor(t, dir, "today", me, micAnswers{})
	if k.record == nil || k.record.Path() != path || k.session.Source != "mic" {
		t.Fatalf("today with a microphone: %+v", k)
	}
	// Another one meanwhile goes on without, and says so.
	if k := keeperFor(t, dir, "sing", me, micAnswers{}); k.record != nil || !strings.Contains(k.trouble, "not being recorded: "+path+": another singback is recording into it; end the other one first.") {
		t.Errorf("a second one: %+v", k)
	}
	k.close()
	if k := keeperFor(t, dir, "sing", me, micAnswers{}); k.record == nil || k.trouble != "" {
		t.Errorf("sing where there is a record: %+v", k)
	}
	if k := keeperFor(t, dir, "sing", me, simulated{}); k.record != nil || !strings.HasPrefix(k.trouble, "Not recorded: a simulated singer") {
		t.Errorf("sing with a simulated singer where there is a record: %+v", k)
	}
	if k := keeperFor(t, "", "today", me, micAnswers{}); k.record != nil || !strings.Contains(k.trouble, "set XDG_DATA_HOME or HOME") {
		t.Errorf("no folder: %+v", k)
	}
}

// Every run of sing says at its end what was kept and what was not.
func TestTheEndSaysWhatWasNotKept(t *testing.T) {
	dir := t.TempDir()
	me := recordOptions{singer: "me"}
	judged := func(o exercise.Outcome) session.Judged {
		key, err := theory.ParseKey("C major")
		if err != nil {
			t.Fatal(err)
		}
		v := exercise.Verdict{Outcome: exercise.NotMeasured, Reason: exercise.TooQuiet}
		if o != exercise.NotMeasured {
			v = exercise.Verdict{Outcome: o, Sung: theory.Degree{Step: 6}, HasSung: true}
		}
		return session.Judged{Index: 1, Attempt: 1, Item: exercise.Item{Key: key, Tuning: theory.Tuning{A4: 440}, Asked: theory.Degree{Step: 6}},
			Tolerance: exercise.Tolerance{Cents: 35}, Verdict: v}
	}
	if got := keeperFor(t, dir, "sing", me, micAnswers{}).end(); !strings.HasPrefix(got, "Not recorded: there is no practice record yet") {
		t.Errorf("no record: %q", got)
	}
	if got := keeperFor(t, dir, "sing", recordOptions{none: true}, micAnswers{}).end(); got != "Not recorded, as --no-record says." {
		t.Errorf("--no-record: %q", got)
	}
	k := keeperFor(t, dir, "today", me, micAnswers{})
	k.keep(judged(exercise.InTune), func(session.Event) {})
	k.keep(judged(exercise.NotMeasured), func(session.Event) {})
	path := k.record.Path()
	if got, want := k.end(), "2 answers recorded in "+path+"; 1 not measured and not counted."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	k = keeperFor(t, dir, "sing", me, micAnswers{})
	k.keep(judged(exercise.InTune), func(session.Event) {})
	if err := k.record.Close(); err != nil { // nothing can be written any more
		t.Fatal(err)
	}
	k.keep(judged(exercise.InTune), func(session.Event) {})
	if got, want := k.end(), "1 of 2 answers could not be recorded in "+path+", and are lost: "; !strings.HasPrefix(got, want) {
		t.Errorf("%q, want %q", got, want)
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

// What cannot be written is told once, kept, and written as soon as it can be.
func TestKeeperGoesOn(t *testing.T) {
	dir := t.TempDir()
	k := keeperFor(t, dir, "today", recordOptions{singer: "me"}, micAnswers{})
	key, err := theory.ParseKey("C major")
	if err != nil {
		t.Fatal(err)
	}
	var notices []string
	emit := func(e session.Event) { notices = append(notices, e.(session.Notice).Text) }
	keep := func(index int) {
		k.keep(session.Judged{
			Index: index, Attempt: 1, Counts: true, Tolerance: exercise.Tolerance{Cents: 35},
			Item:    exercise.Item{Key: key, Tuning: theory.Tuning{A4: 440}, Asked: theory.Degree{Step: 6}},
			Verdict: exercise.Verdict{Outcome: exercise.InTune, Sung: theory.Degree{Step: 6}, HasSung: true},
		}, emit)
	}
	keep(1)
	// The record is closed under the keeper: nothing can be written any more.
	working, err := k.record, errors.Join(k.record.Close())
	if err != nil {
		t.Fatal(err)
	}
	keep(2)
	keep(3)
	if len(notices) != 1 || !strings.HasPrefix(notices[0], "This session is not being recorded: ") {
		t.Errorf("notices %q, want one", notices)
	}
	if k.record, err = store.OpenRecord(working.Path(), time.Time{}); err != nil {
		t.Fatal(err)
	}
	k.session = store.NewSession("me", "today", "mic", 1, "pitch 1", k.drill.start)
	for i := range k.waiting {
		k.waiting[i].Session = k.session
	}
	// At the end what waits is tried once more.
	if k.write() != nil || len(k.waiting) > 0 || k.kept != 3 {
		t.Errorf("%d wait, %d kept, want none and 3", len(k.waiting), k.kept)
	}
	k.failing = true
	keep(4)
	if len(notices) != 2 || notices[1] != "Recording again: nothing was lost." {
		t.Errorf("notices %q", notices)
	}
	if got := k.end(); got != "4 answers recorded in "+working.Path()+"." {
		t.Errorf("at the end: %q", got)
	}
	r, err := store.ReadRecord(working.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var order []int
	for a, err := range r.Answers(t.Context(), store.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		order = append(order, a.Index)
	}
	slices.Sort(order)
	if !slices.Equal(order, []int{1, 2, 3, 4}) {
		t.Errorf("answers %v are kept, want 1 to 4", order)
	}
}

// What could be written at the end is written then, and what could not is told.
func TestKeeperAtTheEnd(t *testing.T) {
	for _, there := range []bool{true, false} {
		k := keeperFor(t, t.TempDir(), "today", recordOptions{singer: "me"}, micAnswers{})
		key, err := theory.ParseKey("C major")
		if err != nil {
			t.Fatal(err)
		}
		working, path := k.record, k.record.Path()
		if err := working.Close(); err != nil {
			t.Fatal(err)
		}
		k.keep(session.Judged{
			Index: 1, Attempt: 1, Counts: true, Tolerance: exercise.Tolerance{Cents: 35},
			Item:    exercise.Item{Key: key, Tuning: theory.Tuning{A4: 440}, Asked: theory.Degree{Step: 6}},
			Verdict: exercise.Verdict{Outcome: exercise.InTune, Sung: theory.Degree{Step: 6}, HasSung: true},
		}, func(session.Event) {})
		want := "1 of 1 answers could not be recorded: " + path + ": "
		if there {
			if k.record, err = store.OpenRecord(path, time.Time{}); err != nil {
				t.Fatal(err)
			}
			want = "1 answer recorded in " + path + "."
		}
		if got := k.end(); !strings.HasPrefix(got, want) {
			t.Errorf("at the end: %q, want %q", got, want)
		}
	}
}
