package class

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise/grade"
	"singback/internal/report"
)

// most is how many places a sentence names.
const most = 3

// unsung says what a take holds that was not sung.
func unsung(h grade.Heard) string {
	if h == grade.Spoken {
		return "spoken, not sung: no pitch is held"
	}
	return "nothing was heard"
}

// whole says what is so of the whole take; "" for nothing.
func (m *marking) whole() string {
	switch {
	case m.strange():
		return "hardly anything of the line"
	case m.g.Away != 0:
		return "all of it is " + report.AwayText(m.g.Away)
	}
	return ""
}

// tell says in one sentence what a criterion rests on, and where that is to be heard.
func (m *marking) tell(c Criterion, n counted) (why string, places []Place) {
	switch c {
	case Faults:
		return m.tellFaults()
	case Jury:
		return fmt.Sprintf("of 100 such takes a jury lets %.0f pass", 100*m.g.Pass), nil
	case Notes:
		return m.tellNotes()
	case Intervals:
		return m.tellIntervals(n)
	case Rhythm:
		return m.tellRhythm(n)
	case Flow:
		return m.tellFlow(n)
	case Bars:
		what := "bar"
		if len(m.line.Bars) == 0 {
			what = "part" // of four usual notes
		}
		return m.tellParts(what, m.bars())
	case Segments:
		return m.tellParts("segment", m.segments())
	case Intonation:
		return m.tellIntonation()
	}
	return m.tellSteadiness(c, n)
}

// note names written note i: "la", or "note 5" where no key is known.
func (m *marking) note(i int) string {
	if m.line.Degrees == nil {
		return fmt.Sprintf("note %d", i+1)
	}
	return m.names.Name(m.line.Key, m.line.Degrees[i])
}

// bar is the number of the bar in which note i begins: from 1, 0 of an incomplete first
// one (common practice); ok is false in a line without bars.
func (m *marking) bar(i int) (number int, ok bool) {
	bars := m.line.Bars
	if len(bars) == 0 {
		return 0, false
	}
	for k, b := range bars {
		if b <= m.line.Notes[i].Onset+equal {
			number = k + 1
		}
	}
	if len(bars) > 2 && bars[1]-bars[0] < bars[2]-bars[1]-equal {
		number--
	}
	return number, true
}

// at is where note i stands, in front of what became of it: "bar 3: la", "note 5 (la)",
// "note 5".
func (m *marking) at(i int) string {
	if number, ok := m.bar(i); ok {
		return fmt.Sprintf("bar %d: %s", number, m.note(i))
	}
	if m.line.Degrees == nil {
		return m.note(i)
	}
	return fmt.Sprintf("note %d, %s:", i+1, m.note(i))
}

// became says what became of note i that is not right.
func (m *marking) became(i int) string {
	n := m.g.Notes[i]
	switch n.Finding {
	case grade.Omitted:
		return "left out"
	case grade.NotHeard:
		return "could not be made out"
	}
	off := math.Round(math.Abs(n.Cents))
	side := "sharp"
	if n.Cents < 0 {
		side = "flat"
	}
	if n.Finding == grade.OutOfTune || off < 75 && math.Abs(n.Cents) > m.rules.Tolerance {
		return fmt.Sprintf("%.0f cents %s", off, side)
	}
	if off <= m.rules.Tolerance {
		return "in another octave"
	}
	return report.AwayText(n.Cents)
}

// span is where note i is to be heard: where it was sung, or about where it should be.
func (m *marking) span(i int) (from, to float64) {
	if w := m.g.Notes[i].Answer; w.Count > 0 {
		return m.take.Notes[w.First].Onset, m.take.Notes[w.First+w.Count-1].Offset
	}
	before, after := -1, len(m.take.Notes)
	for k := i - 1; k >= 0 && before < 0; k-- {
		if w := m.g.Notes[k].Answer; w.Count > 0 {
			before = w.First + w.Count - 1
		}
	}
	for k := i + 1; k < len(m.g.Notes) && after == len(m.take.Notes); k++ {
		if w := m.g.Notes[k].Answer; w.Count > 0 {
			after = w.First
		}
	}
	switch {
	case len(m.take.Notes) == 0:
		return 0, 0
	case before < 0 && after == len(m.take.Notes):
		return m.take.Notes[0].Onset, m.take.Notes[len(m.take.Notes)-1].Offset
	case before < 0:
		return min(m.take.Notes[0].Onset, m.take.Notes[after].Onset), m.take.Notes[after].Offset
	case after == len(m.take.Notes):
		return m.take.Notes[before].Onset, m.take.Notes[len(m.take.Notes)-1].Offset
	}
	// From the middle of the note before to that of the next: it is not between them.
	a, b := m.take.Notes[before], m.take.Notes[after]
	from, to = (a.Onset+a.Offset)/2, (b.Onset+b.Offset)/2
	if to < from {
		from, to = to, from
	}
	return from, to
}

// place is a stretch from one written note to another.
func (m *marking) placeOf(first, last int, what string) Place {
	from, to := m.span(first)
	if last != first {
		a, b := m.span(last)
		from, to = min(from, a), max(to, b)
	}
	return Place{From: from, To: to, First: first, Last: last, What: what}
}

// list says the first places in one line, and how many more there are.
func list(places []Place) string {
	var b strings.Builder
	for k, p := range places {
		if k == most {
			fmt.Fprintf(&b, "; and %d more", len(places)-most)
			break
		}
		b.WriteString("; " + p.What)
	}
	return b.String()
}

func (m *marking) tellFaults() (string, []Place) {
	var said []string
	var places []Place
	for k, f := range m.g.Faults {
		text := report.FaultText(f)
		if k < most {
			said = append(said, text)
		}
		for from := 0; from < len(f.Notes); { // notes in a row are one place
			to := from
			for to+1 < len(f.Notes) && f.Notes[to+1] == f.Notes[to]+1 {
				to++
			}
			places = append(places, m.placeOf(f.Notes[from], f.Notes[to], text))
			from = to + 1
		}
		switch f.Name {
		case "added":
			for _, j := range m.g.Added {
				places = append(places, Place{m.take.Notes[j].Onset, m.take.Notes[j].Offset, -1, -1, "a note that is not written"})
			}
		case "restarts":
			places = append(places, m.restarts()...)
		}
	}
	if len(said) == 0 {
		return fmt.Sprintf("score %.2f: no fault", m.g.Score), places
	}
	if more := len(m.g.Faults) - most; more > 0 {
		said = append(said, fmt.Sprintf("and %d more", more))
	}
	return fmt.Sprintf("score %.2f: %s", m.g.Score, strings.Join(said, "; ")), places
}

// restarts are the places where the singer went back.
func (m *marking) restarts() []Place {
	var places []Place
	for _, r := range m.g.Alignment.Restarts {
		n := m.take.Notes[r.Sung]
		from := n.Onset
		if r.Sung > 0 {
			from = m.take.Notes[r.Sung-1].Onset
		}
		to := min(r.To, len(m.g.Notes)-1)
		places = append(places, Place{from, n.Offset, to, min(max(to, r.From), len(m.g.Notes)-1), m.at(to) + " begun again"})
	}
	return places
}

func (m *marking) tellNotes() (string, []Place) {
	var places []Place
	for i, n := range m.g.Notes {
		if n.Finding != grade.Right {
			places = append(places, m.placeOf(i, i, m.at(i)+" "+m.became(i)))
		}
	}
	why := fmt.Sprintf("%d of %s right%s", m.g.Right, report.Many(len(m.g.Notes), "note"), list(places))
	if n := len(m.g.Added); n > 0 {
		why += fmt.Sprintf("; %s more than is written, which costs nothing here", report.Many(n, "note"))
	}
	return why, places
}

func (m *marking) tellIntervals(n counted) (string, []Place) {
	if !n.measured {
		return "not measured: a line of one note has no steps", nil
	}
	var places []Place
	all := len(m.g.Notes) - 1
	for i := range all {
		if m.stepRight(i) {
			continue
		}
		off, ok := m.step(i)
		what := "not both sung"
		if ok {
			side := "high"
			if off < 0 {
				side = "low"
			}
			what = fmt.Sprintf("%.0f cents too %s", math.Abs(off), side)
			if math.Abs(off) <= math.Sqrt2*m.rules.Tolerance {
				what = "in another octave"
			}
		}
		places = append(places, m.placeOf(i, i+1, fmt.Sprintf("%s to %s %s", m.at(i), m.note(i+1), what)))
	}
	return fmt.Sprintf("%d of %s right%s", all-len(places), report.Many(all, "step"), list(places)), places
}

func (m *marking) tellRhythm(n counted) (string, []Place) {
	if !m.line.Timed {
		return "not measured: the line has no rhythm", nil
	}
	if !n.measured {
		return "not measured: too little was sung to tell a tempo", nil
	}
	var places []Place
	all := 0
	for i, note := range m.g.Notes {
		ok, known := m.inTime(i)
		if !known {
			continue
		}
		if all++; ok {
			continue
		}
		what := "left out"
		if note.Timed {
			side := "late"
			if note.Late < 0 {
				side = "early"
			}
			what = fmt.Sprintf("%.2f beats %s", math.Abs(note.Late), side)
		}
		places = append(places, m.placeOf(i, i, m.at(i)+" "+what))
	}
	return fmt.Sprintf("%d of %s in time%s", all-len(places), report.Many(all, "note"), list(places)), places
}

func (m *marking) tellFlow(n counted) (string, []Place) {
	if n.value == 1 {
		return "went on without a halt", nil
	}
	if m.g.Right == 0 {
		return "no note is right", nil
	}
	places := m.restarts()
	for _, i := range m.halts() {
		_, to := m.span(i)
		from := 0.0
		if i > 0 {
			from, _ = m.span(i - 1)
		}
		places = append(places, Place{min(from, to), to, i, i, "waited before " + strings.Replace(m.at(i), ": ", ", ", 1)})
	}
	return fmt.Sprintf("%s%s", report.Many(len(places), "halt"), list(places)), places
}

func (m *marking) tellParts(what string, at []float64) (string, []Place) {
	all := m.pieces(at, 0)
	var places []Place
	for _, p := range all {
		if p.right {
			continue
		}
		var first string
		for _, i := range p.notes {
			if !m.right(i, 0) {
				first = m.at(i) + " " + m.became(i)
				break
			}
			if ok, known := m.inTime(i); m.timed && known && !ok {
				side := "late"
				if m.g.Notes[i].Late < 0 {
					side = "early"
				}
				first = fmt.Sprintf("%s %.2f beats %s", m.at(i), math.Abs(m.g.Notes[i].Late), side)
				break
			}
		}
		if what != "bar" {
			first = fmt.Sprintf("%s %d: %s", what, p.number+1, strings.Replace(first, ": ", ", ", 1))
		}
		places = append(places, m.placeOf(p.notes[0], p.notes[len(p.notes)-1], first))
	}
	return fmt.Sprintf("%d of %s right%s", len(all)-len(places), report.Many(len(all), what), list(places)), places
}

func (m *marking) tellIntonation() (string, []Place) {
	var places []Place
	sum, n := 0.0, 0
	for i, note := range m.g.Notes {
		if note.Finding == grade.Right || note.Finding == grade.OutOfTune {
			sum, n = sum+math.Abs(note.Cents), n+1
		}
		if m.near(i, 0) < 0.5 {
			what := m.became(i)
			if note.Finding == grade.Right {
				side := "sharp"
				if note.Cents < 0 {
					side = "flat"
				}
				what = fmt.Sprintf("%.0f cents %s", math.Abs(note.Cents), side)
			}
			places = append(places, m.placeOf(i, i, m.at(i)+" "+what))
		}
	}
	if n == 0 {
		return "no note lies on its pitch", places
	}
	return fmt.Sprintf("%.0f cents from their pitch on average, %d of %s%s", sum/float64(n), n, report.Many(len(m.g.Notes), "note"), list(places)), places
}

func (m *marking) tellSteadiness(c Criterion, n counted) (string, []Place) {
	if !n.measured {
		return fmt.Sprintf("not measured: fewer than %d notes were sung", keyWindow), nil
	}
	var said []string
	if moved, ok := m.moved(); ok {
		said = append(said, fmt.Sprintf("the key moved by %.0f cents", moved))
	}
	if change, ok := m.tempo(); ok && c == Steadiness {
		switch {
		case math.Abs(change) < 0.005:
			said = append(said, "the tempo was held")
		case change > 0:
			said = append(said, fmt.Sprintf("the later half is %.0f %% slower", 100*change))
		default:
			said = append(said, fmt.Sprintf("the later half is %.0f %% faster", -100*change))
		}
	} else if c == Steadiness {
		said = append(said, "no tempo is known")
	}
	return strings.Join(said, "; "), nil
}
