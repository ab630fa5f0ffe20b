package page

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/net/webdav"

	"singback/internal/handin"
)

// classFolder is a way to a WebDAV server of golang.org/x/net, in memory, that lets Anna
// in; it is no network.
type classFolder struct {
	fs    webdav.FileSystem
	asked []string
	fail  error
}

func (c *classFolder) RoundTrip(r *http.Request) (*http.Response, error) {
	c.asked = append(c.asked, r.Method+" "+r.URL.String())
	if c.fail != nil {
		return nil, c.fail
	}
	w := httptest.NewRecorder()
	inside := r.Clone(r.Context())
	inside.Host = r.URL.Host
	if inside.Body == nil {
		inside.Body = http.NoBody
	}
	switch user, password, _ := r.BasicAuth(); {
	case r.URL.Path == "/dav/moved":
		http.Redirect(w, r, "https://example.net/elsewhere?secret=1", http.StatusFound)
	case user != "änna" || password != "la ti":
		w.Header().Set("WWW-Authenticate", `Basic realm="class"`)
		w.WriteHeader(http.StatusUnauthorized)
	default:
		(&webdav.Handler{FileSystem: c.fs, LockSystem: webdav.NewMemLS()}).ServeHTTP(w, inside)
	}
	return w.Result(), nil
}

// handing is a server whose page hands in.
func handing(t *testing.T) (*Server, *classFolder) {
	t.Helper()
	s := served(t)
	way := &classFolder{fs: webdav.NewMemFS()}
	if err := way.fs.Mkdir(context.Background(), "/dav", 0o777); err != nil {
		t.Fatal(err)
	}
	to, err := handin.ParseAddress("https://example.org/dav/", false)
	if err != nil {
		t.Fatal(err)
	}
	s.home.HandIn, s.home.Way = to, way
	return NewServer(site(t), s.home, port, t.Output()), way
}

// who are the headers of a request of the page's.
var who = []string{"Singback-User", "%C3%A4nna", "Singback-Password", "la%20ti", "Content-Type", "application/octet-stream"}

// Without an address nothing of it is there: no mark in the page, no file, nobody who
// relays. With one the page has it, and speaks with this computer alone.
func TestHandInOnlyWhereItIsSet(t *testing.T) {
	s := served(t)
	refusedWith(t, "handin.json", s.ask(http.MethodGet, "handin.json", ""), http.StatusNotFound)
	refusedWith(t, "data/handin", s.ask(http.MethodPost, "data/handin", ""), http.StatusNotFound)
	if page := s.ask(http.MethodGet, "", "").Body.String(); strings.Contains(page, "hand-in") {
		t.Error(page)
	}
	web, built := made()
	web["index.html"].Data = []byte("<meta content=\"connect-src 'self'; worker-src 'self'\">\n<body data-screen=\"page\">\n")
	plain, err := New(web, built)
	if err != nil {
		t.Fatal(err)
	}
	for _, relay := range []bool{true, false} {
		out := plain.HandingIn("https://example.org/dav/", "https://example.org", relay)
		index, said := string(out.files["index.html"].data), string(out.files["handin.json"].data)
		policy := "connect-src 'self'; "
		file := `{"address":"https://example.org/dav/","relay":true}` + "\n"
		if !relay {
			policy = "connect-src 'self' https://example.org; "
			file = `{"address":"https://example.org/dav/","relay":false}` + "\n"
		}
		if !strings.Contains(index, policy) || !strings.Contains(index, `<body data-hand-in="yes" data-screen`) || said != file {
			t.Errorf("relay %v: %s, %s", relay, index, said)
		}
		if out.Version() == plain.Version() || out.Size() > plain.Size()+100 {
			t.Errorf("relay %v: version %s, %d bytes; before %s, %d", relay, out.Version(), out.Size(), plain.Version(), plain.Size())
		}
		if strings.Contains(string(plain.files["index.html"].data), "hand-in") {
			t.Error("the page without an address has changed")
		}
	}
	dir := filepath.Join(t.TempDir(), "page")
	if _, err := plain.HandingIn("https://example.org/dav/", "https://example.org", false).WriteFolder(dir, false); err != nil {
		t.Fatal(err)
	}
	if list, err := os.ReadFile(filepath.Join(dir, "files.json")); err != nil || !strings.Contains(string(list), `"path":"handin.json"`) {
		t.Errorf("%s, %v", list, err)
	}
}

// What the page asks for is passed on to the folder that was set, and its server's word
// comes back; nothing goes anywhere else.
func TestHandInRelays(t *testing.T) {
	s, way := handing(t)
	ask := func(body string, headers ...string) *httptest.ResponseRecorder {
		t.Helper()
		return s.ask(http.MethodPost, "data/handin", body, append(headers, who...)...)
	}
	put := ask("la la la", "Singback-Method", "PUT", "Singback-Name", "%C3%9Cbung%201%3F.part")
	move := ask("", "Singback-Method", "MOVE", "Singback-Name", "%C3%9Cbung%201%3F.part", "Singback-As", "%C3%9Cbung%201.wav")
	list := ask("", "Singback-Method", "PROPFIND", "Singback-Name", "", "Singback-Depth", "1")
	get := ask("", "Singback-Method", "GET", "Singback-Name", "%C3%9Cbung%201.wav")
	none := ask("", "Singback-Method", "GET", "Singback-Name", "none")
	for i, got := range []struct {
		w      *httptest.ResponseRecorder
		status string
		holds  string
	}{{put, "201", ""}, {move, "201", ""}, {list, "207", "%C3%9Cbung%201.wav"}, {get, "200", "la la la"}, {none, "404", ""}} {
		if got.w.Code != http.StatusOK || got.w.Header().Get("Singback-Status") != got.status || !strings.Contains(got.w.Body.String(), got.holds) {
			t.Errorf("%d: %d, %s: %s", i, got.w.Code, got.w.Header().Get("Singback-Status"), got.w.Body)
		}
	}
	f, err := way.fs.OpenFile(context.Background(), "/dav/Übung 1.wav", os.O_RDONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if b, err := io.ReadAll(f); err != nil || string(b) != "la la la" {
		t.Errorf("%q, %v", b, err)
	}
	wrong := s.ask(http.MethodPost, "data/handin", "", "Singback-Method", "PROPFIND", "Singback-Depth", "0", "Singback-User", "x", "Singback-Password", "y")
	if wrong.Code != 200 || wrong.Header().Get("Singback-Status") != "401" {
		t.Errorf("wrong password: %d, %v", wrong.Code, wrong.Header())
	}
	moved := ask("", "Singback-Method", "GET", "Singback-Name", "moved")
	if moved.Header().Get("Singback-Status") != "0" || !strings.Contains(moved.Body.String(), `"kind":"elsewhere"`) || strings.Contains(moved.Body.String(), "secret") {
		t.Errorf("sent on: %v, %s", moved.Header(), moved.Body)
	}
	way.fail = errors.New("the cable is cut")
	gone := ask("", "Singback-Method", "GET", "Singback-Name", "x")
	if gone.Header().Get("Singback-Status") != "0" || !strings.Contains(gone.Body.String(), `"kind":"gone"`) {
		t.Errorf("gone: %v, %s", gone.Header(), gone.Body)
	}
	for _, a := range way.asked {
		if _, address, _ := strings.Cut(a, " "); !strings.HasPrefix(address, "https://example.org/dav/") {
			t.Errorf("asked: %s", a)
		}
	}
}

// Whoever is not the page is refused as everywhere, and what is no request for something in
// the folder is not made.
func TestHandInRefuses(t *testing.T) {
	s, way := handing(t)
	good := append([]string{"Singback-Method", "PROPFIND", "Singback-Depth", "0"}, who...)
	for what, c := range map[string]struct {
		method  string
		body    string
		headers []string
		status  int
	}{
		"another page":        {http.MethodPost, "", append([]string{"Origin", "https://example.net"}, good...), http.StatusForbidden},
		"another site":        {http.MethodPost, "", append([]string{"Sec-Fetch-Site", "cross-site"}, good...), http.StatusForbidden},
		"another host":        {http.MethodPost, "", append([]string{"Host", "example.net"}, good...), http.StatusForbidden},
		"no POST":             {http.MethodGet, "", good, http.StatusMethodNotAllowed},
		"a form":              {http.MethodPost, "a=b", []string{"Content-Type", "application/x-www-form-urlencoded"}, http.StatusUnsupportedMediaType},
		"too much":            {http.MethodPost, strings.Repeat("x", handin.MaxPass+1), append([]string{"Singback-Method", "PUT", "Singback-Name", "a"}, who...), http.StatusRequestEntityTooLarge},
		"no method":           {http.MethodPost, "", who, http.StatusBadRequest},
		"DELETE":              {http.MethodPost, "", append([]string{"Singback-Method", "DELETE", "Singback-Name", "a"}, who...), http.StatusBadRequest},
		"the folder replaced": {http.MethodPost, "", append([]string{"Singback-Method", "PUT", "Singback-Name", ""}, who...), http.StatusBadRequest},
		"a path":              {http.MethodPost, "", append([]string{"Singback-Method", "PUT", "Singback-Name", "..%2Fa"}, who...), http.StatusBadRequest},
		"a path to move to":   {http.MethodPost, "", append([]string{"Singback-Method", "MOVE", "Singback-Name", "a", "Singback-As", "b%2Fc"}, who...), http.StatusBadRequest},
		"up":                  {http.MethodPost, "", append([]string{"Singback-Method", "GET", "Singback-Name", ".."}, who...), http.StatusBadRequest},
		"everything below":    {http.MethodPost, "", append([]string{"Singback-Method", "PROPFIND", "Singback-Depth", "infinity"}, who...), http.StatusBadRequest},
		"no text":             {http.MethodPost, "", append([]string{"Singback-Method", "GET", "Singback-Name", "%zz"}, who...), http.StatusBadRequest},
		"a control":           {http.MethodPost, "", append([]string{"Singback-Method", "GET", "Singback-Name", "a%0ab"}, who...), http.StatusBadRequest},
	} {
		refusedWith(t, what, s.ask(c.method, "data/handin", c.body, c.headers...), c.status)
	}
	if len(way.asked) != 0 {
		t.Errorf("asked: %q", way.asked)
	}
}
