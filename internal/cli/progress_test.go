package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/store"
	"singback/pitch"
	"singback/theory"
)

// singing writes a session of n answers of an invented singer into a record: do in C
// major, every fifth re instead.
func singing(t testing.TB, path, singer string, day time.Time, n int) {
	t.Helper()
	r, err := store.OpenRecord(path, day)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	k, err := theory.ParseKey("C")
	if err != nil {
		t.Fatal(err)
	}
	s := store.NewSession(singer, "today", "mic", 1, pitch.Version, day)
	for i := range n {
		it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: theory.Degree{Step: 1}}
		v := exercise.Verdict{Outcome: exercise.InTune, HasSung: true, Sung: it.Asked, Cents: float64(i%9 - 4), FromAsked: float64(i%9 - 4), F0: 261, Held: 2, Answer: 1, Level: -20}
		if i%5 == 4 {
			v.Outcome, v.Sung, v.FromAsked = exercise.OtherDegree, theory.Degree{Step: 2}, 200
		}
		if err := r.Add(practice.Answer{Session: s, Index: i + 1, Attempt: 1, At: day.Add(time.Duration(i) * time.Second), Skill: it.Skill(), Item: it,
			Tolerance: exercise.Tolerance{Cents: 35}, Verdict: v, Counts: true}); err != nil {
			t.Fatal(err)
		}
	}
}

// lateEvening is a late evening five days ago, in a zone where it was not yet midnight.
var lateEvening = func() time.Time {
	y, m, d := clock().Date()
	return time.Date(y, m, d-5, 23, 30, 0, 0, time.FixedZone("", -5*3600))
}()

// lateEvening plus days, as a day.
func evening(days int) string { return lateEvening.AddDate(0, 0, days).Format(time.DateOnly) }

func TestProgress(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record.db")
	singing(t, path, "Anna", lateEvening, 20)
	singing(t, path, "Anna", lateEvening.AddDate(0, 0, 3), 10)
	singing(t, path, "Berta", lateEvening, 5)
	out, stderr := call{}.must(t, "progress", "--record", path, "--singer", "Anna")
	if stderr != "" || !strings.HasPrefix(out, "Practise next: ") || !strings.Contains(out, "\nAnna: 30 answers, "+evening(0)+" to "+evening(3)+", 24 right: 80 % (62-91).\n") {
		t.Errorf("%q\n%s", stderr, out)
	}
	// 24 of 30 by the score interval: 0.6269 to 0.9049, by its closed form.
	var p struct {
		Total struct {
			Answers, Right int
			Share          float64
		}
		Confusion []struct {
			Asked   string
			Sung    *string
			Answers int
		}
		ByDay []struct{ Name string } `json:"by_day"`
	}
	out, _ = call{}.must(t, "progress", "--record", path, "--singer", "Anna", "--format", "json")
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatal(err)
	}
	if p.Total.Answers != 30 || p.Total.Share != 0.8 || len(p.Confusion) != 2 || *p.Confusion[1].Sung != "2" || p.Confusion[1].Answers != 6 {
		t.Errorf("%+v", p)
	}
	if !strings.Contains(out, `"share_low":0.6269,"share_high":0.9049,`) {
		t.Errorf("the interval of 24 of 30: %s", out)
	}
	// The singer's day counts, which in UTC is the 24th.
	out, _ = call{}.must(t, "progress", "--record", path, "--singer", "Anna", "--since", evening(3), "--format", "csv", "--key", "C major")
	if !strings.Contains(out, "\ntotal,,10,8,0.8,") || !strings.Contains(out, "\nday,"+evening(3)+",10,8,") {
		t.Errorf("since the 23rd:\n%s", out)
	}
	out, _ = call{}.must(t, "progress", "--record", path, "--singer", "Berta")
	if !strings.Contains(out, "Berta: 5 answers, on "+evening(0)+", 4 right; not enough data") {
		t.Errorf("five answers:\n%s", out)
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--singer", "Clara"}, exitFailed, `it has nothing of a singer "Clara"; it has Anna, Berta`},
		{nil, exitFailed, `it has nothing of a singer "me"; it has Anna, Berta`},
		{[]string{"--singer", "Anna", "--key", "D"}, exitFailed, "it has no answer of Anna in D major that counts"},
		{[]string{"--singer", "Berta", "--since", evening(4)}, exitFailed, "it has no answer of Berta since " + evening(4) + " that counts"},
		{[]string{"--singer", "Anna", "--since", evening(6)}, exitUsage, "--since: " + evening(6) + " is still to come; today is " + today()},
		{[]string{"--singer", "Anna", "--since", "yesterday"}, exitUsage, `--since: "yesterday" is no day like 2026-11-25`},
		{[]string{"--singer", "Anna", "--key", "H"}, exitUsage, `--key: not a key: "H"`},
		{[]string{"--singer", "Anna", "--names", "letters"}, exitUsage, "want movable or numbers"},
		{[]string{"--singer", "Anna", "--svg", path}, exitFailed, "--svg: " + path + ": not a directory"},
		{[]string{"--singer", "Anna", "--html", filepath.Join(dir, "none", "x.html")}, exitFailed, "none/x.html: no such file or directory"},
	} {
		args := append([]string{"progress", "--record", path}, c.args...)
		stdout, stderr, code := call{}.run(t, args...)
		refused(t, args, stdout, stderr, code, c.code, c.says)
	}
}

func TestProgressOfNothing(t *testing.T) {
	dir := t.TempDir()
	empty, damaged := filepath.Join(dir, "empty.db"), filepath.Join(dir, "damaged.db")
	r, err := store.OpenRecord(empty, lateEvening)
	if err != nil {
		t.Fatal(err)
	}
	r.Close()
	singing(t, damaged, "me", lateEvening, 400)
	b, err := os.ReadFile(damaged)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(b) / 3; i < 2*len(b)/3; i++ {
		b[i] = 0xa5
	}
	if err := os.WriteFile(damaged, b, 0o600); err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(dir, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("no record\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{
		empty:                         "empty.db: the record is empty; singback today begins it",
		damaged:                       "damaged.db: it is damaged",
		text:                          "text.db: ",
		filepath.Join(dir, "none.db"): "there is no practice record yet; singback today begins one",
	} {
		args := []string{"progress", "--record", path}
		stdout, stderr, code := call{}.run(t, args...)
		refused(t, args, stdout, stderr, code, exitFailed, says)
	}
}

// Charts and the page are written anew, whole.
func TestProgressFiles(t *testing.T) {
	dir := t.TempDir()
	path, page := filepath.Join(dir, "record.db"), filepath.Join(dir, "page.html")
	singing(t, path, "me", lateEvening, 30)
	var before []byte
	for range 2 {
		_, stderr := call{}.must(t, "progress", "--force", "--record", path, "--svg", filepath.Join(dir, "svg"), "--png", filepath.Join(dir, "a", "png"), "--html", page)
		if strings.Count(stderr, "\n") != 3 {
			t.Errorf("%q", stderr)
		}
		b, err := os.ReadFile(page)
		if err != nil || len(b) < 1000 || before != nil && !bytes.Equal(b, before) {
			t.Fatalf("%d bytes, %v", len(b), err)
		}
		before = b
	}
	for pattern, want := range map[string]int{"svg/*.svg": 7, "a/png/*.png": 7, ".singback-*": 0, "svg/.singback-*": 0} {
		if files, err := filepath.Glob(filepath.Join(dir, pattern)); err != nil || len(files) != want {
			t.Errorf("%s: %v, want %d", pattern, files, want)
		}
	}
}

// 100 000 answers: all that progress prints, and its charts.
func BenchmarkProgress100000(b *testing.B) {
	dir := b.TempDir()
	path := filepath.Join(dir, "record.db")
	small := filepath.Join(dir, "small.db")
	for i := range 3 {
		call{}.must(b, "today", "--input", "simulated", "--minutes", "10", "--record", small, "--date", fmt.Sprintf("2026-11-%02d", i+1))
	}
	export, _ := call{}.must(b, "record", "export", "--record", small)
	header, rows, _ := strings.Cut(export, "\n")
	n := 0
	var all strings.Builder
	all.WriteString(header + "\n")
	for year := 0; n < 100_000; year++ {
		for line := range strings.Lines(rows) {
			if n++; n > 100_000 {
				break
			}
			// Another session of another year: the first two digits of its identifier and
			// the year of its times.
			fields := strings.SplitN(line, ",", 3)
			fields[1] = fmt.Sprintf("%03x", year) + fields[1][3:]
			all.WriteString(fields[0] + "," + fields[1] + "," + strings.ReplaceAll(fields[2], "2026-11", fmt.Sprintf("%04d-11", 1800+year)))
		}
	}
	call{stdin: strings.NewReader(all.String())}.must(b, "record", "import", "-", "--record", path)
	for _, args := range [][]string{{"--format", "text"}, {"--html", filepath.Join(dir, "page.html")}} {
		b.Run(args[0]+" "+filepath.Base(args[1]), func(b *testing.B) {
			for b.Loop() {
				call{}.must(b, append([]string{"progress", "--record", path}, args...)...)
			}
		})
	}
}
