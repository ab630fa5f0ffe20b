// Command pageshots takes a picture of each screen of the page in Chromium, on a phone,
// a tablet, a laptop, a phone that lies on a music stand and a very large screen, light
// and dark, and looks each over:
//
//	pageshots -out FOLDER [-only REGEXP] [-axe axe.min.js]
//
// It says what it finds, a line each: an error that the browser reports, text that does
// not fit the width, letters of the question too small to be read from two metres, and,
// with axe-core, what keeps people out. It exits with 1 where there is something.
//
// The engine is a recording (internal/page/webtest), so that the screens are the same
// each time.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"singback/internal/testkit/chromium"
)

// screen is one of the page's.
type screen struct {
	name    string
	address string
	fresh   bool // for somebody who has started nothing yet
	start   bool // press Start
	after   string
	query   string // of the page itself
}

// screens are those that are looked at.
var screens = []screen{
	{name: "first", address: "", fresh: true},
	{name: "home", address: ""},
	{name: "gate", address: "sing?key=Ab&degrees=la&count=6", fresh: true},
	{name: "key", address: "sing?shot=key", start: true},
	{name: "asked", address: "sing?shot=asked", start: true},
	{name: "listening", address: "sing?shot=listening", start: true},
	{name: "deaf", address: "sing?shot=deaf", start: true},
	{name: "flat", address: "sing?shot=flat", start: true},
	{name: "right", address: "sing?shot=right", start: true},
	{name: "unknown", address: "sing?shot=unknown", start: true},
	{name: "hidden", address: "sing?shot=hidden", start: true},
	{name: "guess", address: "sing?shot=guess", start: true},
	{name: "rest", address: "sing?shot=rest", start: true},
	{name: "end", address: "sing?shot=end", start: true},
	{name: "failed", address: "sing?shot=failed", start: true},
	{name: "wrong", address: "sing?shot=wrong", start: true},
	{name: "crash", address: "sing?shot=crash", start: true},
	{name: "no-permission", address: "sing?sound=no-permission", start: true},
	{name: "read", address: "series?shot=read", start: true},
	{name: "line", address: "series?shot=line", start: true},
	{name: "sung", address: "series?shot=sung", start: true},
	{name: "name", address: "dictation?shot=name", start: true},
	{name: "named", address: "dictation?shot=named", start: true},
	{name: "calibrate", address: "calibrate?shot=level", start: true},
	{name: "calibrated", address: "calibrate?shot=end", start: true},
	{name: "choose", address: "choose?drill=sing&key=Ab"},
	{name: "choose-more", address: "choose?drill=series&level=3&backing=gospel&headphones=true", after: `document.querySelector("#field-backing").scrollIntoView(); Promise.resolve()`},
	{name: "melody", address: "melody?level=3&key=Eb&seed=7"},
	{name: "look-key", address: "key?key=Ab"},
	{name: "progress", address: "progress"},
	{name: "record", address: "record"},
	{name: "delete", address: "record", after: `[...document.querySelectorAll("button")].find((b) => b.textContent === "Delete").click()`},
	{name: "hand-in", address: "record", query: handsIn, after: chosen},
	{name: "hand-in-asks", address: "record", query: handsIn, after: chosen + pressed("Send 1 file to example.org")},
	{name: "hand-in-failed", address: "record", query: handsIn, after: chosen + pressed("Send 1 file to example.org") + pressed("Yes, send")},
	{name: "help", address: "help"},
	{name: "topic", address: "help?topic=practice"},
}

// chosen has the record chosen to be handed in, in sight; more buttons are pressed after it.
var chosen = `document.querySelector('[data-part="hand-in"]').scrollIntoView(); Promise.resolve()` + pressed("Add my record of practice")

// pressed presses a button, when what comes before is done.
func pressed(name string) string {
	return fmt.Sprintf(`.then(() => [...document.querySelectorAll("button")].find((b) => b.textContent === %q)?.click())`+
		`.then(() => new Promise((done) => setTimeout(done, 40)))`, name)
}

// view is a screen that the page is seen on.
type view struct {
	width, height int64
	mobile        bool
}

var views = []view{{360, 740, true}, {820, 1180, true}, {1440, 900, false}, {844, 390, true}, {3840, 2160, false}, {320, 640, true}}

func main() {
	out := flag.String("out", "", "the `FOLDER` the pictures are put into")
	only := flag.String("only", "", "only screens whose name, like flat-360-dark, this `REGEXP` matches")
	axe := flag.String("axe", "internal/page/node_modules/axe-core/axe.min.js", "the `FILE` of axe-core; it is left out where that is not there")
	flag.Parse()
	if *out == "" || flag.NArg() > 0 {
		flag.Usage()
		os.Exit(2)
	}
	found, err := run(context.Background(), *out, *only, *axe, os.Stdout)
	if err != nil {
		fmt.Fprintln(os.Stderr, "pageshots:", err)
		os.Exit(1)
	}
	if found > 0 {
		fmt.Fprintf(os.Stderr, "pageshots: %d findings\n", found)
		os.Exit(1)
	}
}

// run takes the pictures and says what it found, and how much.
func run(ctx context.Context, out, only, axe string, w io.Writer) (found int, err error) {
	match, err := regexp.Compile(only)
	if err != nil {
		return 0, err
	}
	root, err := repository()
	if err != nil {
		return 0, err
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return 0, err
	}
	if !filepath.IsAbs(axe) {
		axe = filepath.Join(root, axe)
	}
	source, err := os.ReadFile(axe)
	if err != nil {
		fmt.Fprintf(w, "axe-core is not here (%s): npm install in internal/page brings it\n", axe)
	}
	server := serve(filepath.Join(root, "internal/page"))
	defer server.Close()
	ctx, stop := chromium.Start(ctx)
	defer stop()
	if err := chromedp.Do(ctx); err != nil {
		return 0, err
	}
	for _, v := range views {
		for _, scheme := range []string{"light", "dark"} {
			for _, s := range screens {
				name := fmt.Sprintf("%s-%d-%s", s.name, v.width, scheme)
				if !match.MatchString(name) {
					continue
				}
				said, err := shoot(ctx, server.URL, s, v, scheme, string(source), filepath.Join(out, name+".png"))
				if err != nil {
					return found, fmt.Errorf("%s: %w", name, err)
				}
				for _, line := range said {
					fmt.Fprintf(w, "%s: %s\n", name, line)
				}
				found += len(said)
			}
		}
	}
	return found, nil
}

// shoot takes one picture in a tab of its own and says what is wrong with the screen.
func shoot(ctx context.Context, url string, s screen, v view, scheme, axe, file string) ([]string, error) {
	ctx, cancel := chromedp.NewContext(ctx)
	defer cancel()
	var said []string
	messages := chromedp.Console(ctx)
	if err := chromedp.Do(ctx); err != nil {
		return nil, err
	}
	tab, stop := context.WithTimeout(ctx, 30*time.Second)
	defer stop()
	if _, err := chromedp.Call(tab, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: v.width, Height: v.height, DeviceScaleFactor: 1, Mobile: v.mobile}); err != nil {
		return nil, err
	}
	if _, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
	}}); err != nil {
		return nil, err
	}
	if _, err := chromedp.Call(tab, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: v.mobile}); err != nil {
		return nil, err
	}
	query := ""
	if s.query != "" {
		query = "?" + s.query
	}
	if err := chromedp.Do(tab, chromedp.Navigate(url+"/"+query+"#"+s.address)); err != nil {
		return nil, err
	}
	if _, err := chromedp.Run(tab, chromedp.Poll[bool](`document.body.dataset.ready === "true"`)); err != nil {
		return nil, err
	}
	remembers := `localStorage.setItem("singback-started", "yes"); 0`
	if s.fresh {
		remembers = `localStorage.clear(); 0`
	}
	if _, err := chromedp.Run(tab, chromedp.Evaluate[int](remembers)); err != nil {
		return nil, err
	}
	if err := chromedp.Do(tab, chromedp.Reload()); err != nil {
		return nil, err
	}
	if _, err := chromedp.Run(tab, chromedp.Poll[bool](`document.body.dataset.ready === "true"`)); err != nil {
		return nil, err
	}
	act := s.after
	if s.start {
		act = `document.querySelector("button.start").click()`
	}
	settle := `new Promise((done) => setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(() => done(true))), 250))`
	if _, err := chromedp.Run(tab, chromedp.Evaluate[bool](settle, chromedp.EvalAwaitPromise)); err != nil {
		return nil, err
	}
	if act != "" {
		if _, err := chromedp.Run(tab, chromedp.Evaluate[any](act+"; "+settle, chromedp.EvalAwaitPromise)); err != nil {
			return nil, err
		}
	}
	picture, err := chromedp.Run(tab, chromedp.CaptureScreenshot())
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(file, picture, 0o644); err != nil {
		return nil, err
	}
	text, err := chromedp.Run(tab, chromedp.Evaluate[string](lookOver))
	if err != nil {
		return nil, err
	}
	said = append(said, lines(text)...)
	if axe != "" {
		text, err := chromedp.Run(tab, chromedp.Evaluate[string](axe+";"+runAxe, chromedp.EvalAwaitPromise))
		if err != nil {
			return nil, err
		}
		said = append(said, lines(text)...)
	}
	cancel()
	for m, err := range messages {
		if err != nil {
			break
		}
		if t := fmt.Sprint(m); !strings.Contains(t, "out of memory") { // the engine that is made to fail
			said = append(said, "the browser says: "+t)
		}
	}
	return said, nil
}

func lines(text string) []string {
	var all []string
	if err := json.Unmarshal([]byte(text), &all); err != nil {
		return []string{text}
	}
	return all
}

// lookOver measures what no rule of axe-core does: nothing is cut off at the side, no
// staff either, and
// what is asked and sung has capitals of at least 44 px, 20 minutes of arc at two metres
// (ISO 9241-3's preferred height at 96 px an inch; a capital of most text faces is 0.72
// of the size of the letters).
const lookOver = `JSON.stringify((() => {
	const said = [];
	const wide = document.documentElement.scrollWidth - innerWidth;
	if (wide > 0) said.push("the page is " + wide + " px wider than the screen");
	for (const e of document.querySelectorAll(".pane:not([hidden]) .big")) {
		const capital = parseFloat(getComputedStyle(e).fontSize) * 0.72;
		if (e.textContent && e.checkVisibility() && capital < 44) said.push("capitals of " + e.textContent + " are " + capital.toFixed(1) + " px high, want 44");
		const r = e.getBoundingClientRect();
		if (r.left < 0 || r.right > innerWidth) said.push(e.textContent + " is cut off");
	}
	for (const e of document.querySelectorAll(".paper")) {
		const wide = e.scrollWidth - e.clientWidth;
		if (e.checkVisibility() && wide > 1) said.push("the staff is " + wide + " px wider than its paper");
	}
	for (const e of document.querySelectorAll("button, nav a, .links a, summary, input:not([type=file]), select")) {
		if (!e.checkVisibility()) continue;
		const r = e.getBoundingClientRect();
		if (r.width > 1 && (r.width < 43.9 || r.height < 43.9)) said.push("a target of " + Math.round(r.width) + " x " + Math.round(r.height) + " px: " + (e.textContent || e.id));
		if (r.width > 1 && (r.left < -1 || r.right > innerWidth + 1)) said.push("cut off: " + (e.textContent || e.id));
	}
	return said;
})())`

const runAxe = `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], rules: {"target-size": {enabled: true}}})
	.then((r) => JSON.stringify(r.violations.flatMap((v) => v.nodes.map((n) => "axe " + v.id + ": " + v.help + ": " + n.html.slice(0, 160) + " " + (n.any[0]?.message ?? "")))))`
