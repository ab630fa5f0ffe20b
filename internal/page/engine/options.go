package engine

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"singback/internal/drill"
	"singback/internal/synth"
	"singback/theory"
)

// optionOfForm is an option of a drill or a thing to look up, for a form.
type optionOfForm struct {
	Name    string   `json:"name"`
	Value   string   `json:"value"` // what help calls the value; "" for a flag
	Help    string   `json:"help"`
	Default string   `json:"default"`
	On      bool     `json:"on"`      // it is on or off
	Choices []string `json:"choices"` // null: anything
}

// form lists options as they are defined. What is 0 unless it is said is nothing.
type form struct {
	list []optionOfForm
}

func (f *form) add(name, value, usage string, on bool) {
	o := optionOfForm{Name: name, Help: strings.NewReplacer("`", "", " (in a terminal)", "").Replace(usage), Default: value, On: on}
	if _, after, ok := strings.Cut(usage, "`"); ok && !on {
		o.Value, _, _ = strings.Cut(after, "`")
	}
	o.Choices = choices[name]
	f.list = append(f.list, o)
}

// choices are the words that some options may be, and no others.
var choices = map[string][]string{
	"set": synth.KeySettingNames(), "instrument": synth.InstrumentNames(), "sound": {drill.ByKeyboard, drill.ByVoice}, "retry": {"ask", "always", "never"}, "of": {"bass", "quality", drill.OfProgression}, "answer": {drill.ByName, drill.BySinging, drill.ByPlaying}, "then": {drill.ThenPlay},
	"style": styles, "backing": synth.GrooveNames(), "count-in": drill.CountIns,
	"feedback": {"fading", "full", "none"}, "texture": {"keyboard", "choir"}, "input": {string(drill.ByMicrophone), string(drill.BySimulation)},
	"drone": {drill.DroneTonic, drill.DroneFifth}, "level": {"1", "2", "3", "4", "5", "6", "7"},
}

// styles are the words of --style.
var styles = func() (names []string) {
	for _, s := range theory.Styles() {
		names = append(names, s.String())
	}
	return names
}()

func (f *form) StringVar(p *string, name, value, usage string) { f.add(name, value, usage, false) }
func (f *form) IntVar(p *int, name string, value int, usage string) {
	text := ""
	if value != 0 {
		text = strconv.Itoa(value)
	}
	f.add(name, text, usage, false)
}
func (f *form) Uint64Var(p *uint64, name string, value uint64, usage string) {
	text := ""
	if value != 0 {
		text = strconv.FormatUint(value, 10)
	}
	f.add(name, text, usage, false)
}
func (f *form) Float64Var(p *float64, name string, value float64, usage string) {
	text := ""
	if value != 0 {
		text = strconv.FormatFloat(value, 'g', -1, 64)
	}
	f.add(name, text, usage, false)
}
func (f *form) BoolVar(p *bool, name string, value bool, usage string) {
	f.add(name, strconv.FormatBool(value), usage, true)
}

// optionsOf lists the options that an address may have.
func optionsOf(data json.RawMessage) (any, error) {
	var given struct{ Command string }
	if err := with(data, &given); err != nil {
		return nil, err
	}
	at, err := drill.ReadAddress(given.Command, Places...)
	if err != nil {
		return nil, err
	}
	f := &form{list: []optionOfForm{}}
	var hidden []string
	switch {
	case at.Drill != nil:
		at.Drill.AddFlags(f)
		hidden = drill.Hidden(at.Drill)
		f.add("input", "", "what answers: you, or a simulated singer to see how it goes", false)
	case at.Command == "calibrate":
		var a address
		var input string
		a.flags(&input)(f)
	case at.Command == "melody", at.Command == "key", at.Command == "chords":
		(&lookOptions{command: at.Command}).flags(f)
	case at.Command == "progress":
		f.add("key", "", "only answers in this `KEY`", false)
		f.add("since", "", "only answers from this `DAY` on, like 2026-11-25", false)
		f.add("names", "movable", "what degrees are called, a `NAMING`: movable, numbers", false)
	default:
		return nil, fmt.Errorf("%q has no options", at.Command)
	}
	out := f.list[:0]
	for _, o := range f.list {
		if !slices.Contains(hidden, o.Name) {
			out = append(out, o)
		}
	}
	return struct {
		Options []optionOfForm `json:"options"`
	}{out}, nil
}
