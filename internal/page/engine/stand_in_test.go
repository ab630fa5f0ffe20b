package engine

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"singback/exercise/compose"
	"singback/internal/engrave"
	"singback/theory"
)

// What stands in for the engine where the screens are looked at is what the engine
// sends: the options of the forms, and a line before and after it was sung, as wide as a
// laptop and a phone have it.
func TestStandsInForTheEngine(t *testing.T) {
	want := map[string][]byte{}
	options := map[string]any{}
	for _, command := range []string{"sing", "series", "echo", "dictation", "today", "calibrate", "melody", "key", "chords", "progress"} {
		with, err := json.Marshal(map[string]string{"command": command})
		if err != nil {
			t.Fatal(err)
		}
		got, err := optionsOf(with)
		if err != nil {
			t.Fatalf("%s: %v", command, err)
		}
		var list struct{ Options any }
		text, err := json.Marshal(got)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(text, &list); err != nil {
			t.Fatal(err)
		}
		options[command] = list.Options
	}
	text, err := json.MarshalIndent(options, "", "")
	if err != nil {
		t.Fatal(err)
	}
	want["options.json"] = append(text, '\n')

	key, err := theory.ParseKey("Eb")
	if err != nil {
		t.Fatal(err)
	}
	made, err := compose.NewMelodies(compose.MelodyOrder{Level: 3, Count: 1, Seed: 7, Key: &key})
	if err != nil {
		t.Fatal(err)
	}
	s := made[0].Score
	marks := make([]engrave.Mark, len(s.Notes))
	for i := range marks {
		marks[i].Kind = engrave.MarkRight
	}
	marks[2] = engrave.Mark{Kind: engrave.MarkOff, Cents: -62, Text: "-62"}
	marks[4] = engrave.Mark{Kind: engrave.MarkWrong, Cents: -400, Text: "fa"}
	for name, width := range map[string]int{"": 1340, "narrow-": units(322)} {
		for what, marks := range map[string][]engrave.Mark{"line": nil, "sung": marks} {
			svg, err := engrave.Printed(s, engrave.View{Width: width, Labels: s.Labels(theory.Movable, false), Marks: marks})
			if err != nil {
				t.Fatal(err)
			}
			want[fmt.Sprintf("%s%s.svg", name, what)] = []byte(svg)
		}
	}
	for name, text := range want {
		path := filepath.Join("../webtest", name)
		if *update {
			if err := os.WriteFile(path, text, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if got, err := os.ReadFile(path); err != nil || string(got) != string(text) {
			t.Errorf("%s is not what the engine sends (%v): go test ./internal/page/engine -run StandsIn -update", path, err)
		}
	}
}
