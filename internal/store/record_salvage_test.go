package store

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"hash/maphash"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"singback/internal/kept"
	"singback/internal/testkit/invented"
)

// several makes a record of some thousand answers of two singers in many sessions.
func several(t testing.TB, n int) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "record.db")
	r := open(t, path)
	var text bytes.Buffer
	table := csv.NewWriter(&text)
	table.Write(kept.Columns)
	for i := 0; i < n; {
		s := session([]string{"Anna", "Zoë"}[i/100%2])
		s.Started = evening.Add(time.Duration(i) * time.Hour)
		for _, a := range invented.Answers(s, 100+i%7) {
			rw := kept.NewRow(a)
			table.Write(rw.Text())
			i++
		}
	}
	table.Flush()
	if _, err := r.Import(t.Context(), &text); err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// exported returns the lines of an export by session and number.
func exported(t testing.TB, export func(*bytes.Buffer) (int, error)) map[string]string {
	t.Helper()
	var out bytes.Buffer
	n, err := export(&out)
	if err != nil {
		t.Fatal(err)
	}
	table := csv.NewReader(&out)
	table.FieldsPerRecord = len(kept.Columns)
	rows, err := table.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	lines := map[string]string{}
	for _, r := range rows[1:] {
		lines[r[1]+" "+r[kept.SessionColumns]] = strings.Join(r, "|")
	}
	if len(lines) != n || len(rows) != n+1 {
		t.Fatalf("%d answers written, of them %d different, it says %d", len(rows)-1, len(lines), n)
	}
	return lines
}

func whole(t testing.TB, path string) map[string]string {
	t.Helper()
	r, err := ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	return exported(t, func(out *bytes.Buffer) (int, error) { return r.Export(t.Context(), out, CSV, "") })
}

// A sound file gives everything back, in both versions, in the order and the form of
// an export.
func TestSalvageSound(t *testing.T) {
	old, _ := version1(t)
	for _, path := range []string{several(t, 3000), old} {
		r, err := ReadRecord(path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		s, err := SalvageRecord(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if len(s.Problems) > 0 || s.Lost != 0 || s.broken != 0 {
			t.Errorf("a sound file: %v, %d lost, %d pages broken", s.Problems, s.Lost, s.broken)
		}
		for _, singer := range []string{"", "Anna", "nobody"} {
			for _, f := range []Format{CSV, JSONLines} {
				var got, want bytes.Buffer
				n, err := s.Export(t.Context(), &got, f, singer)
				if err != nil {
					t.Fatal(err)
				}
				if m, err := r.Export(t.Context(), &want, f, singer); err != nil || n != m || !bytes.Equal(got.Bytes(), want.Bytes()) {
					t.Errorf("of %q %d answers, want %d (%v), or not the same", singer, n, m, err)
				}
			}
		}
		want, err := r.Check(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Check(); fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
			t.Errorf("check: %+v, want %+v", got, want)
		}
	}
}

// What the write-ahead log holds counts, as far as it is whole: the program was
// killed and the log lies beside the file.
func TestSalvageLog(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record.db")
	r := open(t, path)
	list := invented.Answers(session("Anna"), 300)
	fill(t, r, list)
	log, err := os.ReadFile(path + "-wal")
	if err != nil || len(log) == 0 {
		t.Fatalf("no log: %v", err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, cut := range []int{0, 1, 5000, 100_000} {
		copied := filepath.Join(t.TempDir(), "record.db")
		os.WriteFile(copied, data, 0o600)
		os.WriteFile(copied+"-wal", log[:len(log)-cut], 0o600)
		s, err := SalvageRecord(t.Context(), copied)
		if err != nil {
			t.Fatal(err)
		}
		got := exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") })
		s.Close()
		// SQLite reads as much of it.
		if want := whole(t, copied); !maps.Equal(got, want) || cut == 0 && len(got) != len(list) || cut == 1 && len(got) != len(list)-1 {
			t.Errorf("%d bytes cut off the log: %d answers, SQLite reads %d", cut, len(got), len(want))
		}
	}
}

// spoil damages a file at random places behind its first page, and sometimes in
// the first too, and returns what it did and which pages it touched.
func spoil(rng *rand.Rand, data []byte) (spoilt []byte, did string, pages map[int]bool) {
	spoilt, pages = slices.Clone(data), map[int]bool{}
	touch := func(from, to int) {
		for p := from / 4096; p <= (to-1)/4096; p++ {
			pages[p] = true
		}
	}
	noise := func(from, to int) {
		for i := from; i < to; i++ {
			spoilt[i] = byte(rng.Uint32())
		}
		touch(from, to)
		did += fmt.Sprintf(" noise %d-%d", from, to)
	}
	for range 1 + rng.IntN(10) {
		switch rng.IntN(3) {
		case 0: // anywhere
			from := 4096 + rng.IntN(len(data)-4096)
			noise(from, min(len(data), from+64+rng.IntN(6000)))
		case 1: // sectors of a disk that read as zeros
			from := 4096 + 512*rng.IntN((len(data)-4096)/512)
			to := min(len(data), from+512*(1+rng.IntN(12)))
			clear(spoilt[from:to])
			touch(from, to)
			did += fmt.Sprintf(" zeros %d-%d", from, to)
		case 2: // a page of another place
			from, to := 4096*(1+rng.IntN(len(data)/4096-1)), 4096*(1+rng.IntN(len(data)/4096-1))
			copy(spoilt[to:to+4096], data[from:from+4096])
			touch(to, to+4096)
			did += fmt.Sprintf(" page %d over %d", from/4096, to/4096)
		}
	}
	if rng.IntN(4) == 0 {
		noise(rng.IntN(200), 200+rng.IntN(3000))
	}
	if rng.IntN(6) == 0 {
		end := 4096 + rng.IntN(len(data)-4096)
		touch(end, len(data))
		spoilt = spoilt[:end]
		did += fmt.Sprintf(" cut at %d", end)
	}
	return spoilt, did, pages
}

// Whatever is broken: each answer that lies, with its session and its singer, on
// pages that were not touched comes back as it was; none comes back changed; and
// the file stays as it is.
func TestSalvageDamaged(t *testing.T) {
	path := several(t, 3000)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := whole(t, path)
	// Where a row lies follows from its words, which stand on no other leaf.
	page := func(words string) int {
		var on []int
		for i := range len(data) / 4096 {
			if p := data[4096*i : 4096*(i+1)]; i > 0 && p[0] == tableLeaf && bytes.Contains(p, []byte(words)) {
				on = append(on, i)
			}
		}
		if len(on) != 1 {
			t.Fatalf("%q stands on the leaves %v, want one", words, on)
		}
		return on[0]
	}
	lies := map[string][]int{}
	for key, text := range want {
		f := strings.Split(text, "|")
		lies[key] = []int{page(f[10] + f[11] + f[12]), page(f[2] + f[3]), page(f[0])}
	}
	rng := rand.New(rand.NewPCG(8, 1))
	total, intact, back := 0, 0, 0
	files := 60
	if raceDetector {
		files = 8
	}
	for range files {
		spoilt, did, touched := spoil(rng, data)
		path := filepath.Join(t.TempDir(), "record.db")
		if err := os.WriteFile(path, spoilt, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := SalvageRecord(t.Context(), path)
		if err != nil {
			if !errors.Is(err, ErrRecordForeign) || !touched[0] {
				t.Fatalf("%s: %v", did, err)
			}
			continue
		}
		got := exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") })
		c := s.Check()
		s.Close()
		for key, line := range got {
			if line != want[key] {
				t.Errorf("%s:\n got %s\nwant %s", did, line, want[key])
			}
		}
		for key := range want {
			untouched := !slices.ContainsFunc(lies[key], func(p int) bool { return touched[p] })
			if untouched {
				intact++
				if got[key] == "" {
					t.Errorf("%s: %s was not touched and is lost (it lies on %v)", did, key, lies[key])
				}
			}
		}
		total += len(want)
		back += len(got)
		if c.Answers != len(got) || c.Answers+c.Lost > len(want) || len(c.Problems) == 0 {
			t.Errorf("%s: %d answers, %d lost, problems %q; %d came back of %d", did, c.Answers, c.Lost, c.Problems, len(got), len(want))
		}
		if now := content(t, filepath.Dir(path)); len(now) != 1 || now["record.db"] != string(spoilt) {
			t.Errorf("%s: the files were changed", did)
		}
		// The export is taken by a new record.
		if len(got) > 0 && rng.IntN(20) == 0 {
			var out bytes.Buffer
			s, err := SalvageRecord(t.Context(), path)
			if err != nil {
				t.Fatal(err)
			}
			s.Export(t.Context(), &out, JSONLines, "")
			s.Close()
			fresh := filepath.Join(t.TempDir(), "record.db")
			to := open(t, fresh)
			if done, err := to.Import(t.Context(), &out); err != nil || done.Added != len(got) {
				t.Errorf("imported: %+v, %v, want %d", done, err, len(got))
			}
			to.Close()
			if again := whole(t, fresh); !maps.Equal(again, got) {
				t.Error("imported it is another")
			}
		}
	}
	t.Logf("of %d answers %d were not touched, %d came back", total, intact, back)
	if intact < total/4 {
		t.Errorf("only %d of %d answers were not touched", intact, total)
	}
}

// Without the first page, the root of the answers or any page that leads to them.
func TestSalvageRoots(t *testing.T) {
	path := several(t, 3000)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(data); i += 4096 {
		if i == 0 || data[i] == tableInner || data[i] == indexInner || data[i] == indexLeaf {
			clear(data[i : i+4096])
		}
	}
	want := whole(t, path)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := SalvageRecord(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	got := exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") })
	if !maps.Equal(got, want) || len(s.Problems) == 0 {
		t.Errorf("%d answers came back of %d; problems %q", len(got), len(want), s.Problems)
	}
}

// Bytes of a page of answers, each changed in turn: nothing but a number comes back
// changed, which no check can tell.
func TestSalvageEachByte(t *testing.T) {
	path, data := version1(t)
	want := whole(t, path)
	changed, tried := 0, 0
	for at := 7 * 4096; at < 8*4096; at += 3 {
		tried++
		spoilt := slices.Clone(data)
		spoilt[at] ^= 0x55
		if err := os.WriteFile(path, spoilt, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := openPages(path)
		if err != nil {
			t.Fatal(err)
		}
		s := &Salvage{path: path, pages: p}
		if err := s.look(t.Context()); err != nil {
			t.Fatal(err)
		}
		for key, line := range exported(t, func(out *bytes.Buffer) (int, error) { return s.Export(t.Context(), out, CSV, "") }) {
			if line == want[key] {
				continue
			}
			changed++
			got, want := strings.Split(line, "|"), strings.Split(want[key], "|")
			if len(want) != len(got) {
				t.Fatalf("byte %d: there is no answer %s", at, key)
			}
			for i := range got {
				if _, err := strconv.ParseFloat(got[i], 64); err != nil && got[i] != want[i] {
					t.Errorf("byte %d: %s is %q, was %q", at, kept.Columns[i], got[i], want[i])
				}
			}
		}
		s.Close()
	}
	t.Logf("of %d bytes changed, one at a time, %d gave another number", tried, changed)
}

// What is no record, or one of a newer version, is said to be so.
func TestSalvageRefuses(t *testing.T) {
	dir := t.TempDir()
	text := filepath.Join(dir, "text.db")
	os.WriteFile(text, []byte(strings.Repeat("my practice notes\n", 1000)), 0o600)
	newer := several(t, 100)
	db, err := openSQLite(newer, "rw")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("PRAGMA user_version=4"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	for path, want := range map[string]error{text: ErrRecordForeign, newer: ErrRecordNewer, filepath.Join(dir, "none.db"): os.ErrNotExist} {
		s, err := SalvageRecord(t.Context(), path)
		if err == nil {
			s.Close()
		}
		if !errors.Is(err, want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %v", path, err, want)
		}
	}
	if _, err := SalvageRecord(t.Context(), dir); err == nil {
		t.Error("a folder was read")
	}
}

// Nothing that a file holds makes it fail otherwise than by an error, and what
// comes out is what the record takes.
func FuzzSalvage(f *testing.F) {
	_, data := version1(f)
	f.Add(data, []byte{})
	f.Add(data[:9*4096], []byte{1, 2, 3})
	path := filepath.Join(f.TempDir(), "record.db")
	r := open(f, path)
	fill(f, r, invented.Answers(session("Anna"), 12))
	log, _ := os.ReadFile(path + "-wal")
	begun, _ := os.ReadFile(path)
	f.Add(begun, log)
	f.Fuzz(func(t *testing.T, data, log []byte) {
		path := filepath.Join(t.TempDir(), "record.db")
		os.WriteFile(path, data, 0o600)
		os.WriteFile(path+"-wal", log, 0o600)
		p, err := openPages(path)
		if err != nil {
			t.Fatal(err)
		}
		s := &Salvage{path: path, pages: p}
		defer s.Close()
		if err := s.look(t.Context()); err != nil {
			t.Fatal(err)
		}
		rd := kept.NewReader()
		n := 0
		for rw, err := range s.rows(context.Background(), "") {
			if err != nil {
				t.Fatal(err)
			}
			if _, err := rd.Answer(rw); err != nil {
				t.Fatal(err)
			}
			n++
		}
		if n != s.Answers || s.Check().Answers != n {
			t.Fatalf("%d rows, it says %d", n, s.Answers)
		}
	})
}

// The same for single pages.
func FuzzPage(f *testing.F) {
	_, data := version1(f)
	for i := 4096; i < len(data); i += 4096 {
		f.Add(data[i : i+4096])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		page := make([]byte, 4096)
		copy(page, data)
		kind, list, whole := cells(page)
		l := looker{rd: kept.NewReader(), seed: maphash.MakeSeed()}
		for _, c := range list {
			if c.to > len(page)+3 || c.from < 8 {
				t.Fatalf("a cell at %d-%d", c.from, c.to)
			}
			if x := l.look(kind, c); x.ok && x.answer != nil && kind != tableLeaf {
				t.Fatal("an answer on no leaf")
			}
		}
		if whole && (kind == tableLeaf || kind == indexLeaf) && 8+2*len(list) > len(page) {
			t.Fatalf("%d cells", len(list))
		}
	})
}
