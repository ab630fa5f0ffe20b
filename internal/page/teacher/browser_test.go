package teacher

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"singback/calib"
	"singback/internal/class"
	"singback/internal/page"
	"singback/internal/testkit/chromium"
)

// The tests in this file use the desk in Chromium as a teacher does. They run where
// SINGBACK_BROWSER is 1 (make page-test). With SINGBACK_SHOTS, a folder, a picture of
// each screen is put there.

const hangs = 30 * time.Second

type tab struct {
	t      testing.TB
	ctx    context.Context
	errors []string
}

func needBrowser(t testing.TB) {
	t.Helper()
	if os.Getenv("SINGBACK_BROWSER") != "1" {
		t.Skip("needs Chromium: make page-test")
	}
}

// visit opens the desk of a class in Chromium.
func visit(t testing.TB, source Source) (*tab, string) {
	t.Helper()
	site, err := page.New(os.DirFS("../web"), fstest.MapFS{
		"engine.wasm.xz": &fstest.MapFile{Data: []byte("\xfd7zXZ")}, "wasm_exec.js": &fstest.MapFile{Data: []byte("// loader\n")},
	})
	if err != nil {
		t.Fatal(err)
	}
	l, port, err := page.Listen(0)
	if err != nil {
		t.Fatal(err)
	}
	s := page.NewServer(site, page.Home{Now: clock, Keep: func(calib.Profile) (string, error) { return "", nil }, Desk: New(source, clock).Handlers()}, port, t.Output())
	serving, end := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(serving, l) }()
	ctx, stop := chromium.Start(context.Background(), chromedp.Flag("autoplay-policy", "no-user-gesture-required"))
	t.Cleanup(func() {
		stop()
		end()
		<-ended
	})
	p := &tab{t: t, ctx: ctx}
	p.must(chromedp.Do(ctx))
	p.must(chromedp.Listen(ctx, func(ev any) {
		if e, ok := ev.(*runtime.EventExceptionThrown); ok {
			text := e.ExceptionDetails.Text
			if x := e.ExceptionDetails.Exception; x != nil {
				text += " " + x.Description
			}
			p.errors = append(p.errors, text)
		}
	}))
	t.Cleanup(func() {
		for _, e := range p.errors {
			t.Errorf("the desk threw %s", e)
		}
	})
	p.size(1280, 900)
	p.must(chromedp.Do(ctx, chromedp.Navigate(s.DeskAddress())))
	p.await("the class", `document.body.dataset.ready === "true"`)
	return p, s.DeskAddress()
}

func (p *tab) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

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

func (p *tab) await(what, expression string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, hangs)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool]("Boolean("+expression+")")); err != nil {
		p.t.Fatalf("waited in vain for %s: %v; the desk shows: %s", what, err, evaluate[string](p, "document.body.innerText"))
	}
}

func (p *tab) key(keys string) {
	p.t.Helper()
	p.must(chromedp.Do(p.ctx, chromedp.KeyEvent(keys)))
}

// opens goes to a screen and waits until it is filled.
func (p *tab) opens(place string) {
	p.t.Helper()
	evaluate[bool](p, fmt.Sprintf(`(() => { if (location.hash !== "#" + %[1]q) { document.body.dataset.ready = "false"; location.hash = %[1]q; } return true; })()`, place))
	p.await(place, `document.body.dataset.ready === "true"`)
}

func (p *tab) size(width, height int64) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1})
	p.must(err)
}

func (p *tab) scheme(name string) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: name}, {Name: "prefers-reduced-motion", Value: "reduce"},
	}})
	p.must(err)
}

// shot takes a picture, where somebody wants to look at it.
func (p *tab) shot(name string) {
	p.t.Helper()
	folder := os.Getenv("SINGBACK_SHOTS")
	if folder == "" {
		return
	}
	time.Sleep(200 * time.Millisecond)
	picture, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	p.must(err)
	p.must(errors.Join(os.MkdirAll(folder, 0o777), os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o666)))
}

// A teacher reviews five takes by keys alone: the machine agrees, is overruled with a
// word, a place is heard, a remark is written, a verdict is taken back. What is said
// aloud is said once a verdict.
func TestBrowserKeys(t *testing.T) {
	needBrowser(t)
	f := invented(30, 8)
	p, _ := visit(t, f)
	evaluate[bool](p, `(() => {
		globalThis.told = [];
		new MutationObserver(() => { const text = document.getElementById("said").textContent; if (text) told.push(text); }).observe(document.getElementById("said"), {childList: true, characterData: true, subtree: true});
		return true;
	})()`)
	p.opens("queue?by=doubt")
	// To the first button by the tabulator.
	for range 40 {
		p.key(kb.Tab)
		if evaluate[bool](p, `document.activeElement.textContent === "Begin"`) {
			break
		}
	}
	p.key(kb.Enter)
	p.await("a take", `document.body.dataset.desk === "take" && document.body.dataset.ready === "true"`)
	for turn := range 5 {
		at := evaluate[string](p, `location.hash`)
		p.await("the picture", `document.querySelector(".drawing svg") && document.activeElement.localName === "h1" && document.body.dataset.settled`)
		passes := evaluate[bool](p, `document.querySelector(".machine .mark").classList.contains("right")`)
		if turn == 0 { // hear it, the second place, in a loop
			p.key(" ")
			p.await("sound", `document.querySelector(".hear").dataset.playing === "true"`)
			p.key(" ")
			p.await("silence", `document.querySelector(".hear").dataset.playing === "false"`)
			p.key("l")
			p.key("2")
			p.await("the place from one bar before", `document.querySelector(".hear").dataset.playing === "true" && Math.abs(document.getElementById("at").valueAsNumber - (11.5 - 2.4)) < 1.5`)
			p.key("s")
			p.key("m")
			p.await("the model at half speed", `document.querySelectorAll(".player [aria-pressed=true]").length === 3`)
			p.key("h")
			p.await("silence", `document.querySelector(".hear").dataset.playing === "false"`)
		}
		if turn == 2 { // a remark, with letters that are keys elsewhere
			p.key("r")
			p.await("the remark", `document.activeElement.id === "remark"`)
			p.key("pfn: hold the last note")
			p.key(kb.Tab)
			p.key(kb.Enter)
			p.await("that it is kept", `document.querySelector(".verdict").innerText.includes("pfn: hold the last note")`)
		}
		if turn%2 == 0 {
			// Struck twice it is one verdict.
			p.key(map[bool]string{true: "p", false: "f"}[passes])
			p.key(map[bool]string{true: "p", false: "f"}[passes])
		} else {
			p.key(map[bool]string{true: "f", false: "p"}[passes])
			p.await("why", `document.activeElement.id === "why"`)
			p.key("the room was loud")
			p.key(kb.Enter)
		}
		p.await("the next take", fmt.Sprintf(`document.body.dataset.place !== %q && document.body.dataset.ready === "true"`, at))
	}
	count := func() (reviewed, overruled int) {
		f.mu.Lock()
		defer f.mu.Unlock()
		for _, r := range f.rows {
			if r.Review != nil {
				reviewed++
				if r.Review.Pass != r.Mark.Pass {
					overruled++
					if r.Review.Why != "the room was loud" || r.Review.Chosen.String() != "doubt" {
						t.Errorf("it is kept as %+v", r.Review)
					}
				}
			}
		}
		return
	}
	if n, over := count(); n != 5 || over != 2 {
		t.Errorf("%d takes are reviewed, %d overruled; want 5 and 2", n, over)
	}
	if len(f.remarks) != 1 || f.remarks[0].Words != "pfn: hold the last note" {
		t.Errorf("the remarks are %+v", f.remarks)
	}
	p.key("u")
	p.await("that it is taken back", `told.at(-1)?.includes("taken back")`)
	if n, _ := count(); n != 4 {
		t.Errorf("after undo %d are reviewed", n)
	}
	told := evaluate[[]string](p, "told")
	verdicts := 0
	for _, line := range told {
		if strings.Contains(line, "kept for") {
			verdicts++
		}
	}
	if verdicts != 5 {
		t.Errorf("verdicts were said %d times: %q", verdicts, told)
	}
	// Next, and back where one was.
	p.await("the take", `document.body.dataset.ready === "true" && document.body.dataset.place === location.hash`)
	at := evaluate[string](p, `location.hash`)
	p.key("n")
	p.await("the next", fmt.Sprintf(`document.body.dataset.place !== %q && document.body.dataset.ready === "true"`, at))
	p.key("b")
	p.await("the one before", fmt.Sprintf(`document.body.dataset.place === %q && document.body.dataset.ready === "true"`, at))
	// While another program writes the verdict is refused, the take stays, and then it is given.
	verdict := func() string {
		return map[bool]string{true: "p", false: "f"}[evaluate[bool](p, `document.querySelector(".machine .mark").classList.contains("right")`)]
	}
	reviewed, _ := count()
	p.await("the take", `document.body.dataset.settled`)
	f.change(func() { f.busy = true })
	p.key(verdict())
	p.await("that it is refused", `document.querySelector("#troubles [role=alert]")?.innerText.includes("writing into the class")`)
	if n, _ := count(); n != reviewed || evaluate[string](p, `location.hash`) != at {
		t.Errorf("%d are reviewed, want %d", n, reviewed)
	}
	f.change(func() { f.busy = false })
	p.await("the take", `document.body.dataset.settled`)
	p.key(verdict())
	p.await("the next take", fmt.Sprintf(`document.body.dataset.place !== %q && document.body.dataset.ready === "true"`, at))
	if n, _ := count(); n != reviewed+1 {
		t.Errorf("%d are reviewed, want %d", n, reviewed+1)
	}
	// A key with Ctrl is the browser's.
	before, _ := count()
	p.must(chromedp.Do(p.ctx, chromedp.KeyEvent("p", chromedp.KeyModifiers(2))))
	if n, _ := count(); n != before {
		t.Error("Ctrl-P gives a verdict")
	}
}

// The table by keys; a class of 5 000 students and 40 tasks in it.
func TestBrowserTable(t *testing.T) {
	needBrowser(t)
	p, address := visit(t, invented(5000, 40))
	first := evaluate[float64](p, `performance.now()`)
	evaluate[bool](p, `(() => { globalThis.long = []; new PerformanceObserver((l) => { for (const e of l.getEntries()) long.push(e.duration); }).observe({type: "longtask", buffered: true}); return true; })()`)
	rows := evaluate[int](p, `document.querySelectorAll(".cells tbody tr").length`)
	if rows < 10 || rows > 120 {
		t.Errorf("%d rows stand in the page", rows)
	}
	// Scroll through all of it, as fast as frames come.
	worst := evaluate[float64](p, `new Promise((done) => {
		const s = document.querySelector(".scroller");
		let last = performance.now(), worst = 0, n = 0;
		const step = () => {
			const now = performance.now();
			worst = Math.max(worst, now - last);
			last = now;
			s.scrollTop += n < 100 ? 150 : 2000;
			if (++n < 200) requestAnimationFrame(step);
			else done(worst);
		};
		requestAnimationFrame(step);
	})`)
	p.await("rows where it stopped", `document.querySelectorAll(".cells tbody tr:not([data-empty]) td[id]").length > 100`)
	evaluate[bool](p, `(() => { document.querySelector(".cells").focus(); return true; })()`)
	p.must(chromedp.Do(p.ctx, chromedp.KeyEvent(kb.End, chromedp.KeyModifiers(2))))
	p.await("the last cell", `document.activeElement.getAttribute("aria-activedescendant") === "cell-4999-39"`)
	if !evaluate[bool](p, `(() => { const b = document.getElementById("cell-4999-39").getBoundingClientRect(), s = document.querySelector(".scroller").getBoundingClientRect(); return b.bottom <= s.bottom + 1 && b.right <= s.right + 1 && b.top > s.top; })()`) {
		t.Errorf("the last cell is out of sight: %s", evaluate[string](p, `JSON.stringify([document.getElementById("cell-4999-39").getBoundingClientRect(), document.querySelector(".scroller").getBoundingClientRect()])`))
	}
	p.must(chromedp.Do(p.ctx, chromedp.KeyEvent(kb.Home, chromedp.KeyModifiers(2))))
	p.await("the first cell", `document.activeElement.getAttribute("aria-activedescendant") === "cell-0-0"`)
	p.key(kb.ArrowDown)
	p.key(kb.ArrowRight)
	p.await("the cell below", `document.activeElement.getAttribute("aria-activedescendant") === "cell-1-1" && document.querySelector("#cell-1-1 .unseen").textContent.length > 3`)
	// Who comes back from a take finds the table where it was.
	evaluate[bool](p, `(() => { document.querySelector(".cells").focus(); return true; })()`)
	for range 3 {
		p.key(kb.PageDown)
	}
	at := evaluate[string](p, `document.activeElement.getAttribute("aria-activedescendant")`)
	p.await("the rows", fmt.Sprintf(`document.getElementById(%q)?.dataset.take`, at))
	p.key(kb.Enter)
	p.await("the take", `document.body.dataset.desk === "take" && document.body.dataset.ready === "true"`)
	evaluate[bool](p, `(() => { history.back(); return true; })()`)
	p.await("the cell that was left", fmt.Sprintf(`document.body.dataset.desk === "class" && document.querySelector("[aria-selected]")?.id === %q`, at))
	memory := evaluate[float64](p, `performance.memory ? performance.memory.usedJSHeapSize / 1e6 : 0`)
	long := evaluate[[]float64](p, "long")
	t.Logf("5000 × 40: first rows %.0f ms after the address was opened, with the reading of the class; slowest frame of 200 %.0f ms; long tasks %.0f ms; heap %.1f MB; %d elements",
		first, worst, long, memory, evaluate[int](p, `document.querySelectorAll("*").length`))
	p.must(chromedp.Do(p.ctx, chromedp.Navigate(address+"?again")))
	p.await("the class", `document.body.dataset.ready === "true"`)
	t.Logf("a second time %.0f ms", evaluate[float64](p, `performance.now()`))
	took := evaluate[float64](p, `new Promise((done) => {
		const at = performance.now();
		const look = () => document.querySelector(".drawing svg") ? done(performance.now() - at) : setTimeout(look, 5);
		location.hash = "take?id=77&by=asked";
		look();
	})`)
	t.Logf("a take with its picture opens in %.0f ms", took)
	p.opens("queue?by=doubt")
	p.opens("class?show=unsure&sort=unsure")
	p.await("rows", `document.querySelectorAll(".cells tbody tr:not([data-empty]) td[id]").length > 100`)
}

// axe-core finds nothing on any screen in both schemes; nothing is cut off on a narrow
// screen, with text of twice the size too.
func TestBrowserScreens(t *testing.T) {
	needBrowser(t)
	f := invented(30, 8)
	p, _ := visit(t, f)
	source, err := os.ReadFile("../node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("%v: npm install in internal/page brings it (make page-test does)", err)
	}
	f.mu.Lock()
	for i := range 12 {
		f.rows[i*3+100].Review = &class.Review{ID: int64(900 + i), Take: f.rows[i*3+100].ID, At: "2026-11-28T09:00:00Z", Pass: i%3 > 0, Value: -1, Why: "as I heard it"}
	}
	f.stamp++
	f.mu.Unlock()
	unread, unmarked := int64(0), int64(0)
	for i, r := range f.rows {
		if r.Trouble != "" {
			unread = r.ID
		} else if i == 120 {
			unmarked = r.ID
			f.rows[i].Mark = nil
		}
	}
	screens := map[string]string{
		"class": "class", "none": "class?find=nobody", "queue": "queue?by=doubt", "sample": "queue?by=sample&n=10", "keys": "keys", "take": "take?id=5&by=doubt", "reviewed": "take?id=101&by=asked",
		"why": "take?id=6&by=asked", "unread": fmt.Sprintf("take?id=%d&by=asked", unread), "unmarked": fmt.Sprintf("take?id=%d&by=asked", unmarked), "gone": "take?id=99999&by=asked",
	}
	sizes := map[string][2]int64{"wide": {1440, 900}, "tablet": {820, 1180}, "phone": {320, 640}}
	for name, place := range screens {
		for size, wh := range sizes {
			p.size(wh[0], wh[1])
			p.opens("keys")
			p.opens(place)
			if name == "why" {
				p.await("the take", `document.body.dataset.settled`)
				p.key(map[bool]string{true: "f", false: "p"}[evaluate[bool](p, `document.querySelector(".machine .mark").classList.contains("right")`)])
				p.await("why", `document.activeElement.id === "why"`)
			}
			for _, scheme := range []string{"light", "dark"} {
				p.scheme(scheme)
				if size != "tablet" {
					p.axe(name+", "+size+", "+scheme, string(source))
				}
				p.shot(fmt.Sprintf("%s-%s-%s", name, size, scheme))
			}
			if over := evaluate[float64](p, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
				t.Errorf("%s, %s: it is %g pixels too wide", name, size, over)
			}
		}
		// Text twice as large.
		p.size(640, 900)
		evaluate[bool](p, `(() => { document.documentElement.style.setProperty("font-size", "200%"); return true; })()`)
		if over := evaluate[float64](p, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s with large text: it is %g pixels too wide", name, over)
		}
		p.shot(name + "-large")
		evaluate[bool](p, `(() => { document.documentElement.style.removeProperty("font-size"); return true; })()`)
	}
}

// A real take is heard, seen and found: its picture with the cursor where the sound is,
// the staff, all three sounds, and a place from a bar before.
func TestBrowserFile(t *testing.T) {
	needBrowser(t)
	p, _ := visit(t, OfFile(harbour(t, true, 4, 2)))
	source, err := os.ReadFile("../node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("%v: npm install in internal/page brings it (make page-test does)", err)
	}
	p.shot("real-class")
	for name, take := range map[string]int{"left-out": 4, "wrong": 2, "well": 8, "names": 3} {
		p.opens(fmt.Sprintf("take?id=%d&by=asked", take))
		p.await("the picture and the staff", `document.querySelector(".drawing .tp-curve") && document.querySelector(".written svg")`)
		for size, wh := range map[string][2]int64{"wide": {1440, 900}, "phone": {320, 640}} {
			p.size(wh[0], wh[1])
			for _, scheme := range []string{"light", "dark"} {
				p.scheme(scheme)
				p.axe("a take "+name+", "+size+", "+scheme, string(source))
				p.shot(fmt.Sprintf("real-%s-%s-%s", name, size, scheme))
				if name == "left-out" {
					evaluate[bool](p, `(() => { document.querySelector(".hear").scrollIntoView(); return true; })()`)
					p.shot(fmt.Sprintf("real-hear-%s-%s", size, scheme))
					evaluate[bool](p, `(() => { document.querySelector(".rests").scrollIntoView(); return true; })()`)
					p.shot(fmt.Sprintf("real-rests-%s-%s", size, scheme))
					evaluate[bool](p, `(() => { document.querySelector(".written").scrollIntoView(); return true; })()`)
					p.shot(fmt.Sprintf("real-staff-%s-%s", size, scheme))
					evaluate[bool](p, `(() => { scrollTo(0, 0); return true; })()`)
				}
			}
		}
		p.size(1440, 900)
	}
	p.opens("take?id=4&by=asked")
	for _, part := range []string{"t", "m", "o"} {
		p.key(part)
		p.key("h")
		p.await("sound of "+part, `document.getElementById("at").valueAsNumber > 0.3`)
		p.key("h")
		p.await("silence", `document.querySelector(".hear").dataset.playing === "false"`)
	}
	// The cursor stands where a place begins, in the picture as on the clock.
	p.key("1")
	p.await("the place", `document.querySelector("[data-place='1']").hasAttribute("data-heard") && document.querySelector(".hear").dataset.playing === "true"`)
	p.key("h")
	off := evaluate[float64](p, `(() => {
		const at = document.getElementById("at").valueAsNumber;
		const roll = document.querySelector(".roll").getBoundingClientRect(), cursor = document.querySelector(".cursor").getBoundingClientRect();
		const svg = document.querySelector(".drawing svg"), box = svg.viewBox.baseVal;
		const [from, to] = document.querySelector(".window").textContent.match(/[0-9]+:[0-9.]+/g).map((c) => { const [m, s] = c.split(":"); return 60 * Number(m) + Number(s); });
		const x = 52 + (at - from) / (to - from) * (box.width - 60);
		return Math.abs(cursor.left + cursor.width / 2 - roll.left - x / box.width * svg.getBoundingClientRect().width);
	})()`)
	if off > 6 {
		t.Errorf("the cursor is %.1f pixels from where the sound is", off)
	}
}

func (p *tab) axe(what, source string) {
	p.t.Helper()
	if evaluate[bool](p, `globalThis.axe === undefined`) {
		evaluate[bool](p, source+"; true")
	}
	for _, line := range evaluate[[]string](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))).then(() => axe.run(document, {
		runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], rules: {"target-size": {enabled: true}},
	})).then((r) => {
		if (r.passes.length < 5) return ["axe-core looked at " + r.passes.length + " rules"];
		return r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + v.help + ": " + n.html.slice(0, 200) + " " + (n.any[0]?.message ?? "")));
	})`) {
		p.t.Errorf("%s: %s", what, line)
	}
}
