package store

import (
	"bufio"
	"bytes"
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
	"singback/internal/kept"
	"singback/internal/testkit/invented"
	"singback/pitch"
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
	anna, ben := invented.Answers(session("Anna"), 300), invented.Answers(session("Ben"), 5)
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
	for i, a := range invented.Answers(s, 5_000) {
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
		fill(t, r, invented.Answers(session("Anna"), 200))
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
	fill(t, open(t, path), invented.Answers(session("Anna"), 1))
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
	list := invented.Answers(session("Anna"), 4)
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
	fill(t, second, invented.Answers(session("Ben"), 1))
}

// A full disk: the answer is refused, what was there stays, and when there is
// room again it goes on. SQLite's own limit of the file stands in for the disk.
func TestDiskFull(t *testing.T) {
	r := open(t, filepath.Join(t.TempDir(), "record.db"))
	list := invented.Answers(session("Anna"), 1000)
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
	list := invented.Answers(session("Anna"), 3)
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
	list := invented.Answers(session("Anna"), 20)
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
	other := invented.OtherAnswer(session("Anna"), 0, want[0].Item, rand.New(rand.NewPCG(1, 1)))
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
			list := strings.Join(kept.Columns[kept.SessionColumns:kept.VersionColumns[version]], ", ")
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
	list := append(invented.Answers(session("Anna"), 250), invented.Answers(session("Zoë, the 2nd \"z\""), 3)...)
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
	fill(t, from, invented.Answers(session("Anna"), 2))
}

// An import that is refused says where, and adds nothing: not what stands before the
// mistake either.
func TestImportRefuses(t *testing.T) {
	list := invented.Answers(session("Anna"), 3)
	from := open(t, filepath.Join(t.TempDir(), "from.db"))
	fill(t, from, list)
	var table, lines bytes.Buffer
	from.Export(t.Context(), &table, CSV, "")
	from.Export(t.Context(), &lines, JSONLines, "")
	for _, c := range []struct {
		name, text, want string
		there            int // answers that the record has of the same session
	}{
		{"nothing", " \n", "there is nothing in it", 0},
		{"a row cut short", table.String()[:table.Len()-40], "line 4: wrong number of fields", 0},
		{"a bad time", strings.Replace(table.String(), "2026-11-25T19:30:30.250+01:00", "yesterday", 1), "line 4: at: \"yesterday\" is no time", 0},
		{"no JSON", lines.String() + "{\"singer\"\n", "line 4: no JSON object", 1},
		{"a session that began at another time", strings.Replace(table.String(), ",2026-11-25T19:30:00.250+01:00,", ",2026-11-25T19:31:00.250+01:00,", 1), "line 2: session " + list[0].Session.ID + ": here its started is \"2026-11-25T19:31", 1},
		{"another one's session", strings.ReplaceAll(lines.String(), "Anna", "Ben"), "here its singer is \"Ben\", in the record \"Anna\"", 1},
		{"a session that changes", strings.Replace(lines.String(), "Anna", "Ben", 1), "line 2: session " + list[0].Session.ID + ": here its singer is \"Anna\", in the record \"Ben\"", 0},
	} {
		to := open(t, filepath.Join(t.TempDir(), "to.db"))
		fill(t, to, list[:c.there])
		done, err := to.Import(t.Context(), strings.NewReader(c.text))
		if err == nil || !errors.As(err, new(ImportError)) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
		if done != (Imported{}) || len(all(t, to, Query{})) != c.there {
			t.Errorf("%s: %+v, and something was added", c.name, done)
		}
	}
}

// big makes a record of n answers.
func big(b *testing.B, n int) *Record {
	r := open(b, filepath.Join(b.TempDir(), "record.db"))
	list := invented.Answers(session("Anna"), 500)
	// The same answers in many sessions, by way of the import's transaction.
	var out bytes.Buffer
	_, err := kept.WriteExport(&out, CSV, func(yield func(practice.Answer, error) bool) {
		for i := range n / len(list) {
			s := session("Anna")
			s.Started = evening.Add(time.Duration(i) * 24 * time.Hour)
			for j, a := range list {
				a.Session, a.At = s, s.Started.Add(time.Duration(j)*10*time.Second)
				if !yield(a, nil) {
					return
				}
			}
		}
	})
	if err != nil {
		b.Fatal(err)
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
		list := invented.Answers(session("Anna"), 1)
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
