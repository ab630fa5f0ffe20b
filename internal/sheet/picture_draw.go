package sheet

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strconv"
	"strings"

	"singback/exercise/grade"
	"singback/internal/plain"
)

// PictureStyle colours pictures for a page: what it leaves alone is drawn in the colour
// of the text around, and differs by shape.
const PictureStyle = `.take-picture{--sung:currentColor;--fine:#0b4f8a;--off:#93400d}
.take-picture .tp-curve{stroke:var(--sung)}
.take-picture .tp-right .tp-band{fill:var(--fine);stroke:var(--fine)}
.take-picture .tp-off .tp-band,.take-picture .tp-wrong .tp-band{stroke:var(--off)}
.take-picture .tp-off .tp-sign,.take-picture .tp-wrong .tp-sign,.take-picture .tp-added .tp-sign{stroke:var(--off)}
@media screen and (prefers-color-scheme:dark){.take-picture{--fine:#93c9ff;--off:#ffb680}}
`

// num writes a coordinate.
func num(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10+0, 'f', -1, 64) }

// esc is text from outside as it stands in a picture or a page.
func esc(s string) string { return html.EscapeString(plain.Line(s)) }

// Clock writes seconds as a place in a recording: 0:07.2.
func Clock(seconds float64) string {
	tenths := int(math.Round(10 * max(0, seconds)))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

// wrap puts a drawing into an element of SVG.
func (d *drawn) wrap(body string, height float64, title, desc string) string {
	b := strings.Builder{}
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="take-picture" role="img" viewBox="0 0 %s %s" width="%s" height="%s" font-family="Liberation Sans,Arimo,Helvetica,Arial,sans-serif" font-size="%s" fill="none" stroke="none" color="inherit">`+"\n",
		num(d.width), num(height), num(d.width), num(height), num(small))
	fmt.Fprintf(&b, "<title>%s</title>\n", esc(title))
	if desc != "" {
		fmt.Fprintf(&b, "<desc>%s</desc>\n", esc(desc))
	}
	b.WriteString(body)
	b.WriteString("</svg>\n")
	return b.String()
}

func (d *drawn) x(s Stretch, seconds float64) float64 { return (seconds - s.From) * d.scale }

func (d *drawn) y(cents float64) float64 { return (d.high - cents) / 100 * d.semitone }

func line(b *strings.Builder, x1, y1, x2, y2 float64, more string) {
	fmt.Fprintf(b, `<line x1="%s" y1="%s" x2="%s" y2="%s" stroke="currentColor" %s/>`+"\n", num(x1), num(y1), num(x2), num(y2), more)
}

func text(b *strings.Builder, x, y float64, anchor, s string) {
	fmt.Fprintf(b, `<text x="%s" y="%s" fill="currentColor" text-anchor="%s">%s</text>`+"\n", num(x), num(y), anchor, esc(s))
}

// textWidth is how wide a text is at the most.
func textWidth(s string) float64 { return 0.6 * small * float64(len([]rune(s))) }

// draw draws a system whose top is at y.
func (d *drawn) draw(b *strings.Builder, s Stretch, y float64) {
	width, height := (s.To-s.From)*d.scale, d.plotHeight()
	fmt.Fprintf(b, `<g class="tp-system" data-from="%s" data-to="%s" data-x="%s" data-width="%s" transform="translate(0 %s)">`+"\n",
		seconds(s.From), seconds(s.To), num(gutter), num(width), num(y))
	d.drawRowNames(b)
	fmt.Fprintf(b, `<svg class="tp-plot" x="%s" y="%s" width="%s" height="%s">`+"\n", num(gutter), num(topLane), num(width), num(height))
	d.drawGrid(b, s, width, height)
	for i := range d.shapes {
		d.drawShape(b, s, i)
	}
	for _, a := range d.added {
		d.drawAdded(b, s, a)
	}
	d.drawCurve(b, s)
	b.WriteString("</svg>\n")
	fmt.Fprintf(b, `<g transform="translate(%s 0)">`+"\n", num(gutter))
	d.drawTop(b, s, height)
	d.drawSigns(b, s, topLane+height)
	d.drawAxis(b, s, width, topLane+height+signLanes)
	b.WriteString("</g>\n</g>\n")
}

func seconds(t float64) string { return strconv.FormatFloat(math.Round(t*1000)/1000+0, 'f', -1, 64) }

// drawRowNames writes what the rows are called: first those that the line has.
func (d *drawn) drawRowNames(b *strings.Builder) {
	var taken, second []float64
	for _, due := range []bool{true, false} {
		for _, r := range d.rows {
			if r.due != due {
				continue
			}
			y, x := d.y(r.cents), gutter-6
			if _, near := nearest(taken, y, 9.5); near { // beside the other
				if _, near := nearest(second, y, 9.5); near || !due {
					continue
				}
				second, x = append(second, y), x-textWidth("sol")
			} else {
				taken = append(taken, y)
			}
			name := r.name
			if n := []rune(name); len(n) > 7 {
				name = string(n[:7])
			}
			text(b, x, topLane+y+4, "end", name)
		}
	}
}

// drawGrid draws the rows, the bars and the beats, and what is shaded.
func (d *drawn) drawGrid(b *strings.Builder, s Stretch, width, height float64) {
	for _, w := range d.Stressed {
		if w.To > s.From && w.From < s.To {
			fmt.Fprintf(b, `<rect class="tp-stressed" x="%s" y="0" width="%s" height="%s" fill="currentColor" fill-opacity="0.12"/>`+"\n", num(d.x(s, w.From)), num((w.To-w.From)*d.scale), num(height))
		}
	}
	for _, r := range d.rows {
		more := `stroke-width="0.6" stroke-opacity="0.22"`
		if r.home {
			more = `stroke-width="1" stroke-opacity="0.45"`
		}
		line(b, 0, d.y(r.cents), width, d.y(r.cents), more)
	}
	if d.at.timed && !d.Line.Performed && d.at.pace*d.scale >= 14 {
		end := d.Line.Notes[len(d.Line.Notes)-1]
		for k := 0.0; k < end.Onset+end.Length; k++ {
			if x := d.x(s, d.at.when(k)); x >= 0 && x <= width {
				line(b, x, 0, x, height, `stroke-width="0.6" stroke-opacity="0.3" stroke-dasharray="1 4"`)
			}
		}
	}
	for _, t := range d.at.Bars(d.Line) {
		if x := d.x(s, t); x >= 0 && x <= width {
			line(b, x, 0, x, height, `class="tp-bar" stroke-width="1" stroke-opacity="0.6"`)
		}
	}
	fmt.Fprintf(b, `<rect x="0.5" y="0.5" width="%s" height="%s" stroke="currentColor" stroke-width="0.6" stroke-opacity="0.5"/>`+"\n", num(width-1), num(height-1))
}

var classNames = [...]string{"right", "off", "wrong", "absent", "unheard"}

// drawShape draws a written note: the band that is in tune, and its sign in it.
func (d *drawn) drawShape(b *strings.Builder, s Stretch, i int) {
	o := d.shapes[i]
	if o.To <= s.From || o.From >= s.To {
		return
	}
	x, w := d.x(s, o.From), max(3, (o.To-o.From)*d.scale-1)
	half := max(2, d.Tolerance/100*d.semitone)
	y := d.y(o.due)
	fmt.Fprintf(b, `<g class="tp-note tp-%s" data-note="%d" data-from="%s" data-to="%s">`+"\n", classNames[o.finding], i+1, seconds(o.From), seconds(o.To))
	more := ""
	switch o.finding {
	case grade.Right:
		more = `fill="currentColor" fill-opacity="0.22" stroke="currentColor" stroke-width="0.8"`
	case grade.OutOfTune:
		more = `stroke="currentColor" stroke-width="1.4"`
	case grade.Wrong:
		more = `stroke="currentColor" stroke-width="2"`
	case grade.Omitted:
		more = `stroke="currentColor" stroke-width="1.2" stroke-dasharray="4 3"`
	case grade.NotHeard:
		more = `stroke="currentColor" stroke-width="1.2" stroke-dasharray="1 2.5"`
	}
	fmt.Fprintf(b, `<rect class="tp-band" x="%s" y="%s" width="%s" height="%s" rx="1.5" %s/>`+"\n", num(x), num(y-half), num(w), num(2*half), more)
	line(b, x, y, x+w, y, `stroke-width="0.7" stroke-opacity="0.7"`)
	mid := x + w/2
	switch o.finding {
	case grade.OutOfTune:
		arrow(b, mid, y, d.y(o.sung))
	case grade.Wrong:
		r := min(half, w/2)
		fmt.Fprintf(b, `<path class="tp-sign" d="M%s %sl%s %sm0 %sl%s %s" stroke="currentColor" stroke-width="1.6"/>`+"\n", num(mid-r), num(y-r), num(2*r), num(2*r), num(-2*r), num(-2*r), num(2*r))
		if sung := d.y(o.sung); sung >= 0 && sung <= d.plotHeight() {
			fmt.Fprintf(b, `<path class="tp-sign" d="M%s %sl6 -5l6 5l-6 5z" stroke="currentColor" stroke-width="1.2"/>`+"\n", num(mid-6), num(sung))
		}
	}
	b.WriteString("</g>\n")
}

// arrow points from where a note was due to where it was sung, and is long enough to be
// seen.
func arrow(b *strings.Builder, x, from, to float64) {
	const least = 11
	if d := to - from; math.Abs(d) < least {
		to = from + math.Copysign(least, d)
	}
	head := math.Copysign(4.5, from-to)
	fmt.Fprintf(b, `<path class="tp-sign" d="M%s %sV%sm-3.5 %sl3.5 %sl3.5 %s" stroke="currentColor" stroke-width="1.6"/>`+"\n", num(x), num(from), num(to), num(head), num(-head), num(head))
}

// drawAdded draws a sung note that answers no written one.
func (d *drawn) drawAdded(b *strings.Builder, s Stretch, o shape) {
	if o.To <= s.From || o.From >= s.To {
		return
	}
	x, w := d.x(s, o.From), max(3, (o.To-o.From)*d.scale-1)
	y := min(d.plotHeight()-5, max(5, d.y(o.sung)))
	fmt.Fprintf(b, `<g class="tp-note tp-added" data-from="%s" data-to="%s">`+"\n", seconds(o.From), seconds(o.To))
	fmt.Fprintf(b, `<path class="tp-band" d="M%s %sv-8h%sv8" stroke="currentColor" stroke-width="1.2"/>`+"\n", num(x), num(y+4), num(w))
	fmt.Fprintf(b, `<path class="tp-sign" d="M%s %sh8m-4 -4v8" stroke="currentColor" stroke-width="1.4"/>`+"\n</g>\n", num(x+w/2-4), num(y-9))
}

// drawCurve draws the pitch from moment to moment, or without a curve the notes.
func (d *drawn) drawCurve(b *strings.Builder, s Stretch) {
	const hole = 0.06 // seconds that break the curve
	var path strings.Builder
	drawing, last, lastX := false, 0.0, 0.0
	move := d.moves()
	from := 0
	if len(d.Take.Curve) > 0 {
		from, _ = slices.BinarySearchFunc(d.Take.Curve, s.From, func(m grade.Moment, t float64) int {
			if m.At < t {
				return -1
			}
			return 1
		})
	}
	for _, m := range d.Take.Curve[min(from, len(d.Take.Curve)):] {
		if m.At > s.To {
			break
		}
		if !m.Voiced || m.At-last > hole {
			drawing = false
		}
		if !m.Voiced {
			continue
		}
		x, c := d.x(s, m.At), move(m.At, m.Cents)
		if c < d.low-100 || c > d.high+100 { // another octave, or a slip of the tracker
			drawing = false
			continue
		}
		last = m.At
		if drawing && x-lastX < 0.8 {
			continue
		}
		letter := "L"
		if !drawing {
			letter = "M"
		}
		drawing, lastX = true, x
		fmt.Fprintf(&path, "%s%s %s", letter, num(x), num(d.y(c)))
	}
	if len(d.Take.Curve) == 0 {
		for _, n := range d.Take.Notes {
			if n.Offset > s.From && n.Onset < s.To {
				fmt.Fprintf(&path, "M%s %sH%s", num(d.x(s, n.Onset)), num(d.y(move(n.Onset, n.Cents))), num(d.x(s, n.Offset)))
			}
		}
	}
	if path.Len() > 0 {
		fmt.Fprintf(b, `<path class="tp-curve" d="%s" stroke="currentColor" stroke-width="1.7" stroke-linejoin="round" stroke-linecap="round"/>`+"\n", path.String())
	}
}

// moves brings a pitch of the take to the line: into the singer's key, and a note that
// was sung in another octave to its own. Of a take without a note only octaves are moved.
func (d *drawn) moves() func(at, cents float64) float64 {
	g, take := &d.Grading, d.Take.Notes
	octave := make([]float64, len(take))
	sung := false
	for _, n := range g.Notes {
		for j := n.Answer.First; j < n.Answer.First+n.Answer.Count && j < len(take); j++ {
			octave[j] = 1200 * float64(n.Answer.Octave)
			sung = true
		}
	}
	if !sung {
		middle := (d.low + d.high) / 2
		return func(_, cents float64) float64 { return cents - 1200*math.Round((cents-middle)/1200) }
	}
	j := 0
	return func(at, cents float64) float64 {
		for j > 0 && take[j].Onset > at {
			j--
		}
		for j+1 < len(take) && take[j+1].Onset <= at {
			j++
		}
		return cents - g.KeyAt(at) - octave[j]
	}
}
