package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"github.com/chromedp/chromedp/kb"

	"singback/internal/testkit/chromium"

	"singback/internal/testkit"
)

const page = "../../page"

// The modules of the page, without a browser: what a list of messages shows, contrasts,
// addresses, what is said where something goes wrong.
func TestModules(t *testing.T) {
	node := testkit.Tool(t, "node")
	out, err := exec.Command(node, "--test", page+"/webtest/").CombinedOutput()
	if err != nil {
		t.Fatalf("node --test: %v\n%s", err, out)
	}
	if m := regexp.MustCompile(`(?m)^# pass (\d+)$`).FindSubmatch(out); m == nil || string(m[1]) == "0" {
		t.Fatalf("node --test ran nothing:\n%s", out)
	}
}

// Every screen, on a phone in the dark and on a laptop in the light, as make page-shots
// has them in all sizes.
func TestScreens(t *testing.T) {
	testkit.Tool(t, "chromium")
	var said strings.Builder
	found, err := run(t.Context(), t.TempDir(), "-(360-dark|1440-light)$", "internal/page/node_modules/axe-core/axe.min.js", &said)
	if err != nil || found > 0 {
		t.Fatalf("%d findings, %v\n%s", found, err, &said)
	}
	if strings.Contains(said.String(), "axe-core is not here") {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
			t.Fatal(said.String())
		}
		t.Log(said.String())
	}
}

// open opens the page in a tab of its own.
func open(t *testing.T, url string) context.Context {
	t.Helper()
	ctx, stop := chromium.Start(t.Context())
	t.Cleanup(stop)
	if err := chromedp.Do(ctx); err != nil { // starts the browser
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx, chromedp.Navigate(url)); err != nil {
		t.Fatal(err)
	}
	wait(ctx, t, `document.body.dataset.ready === "true"`)
	return ctx
}

// wait waits until something holds on the page.
func wait(ctx context.Context, t *testing.T, holds string) {
	t.Helper()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](holds)); err != nil {
		shown, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`document.body.innerText`))
		t.Fatalf("%s: %v; the page shows\n%s", holds, err, shown)
	}
}

func press(ctx context.Context, t *testing.T, keys string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.KeyEvent(keys)); err != nil {
		t.Fatal(err)
	}
}

// From the first screen through a drill and back, with keys alone; the question is said
// where a screen reader hears it, and a program hears each event.
func TestKeysAlone(t *testing.T) {
	testkit.Tool(t, "chromium")
	server := serve(page)
	defer server.Close()
	ctx := open(t, server.URL+"/#sing?shot=flat")
	wait(ctx, t, `!!document.querySelector("button.start")`)
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[int](`window.heard = []; addEventListener("singback", (e) => heard.push(e.detail.event)); 0`)); err != nil {
		t.Fatal(err)
	}
	press(ctx, t, " ")
	wait(ctx, t, `document.querySelector(".drill").dataset.stage === "answered"`)
	wait(ctx, t, `document.querySelector("#said").innerText.includes("La, but too low")`)
	wait(ctx, t, `heard.join() === "key,prompt,listening,verdict,prompt,listening,verdict,prompt,listening,verdict"`)
	wait(ctx, t, `document.querySelector(".ask").checkVisibility()`)
	press(ctx, t, "r")
	wait(ctx, t, `!document.querySelector(".ask").checkVisibility()`)
	press(ctx, t, "q")
	wait(ctx, t, `document.querySelector(".drill").dataset.stage === "ended" && document.activeElement.tagName === "H1"`)
	press(ctx, t, "q")
	wait(ctx, t, `location.hash === "" && document.querySelector("h1").innerText === "Today's practice"`)
	// The first stop of the tabulator is the way past the navigation.
	press(ctx, t, kb.Tab)
	for range 30 {
		at, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.activeElement.innerText + (document.activeElement.matches(":focus-visible") && getComputedStyle(document.activeElement).outlineStyle === "none" ? " (the focus is not seen)" : "")`))
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(at, "not seen") {
			t.Error(at)
		}
		if strings.HasPrefix(at, "Help") && strings.Contains(at, "voice") {
			press(ctx, t, kb.Enter)
			wait(ctx, t, `location.hash === "#help" && document.activeElement.tagName === "H1"`)
			return
		}
		press(ctx, t, kb.Tab)
	}
	t.Error("the tabulator does not come to Help")
}

// A name with markup in it is shown as it is.
func TestMarkupIsText(t *testing.T) {
	testkit.Tool(t, "chromium")
	server := serve(page)
	defer server.Close()
	bad := `<img src=x onerror=alert(1)>`
	ctx := open(t, server.URL+"/#sing?key="+bad)
	wait(ctx, t, `document.querySelector(".chosen").innerText.includes("<img src=x onerror=alert(1)>") && document.querySelectorAll("main img").length === 0`)
}

// installed serves the page as a folder on a web server: files.json names a version and
// every file, with its hash.
func installed(t *testing.T, version *atomic.Value) *httptest.Server {
	t.Helper()
	inner := serve(page)
	t.Cleanup(inner.Close)
	names := []string{"worker.js", "sound.js", "recordings.mjs", "line.svg", "sung.svg", "narrow-line.svg", "narrow-sung.svg", "options.json", "degrees.json", "help/topics.json", "help/practice.md"}
	web, err := os.ReadDir(filepath.Join(page, "web"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range web {
		if !f.IsDir() && f.Name() != "sound.js" && f.Name() != "worker.js" { // folders are the desk's
			names = append(names, f.Name())
		}
	}
	fetch := func(path string) []byte {
		r := httptest.NewRequest(http.MethodGet, "/"+path, nil)
		w := httptest.NewRecorder()
		inner.Config.Handler.ServeHTTP(w, r)
		if path == "index.html" { // the file server of Go sends it on to the folder
			w = httptest.NewRecorder()
			inner.Config.Handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/", nil))
		}
		return w.Body.Bytes()
	}
	type file struct {
		Path   string `json:"path"`
		SHA256 string `json:"sha256"`
		Bytes  int    `json:"bytes"`
	}
	var files []file
	for _, name := range names {
		data := fetch(name)
		sum := sha256.Sum256(data)
		files = append(files, file{name, hex.EncodeToString(sum[:]), len(data)})
	}
	return httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/files.json":
			_ = json.NewEncoder(w).Encode(map[string]any{"version": version.Load(), "files": files})
		case "/index.html":
			r.URL.Path = "/"
			fallthrough
		default:
			inner.Config.Handler.ServeHTTP(w, r)
		}
	}))
}

// After the first visit the page works with the server gone, all of it; before that, a
// new version waits, is offered, not during a drill, and taken when it is asked for.
func TestWithoutNetwork(t *testing.T) {
	testkit.Tool(t, "chromium")
	var version atomic.Value
	version.Store("1")
	server := installed(t, &version)
	defer server.Close()
	ctx := open(t, server.URL+"/")
	wait(ctx, t, `navigator.serviceWorker.controller?.scriptURL.endsWith("v=1")`)

	version.Store("2")
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL+"/?again#sing?shot=listening")); err != nil {
		t.Fatal(err)
	}
	wait(ctx, t, `document.body.dataset.ready === "true"`)
	press(ctx, t, " ")
	wait(ctx, t, `document.querySelector(".drill").dataset.open === "true"`)
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`navigator.serviceWorker.ready.then((r) => new Promise((done) => {
		const look = () => r.waiting ? done(true) : setTimeout(look, 20);
		look();
	}))`, chromedp.EvalAwaitPromise)); err != nil {
		t.Fatal(err)
	}
	offered := `!!document.querySelector('.trouble[data-code="update"]')`
	during, err := chromedp.Run(ctx, chromedp.Evaluate[bool](offered+` && document.querySelector(".drill").dataset.stage !== "ended"`))
	if err != nil || during {
		t.Errorf("a new version is offered during a drill: %v, %v", during, err)
	}
	press(ctx, t, "q")
	wait(ctx, t, offered)
	if err := chromedp.Do(ctx, chromedp.Click(chromedp.CSS(`.trouble[data-code="update"] button.main`))); err != nil {
		t.Fatal(err)
	}
	wait(ctx, t, `navigator.serviceWorker.controller?.scriptURL.endsWith("v=2") && document.body.dataset.ready === "true"`)

	server.Close()
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL+"/#help?topic=practice")); err != nil {
		t.Fatal(err)
	}
	wait(ctx, t, `document.body.dataset.ready === "true" && document.querySelector("h1").innerText === "Practice"`)
	if err := chromedp.Do(ctx, chromedp.Navigate(server.URL+"/index.html#sing?shot=flat")); err != nil {
		t.Fatal(err)
	}
	wait(ctx, t, `document.body.dataset.ready === "true"`)
	press(ctx, t, " ")
	wait(ctx, t, `document.querySelector(".drill").dataset.stage === "answered"`)
}
