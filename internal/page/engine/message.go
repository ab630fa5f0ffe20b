package engine

import (
	"encoding/json"

	"singback/internal/session"
)

// Command is what the page says to the engine.
type Command struct {
	Do      string          `json:"do"`      // "drill", "answer", "key", "stop", "louder", "lost", "call"
	Address string          `json:"address"` // of a drill: "sing?key=Eb&degrees=la"
	Touch   bool            `json:"touch"`   // somebody is there who can name chords
	Keys    bool            `json:"keys"`    // of a drill: a MIDI keyboard is there
	Key     Key             `json:"strike"`  // of key
	ID      int             `json:"id"`      // of an answer or a call
	Value   json.RawMessage `json:"value"`   // of an answer: a string, truth, or null
	Width   int             `json:"width"`   // CSS pixels that a staff may take
	By      float64         `json:"by"`      // dB, of louder
	Samples int64           `json:"samples"` // of lost
	What    string          `json:"what"`    // of a call
	With    json.RawMessage `json:"with"`    // of a call
}

// The messages to the page; each begins with what it is.
type (
	readyMessage struct {
		Is      string     `json:"is"` // "ready"
		Version string     `json:"version"`
		Home    string     `json:"home"` // "browser" or "computer"
		Known   knownTable `json:"known"`
	}
	knownTable struct {
		Singer    string   `json:"singer"`
		Recording string   `json:"recording"` // "ok" or "other-tab"
		Why       string   `json:"why"`       // it is not "ok"
		Notes     []string `json:"notes"`
	}
	troubleMessage struct {
		Is   string `json:"is"` // "trouble"
		Code string `json:"code"`
		Text string `json:"text"`
	}
	eventMessage struct {
		Is      string   `json:"is"`     // "event"
		Detail  any      `json:"detail"` // as --format json prints it
		Said    any      `json:"said,omitempty"`
		Picture *picture `json:"picture,omitempty"`
		SVG     string   `json:"svg,omitempty"`
		Quiet   bool     `json:"quiet,omitempty"` // of a short drill within a drill: programs are told nothing of it
	}
	stateMessage struct {
		Is    string  `json:"is"` // "state"
		Name  string  `json:"name"`
		Text  string  `json:"text"`
		Beats int     `json:"beats,omitempty"`
		Tempo float64 `json:"tempo,omitempty"`
	}
	meterMessage struct {
		Is      string   `json:"is"`    // "meter"
		Level   float64  `json:"level"` // dBFS
		Singing bool     `json:"singing"`
		Held    float64  `json:"held"` // seconds
		Cents   *float64 `json:"cents"`
	}
	textMessage struct {
		Is   string `json:"is"` // "standing", "notice", "wrong"
		Text string `json:"text"`
	}
	askMessage struct {
		Is      string   `json:"is"` // "ask"
		ID      int      `json:"id"`
		What    string   `json:"what"`
		Text    string   `json:"text"`
		Choices []choice `json:"choices"`
		Seconds float64  `json:"seconds"` // after which it goes on by itself; 0: it waits
		Words   []string `json:"words"`   // of which a text may be made; null: no text is asked for
		Count   int      `json:"count,omitempty"`
		bySong  bool     // a note that is sung and held makes the first choice
	}
	choice struct {
		Value string `json:"value"`
		Label string `json:"label"`
		Key   string `json:"key"`
	}
	askedMessage struct {
		Is string `json:"is"` // "asked"
		ID int    `json:"id"`
	}
	problemMessage struct {
		Is   string `json:"is"` // "problem"
		ID   int    `json:"id"`
		Text string `json:"text"`
	}
	calibrationMessage struct {
		Is   string `json:"is"`   // "calibration"
		Name string `json:"name"` // "began", "found", "missed", "left", "note", "heard", "say"
		Part string `json:"part"`
		Text string `json:"text"`
	}
	endMessage struct {
		Is    string   `json:"is"` // "end"
		OK    bool     `json:"ok"`
		Text  string   `json:"text"`
		Lines []string `json:"lines"`
		Kept  string   `json:"kept"`
	}
	replyMessage struct {
		Is    string `json:"is"` // "reply"
		ID    int    `json:"id"`
		Value any    `json:"value,omitempty"`
		Error string `json:"error,omitempty"`
	}
)

// The states of a drill, as the singer reads them.
var stateTexts = map[string]string{
	"key":     "Listen: this is the key.",
	"from":    "Listen.",
	"wait":    "Hear it inside; do not sing yet.",
	"sing":    "Sing now, and hold.",
	"line":    "Sing now.",
	"read":    "Read it.",
	"count":   "The beat is counted, then sing.",
	"hear":    "Listen: what is it?",
	"name":    "What was it?",
	"compare": "Compare: this is the note.",
	"told":    "Listen again: this was it.",
	"play":    "Listen.",
	"strike":  "Play it now, on the keyboard.",
	"tune":    "Play it now, one note at a time.",
	"guess":   "What was it: flat, right or sharp?",
	"probe":   "A test sound is played: be silent.",
	"idle":    "",
}

func (e *Engine) post(m any) { e.host.Post(m) }

func (e *Engine) state(name string) {
	e.post(stateMessage{Is: "state", Name: name, Text: stateTexts[name]})
}

// shown is the event of a program's contract, with what the screen needs beside it.
func (e *Engine) shown(detail any, m eventMessage) {
	if detail != nil {
		m.Is, m.Detail = "event", detail
		e.post(m)
	}
}

// meter tells what an open window hears.
func (e *Engine) meter(h session.Heard, cents *float64) {
	e.post(meterMessage{Is: "meter", Level: tenth(h.Level), Singing: h.Singing, Held: tenth(h.Held), Cents: cents})
}
