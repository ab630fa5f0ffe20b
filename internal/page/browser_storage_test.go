package page_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
)

// notes sings la in E flat, C5, again and again into the microphone, a note and a rest
// of so many seconds each, until the test ends.
func notes(t testing.TB, note, rest float64) {
	t.Helper()
	const rate = 48000
	n, all := int(note*rate), int((note+rest)*rate)
	once := make([]float64, all)
	for i := range n {
		edge := min(1, float64(min(i, n-1-i))/(rate/50))
		for k := 1; k <= 8; k++ {
			once[i] += 0.1 * edge / float64(k) * math.Sin(2*math.Pi*523.251*float64(k)*float64(i)/rate)
		}
	}
	repeat(t, rate, once)
}

// quick is a drill that asks for la, and takes short notes for answers.
const quick = "sing?key=Eb&degrees=la&set=tonic&set-every=0&think=0&compare=false&retry=never&hold=0.5&timeout=5"

// verdicts are those that the page has told so far.
func (p *tab) verdicts() (all []verdict) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, e := range p.events {
		if e.Event == "verdict" {
			all = append(all, read[verdict](p.t, e.Detail))
		}
	}
	return all
}

// missing are the verdicts of which there is no answer, to the hundredth of a cent, in
// their order.
func missing(told []verdict, kept []row) (lost []verdict) {
	for _, v := range told {
		found := false
		for len(kept) > 0 && !found {
			r := kept[0]
			kept = kept[1:]
			found = r.Outcome == v.Outcome && (r.Cents == nil) == (v.Cents == nil) && (r.Cents == nil || math.Abs(*r.Cents-*v.Cents) < 0.0051)
		}
		if !found {
			lost = append(lost, v)
		}
	}
	return lost
}

// A tab is killed at fifty moments of a drill, drawn by chance: half of them because its
// renderer crashes, half because it is closed. Every verdict that was told is in the
// browser's database then, which opens. Some drills at once, each with a database of its
// own, so that it takes no longer than it must.
func TestBrowserKilled(t *testing.T) {
	needBrowser(t)
	moments, atOnce := 50, 5
	if testing.Short() {
		moments = 10
	}
	address := serveFolder(t, newProgram(t).folder(t))
	browser := browse(t)
	notes(t, 0.8, 0.3)
	told, kept := make([]int, atOnce), make([]int, atOnce)
	random := rand.New(rand.NewPCG(1, 2))
	delays := make([]time.Duration, moments)
	for i := range delays {
		delays[i] = time.Duration(random.IntN(2500)) * time.Millisecond
	}
	t.Run("at once", func(t *testing.T) {
		for n := range atOnce {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				t.Parallel()
				id, err := chromedp.CallBrowser(browser, target.CreateBrowserContext, target.CreateBrowserContextParams{})
				if err != nil {
					t.Fatal(err)
				}
				own := chromedp.WithExistingBrowserContext(id.BrowserContextID)
				p := newTab(t, browser, own)
				p.visit(address)
				var all []verdict
				for i := n; i < moments; i += atOnce {
					from := p.heard()
					p.go_(quick + "&count=100")
					p.press("Start")
					p.event(from, "listening")
					time.Sleep(delays[i])
					if i%2 == 0 {
						// The answer to this never comes.
						ctx, cancel := context.WithTimeout(p.ctx, 2*time.Second)
						chromedp.Call(ctx, cdppage.Crash, cdp.Empty{})
						cancel()
					}
					p.close()
					all = append(all, p.verdicts()...)
					p = newTab(t, browser, own)
					p.visit(address)
					rows := p.keptHere()
					if lost := missing(all, rows); len(lost) > 0 {
						t.Errorf("moment %d: told and not kept: %v", i, lost)
					}
					told[n], kept[n] = len(all), len(rows)
				}
			})
		}
	})
	var sumTold, sumKept int
	for n := range atOnce {
		sumTold, sumKept = sumTold+told[n], sumKept+kept[n]
	}
	t.Logf("%d moments: %d verdicts told, %d answers kept", moments, sumTold, sumKept)
	if sumTold < moments/2 {
		t.Errorf("%d verdicts were told; the tabs died too early to tell anything", sumTold)
	}
}

// Where the engine's worker dies of an error in the middle of a drill, the page says so,
// what it had told is kept, and the drill can be started again.
func TestBrowserWorkerDies(t *testing.T) {
	needBrowser(t)
	p := newTab(t, browse(t))
	_, err := chromedp.Call(p.ctx, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: `
		const Plain = Worker;
		globalThis.Worker = class extends Plain { constructor(...a) { super(...a); globalThis.theWorker = this; } };
	`})
	p.must(err)
	p.visit(serveFolder(t, newProgram(t).folder(t)))
	notes(t, 0.8, 0.3)
	p.go_(quick + "&count=100")
	p.press("Start")
	_, from := p.event(0, "verdict")
	p.event(from, "verdict")
	// What no page sends: its handler throws, outside of anything that could catch it.
	evaluate[bool](p, `theWorker.postMessage({do: "sound"}) === undefined`)
	p.await("what is said", `/The drill stopped .* What was shown is kept: start again/.test(document.body.innerText)`)
	told := p.verdicts()
	if lost := missing(told, p.keptHere()); len(told) < 2 || len(lost) > 0 {
		t.Errorf("of %d told and not kept: %v", len(told), lost)
	}
	n := p.heard()
	p.press("Start again")
	p.event(n, "verdict")
	if lost := missing(p.verdicts(), p.keptHere()); len(lost) > 0 {
		t.Errorf("after the new start, told and not kept: %v", lost)
	}
	p.calm()
}

// Where the browser has no room left, the page says so, the drill goes on without the
// record, and what was told before is kept.
func TestBrowserFull(t *testing.T) {
	needBrowser(t)
	address := serveFolder(t, newProgram(t).folder(t))
	p := open(t, browse(t), address)
	notes(t, 0.8, 0.3)
	p.settled(true)
	origin, err := url.Parse(address)
	p.must(err)
	// Room for some answers, of some 800 bytes.
	room := evaluate[float64](p, `navigator.storage.estimate().then((e) => e.usage)`) + 4000
	_, err = chromedp.Call(p.ctx, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: "http://" + origin.Host, QuotaSize: &room})
	p.must(err)
	p.go_(quick + "&count=7")
	p.press("Start")
	said := 0 // verdicts, when the page said that there is no room
	for from := 0; said == 0; {
		var e told
		if e, from = p.event(from, "verdict", "summary"); e.Event == "summary" {
			break
		}
		if strings.Contains(p.text(), "no space left") {
			said = len(p.verdicts())
		}
	}
	p.event(0, "summary")
	p.await("the end", `document.querySelector(".summary")`)
	if said == 0 {
		t.Errorf("the page does not say that there is no room: %s", p.text())
	}
	// Each was kept before it was told, up to the one that found no room.
	rows, all := p.keptHere(), p.verdicts()
	if lost := missing(all[:len(rows)], rows); len(rows) == 0 || len(rows) >= len(all) || len(lost) > 0 {
		t.Errorf("of %d told %d are kept, and not these: %v", len(all), len(rows), lost)
	}
	if said != len(rows)+1 {
		t.Errorf("%d are kept, and the page said that there is no room with verdict %d", len(rows), said)
	}
	t.Logf("%d verdicts told, %d kept; the page says: %s", len(all), len(rows), p.text())
	p.calm()
}

// Of two tabs one records; the other says so, records nothing, and takes over when the
// first is closed.
func TestBrowserSecondTab(t *testing.T) {
	needBrowser(t)
	address := serveFolder(t, newProgram(t).folder(t))
	browser := browse(t)
	first := open(t, browser, address)
	second := open(t, browser, address)
	second.await("that another tab records", `document.getElementById("troubles").innerText.includes("another tab")`)
	if said := first.troubles(); said != "" {
		t.Errorf("the first tab says %q", said)
	}
	notes(t, 0.8, 0.3)
	second.go_(quick + "&count=1")
	second.press("Start")
	second.event(0, "summary")
	if rows := second.keptHere(); len(second.verdicts()) != 1 || len(rows) != 0 {
		t.Errorf("the second tab told %v and kept %+v", second.verdicts(), rows)
	}
	first.must(chromedp.Cancel(first.ctx))
	second.until("the second tab to record", func() bool {
		from := second.heard()
		second.go_("help")
		second.go_(quick + "&count=1")
		second.press("Start")
		second.event(from, "summary")
		return len(second.keptHere()) > 0
	})
	second.await("that it records", `!document.getElementById("troubles").innerText.includes("another tab")`)
	second.calm()
}
