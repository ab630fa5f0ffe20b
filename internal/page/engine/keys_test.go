package engine

import (
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"singback/internal/audio"
	"singback/internal/testkit/instruments"
)

// plays has a page strike keys each time that something is to be played: for the n-th
// time those of the n-th list, some together.
func plays(e *Engine, s *stage, after time.Duration, strikes ...[]Key) {
	n := 0
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.desk.answered(int(msg["id"].(float64)), []byte(`"no"`))
		}
		if msg["is"] != "state" || msg["name"] != "strike" || n == len(strikes) {
			return
		}
		list := strikes[n]
		n++
		go func() {
			for _, k := range list {
				time.Sleep(after)
				e.Do(Command{Do: "key", Key: k})
			}
		}()
	}
}

// note is a key that goes down and up again.
func note(key int) []Key { return []Key{{Key: key, Down: true}, {Key: key}} }

// onKeys runs the drill of an address with a keyboard.
func onKeys(e *Engine, s *stage, address string) map[string]any {
	e.Do(Command{Do: "drill", Address: address, Touch: true, Keys: true})
	return <-s.ends
}

// A bass line and a chord are played back on the keyboard that the browser lends, with
// the pedal; what was struck before counts for nothing; and the answers are kept as those
// of keys.
func TestDictationOnKeys(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e, s, m := opened(t)
		e.Do(Command{Do: "key", Key: Key{Key: 40, Down: true}})
		plays(e, s, 300*time.Millisecond, slices.Concat(note(48), note(48)))
		end := onKeys(e, s, "dictation?answer=play&key=C&degrees=do&length=2&count=1&compare=false")
		named := s.events("named")
		if end["ok"] != true || len(named) != 1 || named[0]["by"] != "play" || named[0]["right"].([]any)[0] != true || named[0]["right"].([]any)[1] != true || len(m.lines) != 2 {
			t.Fatalf("%v, %v", end, named)
		}
		e, s, m = opened(t)
		plays(e, s, 10*time.Millisecond, []Key{{Pedal: true, Down: true}, {Key: 60, Down: true}, {Key: 64, Down: true}, {Key: 67, Down: true}, {Key: 60}, {Key: 64}, {Key: 67}, {Pedal: true}})
		end = onKeys(e, s, "dictation?answer=play&of=quality&qualities=maj&key=C&count=1&compare=false&input=keys")
		named = s.events("named")
		if end["ok"] != true || len(named) != 1 || named[0]["outcome"].([]any)[0] != "right" || len(m.lines) != 1 {
			t.Fatalf("%v, %v", end, named)
		}
		for _, l := range m.lines {
			if l.Line == "" || !strings.Contains(l.Line, `"keys"`) {
				t.Errorf("%+v", l)
			}
		}
	})
}

// Who answers is settled by what is there; where nothing is, one line says what to do.
func TestWhoPlays(t *testing.T) {
	for _, c := range []struct {
		address string
		keys    bool
		want    string // in the text of the end, or of what is wrong
	}{
		{"dictation?answer=play&count=1", false, "There is no microphone to hear you with"},
		{"dictation?answer=play&of=quality&count=1", false, "Chords are not told apart through the microphone: connect a MIDI keyboard"},
		{"dictation?answer=play&of=quality&count=1&input=mic", true, "Chords are not told apart through the microphone"},
		{"dictation?answer=play&count=1&input=keys", false, "No MIDI keyboard is there: connect one"},
		{"dictation?answer=play&count=1&input=typed", false, `--input: "typed": want keys, mic or simulated`},
		{"sing?then=hum", false, `--then: "hum": want play`},
		{"dictation?then=play&input=simulated", false, "nothing is sung before it"},
		{"sing?keys=x", false, "only the terminal has it"},
	} {
		e, s, _ := opened(t)
		e.Do(Command{Do: "drill", Address: c.address, Keys: c.keys})
		end := <-s.ends
		if text, _ := end["text"].(string); !strings.Contains(text, c.want) || end["ok"] == true {
			t.Errorf("%s: %v", c.address, end)
		}
	}
}

// A simulated singer sings and strikes; a person's keyboard beside it answers in its place.
// A keyboard that is gone ends the drill with one line, and what was sung is kept.
func TestThenPlay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e, s, _ := opened(t)
		end := run(t, e, s, "sing?then=play&key=Eb&degrees=do+mi+sol&count=3&seed=1&compare=false&retry=never&input=simulated")
		if struck := s.events("struck"); end["ok"] != true || len(struck) != 3 || len(s.events("hand")) != 3 || struck[0]["by"] != "keys" {
			t.Fatalf("%v, %v", end, struck)
		}
		said := s.messages("event")
		found := false
		for _, m := range said {
			if d := m["detail"].(map[string]any); d["event"] == "struck" {
				found = found || strings.HasPrefix(m["said"].(map[string]any)["headline"].(string), "Sang ")
			}
		}
		if !found {
			t.Errorf("%v", said)
		}
		e, s, _ = opened(t)
		plays(e, s, 300*time.Millisecond, note(63+12), []Key{{Gone: true}})
		end = onKeys(e, s, "sing?then=play&key=Eb&degrees=do&count=3&seed=1&compare=false&retry=never&input=simulated")
		struck := s.events("struck")
		if end["ok"] != false || !strings.HasPrefix(end["text"].(string), "Answer 2: the keyboard is gone: was it unplugged") || len(struck) != 1 || len(s.events("verdict")) != 2 {
			t.Fatalf("%v, %v", end, struck)
		}
		if n := struck[0]["notes"].([]any)[0].(map[string]any); n["outcome"] != "right" || n["octaves"] != 1.0 {
			t.Errorf("%v", n)
		}
	})
}

// Without a keyboard the microphone hears an instrument, once the window is open.
func TestInstrument(t *testing.T) {
	const rate = 16000
	synctest.Test(t, func(t *testing.T) {
		e, s, m := opened(t)
		mic := NewMic(rate)
		e.Connect(Sound{Mic: mic, Speaker: audio.Null{Rate: rate}})
		x := instruments.Timbres()[0].Play(rate, 440, []instruments.Note{{Key: 48, At: 0.5, Length: 0.6}, {Key: 55, At: 1.4, Length: 0.6}}, 8, 1)
		open := make(chan struct{}, 1)
		s.on = func(msg map[string]any) {
			if msg["is"] == "state" && msg["name"] == "tune" {
				open <- struct{}{}
			}
		}
		over := make(chan struct{})
		pushed := make(chan struct{})
		go func() {
			defer close(pushed)
			rest := []float64(nil)
			for at := int64(0); ; at += 512 {
				select {
				case <-open:
					rest = x
				case <-over:
					return
				default:
				}
				block := make([]float64, 512)
				rest = rest[copy(block, rest):]
				mic.Push(at, floats(block))
				time.Sleep(512 * time.Second / rate)
			}
		}()
		end := run(t, e, s, "dictation?answer=play&key=C&degrees=do+sol&length=2&count=1&seed=3&compare=false")
		close(over)
		<-pushed
		named := s.events("named")
		if end["ok"] != true || len(named) != 1 || named[0]["by"] != "play" || named[0]["struck"] == nil || len(m.lines) != 2 {
			t.Fatalf("%v, %v", end, named)
		}
		if got := named[0]["named"].([]any); got[0] != "1" || got[1] != "5" {
			t.Errorf("%v", named[0])
		}
		told := false
		for _, n := range s.messages("notice") {
			told = told || n["text"] == byInstrument
		}
		if !told {
			t.Error("nobody is told that the microphone hears it")
		}
		mic.Close()
	})
}
