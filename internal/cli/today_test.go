package cli

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/report"
	"singback/internal/store"
	"singback/internal/tui"
	"singback/theory"
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
	t.Parallel()
	path := filepath.Join(t.TempDir(), "record.db")
	args := []string{"today", "--input", "simulated", "--minutes", "1", "--seed", "9", "--format", "json", "--record", path}
	out, _ := call{}.must(t, args...)
	r, err := store.ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var kept []practice.Answer
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
	if s := kept[0].Session; s.Command != "today" || s.Source != "simulated" || s.Seed != 9 || s.Estimator == "" || !s.Started.Equal(clock()) {
		t.Errorf("session %+v", s)
	}
	again := append(append([]string{}, args[:len(args)-1]...), filepath.Join(t.TempDir(), "record.db"))
	if other, _ := (call{}).must(t, again...); strings.ReplaceAll(other, again[len(again)-1], path) != out {
		t.Error("the same seed gives another run")
	}
}

// allKinds is a course that asks for everything from the first day on.
const allKinds = `
new = 20
minutes = 4
[[stage]]
keys = ["C major", "F minor"]
degrees = "do sol"
among = "do sol"
moves = "triad"
series = ["do sol do"]
melodies = [1, 3]
bass = "do fa sol"
qualities = "maj min 7"
goal = { right = 100, days = 9 }
`

// A melody and a name are kept as a degree is: each that is told is in the record
// before, once, with what it was, and is read back as it was written.
func TestTodayOfAllKinds(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path, file := filepath.Join(dir, "record.db"), filepath.Join(dir, "all.toml")
	if err := os.WriteFile(file, []byte(allKinds), 0o600); err != nil {
		t.Fatal(err)
	}
	seen := map[exercise.Kind]int{}
	told, series := 0, 0
	for _, day := range []string{"2026-11-25", "2026-11-26"} {
		out, _ := call{}.must(t, "today", "--course", file, "--input", "simulated", "--seed", "4", "--format", "json", "--record", path, "--date", day)
		kept := map[float64][]practice.Answer{}
		r, err := store.ReadRecord(path)
		if err != nil {
			t.Fatal(err)
		}
		for a, err := range r.Answers(t.Context(), store.Query{}) {
			if err != nil {
				t.Fatal(err)
			}
			if a.Session.Started.Format(time.DateOnly) == day {
				kept[float64(a.Index)] = append(kept[float64(a.Index)], a)
				seen[a.Skill.Kind]++
			}
		}
		r.Close()
		parts := 0
		for _, e := range jsonLines(t, out) {
			index, _ := e["index"].(float64)
			switch e["event"] {
			case "prompt":
				if e["parts"] != nil {
					parts++
				}
				if e["part"] != nil && e["part"] == e["parts"] {
					series++
				}
			case "verdict":
				told++
				if a := kept[index]; len(a) != 1 || a[0].Verdict.Outcome.String() != e["outcome"] {
					t.Errorf("%s, question %g is kept as %+v", day, index, a)
				}
			case "named":
				right, named := e["right"].([]any), e["named"].([]any)
				told += len(right)
				if len(kept[index]) != len(right) {
					t.Fatalf("%s, question %g: %d answers kept, %d named", day, index, len(kept[index]), len(right))
				}
				for i, a := range kept[index] {
					if a.Verdict.Outcome.IsRight() != right[i].(bool) || a.Named != named[i] || a.Material != e["chords"] || a.Again != e["again"].(bool) || !a.Counts {
						t.Errorf("%s, question %g is kept as %+v and told as %v", day, index, a, e)
					}
				}
			case "sung":
				told++
				grade := e["grade"].(map[string]any)
				if a := kept[index]; len(a) != 1 || float64(a[0].NotesRight) != grade["notes_right"] || float64(a[0].Notes) != grade["notes_written"] || !strings.HasPrefix(a[0].Material, "level ") {
					t.Errorf("%s, question %g is kept as %+v", day, index, a)
				}
			}
		}
		if parts%3 != 0 {
			t.Errorf("%s: %d parts of series of three", day, parts)
		}
	}
	if series == 0 {
		t.Error("no series was sung")
	}
	for _, k := range []exercise.Kind{exercise.DegreeSkill, exercise.PairSkill, exercise.BassSkill, exercise.QualitySkill, exercise.MelodySkill} {
		if seen[k] == 0 {
			t.Errorf("no answer to a %v: %v", k, seen)
		}
	}
	out, _ := call{}.must(t, "record", "check", "--record", path, "--format", "json")
	if !strings.Contains(out, fmt.Sprintf(`"answers":%d,`, told)) || !strings.Contains(out, `"problems":[]`) {
		t.Errorf("%d told; %s", told, out)
	}
	csv, _ := call{}.must(t, "record", "export", "--record", path)
	copied := filepath.Join(dir, "copy.db")
	call{stdin: strings.NewReader(csv)}.must(t, "record", "import", "-", "--record", copied)
	if again, _ := (call{}).must(t, "record", "export", "--record", copied); again != csv {
		t.Error("the export of what was imported is another one")
	}
	text, _ := call{}.must(t, "progress", "--record", path)
	for _, want := range []string{"bass degrees named right.", "chord qualities named right.", "melodies passed.", "\nfa ", "\nmin "} {
		if !strings.Contains(text, want) {
			t.Errorf("progress does not say %q:\n%s", want, text)
		}
	}
}

// A voice of six semitones is asked for melodies where it can sing them, else where
// they are; nothing ends the practice.
func TestTodayOfANarrowVoice(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "melodies.toml")
	if err := os.WriteFile(file, []byte("new = 9\n[[stage]]\nkeys = [\"Ab major\"]\ndegrees = \"do\"\nmelodies = [3, 7]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	call{data: dir}.must(t, "profile", "set", "--range", "C3-F3")
	out, _ := call{data: dir}.must(t, "today", "--course", file, "--input", "simulated", "--minutes", "3", "--seed", "1")
	if !strings.Contains(out, " melodies passed.") {
		t.Errorf("no melody was sung:\n%s", out)
	}
}

// A melody whose staff finds no room on the screen is written as tonic sol-fa, or
// as ABC.
func TestStaffOfALowScreen(t *testing.T) {
	k, err := theory.ParseKey("Ab major")
	if err != nil {
		t.Fatal(err)
	}
	for level := 1; level <= compose.Levels; level++ {
		melodies, err := compose.NewMelodies(compose.MelodyOrder{Level: level, Key: &k, Count: 20, Seed: 5})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range melodies {
			style := report.Style{ASCII: true}
			whole := tui.Rows(tui.DrawStaff(m.Score, "", style, true, 74))
			rows := tui.FitStaff(style, m.Score, whole, 74, 19)
			solfa := strings.HasPrefix(rows[0], "(a window of ")
			if len(rows) > 19 || solfa == (len(whole) <= 19) {
				t.Errorf("level %d: %d rows of %d", level, len(rows), len(whole))
			}
			if solfa && (!strings.Contains(rows[0], fmt.Sprint(len(whole)+tui.StaffRoom)) || !strings.HasSuffix(rows[len(rows)-1], "||") && !strings.HasSuffix(rows[len(rows)-1], "|]")) {
				t.Errorf("level %d: %q", level, rows)
			}
			for _, row := range rows {
				if utf8.RuneCountInString(row) > 74 {
					t.Errorf("level %d: %d columns: %s", level, utf8.RuneCountInString(row), row)
				}
			}
		}
	}
}

// A damaged record is not practised into; what can be read of it begins a new one.
func TestDamagedRecordIsSaved(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record.db")
	call{}.must(t, "dictation", "--input", "simulated", "--count", "10", "--seed", "1", "--record", path)
	singing(t, path, "me", lateEvening, 290)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	for i := range page {
		data[len(data)-3*page+i] = byte(i * 7)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	out, stderr, status := call{}.run(t, "record", "check", "--record", path)
	if status != 1 || !strings.Contains(out, ": damaged; ") || !strings.Contains(stderr, "record export --damaged") {
		t.Fatalf("status %d\n%s%s", status, out, stderr)
	}
	if _, stderr, status := (call{}).run(t, "record", "export", "--record", path); status != 1 || !strings.Contains(stderr, "--damaged") {
		t.Errorf("status %d\n%s", status, stderr)
	}
	saved, stderr, status := call{}.run(t, "record", "export", "--damaged", "--record", path)
	rows := strings.Count(saved, "\n") - 1
	if status != 1 || rows < 150 || rows >= 300 || !strings.Contains(stderr, fmt.Sprintf("%d answers can be read", rows)) {
		t.Errorf("%d rows, status %d\n%s", rows, status, stderr)
	}
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, data) {
		t.Errorf("the damaged file was changed: %v", err)
	}
	done, _ := call{stdin: strings.NewReader(saved)}.must(t, "record", "import", "-", "--record", filepath.Join(dir, "new.db"))
	if !strings.Contains(done, fmt.Sprintf("%d added", rows)) {
		t.Errorf("%d saved: %s", rows, done)
	}
}

// Feedback fades and can be switched off.
func TestTodayFeedback(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "record.db")
	seen := map[any]int{}
	hidden := 0
	days := []string{"2026-11-25", "2026-11-26", "2026-11-27", "2026-11-28"}
	if raceDetector {
		days = days[:3]
	}
	for _, day := range days {
		out, _ := call{}.must(t, "today", "--input", "simulated", "--minutes", "2", "--format", "json", "--record", path, "--date", day)
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
	if strings.Contains(out, ", right (") || !strings.Contains(out, "1  noted; told at the end\n") || !regexp.MustCompile(`(?m)^degree +right`).MatchString(out) {
		t.Errorf("blind: the verdicts are told before the end:\n%s", out)
	}
}

// Nothing is held back on the first two days of a thing, so nothing on the first
// two of a singer.
func TestTodayTellsAllAtFirst(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "record.db")
	evening := call{now: readmeDay} // none of the sittings goes on over midnight
	for _, day := range []string{"2026-11-25", "2026-11-25", "2026-11-26"} {
		out, _ := evening.must(t, "today", "--input", "simulated", "--minutes", "2", "--seed", "3", "--format", "json", "--record", path, "--date", day)
		n := 0
		events := jsonLines(t, out)
		for _, e := range events {
			if e["event"] == "verdict" {
				n++
				if e["hidden"] == true {
					t.Errorf("%s: question %v was only noted", day, e["index"])
				}
			}
		}
		if last := events[len(events)-1]; n < 10 || last["noted"] != 0.0 || len(last["missed"].([]any)) != 0 {
			t.Errorf("%s: %d verdicts, %v", day, n, last)
		}
	}
}

// What was only noted and not right is listed at the end, all of it and nothing
// else, in the events as in the text.
func TestTodayListsWhatWasMissed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "all.toml")
	if err := os.WriteFile(file, []byte(allKinds), 0o600); err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	for seed := range 2 {
		args := []string{"today", "--input", "simulated", "--minutes", "3", "--seed", fmt.Sprint(seed), "--course", file, "--feedback", "none", "--record"}
		out, _ := call{}.must(t, append(args, filepath.Join(dir, fmt.Sprint("a", seed)), "--format", "json")...)
		var want []string
		noted := 0
		events := jsonLines(t, out)
		for _, e := range events {
			index := fmt.Sprint(e["index"])
			switch {
			case e["event"] == "verdict" && e["counts"] == true:
				if noted++; e["outcome"] != "in_tune" {
					sung := e["sung"].(map[string]any)
					want = append(want, fmt.Sprint(index, " ", e["outcome"], " ", e["asked"].(map[string]any)["degree"], " ", sung["degree"], " ", e["cents"], " ", nil))
				}
			case e["event"] == "named":
				for i, right := range e["right"].([]any) {
					if noted++; right == false {
						named := e["named"].([]any)
						want = append(want, fmt.Sprint(index, " wrong ", e["asked"].([]any)[i], " ", nil, " ", nil, " ", named[i]))
					}
				}
			case e["event"] == "sung" && e["heard"] == true:
				noted++
				grade := e["grade"].(map[string]any)
				if right, of := grade["notes_right"].(float64), grade["notes_written"].(float64); right < practice.LineShare*of {
					want = append(want, fmt.Sprint(index, " wrong line ", right, " of ", of))
				}
			}
		}
		last := events[len(events)-1]
		var got []string
		for _, m := range last["missed"].([]any) {
			m := m.(map[string]any)
			index := fmt.Sprint(m["index"])
			kind, _, _ := strings.Cut(m["skill"].(string), " ")
			kinds[kind]++
			if kind == "melody" {
				got = append(got, fmt.Sprint(index, " ", m["outcome"], " line ", m["notes_right"], " of ", m["notes"]))
				continue
			}
			got = append(got, fmt.Sprint(index, " ", m["outcome"], " ", m["asked"], " ", m["sung"], " ", m["cents"], " ", m["named"]))
		}
		if last["noted"] != float64(noted) || !slices.Equal(got, want) {
			t.Errorf("seed %d: %v noted, missed %q; want %d, %q", seed, last["noted"], got, noted, want)
		}
		text, _ := call{}.must(t, append(args, filepath.Join(dir, fmt.Sprint("b", seed)))...)
		_, list, ok := strings.Cut(text, "question  asked ")
		list, _, _ = strings.Cut(list, "\n\n")
		rows := strings.Split(list, "\n")[1:]
		if !ok || len(rows) != len(want) || !strings.Contains(text, fmt.Sprintf("Of %d that were only noted %d ", noted, len(want))) {
			t.Errorf("seed %d: %d rows, want %d:\n%s", seed, len(rows), len(want), text)
			continue
		}
		for i, row := range rows {
			if index, _, _ := strings.Cut(want[i], " "); !strings.HasPrefix(row, index+" ") {
				t.Errorf("seed %d: row %q, want one of question %s", seed, row, index)
			}
		}
	}
	t.Log(kinds)
	for _, kind := range []string{"pair", "bass"} {
		if kinds[kind] == 0 {
			t.Errorf("nothing of the kind %s was missed: the test shows nothing of it", kind)
		}
	}
}

// today, progress and course show say the stage alike.
func TestStageIsSaidAlike(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "record.db")
	c, now := course.BuiltIn(), clock()
	r, err := store.OpenRecord(path, now)
	if err != nil {
		t.Fatal(err)
	}
	// Ten days ago the first stage was learnt; on the last day mi was lost.
	mi := c.Stages[0].Skills[1]
	n := 0
	for day, right := range []bool{true, true, false} {
		at := now.AddDate(0, 0, day-10)
		s := store.NewSession("me", "today", "mic", 1, "pitch 1", at)
		for i, skill := range []exercise.Skill{c.Stages[0].Skills[0], mi, c.Stages[0].Skills[2], mi, mi, mi, mi, mi} {
			it, _ := skill.Ask(exercise.Item{Key: c.Stages[0].Keys[day], Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(c.Stages[0].Keys[day])})
			v := exercise.Verdict{Outcome: exercise.InTune, HasSung: true, Sung: it.Asked, F0: 261, Held: 2, Answer: 1, Level: -20}
			if !right && skill == mi {
				v.Outcome, v.Sung = exercise.OtherDegree, theory.Degree{Step: 4}
			}
			for again := range 2 {
				n++
				if err := r.Add(practice.Answer{Session: s, Number: 1, At: at.Add(time.Duration(n) * time.Second), Index: 2*i + again + 1, Attempt: 1, Counts: true,
					Skill: skill, Item: it, Tolerance: exercise.Tolerance{Cents: 50}, Verdict: v}); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		out, _ := call{}.must(t, "today", "--input", "simulated", "--minutes", "1", "--seed", "3", "--record", path)
		said := regexp.MustCompile(`(?m)^(Stage .*\.) New today: \d+\.\n((?:In review, .*\n)*)`).FindStringSubmatch(out)
		if said == nil || !strings.HasPrefix(said[1], "Stage 2 of 11: from one to another in the tonic triad") || !strings.HasPrefix(said[2], "In review, from stage 1: ") {
			t.Fatalf("today says %q in\n%s", said, out)
		}
		for _, args := range [][]string{{"progress"}, {"progress", "--since", now.AddDate(0, 0, -9).Format(time.DateOnly)}, {"course", "show"}} {
			if out, _ := (call{}).must(t, append(args, "--record", path)...); !strings.Contains(out, "\n"+said[1]+"\n"+said[2]) {
				t.Errorf("%v: want %q in\n%s", args, said[1:], out)
			}
		}
		out, _ = call{}.must(t, "today", "--input", "simulated", "--minutes", "1", "--seed", "4", "--record", path, "--format", "json")
		events := jsonLines(t, out)
		last := events[len(events)-1]
		for field, args := range map[string][]string{"course": {"progress"}, "standing": {"course", "show"}} {
			out, _ := call{}.must(t, append(args, "--record", path, "--format", "json")...)
			at := jsonLines(t, out)[0][field].(map[string]any)
			if fmt.Sprint(at["course"], at["stage"], at["stages"], at["review"]) != fmt.Sprint(last["course"], last["stage"], last["stages"], last["review"]) {
				t.Errorf("%v: %v; today: %v", args, at, last)
			}
		}
	}
	// Nobody stands anywhere without a sitting.
	if out, _ := (call{}).must(t, "course", "show", "--record", path, "--singer", "Zoe"); strings.Contains(out, "Stage ") {
		t.Errorf("a stage of somebody unknown:\n%s", out)
	}
}

// The program is killed while it practises, at random moments. Whatever it had
// printed is in the record.
func TestTodayKilled(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path, file := filepath.Join(dir, "record.db"), filepath.Join(dir, "all.toml")
	if err := os.WriteFile(file, []byte(allKinds), 0o600); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(7, 8))
	told := 0
	count := func(line string) {
		told += strings.Count(line, `"event":"verdict"`) + strings.Count(line, `"event":"sung"`)
		if _, rest, ok := strings.Cut(line, `"right":[`); ok && strings.Contains(line, `"event":"named"`) {
			list, _, _ := strings.Cut(rest, "]")
			told += 1 + strings.Count(list, ",")
		}
	}
	for range 5 {
		cmd := exec.CommandContext(t.Context(), "singback", "today", "--course", file, "--input", "simulated", "--minutes", "30", "--format", "json", "--record", path)
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
			count(lines.Text())
		}
		cmd.Process.Kill()
		for lines.Scan() {
			if json.Valid(lines.Bytes()) {
				count(lines.Text())
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
	if err != nil || len(c.Problems) > 0 || c.Answers < told || c.Answers > told+20 || told == 0 {
		t.Errorf("%d verdicts were told; the record: %+v, %v", told, c, err)
	}
}
