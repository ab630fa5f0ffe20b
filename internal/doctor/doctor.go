// Package doctor finds out what of the program works on this computer: [ListenRoom]
// and [Play] measure the sound, and one function for each check says in a line what
// was found and what to do. A [Report] is all of it, as text and as a record.
//
// The package opens no device and no file, keeps no sound and sends nothing: who
// calls it brings the facts.
package doctor

import (
	"fmt"
	"strings"
)

// State is how a check went.
type State string

// The states. Only Fails makes a report fail.
const (
	Well    State = "well"
	Note    State = "note"     // it works, and could be better
	Fails   State = "fails"    // it does not work
	LeftOut State = "left_out" // it was not looked at
)

// word is the state as people read it.
func (s State) word() string { return strings.ReplaceAll(string(s), "_", " ") }

// Check is one line: what was looked at, how it went, what was found and, unless
// all is well, what to do.
type Check struct {
	Name  string  `json:"name"`
	State State   `json:"state"`
	Found string  `json:"found"`
	Do    *string `json:"do"`
}

// well, note, fails and leftOut make checks.
func well(name, found string) Check        { return advise(name, Well, found, "") }
func note(name, found, do string) Check    { return advise(name, Note, found, do) }
func fails(name, found, do string) Check   { return advise(name, Fails, found, do) }
func leftOut(name, found, do string) Check { return advise(name, LeftOut, found, do) }

func advise(name string, s State, found, do string) Check {
	c := Check{name, s, strings.ReplaceAll(found, "\n", "; "), nil}
	if do != "" {
		c.Do = &do
	}
	return c
}

// Report is what was found.
type Report struct {
	Schema     int          `json:"schema"`
	Well       bool         `json:"well"` // nothing fails
	Checks     []Check      `json:"checks"`
	Devices    []DeviceRow  `json:"devices"`
	Microphone *Microphone  `json:"microphone"`
	Tone       *ToneRecord  `json:"tone"`
	Terminal   TerminalFact `json:"terminal"`
	Places     []Place      `json:"places"`
}

// Add appends checks.
func (r *Report) Add(c ...Check) { r.Checks = append(r.Checks, c...) }

// Failed are the names of the checks that fail, in their order.
func (r Report) Failed() (names []string) {
	for _, c := range r.Checks {
		if c.State == Fails {
			names = append(names, c.Name)
		}
	}
	return names
}

// Text is the report for people, a line a check.
func (r Report) Text() string {
	var b strings.Builder
	wide := 0
	for _, c := range r.Checks {
		wide = max(wide, len(c.Name))
	}
	for _, c := range r.Checks {
		fmt.Fprintf(&b, "%-8s  %-*s  %s", c.State.word(), wide, c.Name, c.Found)
		if c.Do != nil {
			do := *c.Do
			if !strings.HasPrefix(do, "singback ") { // what is typed stays as it is typed
				do = strings.ToUpper(do[:1]) + do[1:]
			}
			if !strings.HasSuffix(c.Found, "?") {
				b.WriteByte('.')
			}
			b.WriteString(" " + do)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
