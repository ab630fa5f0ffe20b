package engine

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// A progression is told step by step on the page, with words to tap, and explained before
// it goes on; the chords that are tapped are read back whatever is chosen.
func TestProgressionOnThePage(t *testing.T) {
	e, s, m := opened(t)
	var asks []string
	told := 0
	s.on = func(msg map[string]any) {
		switch msg["is"] {
		case "ask":
			asks = append(asks, msg["what"].(string))
			text := ""
			if words, ok := msg["words"].([]any); ok && len(words) > 0 {
				text = strings.TrimSpace(strings.Repeat(fmt.Sprint(words[len(words)-1], " "), int(msg["count"].(float64))))
			} else if msg["what"] != "told" {
				t.Errorf("nothing to tap: %v", msg)
			}
			answer, _ := json.Marshal(text)
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: answer})
		case "problem":
			t.Errorf("%v", msg)
		case "event":
			if d := msg["detail"].(map[string]any); d["event"] == "reasoned" {
				told++
				said := msg["said"].(map[string]any)
				if !strings.HasPrefix(said["headline"].(string), "It was ") || len(said["details"].([]any)) < 5 || said["was"] == "" || said["mark"] == "" {
					t.Errorf("%v", said)
				}
			}
		}
	}
	end := run(t, e, s, "dictation?of=progression&style=gospel&key=Eb&length=3&count=2&seed=5&compare=false")
	if end["ok"] != true || end["kept"] != "24 answers recorded in this browser." || len(m.lines) != 24 || told != 2 {
		t.Fatalf("%v; %d told", end, told)
	}
	if lines := end["lines"].([]any); len(lines) < 9 || !strings.HasPrefix(lines[1].(string), "bass ") || strings.Contains(fmt.Sprint(lines), "  ") {
		t.Errorf("summed up as %q", lines)
	}
	if want := []string{"name", "name", "name", "told", "name", "name", "name", "told"}; !slices.Equal(asks, want) {
		t.Errorf("asked %q", asks)
	}
	if n := s.messages("notice"); len(n) != 1 || !strings.Contains(n[0]["text"].(string), "judgement") {
		t.Errorf("notices %v", n)
	}
	for _, d := range s.events("dictation") {
		if d["step"] == nil {
			t.Errorf("%v has no step", d)
		}
	}
	if sum := s.events("summary"); len(sum) != 1 || sum[0]["balanced"] == nil || sum[0]["bass"] != nil {
		t.Errorf("summary %v", sum)
	}
	if end := run(t, e, s, "dictation?of=progression&answer=sing,name,play&count=1&input=simulated"); end["ok"] != true {
		t.Errorf("sung, named and played: %v", end)
	}
	if end := run(t, e, s, "dictation?of=progression&answer=name,name,play"); end["ok"] == true || !strings.Contains(fmt.Sprint(end["text"]), "keyboard") {
		t.Errorf("played without a keyboard: %v", end)
	}
	if end := run(t, e, s, "dictation?of=progression&progressions=x"); !strings.Contains(fmt.Sprint(end["text"]), "only the terminal has it") {
		t.Errorf("%v", end)
	}
}
