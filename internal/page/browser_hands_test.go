package page_test

import (
	"os"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// focused is a JavaScript expression for what the keyboard is on, by its name without the
// key beside it, and whether that can be seen.
const focused = `(() => {
	const e = document.activeElement;
	if (!e || e === document.body) return {name: "", seen: true};
	const c = e.cloneNode(true);
	for (const k of c.querySelectorAll("kbd")) k.remove();
	const name = (e.ariaLabel ?? c.textContent ?? "").trim() || document.querySelector('label[for="' + e.id + '"]')?.textContent || e.id;
	const s = getComputedStyle(e), r = e.getBoundingClientRect();
	const marked = s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 || s.boxShadow !== "none";
	return {name, html: e.outerHTML.slice(0, 120), seen: e.matches(":focus-visible") && marked && r.bottom > 0 && r.top < innerHeight && r.right > 0 && r.left < innerWidth};
})()`

// tabTo moves on with the key Tab until it is on something of a name, and looks whether
// all that it comes by can be seen to be chosen.
func (p *tab) tabTo(name string) {
	p.t.Helper()
	for range 200 {
		p.key(kb.Tab)
		at := evaluate[struct {
			Name, HTML string
			Seen       bool
		}](p, focused)
		if !at.Seen {
			p.t.Errorf("it cannot be seen that the keyboard is on %s", at.HTML)
		}
		if at.Name == name || strings.HasSuffix(name, "…") && strings.HasPrefix(at.Name, strings.TrimSuffix(name, "…")) {
			return
		}
	}
	p.t.Fatalf("Tab does not come to %q; the page shows: %s", name, p.text())
}

// asks waits until the page asks something of the singer, and returns what.
func (p *tab) asks() string {
	p.t.Helper()
	// Some questions lie between two of these.
	p.awaitFor(3*hangs, "a question to the singer", `document.querySelector(".ask:not([hidden])")?.checkVisibility()`)
	return evaluate[string](p, `document.querySelector(".ask").innerText + " " + document.querySelector(".phase").innerText`)
}

// Everything can be done with the keyboard alone, and it can be seen where it is.
func TestBrowserKeyboard(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	prog.run(t, "record", "import", "../../testdata/record/anna.csv")
	p := open(t, browse(t), prog.serve(t, "--singer", "Anna"))

	t.Run("the first screen, today, and back", func(t *testing.T) {
		p.t = t
		p.tabTo("To the content")
		p.key(kb.Enter)
		p.await("the content", `document.activeElement.id === "main"`)
		from := p.heard()
		p.key(kb.Enter)
		p.event(from, "key")
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
		p.key("q")
		p.await("the first screen", `document.querySelector(".home")`)
	})
	t.Run("a drill, once more, and again", func(t *testing.T) {
		p.t = t
		from := p.heard()
		p.go_("sing?key=Eb&count=12&seed=3&set=tonic&set-every=0&think=0&compare=false&input=simulated")
		p.await("Start", button("Start"))
		p.key(" ")
		p.event(from, "key")
		// The simulated singer misses some; the first of them is sung once more.
		if said := p.asks(); !strings.Contains(said, "Once more") {
			t.Errorf("asked: %s", said)
		}
		from = p.heard()
		p.key("r")
		got, _ := p.event(from, "prompt")
		if n := read[struct{ Attempt int }](t, got.Detail).Attempt; n != 2 {
			t.Errorf("after r comes attempt %d", n)
		}
		p.key(kb.ArrowUp)
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
		from = p.heard()
		p.key("a")
		p.event(from, "key")
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("a guess", func(t *testing.T) {
		p.t = t
		from := p.heard()
		p.go_("today?minutes=3&seed=2&input=simulated&feedback=full&set=tonic&think=0&compare=false")
		p.await("Start", button("Start"))
		p.key(kb.Enter)
		p.event(from, "key")
		for {
			said := p.asks()
			if strings.Contains(said, "No idea") {
				from = p.heard()
				p.key("s")
				got, _ := p.event(from, "verdict")
				if guess := read[struct{ Guess any }](t, got.Detail).Guess; guess == nil {
					t.Errorf("the guess is not in %s", got.Detail)
				}
				break
			}
			p.key(kb.Enter)
			p.await("that it goes on", `!document.querySelector(".ask:not([hidden])")?.checkVisibility()`)
		}
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("chords are named", func(t *testing.T) {
		p.t = t
		from := p.heard()
		p.go_("dictation?of=quality&count=2&seed=1&set=tonic&compare=false")
		p.await("Start", button("Start"))
		p.key(" ")
		p.asks()
		p.key("maj")
		p.key(kb.Enter)
		got, from := p.event(from, "named")
		if !strings.Contains(string(got.Detail), "maj") {
			t.Errorf("named: %s", got.Detail)
		}
		p.asks()
		p.key("?")
		p.key(kb.Enter)
		p.event(from, "named")
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("calibration", func(t *testing.T) {
		p.t = t
		p.go_("calibrate?only=room,level&input=simulated")
		p.await("Start", button("Start"))
		p.key(" ")
		for range 2 {
			p.asks()
			p.key(kb.Enter)
			p.await("that it goes on", `!document.querySelector(".ask:not([hidden])")?.checkVisibility()`)
		}
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("a melody", func(t *testing.T) {
		p.t = t
		from := p.heard()
		p.go_("series?level=1&count=1&seed=4&study=60&tempo=200&input=simulated")
		p.await("Start", button("Start"))
		p.key(" ")
		p.event(from, "line")
		p.asks()
		p.key(kb.Enter)
		p.event(from, "sung")
		p.asks()
		p.key(kb.Enter)
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("progress, and what to practise next", func(t *testing.T) {
		p.t = t
		p.go_("progress")
		p.await("what to practise next", `document.querySelector(".next button")`)
		p.tabTo(evaluate[string](p, `document.querySelector(".next button").textContent.trim()`))
		from := p.heard()
		p.key(kb.Enter)
		p.event(from, "key")
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("a form", func(t *testing.T) {
		p.t = t
		from := p.heard()
		p.go_("choose?drill=sing&input=simulated")
		p.await("the fields", `document.getElementById("field-key")`)
		p.tabTo("key")
		p.key("Ab")
		p.tabTo("Start")
		p.key(kb.Enter)
		got, _ := p.event(from, "key")
		if !strings.Contains(string(got.Detail), `"Ab major"`) {
			t.Errorf("the key is %s", got.Detail)
		}
		p.key("q")
		p.await("the end", `document.querySelector(".summary")`)
	})
	t.Run("things to look up", func(t *testing.T) {
		p.t = t
		for _, place := range []string{"melody?level=3&key=Eb&seed=7", "key?key=Ab", "chords?key=Ab"} {
			p.go_(place)
			p.await(place, `document.querySelector(".found h2")`)
			p.tabTo("Show")
			p.key(kb.Enter)
			p.tabTo("Play")
		}
	})
	t.Run("the record", func(t *testing.T) {
		p.t = t
		p.closeTroubles()
		p.go_("record")
		p.await("Export", button("Export"))
		p.tabTo("Export")
		p.key(kb.Enter)
		p.await("what Export says", `document.getElementById("troubles").innerText.includes(".csv")`)
		p.tabTo("Import a file")
	})
	p.t = t
	p.calm()
}

// inspect runs axe-core in both colour schemes.
func (p *tab) inspect(screen, axe string) {
	p.t.Helper()
	for _, scheme := range []string{"light", "dark"} {
		_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
		}})
		p.must(err)
		if evaluate[bool](p, `globalThis.axe === undefined`) {
			evaluate[bool](p, axe+"; true")
		}
		for _, line := range evaluate[[]string](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))).then(() => axe.run(document, {
			runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], rules: {"target-size": {enabled: true}},
		})).then((r) => {
			if (r.passes.length < 5) return ["axe-core looked at " + r.passes.length + " rules"];
			return r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + v.help + ": " + n.html.slice(0, 200) + " " + (n.any[0]?.message ?? "")));
		})`) {
			p.t.Errorf("%s, %s: %s", screen, scheme, line)
		}
	}
}

// axe-core, an outside judge of who is kept out, finds nothing on any screen, with the
// real engine behind it, in both colour schemes.
func TestBrowserAxe(t *testing.T) {
	needBrowser(t)
	source, err := os.ReadFile("node_modules/axe-core/axe.min.js")
	if err != nil {
		t.Fatalf("%v: npm install in internal/page brings it (make page-test does)", err)
	}
	axe := string(source)
	prog := newProgram(t)
	prog.run(t, "record", "import", "../../testdata/record/anna.csv")
	browser := browse(t)
	p := open(t, browser, prog.serve(t, "--singer", "Anna"))
	p.settledHome()
	p.inspect("the first screen", axe)
	for place, ready := range map[string]string{
		"progress": `document.querySelector(".ladder li")`, "record": button("Export"), "help": `document.querySelector("main h2")`,
		"help?topic=voice": `document.querySelector("main h2")`, "choose?drill=sing": `document.getElementById("field-key")`,
		"choose?drill=series": `document.getElementById("field-level")`, "melody?level=3&key=Eb&seed=7": `document.querySelector(".found svg")`,
		"key?key=Ab": `document.querySelector(".found table")`, "chords?key=Ab": `document.querySelector(".found h2")`, "sing?key=Ab&degrees=la": button("Start"), "nowhere": `document.querySelector(".home")`,
	} {
		p.go_(place)
		p.await(place, ready)
		p.inspect(place, axe)
	}

	// Nobody sings: the window is open. Then somebody sings flat, and is asked.
	flat := recordingNamed(t, "flat-40")
	for range tries {
		p.go_("help")
		from := p.heard()
		p.go_(strings.NewReplacer("retry=never", "retry=ask", "timeout=4", "timeout=20", "count=1", "count=2").Replace(flat.address()))
		p.press("Start")
		_, from = p.event(from, "listening")
		p.inspect("listening", axe)
		sing(t, flat.path)
		got, _ := p.event(from, "verdict")
		if read[verdict](t, got.Detail).Outcome == "flat" {
			break
		}
	}
	p.asks()
	p.inspect("an answer that was flat", axe)
	p.key("q")
	p.await("the end", `document.querySelector(".summary")`)
	p.inspect("the end of a drill", axe)

	from := p.heard()
	p.go_("series?level=2&count=1&seed=4&study=60&tempo=200&input=simulated")
	p.press("Start")
	p.event(from, "line")
	p.asks()
	p.inspect("a melody to read", axe)
	p.key(kb.Enter)
	p.event(from, "sung")
	p.asks()
	p.inspect("a melody that was sung", axe)
	p.key("q")
	p.await("the end", `document.querySelector(".summary")`)

	p.go_("dictation?of=bass&count=1&seed=1&set=tonic")
	p.press("Start")
	p.asks()
	p.inspect("chords to be named", axe)
	p.key("?")
	p.key(kb.Enter)
	p.await("the end", `document.querySelector(".summary")`)

	p.go_("calibrate?only=room,level&input=simulated")
	p.press("Start")
	p.asks()
	p.inspect("calibration", axe)
	p.go_("sing?count=5000")
	p.press("Start")
	p.await("what is wrong", `document.querySelector(".summary")`)
	p.inspect("an address that asks for something else", axe)
	p.close()

	p = open(t, browser, serveFolder(t, prog.folder(t)))
	p.settledHome()
	p.inspect("the first screen of who is new", axe)
	p.go_("record")
	p.press("Delete")
	p.await("the question", button("Delete it all"))
	p.inspect("whether all is to be deleted", axe)
	p.before(`navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("", "NotAllowedError"));`)
	p.must(chromedp.Do(p.ctx, chromedp.Reload()))
	p.await("the engine", `document.body.dataset.ready === "true"`)
	p.go_("sing?count=1")
	p.press("Start")
	p.says("The browser may not hear the microphone")
	p.inspect("no permission", axe)
	p.calm()
}
