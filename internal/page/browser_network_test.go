package page_test

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// firstVisit is what the first visit may take over the wire, in bytes.
const firstVisit = 1_600_000

// netLog is the browser's own log of its network: requests and bytes of every tab and
// worker, whoever began them.
type netLog struct {
	Constants struct {
		LogEventTypes map[string]int `json:"logEventTypes"`
	}
	Events []struct {
		Type   int
		Params json.RawMessage
	}
}

// withNetLog runs with a browser that keeps one, ends the browser, and returns the log.
func withNetLog(t *testing.T, do func(p *tab)) netLog {
	t.Helper()
	file := filepath.Join(t.TempDir(), "net.json")
	ctx := browse(t, chromedp.Flag("log-net-log", file))
	do(newTab(t, ctx))
	if err := chromedp.Cancel(ctx); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	log := read[netLog](t, data)
	if len(log.Events) < 100 {
		t.Fatalf("the log of the network has %d events", len(log.Events))
	}
	return log
}

// received is how many bytes came over the wire, with all that HTTP adds.
func (l netLog) received(t *testing.T) (bytes int) {
	t.Helper()
	kind, ok := l.Constants.LogEventTypes["SOCKET_BYTES_RECEIVED"]
	if !ok {
		t.Fatal("the log of the network knows no bytes")
	}
	for _, e := range l.Events {
		if e.Type == kind {
			bytes += read[struct {
				N int `json:"byte_count"`
			}](t, e.Params).N
		}
	}
	return bytes
}

// A request of the browser: where to, and which page asked for it, if any did.
type request struct {
	URL       string
	Initiator string
}

func (l netLog) requests(t *testing.T) (all []request) {
	t.Helper()
	kind, ok := l.Constants.LogEventTypes["URL_REQUEST_START_JOB"]
	if !ok {
		t.Fatal("the log of the network knows no requests")
	}
	for _, e := range l.Events {
		if e.Type == kind && len(e.Params) > 0 {
			all = append(all, read[request](t, e.Params))
		}
	}
	return all
}

// settled waits until a page has all that it loads by itself.
func (p *tab) settled(browserHome bool) {
	p.t.Helper()
	p.await("what is due", `document.querySelector(".standing")?.textContent.includes("Singer:")`)
	if browserHome {
		evaluate[bool](p, `navigator.serviceWorker.ready.then((r) => r.active !== null)`)
		p.await("the files for the time without a network", `navigator.serviceWorker.getRegistration().then((r) => r.active?.state === "activated")`)
	}
}

// gzipped packs text on its way, as web servers do.
func gzipped(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch filepath.Ext(r.URL.Path) {
		case "", ".html", ".js", ".css", ".json", ".svg", ".md", ".webmanifest":
			if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && r.Header.Get("Range") == "" {
				z := &packing{ResponseWriter: w}
				defer z.end()
				w = z
			}
		}
		h.ServeHTTP(w, r)
	})
}

// packing packs what is answered with status 200.
type packing struct {
	http.ResponseWriter
	zip *gzip.Writer
}

func (p *packing) WriteHeader(status int) {
	if status == http.StatusOK {
		p.Header().Del("Content-Length")
		p.Header().Set("Content-Encoding", "gzip")
		p.Header().Set("Vary", "Accept-Encoding")
		p.zip = gzip.NewWriter(p.ResponseWriter)
	}
	p.ResponseWriter.WriteHeader(status)
}

func (p *packing) Write(b []byte) (int, error) {
	if p.zip == nil {
		return p.ResponseWriter.Write(b)
	}
	return p.zip.Write(b)
}

func (p *packing) end() {
	if p.zip != nil {
		p.zip.Close()
	}
}

// What the first visit takes over the wire, of the engine and all that the service worker
// keeps, in both homes.
func TestBrowserFirstVisit(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	for _, home := range []string{"computer", "browser"} {
		address := ""
		if home == "computer" {
			address = prog.serve(t)
		} else {
			address = serveHandler(t, gzipped(http.FileServer(http.Dir(prog.folder(t)))))
		}
		log := withNetLog(t, func(p *tab) {
			p.visit(address)
			p.settled(home == "browser")
			p.calm()
		})
		n := log.received(t)
		t.Logf("the first visit, home %s: %d bytes over the wire, in %d requests", home, n, len(log.requests(t)))
		if n > firstVisit || n < firstVisit/4 {
			t.Errorf("the first visit, home %s: %d bytes over the wire, want at most %d", home, n, firstVisit)
		}
	}
}

// Over a whole session, with a drill, the record and everything to be looked up, nothing
// is asked of anybody but the server that the page came from.
func TestBrowserAsksNobodyElse(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	csv := answersOf(t, "../../testdata/record/anna.csv", "Anna", "me")
	for _, address := range []string{prog.serve(t), serveFolder(t, prog.folder(t))} {
		origin, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		want := "http://" + origin.Host
		log := withNetLog(t, func(p *tab) {
			p.visit(address)
			for _, place := range []string{"progress", "melody?level=3&key=Eb&seed=7", "key?key=Ab", "chords?key=Ab", "help", "choose?drill=sing", "record"} {
				p.go_(place)
				p.await(place, `document.querySelector("main h1")?.textContent`)
			}
			p.imported(csv)
			p.exported()
			from := p.heard()
			p.go_("sing?key=Eb&degrees=la&count=1&set=tonic&input=simulated")
			p.press("Start")
			p.event(from, "listening")
			p.settledHome()
			p.calm()
		})
		var n int
		for _, r := range log.requests(t) {
			u, err := url.Parse(r.URL)
			if err != nil {
				t.Fatal(err)
			}
			at := u.Scheme + "://" + u.Host
			switch {
			case at == want:
				n++
			case r.Initiator == "not an origin" || r.Initiator == "": // the browser for itself
			case u.Scheme == "data" || u.Scheme == "blob":
			default:
				t.Errorf("%s asked for %s", r.Initiator, r.URL)
			}
		}
		if n < 20 {
			t.Errorf("the log has %d requests to %s", n, want)
		}
		t.Logf("%d requests to the page's own server, none to anybody else", n)
	}
}

// answersOf is an export with another singer.
func answersOf(t *testing.T, file, from, to string) string {
	t.Helper()
	text := strings.ReplaceAll(string(must(os.ReadFile(file))), "\n"+from+",", "\n"+to+",")
	if !strings.Contains(text, "\n"+to+",") {
		t.Fatalf("%s has no answer of %s", file, from)
	}
	return text
}

func (p *tab) settledHome() {
	p.t.Helper()
	p.go_("")
	p.await("what is due", `document.querySelector(".standing")?.textContent.includes("Singer:")`)
}

// What would run if the page's policy let it, tried from within the page: a script in
// the text, a handler in markup, text that becomes code, another server, and a page in
// the page.
const attempts = `new Promise((done) => setTimeout(() => {
	const said = [];
	document.addEventListener("securitypolicyviolation", (e) => said.push(e.effectiveDirective));
	const put = (name, given) => {
		const e = Object.assign(document.createElement(name), given);
		document.body.append(e);
		return e;
	};
	put("script", {textContent: "globalThis.did = 'inline script'"});
	put("div", {innerHTML: "<img src=icon.svg onload=\"globalThis.did = 'handler'\">"});
	put("script", {src: OTHER + "/x.js"});
	put("img", {src: OTHER + "/x.png"});
	put("iframe", {src: "index.html"});
	put("form", {action: OTHER + "/", method: "post"}).submit();
	put("base", {href: OTHER + "/"});
	try { new Function("globalThis.did = 'eval'")(); } catch (e) { said.push(e.name); }
	put("a", {href: "javascript:globalThis.did = 'link'"}).click();
	Promise.allSettled([
		fetch(OTHER + "/x").then(() => { globalThis.did = "fetch"; }),
		new Promise((ok) => { const w = new WebSocket(OTHER.replace("http", "ws")); w.onopen = () => { globalThis.did = "socket"; ok(); }; w.onerror = ok; }),
	]).then(() => setTimeout(() => done({did: globalThis.did ?? "", said}), 500));
}, 0))`

// The policy holds in the browser, in both homes: nothing that is put into the page runs,
// and another server, which would answer, is never asked. Every file has a strict policy
// from the server of this computer.
func TestBrowserPolicy(t *testing.T) {
	needBrowser(t)
	asked := make(chan string, 100)
	other := serveHandler(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked <- r.URL.Path
		w.Header().Set("Access-Control-Allow-Origin", "*")
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(w, "globalThis.did = 'script of another server'")
	}))
	prog := newProgram(t)
	here, dir := prog.serve(t), prog.folder(t)
	ctx := browse(t)
	for _, address := range []string{here, serveFolder(t, dir)} {
		p := open(t, ctx, address)
		got := evaluate[struct {
			Did  string
			Said []string
		}](p, strings.ReplaceAll(attempts, "OTHER", fmt.Sprintf("%q", strings.TrimSuffix(other, "/"))))
		if got.Did != "" {
			t.Errorf("%s: %s ran", address, got.Did)
		}
		for _, want := range []string{"script-src-elem", "script-src-attr", "connect-src", "img-src", "base-uri", "EvalError", "form-action"} {
			if !strings.Contains(strings.Join(got.Said, " "), want) {
				t.Errorf("%s: nothing was refused for %s; refused for %q", address, want, got.Said)
			}
		}
		p.close()
	}
	select {
	case path := <-asked:
		t.Errorf("another server was asked for %s", path)
	default:
	}
	list := read[struct{ Files []struct{ Path string } }](t, must(os.ReadFile(filepath.Join(dir, "files.json"))))
	if len(list.Files) < 20 {
		t.Fatalf("the page has %d files", len(list.Files))
	}
	for _, f := range list.Files {
		answer, err := http.Get(here + f.Path)
		if err != nil {
			t.Fatal(err)
		}
		io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
		policy := answer.Header.Get("Content-Security-Policy")
		if answer.StatusCode != 200 || !strings.HasPrefix(policy, "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; ") || strings.Contains(policy, "unsafe-inline") || strings.Contains(policy, "*") {
			t.Errorf("%s: status %d, policy %q", f.Path, answer.StatusCode, policy)
		}
	}
}

// marked is a name that harms where it is taken for markup.
const marked = `<img src=x onerror="globalThis.did=1">`

// Names and titles with markup in them are shown as they are.
func TestBrowserMarkup(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	harmless := func(p *tab, where string) {
		t.Helper()
		if evaluate[bool](p, `globalThis.did !== undefined || document.querySelector('img[src="x"]') !== null`) {
			t.Errorf("%s: the name was taken for markup", where)
		}
	}
	ctx := browse(t)
	p := open(t, ctx, prog.serve(t, "--singer", marked))
	p.await("the name", `document.body.innerText.includes('onerror=')`)
	harmless(p, "the first screen")
	p.go_("record")
	p.await("the name", `document.querySelector(".record").innerText.includes('onerror=')`)
	harmless(p, "the record")
	for _, address := range []string{"sing?key=" + url.QueryEscape(marked), "series?" + url.QueryEscape(marked) + "=1", "sing?names=" + url.QueryEscape(marked), "help?topic=" + url.QueryEscape(marked)} {
		p.go_("")
		p.go_(address)
		if !strings.HasPrefix(address, "help") {
			p.press("Start")
			p.await("what is wrong", `/onerror/.test(document.querySelector(".summary")?.innerText)`)
		}
		harmless(p, address)
	}
	p.calm()
	p.close()

	p = open(t, ctx, serveFolder(t, prog.folder(t)))
	p.go_("record")
	p.await("who sings", `document.getElementById("singer")`)
	evaluate[string](p, fmt.Sprintf(`document.getElementById("singer").value = %q`, marked))
	p.press("This one sings")
	p.await("the name", `document.querySelector(".record").innerText.includes('onerror=')`)
	harmless(p, "the singer of the browser")
	p.closeTroubles()
	course, _ := prog.run(t, "course", "export")
	course = strings.ReplaceAll(course, "name = \"", `name = "<img src=x onerror=globalThis.did=1>`)
	if !strings.Contains(course, "onerror") {
		t.Fatalf("the course has no name to mark: %s", course)
	}
	file := filepath.Join(t.TempDir(), "course.toml")
	if err := os.WriteFile(file, []byte(course), 0o600); err != nil {
		t.Fatal(err)
	}
	p.must(chromedp.Do(p.ctx, chromedp.SetUploadFiles(chromedp.CSS(`input[accept=".toml"]`), []string{file}, chromedp.NodeReady)))
	p.await("the course", `/onerror/.test(document.querySelector(".record").innerText + document.getElementById("troubles").innerText)`)
	harmless(p, "the course")
	p.settledHome()
	harmless(p, "the first screen with the course")
	p.calm()
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
