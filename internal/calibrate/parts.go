// Package calibrate is the calibration as a conversation: which parts are
// measured, what is said and asked meanwhile, what an answer means, and what is
// known of the singer afterwards.
//
// [Conversation] and [Result] are what most users need; package session
// measures. It reads no stream and keeps nothing: whoever calls it brings what
// asks, what sounds and what is kept. What was not measured keeps its old value.
package calibrate

import (
	"fmt"
	"slices"
	"strings"

	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
)

// ParseParts reads the names of parts, in any case.
func ParseParts(names []string) ([]session.Part, error) {
	var out []session.Part
	for _, s := range names {
		i := slices.IndexFunc(session.Parts, func(p session.Part) bool { return strings.EqualFold(strings.TrimSpace(s), p.String()) })
		if i < 0 {
			return nil, fmt.Errorf("%q: want room, level, leak, voice or instrument", plain.Short(s))
		}
		out = append(out, session.Parts[i])
	}
	return out, nil
}

// Choice says which parts are wanted.
type Choice struct {
	Only, Skip []session.Part // without Only all but those that do not suit what answers
	Stated     bool           // the voice is stated, and not measured
	Also       []session.Part // beside those, whatever answers
	Asking     bool           // somebody is there who can be asked to play it
	Recordings bool           // recordings answer; of the leak there is none
}

// Parts are the parts to measure, in their order.
func (c Choice) Parts() []session.Part {
	wanted := func(p session.Part) bool {
		switch {
		case slices.Contains(c.Skip, p), c.Stated && p == session.VoicePart:
			return false
		case slices.Contains(c.Also, p):
			return true
		case len(c.Only) > 0:
			return slices.Contains(c.Only, p)
		case p == session.InstrumentPart:
			return c.Asking
		}
		return p != session.LeakPart || !c.Recordings
	}
	var out []session.Part
	for _, p := range session.Parts {
		if wanted(p) {
			out = append(out, p)
		}
	}
	return out
}

// Outcomes are what came of the parts.
type Outcomes map[session.Part]report.CalibrationPart

// Tell takes down what an event says of a part.
func (o Outcomes) Tell(ev session.Event) {
	switch ev := ev.(type) {
	case session.Found:
		o.put(ev.Part, "measured", nil)
	case session.LeftOut:
		o.put(ev.Part, "skipped", nil)
	case session.Missed:
		if !ev.Again {
			o.put(ev.Part, "not_measured", ev.Err)
		}
	}
}

func (o Outcomes) put(p session.Part, outcome string, why error) {
	part := report.CalibrationPart{Part: p.String(), Outcome: outcome}
	if why != nil {
		text := why.Error()
		part.Reason = &text
	}
	o[p] = part
}

// all are the parts in order. Of those of which nothing was told the voice was
// stated, or else they were skipped.
func (o Outcomes) all(stated bool) []report.CalibrationPart {
	var all []report.CalibrationPart
	for _, p := range session.Parts {
		part, told := o[p]
		if !told {
			part = report.CalibrationPart{Part: p.String(), Outcome: "skipped"}
			if stated && p == session.VoicePart {
				part.Outcome = "stated"
			}
		}
		all = append(all, part)
	}
	return all
}
