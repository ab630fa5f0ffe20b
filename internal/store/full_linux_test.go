package store

import (
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"singback/exercise/practice"
	"singback/internal/testkit"
	"singback/internal/testkit/invented"
)

// A disk that fills up while somebody practises, before, and while a record is
// read: it is said in these words, what was shown is there, and it goes on when
// there is room again.
func TestRealDiskFull(t *testing.T) {
	dir, done := testkit.OnSmallDisk(t)
	if done {
		return
	}
	isFull := func(what string, err error) {
		t.Helper()
		if !errors.Is(err, ErrRecordFull) || strings.Contains(err.Error(), "I/O") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want that the disk is full", what, err)
		}
	}
	// Before.
	free := testkit.FillDisk(t, dir)
	path := filepath.Join(dir, "record.db")
	_, err := OpenRecord(path, evening)
	isFull("a new one", err)
	if info, err := os.Stat(path); err == nil {
		t.Errorf("a record of %d bytes was left behind", info.Size())
	}
	_, err = ImportRecord(t.Context(), path, evening, strings.NewReader("x"))
	isFull("import", err)
	free()
	// While.
	s := session("Anna")
	list := invented.Answers(s, 400)
	r := open(t, path)
	fill(t, r, list[:10])
	free = testkit.FillDisk(t, dir)
	kept := 10
	for kept < len(list) {
		if err = r.Add(list[kept]); err != nil {
			break
		}
		kept++
	}
	isFull("while answers are added", err)
	equal(t, all(t, r, Query{}), list[:kept])
	free()
	fill(t, r, list[kept:kept+5])
	kept += 5
	// The program ends, and others begin on the full disk: there is no room for the
	// index of the log, of which SQLite says something else.
	r.Close()
	free = testkit.FillDisk(t, dir)
	if r, err = ReadRecord(path); err != nil {
		t.Fatalf("reading needs no room: %v", err)
	}
	equal(t, all(t, r, Query{}), list[:kept])
	r.Close()
	if r, err = OpenRecord(path, evening); err == nil {
		err = addUntil(r, invented.Answers(session("Ben"), 400))
	}
	r.Close()
	isFull("opening", err)
	free()
	// The program ends on a full disk.
	r = open(t, path)
	fill(t, r, invented.Answers(session("Anna"), 5))
	free = testkit.FillDisk(t, dir)
	r.Close()
	free()
	r = open(t, path)
	var first []practice.Answer
	got := all(t, r, Query{Singer: "Anna"})
	for _, a := range got {
		if a.Session.ID == s.ID {
			first = append(first, a)
		}
	}
	if equal(t, first, list[:kept]); len(got) != kept+5 {
		t.Errorf("%d answers, want %d", len(got), kept+5)
	}
}

func addUntil(r *Record, list []practice.Answer) error {
	for _, a := range list {
		if err := r.Add(a); err != nil {
			return err
		}
	}
	return nil
}

// A limit of the system on the size of a file, which stands in for whatever else a
// disk may refuse: it is said in words, and what was shown is there.
func TestFileLimit(t *testing.T) {
	if path := os.Getenv("SINGBACK_TEST_LIMIT"); path != "" {
		signal.Ignore(syscall.SIGXFSZ)
		r := open(t, path)
		limit := syscall.Rlimit{Cur: 100 << 10, Max: 100 << 10}
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
			t.Fatal(err)
		}
		list := invented.Answers(session("Anna"), 1000)
		err := addUntil(r, list)
		kept := len(all(t, r, Query{}))
		if !errors.Is(err, ErrRecordDisk) && !errors.Is(err, ErrRecordFull) || RecordHint(err) == "" || strings.ContainsAny(err.Error(), "()") || kept == 0 || kept == len(list) {
			t.Errorf("%d kept, then %v: want what the disk does", kept, err)
		}
		equal(t, all(t, r, Query{}), list[:kept])
		return
	}
	path := filepath.Join(t.TempDir(), "record.db")
	cmd := exec.Command(os.Args[0], "-test.v", "-test.count=1", "-test.run=^TestFileLimit$")
	cmd.Env = append(os.Environ(), "SINGBACK_TEST_LIMIT="+path)
	if out, err := cmd.CombinedOutput(); err != nil || !strings.Contains(string(out), "--- PASS: ") {
		t.Errorf("%v:\n%s", err, out)
	}
	r := open(t, path)
	if c, err := r.Check(t.Context()); err != nil || len(c.Problems) > 0 {
		t.Errorf("afterwards: %+v, %v", c, err)
	}
}
