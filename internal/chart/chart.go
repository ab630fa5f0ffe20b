// Package chart draws a singer's progress: Of makes the charts, Page one page with
// everything in it. It stands apart from package report because the fonts of the
// plots are two thirds of what a program with them weighs in a browser.
package chart

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html"
	"html/template"
	"image/color"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"singback/internal/plain"
	"singback/internal/report"
)

// Chart is one drawing of a progress.
type Chart struct {
	Name  string // of its file, without an extension: "degrees", "pairs-2", "confusion", …
	Title string

	plot          *plot.Plot
	width, height vg.Length
}

// SVG writes the chart as an SVG file.
func (c Chart) SVG(w io.Writer) error {
	_, err := io.WriteString(w, "<?xml version=\"1.0\"?>\n"+c.element()+"\n")
	return err
}

// element returns the chart as an element of SVG, for a file or inside a page,
// with its title for who cannot see it. Where the font that it was laid out for
// is missing, one of the same widths takes its place.
func (c Chart) element() string {
	canvas := vgsvg.New(c.width, c.height)
	c.draw(canvas)
	var b bytes.Buffer
	canvas.WriteTo(&b) // a buffer takes everything
	_, svg, _ := strings.Cut(b.String(), "<svg")
	tag, rest, _ := strings.Cut(svg, ">")
	rest = strings.ReplaceAll(rest, "font-family:Liberation Sans;", "font-family:Liberation Sans,Arimo,Helvetica,Arial,sans-serif;")
	return "<svg" + tag + ">\n<title>" + html.EscapeString(c.Title) + "</title>" + strings.TrimSpace(rest)
}

// PNG writes the chart as a PNG file.
func (c Chart) PNG(w io.Writer) error {
	canvas := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(c.width, c.height), vgimg.UseDPI(144))}
	c.draw(canvas)
	_, err := canvas.WriteTo(w)
	return err
}

// draw leaves a margin, so that no label touches the edge, and paints it white as
// the rest: a reader of SVG may be dark.
func (c Chart) draw(canvas vg.CanvasSizer) {
	const margin = 0.4 * vg.Centimeter
	all := draw.New(canvas)
	all.FillPolygon(color.White, []vg.Point{{}, {X: c.width}, {X: c.width, Y: c.height}, {Y: c.height}})
	c.plot.Draw(draw.Crop(all, margin, -margin, margin, -margin))
}

// The look of the charts. The lines are dark enough to be printed in grey.
var (
	ink   = color.NRGBA{R: 0x1f, G: 0x3a, B: 0x5f, A: 0xff}
	faint = color.NRGBA{R: 0xd0, G: 0xd4, B: 0xd9, A: 0xff}
	grey  = color.NRGBA{R: 0x66, G: 0x6b, B: 0x73, A: 0xff}
)

const (
	chartWidth = 16 * vg.Centimeter
	rowHeight  = 0.55 * vg.Centimeter
	around     = 3 * vg.Centimeter // title, axis and its label
)

// Of draws what has enough data: of each group the share right, of degrees and
// pairs the cents too, the days, and the confusions.
func Of(p *report.Progress) ([]Chart, error) {
	var out []Chart
	for _, g := range []struct {
		name, title string
		rows        []report.Stats
		cents       bool
	}{
		{"degrees", "Degrees", p.ByDegree, true},
		{"pairs", "From one degree to another", p.ByPair, true},
		{"keys", "Keys", p.ByKey, false},
		{"registers", "Registers", p.ByRegister, false},
		{"questions", "Questions of a session", p.ByQuestion, false},
		{"bass", "Degrees heard in the bass", p.ByBass, false},
		{"quality", "Chord qualities heard", p.ByQuality, false},
		{"root", "Degrees of chords heard", p.ByRoot, false},
		{"inversion", "Inversions heard", p.ByInversion, false},
		{"levels", "Melodies by level: passed", p.ByLevel, false},
	} {
		title := g.title
		if g.name != "levels" {
			g.title += ": share right"
		}
		shares, err := rowsCharts(g.name, g.title, "% right, with the 95 % interval", g.rows, func(s report.Stats) (n int, value, low, high *float64) {
			return s.Answers, s.Share, s.ShareLow, s.ShareHigh
		}, 100)
		if err != nil {
			return nil, err
		}
		for _, c := range shares {
			c.plot.X.Min, c.plot.X.Max = 0, 100
			c.plot.X.Tick.Marker = every(25)
			out = append(out, c)
		}
		if !g.cents {
			continue
		}
		cents, err := rowsCharts(g.name+"-cents", title+": flat or sharp", "median cents, with the 95 % interval; above 0 is sharp", g.rows, func(s report.Stats) (n int, value, low, high *float64) {
			return s.OnDegree, s.MedianCents, s.MedianLow, s.MedianHigh
		}, 1)
		if err != nil {
			return nil, err
		}
		most := 10.0
		for _, c := range cents {
			most = max(most, 1-c.plot.X.Min, 1+c.plot.X.Max)
		}
		most = 5 * math.Ceil(most/5)
		for _, c := range cents {
			c.plot.X.Min, c.plot.X.Max = -most, most
			c.plot.X.Tick.Marker = every(5 * math.Ceil(most/20))
			zero, err := plotter.NewLine(plotter.XYs{{X: 0, Y: c.plot.Y.Min}, {X: 0, Y: c.plot.Y.Max}})
			if err != nil {
				return nil, err
			}
			zero.LineStyle = draw.LineStyle{Color: grey, Width: vg.Points(0.8)}
			c.plot.Add(zero)
			out = append(out, c)
		}
	}
	days, ok, err := daysChart(p.ByDay)
	if err != nil {
		return nil, err
	}
	if ok {
		out = append(out, days)
	}
	for _, g := range p.Matrices() {
		confusion, err := matrixChart(g)
		if err != nil {
			return nil, err
		}
		out = append(out, confusion)
	}
	return out, nil
}

// Page writes one page with the charts and everything else that is known of the
// progress: it asks for nothing from outside and can be printed.
func Page(w io.Writer, p *report.Progress) error {
	charts, err := Of(p)
	if err != nil {
		return err
	}
	drawings := make([]report.Drawing, len(charts))
	for i, c := range charts {
		drawings[i] = report.Drawing{Name: c.Name, SVG: c.element()}
	}
	out := plain.NewWriter(w)
	return errors.Join(pageTemplate.Execute(out, p.Page(drawings)), out.Flush())
}

//go:embed page.html
var page string

// pageTemplate is the page. What is in a drawing was escaped when it was drawn.
var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"drawn": func(d report.Drawing) template.HTML { return template.HTML(d.SVG) },
}).Parse(page))

// letters writes musical signs as letters, for the charts: their font lacks them.
var letters = strings.NewReplacer("♯", "#", "♭", "b", "♮", "n", "𝄪", "##", "𝄫", "bb")

// newPlot makes a plot in the house's look.
func newPlot(title string) *plot.Plot {
	p := plot.New()
	sans := font.Font{Typeface: "Liberation", Variant: "Sans"}
	p.Title.Text = title
	p.Title.Padding = vg.Points(8)
	for style, size := range map[*text.Style]vg.Length{
		&p.Title.TextStyle: 13, &p.X.Label.TextStyle: 10, &p.Y.Label.TextStyle: 10, &p.X.Tick.Label: 10, &p.Y.Tick.Label: 10,
	} {
		style.Font = font.From(sans, size)
	}
	p.X.Label.Padding = vg.Points(4)
	return p
}

// mostRows is how many rows a chart has at most: it fits a page of A4.
const mostRows = 32

// rowsCharts draws a number and its interval for each row that has one, the first
// row on top, in as many charts of about the same size as it takes.
func rowsCharts(name, title, axis string, rows []report.Stats, of func(report.Stats) (n int, value, low, high *float64), scale float64) ([]Chart, error) {
	rows = slices.DeleteFunc(slices.Clone(rows), func(s report.Stats) bool {
		_, value, _, _ := of(s)
		return value == nil
	})
	parts := (len(rows) + mostRows - 1) / mostRows
	var out []Chart
	for i := range parts {
		called, headed := name, title
		if parts > 1 {
			headed = fmt.Sprintf("%s (%d of %d)", title, i+1, parts)
		}
		if i > 0 {
			called = fmt.Sprintf("%s-%d", name, i+1)
		}
		c, err := rowsChart(called, headed, axis, rows[i*len(rows)/parts:(i+1)*len(rows)/parts], of, scale)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// rowsChart draws rows that have a number, at least one.
func rowsChart(name, title, axis string, rows []report.Stats, of func(report.Stats) (n int, value, low, high *float64), scale float64) (Chart, error) {
	var points plotter.XYs
	var errs plotter.XErrors
	var names []string
	for _, s := range rows {
		answers, value, low, high := of(s)
		points = append(points, plotter.XY{X: scale * *value})
		errs = append(errs, struct{ Low, High float64 }{scale * (*value - *low), scale * (*high - *value)})
		names = append(names, fmt.Sprintf("%s  (%d)", letters.Replace(s.Shown), answers))
	}
	n := len(points)
	ticks := make(plot.ConstantTicks, n)
	for i := range points {
		points[i].Y = float64(n - 1 - i)
		ticks[i] = plot.Tick{Value: points[i].Y, Label: names[i]}
	}
	p := newPlot(title)
	p.X.Label.Text = axis
	p.Y.Tick.Marker = ticks
	p.Y.Tick.Length = 0
	p.Y.LineStyle.Width = 0
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = faint, faint
	bars, err := plotter.NewXErrorBars(struct {
		plotter.XYs
		plotter.XErrors
	}{points, errs})
	if err != nil {
		return Chart{}, err
	}
	bars.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1.5)}
	dots, err := plotter.NewScatter(points)
	if err != nil {
		return Chart{}, err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: vg.Points(3.5), Shape: draw.CircleGlyph{}}
	p.Add(grid, bars, dots)
	p.Y.Min, p.Y.Max = -0.6, float64(n)-0.4
	return Chart{name, title, p, chartWidth, around + vg.Length(n)*rowHeight}, nil
}

// daysChart draws the share right of each day that has enough answers.
func daysChart(rows []report.Stats) (Chart, bool, error) {
	var points plotter.XYs
	var errs plotter.YErrors
	for _, s := range rows {
		day, err := time.Parse(time.DateOnly, s.Name)
		if err != nil {
			return Chart{}, false, err
		}
		if s.Share == nil {
			continue
		}
		points = append(points, plotter.XY{X: float64(day.Unix()), Y: 100 * *s.Share})
		errs = append(errs, struct{ Low, High float64 }{100 * (*s.Share - *s.ShareLow), 100 * (*s.ShareHigh - *s.Share)})
	}
	if len(points) == 0 {
		return Chart{}, false, nil
	}
	const title = "Days: share right"
	p := newPlot(title)
	p.Y.Label.Text = "% right, with the 95 % interval"
	p.X.Tick.Marker = dayTicks{}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = faint, faint
	bars, err := plotter.NewYErrorBars(struct {
		plotter.XYs
		plotter.YErrors
	}{points, errs})
	if err != nil {
		return Chart{}, false, err
	}
	bars.LineStyle = draw.LineStyle{Color: grey, Width: vg.Points(0.8)}
	bars.CapWidth = vg.Points(3)
	line, dots, err := plotter.NewLinePoints(points)
	if err != nil {
		return Chart{}, false, err
	}
	line.LineStyle = draw.LineStyle{Color: ink, Width: vg.Points(1)}
	dots.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: vg.Points(2.5), Shape: draw.CircleGlyph{}}
	p.Add(grid, bars, line, dots)
	p.Y.Min, p.Y.Max = 0, 100
	p.Y.Tick.Marker = every(25)
	const day = 24 * 3600
	p.X.Min, p.X.Max = points[0].X-0.5*day, points[len(points)-1].X+0.5*day
	return Chart{"days", title, p, chartWidth, 8 * vg.Centimeter}, true, nil
}

// every marks the multiples of a number.
type every float64

// Ticks implements plot.Ticker.
func (e every) Ticks(from, to float64) []plot.Tick {
	var out []plot.Tick
	for i := math.Ceil(from / float64(e)); i*float64(e) <= to; i++ {
		at := i*float64(e) + 0 // not −0
		out = append(out, plot.Tick{Value: at, Label: strconv.FormatFloat(at, 'f', -1, 64)})
	}
	return out
}

// dayTicks marks about five days of an axis in Unix seconds.
type dayTicks struct{}

// Ticks implements plot.Ticker.
func (dayTicks) Ticks(from, to float64) []plot.Tick {
	const day = 24 * 3600
	step := math.Max(1, math.Ceil((to-from)/day/5)) * day
	var out []plot.Tick
	for at := math.Ceil(from/day) * day; at <= to; at += step {
		out = append(out, plot.Tick{Value: at, Label: time.Unix(int64(at), 0).UTC().Format(time.DateOnly)})
	}
	return out
}

// matrixChart draws a matrix: the darker a cell, the larger its share of the row, with
// the number of answers in it.
func matrixChart(g report.Matrix) (Chart, error) {
	name, title := g.Field, "Asked and sung"
	if g.Field != "confusion" {
		name, title = g.Field+"-named", strings.ReplaceAll(strings.ReplaceAll(g.Heading, " (rows)", ""), " (columns)", "")
	}
	out := newPlot(title)
	out.X.Label.Text, out.Y.Label.Text = g.X, g.Y
	cells, columns, rows := g.Cells, len(g.Columns), len(g.Rows)
	var x, y plot.ConstantTicks
	for i, c := range g.Columns {
		x = append(x, plot.Tick{Value: float64(i), Label: letters.Replace(c)})
	}
	for i, r := range g.Rows {
		y = append(y, plot.Tick{Value: float64(rows - 1 - i), Label: letters.Replace(r)})
	}
	out.X.Tick.Marker, out.Y.Tick.Marker = x, y
	for _, axis := range []*plot.Axis{&out.X, &out.Y} {
		axis.Tick.Length, axis.LineStyle.Width, axis.Padding = 0, 0, 0
	}
	for i, row := range cells {
		sum := 0
		for _, n := range row {
			sum += n
		}
		for j, n := range row[:columns] {
			if n == 0 {
				continue
			}
			cx, cy := float64(j), float64(rows-1-i)
			square, err := plotter.NewPolygon(plotter.XYs{{X: cx - .5, Y: cy - .5}, {X: cx + .5, Y: cy - .5}, {X: cx + .5, Y: cy + .5}, {X: cx - .5, Y: cy + .5}})
			if err != nil {
				return Chart{}, err
			}
			share := float64(n) / float64(sum)
			square.Color = shade(share)
			square.LineStyle.Color, square.LineStyle.Width = color.White, vg.Points(1)
			label, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{{X: cx, Y: cy}}, Labels: []string{fmt.Sprint(n)}})
			if err != nil {
				return Chart{}, err
			}
			style := &label.TextStyle[0]
			style.Font = font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, 8)
			style.XAlign, style.YAlign = draw.XCenter, draw.YCenter
			if share > 0.45 {
				style.Color = color.White
			}
			out.Add(square, label)
		}
	}
	out.X.Min, out.X.Max = -0.5, float64(columns)-0.5
	out.Y.Min, out.Y.Max = -0.5, float64(rows)-0.5
	return Chart{name, title, out, chartWidth, around + vg.Length(rows)*0.8*vg.Centimeter}, nil
}

// shade goes from white to ink with the share.
func shade(share float64) color.Color {
	mix := func(c uint8) uint8 { return uint8(math.Round(255 - (0.08+0.92*share)*(255-float64(c)))) }
	return color.NRGBA{mix(ink.R), mix(ink.G), mix(ink.B), 0xff}
}
