package store

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/pitch"
	"singback/theory"
)

var evening = time.Date(2026, 11, 25, 19, 30, 0, 250e6, time.FixedZone("", 3600))

func open(t testing.TB, path string) *Record {
	t.Helper()
	r, err := OpenRecord(path, evening)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

// answers makes n different answers of a session, with everything that they may
// hold in some of them. The singer is invented.
func answers(s practice.Session, n int) []practice.Answer {
	rng := rand.New(rand.NewPCG(1, 2))
	keys := theory.Keys()
	tunings := []theory.Tuning{{A4: 440}, {A4: 442, System: theory.Just, SmallRe: true}, {A4: 415.3, System: theory.Pythagorean}}
	var out []practice.Answer
	for i := range n {
		k := keys[rng.IntN(len(keys))]
		degrees := k.ChromaticDegrees()
		it := exercise.Item{Key: k, Tuning: tunings[rng.IntN(3)], Register: exercise.MiddleRegister(k), Asked: degrees[rng.IntN(12)]}
		if rng.IntN(3) > 0 {
			from := degrees[rng.IntN(12)]
			it.From, it.Move = &from, exercise.Direction(rng.IntN(3)-1)
		}
		if rng.IntN(2) > 0 {
			it.Register = exercise.RegisterFor(k, theory.Range{Low: 45, High: 62})
		}
		v := exercise.Verdict{Outcome: exercise.Outcome(rng.IntN(7)), Level: -20 - 10*rng.Float64()}
		if v.Outcome == exercise.NotMeasured {
			v.Reason = exercise.Reason(1 + rng.IntN(5))
		} else {
			v.F0, v.SE, v.Spread, v.FromAsked = 200+rng.Float64(), rng.Float64(), 9*rng.Float64(), 100*rng.Float64()-50
			v.Held, v.Settle, v.Answer, v.Scoop = 2*rng.Float64(), rng.Float64(), 3*rng.Float64(), -60*rng.Float64()
			if rng.IntN(2) > 0 {
				v.VibratoHz, v.VibratoCents = 5.5, 40*rng.Float64()
			}
			v.BySteps = rng.IntN(3) == 0
			if v.Outcome != exercise.Unsteady {
				v.HasSung, v.Sung, v.OctaveShift, v.Cents = true, degrees[rng.IntN(12)], rng.IntN(3)-1, v.FromAsked/3
			}
		}
		if i%7 == 3 {
			out = append(out, otherAnswer(s, i, it, rng))
			continue
		}
		a := practice.Answer{
			Session: s, Number: i + 1, Index: i + 1, Attempt: 1 + rng.IntN(2), At: s.Started.Add(time.Duration(i+1) * 10 * time.Second),
			Skill: it.Skill(), Item: it, Tolerance: exercise.Tolerance{Cents: 35, StrictOctave: rng.IntN(2) > 0}, Verdict: v,
			Counts: v.Counts(), Again: rng.IntN(4) == 0, Feedback: practice.Feedback(rng.IntN(5)),
		}
		if rng.IntN(4) == 0 {
			a.Guess = []exercise.Outcome{exercise.InTune, exercise.Flat, exercise.Sharp}[rng.IntN(3)]
		}
		out = append(out, a)
	}
	return out
}

// otherAnswer makes an answer that is no single sung degree.
func otherAnswer(s practice.Session, i int, it exercise.Item, rng *rand.Rand) practice.Answer {
	it.From, it.Move = nil, exercise.Within
	a := practice.Answer{
		Session: s, Number: i + 1, Index: i + 1, Attempt: 1, At: s.Started.Add(time.Duration(i+1) * 10 * time.Second),
		Item: it, Tolerance: exercise.Tolerance{Cents: 35}, Counts: true, Again: rng.IntN(4) == 0, Feedback: practice.Feedback(rng.IntN(5)),
		Material: "I V6/5 I",
	}
	name := func(asked, other string) {
		a.Verdict = exercise.Verdict{Outcome: exercise.RightAnswer, Answer: 5 * rng.Float64()}
		a.Named = asked
		switch rng.IntN(3) {
		case 0:
			a.Verdict.Outcome, a.Named = exercise.WrongAnswer, other
		case 1:
			a.Verdict.Outcome, a.Named = exercise.WrongAnswer, ""
		}
	}
	switch rng.IntN(3) {
	case 0:
		a.Skill = exercise.Skill{Kind: exercise.BassSkill, Degree: it.Asked}
		name(it.Asked.ASCII(), map[bool]string{true: "5", false: "1"}[it.Asked.Semitones() == 0])
	case 1:
		a.Skill = exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}
		name("m7b5", "maj")
	case 2:
		a.Skill = exercise.Skill{Kind: exercise.MelodySkill, Level: 1 + rng.IntN(7)}
		a.Material, a.Notes, a.NotesRight = "level 3 seed 4711", 12, rng.IntN(13)
		a.Verdict = exercise.Verdict{Outcome: practice.LineOutcome(a.NotesRight, a.Notes), Held: 9 * rng.Float64(), Level: -20}
	}
	return a
}

func session(singer string) practice.Session {
	return NewSession(singer, "today", "mic", 18446744073709551615, pitch.Version, evening)
}

func fill(t testing.TB, r *Record, list []practice.Answer) {
	t.Helper()
	for _, a := range list {
		if err := r.Add(a); err != nil {
			t.Fatal(err)
		}
	}
}

func all(t testing.TB, r *Record, q Query) []practice.Answer {
	t.Helper()
	var out []practice.Answer
	for a, err := range r.Answers(t.Context(), q) {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, a)
	}
	return out
}

// equal compares answers; times are compared as instants with their offset.
func equal(t testing.TB, got, want []practice.Answer) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d answers, want %d", len(got), len(want))
	}
	for i := range got {
		g, w := got[i], want[i]
		if g.At.Format(time.RFC3339Nano) != w.At.Format(time.RFC3339Nano) || g.Session.Started.Format(time.RFC3339Nano) != w.Session.Started.Format(time.RFC3339Nano) {
			t.Fatalf("answer %d at %v in a session of %v, want %v, %v", i, g.At, g.Session.Started, w.At, w.Session.Started)
		}
		g.At, g.Session.Started = w.At, w.Session.Started
		if !reflect.DeepEqual(g, w) {
			t.Fatalf("answer %d:\n got %+v\nwant %+v", i, g, w)
		}
	}
}

// Everything that was added comes back, to the last bit, after the file has been
// closed, by singer.
func TestRecordKeepsEverything(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a folder", "50% ?#.db")
	anna, ben := answers(session("Anna"), 300), answers(session("Ben"), 5)
	r := open(t, path)
	fill(t, r, anna)
	fill(t, r, ben)
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if r, err := ReadRecord(path); err != nil {
		t.Fatal(err)
	} else {
		defer r.Close()
		equal(t, all(t, r, Query{}), append(append([]practice.Answer{}, anna...), ben...))
		equal(t, all(t, r, Query{Singer: "Anna"}), anna)
		equal(t, all(t, r, Query{Singer: "nobody"}), nil)
		equal(t, all(t, r, Query{Singer: "Anna", Since: anna[200].At}), anna[200:])
		var counted []practice.Answer
		for _, a := range anna {
			if a.Counts {
				counted = append(counted, a)
			}
		}
		equal(t, all(t, r, Query{Singer: "Anna", Counted: true}), counted)
		if err := r.Add(anna[0]); err == nil {
			t.Error("a record opened for reading took an answer")
		}
	}
	r = open(t, path)
	p, skipped, err := r.Practice(t.Context(), "Anna")
	if err != nil || skipped != 0 {
		t.Fatalf("%d skipped, %v", skipped, err)
	}
	var want practice.Practice
	for _, a := range anna {
		if tr, ok := a.Trial(); ok {
			want.Add(tr)
		}
	}
	n := 0
	want.Skills(func(s exercise.Skill, m practice.Memory) {
		got, _ := p.Memory(s)
		if got.Answers != m.Answers || got.Right != m.Right || !got.Due.Equal(m.Due) {
			t.Errorf("practice knows of %v: %d answers, %d right; want %d, %d", s, got.Answers, got.Right, m.Answers, m.Right)
		}
		n += m.Answers
	})
	if n < 150 {
		t.Errorf("only %d answers", n)
	}
	c, err := r.Check(t.Context())
	if err != nil || len(c.Problems) > 0 || c.Answers != 305 || c.Sessions != 2 || len(c.Singers) != 2 || c.Version != len(migrations) {
		t.Errorf("check: %+v, %v", c, err)
	}
	if s := c.Singers[0]; s.Name != "Anna" || !s.First.Equal(anna[0].At) || !s.Last.Equal(anna[299].At) {
		t.Errorf("Anna: %+v", s)
	}
}

// drill is what TestKilled kills: it records an answer, shows it, and goes on.
func drill(path string) {
	r, err := OpenRecord(path, evening)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	fmt.Println("open")
	s := NewSession("Anna", "today", "simulated", 1, pitch.Version, evening)
	for i, a := range answers(s, 5_000) {
		if err := r.Add(a); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Println("shown", s.ID, i+1)
	}
}

// A process that records is killed at random moments, thirty times into one
// file. Whatever it had shown is there, and the file is sound.
func TestKilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	rng := rand.New(rand.NewPCG(3, 4))
	shown := map[string]int{}
	early := 0
	for kill := range 30 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "SINGBACK_TEST_DRILL="+path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		cmd.Stderr = os.Stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// After so many lines the parent kills, while the child is somewhere in
		// the next answer; a third of them while it opens the file.
		stop, n := rng.IntN(60), 0
		if kill%3 == 0 {
			stop = rng.IntN(2)
		}
		lines := bufio.NewScanner(out)
		for n < stop && lines.Scan() {
			n++
			shownIn(t, lines.Text(), shown)
		}
		for range rng.IntN(200_000) { // somewhere, not always right after a line
			runtime.KeepAlive(n)
		}
		cmd.Process.Kill()
		for lines.Scan() { // what it had shown before it died
			shownIn(t, lines.Text(), shown)
		}
		cmd.Wait()
		if n == 0 {
			early++
		}
	}
	r := open(t, path)
	c, err := r.Check(t.Context())
	if err != nil || len(c.Problems) > 0 {
		t.Fatalf("check: %+v, %v", c, err)
	}
	kept := map[string]int{}
	for _, a := range all(t, r, Query{}) {
		kept[a.Session.ID]++
	}
	total := 0
	for id, n := range shown {
		total += n
		if kept[id] < n || kept[id] > n+1 { // one more may be on disk and not yet shown
			t.Errorf("session %s: %d answers shown, %d kept", id, n, kept[id])
		}
	}
	if total == 0 || early == 0 {
		t.Errorf("%d answers shown, %d killed before the first line: nothing was tried", total, early)
	}
	t.Logf("%d answers shown in %d sessions, none lost", total, len(shown))
}

func shownIn(t *testing.T, text string, shown map[string]int) {
	t.Helper()
	var id string
	var n int
	if text == "open" {
		return
	}
	if _, err := fmt.Sscanf(text, "shown %s %d", &id, &n); err != nil {
		t.Fatalf("the drill says %q", text)
	}
	shown[id] = n
}

// migrate is what TestKilledWhileMigrating kills.
func migrate(path string) {
	fmt.Println("begin")
	r, err := OpenRecord(path, evening)
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	r.Close()
}

// content returns what is in the files of a folder, by name, without the lock
// and the index of the log, which hold nothing.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > 0 && !strings.HasSuffix(e.Name(), "-shm") {
			out[e.Name()] = string(data)
		}
	}
	return out
}

// What cannot be used is refused, says why, and is left as it was, to the byte.
func TestRefusedAndNotTouched(t *testing.T) {
	sound := func(t *testing.T, path string) {
		r := open(t, path)
		fill(t, r, answers(session("Anna"), 200))
		r.Close()
	}
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		want error
	}{
		{"newer", func(t *testing.T, path string) {
			sound(t, path)
			db, err := openSQLite(path, "rw")
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			if _, err := db.Exec("PRAGMA user_version=99"); err != nil {
				t.Fatal(err)
			}
		}, ErrRecordNewer},
		{"a text", func(t *testing.T, path string) {
			os.WriteFile(path, []byte(strings.Repeat("my practice notes\n", 100)), 0o600)
		}, ErrRecordForeign},
		{"another program's database", func(t *testing.T, path string) {
			db, err := openSQLite(path, "rwc")
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			if _, err := db.Exec("CREATE TABLE recipes (cake TEXT)"); err != nil {
				t.Fatal(err)
			}
		}, ErrRecordForeign},
		{"cut short", func(t *testing.T, path string) {
			sound(t, path)
			info, _ := os.Stat(path)
			os.Truncate(path, info.Size()/2)
		}, ErrRecordDamaged},
		{"overwritten in the middle", func(t *testing.T, path string) {
			sound(t, path)
			data, _ := os.ReadFile(path)
			for i := 4096; i < len(data); i += 4096 {
				copy(data[i:], strings.Repeat("\xa5", 300))
			}
			os.WriteFile(path, data, 0o600)
		}, ErrRecordDamaged},
		{"a record of nothing but noise", func(t *testing.T, path string) {
			sound(t, path)
			data, _ := os.ReadFile(path)
			rng := rand.New(rand.NewPCG(5, 6))
			for i := 100; i < len(data); i++ {
				data[i] = byte(rng.Uint32())
			}
			os.WriteFile(path, data, 0o600)
		}, ErrRecordDamaged},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "record.db")
			c.make(t, path)
			before := content(t, dir)
			for what, try := range map[string]func() (*Record, error){
				"OpenRecord": func() (*Record, error) { return OpenRecord(path, evening) },
				"ReadRecord": func() (*Record, error) { return ReadRecord(path) },
			} {
				r, err := try()
				if err == nil {
					r.Close()
				}
				if !errors.Is(err, c.want) || strings.Contains(fmt.Sprint(err), "\n") || RecordHint(err) == "" {
					t.Errorf("%s: %v (%q), want one line with %v and a hint", what, err, RecordHint(err), c.want)
				}
				if after := content(t, dir); !reflect.DeepEqual(after, before) {
					t.Errorf("%s changed the files", what)
				}
			}
		})
	}
}

func TestNoRecord(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none", "record.db")
	if _, err := ReadRecord(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v, want that it does not exist", err)
	}
	if _, err := os.Stat(filepath.Dir(path)); err == nil {
		t.Error("reading made the folder")
	}
	// An empty file is a record that was never begun.
	os.MkdirAll(filepath.Dir(path), 0o700)
	os.WriteFile(path, nil, 0o600)
	if _, err := ReadRecord(path); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("an empty file: %v, want that there is none", err)
	}
	fill(t, open(t, path), answers(session("Anna"), 1))
	// A folder, and a folder in a file.
	if _, err := OpenRecord(t.TempDir(), evening); err == nil {
		t.Error("a folder was opened as a record")
	}
	if _, err := OpenRecord(filepath.Join(path, "record.db"), evening); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("in a file: %v", err)
	}
}

// Two programs at once: the second is told, and reads; when the first is gone it
// may write.
func TestTwoAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	list := answers(session("Anna"), 4)
	first := open(t, path)
	fill(t, first, list[:2])
	if _, err := OpenRecord(path, evening); !errors.Is(err, ErrRecordInUse) {
		t.Fatalf("%v, want that it is in use", err)
	}
	reader, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	equal(t, all(t, reader, Query{}), list[:2])
	fill(t, first, list[2:])
	equal(t, all(t, reader, Query{}), list)
	first.Close()
	second := open(t, path)
	fill(t, second, answers(session("Ben"), 1))
}

// A full disk: the answer is refused, what was there stays, and when there is
// room again it goes on. SQLite's own limit of the file stands in for the disk.
func TestDiskFull(t *testing.T) {
	r := open(t, filepath.Join(t.TempDir(), "record.db"))
	list := answers(session("Anna"), 1000)
	if _, err := r.db.Exec("PRAGMA max_page_count=30"); err != nil {
		t.Fatal(err)
	}
	kept := 0
	var err error
	for kept < len(list) {
		if err = r.Add(list[kept]); err != nil {
			break
		}
		kept++
	}
	if !errors.Is(err, ErrRecordFull) || kept < 50 {
		t.Fatalf("%d kept, then %v: want that the disk is full", kept, err)
	}
	equal(t, all(t, r, Query{}), list[:kept])
	if _, err := r.db.Exec("PRAGMA max_page_count=3000"); err != nil {
		t.Fatal(err)
	}
	fill(t, r, list[kept:])
	equal(t, all(t, r, Query{}), list)
}

// A folder that cannot be written.
func TestReadOnlyFolder(t *testing.T) {
	if asNobody(t) {
		return
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "record.db")
	r := open(t, path)
	list := answers(session("Anna"), 3)
	fill(t, r, list)
	r.Close()
	for _, name := range []string{path, path + ".lock"} {
		if err := os.Chmod(name, 0o444); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o700) })
	if os.WriteFile(filepath.Join(dir, "x"), nil, 0o600) == nil {
		t.Skip("this system lets a read-only folder be written")
	}
	if _, err := OpenRecord(path, evening); !errors.Is(err, ErrRecordReadOnly) {
		t.Errorf("a record: %v, want that it cannot be written", err)
	}
	if _, err := OpenRecord(filepath.Join(dir, "new", "record.db"), evening); !errors.Is(err, ErrRecordReadOnly) {
		t.Errorf("a new one: %v, want that it cannot be written", err)
	}
	reader, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	equal(t, all(t, reader, Query{}), list)
}

// Whatever the system says, the user is told in these words.
func TestRecordErrors(t *testing.T) {
	for _, c := range []struct {
		err  error
		want error
	}{
		{&fs.PathError{Op: "mkdir", Path: "x", Err: syscall.EROFS}, ErrRecordReadOnly},
		{&fs.PathError{Op: "mkdir", Path: "x", Err: syscall.EACCES}, ErrRecordReadOnly},
		{&fs.PathError{Op: "mkdir", Path: "x", Err: syscall.ENOSPC}, ErrRecordFull},
	} {
		if err := recordError("record.db", c.err); !errors.Is(err, c.want) || !strings.HasPrefix(err.Error(), "record.db: ") {
			t.Errorf("%v: %v, want %v", c.err, err, c.want)
		}
	}
}

// A file of an older version is copied, then brought up to date; one whose
// migration fails stays as it was.
func TestMigration(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record.db")
	r := open(t, path)
	list := answers(session("Anna"), 20)
	fill(t, r, list)
	r.Close()
	next := append(slices.Clone(migrations), migration{sql: "ALTER TABLE answers ADD COLUMN mood TEXT;"})
	bad := append(slices.Clone(next), migration{sql: "CREATE TABLE half (x INTEGER); CREATE TABLE answers (y INTEGER);"})

	if _, err := openRecord(path, evening, bad); err == nil || strings.Contains(err.Error(), "\n") {
		t.Fatalf("a migration that cannot be done: %v", err)
	}
	r, err := openRecord(path, evening.Add(time.Hour), next)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, all(t, r, Query{}), list)
	var mood, version, half int
	if err := r.db.QueryRow("SELECT count(mood) FROM answers").Scan(&mood); err != nil {
		t.Errorf("the new column: %v", err)
	}
	r.db.QueryRow("PRAGMA user_version").Scan(&version)
	r.db.QueryRow("SELECT count(*) FROM sqlite_schema WHERE name = 'half'").Scan(&half)
	if version != len(next) || half != 0 {
		t.Errorf("version %d, %d tables of the failed migration, want %d and 0", version, half, len(next))
	}
	r.Close()
	copied, err := filepath.Glob(path + ".version*")
	if err != nil || len(copied) != 1 {
		t.Fatalf("copies %v, want one of version %d", copied, len(migrations))
	}
	old := open(t, fmt.Sprintf("%s.version%d-20261125-193000", path, len(migrations)))
	equal(t, all(t, old, Query{}), list)
	// To this program the file is a newer one now.
	if _, err := OpenRecord(path, evening); !errors.Is(err, ErrRecordNewer) {
		t.Errorf("%v, want that it is newer", err)
	}
}

// What the record takes of each kind of skill, and what it refuses.
func TestAnswersOfEachKind(t *testing.T) {
	four := theory.Degree{Step: 4}
	bass := exercise.Skill{Kind: exercise.BassSkill, Degree: four}
	quality := exercise.Skill{Kind: exercise.QualitySkill, Chord: "m7b5"}
	melody := exercise.Skill{Kind: exercise.MelodySkill, Level: 3}
	degree := exercise.Skill{Kind: exercise.DegreeSkill, Degree: four}
	pair := exercise.Skill{Kind: exercise.PairSkill, From: theory.Degree{Step: 1}, Degree: four, Way: exercise.Up}
	const (
		right, wrong, not = exercise.RightAnswer, exercise.WrongAnswer, exercise.NotMeasured
	)
	for _, c := range []struct {
		skill         exercise.Skill
		outcome       exercise.Outcome
		named         string
		material      string
		notes, rights int
		want          string // "": taken
	}{
		{bass, right, "4", "I V65 IV", 0, 0, ""},
		{bass, wrong, "#4", "", 0, 0, ""},
		{bass, wrong, "", "", 0, 0, ""}, // given up
		{bass, not, "", "", 0, 0, ""},
		{bass, not, "4", "", 0, 0, "named: none belongs to bass 4 that is not_measured"},
		{bass, right, "", "", 0, 0, `named: "" cannot be right for bass 4`},
		{bass, right, "5", "", 0, 0, `named: "5" cannot be right for bass 4`},
		{bass, wrong, "fa", "", 0, 0, `named: "fa" is no name for bass 4`},
		{bass, wrong, "5", "", 4, 1, "notes: none belongs to bass 4"},
		{bass, exercise.InTune, "4", "", 0, 0, "outcome: in_tune for bass 4: want right, wrong or not_measured"},
		{quality, right, "m7b5", "iiø7", 0, 0, ""},
		{quality, wrong, "m7", "", 0, 0, ""},
		{quality, wrong, "a m7", "", 0, 0, `named: "a m7" is no name for quality m7b5`},
		{quality, exercise.Ambiguous, "", "", 0, 0, "outcome: ambiguous for quality m7b5"},
		{melody, right, "", "level 3 seed 4711", 12, 12, ""},
		{melody, wrong, "", "", 12, 0, ""},
		{melody, not, "", "level 3 seed 4711", 0, 0, ""},
		{melody, not, "", "", 12, 0, "notes: none belongs to melody 3 that is not_measured"},
		{melody, right, "", "", 0, 0, "notes_right: 0 of notes 0"},
		{melody, wrong, "", "", 4, 5, "notes_right: 5 of notes 4"},
		{melody, wrong, "", "", 4, -1, "notes_right: -1 of notes 4"},
		{melody, wrong, "4", "", 4, 1, "named: none belongs to melody 3"},
		{melody, exercise.Sharp, "", "", 4, 1, "outcome: sharp for melody 3"},
		{melody, right, "", strings.Repeat("x", 400), 4, 4, ""},
		{melody, right, "", strings.Repeat("x", 401), 4, 4, "want one line of at most 400 bytes"},
		{melody, right, "", "two\nlines", 4, 4, "want one line"},
		{degree, exercise.InTune, "", "", 0, 0, ""},
		{degree, right, "", "", 0, 0, "outcome: right for degree 4, which is sung"},
		{degree, exercise.Flat, "4", "", 0, 0, "named: none belongs to degree 4"},
		{degree, exercise.Flat, "", "I", 0, 0, "material: none belongs to degree 4"},
		{pair, wrong, "", "", 0, 0, "outcome: wrong for pair 1-4 up, which is sung"},
		{pair, exercise.Flat, "", "", 4, 1, "notes: none belongs to pair 1-4 up"},
	} {
		r := open(t, filepath.Join(t.TempDir(), "record.db"))
		k := theory.Keys()[3]
		a := practice.Answer{
			Session: session("Anna"), Number: 1, Index: 1, Attempt: 1, At: evening, Skill: c.skill, Counts: exercise.Verdict{Outcome: c.outcome}.Counts(),
			Item:      exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: four},
			Tolerance: exercise.Tolerance{Cents: 35}, Verdict: exercise.Verdict{Outcome: c.outcome},
			Named: c.named, Material: c.material, Notes: c.notes, NotesRight: c.rights,
		}
		switch {
		case c.outcome == not:
			a.Verdict.Reason = exercise.TooQuiet
		case c.skill.Kind == exercise.MelodySkill:
			a.Verdict.Held = 7.5
		default:
			a.Verdict.Answer = 2.5
		}
		err := r.Add(a)
		if c.want == "" {
			if err != nil {
				t.Errorf("%v, %v: %v", c.skill, c.outcome, err)
				continue
			}
			equal(t, all(t, r, Query{}), []practice.Answer{a})
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, %v, named %q, %d of %d: %v, want %q", c.skill, c.outcome, c.named, c.rights, c.notes, err, c.want)
		}
	}
}

// What an answer is to practice follows from the kind of its skill.
func TestTrials(t *testing.T) {
	k := theory.Keys()[3]
	a := practice.Answer{Session: session("Anna"), At: evening, Item: exercise.Item{Key: k, Asked: theory.Degree{Step: 4}}, Counts: true, Feedback: practice.Blind}
	trial := func(s exercise.Skill, change func(*practice.Answer)) (practice.Trial, bool) {
		a := a
		a.Skill = s
		change(&a)
		return a.Trial()
	}
	planned := func(t practice.Trial) practice.Trial {
		t.Planned = true // session is one of today
		return t
	}
	bass := exercise.Skill{Kind: exercise.BassSkill, Degree: a.Item.Asked}
	got, ok := trial(bass, func(a *practice.Answer) { a.Verdict.Outcome, a.Verdict.Answer = exercise.RightAnswer, 4 })
	if want := planned(practice.NewNamedTrial(evening, k, bass, true, 4, false, practice.Blind)); got != want || !ok || !got.Right {
		t.Errorf("named right: %+v, %v", got, ok)
	}
	got, ok = trial(bass, func(a *practice.Answer) { a.Verdict.Outcome, a.Again = exercise.WrongAnswer, true })
	if want := planned(practice.NewNamedTrial(evening, k, bass, false, 0, true, practice.Blind)); got != want || !ok || got.Rating != practice.Again {
		t.Errorf("named wrong: %+v, %v", got, ok)
	}
	got, ok = trial(bass, func(a *practice.Answer) { a.Verdict.Reason, a.Counts = exercise.TooQuiet, false })
	if ok || got.Rating != practice.Undecided {
		t.Errorf("not measured: %+v, %v", got, ok)
	}
	melody := exercise.Skill{Kind: exercise.MelodySkill, Level: 3}
	line := func(a *practice.Answer) {
		a.Verdict.Outcome, a.Verdict.Held, a.Notes, a.NotesRight = exercise.RightAnswer, 9, 10, 9
	}
	got, ok = trial(melody, line)
	if want := planned(practice.NewLineTrial(evening, k, 3, 9, 10, 9, false, practice.Blind)); got != want || !ok || got.Rating != practice.Good {
		t.Errorf("a line: %+v, %v", got, ok)
	}
	if _, ok := trial(melody, func(a *practice.Answer) { line(a); a.Session.Command = "echo" }); ok {
		t.Error("an echo became a trial")
	}
	got, ok = trial(exercise.Skill{Kind: exercise.DegreeSkill, Degree: a.Item.Asked}, func(a *practice.Answer) {
		a.Verdict.Outcome, a.Verdict.HasSung, a.Verdict.Sung = exercise.InTune, true, a.Item.Asked
	})
	if !ok || !got.Right || got.Skill.Kind != exercise.DegreeSkill || !got.Octave.Known || !got.Planned {
		t.Errorf("a degree: %+v, %v", got, ok)
	}
	got, ok = trial(got.Skill, func(a *practice.Answer) {
		a.Session.Command, a.Verdict.Outcome = "sing", exercise.Unsteady // no degree, as older versions counted it
	})
	if !ok || got.Planned || got.Rating != practice.Undecided {
		t.Errorf("sung without a sitting, no degree: %+v, %v", got, ok)
	}
}

// version1 copies the file testdata/version1.db to a folder. It was made by the
// program that had version 1 only, with 30 answers of Anna and 10 of Ben, who are
// invented; version1.csv and version1.jsonl are its exports of it.
func version1(t testing.TB) (path string, data []byte) {
	t.Helper()
	data, err := os.ReadFile("testdata/version1.db")
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "record.db")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path, data
}

// A file of version 1 is read as it is, copied and brought up to date when it is
// written, and its exports are imported: all three give the same answers.
func TestVersion1(t *testing.T) {
	path, data := version1(t)
	r, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	want := all(t, r, Query{})
	if c, err := r.Check(t.Context()); err != nil || len(c.Problems) > 0 || c.Version != 1 || c.Answers != 40 {
		t.Errorf("check: %+v, %v", c, err)
	}
	if p, skipped, err := r.Practice(t.Context(), "Anna"); err != nil || skipped > 0 || p == nil {
		t.Errorf("practice: %d skipped, %v", skipped, err)
	}
	var csv, lines strings.Builder
	for out, f := range map[*strings.Builder]Format{&csv: CSV, &lines: JSONLines} {
		if n, err := r.Export(t.Context(), out, f, ""); n != 40 || err != nil {
			t.Errorf("%d exported, %v", n, err)
		}
	}
	r.Close()
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, data) {
		t.Errorf("reading changed the file: %v", err)
	}
	for name, text := range map[string]string{"csv": csv.String(), "lines": lines.String()} {
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		if done, err := to.Import(t.Context(), strings.NewReader(text)); err != nil || done.Added != 40 {
			t.Errorf("%s, exported by this version: %+v, %v", name, done, err)
		}
		equal(t, all(t, to, Query{}), want)
	}
	for _, name := range []string{"testdata/version1.csv", "testdata/version1.jsonl"} {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		if done, err := to.Import(t.Context(), f); err != nil || done.Added != 40 {
			t.Errorf("%s: %+v, %v", name, done, err)
		}
		f.Close()
		equal(t, all(t, to, Query{}), want)
	}
	// The name of the copy is taken, as by one made in the same second.
	taken := path + ".version1-20261125-193000"
	if err := os.WriteFile(taken, []byte("another copy"), 0o600); err != nil {
		t.Fatal(err)
	}
	r = open(t, path)
	if now, err := os.ReadFile(taken); err != nil || string(now) != "another copy" {
		t.Errorf("the other copy was overwritten: %v", err)
	}
	os.Remove(taken)
	equal(t, all(t, r, Query{}), want)
	other := otherAnswer(session("Anna"), 0, want[0].Item, rand.New(rand.NewPCG(1, 1)))
	if err := r.Add(other); err != nil {
		t.Fatal(err)
	}
	equal(t, all(t, r, Query{Singer: "Anna"})[30:], []practice.Answer{other})
	copied, err := filepath.Glob(path + ".version1-*")
	if err != nil || len(copied) != 1 {
		t.Fatalf("copies: %v, %v", copied, err)
	}
	old, err := ReadRecord(copied[0])
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	equal(t, all(t, old, Query{}), want)
}

// A program that brings a file up to date is killed at random moments: the file
// is whole in one version or the other, and so is the copy, if it is there.
func TestKilledWhileMigrating(t *testing.T) {
	begun := map[int][]byte{} // a file of each older version
	for version := 1; version < len(migrations); version++ {
		data, err := os.ReadFile(fmt.Sprintf("testdata/version%d.db", version))
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "record.db")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		db, err := openSQLite(path, "rw")
		if err != nil {
			t.Fatal(err)
		}
		for n := 1; n <= 6; n++ { // 40 answers, doubled six times
			list := strings.Join(columns[sessionColumns:versionColumns[version]], ", ")
			with := strings.Replace(list, "number", fmt.Sprintf("number + %d", 1000<<n), 1)
			if _, err := db.Exec(fmt.Sprintf("INSERT INTO answers (session_id, %s) SELECT session_id, %s FROM answers", list, with)); err != nil {
				t.Fatal(err)
			}
		}
		db.Close()
		if begun[version], err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	const count = 40 << 6
	rng := rand.New(rand.NewPCG(5, 6))
	seen := map[[2]int]int{}
	kills := 25
	if raceDetector {
		kills = 6
	}
	for kill := range kills {
		version := 1 + kill%len(begun)
		path := filepath.Join(t.TempDir(), "record.db")
		if err := os.WriteFile(path, begun[version], 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "SINGBACK_TEST_MIGRATE="+path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		bufio.NewReader(out).ReadString('\n') // it begins now
		// It is killed at once, while the copy grows, or a moment after it is there.
		stage, moment := rng.IntN(4), rng.IntN(2000)
		for range 100_000 {
			parts, _ := filepath.Glob(path + ".version?.part")
			copied, _ := filepath.Glob(path + ".version?-*[0-9]")
			if stage == 0 || stage == 1 && len(parts) > 0 || len(copied) > 0 {
				if moment--; moment < 0 || stage < 2 {
					break
				}
			}
		}
		cmd.Process.Kill()
		cmd.Wait()
		files := []string{path}
		copied, _ := filepath.Glob(path + ".version?-*[0-9]")
		for _, file := range append(files, copied...) {
			r, err := ReadRecord(file)
			if err != nil {
				t.Fatalf("%s: %v", file, err)
			}
			c, err := r.Check(t.Context())
			if err != nil || len(c.Problems) > 0 || c.Answers != count {
				t.Errorf("%s: %d answers, %v, %v", file, c.Answers, c.Problems, err)
			}
			if file == path {
				seen[[2]int{version, c.Version}]++
				if c.Version > version && len(copied) == 0 {
					t.Error("the new version without a copy of the old one")
				}
			} else if c.Version != version {
				t.Errorf("the copy is of version %d, want %d", c.Version, version)
			}
			r.Close()
		}
		r, err := OpenRecord(path, evening.Add(time.Minute))
		if err != nil {
			t.Fatalf("after the kill: %v", err)
		}
		if c, err := r.Check(t.Context()); err != nil || len(c.Problems) > 0 || c.Answers != count || c.Version != len(migrations) {
			t.Errorf("brought up to date after the kill: %+v, %v", c, err)
		}
		r.Close()
	}
	t.Logf("killed: from the version to that found %v", seen)
}

// An export holds everything, in both formats, and importing it again adds
// nothing.
func TestExportImport(t *testing.T) {
	dir := t.TempDir()
	from := open(t, filepath.Join(dir, "from.db"))
	list := append(answers(session("Anna"), 250), answers(session("Zoë, the 2nd \"z\""), 3)...)
	fill(t, from, list)
	for _, f := range []Format{CSV, JSONLines} {
		var out, again bytes.Buffer
		if n, err := from.Export(t.Context(), &out, f, ""); n != len(list) || err != nil {
			t.Fatalf("format %d: exported %d, %v", f, n, err)
		}
		to := open(t, filepath.Join(dir, fmt.Sprintf("to-%d.db", f)))
		done, err := to.Import(t.Context(), bytes.NewReader(out.Bytes()))
		if err != nil || done != (Imported{len(list), len(list)}) {
			t.Fatalf("format %d: %+v, %v", f, done, err)
		}
		equal(t, all(t, to, Query{}), list)
		done, err = to.Import(t.Context(), bytes.NewReader(out.Bytes()))
		if err != nil || done != (Imported{len(list), 0}) {
			t.Errorf("format %d, the second time: %+v, %v, want nothing added", f, done, err)
		}
		to.Export(t.Context(), &again, f, "")
		if !bytes.Equal(again.Bytes(), out.Bytes()) {
			t.Errorf("format %d: exported anew it is another", f)
		}
		out.Reset()
		if n, err := from.Export(t.Context(), &out, f, "Anna"); n != 250 || err != nil {
			t.Errorf("format %d: of Anna %d, %v", f, n, err)
		}
	}
	// And the session that goes on after an import keeps its numbers.
	fill(t, from, answers(session("Anna"), 2))
}

// Each mistake in an import names its line, and nothing of the file is added.
func TestImportRefuses(t *testing.T) {
	from := open(t, filepath.Join(t.TempDir(), "from.db"))
	list := answers(session("Anna"), 3)
	fill(t, from, list)
	var table, lines bytes.Buffer
	from.Export(t.Context(), &table, CSV, "")
	from.Export(t.Context(), &lines, JSONLines, "")
	for _, c := range []struct{ name, text, want string }{
		{"nothing", " \n", "there is nothing in it"},
		{"another table", "a,b\n1,2\n", "line 1: not the columns"},
		{"a text", "dear diary\n", "line 1: not the columns"},
		{"a row cut short", table.String()[:table.Len()-40], "line 4: wrong number of fields"},
		{"a bad key", strings.Replace(table.String(), list[1].Item.Key.ASCII(), "H major", 1), "key: not a key"},
		{"a bad time", strings.Replace(table.String(), "2026-11-25T19:30:10.250+01:00", "yesterday", 1), "line 2: at: \"yesterday\" is no time"},
		{"a bad number", strings.Replace(table.String(), ",35,", ",wide,", 1), "tolerance_cents: \"wide\" cannot be read"},
		{"A4 out of range", strings.Replace(lines.String(), `"a4_hz":4`, `"a4_hz":14`, 1), "a4_hz: A4 ="},
		{"no JSON", lines.String() + "{\"singer\"\n", "line 4: no JSON object"},
		{"a field missing", lines.String() + "{\"singer\":\"Anna\"}\n", "line 4: session is missing"},
		{"an unknown field", strings.Replace(lines.String(), `{"singer"`, `{"mood":"good","singer"`, 1), "line 1: unknown field"},
		{"a wrong type", strings.Replace(lines.String(), `"number":2`, `"number":"two"`, 1), "line 2: "},
		{"half of the columns of version 2", strings.Replace(lines.String(), `"material":null,`, "", 1), "line 1: material is missing"},
		{"a column short", strings.Replace(table.String(), ",notes_right,by_steps\n", "\n", 1), "line 1: the column notes_right is missing"},
		{"a column left out", strings.Replace(table.String(), ",notes_right,by_steps\n", ",by_steps\n", 1), "line 1, column 48: \"by_steps\"; want notes_right"},
		{"a column more", strings.Replace(table.String(), ",by_steps\n", ",by_steps,mood\n", 1), "line 1, column 50: \"mood\"; the practice record has no such column"},
		{"a column of another name", strings.Replace(table.String(), ",outcome,", ",result,", 1), "line 1, column 25: \"result\"; want outcome"},
		{"notes without those that were right", strings.Replace(lines.String(), `"notes":null`, `"notes":4`, 1), "line 1: notes, notes_right: want both or none"},
		{"an endless line", "{" + strings.Repeat(" ", 1<<17), "longer than"},
		{"a field that does not end", table.String() + "\"" + strings.Repeat("x", 1<<20), "line 5: longer than 65536 bytes"},
		{"a header that does not end", "\"" + strings.Repeat("x", 1<<20), "line 1: longer than 65536 bytes"},
		{"a session that began at another time", strings.Replace(table.String(), ",2026-11-25T19:30:00.250+01:00,", ",2026-11-25T19:31:00.250+01:00,", 1), "here its started is \"2026-11-25T19:3"},
		{"another one's session", strings.Replace(lines.String(), "Anna", "Ben", 1), "here its singer is \"Ben\", in the record \"Anna\""},
	} {
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		if strings.Contains(c.name, "session") {
			fill(t, to, list[:1])
		}
		before := len(all(t, to, Query{}))
		done, err := to.Import(t.Context(), strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || len(err.Error()) > 300 {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
		if done != (Imported{}) || len(all(t, to, Query{})) != before {
			t.Errorf("%s: %+v, and something was added", c.name, done)
		}
	}
}

// What is read is written again as the same row.
func FuzzReadRows(f *testing.F) {
	dir := f.TempDir()
	from := open(f, filepath.Join(dir, "from.db"))
	fill(f, from, answers(session("Anna"), 12))
	for _, format := range []Format{CSV, JSONLines} {
		var out bytes.Buffer
		from.Export(context.Background(), &out, format, "")
		f.Add(out.Bytes())
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		rd := newReader()
		err := readRows(bytes.NewReader(data), func(rw *row) error {
			a, err := rd.answer(rw)
			if err != nil {
				return nil
			}
			again := newRow(a)
			b, err := newReader().answer(&again)
			if err != nil {
				t.Fatalf("written again: %v", err)
			}
			if b.At.Unix() != a.At.Unix() || b.Skill != a.Skill || b.Verdict.Outcome != a.Verdict.Outcome {
				t.Fatalf("%+v is read again as %+v", a, b)
			}
			return nil
		})
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("more than one line: %q", err)
		}
	})
}

// big makes a record of n answers.
func big(b *testing.B, n int) *Record {
	r := open(b, filepath.Join(b.TempDir(), "record.db"))
	list := answers(session("Anna"), 500)
	// The same answers in many sessions, by way of the import's transaction.
	var out bytes.Buffer
	for i := range n / len(list) {
		s := session("Anna")
		s.Started = evening.Add(time.Duration(i) * 24 * time.Hour)
		for j := range list {
			list[j].Session, list[j].At = s, s.Started.Add(time.Duration(j)*10*time.Second)
			rw := newRow(list[j])
			if i == 0 && j == 0 {
				fmt.Fprintln(&out, strings.Join(columns, ","))
			}
			fmt.Fprintln(&out, strings.Join(rw.text(), ","))
		}
	}
	if done, err := r.Import(b.Context(), &out); err != nil || done.Added != n {
		b.Fatalf("%+v, %v", done, err)
	}
	return r
}

// With 100 000 answers: to read them all, to work out the practice from them, to
// add one, and to open the file.
func BenchmarkRecord100000(b *testing.B) {
	r := big(b, 100_000)
	b.Run("answers", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for _, err := range r.Answers(b.Context(), Query{}) {
				if err != nil {
					b.Fatal(err)
				}
				n++
			}
			if n != 100_000 {
				b.Fatal(n)
			}
		}
	})
	b.Run("practice", func(b *testing.B) {
		for b.Loop() {
			if _, skipped, err := r.Practice(b.Context(), "Anna"); err != nil || skipped > 0 {
				b.Fatal(skipped, err)
			}
		}
	})
	b.Run("add", func(b *testing.B) {
		list := answers(session("Anna"), 1)
		list[0].Session = session("Anna")
		for b.Loop() {
			if err := r.Add(list[0]); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			r.Close()
			var err error
			if r, err = OpenRecord(r.Path(), evening); err != nil {
				b.Fatal(err)
			}
		}
	})
	r.Close()
}
