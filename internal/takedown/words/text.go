package words

import (
	"fmt"
	"math"
	"strings"

	"singback/internal/report"
	"singback/internal/takedown"
	"singback/theory"
)

// Cents says how far above or below something lies.
func Cents(c theory.Cents) string {
	n := int(math.Round(float64(c)))
	switch {
	case n > 0:
		return fmt.Sprintf("%d cents sharp", n)
	case n < 0:
		return fmt.Sprintf("%d cents flat", -n)
	}
	return "in tune"
}

// HomeText says which note the home is.
func HomeText(s report.Style, h takedown.Home, a4 float64) string {
	midi, off := h.Pitch(a4)
	p := theory.Pitch{Note: h.Key(a4, theory.Major).Tonic}
	p.Octave = (midi - p.MIDI()) / 12
	return fmt.Sprintf("%s, %s (A4 = %g Hz)", s.Pitch(p), Cents(off), a4)
}

// Findings says in lines how the home and the mode were found, how far the singer
// drifted, and how much is not clear.
func (h Heard) Findings(s report.Style) (lines []string) {
	k := h.Taken.Key
	note, off := h.Note()
	switch h.By {
	case "first":
		lines = append(lines, fmt.Sprintf("Home, as it was sung: %s, so the chart is in %s.", HomeText(s, h.Taken.Home, h.A4), s.Key(k)))
		if d := int(math.Round(float64(off))); d > 50 || d < -50 {
			lines[0] = fmt.Sprintf("Home, as it was sung: %s; the chart is in %s, as you say, which lies %d cents away.", HomeText(s, h.Taken.Home, h.A4), s.Key(k), -d)
		}
	case "find":
		lines = append(lines, fmt.Sprintf("Home was found, not sung: %s, %s.", s.Key(k), h.sure(s)))
	default:
		lines = append(lines, fmt.Sprintf("Home, from the key that you name: %s; %s is %s (A4 = %g Hz).", s.Key(k), s.Pitch(note), Cents(off), h.A4))
	}
	if t := h.Taken; t.Major != 0 || t.Minor != 0 {
		fit := fmt.Sprintf("(fit %.2f in major, %.2f in minor)", t.Major, t.Minor)
		if t.Doubtful() {
			lines = append(lines, fmt.Sprintf("The notes hardly tell major from minor %s: %s is a guess; --mode says which.", fit, k.Mode))
		} else {
			lines = append(lines, fmt.Sprintf("The notes are %s %s.", k.Mode, fit))
		}
	}
	if end, most := h.Taken.Drifted(); math.Abs(float64(most)) >= 15 {
		lines = append(lines, fmt.Sprintf("You drifted: at the end home was %s of where it was sung; at most %.0f cents away. It was followed.", Cents(end), math.Abs(float64(most))))
	}
	unclear := 0
	for _, n := range h.Taken.Notes {
		if n.Unclear != takedown.Clear {
			unclear++
		}
	}
	if unclear > 0 {
		lines = append(lines, fmt.Sprintf("%s not clear and marked ?.", areNotes(unclear)))
	}
	return lines
}

func areNotes(n int) string {
	if n == 1 {
		return "1 note is"
	}
	return fmt.Sprintf("%d notes are", n)
}

// margin is how much better than the next key one must fit to be called sure, and
// vague how well notes must agree about where the semitones lie: see
// report.KeyProposals.
const (
	margin = 0.1
	vague  = 0.5
)

// sure says how sure the key is.
func (h Heard) sure(s report.Style) string {
	if len(h.Keys) < 2 {
		return "the only one that fits"
	}
	best, next := h.Keys[0], h.Keys[1]
	text := fmt.Sprintf("fit %.2f, next %s with %.2f", best.Score, s.Key(next.Key), next.Score)
	switch {
	case h.Agree < vague:
		text += ": a guess, for the notes do not agree where the semitones lie"
	case best.Score-next.Score < margin:
		text += ": a guess; --key says what it is"
	default:
		text += ": fairly sure"
	}
	return text
}

// Alternatives are remarks for the end of a chart: what else each chord could be.
// Chords is what chords are called.
func (h Heard) Alternatives(s report.Style, chord func(theory.Roman) string) string {
	if h.Style == nil || len(h.Laid.Chords) == 0 {
		return ""
	}
	var b strings.Builder
	from := "counted in"
	if h.Style.Judged() {
		from = "by"
	}
	b.WriteString(remark(fmt.Sprintf("What the chords can be, in the style %s, %s %s:", h.Style, from, h.Style.Source())))
	for i, p := range h.Laid.Chords {
		where := fmt.Sprintf("%d", i+1)
		if bar, beat := h.place(p.At); bar != nil {
			where = fmt.Sprintf("%d:%g", *bar, *beat)
		}
		if p.Text != "" {
			fmt.Fprintf(&b, "# %-6s ?\n", where)
			continue
		}
		fmt.Fprintf(&b, "# %-6s %-4s %s %s", where, s.Names.NameASCII(h.Taken.Key, p.Bass), chord(p.Roman), percent(p.P))
		for k, o := range others(p) {
			sign := ","
			if k == 0 {
				sign = "; or"
			}
			fmt.Fprintf(&b, "%s %s %s", sign, chord(o.Roman), percent(o.P))
		}
		b.WriteByte('\n')
	}
	return "\n" + b.String()
}

// remark writes text as remarks of a chart, in lines that fit.
func remark(text string) string {
	var b strings.Builder
	line := "#"
	for word := range strings.FieldsSeq(text) {
		if len(line)+1+len(word) > 80 {
			b.WriteString(line + "\n")
			line = "#"
		}
		line += " " + word
	}
	return b.String() + line + "\n"
}

func percent(p float64) string {
	n := int(math.Round(100 * p))
	if n >= 100 && p < 1-1e-9 {
		n = 99
	}
	return fmt.Sprintf("%d %%", max(1, n))
}
