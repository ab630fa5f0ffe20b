package page

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"singback/calib"
	"singback/internal/kept"
	"singback/internal/store"
)

// rows are answers of Anna, an invented singer, as lines of JSON.
func rows(t testing.TB, n int) string {
	t.Helper()
	in, err := os.Open("../../testdata/record/anna.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	path := filepath.Join(t.TempDir(), "all.db")
	s := served(t)
	if _, err := store.ImportRecord(t.Context(), path, s.home.Now(), in); err != nil {
		t.Fatal(err)
	}
	all := exported(t, path, store.JSONLines)
	lines := strings.SplitAfter(all, "\n")
	if len(lines) <= n {
		t.Fatalf("%d lines, want %d", len(lines), n)
	}
	return strings.Join(lines[:n], "")
}

func exported(t testing.TB, path string, f store.Format) string {
	t.Helper()
	r, err := store.ReadRecord(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var b bytes.Buffer
	if _, err := r.Export(context.Background(), &b, f, "Anna"); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func says(t *testing.T, what string, w *httptest.ResponseRecorder, want string) {
	t.Helper()
	if w.Code != 200 || w.Body.String() != want+"\n" || w.Header().Get("Cache-Control") != "no-store" || w.Header().Get("Content-Type") != "application/json" {
		t.Errorf("%s: %d, %v, %s, want %s", what, w.Code, w.Header(), w.Body, want)
	}
	guarded(t, what, w.Header())
}

// Answers are in the record when they are acknowledged, once, however often they are
// sent; and are handed out as the terminal exports them.
func TestAnswers(t *testing.T) {
	s := served(t)
	if w := s.ask("GET", "data/record", ""); w.Code != http.StatusNoContent || w.Body.Len() > 0 {
		t.Errorf("without a record: %d, %q", w.Code, w.Body)
	}
	ten := rows(t, 10)
	says(t, "the first ten", s.ask("POST", "data/answers", ten, "Content-Type", "text/plain;charset=UTF-8"), `{"read":10,"added":10}`)
	if got := exported(t, s.home.Record, store.JSONLines); got != ten {
		t.Errorf("the record has %s", got)
	}
	says(t, "the same again", s.ask("POST", "data/answers", ten, "Content-Type", "application/x-ndjson"), `{"read":10,"added":0}`)
	says(t, "and more", s.ask("POST", "data/answers", rows(t, 12)), `{"read":12,"added":2}`)
	if s.Added() != 12 {
		t.Errorf("%d answers were added, want 12", s.Added())
	}
	w := s.ask("GET", "data/record", "")
	csv := exported(t, s.home.Record, store.CSV)
	tag := w.Header().Get("ETag")
	if w.Code != 200 || w.Body.String() != csv || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" || w.Header().Get("Cache-Control") != "no-store" || tag == "" {
		t.Errorf("the record: %d, %v, %.200s", w.Code, w.Header(), w.Body)
	}
	guarded(t, "the record", w.Header())
	if w := s.ask("GET", "data/record", "", "If-None-Match", tag); w.Code != 304 || w.Body.Len() > 0 {
		t.Errorf("the same record again: %d with %d bytes", w.Code, w.Body.Len())
	}
	says(t, "an import", s.ask("POST", "data/record", csv, "Content-Type", "text/csv"), `{"read":12,"added":0}`)
	says(t, "of others", s.ask("POST", "data/record", strings.NewReplacer(`"Anna"`, `"Ben"`, `"session":"dc`, `"session":"ab`).Replace(ten)), `{"read":10,"added":10}`)
	if w := s.ask("GET", "data/record", "", "If-None-Match", tag); w.Code != 304 {
		t.Errorf("what others sang is none of Anna's: %d", w.Code)
	}
	says(t, "and more of Anna", s.ask("POST", "data/answers", rows(t, 13)), `{"read":13,"added":1}`)
	if w := s.ask("GET", "data/record", "", "If-None-Match", tag); w.Code != 200 || w.Header().Get("ETag") == tag {
		t.Errorf("a longer record: %d, %s", w.Code, w.Header().Get("ETag"))
	}
	s.home.Singer = "Nina"
	if w := s.ask("GET", "data/record", ""); w.Code != http.StatusNoContent {
		t.Errorf("of somebody without answers: %d, %q", w.Code, w.Body)
	}
}

// What has come in whole is stored, whoever waits for it; and what comes from two
// pages at once.
func TestAnswersFromSeveral(t *testing.T) {
	s := served(t)
	ctx, gone := context.WithCancel(t.Context())
	gone()
	ten := rows(t, 10)
	r := httptest.NewRequest("POST", "/"+s.key+"/data/answers", strings.NewReader(ten)).WithContext(ctx)
	says(t, "of a page that was closed", s.send(r), `{"read":10,"added":10}`)
	more := rows(t, 100)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if w := s.ask("POST", "data/answers", more); w.Code != 200 {
				t.Errorf("of several at once: %d, %s", w.Code, w.Body)
			}
		})
	}
	wg.Wait()
	if got := exported(t, s.home.Record, store.JSONLines); got != more || s.Added() != 100 {
		t.Errorf("%d were added, %d lines are there", s.Added(), strings.Count(got, "\n"))
	}
}

// What cannot be answers is refused and named, and nothing of it is stored.
func TestAnswersRefused(t *testing.T) {
	s := served(t)
	ten := rows(t, 10)
	lines := strings.SplitAfter(ten, "\n")
	big := strings.Repeat(" ", maxAnswers+1)
	for _, c := range []struct {
		what, name, body string
		headers          []string
		status           int
		says             string
	}{
		{"nothing", "data/answers", "", nil, 400, "there is nothing in it"},
		{"no JSON", "data/answers", lines[0] + "x\n", nil, 400, "line 2: "},
		{"a half line", "data/answers", lines[0] + lines[1][:50], nil, 400, "line 2: "},
		{"a list", "data/answers", "[" + lines[0] + "]", nil, 400, "line 1: "},
		{"CSV as answers", "data/answers", exampleCSV(t), nil, 400, "line 1: "},
		{"somebody else's", "data/answers", lines[0] + strings.Replace(lines[1], "Anna", "Ben", 1), nil, 400, `line 2: singer: \"Ben\"; this is the page of \"Anna\"`},
		{"a field more", "data/answers", lines[0] + strings.Replace(lines[1], "{", `{"more":1,`, 1), nil, 400, "more"},
		{"a field less", "data/answers", strings.Replace(lines[0], `"key":`, `"quay":`, 1), nil, 400, "key is missing"},
		{"no key of music", "data/answers", strings.Replace(lines[0], `"C major"`, `"H major"`, 1), nil, 400, "line 1: "},
		{"another session of that name", "data/answers", lines[0] + strings.Replace(lines[1], `"command":"today"`, `"command":"sing"`, 1), nil, 400, "line 2: "},
		{"a name like markup", "data/answers", strings.Replace(lines[0], "Anna", "<img src=x onerror=alert(1)>", 1), nil, 400, "this is the page of"},
		{"a form", "data/answers", ten, []string{"Content-Type", "application/x-www-form-urlencoded"}, 415, "text/plain"},
		{"another form", "data/record", ten, []string{"Content-Type", "multipart/form-data; boundary=x"}, 415, "text/csv"},
		{"a table as answers", "data/answers", ten, []string{"Content-Type", "text/csv"}, 415, "text/plain"},
		{"packed", "data/answers", ten, []string{"Content-Encoding", "gzip"}, 415, "text/plain"},
		{"too much", "data/answers", big, nil, 413, "1048576"},
		{"too much, said small", "data/answers", big, []string{"Content-Type", "text/plain"}, 413, "1048576"},
		{"too large a profile", "data/profile", strings.Repeat("#", maxProfile+1), nil, 413, "262144"},
		{"no export", "data/record", "a,b\n1,2\n", nil, 400, "not the columns of a practice record"},
		{"an export of nothing", "data/record", "\n\n", nil, 400, "there is nothing in it"},
	} {
		for _, length := range []bool{true, false} {
			r := httptest.NewRequest("POST", "/"+s.key+"/"+c.name, strings.NewReader(c.body))
			if c.name == "data/profile" {
				r.Method = "PUT"
			}
			if !length {
				r.ContentLength = -1 // in chunks
			}
			refusedWith(t, c.what, s.send(r, c.headers...), c.status, c.says)
		}
	}
	if _, err := os.Stat(s.home.Record); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a record came to be: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(s.home.Record), ".*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}

func exampleCSV(t *testing.T) string {
	b, err := os.ReadFile("../../testdata/record/anna.csv")
	if err != nil {
		t.Fatal(err)
	}
	return string(b[:2000])
}

// While the terminal records, the page is told so, and reads; it stores again when the
// other has ended. Between two requests the page holds nothing.
func TestRecordInUse(t *testing.T) {
	s := served(t)
	ten := rows(t, 10)
	says(t, "before", s.ask("POST", "data/answers", ten), `{"read":10,"added":10}`)
	r, err := store.OpenRecord(s.home.Record, s.home.Now())
	if err != nil {
		t.Fatalf("the page holds the record: %v", err)
	}
	refusedWith(t, "while the terminal records", s.ask("POST", "data/answers", rows(t, 11)), 409, "another singback is recording", "end the other one first")
	if w := s.ask("GET", "data/record", ""); w.Code != 200 {
		t.Errorf("reading meanwhile: %d, %s", w.Code, w.Body)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	says(t, "afterwards", s.ask("POST", "data/answers", rows(t, 11)), `{"read":11,"added":1}`)
}

// A record that is none, or damaged, is left alone, and the page says so.
func TestRecordCannotBeUsed(t *testing.T) {
	s := served(t)
	text := strings.Repeat("a letter to somebody\n", 100)
	if err := os.WriteFile(s.home.Record, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, method := range []string{"GET", "POST"} {
		refusedWith(t, method, s.ask(method, "data/record", rows(t, 1)), 500, "it is no practice record", "it was not touched")
	}
	if b, err := os.ReadFile(s.home.Record); err != nil || string(b) != text {
		t.Errorf("it was touched: %v", err)
	}
}

// Every way in which something cannot be stored has a status of its own, and most a
// hint. 507 is Insufficient Storage (RFC 4918), 409 Conflict, 413 Content Too Large,
// 415 Unsupported Media Type (RFC 9110).
func TestStatus(t *testing.T) {
	for _, c := range []struct {
		err    error
		status int
		hint   bool
	}{
		{store.ErrRecordInUse, 409, true}, {store.ErrRecordFull, 507, true}, {store.ErrRecordReadOnly, 500, true}, {store.ErrRecordDamaged, 500, true},
		{store.ErrRecordNewer, 500, true}, {store.ErrRecordForeign, 500, true}, {store.ErrRecordDisk, 500, true}, {store.ImportError{Err: errors.New("line 1: x")}, 400, false},
		{calib.Invalid{Field: "name", Problem: "it is missing"}, 400, false}, {&fs.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}, 507, true},
		{errors.New("something else"), 500, false}, {refusal{status: 418, text: "x"}, 418, false},
	} {
		got := refusalOf(fmt.Errorf("record.db: %w", c.err))
		if got.status != c.status || (got.hint != "") != c.hint || got.text == "" {
			t.Errorf("%v: %+v, want the status %d", c.err, got, c.status)
		}
	}
}

// The profile that is kept is the one that was sent, and what is no profile is not.
func TestProfile(t *testing.T) {
	s := served(t)
	var saved []calib.Profile
	var failed error
	s.home.Keep = func(p calib.Profile) (string, error) {
		saved = append(saved, p)
		return "/data/Anna.toml", failed
	}
	p := calib.Profile{Version: calib.Version, Name: "Anna", Made: calib.Date{Year: 2026, Month: 11, Day: 25}}
	text, err := kept.EncodeProfile(p)
	if err != nil {
		t.Fatal(err)
	}
	says(t, "a profile", s.ask("PUT", "data/profile", string(text), "Content-Type", "application/toml"), `{"saved":"/data/Anna.toml"}`)
	if len(saved) != 1 || saved[0] != p {
		t.Errorf("kept is %+v", saved)
	}
	for what, text := range map[string]string{
		"nothing": "", "no TOML": "<html>", "an unknown word": string(text) + "\nmore = 1\n", "of a newer one": strings.Replace(string(text), "version = ", "version = 9", 1),
	} {
		refusedWith(t, what, s.ask("PUT", "data/profile", text), 400)
	}
	if len(saved) != 1 {
		t.Errorf("%d were kept", len(saved))
	}
	failed = &fs.PathError{Op: "write", Path: "Anna.toml", Err: syscall.ENOSPC}
	refusedWith(t, "a full disk", s.ask("PUT", "data/profile", string(text)), 507, "make room")
}

// What is known is told anew each time, with whatever is in a name as text.
func TestKnown(t *testing.T) {
	s := served(t)
	k := Known{Singer: "</script>\u2028\x1b[2J", Profile: "version = 1\n", ProfileName: "Anna", Course: "name = \"x\"\n", Record: "/data/record.db", There: true, Notes: []string{"a"}}
	s.home.Known = func() (Known, error) { return k, nil }
	w := s.ask("GET", "data/known", "")
	var got Known
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || fmt.Sprint(got) != fmt.Sprint(k) || strings.Contains(w.Body.String(), "<") {
		t.Errorf("%s, %v", w.Body, err)
	}
	k = Known{Singer: "Ben"}
	says(t, "later", s.ask("GET", "data/known", ""), `{"singer":"Ben","profile":"","profile_name":"","course":"","record":"","there":false,"notes":[]}`)
	s.home.Known = func() (Known, error) { return k, errors.New("anna.toml: not a\nreadable profile") }
	refusedWith(t, "a profile that cannot be read", s.ask("GET", "data/known", ""), 500, "not a readable profile")
}
