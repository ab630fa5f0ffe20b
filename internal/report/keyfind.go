package report

import (
	"fmt"
	"strings"

	"singback/theory"
)

// KeyProposals is the record of the keys that a melody may be in.
type KeyProposals struct {
	Schema      int           `json:"schema"`
	Profile     string        `json:"profile"`
	Notes       int           `json:"notes"`
	OffsetCents *float64      `json:"offset_cents"` // of a recording, above A4 as given; null for names
	Agreement   *float64      `json:"agreement"`    // of its notes about that, 0 to 1
	A4Hz        *float64      `json:"a4_hz"`
	Proposals   []KeyProposal `json:"proposals"` // the best first; the singer decides
}

// KeyProposal is one of them.
type KeyProposal struct {
	Key   string  `json:"key"`
	Score float64 `json:"score"` // Pearson's r
}

// By returns the record with what a profile proposes.
func (k KeyProposals) By(p theory.Profile, scores []theory.KeyScore) KeyProposals {
	k.Schema, k.Profile = Schema, p.Name
	for _, s := range scores {
		k.Proposals = append(k.Proposals, KeyProposal{s.Key.ASCII(), round(s.Score, 4)})
	}
	return k
}

// Sung returns the record of a recording: its notes lie offset cents from the
// semitones of a4 as a whole, and agree about that.
func (k KeyProposals) Sung(a4, offset, agreement float64) KeyProposals {
	k.OffsetCents, k.Agreement, k.A4Hz = number(offset, 1), number(agreement, 2), &a4
	return k
}

// vague is the agreement below which the notes stand on no common semitones:
// notes spread evenly over ±25 cents have 0.64, at random about 1/√n.
const vague = 0.5

// Notice says in lines how the notes of a recording lie; "" for names.
func (k KeyProposals) Notice() string {
	if k.OffsetCents == nil {
		return ""
	}
	text := fmt.Sprintf("%s, as a whole %+.0f cents from A4 = %g Hz.\n", Many(k.Notes, "note"), *k.OffsetCents, *k.A4Hz)
	if *k.Agreement < vague {
		text += "The notes do not agree about where the semitones lie; take the keys with doubt.\n"
	}
	return text
}

// Keys lists keys with their scores, numbered from 1.
func (s Style) Keys(scores []theory.KeyScore) string {
	var b strings.Builder
	w := newColumns(&b)
	for i, k := range scores {
		fmt.Fprintf(w, "%d\t%s\t%.4f\n", i+1, s.Key(k.Key), k.Score)
	}
	w.Flush()
	return b.String()
}
