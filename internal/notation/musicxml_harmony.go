package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"singback/theory"
)

// kinds are the values of <kind> (MusicXML 4.0, kind-value) that say which tones a
// chord has, and the symbol of each. Of those with the same tones the first is
// written.
var kinds = []struct{ name, symbol string }{
	{"major", ""}, {"minor", "m"}, {"augmented", "aug"}, {"diminished", "dim"},
	{"dominant", "7"}, {"major-seventh", "maj7"}, {"minor-seventh", "m7"}, {"diminished-seventh", "dim7"},
	{"augmented-seventh", "7#5"}, {"half-diminished", "m7b5"}, {"major-minor", "m(maj7)"},
	{"major-sixth", "6"}, {"minor-sixth", "m6"},
	{"dominant-ninth", "9"}, {"major-ninth", "maj9"}, {"minor-ninth", "m9"},
	{"dominant-11th", "11"}, {"major-11th", "maj9(add11)"}, {"minor-11th", "m11"},
	{"dominant-13th", "13"}, {"major-13th", "maj13"}, {"minor-13th", "m13"},
	{"suspended-second", "sus2"}, {"suspended-fourth", "sus4"}, {"power", "5"},
}

// qualityOf returns the tones of the i-th kind.
func qualityOf(i int) theory.Quality {
	q, err := theory.ParseQuality(kinds[i].symbol)
	if err != nil {
		panic(err) // the tests read all of them
	}
	return q
}

// sung returns the text of a <lyric>: syllables on one note are joined.
func (n *xmlNode) sung() string {
	text := ""
	for i := range n.Nodes {
		switch c := &n.Nodes[i]; {
		case c.Name == "text":
			text += c.Text
		case c.Name == "elision" && text != "":
			text += " "
		}
	}
	return strings.Join(strings.Fields(text), " ")
}

// harmony reads a chord symbol. Its place is that of the next note, moved by its
// offset. One that makes no sense is left out, with a warning.
func (x *xmlMeasure) harmony(n *xmlNode) {
	at := x.at
	if text := n.text("offset"); text != "" {
		d, err := strconv.ParseFloat(text, 64)
		if err != nil || d != float64(int(d)) || d < -(1<<24) || d > 1<<24 {
			x.leave(fmt.Sprintf("the offset %s of a chord symbol, and no whole number: it was left out", quote(text)))
			return
		}
		at = at.Plus(theory.NewFraction(int(d), x.part.divisions))
	}
	if at.Num < 0 || 960%at.Den != 0 {
		x.leave("a chord symbol before the bar, or not at a note value: it was left out")
		return
	}
	c, text, err := harmonyOf(n)
	if err != nil {
		x.leave(fmt.Sprintf("a chord symbol %v: it was left out", err))
		return
	}
	symbol, ok := theory.ChordSymbol{Chord: c}, true
	if text != "" {
		symbol, ok = x.symbolFrom(x.bar.name, text)
	}
	if ok {
		symbol.At = at
		x.bar.symbols = append(x.bar.symbols, symbol)
	}
}

// harmonyOf returns the chord of a <harmony>, or the text that it shows where its
// elements say none. An error is about an element that makes no sense.
func harmonyOf(n *xmlNode) (c theory.Chord, text string, err error) {
	kind := n.child("kind")
	if kind == nil || n.child("root") == nil {
		if f := n.text("function"); f != "" {
			return c, f, nil
		}
		if f := n.text("numeral", "numeral-root"); f != "" {
			return c, f, nil
		}
		return c, "", fmt.Errorf("without a root and a kind")
	}
	if c.Root, err = xmlNoteOf(n.child("root"), "root"); err != nil {
		return c, "", err
	}
	c.Bass = c.Root
	if n.child("bass") != nil {
		if c.Bass, err = xmlNoteOf(n.child("bass"), "bass"); err != nil {
			return c, "", err
		}
	}
	name := strings.TrimSpace(kind.Text)
	i := slices.IndexFunc(kinds, func(k struct{ name, symbol string }) bool { return k.name == name })
	if i >= 0 {
		var ok bool
		if c.Quality, ok = withDegrees(qualityOf(i), n); ok {
			if k, err := strconv.Atoi(n.text("inversion")); err == nil && k > 0 && n.child("bass") == nil {
				if tones := c.Quality.Tones(); k < len(tones) {
					c.Bass = c.Note(tones[k])
				}
			}
			return c, "", nil
		}
	}
	// What is shown.
	text = c.Root.ASCII()
	if step := n.child("root").child("root-step"); hasAttr(step, "text") {
		text = step.attr("text")
	}
	switch {
	case name == "none" && kind.attr("text") == "":
		return c, "N.C.", nil
	case kind.attr("text") != "":
		text += kind.attr("text")
	case i >= 0:
		text += kinds[i].symbol
	case name != "major":
		text += " " + name
	}
	if i >= 0 {
		for k := range n.Nodes {
			if d := &n.Nodes[k]; d.Name == "degree" {
				text += fmt.Sprintf(" %s %s %s", d.text("degree-type"), d.text("degree-value"), d.text("degree-alter"))
			}
		}
	}
	if c.Bass != c.Root {
		text += "/" + c.Bass.ASCII()
	}
	return c, text, nil
}

func hasAttr(n *xmlNode, name string) bool {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return true
		}
	}
	return false
}

// xmlNoteOf reads the step and alteration of a <root> or <bass>.
func xmlNoteOf(n *xmlNode, what string) (theory.Note, error) {
	step := n.text(what + "-step")
	letter := strings.Index("CDEFGAB", strings.ToUpper(step))
	if len(step) != 1 || letter < 0 {
		return theory.Note{}, fmt.Errorf("on the %s %s; want a letter A to G", what, quote(step))
	}
	alter := 0.0
	if text := n.text(what + "-alter"); text != "" {
		var err error
		if alter, err = strconv.ParseFloat(text, 64); err != nil || alter != float64(int(alter)) || alter < -2 || alter > 2 {
			return theory.Note{}, fmt.Errorf("with a %s altered by %s; want -2 to 2", what, quote(text))
		}
	}
	return theory.Note{Letter: theory.Letter(letter), Alter: int8(alter)}, nil
}

// stepOf returns the step 1 … 7 of a number in a <degree>: the ninth is 2.
func stepOf(number int) int { return (number-1)%7 + 1 }

// withDegrees adds, alters and takes away tones as the <degree>s of n say
// (MusicXML 4.0, degree-value and degree-alter: what is added is counted from a
// dominant chord, what is altered from the kind). ok is false where that is no
// chord with a symbol.
func withDegrees(q theory.Quality, n *xmlNode) (_ theory.Quality, ok bool) {
	tones := q.Tones()
	for i := range n.Nodes {
		d := &n.Nodes[i]
		if d.Name != "degree" {
			continue
		}
		number, err := strconv.Atoi(d.text("degree-value"))
		alter, bad := strconv.ParseFloat(d.text("degree-alter"), 64)
		if err != nil || bad != nil || number < 2 || number > 13 || alter != float64(int(alter)) || alter < -2 || alter > 2 {
			return q, false
		}
		t := theory.Degree{Step: stepOf(number), Alter: int(alter)}
		at := slices.IndexFunc(tones, func(have theory.Degree) bool { return have.Step == t.Step })
		switch d.text("degree-type") {
		case "add":
			if t.Step == 7 {
				t.Alter--
			}
			tones = append(tones, t)
		case "alter":
			if at < 0 {
				tones = append(tones, t)
				break
			}
			tones[at].Alter += t.Alter
		case "subtract":
			if at < 0 {
				return q, false
			}
			tones = slices.Delete(tones, at, at+1)
		default:
			return q, false
		}
	}
	return theory.QualityOf(tones)
}

// writeHarmony writes a chord symbol at an offset from the next note.
func (w *xmlWriter) writeHarmony(c theory.ChordSymbol, offset theory.Fraction) {
	w.line(3, `<harmony>`)
	if c.Text != "" {
		kind := "other"
		if c.Silent() {
			kind = "none"
		}
		w.line(4, `<root><root-step text="">C</root-step></root>`)
		w.line(4, `<kind text="%s">%s</kind>`, escape(c.Text), kind)
	} else {
		w.writeChord(c.Chord)
	}
	if offset.Num > 0 {
		w.line(4, `<offset>%d</offset>`, offset.Times(theory.Fraction{Num: divisions, Den: 1}).Num)
	}
	w.line(3, `</harmony>`)
}

func (w *xmlWriter) writeChord(c theory.Chord) {
	best, least := "", []string(nil)
	for i, k := range kinds {
		if degrees := degreesFrom(qualityOf(i), c.Quality); best == "" || len(degrees) < len(least) {
			best, least = k.name, degrees
		}
	}
	w.line(4, `<root><root-step>%s</root-step>%s</root>`, c.Root.Letter, xmlAlter("root", c.Root))
	w.line(4, `<kind text="%s">%s</kind>`, escape(c.Quality.ASCII()), best)
	if c.Bass != c.Root {
		w.line(4, `<bass><bass-step>%s</bass-step>%s</bass>`, c.Bass.Letter, xmlAlter("bass", c.Bass))
	}
	for _, d := range least {
		w.line(4, "%s", d)
	}
}

func xmlAlter(what string, n theory.Note) string {
	if n.Alter == 0 {
		return ""
	}
	return fmt.Sprintf("<%s-alter>%d</%s-alter>", what, n.Alter, what)
}

// degreesFrom returns the <degree>s that make a chord of one kind into another
// quality.
func degreesFrom(kind, q theory.Quality) (out []string) {
	degree := func(number, alter int, what string) {
		// The symbol shows them already.
		out = append(out, fmt.Sprintf(`<degree print-object="no"><degree-value>%d</degree-value><degree-alter>%d</degree-alter><degree-type>%s</degree-type></degree>`, number, alter, what))
	}
	has, want := kind.Tones(), q.Tones()
	for _, step := range []int{3, 5, 7, 2, 4, 6} {
		number := step
		if step%2 == 0 {
			number += 7
		}
		of := func(tones []theory.Degree) (alters []int) {
			for _, t := range tones {
				if t.Step == step {
					alters = append(alters, t.Alter)
				}
			}
			return alters
		}
		h, t := of(has), of(want)
		switch {
		case slices.Equal(h, t):
		case len(t) == 0:
			degree(number, 0, "subtract")
		case len(h) == 1:
			degree(number, t[0]-h[0], "alter")
			t = t[1:]
			fallthrough
		default:
			for _, alter := range t {
				if step == 7 {
					alter++
				}
				degree(number, alter, "add")
			}
		}
	}
	return out
}
