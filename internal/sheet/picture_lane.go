package sheet

import (
	"fmt"
	"math"
	"strings"

	"singback/exercise/grade"
	"singback/internal/report"
)

// drawTop writes what stands above: the numbers of bars, and where the singer went back
// or waited.
func (d *drawn) drawTop(b *strings.Builder, s Stretch, height float64) {
	width := (s.To - s.From) * d.scale
	var numbers lane
	for i, t := range d.at.Bars(d.Line) {
		n := i + 1
		if d.Pickup {
			n = i
		}
		if x := d.x(s, t); x >= 0 && x < width-8 && i+1 < max(2, len(d.Line.Bars)) && numbers.fits(x, 22) {
			text(b, x+2, topLane-4, "start", fmt.Sprint(n))
		}
	}
	g, take := &d.Grading, d.Take.Notes
	var words lane
	for _, r := range g.Alignment.Restarts {
		if r.Sung >= len(take) {
			continue
		}
		x := d.x(s, take[r.Sung].Onset) - 2
		if x < 0 || x > width {
			continue
		}
		b.WriteString(`<g class="tp-restart">` + "\n")
		line(b, x-2, topLane-14, x-2, topLane+height, `stroke-width="1.2" stroke-dasharray="5 2"`)
		line(b, x+1, topLane-14, x+1, topLane+height, `stroke-width="1.2" stroke-dasharray="5 2"`)
		fmt.Fprintf(b, `<path d="M%s %sh-12m5 -4l-5 4l5 4" stroke="currentColor" stroke-width="1.4"/>`+"\n", num(x-5), num(topLane-19))
		d.say(b, &words, x+4, fmt.Sprintf("again from note %d", r.To+1), width)
		b.WriteString("</g>\n")
	}
	for _, i := range g.Hesitations {
		if i >= len(d.shapes) || !d.shapes[i].has {
			continue
		}
		until, from := d.shapes[i].From, d.shapes[i].From
		for _, n := range take {
			if n.Offset <= until+0.01 && n.Onset < until {
				from = n.Offset
			}
		}
		x := d.x(s, until)
		if x < 0 || x > width {
			continue
		}
		what := "waits"
		if until-from >= 0.15 && until > from {
			what = fmt.Sprintf("waits %.1f s", until-from)
		} else {
			from = until - 12/d.scale
		}
		b.WriteString(`<g class="tp-wait">` + "\n")
		fmt.Fprintf(b, `<path d="M%s %sv-5H%sv5" stroke="currentColor" stroke-width="1.2"/>`+"\n", num(max(0, d.x(s, from))), num(topLane+7), num(x))
		d.say(b, &words, max(0, d.x(s, from)), what, width)
		b.WriteString("</g>\n")
	}
}

// say writes words above a system where there is room.
func (d *drawn) say(b *strings.Builder, l *lane, x float64, words string, width float64) {
	w := textWidth(words)
	for _, at := range []float64{x, x - w - 20, x + w + 20} { // or a little beside it
		if at = max(0, min(at, width-w)); l.fits(at, w+6) {
			text(b, at, topLane-17, "start", words)
			return
		}
	}
}

// lane is a line of texts that do not meet.
type lane struct{ taken [][2]float64 }

// fits takes the room from x on where nothing is in it.
func (l *lane) fits(x, width float64) bool {
	for _, t := range l.taken {
		if x < t[1] && t[0] < x+width {
			return false
		}
	}
	l.taken = append(l.taken, [2]float64{x, x + width})
	return true
}

// drawSigns writes below the names of the notes, what became of them and how far.
func (d *drawn) drawSigns(b *strings.Builder, s Stretch, y float64) {
	width := (s.To - s.From) * d.scale
	var names, signs lane
	var words [2]lane
	put := func(o shape, class string) {
		from, to := max(o.From, s.From), min(o.To, s.To)
		if to-from < (o.To-o.From)/2 || to <= s.From || from >= s.To { // the other system has it
			return
		}
		x := (d.x(s, from) + d.x(s, to)) / 2
		b.WriteString(`<g class="tp-` + class + `">` + "\n")
		if w := textWidth(o.name) + 2; o.name != "" && names.fits(x-w/2, w) {
			text(b, x, y+12, "middle", o.name)
		}
		if signs.fits(x-4, 8) || class != "right" {
			sign(b, x, y+20, class, o.sung < o.due)
		}
		if w := textWidth(o.text) + 4; o.text != "" {
			for k := range words {
				if words[k].fits(x-w/2, w) {
					text(b, min(max(x, w/2), width-w/2+rightEdge), y+36+11*float64(k), "middle", o.text)
					break
				}
			}
		}
		b.WriteString("</g>\n")
	}
	for _, o := range d.shapes {
		text := o
		if o.octave != 0 && text.text == "" {
			text.text = octaveSign(o.octave)
		}
		put(text, classNames[o.finding])
	}
	for _, o := range d.added {
		put(o, "added")
	}
}

// octaveSign marks another octave as in notation.
func octaveSign(n int) string {
	switch {
	case n == 1:
		return "8va"
	case n == -1:
		return "8vb"
	case n > 0:
		return "15ma"
	}
	return "15mb"
}

// sign draws what became of a note: a tick, a triangle that points to where it was sung,
// a cross, an empty circle, a question mark, a plus.
func sign(b *strings.Builder, x, y float64, class string, low bool) {
	path := func(d string) {
		fmt.Fprintf(b, `<path class="tp-sign" d="%s" stroke="currentColor" stroke-width="1.6"/>`+"\n", d)
	}
	switch class {
	case "right":
		path(fmt.Sprintf("M%s %sl3 3.4l5 -7", num(x-4), num(y)))
	case "off":
		if low {
			path(fmt.Sprintf("M%s %sh8l-4 7z", num(x-4), num(y-3.5)))
		} else {
			path(fmt.Sprintf("M%s %sh8l-4 -7z", num(x-4), num(y+3.5)))
		}
	case "wrong":
		path(fmt.Sprintf("M%s %sl8 8m0 -8l-8 8", num(x-4), num(y-4)))
	case "absent":
		fmt.Fprintf(b, `<circle class="tp-sign" cx="%s" cy="%s" r="4" stroke="currentColor" stroke-width="1.4" stroke-dasharray="2.5 1.5"/>`+"\n", num(x), num(y))
	case "unheard":
		text(b, x, y+4, "middle", "?")
	case "added":
		path(fmt.Sprintf("M%s %sh8m-4 -4v8", num(x-4), num(y)))
	}
}

// drawAxis writes the seconds of the take.
func (d *drawn) drawAxis(b *strings.Builder, s Stretch, width, y float64) {
	step := 1.0
	for _, one := range []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 60} {
		if step = one; one*d.scale >= 46 {
			break
		}
	}
	line(b, 0, y, width, y, `stroke-width="0.6" stroke-opacity="0.5"`)
	for k := math.Ceil(s.From/step - 1e-9); k*step <= s.To; k++ {
		x := d.x(s, k*step)
		line(b, x, y, x, y+4, `stroke-width="0.6" stroke-opacity="0.7"`)
		label := Clock(k * step)
		if step >= 1 {
			label = strings.TrimSuffix(label, ".0")
		}
		if half := textWidth(label) / 2; x-half >= -gutter && x+half <= width+rightEdge {
			text(b, x, y+14, "middle", label)
		}
	}
}

// legend says what the signs mean, and returns how high it is.
func (d *drawn) legend(b *strings.Builder, y float64) float64 {
	x, top := 6.0, y+legendRow/2
	next := func(words string, draw func(x, y float64)) {
		if x+24+textWidth(words) > d.width {
			x, top = 6, top+legendRow
		}
		draw(x+7, top)
		text(b, x+20, top+4, "start", words)
		x += 20 + 0.85*textWidth(words) + 14
	}
	of := func(class string, low bool) func(x, y float64) {
		return func(x, y float64) {
			b.WriteString(`<g class="tp-` + class + `">` + "\n")
			sign(b, x, y, class, low)
			b.WriteString("</g>\n")
		}
	}
	b.WriteString(`<g class="tp-legend">` + "\n")
	there := map[string]bool{"right": true, "added": len(d.added) > 0}
	low, high := false, false
	for _, o := range d.shapes {
		there[classNames[o.finding]] = true
		low = low || o.finding == grade.OutOfTune && o.sung < o.due
		high = high || o.finding == grade.OutOfTune && o.sung >= o.due
	}
	for _, sign := range []struct {
		class, words string
		there, low   bool
	}{
		{"right", fmt.Sprintf("right: within %g cents, as high as the bar", d.Tolerance), true, false},
		{"off", "too high, in cents", high, false},
		{"off", "too low, in cents", low, true},
		{"wrong", "another degree, at the diamond", true, false},
		{"absent", "left out", true, false},
		{"unheard", "too little heard to measure", true, false},
		{"added", "not written", true, false},
	} {
		if there[sign.class] && sign.there {
			next(sign.words, of(sign.class, sign.low))
		}
	}
	next("pitch of the voice", func(x, y float64) {
		fmt.Fprintf(b, `<path class="tp-curve" d="M%s %sq3.500 -6 7 0t7 0" stroke="currentColor" stroke-width="1.7"/>`+"\n", num(x-7), num(y))
	})
	b.WriteString("</g>\n")
	return top + legendRow/2 - y
}

// mostTold is how many notes a description tells one by one.
const mostTold = 40

// describe says in words what a stretch of the picture shows.
func (d *drawn) describe(s Stretch) string {
	var told []string
	count := map[grade.Finding]int{}
	of := 0
	for i, o := range d.shapes {
		if o.To <= s.From || o.From >= s.To {
			continue
		}
		of++
		count[o.finding]++
		what := ""
		switch o.finding {
		case grade.OutOfTune:
			what = o.text + " cents"
		case grade.Wrong:
			what = "sung as " + o.text
		case grade.Omitted:
			what = "left out"
		case grade.NotHeard:
			what = "too little heard to measure"
		default:
			continue
		}
		name := fmt.Sprintf("note %d", i+1)
		if o.name != "" {
			name += ", " + o.name
		}
		told = append(told, fmt.Sprintf("%s at %s: %s", name, Clock(o.From), what))
	}
	for _, o := range d.added {
		if o.To > s.From && o.From < s.To {
			told = append(told, "a note that is not written at "+Clock(o.From))
		}
	}
	for _, r := range d.Grading.Alignment.Restarts {
		if r.Sung < len(d.Take.Notes) {
			if t := d.Take.Notes[r.Sung].Onset; t >= s.From && t < s.To {
				told = append(told, fmt.Sprintf("sung again from note %d at %s", r.To+1, Clock(t)))
			}
		}
	}
	for _, i := range d.Grading.Hesitations {
		if i < len(d.shapes) && d.shapes[i].has && d.shapes[i].From >= s.From && d.shapes[i].From < s.To {
			told = append(told, fmt.Sprintf("waited before note %d", i+1))
		}
	}
	out := fmt.Sprintf("%d of %s right.", count[grade.Right], report.Many(of, "note"))
	if n := len(told); n > mostTold {
		told = append(told[:mostTold], fmt.Sprintf("and %d more", n-mostTold))
	}
	if len(told) > 0 {
		out += " " + strings.Join(told, "; ") + "."
	}
	return out
}
