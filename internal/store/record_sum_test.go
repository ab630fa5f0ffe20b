package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc64"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/internal/kept"
	"singback/internal/testkit/invented"
	"singback/pitch"
)

// A checksum written out by hand from what its comment says, of what SQL reads.
func TestChecksumByHand(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	r := open(t, path)
	list := invented.Answers(session("Zoë"), 40)
	list[0].Verdict.Scoop, list[1].Verdict.Level = math.Copysign(0, -1), math.Copysign(0, -1)
	fill(t, r, list)
	rows, err := r.db.Query("SELECT name, session, started, command, source, seed, estimator, " + strings.Join(kept.Columns[kept.SessionColumns:], ", ") +
		", checksum FROM answers JOIN sessions ON sessions.id = session_id JOIN singers ON singers.id = singer_id")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	truth := map[string]bool{"strict_octave": true, "counts": true, "again": true, "by_steps": true}
	n := 0
	for ; rows.Next(); n++ {
		values := make([]any, len(kept.Columns)+1)
		to := make([]any, len(values))
		for i := range values {
			to[i] = &values[i]
		}
		if err := rows.Scan(to...); err != nil {
			t.Fatal(err)
		}
		var data bytes.Buffer
		for i, name := range kept.Columns {
			switch v := values[i].(type) {
			case string:
				data.WriteByte(byte(i))
				binary.Write(&data, binary.BigEndian, uint32(len(v)))
				data.WriteString(v)
			case int64:
				data.WriteByte(byte(i))
				if truth[name] {
					data.WriteByte(byte(v))
				} else {
					binary.Write(&data, binary.BigEndian, v)
				}
			case float64:
				data.WriteByte(byte(i))
				binary.Write(&data, binary.BigEndian, v)
			}
		}
		if want := int64(crc64.Checksum(data.Bytes(), crc64.MakeTable(crc64.ECMA))); values[len(kept.Columns)] != want {
			t.Errorf("answer %d: checksum %v, want %d", n+1, values[len(kept.Columns)], want)
		}
	}
	if n != len(list) {
		t.Errorf("%d answers", n)
	}
	equal(t, all(t, r, Query{}), list)
}

// small makes a record of a few sessions of two singers.
func small(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "record.db")
	r := open(t, path)
	for i := range 6 {
		s := session([]string{"Anna", "Zoë"}[i%2])
		s.Started = evening.Add(time.Duration(i) * time.Hour)
		fill(t, r, invented.Answers(s, 12+i))
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// trusted reads a record in every way and fails where something that was changed
// is taken for what was written. It reports whether the record is called sound, how
// many answers Answers gave, and how many the salvage gave back.
func trusted(t *testing.T, did, path string, want map[string]string) (sound bool, read, back int) {
	t.Helper()
	same := func(what string, got map[string]string) {
		t.Helper()
		for key, line := range got {
			if line != want[key] {
				t.Errorf("%s: %s:\n got %s\nwant %s", did, what, line, want[key])
			}
		}
	}
	func() {
		r, err := ReadRecord(path)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || errors.Is(err, os.ErrNotExist) {
				t.Errorf("%s: %v", did, err)
			}
			return
		}
		defer r.Close()
		got, wrong, ended := map[string]string{}, 0, false
		for a, err := range r.Answers(t.Context(), Query{}) {
			switch {
			case errors.Is(err, ErrAnswer):
				wrong++
			case err != nil:
				ended = true
			default:
				rw := kept.NewRow(a)
				got[a.Session.ID+" "+fmt.Sprint(a.Number)] = strings.Join(rw.Text(), "|")
			}
		}
		same("read", got)
		read = len(got)
		if read+wrong < len(want) && !ended {
			t.Errorf("%s: %d answers and %d errors, want %d in all", did, read, wrong, len(want))
		}
		c, err := r.Check(t.Context())
		sound = err == nil && len(c.Problems) == 0
		if sound && (read != len(want) || c.Answers != len(want) || c.Sessions != 6 || len(c.Singers) != 2) {
			t.Errorf("%s: called sound with %d answers: %+v", did, read, c)
		}
		var out bytes.Buffer
		if n, err := r.Export(t.Context(), &out, CSV, ""); err == nil && n != len(want) {
			t.Errorf("%s: exported %d, want %d", did, n, len(want))
		} else if err == nil {
			same("export", exported(t, func(to *bytes.Buffer) (int, error) { return r.Export(t.Context(), to, CSV, "") }))
		}
	}()
	s, err := SalvageRecord(t.Context(), path)
	if err != nil {
		if !errors.Is(err, ErrRecordForeign) && !errors.Is(err, ErrRecordNewer) {
			t.Errorf("%s: salvage: %v", did, err)
		}
		return sound, read, 0
	}
	defer s.Close()
	got := exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") })
	same("salvage", got)
	if len(s.Problems) > 0 == sound {
		t.Errorf("%s: sound %v, but salvage says %q", did, sound, s.Problems)
	}
	return sound, read, len(got)
}

// Whatever bit of the file changes, no answer is given out other than it was
// written: each is as it was, or said to be unreadable, and the record is called
// sound only if all are as they were.
func TestFlippedBits(t *testing.T) {
	path := small(t)
	want := whole(t, path)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(15, 8))
	tries := 420
	if raceDetector {
		tries = 60
	}
	sound, lost, back := 0, 0, 0
	for i := range tries {
		spoilt := bytes.Clone(data)
		did := ""
		flip := func(at int) {
			bit := rng.IntN(8)
			spoilt[at] ^= 1 << bit
			did += fmt.Sprintf(" byte %d bit %d", at, bit)
		}
		switch i % 7 {
		case 0: // the head of the file
			flip(rng.IntN(100))
		case 1: // the tables' descriptions, and the free room on that page
			flip(100 + rng.IntN(3996))
		case 2: // several at once
			for range 2 + rng.IntN(4) {
				flip(rng.IntN(len(data)))
			}
		default:
			flip(rng.IntN(len(data)))
		}
		if err := os.WriteFile(path, spoilt, 0o600); err != nil {
			t.Fatal(err)
		}
		ok, read, n := trusted(t, did, path, want)
		if ok {
			sound++
		}
		lost += len(want) - read
		back += n
		// A program that records into it neither changes nor signs what is wrong.
		if i%10 == 0 {
			if r, err := OpenRecord(path, evening); err == nil {
				s := session("Anna")
				if err := r.Add(invented.Answers(s, 1)[0]); err == nil {
					for a, err := range r.Answers(t.Context(), Query{}) {
						if err != nil || a.Session.ID == s.ID {
							continue
						}
						rw := kept.NewRow(a)
						if key := a.Session.ID + " " + fmt.Sprint(a.Number); strings.Join(rw.Text(), "|") != want[key] {
							t.Errorf("%s: after it was written: %s", did, strings.Join(rw.Text(), "|"))
						}
					}
				}
				r.Close()
			}
		}
	}
	t.Logf("%d files: %d sound, of %d answers %d not read, %d salvaged", tries, sound, tries*len(want), lost, back)
	if sound > tries*9/10 || back < tries*len(want)*9/10 {
		t.Errorf("of %d files %d are called sound, %d of %d answers salvaged", tries, sound, back, tries*len(want))
	}
}

// Each bit of an answer, of its session and of its singer.
func TestFlippedBitsOfARow(t *testing.T) {
	path := small(t)
	want := whole(t, path)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what, words    string
		before, length int
		step           int
		lost           int // at most, of the salvage
	}{
		{"an answer", "2026-11-25T19:31:40.250", 60, 300, 23, 1},
		{"a session", "2026-11-25T21:30:00", 32, 32 + 29 + len("today") + len("mic") + 20 + len(pitch.Version), 17, 0},
		{"a singer", "Zoë", 0, 4, 1, 0},
	} {
		at := bytes.LastIndex(data, []byte(c.words)) - c.before
		if c.what == "a singer" { // not in the index of the names
			at = bytes.Index(data, []byte("\x03\x00\x15Zoë")) + 3 // the header of the row before it
		}
		if at < 0 {
			t.Fatalf("%q is not in the file", c.words)
		}
		for bit := at * 8; bit < (at+c.length)*8; bit += c.step {
			spoilt := bytes.Clone(data)
			spoilt[bit/8] ^= 1 << (bit % 8)
			if err := os.WriteFile(path, spoilt, 0o600); err != nil {
				t.Fatal(err)
			}
			did := fmt.Sprintf("%s, byte %d bit %d", c.what, bit/8, bit%8)
			sound, read, back := trusted(t, did, path, want)
			if sound && read != len(want) {
				t.Errorf("%s: called sound", did)
			}
			if back < len(want)-c.lost {
				t.Errorf("%s: %d of %d answers salvaged", did, back, len(want))
			}
		}
	}
}

// record check names the answers that are not what was written.
func TestCheckNamesThem(t *testing.T) {
	path := small(t)
	db, err := openSQLite(path, "rw")
	if err != nil {
		t.Fatal(err)
	}
	var session string
	if err := db.QueryRow("SELECT session FROM sessions WHERE id = 3").Scan(&session); err != nil {
		t.Fatal(err)
	}
	// Somebody who writes 440 where 220 was, or a disk that does.
	if _, err := db.Exec("UPDATE answers SET f0_hz = -f0_hz, level_dbfs = level_dbfs - 1 WHERE session_id = 3 AND number IN (2, 5)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	r, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	c, err := r.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := []string{}
	for _, n := range []int{2, 5} {
		want = append(want, fmt.Sprintf("session %q, answer %d: it cannot be read: it is not what was written (its checksum is another)", session, n))
	}
	if fmt.Sprint(c.Problems) != fmt.Sprint(want) {
		t.Errorf("%q, want %q", c.Problems, want)
	}
	p, skipped, err := r.Practice(t.Context(), "Anna")
	if err != nil || skipped != 2 || p == nil { // also where it did not count: that may be what changed
		t.Errorf("practice: %d skipped, %v, want 2", skipped, err)
	}
	if _, err := r.Export(t.Context(), &bytes.Buffer{}, CSV, ""); !errors.Is(err, ErrRecordDamaged) || RecordHint(err) == "" {
		t.Errorf("export: %v, want that it is damaged", err)
	}
	if n, err := r.Export(t.Context(), &bytes.Buffer{}, CSV, "Zoë"); err != nil || n == 0 {
		t.Errorf("of the other singer: %d, %v", n, err)
	}
}

// A log that a program left behind when it was killed: what SQLite and the salvage
// take from it is as it was written, whatever bit of the log or its index changed.
// SQLite would take all behind such a place for nothing, and write over it: unless
// that is the last answer at most, the record is refused, and salvaged.
func TestFlippedBitsOfTheLog(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record.db")
	r := open(t, path)
	list := invented.Answers(session("Anna"), 60)
	fill(t, r, list)
	want := whole(t, path)
	files := map[string][]byte{}
	for _, c := range []string{"", "-wal", "-shm"} {
		data, err := os.ReadFile(path + c)
		if err != nil || len(data) == 0 {
			t.Fatalf("%s: %v", c, err)
		}
		files[c] = data
	}
	rng := rand.New(rand.NewPCG(15, 9))
	refused := 0
	tries := 150
	if raceDetector {
		tries = 30
	}
	for i := range tries {
		dir := t.TempDir()
		copied := filepath.Join(dir, "record.db")
		which := []string{"-wal", "-wal", "-shm"}[i%3]
		did := ""
		for c, data := range files {
			data = bytes.Clone(data)
			if c == which {
				at := rng.IntN(len(data))
				if i%2 == 0 {
					at = rng.IntN(200)
				}
				data[at] ^= 1 << rng.IntN(8)
				did = fmt.Sprintf("%s, byte %d", c, at)
			}
			os.WriteFile(copied+c, data, 0o600)
		}
		for what, got := range map[string]map[string]string{"SQLite": readAll(t, copied), "salvage": salvaged(t, copied)} {
			for key, line := range got {
				if line != want[key] {
					t.Errorf("%s: %s:\n got %s\nwant %s", did, what, line, want[key])
				}
			}
			if got == nil && what == "SQLite" {
				refused++
			} else if len(got) < len(want)-1 {
				t.Errorf("%s: %s: %d of %d answers, and no word", did, what, len(got), len(want))
			}
		}
		if r, err := OpenRecord(copied, evening); err == nil {
			r.Close()
		} else if now, e := os.ReadFile(copied + "-wal"); !errors.Is(err, ErrRecordDamaged) || e != nil || len(now) != len(files["-wal"]) {
			t.Errorf("%s: %v, and %d bytes of the log", did, err, len(now))
		}
	}
	if refused < tries/3 {
		t.Errorf("only %d of %d were refused", refused, tries)
	}
}

func readAll(t *testing.T, path string) map[string]string {
	t.Helper()
	r, err := ReadRecord(path)
	if err != nil {
		if !errors.Is(err, ErrRecordDamaged) {
			t.Error(err)
		}
		return nil
	}
	defer r.Close()
	return exported(t, func(out *bytes.Buffer) (int, error) { return r.Export(t.Context(), out, CSV, "") })
}

func salvaged(t *testing.T, path string) map[string]string {
	t.Helper()
	s, err := SalvageRecord(t.Context(), path)
	if err != nil {
		return nil
	}
	defer s.Close()
	return exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") })
}

// A file of version 2, made by the program that had versions 1 and 2, with 30
// answers of Anna and 10 of Ben, who are invented; version2.csv and version2.jsonl
// are its exports of it.
func TestVersion2(t *testing.T) {
	data, err := os.ReadFile("testdata/version2.db")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "record.db")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	want := all(t, r, Query{})
	if c, err := r.Check(t.Context()); err != nil || len(c.Problems) > 0 || c.Version != 2 || c.Answers != 40 {
		t.Errorf("check: %+v, %v", c, err)
	}
	r.Close()
	if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, data) {
		t.Errorf("reading changed the file: %v", err)
	}
	for _, name := range []string{"testdata/version2.csv", "testdata/version2.jsonl"} {
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
		if c, err := to.Check(t.Context()); err != nil || len(c.Problems) > 0 {
			t.Errorf("%s: %+v, %v", name, c, err)
		}
	}
	before := salvaged(t, path)
	r = open(t, path)
	equal(t, all(t, r, Query{}), want)
	if c, err := r.Check(t.Context()); err != nil || len(c.Problems) > 0 || c.Version != 3 || c.Answers != 40 {
		t.Errorf("brought up to date: %+v, %v", c, err)
	}
	var unsigned, unknown int
	if err := r.db.QueryRow("SELECT count(*) - count(checksum), count(*) - count(by_steps) FROM answers").Scan(&unsigned, &unknown); err != nil || unsigned != 0 || unknown != 40 {
		t.Errorf("%d answers without a checksum, %d without by_steps, %v; want 0 and 40", unsigned, unknown, err)
	}
	r.Close()
	if after := salvaged(t, path); len(before) != 40 || !maps.Equal(before, after) {
		t.Errorf("salvaged %d before and %d after", len(before), len(after))
	}
	copied, err := filepath.Glob(path + ".version*")
	if err != nil || len(copied) != 1 || !strings.HasSuffix(copied[0], ".version2-20261125-193000") {
		t.Fatalf("copies: %v, %v", copied, err)
	}
	old, err := ReadRecord(copied[0])
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	equal(t, all(t, old, Query{}), want)
}

// An answer of version 2 that cannot be read is given no checksum.
func TestMigrationSignsNoDamage(t *testing.T) {
	data, err := os.ReadFile("testdata/version2.db")
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
	if _, err := db.Exec("UPDATE answers SET key = 'H major' WHERE id = 7"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	r := open(t, path)
	c, err := r.Check(t.Context())
	if err != nil || len(c.Problems) != 1 || !strings.Contains(c.Problems[0], "answer 7: ") {
		t.Errorf("%+v, %v, want one problem with answer 7", c, err)
	}
}
