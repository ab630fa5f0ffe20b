package sheet

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"singback/exercise/grade"
	"singback/internal/report"
	"singback/theory"
)

// Picture is the pitch of a take against its line: rows are the degrees of the key,
// seconds go to the right. A written note is a bar where it was sung, or was due, as
// high as what is still in tune; the curve of the voice goes over them. What became of
// a note is told by a shape, a sign and words; an element's class may add a colour.
type Picture struct {
	Line      grade.Line
	Take      grade.Performance
	Grading   grade.Grading
	Tolerance theory.Cents
	Names     theory.Naming
	ASCII     bool // names of degrees with # and b

	Title    string // what a reader who does not see it is told first; "": what it is
	Pickup   bool   // the first bar is incomplete, and counted 0
	Width    int    // units, 480 or more; 0: 900
	Height   int    // units of the rows of a system; 0: 190, 130 where there are more than two
	From, To float64
	// From and To are a stretch of the take, in seconds, that is drawn on one system;
	// both 0: all of it, on as many as it takes.

	Stressed []Stretch // what else is shaded: a place that is spoken of
	NoLegend bool
}

// Stretch is a part of a take, in seconds.
type Stretch struct{ From, To float64 }

// The measures of a picture, in units.
const (
	gutter    = 52.0 // room of the names of rows
	rightEdge = 8.0
	topLane   = 30.0 // bar numbers; restarts and halts
	signLanes = 50.0 // below: names, signs, words
	axisLane  = 16.0
	between   = 10.0 // systems
	small     = 11.0 // size of letters
	legendRow = 18.0
)

// SVG draws all systems in one picture.
func (p Picture) SVG() string {
	d := p.lay()
	height := float64(len(d.systems))*(d.system()+between) - between
	body := strings.Builder{}
	for i, s := range d.systems {
		d.draw(&body, s, float64(i)*(d.system()+between))
	}
	if !p.NoLegend {
		height += between
		height += d.legend(&body, height)
	}
	return d.wrap(body.String(), height, d.title(), d.describe(Stretch{math.Inf(-1), math.Inf(1)}))
}

// Systems draws each system as a picture of its own, so that paper can break between
// them; the legend is one more, the last.
func (p Picture) Systems() []string {
	d := p.lay()
	var out []string
	for i, s := range d.systems {
		body := strings.Builder{}
		d.draw(&body, s, 0)
		title := d.title()
		if len(d.systems) > 1 {
			title += fmt.Sprintf(", %d of %d", i+1, len(d.systems))
		}
		out = append(out, d.wrap(body.String(), d.system(), title, d.describe(s)))
	}
	if !p.NoLegend {
		body := strings.Builder{}
		height := d.legend(&body, 0)
		out = append(out, d.wrap(body.String(), height, "What the signs mean", ""))
	}
	return out
}

// shape is a written note as it is drawn.
type shape struct {
	Stretch
	due     float64 // cents of the line
	sung    float64 // likewise, where it was sung: due, more or less
	finding grade.Finding
	has     bool   // it was sung and measured
	name    string // of the degree; "" without a key
	text    string // cents, or what was sung
	octave  int
}

// row is a line of the grid.
type row struct {
	cents float64
	name  string
	home  bool // the tonic
	due   bool // a written note lies on it
}

// drawn is a picture that was laid out.
type drawn struct {
	Picture
	width     float64
	shapes    []shape
	added     []shape
	rows      []row
	low, high float64 // cents of the line
	semitone  float64 // units
	scale     float64 // units a second
	systems   []Stretch
	at        Times
}

func (p Picture) lay() *drawn {
	d := &drawn{Picture: p, width: 900}
	if p.Width > 0 {
		d.width = float64(max(p.Width, 480))
	}
	d.at = NewTimes(p.Line, &p.Grading)
	d.findShapes()
	d.findRows()
	d.findSystems()
	room := 190.0 // units of a system's rows
	if len(d.systems) > 2 {
		room = 130
	}
	if d.Height > 0 {
		room = float64(d.Height)
	}
	d.semitone = max(5, min(14, room/((d.high-d.low)/100)))
	return d
}

func (d *drawn) title() string { return cmp.Or(d.Title, "The pitch of a take against its line") }

func (d *drawn) plotHeight() float64 { return (d.high - d.low) / 100 * d.semitone }

func (d *drawn) system() float64 { return topLane + d.plotHeight() + signLanes + axisLane }

// name is what a written note is called.
func (d *drawn) name(i int) string {
	if d.Line.Degrees == nil {
		return ""
	}
	return d.degree(d.Line.Degrees[i])
}

func (d *drawn) degree(g theory.Degree) string {
	if d.ASCII {
		return d.Names.NameASCII(d.Line.Key, g)
	}
	return d.Names.Name(d.Line.Key, g)
}

// sungName is what was sung in place of written note i, so many cents away.
func (d *drawn) sungName(i int, cents float64) string {
	if d.Line.Degrees == nil {
		return fmt.Sprintf("%+.1f st", cents/100)
	}
	g, _ := d.Line.Key.Nearest(wrap(float64(100*d.Line.Degrees[i].Semitones()) + cents))
	return d.degree(g)
}

// wrap brings cents into an octave.
func wrap(c float64) float64 {
	if c = math.Mod(c, 1200); c < 0 {
		c += 1200
	}
	return c
}

// findShapes finds where written notes, and those that belong to none, are drawn.
func (d *drawn) findShapes() {
	g, take := &d.Grading, d.Take.Notes
	d.shapes = make([]shape, len(d.Line.Notes))
	for i, due := range d.Line.Notes {
		s := &d.shapes[i]
		s.due, s.sung, s.name, s.finding = due.Cents, due.Cents, d.name(i), grade.Omitted
		s.From, s.To = d.at.Of(i, due.Onset), d.at.Of(i+1, due.Onset+due.Length)
		if i >= len(g.Notes) {
			continue
		}
		n := g.Notes[i]
		s.finding = n.Finding
		switch n.Finding {
		case grade.OutOfTune:
			s.text = fmt.Sprintf("%+.0f", n.Cents)
		case grade.Wrong:
			s.text = d.sungName(i, n.Cents)
		}
		if w := n.Answer; w.Count > 0 && w.First+w.Count <= len(take) {
			s.has, s.octave = true, w.Octave
			s.sung = due.Cents + n.Cents
			s.From, s.To = take[w.First].Onset, take[w.First+w.Count-1].Offset
		}
	}
	d.partMerged()
	d.fitAbsent()
	for _, j := range g.Added {
		n := take[j]
		s := shape{Stretch: Stretch{n.Onset, n.Offset}, sung: n.Cents - g.KeyAt(n.Onset), has: true}
		s.due = s.sung
		d.added = append(d.added, s)
	}
}

// partMerged parts a sung note that answers several written ones.
func (d *drawn) partMerged() {
	g := &d.Grading
	for i := 0; i < len(d.shapes); {
		j := i + 1
		for j < len(d.shapes) && j < len(g.Notes) && g.Notes[j].Answer.Merged {
			j++
		}
		whole, sum := d.shapes[i].Stretch, 0.0
		for k := i; k < j; k++ {
			sum += d.Line.Notes[k].Length
		}
		for k, at := i, whole.From; k < j && j > i+1; k++ {
			share := 1 / float64(j-i)
			if sum > 0 {
				share = d.Line.Notes[k].Length / sum
			}
			next := at + share*(whole.To-whole.From)
			d.shapes[k].Stretch = Stretch{at, next}
			at = next
		}
		i = j
	}
}

// fitAbsent puts notes that were not sung where there is room: after what was sung
// before them, and before what follows.
func (d *drawn) fitAbsent() {
	const least = 0.15 // seconds
	for i := range d.shapes {
		s := &d.shapes[i]
		if s.has {
			continue
		}
		after, before := math.Inf(-1), math.Inf(1)
		for k := i - 1; k >= 0 && math.IsInf(after, -1); k-- {
			if d.shapes[k].has || k == i-1 {
				after = d.shapes[k].To
			}
		}
		for k := i + 1; k < len(d.shapes) && math.IsInf(before, 1); k++ {
			if d.shapes[k].has {
				before = d.shapes[k].From
			}
		}
		length := max(least, s.To-s.From)
		s.From = max(s.From, min(after, before-least))
		s.To = max(s.From+least, min(s.From+length, before))
	}
}

// findRows finds the grid and how high it reaches.
func (d *drawn) findRows() {
	low, high := math.Inf(1), math.Inf(-1)
	for _, n := range d.Line.Notes {
		low, high = min(low, n.Cents), max(high, n.Cents)
	}
	lowest, highest := low-700, high+700
	for _, list := range [][]shape{d.shapes, d.added} {
		for _, s := range list {
			if s.has && s.sung >= lowest && s.sung <= highest {
				low, high = min(low, s.sung), max(high, s.sung)
			}
		}
	}
	d.low, d.high = low-150, high+150
	for i, n := range d.Line.Notes {
		home := d.Line.Degrees != nil && d.Line.Degrees[i] == theory.Degree{Step: 1}
		d.addRow(row{n.Cents, cmp.Or(d.name(i), pitchName(n.Cents)), home, true})
	}
	if d.Line.Degrees != nil {
		tonic := d.Line.Notes[0].Cents - float64(100*d.Line.Degrees[0].Semitones())
		for _, g := range d.Line.Key.ScaleDegrees() {
			first := tonic + float64(100*g.Semitones())
			for c := first + 1200*math.Ceil((d.low-first)/1200); c < d.high; c += 1200 {
				d.addRow(row{c, d.degree(g), g == theory.Degree{Step: 1}, false})
			}
		}
	}
	slices.SortFunc(d.rows, func(a, b row) int { return cmp.Compare(b.cents, a.cents) })
}

func pitchName(cents float64) string { return report.PitchName(int(math.Round(cents / 100))) }

// addRow adds a row where there is none yet.
func (d *drawn) addRow(r row) {
	for _, o := range d.rows {
		if math.Abs(o.cents-r.cents) < 60 {
			return
		}
	}
	d.rows = append(d.rows, r)
}

// findSystems parts the take: about as long as the notes want room, and where a bar or a
// note begins.
func (d *drawn) findSystems() {
	room := d.width - gutter - rightEdge
	if d.To > d.From {
		d.systems, d.scale = []Stretch{{d.From, d.To}}, room/(d.To-d.From)
		return
	}
	from, to := math.Inf(1), math.Inf(-1)
	var lengths, starts []float64
	for _, list := range [][]shape{d.shapes, d.added} {
		for _, s := range list {
			from, to = min(from, s.From), max(to, s.To)
			lengths, starts = append(lengths, s.To-s.From), append(starts, s.From)
		}
	}
	if n := len(d.Take.Notes); n > 0 {
		from, to = min(from, d.Take.Notes[0].Onset), max(to, d.Take.Notes[n-1].Offset)
	}
	from, to = max(0, from-0.4), to+0.4
	slices.Sort(lengths)
	const wanted = 32 // units of a usual note
	most := max(6, min(30, room/wanted*lengths[len(lengths)/2]))
	n := max(1, int(math.Ceil((to-from)/most-0.1)))
	each := (to - from) / float64(n)
	bars := d.at.Bars(d.Line)
	longest := 0.0
	for at := from; at < to; {
		end := at + each
		if end > to-each/3 {
			end = to
		} else if b, ok := nearest(bars, end, each/6); ok {
			end = b - 0.05
		} else if b, ok := nearest(starts, end, each/6); ok {
			end = b - 0.05
		}
		d.systems = append(d.systems, Stretch{at, end})
		longest = max(longest, end-at)
		at = end
	}
	d.scale = room / longest
}

// nearest is the value of a list that lies nearest to x, no farther than reach.
func nearest(list []float64, x, reach float64) (float64, bool) {
	best, ok := 0.0, false
	for _, v := range list {
		if off := math.Abs(v - x); off <= reach && (!ok || off < math.Abs(best-x)) {
			best, ok = v, true
		}
	}
	return best, ok
}

// Times tells when in a take a time of the line is: as the singer's own tempo has it
// about there, which is what notes are called late against.
type Times struct {
	timed     bool
	line, sec []float64 // of an untimed line the indices of notes
	pace      float64
}

// NewTimes makes it of a graded take.
func NewTimes(line grade.Line, g *grade.Grading) Times {
	m := Times{timed: g.Pace > 0, pace: g.Pace}
	var lengths []float64
	for _, n := range line.Notes {
		lengths = append(lengths, n.Length)
	}
	slices.Sort(lengths)
	beat := (lengths[len(lengths)/2] + lengths[(len(lengths)-1)/2]) / 2
	for i, n := range g.Notes {
		if n.Answer.Count == 0 || n.Answer.Merged {
			continue
		}
		x, t := float64(i), n.Onset
		if m.timed {
			x, t = line.Notes[i].Onset, n.Onset-n.Late*beat*m.pace
		}
		if k := len(m.sec); k > 0 && (t <= m.sec[k-1] || x <= m.line[k-1]) {
			continue // it went back: time goes on
		}
		m.line, m.sec = append(m.line, x), append(m.sec, t)
	}
	if !m.timed {
		m.pace = 0.5
		if k := len(m.sec); k > 1 {
			m.pace = (m.sec[k-1] - m.sec[0]) / (m.line[k-1] - m.line[0])
		}
	}
	return m
}

// Of is the time of written note i, which begins at onset in the line.
func (m Times) Of(i int, onset float64) float64 {
	if !m.timed {
		return m.when(float64(i))
	}
	return m.when(onset)
}

func (m Times) when(x float64) float64 {
	n := len(m.line)
	if n == 0 {
		return x * max(m.pace, 0.5)
	}
	k, _ := slices.BinarySearch(m.line, x)
	switch {
	case k == 0:
		return m.sec[0] - (m.line[0]-x)*m.pace
	case k == n:
		return m.sec[n-1] + (x-m.line[n-1])*m.pace
	}
	part := (x - m.line[k-1]) / (m.line[k] - m.line[k-1])
	return m.sec[k-1] + part*(m.sec[k]-m.sec[k-1])
}

// Bars are the times at which bars begin.
func (m Times) Bars(line grade.Line) []float64 {
	if !m.timed {
		return nil
	}
	out := make([]float64, len(line.Bars))
	for i, b := range line.Bars {
		out[i] = m.when(b)
	}
	return out
}
