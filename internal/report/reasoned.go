package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/theory"
)

// Reasoned is what became of a progression, and what could be reasoned from what was
// heard of it, for its text.
type Reasoned struct {
	Index     int
	Dictation compose.Dictation
	Named     []theory.Roman // the zero Roman where a chord has none; none at all: given up
	Marks     []compose.Mark
	Unheard   [3]bool          // nothing was measured of the bass, the qualities, the chords
	ByBass    theory.Deduction // from the bass alone
	ByQuality theory.Deduction // and from the qualities; without places where none is known
}

// part is one thing that is marked apart.
type part struct {
	name    string
	of      func(compose.Mark) bool
	unheard bool
}

// parts are what is marked, in the order of the reasoning.
func (r Reasoned) parts() []part {
	return []part{
		{"bass", func(m compose.Mark) bool { return m.Bass }, r.Unheard[0]},
		{"quality", func(m compose.Mark) bool { return m.Quality }, r.Unheard[1]},
		{"degree", func(m compose.Mark) bool { return m.Root }, r.Unheard[2]},
		{"inversion", func(m compose.Mark) bool { return m.Inversion }, r.Unheard[2]},
	}
}

// right counts the chords of which a part is right.
func (p part) right(marks []compose.Mark) (n int) {
	for _, m := range marks {
		if p.of(m) {
			n++
		}
	}
	return n
}

// Reasoned says what of a progression was right, and explains it, a line each.
func (s Style) Reasoned(r Reasoned) []string {
	k := r.Dictation.Key
	var marks []string
	for _, p := range r.parts() {
		if p.unheard {
			marks = append(marks, p.name+" not measured")
		} else {
			marks = append(marks, fmt.Sprintf("%s %d of %d", p.name, p.right(r.Marks), len(r.Marks)))
		}
	}
	out := []string{fmt.Sprintf("%d  it was %s: %s", r.Index, s.Romans(r.Dictation.Chords), strings.Join(marks, ", "))}
	for i, c := range r.Dictation.Chords {
		bass := s.Degree(k, k.Degree(c.Chord.Bass))
		out = append(out, fmt.Sprintf("   %d %s on %s, %s: %s", i+1, s.Roman(c), bass, compose.QualityOf(c.Chord.Quality), s.told(r, i)))
		if line := s.possible(r, i, bass); line != "" {
			out = append(out, "     "+line)
		}
		if line := s.listened(r, i, bass); line != "" {
			out = append(out, "     "+line)
		}
	}
	return append(out, "   "+s.likeliest(r))
}

// Romans writes numerals, one after the other.
func (s Style) Romans(list []theory.Roman) string {
	out := make([]string, len(list))
	for i, r := range list {
		if out[i] = "-"; r != (theory.Roman{}) {
			out[i] = s.Roman(r)
		}
	}
	return strings.Join(out, " ")
}

// named is the chord that was told for one that sounded, if any was.
func (r Reasoned) named(i int) (theory.Roman, bool) {
	if i >= len(r.Named) || r.Named[i] == (theory.Roman{}) {
		return theory.Roman{}, false
	}
	return r.Named[i], true
}

// told says what a chord was told to be, and what of it is wrong.
func (s Style) told(r Reasoned, i int) string {
	var wrong []string
	for _, p := range r.parts() {
		if !p.unheard && !p.of(r.Marks[i]) {
			wrong = append(wrong, p.name)
		}
	}
	named, ok := r.named(i)
	text := "not named"
	switch {
	case ok && r.Marks[i].Chord:
		text = "named"
	case ok:
		text = "named " + s.Roman(named)
	}
	switch n := len(wrong); {
	case n == 0 && r.Marks[i].Chord:
		return text + " right"
	case n == 0 && ok:
		return text + ", of another quality"
	case n == 0:
		return text
	}
	if r.Marks[i].Chord {
		return text + " right; wrong before: " + strings.Join(wrong, ", ")
	}
	return text + "; wrong: " + strings.Join(wrong, ", ")
}

// worthTelling is from which probability another chord is told apart from the one that
// was named right.
const worthTelling = 0.05

// mostPossible is how many chords are named that could stand on a bass.
const mostPossible = 4

// likelyOnes are the first candidates, and last the one that sounded, if it is none of
// them.
func likelyOnes(p theory.Place, sounded theory.Roman) []theory.Candidate {
	var list []theory.Candidate
	seen := false
	for _, c := range p.Candidates {
		own := c.Roman.Chord == sounded.Chord
		if own || len(list) < mostPossible && c.P >= worthSaying {
			list = append(list, c)
			seen = seen || own
		}
		if seen && len(list) >= mostPossible {
			break
		}
	}
	return list
}

func (s Style) ones(list []theory.Candidate) string {
	out := make([]string, len(list))
	for i, c := range list {
		out[i] = s.Roman(c.Roman) + " " + percent(c.P)
	}
	return strings.Join(out, ", ")
}

// possible says which chords could stand there.
func (s Style) possible(r Reasoned, i int, bass string) string {
	c := r.Dictation.Chords[i]
	text := fmt.Sprintf("on %s could stand %s", bass, s.ones(likelyOnes(r.ByBass.Places[i], c)))
	if len(r.ByQuality.Places) > i {
		text += fmt.Sprintf("; as %s: %s", compose.QualityOf(c.Chord.Quality), s.ones(likelyOnes(r.ByQuality.Places[i], c)))
	}
	return text
}

// rival is what a chord is told apart from: what it was taken for, or else what else is
// likeliest on its bass.
func (r Reasoned) rival(i int) (theory.Roman, bool) {
	c := r.Dictation.Chords[i]
	if named, ok := r.named(i); ok && !r.Marks[i].Chord {
		return named, true
	}
	for _, other := range r.ByBass.Places[i].Candidates {
		if other.Roman.Chord != c.Chord {
			return other.Roman, other.P >= worthTelling
		}
	}
	return theory.Roman{}, false
}

// listened says what to have listened for: the notes that only one of two chords has.
func (s Style) listened(r Reasoned, i int, bass string) string {
	c := r.Dictation.Chords[i]
	other, ok := r.rival(i)
	if !ok {
		return ""
	}
	k := r.Dictation.Key
	pair := s.Roman(other) + " and " + s.Roman(c)
	if k.Degree(other.Chord.Bass).Semitones() != k.Degree(c.Chord.Bass).Semitones() {
		return fmt.Sprintf("%s: listen to the bass first, %s has %s and %s has %s", pair,
			s.Roman(other), s.Degree(k, k.Degree(other.Chord.Bass)), s.Roman(c), bass)
	}
	_, own, common := apart(k, c.Chord, other.Chord)
	_, others, _ := apart(k, other.Chord, c.Chord)
	where := s.where(r.Dictation, i, own)
	switch {
	case len(own)+len(others) == 0:
		return pair + " sound alike: what comes before and after tells them apart"
	case len(others) == 0:
		return fmt.Sprintf("%s share %s: listen whether %s sounds above%s", pair, s.degrees(k, common), s.degrees(k, own), where)
	case len(own) == 0:
		return fmt.Sprintf("%s share %s: listen whether %s sounds above; it does not", pair, s.degrees(k, common), s.degrees(k, others))
	}
	return fmt.Sprintf("%s share %s: listen whether %s (%s) or %s (%s) sounds above%s", pair, s.degrees(k, common),
		s.degrees(k, others), s.Roman(other), s.degrees(k, own), s.Roman(c), where)
}

// apart are the degrees of a chord: all, those that another has not, and those that it
// has.
func apart(k theory.Key, c, other theory.Chord) (all, own, common []theory.Degree) {
	has := map[int]bool{}
	for _, n := range other.Notes() {
		has[k.Degree(n).Semitones()] = true
	}
	for _, n := range c.Notes() {
		d := k.Degree(n)
		all = append(all, d)
		if has[d.Semitones()] {
			common = append(common, d)
		} else {
			own = append(own, d)
		}
	}
	return all, own, common
}

// where says in which voice the first of some degrees sounded above the bass.
func (s Style) where(d compose.Dictation, i int, degrees []theory.Degree) string {
	if len(degrees) == 0 {
		return ""
	}
	places := [...]string{"", "the lowest of the right hand", "in the middle of the right hand", "on top"}
	for v := len(d.Voices[i]) - 1; v > 0; v-- {
		if v < len(places) && d.Key.Degree(d.Voices[i][v].Note).Semitones() == degrees[0].Semitones() {
			return fmt.Sprintf("; here %s is %s", s.Degree(d.Key, degrees[0]), places[v])
		}
	}
	return ""
}

// likeliest says which progression was likeliest, and by which counts.
func (s Style) likeliest(r Reasoned) string {
	text := fmt.Sprintf("likeliest over this bass in the style %v: ", r.ByBass.Style)
	one := func(d theory.Deduction) string {
		p := d.Progressions[0]
		return fmt.Sprintf("%s (%s)", s.Romans(p.Chords), percent(p.P))
	}
	text += one(r.ByBass)
	if len(r.ByQuality.Progressions) > 0 {
		text += ", with the qualities " + one(r.ByQuality)
	}
	if r.ByBass.Style.Judged() {
		text += "; by judgement, nothing was counted"
	}
	return text
}

// inversionOf names the inversion of that number.
func inversionOf(n int) string {
	if n >= 0 && n < len(inversions) {
		return inversions[n]
	}
	return "foreign bass"
}

// The record of what became of a progression.
type (
	reasonedRecord struct {
		Event     string        `json:"event"` // "reasoned"
		Index     int           `json:"index"`
		Key       string        `json:"key"`
		Style     string        `json:"style"`
		Chords    []string      `json:"chords"` // that sounded, as Roman numerals
		Told      []string      `json:"told"`   // "" where a chord was not told; empty: given up
		Marks     []markRecord  `json:"marks"`  // one for each chord
		Bass      *Score        `json:"bass"`   // of the chords; null where nothing was measured
		Quality   *Score        `json:"quality"`
		Degree    *Score        `json:"degree"`
		Inversion *Score        `json:"inversion"`
		Places    []placeRecord `json:"places"`
		Likeliest []string      `json:"likeliest"` // over the bass
		Known     []string      `json:"likeliest_known"`
	}
	markRecord struct {
		Bass      *bool `json:"bass"` // null where nothing was measured
		Quality   *bool `json:"quality"`
		Degree    *bool `json:"degree"`
		Inversion *bool `json:"inversion"`
		Chord     bool  `json:"chord"` // degree, inversion and quality as they were told last
	}
	placeRecord struct {
		Bass     string           `json:"bass"` // the degree, counted from the major scale
		Possible []possibleRecord `json:"possible"`
		Known    []possibleRecord `json:"possible_known"` // with the quality
		Listen   *string          `json:"listen"`         // what tells it from what it was taken for, or from the likeliest other
	}
	possibleRecord struct {
		Numeral     string  `json:"numeral"`
		Probability float64 `json:"probability"`
	}
)

// NewReasoned makes the record.
func NewReasoned(r Reasoned) any {
	ascii := Style{ASCII: true}
	out := reasonedRecord{
		Event: "reasoned", Index: r.Index, Key: r.Dictation.Key.ASCII(), Style: r.ByBass.Style.String(), Chords: []string{}, Told: []string{},
		Likeliest: []string{}, Known: []string{},
	}
	scores := []**Score{&out.Bass, &out.Quality, &out.Degree, &out.Inversion}
	for i, p := range r.parts() {
		if !p.unheard {
			*scores[i] = &Score{p.right(r.Marks), len(r.Marks)}
		}
	}
	possible := func(d theory.Deduction, i int) []possibleRecord {
		list := []possibleRecord{}
		if i < len(d.Places) {
			for _, c := range likelyOnes(d.Places[i], r.Dictation.Chords[i]) {
				list = append(list, possibleRecord{c.Roman.ASCII(), round(c.P, 4)})
			}
		}
		return list
	}
	for i, c := range r.Dictation.Chords {
		out.Chords = append(out.Chords, c.ASCII())
		m := markRecord{Chord: r.Marks[i].Chord}
		marks := []**bool{&m.Bass, &m.Quality, &m.Degree, &m.Inversion}
		for j, p := range r.parts() {
			if right := p.of(r.Marks[i]); !p.unheard {
				*marks[j] = &right
			}
		}
		out.Marks = append(out.Marks, m)
		bass := r.Dictation.Key.Degree(c.Chord.Bass)
		place := placeRecord{Bass: bass.ASCII(), Possible: possible(r.ByBass, i), Known: possible(r.ByQuality, i)}
		if text := ascii.listened(r, i, ascii.Degree(r.Dictation.Key, bass)); text != "" {
			place.Listen = &text
		}
		out.Places = append(out.Places, place)
	}
	for _, c := range r.Named {
		name := ""
		if c != (theory.Roman{}) {
			name = c.ASCII()
		}
		out.Told = append(out.Told, name)
	}
	for _, c := range r.ByBass.Progressions[0].Chords {
		out.Likeliest = append(out.Likeliest, c.ASCII())
	}
	if len(r.ByQuality.Progressions) > 0 {
		for _, c := range r.ByQuality.Progressions[0].Chords {
			out.Known = append(out.Known, c.ASCII())
		}
	}
	return out
}

// balancedKinds are what progressions are summed up by.
var balancedKinds = []exercise.Kind{exercise.BassSkill, exercise.QualitySkill, exercise.RootSkill, exercise.InversionSkill}

// partsNamed are what they are called, as the marks are.
var partsNamed = map[exercise.Kind]string{exercise.BassSkill: "bass", exercise.QualitySkill: "quality", exercise.RootSkill: "degree", exercise.InversionSkill: "inversion"}

// Balanced sums up progressions: how much was right in each part, as balanced accuracy,
// and what was taken for what.
func (s Style) Balanced(k theory.Key, t exercise.Tally) string {
	named := t.ByName()
	if len(named) == 0 {
		return "Nothing was answered.\n"
	}
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "Balanced accuracy, the mean over all that was asked %d times and more:\n\n", exercise.EnoughOfOne)
	for _, kind := range balancedKinds {
		share, things, answers, ok := t.Balanced(kind)
		if answers == 0 {
			continue
		}
		if !ok {
			fmt.Fprintf(w, "%s\t-\ttoo few: %s; want %d, and %d different ones asked %d times\n", partsNamed[kind], Many(answers, "answer"),
				exercise.EnoughNamed, exercise.EnoughClasses, exercise.EnoughOfOne)
			continue
		}
		fmt.Fprintf(w, "%s\t%s\tof %d different ones, %s\n", partsNamed[kind], percent(share), things, Many(answers, "answer"))
	}
	w.Flush()
	b.WriteByte('\n')
	w = tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "heard\tright\ttaken for")
	for _, kind := range balancedKinds {
		for _, c := range named {
			if c.Skill.Kind == kind {
				fmt.Fprintf(w, "%s %s\t%d of %d\t%s\n", partsNamed[kind], s.Skill(k, c.Skill), c.Right, c.Of, s.confused(k, c))
			}
		}
	}
	w.Flush()
	return trimLines(b.String())
}

// confused says what something was taken for, and how often, the most frequent first.
func (s Style) confused(k theory.Key, c exercise.NamedCount) string {
	var out []string
	for _, x := range confusions(c) {
		out = append(out, fmt.Sprintf("%s %d", s.Skill(k, x.skill), x.times))
	}
	return strings.Join(out, ", ")
}

type confusion struct {
	skill exercise.Skill
	times int
}

func confusions(c exercise.NamedCount) []confusion {
	var list []confusion
	for _, skill := range c.TakenFor {
		at := slices.IndexFunc(list, func(x confusion) bool { return x.skill == skill })
		if at < 0 {
			list = append(list, confusion{skill, 1})
		} else {
			list[at].times++
		}
	}
	slices.SortStableFunc(list, func(a, b confusion) int { return cmp.Compare(b.times, a.times) })
	return list
}

// Balanced is the record of one part of progressions.
type Balanced struct {
	Part       string   `json:"part"`       // "bass", "quality", "degree", "inversion"
	Share      *float64 `json:"share"`      // balanced accuracy; null from too few answers
	Things     int      `json:"things"`     // of which it is the mean
	Answers    int      `json:"answers"`    // to the part
	Confusions []Taken  `json:"confusions"` // what was taken for what
}

// Taken is the record of one mistake, and how often it was made.
type Taken struct {
	Heard   string `json:"heard"` // a degree counted from the major scale, a quality, or the number of an inversion
	Told    string `json:"told"`
	Answers int    `json:"answers"`
}

// Balance returns the summary of progressions, if it is one: balanced accuracy instead
// of how many bass degrees and qualities were right.
func (s Summary) Balance(t exercise.Tally, progressions bool) Summary {
	if !progressions {
		return s
	}
	s.Bass, s.Quality = Score{}, Score{}
	for _, kind := range balancedKinds {
		share, things, answers, ok := t.Balanced(kind)
		b := Balanced{Part: partsNamed[kind], Things: things, Answers: answers, Confusions: []Taken{}}
		if ok {
			b.Share = number(share, 4)
		}
		for _, c := range t.ByName() {
			if c.Skill.Kind != kind {
				continue
			}
			for _, x := range confusions(c) {
				b.Confusions = append(b.Confusions, Taken{Code(c.Skill), Code(x.skill), x.times})
			}
		}
		s.Balanced = append(s.Balanced, b)
	}
	return s
}
