package page_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"singback/internal/testkit/chromium"
)

// The tests in the files browser_*_test.go open the page in Chromium as a user does: they press
// buttons by their names and keys, open addresses, sing into the microphone, and look at
// what the page says in its event "singback". They run where SINGBACK_BROWSER is 1
// (make page-test), and there they do not skip: what is missing is a failure.
//
// Sound takes real time, and a busy machine takes longer: limits on time tell only what
// hangs from what goes on, but where a limit is the page's own promise, which is said.

// hangs is the time after which what has not come will not come.
const hangs = 40 * time.Second

// tries is how often something is tried on a machine that is too busy for sound.
const tries = 3

func needBrowser(t testing.TB) {
	t.Helper()
	if os.Getenv("SINGBACK_BROWSER") != "1" {
		t.Skip("needs Chromium and the virtual microphone: make page-test")
	}
	if os.Getenv("SINGBACK_VIRTUAL_MIC") != "1" {
		t.Fatal("needs the virtual microphone: make page-test")
	}
}

// built is where the program was built.
var built string

// build builds the program, with the page in it.
var build = sync.OnceValue(func() error {
	var err error
	if built, err = os.MkdirTemp("", "singback-browser"); err != nil {
		return err
	}
	out, err := exec.Command("go", "build", "-o", filepath.Join(built, "singback"), "singback/cmd/singback").CombinedOutput()
	if err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
})

func TestMain(m *testing.M) {
	code := m.Run()
	if built != "" {
		os.RemoveAll(built)
	}
	os.Exit(code)
}

// program is the built program, with what it keeps in a folder.
type program struct{ data string }

func newProgram(t testing.TB) program {
	t.Helper()
	if err := build(); err != nil {
		t.Fatal(err)
	}
	return program{t.TempDir()}
}

func (p program) command(args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(built, "singback"), args...)
	cmd.Env = append(os.Environ(), "XDG_DATA_HOME="+p.data)
	return cmd
}

// run runs a command of the program to its end.
func (p program) run(t testing.TB, args ...string) (stdout, stderr string) {
	t.Helper()
	cmd := p.command(args...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("singback %s: %v\n%s", strings.Join(args, " "), err, &said)
	}
	return out.String(), said.String()
}

// serve opens the page on this computer, and returns its address.
func (p program) serve(t testing.TB, args ...string) string {
	t.Helper()
	cmd := p.command(append([]string{"page", "--no-open"}, args...)...)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Signal(os.Interrupt)
		cmd.Wait()
		if t.Failed() {
			t.Logf("the page's server said: %s", &said)
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		cmd.Wait()
		t.Fatalf("the page's server: %v: %s", err, &said)
	}
	return strings.TrimSpace(line)
}

// folder writes the page as files.
func (p program) folder(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "page")
	p.run(t, "page", "--out", dir)
	return dir
}

// serveFolder serves a folder as any web server does, and returns its address.
func serveFolder(t testing.TB, dir string) string {
	t.Helper()
	return serveHandler(t, http.FileServer(http.Dir(dir)))
}

func serveHandler(t testing.TB, h http.Handler) string {
	t.Helper()
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s.URL + "/"
}

// browse starts Chromium with the virtual microphone and loudspeaker.
func browse(t testing.TB, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	return browseWith(t, append(chromium.Hear(), more...)...)
}

func browseWith(t testing.TB, options ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	ctx, stop := chromium.Start(context.Background(), options...)
	t.Cleanup(stop)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	return ctx
}

// told is an event of the page.
type told struct {
	At     float64 `json:"at"` // milliseconds since the page was loaded
	Event  string  `json:"-"`
	Detail json.RawMessage
}

// tab is a tab with the page.
type tab struct {
	t     testing.TB
	ctx   context.Context
	close context.CancelFunc

	mu       sync.Mutex
	events   []told
	errors   []string // that nobody caught
	requests []string
	news     chan struct{}
}

// listen is what the test puts into the page before any of its own scripts: it hears what
// any program may hear, and looks for what keeps the page from moving.
const listen = `
	addEventListener("singback", (e) => singbackTold(JSON.stringify({at: performance.now(), detail: e.detail})));
	addEventListener("click", (e) => { globalThis.clicked = e.timeStamp; }, true);
	globalThis.longTasks = [];
	new PerformanceObserver((list) => {
		for (const e of list.getEntries()) longTasks.push({at: e.startTime, ms: e.duration});
	}).observe({type: "longtask", buffered: true});
`

// newTab opens an empty tab.
func newTab(t testing.TB, browser context.Context, options ...chromedp.ContextOption) *tab {
	t.Helper()
	p := &tab{t: t, news: make(chan struct{})}
	p.ctx, p.close = chromedp.NewContext(browser, options...)
	t.Cleanup(p.close)
	p.must(chromedp.Do(p.ctx))
	p.must(chromedp.Listen(p.ctx, p.hear))
	_, err := chromedp.Call(p.ctx, runtime.AddBinding, runtime.AddBindingParams{Name: "singbackTold"})
	p.must(err)
	_, err = chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: listen})
	p.must(err)
	_, err = chromedp.Call(p.ctx, network.Enable, network.EnableParams{})
	p.must(err)
	return p
}

// open opens the page in a tab of its own, and waits until it is ready.
func open(t testing.TB, browser context.Context, address string) *tab {
	t.Helper()
	p := newTab(t, browser)
	p.visit(address)
	return p
}

// visit opens the page and waits until it is ready.
func (p *tab) visit(address string) {
	p.t.Helper()
	p.must(chromedp.Do(p.ctx, chromedp.Navigate(address)))
	p.await("the engine", `document.body.dataset.ready === "true"`)
}

func (p *tab) hear(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventBindingCalled:
		if e.Name != "singbackTold" {
			return
		}
		var got told
		var name struct{ Event string }
		if err := errors.Join(json.Unmarshal([]byte(e.Payload), &got), json.Unmarshal(got.Detail, &name)); err != nil {
			p.errors = append(p.errors, err.Error())
		}
		got.Event = name.Event
		p.events = append(p.events, got)
		close(p.news)
		p.news = make(chan struct{})
	case *runtime.EventExceptionThrown:
		text := e.ExceptionDetails.Text
		if x := e.ExceptionDetails.Exception; x != nil {
			text += " " + x.Description
		}
		p.errors = append(p.errors, text)
	case *network.EventRequestWillBeSent:
		p.requests = append(p.requests, e.Request.URL)
	}
}

func (p *tab) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

// evaluate returns what a JavaScript expression, or the promise that it is, comes to.
func evaluate[T any](p *tab, expression string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hangs)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// await waits until a JavaScript expression is true.
func (p *tab) await(what, expression string) {
	p.t.Helper()
	p.awaitFor(hangs, what, expression)
}

func (p *tab) awaitFor(limit time.Duration, what, expression string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, limit)
	defer cancel()
	_, err := chromedp.Run(ctx, chromedp.Poll[bool]("Boolean("+expression+")"))
	for err != nil && ctx.Err() == nil && (strings.Contains(err.Error(), "navigated") || strings.Contains(err.Error(), "Cannot find context")) {
		// The page is being loaded anew.
		_, err = chromedp.Run(ctx, chromedp.Poll[bool]("Boolean("+expression+")"))
	}
	if err != nil {
		p.t.Fatalf("waited in vain for %s: %v; the page shows: %s", what, err, p.text())
	}
}

// text is all that the page shows.
func (p *tab) text() string {
	ctx, cancel := context.WithTimeout(p.ctx, 5*time.Second)
	defer cancel()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
	if err != nil {
		return err.Error()
	}
	return strings.Join(strings.Fields(text), " ")
}

// go_ opens another address of the page.
func (p *tab) go_(address string) {
	p.t.Helper()
	evaluate[string](p, fmt.Sprintf("location.hash = %q", address))
}

// button is a JavaScript expression for the button of a name, without the key beside it.
func button(name string) string {
	return fmt.Sprintf(`[...document.querySelectorAll("button")].find((b) => {
		const c = b.cloneNode(true);
		for (const k of c.querySelectorAll("kbd")) k.remove();
		return (b.ariaLabel ?? c.textContent).trim() === %q && b.checkVisibility() && !b.disabled;
	})`, name)
}

// press presses the button of a name, with the mouse.
func (p *tab) press(name string) {
	p.t.Helper()
	p.await("the button "+name, button(name))
	at := evaluate[[]float64](p, fmt.Sprintf(`(() => {
		const b = %s;
		b.scrollIntoView({block: "center"});
		const r = b.getBoundingClientRect();
		return [r.x + r.width / 2, r.y + r.height / 2];
	})()`, button(name)))
	p.must(chromedp.Do(p.ctx, chromedp.MouseClickXY(at[0], at[1])))
}

// closeTroubles closes what the page says went wrong, or well.
func (p *tab) closeTroubles() {
	p.t.Helper()
	for evaluate[bool](p, "Boolean("+button("Close")+")") {
		p.press("Close")
	}
}

// troubles are what the page says went wrong.
func (p *tab) troubles() string {
	return evaluate[string](p, `document.getElementById("troubles").innerText`)
}

// key strikes keys.
func (p *tab) key(keys string) {
	p.t.Helper()
	p.must(chromedp.Do(p.ctx, chromedp.KeyEvent(keys)))
}

// heard is how many events have come.
func (p *tab) heard() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.events)
}

// event waits for the first event of one of the names, from the number on.
func (p *tab) event(from int, names ...string) (told, int) {
	p.t.Helper()
	limit := time.After(hangs)
	for {
		p.mu.Lock()
		events, news := p.events, p.news
		p.mu.Unlock()
		for i := from; i < len(events); i++ {
			for _, name := range names {
				if events[i].Event == name {
					return events[i], i + 1
				}
			}
		}
		select {
		case <-news:
		case <-p.ctx.Done():
			p.t.Fatalf("the tab is gone: no %q", names)
		case <-limit:
			p.t.Fatalf("waited in vain for %q; the page shows: %s", names, p.text())
		}
	}
}

// calm fails the test where the page threw an error that nobody caught.
func (p *tab) calm() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, e := range p.errors {
		p.t.Errorf("the page threw %s", e)
	}
}

// verdict is an event that tells one.
type verdict struct {
	Outcome string
	Reason  *string
	Cents   *float64
	Sung    *struct {
		Syllable    string
		OctaveShift int `json:"octave_shift"`
	}
}

func (v verdict) String() string {
	s := v.Outcome
	if v.Reason != nil {
		s += " " + *v.Reason
	}
	if v.Sung != nil {
		s += fmt.Sprintf(" %s %+d", v.Sung.Syllable, v.Sung.OctaveShift)
	}
	return s
}

func read[T any](t testing.TB, text []byte) (v T) {
	t.Helper()
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return v
}

// sing plays a recording into the microphone.
func sing(t testing.TB, path string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), hangs)
	defer cancel()
	if out, err := exec.CommandContext(ctx, "paplay", "--latency-msec=300", "--device=mic_feed", path).CombinedOutput(); err != nil {
		t.Errorf("paplay: %v: %s", err, out)
	}
}

// recordings are the recordings in testdata/wav, each with what the text beside it says.
func recordings(t testing.TB) (all []recording) {
	t.Helper()
	files, err := filepath.Glob("../../testdata/wav/*.txt")
	if err != nil || len(files) < 30 {
		t.Fatalf("%d recordings: %v", len(files), err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		r := recording{name: strings.TrimSuffix(filepath.Base(f), ".txt"), path: strings.TrimSuffix(f, ".txt") + ".wav", says: map[string]string{}}
		for _, m := range regexp.MustCompile(`(?m)^(\w+): (.*)$`).FindAllStringSubmatch(string(text), -1) {
			r.says[m[1]] = m[2]
		}
		all = append(all, r)
	}
	return all
}

type recording struct {
	name, path string
	says       map[string]string
}

// until waits for something outside the page.
func (p *tab) until(what string, done func() bool) {
	p.t.Helper()
	for range int(hangs / (50 * time.Millisecond)) {
		if done() {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.t.Fatalf("waited in vain for %s; the page shows: %s", what, p.text())
}
