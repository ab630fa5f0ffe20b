package handin

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// fetchAll fetches the class into a folder.
func fetchAll(t *testing.T, f *Folder, to string) (came, left []string) {
	t.Helper()
	list, err := f.Fetch(context.Background(), to, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, got := range list {
		if got.New {
			rel, err := filepath.Rel(to, got.File)
			if err != nil {
				t.Fatal(err)
			}
			came = append(came, filepath.ToSlash(rel))
		}
		if got.Note != "" {
			left = append(left, got.Note)
		}
	}
	return came, left
}

// Everything comes once, from students' folders too, with its time; what is half sent is
// named and left; what changes comes beside what was there.
func TestFetch(t *testing.T) {
	s := serve(t)
	f := s.folder(t)
	ctx := context.Background()
	for _, dir := range []string{"/class/Anna B", "/class/a", "/class/a/b", "/class/a/b/c", "/class/a/b/c/d"} {
		if err := s.fs.Mkdir(ctx, dir, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	s.put(t, "Anna B/la ä.wav", sound(5000))
	s.put(t, "a/b/c/deep.wav", "1")
	s.put(t, "a/b/c/d/deeper.wav", "2")
	s.put(t, "empty.csv", "")
	large := sound(usual + 77)
	if _, err := f.Send(ctx, "large.wav", strings.NewReader(large), int64(len(large)), nil); err != nil {
		t.Fatal(err)
	}
	half := piece{name: "half.wav", id: "0123456789abcdef", size: 5 * usual, i: 1, of: 5}
	for _, half.i = range []int{1, 3, 5} {
		s.put(t, half.String(), sound(usual))
	}
	half.i = 2
	s.put(t, half.String(), sound(usual-1)) // not whole itself
	to := filepath.Join(t.TempDir(), "takes")
	came, left := fetchAll(t, f, to)
	slices.Sort(came)
	if want := []string{"Anna B/la ä.wav", "a/b/c/deep.wav", "empty.csv", "large.wav"}; !slices.Equal(came, want) {
		t.Errorf("came %q, want %q", came, want)
	}
	if want := []string{"a/b/c/d lies too deep: 3 folders below the address are looked through", "half.wav is half sent: 3 of 5 pieces have come"}; !slices.Equal(slices.Sorted(slices.Values(left)), want) {
		t.Errorf("left %q, want %q", left, want)
	}
	if b, err := os.ReadFile(filepath.Join(to, "large.wav")); err != nil || string(b) != large {
		t.Errorf("large.wav: %d bytes, %v", len(b), err)
	}
	info, err := os.Stat(filepath.Join(to, "empty.csv"))
	there, bad := s.fs.Stat(ctx, "/class/empty.csv")
	if err != nil || bad != nil || !info.ModTime().Equal(there.ModTime().Truncate(time.Second)) {
		t.Errorf("%v, %v, %v", info, err, bad)
	}

	s.goesWrong(nil)
	if came, _ := fetchAll(t, f, to); len(came) != 0 || len(s.requests(http.MethodGet)) != 0 {
		t.Errorf("came again: %q, %q", came, s.requests(http.MethodGet))
	}
	s.put(t, "empty.csv", "no longer")
	if err := os.Remove(filepath.Join(to, "large.wav")); err != nil {
		t.Fatal(err)
	}
	// Half of what it was before is of no use any more.
	if err := os.WriteFile(filepath.Join(to, ".singback-0123456789abcdef.fetching"), []byte("half"), 0o666); err != nil {
		t.Fatal(err)
	}
	if came, _ := fetchAll(t, f, to); !slices.Equal(came, []string{"empty-2.csv", "large.wav"}) && !slices.Equal(came, []string{"large.wav", "empty-2.csv"}) {
		t.Errorf("what changed, and what is gone: %q", came)
	}
	if b, err := os.ReadFile(filepath.Join(to, "empty.csv")); err != nil || len(b) != 0 {
		t.Errorf("what was fetched before: %q, %v", b, err)
	}
	// Nothing else is left over.
	var names []string
	filepath.WalkDir(to, func(path string, d fs.DirEntry, err error) error {
		if !d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != notesFile {
			names = append(names, path)
		}
		return err
	})
	if len(names) > 0 {
		t.Errorf("left over: %q", names)
	}
}

// A connection that breaks is gone on with by a Range, at once and by the next call; a
// server that knows none sends all of it, and the result is the same.
func TestFetchGoesOn(t *testing.T) {
	for _, ranges := range []bool{true, false} {
		for _, pieces := range []bool{false, true} {
			s := serve(t)
			f := s.folder(t)
			text := sound(3 << 20)
			if pieces {
				text = sound(usual + 3<<20)
				if _, err := f.Send(context.Background(), "take.wav", strings.NewReader(text), int64(len(text)), nil); err != nil {
					t.Fatal(err)
				}
			} else {
				s.put(t, "take.wav", text)
			}
			breaks := 8 // more often than it is tried
			var asked []string
			s.goesWrong(func(w http.ResponseWriter, r *http.Request) bool {
				if r.Method != http.MethodGet {
					return false
				}
				asked = append(asked, r.Header.Get("Range"))
				if !ranges {
					r.Header.Del("Range")
				}
				if breaks--; breaks < 0 {
					return false
				}
				file, err := s.fs.OpenFile(r.Context(), r.URL.Path, 0, 0)
				if err != nil {
					t.Error(err)
					return false
				}
				defer file.Close()
				http.ServeContent(&cutting{ResponseWriter: w, left: 300_000}, r, "", time.Time{}, file)
				return true
			})
			to := t.TempDir()
			if _, err := f.Fetch(context.Background(), to, nil); !isKind(err, Gone) {
				t.Fatalf("ranges %v, pieces %v: %v", ranges, pieces, err)
			}
			if files, err := filepath.Glob(filepath.Join(to, "take*")); err != nil || len(files) != 0 {
				t.Errorf("half of it has a name: %q", files)
			}
			came, _ := fetchAll(t, f, to)
			b, err := os.ReadFile(filepath.Join(to, "take.wav"))
			if err != nil || string(b) != text || !slices.Equal(came, []string{"take.wav"}) {
				t.Errorf("ranges %v, pieces %v: %d bytes, %v; want %d", ranges, pieces, len(b), err, len(text))
			}
			if last := asked[len(asked)-1]; !pieces && !strings.HasPrefix(last, "bytes=") {
				t.Errorf("the last was asked for as %q", asked)
			}
		}
	}
}

// cutting breaks the connection after so many bytes.
type cutting struct {
	http.ResponseWriter
	left int
}

func (c *cutting) Write(p []byte) (int, error) {
	if len(p) > c.left {
		c.ResponseWriter.Write(p[:c.left])
		panic(http.ErrAbortHandler)
	}
	c.left -= len(p)
	return c.ResponseWriter.Write(p)
}

// Pieces whose bytes are others than their names say are refused, and named.
func TestFetchOtherPieces(t *testing.T) {
	s := serve(t)
	p := piece{name: "take.wav", id: "0123456789abcdef", size: 2 * small, i: 1, of: 2}
	s.put(t, p.String(), sound(small))
	p.i = 2
	s.put(t, p.String(), sound(small))
	came, left := fetchAll(t, s.folder(t), t.TempDir())
	if len(came) != 0 || len(left) != 1 || left[0] != "take.wav: its pieces do not make what was sent: have it sent again" {
		t.Errorf("%q, %q", came, left)
	}
}

// A listing that names what lies elsewhere, or says nonsense, makes no file outside the
// folder, and no panic.
func TestHostileListing(t *testing.T) {
	hrefs := []string{
		"/class/../../etc/passwd", "/class/..%2f..%2fx", "/class/%2e%2e", "/class/..", "/class/a%5cb", "/etc/passwd", "https://example.org/class/x", "/class/a/b",
		"", "%zz", "/class/", "/class/a%00b", "/class/%0aa", "/class/..a", "/class/ok.wav", "ok2.wav",
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodGet {
			fmt.Fprint(w, "la")
			return
		}
		w.WriteHeader(http.StatusMultiStatus)
		fmt.Fprint(w, `<?xml version="1.0"?><multistatus xmlns="DAV:">`)
		for _, href := range hrefs {
			fmt.Fprintf(w, `<response><href>%s</href><propstat><prop><getcontentlength>2</getcontentlength></prop></propstat></response>`, href)
		}
		fmt.Fprint(w, `<response><href>/class/none</href><propstat><prop><getcontentlength>-3</getcontentlength><getlastmodified>never</getlastmodified></prop><status>HTTP/1.1 200 OK</status></propstat></response></multistatus>`)
	}))
	defer server.Close()
	top := t.TempDir()
	to := filepath.Join(top, "a", "takes")
	f := quick(t, server.URL+"/class", "", "")
	came, left := fetchAll(t, f, to)
	want := []string{"a", "a.wav", "none", "ok.wav", "ok2.wav", "x"}
	var names []string
	filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && d.Name() != notesFile {
			rel, _ := filepath.Rel(to, path)
			names = append(names, rel)
		}
		return err
	})
	if slices.Sort(names); slices.ContainsFunc(names, func(n string) bool { return !filepath.IsLocal(n) }) || len(names) != len(came) || len(left) != 0 {
		t.Errorf("files %q, came %q, left %q", names, came, left)
	}
	known := map[string]bool{}
	for _, n := range want {
		known[n] = true
	}
	if !slices.Contains(names, "ok.wav") || !slices.Contains(names, "ok2.wav") || slices.Contains(names, "passwd") || slices.Contains(names, "b") {
		t.Errorf("%q; %v", names, slices.Collect(maps.Keys(known)))
	}
}

// On Windows a name is one that Windows has.
func TestLocalName(t *testing.T) {
	for given, want := range map[string]string{`a"b?.wav`: "a_b_.wav", "con.wav": "_con.wav", "LPT1": "_LPT1", "la.wav": "la.wav"} {
		if got := localName(given, true); got != want {
			t.Errorf("%q: %q, want %q", given, got, want)
		}
	}
}

// FuzzListing: whatever a server answers, what comes of it lies in the folder.
func FuzzListing(f *testing.F) {
	f.Add(`<?xml version="1.0"?><D:multistatus xmlns:D="DAV:"><D:response><D:href>/class/a.wav</D:href><D:propstat><D:prop><D:getcontentlength>5</D:getcontentlength><D:resourcetype><D:collection/></D:resourcetype></D:prop><D:status>HTTP/1.1 200 OK</D:status></D:propstat></D:response></D:multistatus>`)
	f.Add(`<multistatus xmlns="DAV:"><response><href>../x</href></response>`)
	a, err := ParseAddress("https://example.org/class/", false)
	if err != nil {
		f.Fatal(err)
	}
	c := newClient(a)
	at, _ := url.Parse("https://example.org/class/")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := c.entries(context.Background(), strings.NewReader(text), at)
		if err != nil && (err.Error() == "" || strings.Contains(err.Error(), "\n")) {
			t.Errorf("%q", err)
		}
		for _, e := range all {
			if name := localName(e.name, false); !filepath.IsLocal(name) || strings.ContainsAny(name, "/\\") {
				t.Errorf("%q becomes %q", e.name, name)
			}
		}
		group(all)
	})
}

// What is forgotten leaves no trace in what Fetch keeps; the rest is not fetched again.
func TestForget(t *testing.T) {
	s := serve(t)
	f := s.folder(t)
	s.put(t, "Anna 1.wav", "la")
	s.put(t, "Berta 1.wav", "fa")
	to := t.TempDir()
	fetchAll(t, f, to)
	anna := func(path, file string) bool {
		return strings.HasPrefix(path, "Anna") && strings.HasPrefix(file, "Anna")
	}
	for _, want := range []int{1, 0} {
		if n, err := Forget(to, anna); n != want || err != nil {
			t.Errorf("%d, %v; want %d", n, err, want)
		}
	}
	if err := os.Remove(filepath.Join(to, "Anna 1.wav")); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(to)
	if err != nil || len(entries) != 2 {
		t.Errorf("%v, %v", entries, err)
	}
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(to, e.Name()))
		if err != nil || strings.Contains(e.Name()+string(b), "Anna") {
			t.Errorf("%s holds %q, %v", e.Name(), b, err)
		}
	}
	if came, _ := fetchAll(t, f, to); !slices.Equal(came, []string{"Anna 1.wav"}) {
		t.Errorf("came %q", came)
	}
	if n, err := Forget(t.TempDir(), anna); n != 0 || err != nil {
		t.Error(n, err)
	}
	for _, want := range []bool{true, false} {
		if was, err := ForgetFile(filepath.Join(to, "Anna 1.wav")); was != want || err != nil {
			t.Errorf("%v, %v; want %v", was, err, want)
		}
	}
}
