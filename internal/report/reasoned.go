package report

import (
	"fmt"
	"strings"

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

// reasonedParts are what is marked apart of each chord, in the order of the reasoning.
var reasonedParts = [...]string{"bass", "quality", "degree", "inversion"}

// part is the mark of a part of a chord, and whether anything was measured of it.
func (r *Reasoned) part(i, chord int) (right, measured bool) {
	m := &r.Marks[chord]
	return [...]bool{m.Bass, m.Quality, m.Root, m.Inversion}[i], !r.Unheard[min(i, 2)]
}

// The record of what became of a progression.
type (
	reasonedRecord struct {
		Event     string          `json:"event"` // "reasoned"
		Index     int             `json:"index"`
		Key       string          `json:"key"`
		Style     string          `json:"style"`
		Chords    string          `json:"chords"` // that sounded, as Roman numerals
		Right     map[string]*int `json:"right"`  // chords of which the bass, the quality, the degree, the inversion are; null: not measured
		Of        int             `json:"of"`
		Places    []reasonedPlace `json:"places"`
		Likeliest string          `json:"likeliest"`       // over the bass
		Known     string          `json:"likeliest_known"` // with the qualities; "" where none is
	}
	reasonedPlace struct {
		Chord    string             `json:"chord"`
		Told     string             `json:"told"` // "": nothing was
		Bass     string             `json:"bass"` // the degree, counted from the major scale
		Quality  string             `json:"quality"`
		Wrong    []string           `json:"wrong"`          // of bass, quality, degree, inversion
		Right    bool               `json:"right"`          // degree, inversion and quality as they were told last
		Possible map[string]float64 `json:"possible"`       // the likeliest chords on the bass, and that which sounded
		Known    map[string]float64 `json:"possible_known"` // with the quality
		Listen   string             `json:"listen"`         // what tells it from what it was taken for, or the likeliest other; "": nothing need

		possible, known string // in words
	}
)

// NewReasoned makes the record.
func (s Style) NewReasoned(r *Reasoned) any {
	s.ASCII = true
	return s.reasoned(r)
}

func (s Style) reasoned(r *Reasoned) *reasonedRecord {
	k := r.Dictation.Key
	out := &reasonedRecord{
		Event: "reasoned", Index: r.Index, Key: k.ASCII(), Style: r.ByBass.Style.String(), Chords: s.Romans(r.Dictation.Chords),
		Right: map[string]*int{}, Of: len(r.Marks), Likeliest: s.Romans(r.ByBass.Progressions[0].Chords),
	}
	if len(r.ByQuality.Progressions) > 0 {
		out.Known = s.Romans(r.ByQuality.Progressions[0].Chords)
	}
	for part, name := range reasonedParts {
		n := 0
		out.Right[name] = &n
		for i := range r.Marks {
			right, measured := r.part(part, i)
			if right {
				n++
			}
			if !measured {
				out.Right[name] = nil
			}
		}
	}
	for i := range r.Dictation.Chords {
		c := &r.Dictation.Chords[i]
		p := reasonedPlace{
			Chord: s.Roman(*c), Bass: k.Degree(c.Chord.Bass).ASCII(), Quality: compose.QualityOf(c.Chord.Quality), Wrong: []string{},
			Right: r.Marks[i].Chord, Listen: s.listened(r, i),
		}
		if named := r.named(i); named != nil {
			p.Told = s.Roman(*named)
		}
		for part, name := range reasonedParts {
			if right, measured := r.part(part, i); measured && !right {
				p.Wrong = append(p.Wrong, name)
			}
		}
		p.Possible, p.possible = s.possible(&r.ByBass, i, c)
		p.Known, p.known = s.possible(&r.ByQuality, i, c)
		out.Places = append(out.Places, p)
	}
	return out
}

// Reasoned says what of a progression was right, and explains it, a line each.
func (s Style) Reasoned(r *Reasoned) []string {
	e := s.reasoned(r)
	head := fmt.Sprintf("%d  it was %s", e.Index, e.Chords)
	for i, name := range reasonedParts {
		sign := ", "
		if i == 0 {
			sign = ": "
		}
		if n := e.Right[name]; n == nil {
			head += sign + name + " not measured"
		} else {
			head += fmt.Sprintf("%s%s %d of %d", sign, name, *n, e.Of)
		}
	}
	out := []string{head}
	for i := range e.Places {
		p := &e.Places[i]
		bass := s.Degree(r.Dictation.Key, r.line(i))
		out = append(out, fmt.Sprintf("   %d %s on %s, %s: %s", i+1, p.Chord, bass, p.Quality, p.told()), "     on "+bass+" could stand "+p.possible)
		if p.known != "" {
			out[len(out)-1] += "; as " + p.Quality + ": " + p.known
		}
		if p.Listen != "" {
			out = append(out, "     "+p.Listen)
		}
	}
	last := fmt.Sprintf("   likeliest over this bass in the style %s: %s (%s)", e.Style, e.Likeliest, percent(r.ByBass.Progressions[0].P))
	if e.Known != "" {
		last += fmt.Sprintf(", with the qualities %s (%s)", e.Known, percent(r.ByQuality.Progressions[0].P))
	}
	if r.ByBass.Style.Judged() {
		last += "; by judgement, nothing was counted"
	}
	return append(out, last)
}

// told says what a chord was told to be, and what of it is wrong.
func (p *reasonedPlace) told() string {
	text := "named " + p.Told
	switch {
	case p.Right:
		text = "named right"
	case p.Told == "":
		text = "not named"
	case len(p.Wrong) == 0:
		text += ", of another quality"
	}
	if len(p.Wrong) == 0 {
		return text
	}
	text += "; wrong"
	if p.Right {
		text += " before"
	}
	return text + ": " + strings.Join(p.Wrong, ", ")
}

// Romans writes numerals, one after the other.
func (s Style) Romans(list []theory.Roman) string {
	out := make([]string, len(list))
	for i := range list {
		if out[i] = "-"; list[i] != (theory.Roman{}) {
			out[i] = s.Roman(list[i])
		}
	}
	return strings.Join(out, " ")
}

// named is the chord that was told for one that sounded; nil if none was.
func (r *Reasoned) named(i int) *theory.Roman {
	if i >= len(r.Named) || r.Named[i] == (theory.Roman{}) {
		return nil
	}
	return &r.Named[i]
}

// line is the degree in the bass of a chord.
func (r *Reasoned) line(i int) theory.Degree {
	return r.Dictation.Key.Degree(r.Dictation.Chords[i].Chord.Bass)
}

// mostPossible is how many chords are named that could stand on a bass, and worthTelling
// from which probability another one is told apart from what was named right.
const (
	mostPossible = 4
	worthTelling = 0.05
)

// possible says which chords could stand at a place: the likeliest, and the one that
// sounded.
func (s Style) possible(d *theory.Deduction, at int, sounded *theory.Roman) (list map[string]float64, text string) {
	list = map[string]float64{}
	if at >= len(d.Places) {
		return list, ""
	}
	for i := range d.Places[at].Candidates {
		c := &d.Places[at].Candidates[i]
		if c.Roman.Chord != sounded.Chord && (len(list) >= mostPossible || c.P < worthSaying) {
			continue
		}
		name := s.Roman(c.Roman)
		if list[name] = round(c.P, 4); text != "" {
			text += ", "
		}
		text += name + " " + percent(c.P)
	}
	return list, text
}

// listened says what to have listened for: the notes that only one of two chords has, of
// the one that sounded and of what it was taken for, or else of what else is likeliest on
// its bass; "" where hardly anything else is.
func (s Style) listened(r *Reasoned, i int) string {
	c, other := &r.Dictation.Chords[i], r.named(i)
	if other == nil || r.Marks[i].Chord {
		other = nil
		for j := range r.ByBass.Places[i].Candidates {
			if x := &r.ByBass.Places[i].Candidates[j]; x.Roman.Chord != c.Chord {
				if x.P >= worthTelling {
					other = &x.Roman
				}
				break
			}
		}
		if other == nil {
			return ""
		}
	}
	k := r.Dictation.Key
	a, b := s.Roman(*other), s.Roman(*c)
	pair := a + " and " + b
	if low := k.Degree(other.Chord.Bass); low.Semitones() != r.line(i).Semitones() {
		return pair + ": listen to the bass first, " + s.Degree(k, low) + " or " + s.Degree(k, r.line(i))
	}
	own, common := apart(k, c.Chord, other.Chord)
	others, _ := apart(k, other.Chord, c.Chord)
	ownText, othersText, where := s.degrees(k, own), s.degrees(k, others), ""
	if len(own) > 0 {
		where = s.where(&r.Dictation, i, own[0])
	}
	pair += " share " + s.degrees(k, common) + ": listen whether "
	switch {
	case len(own)+len(others) == 0:
		return a + " and " + b + " sound alike: what comes before and after tells them apart"
	case len(others) == 0:
		return pair + ownText + " sounds above" + where
	case len(own) == 0:
		return pair + othersText + " sounds above; it does not"
	}
	return pair + othersText + " (" + a + ") or " + ownText + " (" + b + ") sounds above" + where
}

// apart are the degrees of a chord that another has not, and those that it has.
func apart(k theory.Key, c, other theory.Chord) (own, common []theory.Degree) {
	has := 0
	for _, n := range other.Notes() {
		has |= 1 << k.Degree(n).Semitones()
	}
	for _, n := range c.Notes() {
		if d := k.Degree(n); has&(1<<d.Semitones()) != 0 {
			common = append(common, d)
		} else {
			own = append(own, d)
		}
	}
	return own, common
}

// where says in which voice a degree sounded above the bass.
func (s Style) where(d *compose.Dictation, i int, degree theory.Degree) string {
	places := [...]string{"", "low in the right hand", "in the middle", "on top"}
	for v := len(places) - 1; v > 0; v-- {
		if d.Key.Degree(d.Voices[i][v].Note).Semitones() == degree.Semitones() {
			return "; here " + s.Degree(d.Key, degree) + " is " + places[v]
		}
	}
	return ""
}

// inversionOf names the inversion of that number.
func inversionOf(n int) string {
	if n >= 0 && n < len(inversions) {
		return inversions[n]
	}
	return "foreign bass"
}

// Balanced is the record of one part of progressions.
type Balanced struct {
	Part    string      `json:"part"`    // "bass", "quality", "degree", "inversion"
	Share   *float64    `json:"share"`   // balanced accuracy; null from too few answers
	Things  int         `json:"things"`  // of which it is the mean
	Answers int         `json:"answers"` // to the part
	Heard   []HeardPart `json:"heard"`
}

// HeardPart is the record of one thing that was heard, and what it was taken for.
type HeardPart struct {
	Name     string         `json:"name"` // a degree counted from the major scale, a quality, or the number of an inversion
	Right    int            `json:"right"`
	Of       int            `json:"of"`
	TakenFor map[string]int `json:"taken_for"` // wrong names, and how often; less where none was given

	shown, taken string // in words
}

// balancedKinds are the kinds of reasonedParts.
var balancedKinds = [...]exercise.Kind{exercise.BassSkill, exercise.QualitySkill, exercise.RootSkill, exercise.InversionSkill}

// NewBalanced makes the record of each part.
func (s Style) NewBalanced(k theory.Key, t *exercise.Tally) (out []Balanced) {
	named := t.ByName()
	for i, kind := range balancedKinds {
		share, things, answers, ok := t.Balanced(kind)
		b := Balanced{Part: reasonedParts[i], Things: things, Answers: answers, Heard: []HeardPart{}}
		if ok {
			b.Share = number(share, 4)
		}
		for j := range named {
			c := &named[j]
			if c.Skill.Kind != kind {
				continue
			}
			h := HeardPart{Name: Code(c.Skill), Right: c.Right, Of: c.Of, TakenFor: map[string]int{}, shown: b.Part + " " + s.Skill(k, c.Skill)}
			for _, name := range c.TakenFor {
				h.TakenFor[Code(name)]++
			}
			for _, name := range c.TakenFor {
				if word := fmt.Sprintf("%s %d", s.Skill(k, name), h.TakenFor[Code(name)]); !strings.Contains(h.taken, word) {
					h.taken += ", " + word
				}
			}
			h.taken = strings.TrimPrefix(h.taken, ", ")
			b.Heard = append(b.Heard, h)
		}
		out = append(out, b)
	}
	return out
}

// Balanced sums up progressions: how much was right in each part, as balanced accuracy,
// and what was taken for what.
func (s Style) Balanced(k theory.Key, t *exercise.Tally) string {
	var b, rows strings.Builder
	w, v := newColumns(&b), newColumns(&rows)
	fmt.Fprintf(w, "Balanced accuracy, the mean over all that was asked %d times and more:\n\n", exercise.EnoughOfOne)
	fmt.Fprintln(v, "\nheard\tright\ttaken for")
	answers := 0
	for _, p := range s.NewBalanced(k, t) {
		switch answers += p.Answers; {
		case p.Answers == 0:
		case p.Share != nil:
			fmt.Fprintf(w, "%s\t%s\tof %d different ones, %s\n", p.Part, percent(*p.Share), p.Things, Many(p.Answers, "answer"))
		default:
			fmt.Fprintf(w, "%s\t-\ttoo few: %s; want %d, and %d different ones asked %d times\n", p.Part, Many(p.Answers, "answer"),
				exercise.EnoughNamed, exercise.EnoughClasses, exercise.EnoughOfOne)
		}
		for i := range p.Heard {
			h := &p.Heard[i]
			fmt.Fprintf(v, "%s\t%d of %d\t%s\n", h.shown, h.Right, h.Of, h.taken)
		}
	}
	if answers == 0 {
		return "Nothing was answered.\n"
	}
	w.Flush()
	v.Flush()
	return trimLines(b.String() + rows.String())
}
