package page_test

import (
	"math"
	"strings"
	"testing"
)

// Ways to practise beside the plain question: each runs to its end in the browser, with the
// simulated singer, and leaves no trouble.
func TestBrowserWays(t *testing.T) {
	needBrowser(t)
	p := open(t, browse(t), newProgram(t).serve(t))
	for _, address := range []string{
		"sing?key=Eb&degrees=mi,la&count=2&modulate=V&input=simulated&seed=1",
		"sing?key=D&degrees=do,sol&count=2&wait=2&tempo=120&input=simulated&seed=1",
		"sing?key=G&degrees=mi&count=1&drone=fifth&input=simulated&seed=1",
		"sing?key=G&degrees=mi&count=1&vamp=I+IV&input=simulated&seed=1",
		"sing?key=F&degrees=la&count=1&then=play&input=simulated&seed=1",
		"dictation?key=G&answer=play&of=quality&length=1&count=1&input=simulated&seed=4",
		"series?degrees=scale&key=D&silent-bars=2&count=1&study=0&input=simulated&seed=4",
	} {
		from := p.heard()
		p.go_("help")
		p.go_(address)
		p.press("Start")
		for {
			got, next := p.event(from, "summary", "reasoned", "sung")
			if from = next; got.Event == "summary" {
				break
			}
			p.key("\r") // goes on, where something is read
		}
		if troubles := p.troubles(); troubles != "" {
			t.Errorf("%s: %s", address, troubles)
		}
	}
}

// A note that is sung while a drone sounds gets the verdict that the recording has without.
func TestBrowserDrone(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	p := open(t, browse(t), prog.serve(t))
	tried := 0
	for _, r := range recordings(t) {
		if !strings.HasPrefix(r.name, "la-") && r.says["expect_outcome"] != "in_tune" || tried == 2 {
			continue
		}
		want := r.judged(t, prog)
		if want.Cents == nil {
			continue
		}
		tried++
		from := p.heard()
		p.go_("help")
		p.go_(r.address() + "&drone=fifth&headphones=true")
		p.press("Start")
		_, from = p.event(from, "listening")
		sing(p.t, r.path)
		got, from := p.event(from, "verdict")
		p.event(from, "summary")
		v := read[verdict](t, got.Detail)
		if v.Outcome != want.Outcome || v.Cents == nil || math.Abs(*v.Cents-*want.Cents) > 1 {
			t.Errorf("%s: %v, as a file %v", r.name, v, want)
		} else {
			t.Logf("%s: %v, as a file %v", r.name, v, want)
		}
	}
	if tried == 0 {
		t.Error("no recording was sung")
	}
}
