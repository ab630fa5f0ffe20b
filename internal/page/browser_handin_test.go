package page_test

import (
	"context"
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"

	"singback/internal/testkit/davserver"
)

// corsLines are those that the handbook shows for Apache, for a page at an origin.
func corsLines(t *testing.T, origin string) string {
	t.Helper()
	b, err := os.ReadFile("../help/handin.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(b), "\n    <Location /dav/class/>")
	block, _, ended := strings.Cut(rest, "</Location>")
	if !ok || !ended {
		t.Fatal("the topic handin shows no lines for Apache")
	}
	return strings.NewReplacer("https://example.net", origin, "/etc/apache2/class.users", "DIR/users").Replace("<Location /class/>" + block + "</Location>\n")
}

// choose hands files to Choose files.
func (p *tab) choose(files ...string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hangs)
	defer cancel()
	p.must(chromedp.Do(ctx, chromedp.SetUploadFiles(chromedp.CSS(`[data-part="hand-in"] input[type="file"]`), files, chromedp.NodeReady)))
}

// type_ types into a field of the part, by its ID.
func (p *tab) type_(id, text string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hangs)
	defer cancel()
	evaluate[int](p, fmt.Sprintf("document.getElementById(%q).value = ''; 0", id))
	p.must(chromedp.Do(ctx, chromedp.SendKeys(chromedp.CSS("#"+id), text)))
}

// The page hands in to Apache, in both homes: over this computer by Digest, and from a web
// server's page by itself, where the handbook's lines let it. It asks first, says a wrong password,
// goes on with the right one, and what lies there is what was chosen. Without an
// address there is nothing of it.
func TestBrowserHandIn(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	anna, err := filepath.Abs("../../testdata/record/anna.csv")
	if err != nil {
		t.Fatal(err)
	}
	prog.run(t, "record", "import", anna)
	var page atomic.Value // what the web server serves, as soon as it is known for whom
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		page.Load().(func(http.ResponseWriter, *http.Request))(w, r)
	}))
	defer web.Close()
	s := davserver.Apache(t, corsLines(t, web.URL))
	dir := t.TempDir()
	prog.run(t, "page", "--out", filepath.Join(dir, "page"), "--hand-in", s.Address+"/class/")
	page.Store(http.FileServer(http.Dir(filepath.Join(dir, "page"))).ServeHTTP)
	small, large := filepath.Join(dir, "Übung 1.wav"), filepath.Join(dir, "large.wav")
	text := strings.Repeat("la ti do ", 1_000_000)
	for path, text := range map[string]string{small: "la ti do", large: text} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ctx := browse(t)
	for _, c := range []struct{ name, address, folder string }{
		{"here", prog.serve(t, "--singer", "Anna", "--hand-in", s.Address+"/digest/"), "digest"},
		{"a web server", web.URL + "/", "class"},
	} {
		p := open(t, ctx, c.address)
		p.go_("record")
		p.await("the part", `document.querySelector('[data-part="hand-in"] ul, [data-part="hand-in"] h3')`)
		p.choose(small, large)
		p.await("the files", `document.querySelectorAll('[data-part="hand-in"] li').length === 2`)
		if c.name == "here" {
			p.press("Add my record of practice")
			p.await("the record", `document.querySelector('[data-part="hand-in"] pre')?.textContent.startsWith("singer,session,")`)
		}
		p.type_("hand-in-user", davserver.User)
		p.type_("hand-in-password", "wrong")
		send := "Send 2 files to "
		if c.name == "here" {
			send = "Send 3 files to "
		}
		host := strings.TrimPrefix(s.Address, "http://")
		p.press(send + host)
		p.await("the question", `[...document.querySelectorAll('[data-part="hand-in"] .caution')].some((e) => e.textContent.startsWith("Send Übung 1.wav (8 bytes)"))`)
		if left, _ := os.ReadDir(filepath.Join(s.Root, c.folder)); len(left) > 2 {
			t.Errorf("%s: %d files lie there before it was asked", c.name, len(left))
		}
		p.press("Yes, send")
		p.await("the wrong password", `document.querySelector('[data-part="hand-in"] [role="status"]').textContent.includes("does not know this name with this password")`)
		p.type_("hand-in-password", davserver.Password)
		p.press("Go on")
		p.await("the end", `document.querySelector('[data-part="hand-in"] [role="status"]').textContent === "Everything has arrived."`)
		got := map[string]string{}
		entries, err := os.ReadDir(filepath.Join(s.Root, c.folder))
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		joined := ""
		for _, e := range entries {
			if e.IsDir() {
				continue
			}
			b, err := os.ReadFile(filepath.Join(s.Root, c.folder, e.Name()))
			if err != nil {
				t.Fatal(err)
			}
			got[e.Name()] = string(b)
			if strings.HasPrefix(e.Name(), "large.wav.") {
				joined += string(b)
			}
			names = append(names, e.Name())
		}
		if got["Übung 1.wav"] != "la ti do" || joined != text {
			t.Errorf("%s: there lie %q; %d bytes of large.wav", c.name, names, len(joined))
		}
		if c.name == "here" {
			want, _ := prog.run(t, "record", "export", "--singer", "Anna")
			if i := slices.IndexFunc(names, func(n string) bool { return strings.HasSuffix(n, ".csv") }); i < 0 || got[names[i]] != want {
				t.Errorf("%s: the record is not there: %q", c.name, names)
			}
		}
		p.close()
	}
	plain := open(t, ctx, newProgram(t).serve(t))
	plain.go_("record")
	plain.await("the screen", `document.querySelector(".record section")`)
	if said := plain.text(); strings.Contains(said, "Hand in") {
		t.Errorf("without an address the page says %q", said)
	}
}

// What is stopped ends at once and goes on where it was: the second piece is held back by
// what stands between the browser and Apache, until somebody has pressed Stop.
func TestBrowserHandInStops(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	var page, between atomic.Value
	handler := func(of *atomic.Value) *httptest.Server {
		of.Store(http.NotFound)
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			of.Load().(func(http.ResponseWriter, *http.Request))(w, r)
		}))
		t.Cleanup(server.Close)
		return server
	}
	web, way := handler(&page), handler(&between)
	s := davserver.Apache(t, corsLines(t, web.URL))
	target, err := url.Parse(s.Address)
	if err != nil {
		t.Fatal(err)
	}
	proxy := &httputil.ReverseProxy{Rewrite: func(r *httputil.ProxyRequest) { r.SetURL(target) }, ErrorLog: log.New(io.Discard, "", 0)}
	var held atomic.Bool
	var puts atomic.Int64
	held.Store(true)
	between.Store(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodPut {
			puts.Add(1)
			if held.Load() && strings.Contains(r.URL.Path, "002-of") {
				io.Copy(io.Discard, r.Body)
				<-r.Context().Done()
				return
			}
		}
		proxy.ServeHTTP(w, r)
	})
	dir := t.TempDir()
	prog.run(t, "page", "--out", filepath.Join(dir, "page"), "--hand-in", way.URL+"/class/")
	page.Store(http.FileServer(http.Dir(filepath.Join(dir, "page"))).ServeHTTP)
	large := filepath.Join(dir, "large.wav")
	if err := os.WriteFile(large, []byte(strings.Repeat("la ti do ", 1_000_000)), 0o600); err != nil {
		t.Fatal(err)
	}
	status := func(holds string) string {
		return fmt.Sprintf(`document.querySelector('[data-part="hand-in"] [role="status"]').textContent.includes(%q)`, holds)
	}
	p := open(t, browse(t), web.URL+"/")
	p.go_("record")
	p.await("the part", `document.querySelector('[data-part="hand-in"] h3')`)
	p.choose(large)
	p.type_("hand-in-as", "Anna 2")
	p.type_("hand-in-user", davserver.User)
	p.type_("hand-in-password", davserver.Password)
	p.press("Send 1 file to " + strings.TrimPrefix(way.URL, "http://"))
	p.press("Yes, send")
	p.await("the first piece", status("Anna 2 large.wav: 4.2 MB of 9.0 MB sent."))
	if folder := os.Getenv("SINGBACK_SHOTS"); folder != "" { // to be looked at
		picture, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
		p.must(err)
		p.must(os.WriteFile(filepath.Join(folder, "hand-in-sends.png"), picture, 0o644))
	}
	if bar := evaluate[float64](p, `document.querySelector('[data-part="hand-in"] progress').value`); bar < 0.4 || bar > 0.5 {
		t.Errorf("the bar stands at %.2f", bar)
	}
	p.press("Stop")
	p.await("that it stopped", status("Stopped. 1 of 3 pieces have come; Go on sends the rest."))
	held.Store(false)
	before := puts.Load()
	p.press("Go on")
	p.await("the end", status("Everything has arrived."))
	if n := puts.Load() - before; n != 2 {
		t.Errorf("%d pieces were sent after it, want 2", n)
	}
	p.calm()
}
