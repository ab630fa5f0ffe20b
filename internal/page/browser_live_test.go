package page_test

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"
)

// What the page promises.
const (
	toCadence   = 1500 // milliseconds from the click to the key
	longestTask = 50   // milliseconds that the page may stand still while it listens
	timesReal   = 20   // how much faster than sound the engine hears
)

// engine attaches to the worker in which the engine runs.
func (p *tab) engine() *tab {
	p.t.Helper()
	all, err := chromedp.Targets(p.ctx)
	p.must(err)
	for _, info := range all {
		if info.Type == "worker" && strings.HasSuffix(info.URL, "/worker.js") {
			w := &tab{t: p.t, news: make(chan struct{})}
			w.ctx, w.close = chromedp.NewContext(p.ctx, chromedp.WithTargetID(info.TargetID))
			p.t.Cleanup(w.close)
			w.must(chromedp.Do(w.ctx))
			return w
		}
	}
	p.t.Fatal("the page has no worker")
	return nil
}

// memory is what the page takes, in bytes.
type memory struct{ page, worker, engine float64 }

func (m memory) String() string {
	const mb = 1 << 20
	return fmt.Sprintf("JS heap of the page %.2f MB, of the worker %.2f MB, the engine %.2f MB", m.page/mb, m.worker/mb, m.engine/mb)
}

// weigh says what the page takes, when all that can be freed has been.
func (p *tab) weigh(worker *tab) memory {
	p.t.Helper()
	heap := func(p *tab) float64 {
		_, err := chromedp.Call(p.ctx, heapprofiler.CollectGarbage, cdp.Empty{})
		p.must(err)
		used, err := chromedp.Call(p.ctx, runtime.GetHeapUsage, cdp.Empty{})
		p.must(err)
		return used.UsedSize
	}
	m := memory{page: heap(p), worker: heap(worker)}
	// The engine's memory is no property of anything: it is found by what made it.
	made, err := chromedp.Call(worker.ctx, runtime.Evaluate, runtime.EvaluateParams{Expression: "WebAssembly.Memory.prototype"})
	worker.must(err)
	found, err := chromedp.Call(worker.ctx, runtime.QueryObjects, runtime.QueryObjectsParams{PrototypeObjectID: made.Result.ObjectID})
	worker.must(err)
	size, err := chromedp.Call(worker.ctx, runtime.CallFunctionOn, runtime.CallFunctionOnParams{
		FunctionDeclaration: "function() { return this.reduce((n, m) => n + m.buffer.byteLength, 0); }", ObjectID: found.Objects.ObjectID, ReturnByValue: yes(),
	})
	worker.must(err)
	m.engine = read[float64](p.t, size.Result.Value)
	return m
}

func yes() *bool { v := true; return &v }

// worked records what the threads of the browser do, and returns how long, in
// milliseconds of its processor, the page's main thread worked on one task at the most. A
// task lasts longer where the machine has other things to do.
func (p *tab) worked() (end func() float64) {
	p.t.Helper()
	var mu sync.Mutex
	type task struct {
		Name, Ph, Cat string
		PID, TID      int64
		TDur          float64
		Args          struct{ Name string }
	}
	var all []task
	done := make(chan struct{})
	p.must(chromedp.Listen(p.ctx, func(ev any) {
		switch e := ev.(type) {
		case *tracing.EventDataCollected:
			mu.Lock()
			defer mu.Unlock()
			for _, v := range e.Value {
				var k task
				if text, err := json.Marshal(v); err == nil && json.Unmarshal(text, &k) == nil && (k.Name == "RunTask" || k.Name == "thread_name") {
					all = append(all, k)
				}
			}
		case *tracing.EventTracingComplete:
			close(done)
		}
	}))
	_, err := chromedp.Call(p.ctx, tracing.Start, tracing.StartParams{TraceConfig: &tracing.TraceConfig{
		IncludedCategories: []string{"disabled-by-default-devtools.timeline", "__metadata"}, ExcludedCategories: []string{"*"},
	}})
	p.must(err)
	return func() (longest float64) {
		p.t.Helper()
		_, err := chromedp.Call(p.ctx, tracing.End, cdp.Empty{})
		p.must(err)
		select {
		case <-done:
		case <-time.After(hangs):
			p.t.Fatal("the browser does not tell what it did")
		}
		mu.Lock()
		defer mu.Unlock()
		main, n := map[[2]int64]bool{}, 0
		for _, k := range all {
			if k.Args.Name == "CrRendererMain" {
				main[[2]int64{k.PID, k.TID}] = true
			}
		}
		for _, k := range all {
			if k.Name == "RunTask" && main[[2]int64{k.PID, k.TID}] {
				n++
				longest = max(longest, k.TDur/1000)
			}
		}
		if n < 1000 {
			p.t.Errorf("the browser tells of %d tasks of the page", n)
		}
		return longest
	}
}

// stood says how long, in milliseconds, the page stood still at the longest while it
// listened.
func (p *tab) stood() (longest float64) {
	p.t.Helper()
	tasks := evaluate[[]struct{ At, Ms float64 }](p, "longTasks")
	p.mu.Lock()
	events := slices.Clone(p.events)
	p.mu.Unlock()
	from := -1.0
	for _, e := range events {
		switch e.Event {
		case "listening":
			from = e.At
		case "verdict":
			for _, task := range tasks {
				if from >= 0 && task.At < e.At && task.At+task.Ms > from {
					longest = max(longest, task.Ms)
				}
			}
			from = -1
		}
	}
	return longest
}

// live runs a drill of short notes for so long, and calls each minute with its number.
func (p *tab) live(duration time.Duration, minute func(n int)) (stood float64) {
	p.t.Helper()
	p.go_(quick + "&count=1000")
	p.press("Start")
	key, from := p.event(0, "key")
	clicked := evaluate[float64](p, "clicked")
	p.t.Logf("from the click to the key: %.0f ms", key.At-clicked)
	if ms := key.At - clicked; ms < 0 || ms > toCadence {
		p.t.Errorf("from the click to the key: %.0f ms, want at most %d", ms, toCadence)
	}
	n := 0
	for end, next := time.Now().Add(duration), time.Now().Add(time.Minute); time.Now().Before(end); {
		_, from = p.event(from, "verdict")
		if time.Now().After(next) {
			n++
			minute(n)
			next = next.Add(time.Minute)
		}
	}
	p.key("q")
	p.event(from, "summary")
	var lost int
	all := p.verdicts()
	for _, v := range all {
		if v.Reason != nil && *v.Reason == "lost_samples" {
			lost++
		}
	}
	stood = p.stood()
	p.t.Logf("%v: %d verdicts, %d with lost sound; the page stood still for at most %.0f ms while it listened", duration, len(all), lost, stood)
	if len(all) < int(duration.Seconds()/4) {
		p.t.Errorf("%d verdicts in %v", len(all), duration)
	}
	if lost > 0 || strings.Contains(p.troubles(), "lost") {
		p.t.Errorf("%d answers with lost sound; the page says: %s", lost, p.troubles())
	}
	p.calm()
	return stood
}

// Ten minutes of a drill, and what the page takes after the second and the tenth.
func TestBrowserTenMinutes(t *testing.T) {
	if os.Getenv("SINGBACK_BROWSER_LONG") != "1" {
		t.Skip("takes ten minutes: make page-test-long")
	}
	needBrowser(t)
	p := open(t, browse(t), newProgram(t).serve(t))
	worker := p.engine()
	notes(t, 0.8, 0.3)
	var second, last memory
	var worked func() float64
	stood := p.live(10*time.Minute+10*time.Second, func(n int) {
		last = p.weigh(worker)
		t.Logf("after minute %d: %v", n, last)
		switch n {
		case 2:
			second = last
		case 9:
			worked = p.worked()
		}
	})
	work := worked()
	t.Logf("the longest task of the page in the last minute took %.1f ms of the processor", work)
	if stood > longestTask && work > longestTask {
		t.Errorf("the page stood still for %.0f ms while it listened, %.0f of them its own work; want at most %d", stood, work, longestTask)
	}
	// What grows in eight minutes by so little does not fill a phone in an evening.
	const mb = 1 << 20
	if second.page == 0 || last.page > second.page+2*mb || last.worker > second.worker+2*mb || last.engine > second.engine+8*mb {
		t.Errorf("after minute 2: %v; after minute 10: %v", second, last)
	}
}

// The engine hears in its worker so many times faster than sound: a voice is pushed into
// an open window as fast as the engine takes it, until the window ends, after 15 s of
// sound.
func TestBrowserSpeed(t *testing.T) {
	needBrowser(t)
	p := open(t, browse(t), newProgram(t).serve(t))
	var best float64
	for range tries {
		from := p.heard()
		p.go_("help")
		p.go_("sing?key=Eb&degrees=la&count=1&set=tonic&think=0&compare=false&retry=never&hold=30&timeout=30")
		p.press("Start")
		p.event(from, "listening")
		ms := evaluate[float64](p.engine(), `new Promise((done) => {
			const rate = 48000, n = 480, seconds = 16;
			const sound = new Float32Array(seconds * rate);
			let phase = 0;
			for (let i = 0; i < sound.length; i++) {
				phase += 2 * Math.PI * 261.63 * 2 ** (0.3 / 12 * Math.sin(2 * Math.PI * 5.5 * i / rate)) * 2 ** (9 / 12) / rate;
				for (let k = 1; k <= 10; k++) sound[i] += 0.1 / k * Math.sin(k * phase);
			}
			const post = self.singbackPost;
			const began = performance.now();
			self.singbackPost = (text) => {
				const m = JSON.parse(text);
				if (m.is === "event" && m.detail.event === "verdict") {
					self.singbackPost = post;
					done(performance.now() - began);
				}
				post(text);
			};
			let at = 0;
			for (let i = 0; i < sound.length; i += n) {
				self.singbackHeard(at, new Uint8Array(sound.buffer, 4 * i, 4 * n));
				at += n;
			}
		})`)
		p.event(from, "summary")
		t.Logf("15 s of a voice in %.0f ms: %.1f times real time", ms, 15000/ms)
		if best = max(best, 15000/ms); best >= timesReal {
			return
		}
	}
	t.Errorf("%.1f times real time, want %d", best, timesReal)
}
