package report

import (
	"fmt"
	"strings"
)

// Gap is the record of a stretch of a line that was to be heard inwardly.
type Gap struct {
	Before     int      `json:"before"`      // the note before it, from 1, of those that were to be sung; 0: it begins the line
	After      int      `json:"after"`       // the note after it; 0: it ends the line
	Sung       int      `json:"sung"`        // notes sung in it: they are charged to nobody
	DriftCents *float64 `json:"drift_cents"` // of the singer's key over it, up positive; null where it was not measured
	Asked      *string  `json:"asked"`       // the degree after it
	Entered    *string  `json:"entered"`     // and the one that was sung; null where none was
	LateBeats  *float64 `json:"late_beats"`  // of the entry, early negative; null where that is not known
}

// gapEven is how far, in beats, an entry may be from its time and count as in time, and
// gapStill how far the key may move, in cents, and count as kept.
const (
	gapEven  = 0.25
	gapStill = 10.0
)

// text says it in a line.
func (g Gap) text() string {
	var says []string
	switch {
	case g.After == 0:
	case g.Entered == nil:
		says = append(says, "you did not come in again")
	case *g.Entered != *g.Asked:
		says = append(says, "you came in on "+*g.Entered+" instead of "+*g.Asked)
	default:
		says = append(says, "you came in on "+*g.Entered)
	}
	if d := g.DriftCents; d != nil {
		if *d > -gapStill && *d < gapStill {
			says = append(says, fmt.Sprintf("the key was kept (%+.0f cents)", *d))
		} else {
			says = append(says, fmt.Sprintf("the key moved by %+.0f cents", *d))
		}
	}
	if l := g.LateBeats; l != nil {
		switch {
		case *l > gapEven:
			says = append(says, fmt.Sprintf("%.1f beats late", *l))
		case *l < -gapEven:
			says = append(says, fmt.Sprintf("%.1f beats early", -*l))
		default:
			says = append(says, "in time")
		}
	}
	switch {
	case g.Sung > 0:
		says = append(says, "sung in the silence: "+Many(g.Sung, "note")+", not counted")
	case g.After == 0:
		says = append(says, "kept silent to the end")
	}
	return strings.Join(says, ", ")
}
