package cli

import (
	"bufio"
	"encoding/json"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"singback/exercise"
	"singback/internal/course"
	"singback/internal/store"
)

// jsonLines reads the events of a run.
func jsonLines(t *testing.T, out string) []map[string]any {
	t.Helper()
	var events []map[string]any
	for line := range strings.Lines(out) {
		var e map[string]any
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		events = append(events, e)
	}
	return events
}

// Every verdict that was printed is in the record, with the same numbers, and the
// same seed on the same record gives the same bytes.
func TestTodayRecordsWhatItSays(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	args := []string{"today", "--input", "simulated", "--minutes", "2", "--seed", "9", "--format", "json", "--record", path}
	out, _ := call{}.must(t, args...)
	r, err := store.ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var kept []store.Answer
	for a, err := range r.Answers(t.Context(), store.Query{Singer: "me"}) {
		if err != nil {
			t.Fatal(err)
		}
		kept = append(kept, a)
	}
	n := 0
	for _, e := range jsonLines(t, out) {
		if e["event"] != "verdict" {
			continue
		}
		a := kept[n]
		n++
		if float64(a.Index) != e["index"] || a.Verdict.Outcome.String() != e["outcome"] || a.Feedback.String() != e["feedback"] || a.Item.Key.ASCII() != e["key"] {
			t.Fatalf("answer %d is kept as %+v and was told as %v", n, a, e)
		}
	}
	if n == 0 || n != len(kept) {
		t.Errorf("%d verdicts, %d answers kept", n, len(kept))
	}
	if s := kept[0].Session; s.Command != "today" || s.Source != "simulated" || s.Seed != 9 || s.Estimator == "" || s.Started.Format("2006-01-02T15:04") != "2026-11-25T19:30" {
		t.Errorf("session %+v", s)
	}
	again := append(append([]string{}, args[:len(args)-1]...), filepath.Join(t.TempDir(), "record.db"))
	if other, _ := (call{}).must(t, again...); strings.ReplaceAll(other, again[len(again)-1], path) != out {
		t.Error("the same seed gives another run")
	}
}

// Feedback fades and can be switched off.
func TestTodayFeedback(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	seen := map[any]int{}
	hidden := 0
	for _, day := range []string{"2026-11-25", "2026-11-26", "2026-11-27", "2026-11-28"} {
		out, _ := call{}.must(t, "today", "--input", "simulated", "--minutes", "3", "--format", "json", "--record", path, "--date", day)
		for _, e := range jsonLines(t, out) {
			if e["event"] == "verdict" {
				seen[e["feedback"]]++
				if e["hidden"] == true {
					hidden++
				}
			}
		}
	}
	if seen["full"] == 0 || seen["second_shown"] == 0 || seen["second_hidden"] == 0 || hidden == 0 {
		t.Errorf("feedback of four days: %v, %d hidden", seen, hidden)
	}
	for choice, want := range map[string]string{"full": "full", "none": "blind"} {
		out, _ := call{}.must(t, "today", "--input", "simulated", "--minutes", "1", "--format", "json", "--record", path, "--date", "2026-11-29", "--feedback", choice)
		for _, e := range jsonLines(t, out) {
			if e["event"] == "verdict" && e["feedback"] != want {
				t.Errorf("--feedback %s: %v", choice, e["feedback"])
			}
		}
	}
	out, _ := call{}.must(t, "today", "--input", "simulated", "--minutes", "1", "--record", path, "--date", "2026-11-30", "--feedback", "none")
	if strings.Contains(out, "in tune") || !strings.Contains(out, "1  noted; told at the end\n") || !regexp.MustCompile(`(?m)^degree +right`).MatchString(out) {
		t.Errorf("blind: the verdicts are told before the end:\n%s", out)
	}
}

// The program is killed while it practises, at random moments. Whatever it had
// printed is in the record.
func TestTodayKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	rng := rand.New(rand.NewPCG(7, 8))
	told := 0
	for range 5 {
		cmd := exec.CommandContext(t.Context(), "singback", "today", "--input", "simulated", "--minutes", "30", "--format", "json", "--record", path)
		cmd.Env = append(os.Environ(), noDevices(t.TempDir())...)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for stop := 1 + rng.IntN(30); stop > 0 && lines.Scan(); stop-- {
			told += strings.Count(lines.Text(), `"event":"verdict"`)
		}
		cmd.Process.Kill()
		for lines.Scan() {
			if json.Valid(lines.Bytes()) {
				told += strings.Count(lines.Text(), `"event":"verdict"`)
			}
		}
		cmd.Wait()
	}
	r, err := store.ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	c, err := r.Check(t.Context())
	if err != nil || len(c.Problems) > 0 || c.Answers < told || c.Answers > told+5 || told == 0 {
		t.Errorf("%d verdicts were told; the record: %+v, %v", told, c, err)
	}
}

// The minutes of today's practice pass while it goes on, and not while the singer
// rests.
func TestTodayWaitsForTheRested(t *testing.T) {
	began := time.Date(2026, 11, 25, 19, 30, 0, 0, time.UTC)
	for paused, want := range map[time.Duration]bool{0: false, 20 * time.Minute: true} {
		c := course.BuiltIn()
		sitting, err := exercise.NewSitting(&exercise.Practice{}, c, exercise.SittingOptions{Start: began, Minutes: 5, Sung: exercise.DefaultSung, Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		m := music{cmd: newToday(&env{})}
		r := &todayRun{
			drill: &performance{paused: paused}, sitting: sitting, music: &m,
			began: began, clock: func() time.Time { return began },
		}
		if _, ok := r.next(0); !ok {
			t.Fatal("no first question")
		}
		r.clock = func() time.Time { return began.Add(22 * time.Minute) }
		if _, ok := r.next(120); ok != want || r.err != nil {
			t.Errorf("after 22 minutes, %v of them of rest: a question %v, want %v; %v", paused, ok, want, r.err)
		}
	}
}
