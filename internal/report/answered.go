package report

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/theory"
)

// Answered is what was answered to a dictation, for its text.
type Answered struct {
	Dictation compose.Dictation
	Names     []exercise.Skill // the zero Skill where a chord has none; none at all: not named
	Outcomes  []exercise.Outcome
	Reason    exercise.Reason // why nothing was measured
	Level     float64         // dBFS, the loudest; where nothing was measured
	Back      *grade.Back     // what was sung, or struck; nil where it was named, and of chords
	Played    bool            // it was struck
	Heard     bool            // on an instrument, which was heard
	Held      []compose.Held  // the chords that were; a zero one is not known
}

// AnsweredHeadline says in one line how what was heard was answered.
func (s Style) AnsweredHeadline(a Answered) string {
	right := make([]bool, len(a.Outcomes))
	undecided := 0
	for i, o := range a.Outcomes {
		right[i] = o == exercise.RightAnswer
		if o == exercise.Ambiguous {
			undecided++
		}
	}
	if a.Reason != exercise.NoReason && a.Heard {
		return s.Named(a.Dictation.Key, a.Dictation.Skills()) + ": not counted: " + Unstruck(a.Reason, a.Level, false)
	}
	if a.Reason != exercise.NoReason && a.Played {
		return s.Named(a.Dictation.Key, a.Dictation.Skills()) + ": nothing was struck, not counted"
	}
	if a.Reason != exercise.NoReason {
		return s.Named(a.Dictation.Key, a.Dictation.Skills()) + ": not measured: " +
			Why(exercise.Verdict{Reason: a.Reason, Level: a.Level})
	}
	was := s.Named(a.Dictation.Key, a.Dictation.Skills())
	switch {
	case undecided == 0:
		return s.NamedHeadline(a.Dictation, a.Names, right)
	case undecided == len(right):
		return was + ": between two degrees, not decided"
	}
	return fmt.Sprintf("%s, not %s: %d of %d right, %d between two degrees and not decided",
		was, s.Named(a.Dictation.Key, a.Names), count(right), len(right)-undecided, undecided)
}

func count(right []bool) (n int) {
	for _, r := range right {
		if r {
			n++
		}
	}
	return n
}

// Mark is the word for the answer: "right", "wrong", or "unknown" where nothing was
// decided.
func (a Answered) Mark() string {
	mark := "unknown"
	for _, o := range a.Outcomes {
		switch o {
		case exercise.WrongAnswer:
			return "wrong"
		case exercise.RightAnswer:
			mark = "right"
		}
	}
	return mark
}

// AnsweredDetails says of what was sung how each note was, and what there is beside
// it, and of chords that were struck how they lay; nothing where it was named.
func (s Style) AnsweredDetails(a Answered) []string {
	if a.Reason == exercise.NoReason && len(a.Held) > 0 {
		return s.held(a)
	}
	if a.Back == nil || a.Reason != exercise.NoReason {
		return nil
	}
	key := a.Dictation.Key
	var notes, waits []string
	missing := 0
	for i, d := range a.Back.Degrees {
		if !d.Sung {
			missing++
			notes = append(notes, "-")
			continue
		}
		name := s.Degree(key, d.Degree)
		if !a.Played || a.Heard {
			name += " " + signed(d.Cents)
		}
		notes = append(notes, name)
		if d.Wait >= grade.Hesitated {
			waits = append(waits, fmt.Sprintf("%.1f s before %s", d.Wait, s.Degree(key, a.Dictation.Skills()[i].Degree)))
		}
	}
	out := []string{}
	switch {
	case missing == len(notes):
	case a.Heard:
		out = append(out, "struck "+strings.Join(notes, ", ")+" cents")
	case a.Played:
		out = append(out, "struck "+strings.Join(notes, ", "))
	default:
		out = append(out, "sung "+strings.Join(notes, ", ")+" cents")
	}
	if where := s.octaves(key, a.Back); where != "" {
		out = append(out, where)
	}
	if n := len(a.Back.Added); n > 0 {
		out = append(out, fmt.Sprintf("%s too many: %s", Many(n, "note"), s.degrees(key, a.Back.Added)))
	}
	if missing > 0 {
		out = append(out, Many(missing, "note")+" too few")
	}
	if len(waits) > 0 {
		out = append(out, "hesitated "+strings.Join(waits, ", "))
	}
	return out
}

// inversions are what chords are called by which of their tones lies lowest.
var inversions = [...]string{"root position", "first inversion", "second inversion", "third inversion"}

// held says how chords lay that were struck.
func (s Style) held(a Answered) []string {
	var out []string
	for i, h := range a.Held {
		if i == len(a.Dictation.Chords) {
			n := len(a.Held) - i
			out = append(out, Many(n, "chord")+" too many")
			break
		}
		if h.Name == "" {
			out = append(out, "struck no chord that is asked")
			continue
		}
		place, root := "close", ""
		if h.Open {
			place = "open"
		}
		if h.Chord.Root != a.Dictation.Chords[i].Chord.Root {
			root = ", not on " + s.note(a.Dictation.Chords[i].Chord.Root)
		}
		notes := make([]string, len(h.Voicing))
		for j, p := range h.Voicing {
			if notes[j] = p.String(); s.ASCII {
				notes[j] = p.ASCII()
			}
		}
		out = append(out, fmt.Sprintf("struck %s on %s%s, %s, %s: %s", h.Name, s.note(h.Chord.Root), root, inversions[h.Inversion], place, strings.Join(notes, " ")))
	}
	if n := len(a.Dictation.Chords) - len(a.Held); n > 0 {
		out = append(out, Many(n, "chord")+" too few")
	}
	return out
}

func (s Style) note(n theory.Note) string {
	if s.ASCII {
		return n.ASCII()
	}
	return n.String()
}

// octaves says in which octaves the right notes were sung: most of them, and which lie
// apart; "" where all of them lie where they were heard.
func (s Style) octaves(k theory.Key, b *grade.Back) string {
	count := map[int]int{}
	most := 0
	for _, d := range b.Degrees {
		if d.Outcome == exercise.RightAnswer {
			count[d.Octave]++
		}
	}
	for _, o := range slices.Sorted(maps.Keys(count)) {
		if n := count[o]; n > count[most] || n == count[most] && abs(o) < abs(most) {
			most = o
		}
	}
	var out []string
	if most != 0 {
		out = append(out, octave(most)+" the bass")
	}
	for _, d := range b.Degrees {
		if d.Outcome == exercise.RightAnswer && d.Octave != most {
			out = append(out, s.Degree(k, d.Degree)+" "+octave(d.Octave-most)+" the others")
		}
	}
	return strings.Join(out, ", ")
}

func abs(n int) int { return max(n, -n) }

// degrees names degrees, one after the other.
func (s Style) degrees(k theory.Key, list []theory.Degree) string {
	out := make([]string, len(list))
	for i, d := range list {
		out[i] = s.Degree(k, d)
	}
	return strings.Join(out, " ")
}

// SungBack is what was sung of a dictation, as programs read it.
type SungBack struct {
	Notes  []SungNote `json:"notes"`  // one for each chord
	Added  []string   `json:"added"`  // degrees that were too many
	Reason *string    `json:"reason"` // why nothing was measured; null where something was
}

// SungNote is what was sung of one chord; null where nothing was.
type SungNote struct {
	Cents   *float64 `json:"cents"` // from the degree that was sung
	Octaves *int     `json:"octaves"`
	OnsetS  *float64 `json:"onset_s"`
	LengthS *float64 `json:"length_s"`
	WaitS   *float64 `json:"wait_s"`
}

// NewSungBack returns the record of what was sung.
func NewSungBack(a Answered) *SungBack {
	r := &SungBack{Notes: []SungNote{}, Added: []string{}}
	if a.Reason != exercise.NoReason {
		name := a.Reason.String()
		r.Reason = &name
		return r
	}
	to := func(x, step float64) *float64 {
		x = math.Round(x/step) / math.Round(1/step)
		return &x
	}
	for _, d := range a.Back.Degrees {
		var n SungNote
		if d.Sung {
			n = SungNote{to(d.Cents, 0.1), &d.Octave, to(d.Onset, 0.01), to(d.Length, 0.01), to(d.Wait, 0.01)}
		}
		r.Notes = append(r.Notes, n)
	}
	for _, d := range a.Back.Added {
		r.Added = append(r.Added, d.ASCII())
	}
	return r
}

// PlayedPart is a note or a chord that was struck, as programs read it.
type PlayedPart struct {
	Keys      []int   `json:"keys"` // MIDI numbers, from the bottom up
	AtS       float64 `json:"at_s"`
	LengthS   float64 `json:"length_s"`
	Chord     *string `json:"chord"` // what was recognised of a chord; null: nothing
	Inversion *int    `json:"inversion"`
	Open      *bool   `json:"open"`
}

// NewPlayedBack returns the record of what was struck; held has what was recognised of
// chords.
func NewPlayedBack(strikes []exercise.Strike, held []compose.Held) []PlayedPart {
	out := []PlayedPart{}
	for i, s := range strikes {
		p := PlayedPart{Keys: s.Keys, AtS: math.Round(100*s.At) / 100, LengthS: math.Round(100*s.Length) / 100}
		if i < len(held) && held[i].Name != "" {
			name := held[i].Chord.ASCII()
			p.Chord, p.Inversion, p.Open = &name, &held[i].Inversion, &held[i].Open
		}
		out = append(out, p)
	}
	return out
}
