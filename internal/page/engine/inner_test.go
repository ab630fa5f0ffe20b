package engine

import (
	"encoding/json"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// A drone goes on through the browser's loudspeaker without a gap while its microphone is
// heard, and ends with the window; nobody is not taken for it. What options there are, the
// form has.
func TestDroneInTheBrowser(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e, s, _ := opened(t)
		port := &gapless{browserPort: browserPort{rate: 16000}}
		speaker, mic := NewSpeaker(16000, port), NewMic(16000)
		port.speaker = speaker
		e.Connect(Sound{Mic: mic, Speaker: speaker})
		ended := make(chan struct{})
		go func() {
			for at := int64(0); ; at += 512 {
				select {
				case <-ended:
					return
				case <-time.After(32 * time.Millisecond):
					mic.Push(at, floats(make([]float64, 512)))
				}
			}
		}()
		end := run(t, e, s, "sing?drone=fifth&degrees=do&count=1&think=1&timeout=2&set=tonic&retry=never&compare=false&seed=1")
		if end["ok"] != true {
			t.Fatalf("%v", end)
		}
		v := s.events("verdict")
		if len(v) != 1 || v[0]["outcome"] != "not_measured" || v[0]["reason"] != "too_quiet" {
			t.Errorf("%v", v)
		}
		// 1.9 s of the key, then 0.2 s for it to die away, a second to hear it inwardly, and the window.
		if seconds := float64(port.run) / 16000; seconds < 5.1 || seconds > 5.9 || port.gaps > 0 {
			t.Errorf("it sounds for %.2f s, with %d gaps", seconds, port.gaps)
		}
		if n := s.messages("notice"); len(n) == 0 || !strings.Contains(n[0]["text"].(string), "headphones") {
			t.Errorf("%v", n)
		}
		time.Sleep(time.Second)
		close(ended)
		mic.Close()
	})
}

// gapless tells where the sound ran dry.
type gapless struct {
	browserPort
	run, gaps int // samples since the last gap
}

func (p *gapless) Sound(block []byte) {
	if p.until.Before(time.Now()) && p.samples > 0 {
		p.gaps++
		p.run = 0
	}
	p.run += len(block) / 4
	p.browserPort.Sound(block)
}

// Inner hearing in the addresses of the page: what a mistake says, and what runs.
func TestInnerAddresses(t *testing.T) {
	e, s, _ := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`""`)})
		}
	}
	for address, event := range map[string]string{
		"sing?modulate=V+IV&count=1&seed=1&input=simulated&retry=never":                "modulation",
		"sing?wait=2&tempo=120&count=1&seed=1&input=simulated&retry=never":             "verdict",
		"sing?vamp=I+IV&headphones&count=1&seed=1&input=simulated&retry=never":         "verdict",
		"series?level=1&silent-bars=2&count=1&seed=1&input=simulated&study=0":          "sung",
		"series?degrees=scale&silent-bars=any&drone=tonic&seed=1&input=simulated&free": "sung",
	} {
		before := len(s.events(event))
		if end := run(t, e, s, address); end["ok"] != true || len(s.events(event)) != before+1 {
			t.Errorf("%s: %v, %d times %s", address, end, len(s.events(event))-before, event)
		}
	}
	if sung := s.events("sung"); len(sung) > 0 && sung[0]["gaps"] == nil && sung[1]["gaps"] == nil {
		t.Errorf("no gaps: %v", sung)
	}
	for _, m := range s.messages("event") {
		if svg, ok := m["svg"].(string); ok && !strings.Contains(svg, `class="silent"`) {
			t.Error("a staff without its silent bar")
		}
	}
	for _, m := range []string{"sing?drone=bagpipe", "series?silent-bars=90", "sing?modulate=I"} {
		before := len(s.messages("wrong"))
		e.Do(Command{Do: "drill", Address: m})
		e.Wait()
		if len(s.messages("wrong")) != before+1 {
			t.Errorf("%s is not refused", m)
		}
	}
}
