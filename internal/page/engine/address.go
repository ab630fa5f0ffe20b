package engine

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/internal/calibrate"
	"singback/internal/drill"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

// address is what the address of a drill asks for.
type address struct {
	Command   string
	Options   planner // nil for a calibration
	Simulated bool    // a simulated singer answers
	Loudness  float64 // dBFS
	Voice     string
	Cursor    bool
	Seed      uint64

	// Of a calibration.
	only, skip     []session.Part
	Growing, Widen bool
}

// skillAddress is that of a drill of a skill; "" where there is none.
func skillAddress(s exercise.Skill) string { return "" }

// parts are those to measure.
func (a address) parts() ([]session.Part, error) {
	parts := calibrate.Choice{Only: a.only, Skip: a.skip, Instrument: true, Asking: true}.Parts()
	if len(parts) == 0 {
		return nil, errors.New("nothing is left to measure: --only and --skip leave out every part")
	}
	return parts, nil
}

func (e *Engine) readAddress(text string, known Known) (address, error) {
	command, query, _ := strings.Cut(strings.TrimPrefix(text, "#"), "?")
	values, err := url.ParseQuery(query)
	if err != nil {
		return address{}, err
	}
	get := func(name, value string) string {
		if values.Has(name) {
			return values.Get(name)
		}
		return value
	}
	number := func(name string, value float64) float64 {
		if v, err := strconv.ParseFloat(get(name, ""), 64); err == nil {
			return v
		}
		return value
	}
	a := address{Command: command, Simulated: get("input", "") == "simulated", Loudness: number("loudness", synth.DefaultLevel)}
	seed := uint64(number("seed", float64(e.host.Seed()%1e6)))
	a.Seed = seed
	music := &drill.Music{Key: get("key", "C major"), A4: theory.DefaultA4, Tuning: get("tuning", "equal"), Names: get("names", "movable"), Known: known.Profile, Said: values.Has}
	manner := drill.Manner{Setting: get("set", "cadence"), Think: number("think", 1), Window: exercise.DefaultWindow(), Loudness: a.Loudness, Compare: true, Retry: get("retry", "ask")}
	switch command {
	case "sing":
		a.Options = &drill.Sing{Music: music, Manner: manner, Degrees: get("degrees", "all"), From: get("from", ""), Count: int(number("count", 10)), KeyEvery: 5, Tolerance: exercise.Tolerance{Cents: number("tolerance", 35)}, Seed: seed}
	case "series", "echo":
		music.Key = get("key", "")
		s := &drill.Series{Music: music, Level: int(number("level", 1)), Count: int(number("count", 3)), Study: number("study", 30), Setting: get("set", "cadence"), Loudness: a.Loudness, Tolerance: 45, Seed: seed, Notes: int(number("notes", 4)), Gap: number("gap", 1), Free: values.Has("free")}
		s.Echo = command == "echo"
		a.Options = s
	case "dictation":
		a.Options = &drill.Dictation{Music: music, Manner: manner, Of: get("of", "bass"), Degrees: get("degrees", "do sol fa"), Qualities: get("qualities", "maj min"), Length: int(number("length", 1)), Count: int(number("count", 10)), KeyEvery: 5, Seed: seed}
	case "today":
		a.Options = &drill.Today{Music: music, Manner: manner, Minutes: number("minutes", 0), Singing: 20, Feedback: get("feedback", "fading"), Guess: true, Study: number("study", 20), Seed: seed}
	case "calibrate":
		if o := get("only", ""); o != "" {
			if a.only, err = calibrate.ParseParts(strings.Split(o, ",")); err != nil {
				return a, err
			}
		}
	default:
		return a, fmt.Errorf("%q is no drill", command)
	}
	return a, nil
}

func (e *Engine) lookAddress(text string) (*lookOptions, string, error) {
	command, query, _ := strings.Cut(strings.TrimPrefix(text, "#"), "?")
	values, err := url.ParseQuery(query)
	if err != nil {
		return nil, "", err
	}
	o := &lookOptions{level: 1, count: 1}
	o.music = drill.Music{Key: values.Get("key"), A4: theory.DefaultA4, Tuning: "equal", Names: "movable", Known: e.whatIsKnown().Profile, Said: values.Has}
	if l, err := strconv.Atoi(values.Get("level")); err == nil {
		o.level = l
	}
	o.progression = values.Get("progression")
	o.seed, _ = strconv.ParseUint(values.Get("seed"), 10, 64)
	return o, command, nil
}
