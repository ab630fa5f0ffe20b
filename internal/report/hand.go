package report

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/theory"
)

// Handed is what was played of what was sung, for its text.
type Handed struct {
	Key     theory.Key
	Asked   []theory.Degree
	Sung    []exercise.Skill // the zero Skill where no degree was sung that can be named
	Back    grade.Back       // what was struck
	Keyed   bool             // a keyboard told it; false: it was heard
	Strikes []exercise.Strike
	Reason  exercise.Reason // why nothing was measured
	Level   float64         // dBFS, the loudest that was heard
}

// Unstruck says why nothing of an instrument was measured, and what would help; keyed
// tells that a keyboard was to tell it.
func Unstruck(r exercise.Reason, level float64, keyed bool) string {
	switch {
	case keyed:
		return "nothing was struck"
	case r == exercise.OwnSound:
		return "what sounded when the microphone opened does not count; strike after \"Listening\""
	case r == exercise.TooShort:
		return "no note that is clear; strike one at a time, and let each sound"
	case r == exercise.LostSamples || level <= exercise.Silence:
		return Why(exercise.Verdict{Reason: r, Level: level})
	}
	return "nothing was heard of an instrument; come nearer to the microphone or turn its level up"
}

// struck is the degree that was struck for the i-th, "-" without one.
func (s Style) struck(h *Handed, i int) string {
	d := &h.Back.Degrees[i]
	if !d.Sung {
		return "-"
	}
	name := s.Degree(h.Key, d.Degree)
	if !h.Keyed {
		name += " " + signed(d.Cents)
	}
	return name
}

// HandHeadline says in one line what the voice and the hand took.
func (s Style) HandHeadline(h *Handed) string {
	if h.Reason != exercise.NoReason {
		return "played nothing that counts: " + Unstruck(h.Reason, h.Level, h.Keyed)
	}
	if len(h.Asked) != 1 {
		return s.handsHeadline(h)
	}
	asked, d := h.Asked[0].Semitones(), &h.Back.Degrees[0]
	text, sung := "", -1
	if h.Sung[0] != (exercise.Skill{}) {
		sung = h.Sung[0].Degree.Semitones()
		text = "sang " + s.Degree(h.Key, h.Sung[0].Degree) + ", "
	}
	what := s.Degree(h.Key, d.Degree)
	hand, verdict := d.Outcome == exercise.RightAnswer, "it was "+s.Degree(h.Key, h.Asked[0])
	switch {
	case d.Outcome == exercise.Ambiguous:
		what, verdict = "between two degrees", "not decided"
	case hand && sung == asked:
		verdict = "voice and hand agree"
	case hand && sung >= 0:
		verdict = "the hand found it, the voice did not"
	case hand:
		verdict = "the hand found it"
	case sung == asked:
		verdict = "the hand took another"
	case sung == d.Degree.Semitones():
		verdict = "voice and hand took the same, and " + verdict
	}
	return text + "played " + what + ": " + verdict
}

// handsHeadline is that of several degrees.
func (s Style) handsHeadline(h *Handed) string {
	var names []string
	right, undecided := 0, 0
	for i := range h.Back.Degrees {
		names = append(names, s.struck(h, i))
		switch h.Back.Degrees[i].Outcome {
		case exercise.RightAnswer:
			right++
		case exercise.Ambiguous:
			undecided++
		}
	}
	text := "played " + strings.Join(names, ", ")
	if !h.Keyed {
		text += " cents"
	}
	verdict := "right"
	if n := len(names) - undecided; right < len(names) {
		verdict = fmt.Sprintf("%d of %d right", right, n)
		text += ", not " + s.degrees(h.Key, h.Asked)
	}
	if undecided > 0 {
		verdict += fmt.Sprintf(", %d between two degrees and not decided", undecided)
	}
	return text + ": " + verdict
}

// HandDetails says what there is beside it.
func (s Style) HandDetails(h *Handed) []string {
	var out []string
	if h.Reason != exercise.NoReason {
		return nil
	}
	if len(h.Asked) == 1 && !h.Keyed && h.Back.Degrees[0].Outcome != exercise.Ambiguous {
		out = append(out, "the instrument "+cents(h.Back.Degrees[0].Cents))
	}
	if n := len(h.Back.Added); n > 0 {
		what := "then"
		if len(h.Asked) > 1 {
			what = Many(n, "note") + " too many:"
		}
		out = append(out, what+" "+s.degrees(h.Key, h.Back.Added))
	}
	return out
}

// HandMark is the word for it, as [Answered.Mark].
func HandMark(h *Handed) string {
	if h.Reason != exercise.NoReason {
		return "unknown"
	}
	mark := "unknown"
	for i := range h.Back.Degrees {
		switch h.Back.Degrees[i].Outcome {
		case exercise.WrongAnswer:
			return "wrong"
		case exercise.RightAnswer:
			mark = "right"
		}
	}
	return mark
}

// StruckNote is what was struck of one degree, as programs read it.
type StruckNote struct {
	Asked   string   `json:"asked"`   // as a degree of the major scale
	Sung    *string  `json:"sung"`    // null: none that can be named
	Struck  *string  `json:"struck"`  // null: nothing
	Outcome string   `json:"outcome"` // "right", "wrong", "ambiguous", "not_measured"
	Agrees  *bool    `json:"agrees"`  // the hand took what was sung; null where one of them took none
	Octaves *int     `json:"octaves"` // above where it was asked
	Cents   *float64 `json:"cents"`   // from the degree struck, of an instrument that is heard; null: a keyboard
	OnsetS  *float64 `json:"onset_s"`
}

// NewStruck returns the record of what was struck.
func NewStruck(h *Handed) []StruckNote {
	out := []StruckNote{}
	for i, asked := range h.Asked {
		n := StruckNote{Asked: asked.ASCII(), Outcome: exercise.NotMeasured.String()}
		sung := h.Sung[i] != exercise.Skill{}
		if sung {
			name := h.Sung[i].Degree.ASCII()
			n.Sung = &name
		}
		if h.Reason == exercise.NoReason {
			d := &h.Back.Degrees[i]
			n.Outcome = d.Outcome.String()
			if d.Sung {
				name, onset := d.Degree.ASCII(), math.Round(100*d.Onset)/100
				n.Struck, n.Octaves, n.OnsetS = &name, &d.Octave, &onset
				if !h.Keyed {
					away := math.Round(10*d.Cents) / 10
					n.Cents = &away
				}
				if sung {
					same := h.Sung[i].Degree.Semitones() == d.Degree.Semitones()
					n.Agrees = &same
				}
			}
		}
		out = append(out, n)
	}
	return out
}
