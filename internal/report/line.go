package report

import (
	"cmp"
	"fmt"
	"strings"

	"singback/exercise/grade"
	"singback/internal/plain"
	"singback/theory"
)

// LineSung is the record of a line that was sung.
type LineSung struct {
	Event        string   `json:"event"` // "sung"
	Index        int      `json:"index"`
	Heard        bool     `json:"heard"`          // a voice was heard
	Lost         bool     `json:"lost"`           // the device lost samples: nothing is charged
	SungTempoBPM *float64 `json:"sung_tempo_bpm"` // null where it is not known
	EntryS       *float64 `json:"entry_s"`        // first note against the count-in, late positive; null with --free, and in echo without a beat
	Practise     *string  `json:"practise"`       // the command for the weakest interval
	Grade        Grade    `json:"grade"`

	Masked bool  `json:"masked,omitempty"` // the microphone heard too much of what sounded meanwhile
	Gaps   []Gap `json:"gaps,omitempty"`   // of a line with silent bars
}

// LineAsked is what was asked of a line, for its text.
type LineAsked struct {
	Key   theory.Key
	Level int    // 0: the line was read
	Title string // of one that was read
	Model grade.Line
	Tempo float64 // beats a minute; 0: the singer's own
	Echo  bool    // it was heard, and sung back
	Mute  bool    // there was not even noise
}

// LineHead says in its first line how a line was sung; measured is false where that is
// all there is to say.
func (s Style) LineHead(r LineSung, a LineAsked) (text string, measured bool) {
	what := fmt.Sprintf("level %d", a.Level)
	if a.Level == 0 { // it was read
		what = cmp.Or(plain.Short(a.Title), "read")
	}
	text = fmt.Sprintf("%d  %s, %s: ", r.Index, s.Key(a.Key), what)
	switch {
	case r.Lost:
		return text + "not measured, the sound device lost samples", false
	case r.Masked:
		return text + "not measured, " + Masked, false
	case !r.Heard && a.Mute:
		return text + "not measured, " + Unheard, false
	case !r.Heard:
		return text + "not measured, no voice was heard", false
	}
	if r.Grade.Score == nil {
		return text + r.Grade.unsung(), true
	}
	return text + fmt.Sprintf("score %.2f", *r.Grade.Score), true
}

// LineDetails says the rest, a line each but for the table of notes.
func (s Style) LineDetails(r LineSung, a LineAsked) string {
	var b strings.Builder
	b.WriteString(r.Grade.Marks(a.Model))
	if r.SungTempoBPM != nil && !a.Echo {
		asked := ""
		if a.Tempo > 0 {
			asked = fmt.Sprintf(", asked %g", a.Tempo)
		}
		fmt.Fprintf(&b, "beats     %.0f a minute%s\n", *r.SungTempoBPM, asked)
	}
	if r.EntryS != nil {
		side := "late"
		if *r.EntryS < 0 {
			side = "early"
		}
		fmt.Fprintf(&b, "entry     %.2f s %s\n", max(*r.EntryS, -*r.EntryS), side)
	}
	for i, g := range r.Gaps {
		head := "gap"
		if len(r.Gaps) > 1 {
			head = fmt.Sprintf("gap %d", i+1)
		}
		fmt.Fprintf(&b, "%-10s%s\n", head, g.text())
	}
	if r.Practise != nil {
		fmt.Fprintf(&b, "practise  %s\n", *r.Practise)
	}
	return b.String()
}
