package report

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"singback/theory"
)

// Deduction is the record of what the chords over a bass line can be.
type Deduction struct {
	Schema       int           `json:"schema"`
	Key          string        `json:"key"`
	Style        string        `json:"style"`
	Source       string        `json:"source"` // where chords were counted
	Places       []Place       `json:"places"`
	Progressions []Progression `json:"progressions"` // the most probable first
}

// Place is the record of one chord of the line.
type Place struct {
	Bass       Degree      `json:"bass"`
	Heard      Above       `json:"heard"`
	Candidates []Candidate `json:"candidates"` // all of them, the most probable first
	Excluded   []Candidate `json:"excluded"`   // the counted chords that what was heard excludes
	Before     *int        `json:"before"`     // percent of moves of the root that lead here; null where not counted
	After      *int        `json:"after"`      // percent of moves of the root that go on so; null where not counted
	Root       Root        `json:"root"`       // the most probable one, over all chords on it
	Listen     *ListenFor  `json:"listen"`     // null where there is nothing more to tell
}

// Root is the record of the most probable root.
type Root struct {
	Degree
	Probability float64 `json:"probability"`
}

// Above is the record of what was heard above a bass.
type Above struct {
	Triad   *string  `json:"triad"`   // "major", "minor", "diminished", "augmented", "suspended"
	Seventh *string  `json:"seventh"` // "none", "some", "minor", "major", "diminished"
	Sounds  []Degree `json:"sounds"`
	Silent  []Degree `json:"silent"`
}

// Candidate is the record of one chord that may stand there.
type Candidate struct {
	Chord
	Probability float64 `json:"probability"` // with the whole line
	Alone       float64 `json:"alone"`       // with what was heard here only
	Percent     *int    `json:"percent"`     // of the chords on that bass, as counted; null under 3
}

// Progression is the record of one chord for every note of the bass.
type Progression struct {
	Probability float64 `json:"probability"`
	Chords      []Chord `json:"chords"`
}

// ListenFor is the record of one more thing to listen for.
type ListenFor struct {
	For     string  `json:"for"`    // "degree", "triad", "seventh"
	Degree  *Degree `json:"degree"` // which may sound, for "degree"
	Bits    float64 `json:"bits"`   // how much the answer tells
	Answers []Reply `json:"answers"`
}

// Reply is the record of one answer.
type Reply struct {
	Answer      string  `json:"answer"` // "yes", "no", or the triad
	Probability float64 `json:"probability"`
	Chord       Chord   `json:"chord"` // the most probable one then
	Then        float64 `json:"then"`  // its probability then
}

// NewDeduction makes the record.
func NewDeduction(d theory.Deduction, n theory.Naming) Deduction {
	out := Deduction{Schema: Schema, Key: d.Key.ASCII(), Style: d.Style.String(), Source: d.Style.Source()}
	for i, p := range d.Places {
		place := Place{Bass: NewDegree(d.Key, p.Bass.Degree, n), Heard: newHeard(d.Key, p.Bass.Heard, n), Excluded: []Candidate{}}
		place.Root = Root{NewDegree(d.Key, p.Root, n), round(p.RootP, 6)}
		for _, c := range p.Candidates {
			place.Candidates = append(place.Candidates, newCandidate(c))
		}
		for _, c := range p.Excluded {
			place.Excluded = append(place.Excluded, newCandidate(c))
		}
		if p.Before > 0 {
			place.Before = &d.Places[i].Before
		}
		if p.After > 0 {
			place.After = &d.Places[i].After
		}
		if q := p.Listen; q.Bits > 0 {
			place.Listen = &ListenFor{For: [...]string{"degree", "triad", "seventh"}[q.Asks], Bits: round(q.Bits, 4)}
			if q.Asks == theory.ForDegree {
				degree := NewDegree(d.Key, q.Degree, n)
				place.Listen.Degree = &degree
			}
			for _, a := range q.Answers {
				place.Listen.Answers = append(place.Listen.Answers, Reply{answer(q, a), a.P, NewChord(a.Then.Roman), a.Then.P})
			}
		}
		out.Places = append(out.Places, place)
	}
	for _, g := range d.Progressions {
		one := Progression{Probability: g.P}
		for _, r := range g.Chords {
			one.Chords = append(one.Chords, NewChord(r))
		}
		out.Progressions = append(out.Progressions, one)
	}
	return out
}

func newHeard(k theory.Key, h theory.Above, n theory.Naming) Above {
	out := Above{Sounds: []Degree{}, Silent: []Degree{}}
	if h.Triad != theory.AnyTriad {
		triad := h.Triad.String()
		out.Triad = &triad
	}
	if h.Seventh != theory.AnySeventh {
		seventh := h.Seventh.String()
		out.Seventh = &seventh
	}
	for s := range 12 {
		d, _ := k.Nearest(theory.Cents(100 * s))
		if h.Sounds&(1<<s) != 0 {
			out.Sounds = append(out.Sounds, NewDegree(k, d, n))
		}
		if h.Silent&(1<<s) != 0 {
			out.Silent = append(out.Silent, NewDegree(k, d, n))
		}
	}
	return out
}

func newCandidate(c theory.Candidate) Candidate {
	out := Candidate{Chord: NewChord(c.Roman), Probability: c.P, Alone: c.Alone}
	if c.Times > 0 {
		out.Percent = &c.Times
	}
	return out
}

func answer(q theory.ListenFor, a theory.Reply) string {
	switch {
	case q.Asks == theory.ForTriad:
		return a.Triad.String()
	case a.Yes:
		return "yes"
	}
	return "no"
}

// How much a deduction says.
const (
	maxOthers   = 3    // other chords, excluded chords, answers
	worthSaying = 0.01 // probability of another chord
	worthAsking = 0.1  // bits
	lineWidth   = 80
)

// Deduction writes what the chords can be, each explained: why this one, what
// else, and what to listen for.
func (s Style) Deduction(d theory.Deduction) string {
	var b strings.Builder
	k := d.Key
	fmt.Fprintf(&b, "%s, %v\n", s.Key(k), d.Style)
	for i, p := range d.Places {
		best := p.Candidates[0]
		fmt.Fprintf(&b, "\n%d  %s: %s, %s, %s\n", i+1, s.bass(k, p.Bass), s.Roman(best.Roman), s.Chord(best.Roman.Chord), percent(best.P))
		fmt.Fprintf(&b, "%s\n", Hang("   why", s.why(d, i), 11))
		fmt.Fprintf(&b, "%s\n", Hang("   or", s.others(p), 11))
		if root := s.root(k, p); root != "" {
			fmt.Fprintf(&b, "%s\n", Hang("   root", root, 11))
		}
		fmt.Fprintf(&b, "%s\n", Hang("   listen", s.listen(k, p), 11))
	}
	if len(d.Places) > 1 {
		b.WriteString("\nMost probable:\n")
		for _, g := range d.Progressions {
			var numerals, symbols []string
			for _, r := range g.Chords {
				numerals, symbols = append(numerals, s.Roman(r)), append(symbols, s.Chord(r.Chord))
			}
			fmt.Fprintf(&b, "%s\n%s\n", Hang(percent(g.P), strings.Join(numerals, " "), 8), Hang("", strings.Join(symbols, " "), 8))
		}
	}
	if notes := s.Respelled(shown(d)); notes != "" {
		b.WriteByte('\n')
		for line := range strings.Lines(notes) {
			fmt.Fprintf(&b, "%s\n", Hang("", strings.TrimSpace(line), 0))
		}
	}
	from := "Counted in "
	if d.Style.Judged() {
		from = "By "
	}
	fmt.Fprintf(&b, "\n%s\n", Hang("", from+d.Style.Source()+".", 0))
	return b.String()
}

// bass says what was heard of a chord.
func (s Style) bass(k theory.Key, b theory.Bass) string {
	text := s.Degree(k, b.Degree)
	if b.Heard.Triad != theory.AnyTriad {
		text += " " + b.Heard.Triad.String()
	}
	switch h := b.Heard.Seventh; h {
	case theory.AnySeventh:
	case theory.NoSeventh, theory.SomeSeventh:
		text += map[theory.Seventh]string{theory.NoSeventh: " without a seventh", theory.SomeSeventh: " with a seventh"}[h]
	default:
		text += " with " + h.String() + " seventh"
	}
	for semitones := range 12 {
		d, _ := k.Nearest(theory.Cents(100 * semitones))
		if b.Heard.Sounds&(1<<semitones) != 0 {
			text += " +" + s.Degree(k, d)
		}
		if b.Heard.Silent&(1<<semitones) != 0 {
			text += " -" + s.Degree(k, d)
		}
	}
	return text
}

// root names the most probable root, where it is not that of the most probable chord.
func (s Style) root(k theory.Key, p theory.Place) string {
	if k.Degree(p.Candidates[0].Roman.Chord.Root).Semitones() == p.Root.Semitones() {
		return ""
	}
	var chords []string
	for _, c := range p.Candidates {
		if k.Degree(c.Roman.Chord.Root).Semitones() == p.Root.Semitones() && c.P >= worthSaying && len(chords) < maxOthers {
			chords = append(chords, s.Roman(c.Roman))
		}
	}
	return fmt.Sprintf("%s is likeliest, %s: %s together", s.Degree(k, p.Root), percent(p.RootP), strings.Join(chords, ", "))
}

// why says what speaks for the most probable chord.
func (s Style) why(d theory.Deduction, i int) string {
	p := d.Places[i]
	best := p.Candidates[0]
	numeral, bass := s.Roman(best.Roman), s.Degree(d.Key, p.Bass.Degree)
	reasons := []string{fmt.Sprintf("%s is rare on %s (under 3 of 100 chords)", numeral, bass)}
	if best.Times > 0 {
		reasons[0] = fmt.Sprintf("of 100 chords on %s, %d are %s", bass, best.Times, numeral)
		if d.Style.Judged() {
			reasons[0] = fmt.Sprintf("of 100 chords on %s, %s is taken for %d", bass, numeral, best.Times)
		}
	}
	if len(p.Excluded) > 0 {
		var out []string
		for _, c := range p.Excluded[:min(maxOthers, len(p.Excluded))] {
			out = append(out, fmt.Sprintf("%s (%d)", s.Roman(c.Roman), c.Times))
		}
		reasons = append(reasons, "what you heard rules out "+strings.Join(out, ", "))
	}
	if alone := likeliestAlone(p); alone.Roman != best.Roman {
		reasons = append(reasons, fmt.Sprintf("by itself it would be %s (%s), but not in this line", s.Roman(alone.Roman), percent(alone.Alone)))
	}
	move := func(from, to, times int) {
		a, b := d.Places[from].Candidates[0].Roman, d.Places[to].Candidates[0].Roman
		switch {
		case times > 0 && d.Style.Judged():
			reasons = append(reasons, fmt.Sprintf("%s is taken to go to %s in %d of 100 moves", s.Roman(a), s.Roman(b), times))
		case times > 0:
			reasons = append(reasons, fmt.Sprintf("%s goes to %s in %d of 100 moves", s.Roman(a), s.Roman(b), times))
		}
	}
	if i > 0 {
		move(i-1, i, p.Before)
	}
	if i+1 < len(d.Places) {
		move(i, i+1, p.After)
	}
	return strings.Join(reasons, "; ")
}

func likeliestAlone(p theory.Place) theory.Candidate {
	best := p.Candidates[0]
	for _, c := range p.Candidates {
		if c.Alone > best.Alone {
			best = c
		}
	}
	return best
}

// shown are the chords that are shown.
func shown(d theory.Deduction) []theory.Roman {
	var list []theory.Roman
	for _, p := range d.Places {
		list = append(list, p.Candidates[0].Roman)
		for _, c := range append(likely(p), p.Excluded[:min(maxOthers, len(p.Excluded))]...) {
			list = append(list, c.Roman)
		}
		if p.Listen.Bits >= worthAsking {
			for _, a := range likelyAnswers(p.Listen) {
				list = append(list, a.Then.Roman)
			}
		}
	}
	for _, g := range d.Progressions {
		list = append(list, g.Chords...)
	}
	return list
}

// likely are the candidates behind the first that are worth saying.
func likely(p theory.Place) []theory.Candidate {
	var list []theory.Candidate
	for _, c := range p.Candidates[1:] {
		if len(list) < maxOthers && c.P >= worthSaying {
			list = append(list, c)
		}
	}
	return list
}

// likelyAnswers are the answers that are worth saying.
func likelyAnswers(q theory.ListenFor) []theory.Reply {
	var list []theory.Reply
	for _, a := range q.Answers {
		if len(list) < maxOthers && a.P >= worthSaying {
			list = append(list, a)
		}
	}
	return list
}

// others says what else it could be.
func (s Style) others(p theory.Place) string {
	var list []string
	for _, c := range likely(p) {
		list = append(list, fmt.Sprintf("%s %s %s", s.Roman(c.Roman), s.Chord(c.Roman.Chord), percent(c.P)))
	}
	if len(list) == 0 {
		return "hardly anything else"
	}
	return strings.Join(list, ", ")
}

// listen says what would decide, and how.
func (s Style) listen(k theory.Key, p theory.Place) string {
	q := p.Listen
	if q.Bits < worthAsking {
		return "for nothing more: it is clear enough"
	}
	text := [...]string{theory.ForTriad: "to the triad", theory.ForSeventh: "for a seventh"}[q.Asks]
	if q.Asks == theory.ForDegree {
		text = "for " + s.Degree(k, q.Degree) + " above it"
	}
	var answers []string
	for _, a := range likelyAnswers(q) {
		answers = append(answers, fmt.Sprintf("%s: %s %s", answer(q, a), s.Roman(a.Then.Roman), percent(a.Then.P)))
	}
	return text + ". " + strings.Join(answers, ", ")
}

// percent writes a probability; what is not sure is never 100 %, and what is
// possible never 0.
func percent(p float64) string {
	switch n := math.Round(100 * p); {
	case n < 1:
		return "<1 %"
	case n >= 100 && p < 1-1e-9:
		return ">99 %"
	default:
		return fmt.Sprintf("%.0f %%", n)
	}
}

// Hang writes text behind a head, in lines that fit a terminal, all but the
// first indented.
func Hang(head, text string, indent int) string { return hang(head, text, indent, lineWidth) }

// hang is Hang for lines of another width.
func hang(head, text string, indent, width int) string {
	var b strings.Builder
	b.WriteString(head)
	column := utf8.RuneCountInString(head)
	empty := true // nothing of text stands on this line yet
	for word := range strings.FieldsSeq(strings.ReplaceAll(text, " %", "\u00a0%")) {
		n := utf8.RuneCountInString(word)
		if !empty && column+1+n > width {
			b.WriteByte('\n')
			column, empty = 0, true
		}
		pad := 1
		if empty {
			pad = max(indent-column, min(column, 1))
		}
		fmt.Fprintf(&b, "%*s%s", pad, "", word)
		column += pad + n
		empty = false
	}
	return strings.ReplaceAll(b.String(), "\u00a0", " ")
}
