package engine

import (
	"encoding/json"
	"strings"
	"testing"
)

// A phrase is called and sung back with a band on the page too, from the same address; the
// form offers its grooves, and who sings into a microphone without headphones is refused in
// words.
func TestCallOnThePage(t *testing.T) {
	e, s, _ := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`""`)})
		}
	}
	end := run(t, e, s, "echo?key=G&level=2&count=1&seed=3&backing=gospel&tempo=140&count-in=voice&input=simulated")
	if end["ok"] != true {
		t.Fatalf("%v", end)
	}
	called := false
	for _, m := range s.messages("state") {
		text, _ := m["text"].(string)
		called = called || m["name"] == "count" && text == "do is sung on 5 beats, then comes the call: sing it back in time."
	}
	if !called {
		t.Errorf("%v", s.messages("state"))
	}
	sung := 0
	for _, m := range s.messages("event") {
		if d := m["detail"].(map[string]any); d["event"] == "sung" {
			sung++
			if _, ok := d["entry_s"].(float64); !ok {
				t.Errorf("its entry is %v", d["entry_s"])
			}
		}
	}
	if sung != 1 {
		t.Errorf("%d sung", sung)
	}
	for _, o := range []string{"echo", "sing"} {
		list, err := optionsOf(json.RawMessage(`{"command":"` + o + `"}`))
		text, _ := json.Marshal(list)
		if err != nil || !strings.Contains(string(text), `"name":"backing"`) || !strings.Contains(string(text), `"six-eight"`) {
			t.Errorf("%s: %v %s", o, err, text)
		}
	}
}
