package choir

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"singback/internal/report"
	"singback/theory"
)

func median(x []float64) float64 {
	x = slices.Clone(x)
	slices.Sort(x)
	if n := len(x); n%2 == 0 {
		return (x[n/2-1] + x[n/2]) / 2
	}
	return x[len(x)/2]
}

// Style writes about a choir.
type Style struct{ report.Style }

// midi names a MIDI number, which may lie between two keys, as a pitch of a key.
func (s Style) midi(k theory.Key, m float64) string {
	low := int(math.Floor(m))
	name := func(midi int) string { return s.Pitch(pitchIn(k, midi)) }
	if float64(low) == m {
		return name(low)
	}
	return name(low) + "/" + name(low+1)
}

// pitchIn spells a MIDI number in a key: a note of its scale, else without a sign, else with
// the kind of sign that the key has.
func pitchIn(k theory.Key, midi int) theory.Pitch {
	var notes []theory.Note
	for _, d := range k.ScaleDegrees() {
		notes = append(notes, k.Note(d))
	}
	sign := int8(1)
	if k.Signature() < 0 {
		sign = -1
	}
	for _, alter := range []int8{0, sign} {
		for l := theory.C; l <= theory.B; l++ {
			notes = append(notes, theory.Note{Letter: l, Alter: alter})
		}
	}
	for _, n := range notes {
		p := theory.Pitch{Note: n}
		if above := midi - p.MIDI(); above%12 == 0 {
			p.Octave = above / 12
			return p
		}
	}
	return theory.Pitch{} // the twelve are among them
}

// way says a move in words.
func way(semitones int) string {
	switch {
	case semitones > 0:
		return report.Many(semitones, "semitone") + " up"
	case semitones < 0:
		return report.Many(-semitones, "semitone") + " down"
	}
	return "as it is"
}

// Choir says what the parts are, what lies outside, and which key suits them.
func (s Style) Choir(c Choir) string {
	var b strings.Builder
	title := c.Title()
	if title != "" {
		title += ", "
	}
	fmt.Fprintf(&b, "%s%s, %s\n\n", title, s.Key(c.Key()), report.Many(len(c.Parts), "part"))
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "part\tclef\trange\tmedian\tusual\toutside")
	supposed := false
	for i, p := range c.Parts {
		clef, usual := p.Clef, report.PitchName(p.Voice.Range.Low)+"-"+report.PitchName(p.Voice.Range.High)
		if clef == "" {
			clef = "-"
		}
		if p.Supposed {
			usual += " (" + p.Voice.Name + "?)"
			supposed = true
		}
		fmt.Fprintf(w, "%d %s\t%s\t%s-%s\t%s\t%s\t%s\n", i+1, p.Name, clef, s.Pitch(p.Reach.Low), s.Pitch(p.Reach.High), s.midi(c.Key(), p.Reach.Median), usual, s.outside(p.Outside()))
	}
	w.Flush()
	b.WriteString("\nMedian: half of the time is sung above it, half below. Usual: the ranges that\nhandbooks of choral writing give; they differ by a step or two.\n")
	if supposed {
		b.WriteString("?: the name says no voice; it is the one that sings where the part lies.\n")
	}
	b.WriteString("\n" + s.moves(c))
	return trimmed(b.String())
}

// trimmed is a text without the blanks that tables leave at the ends of lines.
func trimmed(text string) string {
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// outside says what of a part lies outside, and where.
func (s Style) outside(b Beyond) string {
	if b.Notes == 0 {
		return "nothing"
	}
	var names []string
	for _, p := range b.Pitches {
		names = append(names, s.Pitch(p))
	}
	if len(names) > 4 {
		names = append(names[:4], "…")
	}
	text := report.Many(b.Notes, "note") + ": " + strings.Join(names, " ")
	if b.Above > 0 {
		text += fmt.Sprintf(", %d above", b.Above)
	}
	if b.Below > 0 {
		text += fmt.Sprintf(", %d below", b.Below)
	}
	if len(b.Bars) > 0 {
		var bars []string
		for _, n := range b.Bars {
			bars = append(bars, fmt.Sprint(n))
		}
		if len(bars) > 6 {
			bars = append(bars[:6], "…")
		}
		text += "; bar" + map[bool]string{len(b.Bars) > 1: "s"}[true] + " " + strings.Join(bars, " ")
	}
	return text
}

// moves says which keys there are and which is best.
func (s Style) moves(c Choir) string {
	var b strings.Builder
	moves, best := c.Moves()
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "move\tkey\tnotes outside\tmedian of "+c.Parts[0].Name+"\t")
	for i, m := range moves {
		if m.Semitones < -keepsCharacter || m.Semitones > keepsCharacter {
			continue
		}
		notes, sign := 0, ""
		for _, o := range m.Outside {
			notes += o.Notes
		}
		if i == best {
			sign = "best"
		}
		fmt.Fprintf(w, "%+d\t%s\t%d\t%s\t%s\n", m.Semitones, s.Key(m.Key), notes, s.midi(m.Key, m.Median), sign)
	}
	w.Flush()
	text := strings.ReplaceAll(b.String(), "\n+0 ", "\n0  ")
	b.Reset()
	m := moves[best]
	fmt.Fprintf(&b, "\nFor the whole choir: %s, %s.", s.Key(m.Key), way(m.Semitones))
	if !m.Fits() {
		var lack []string
		if m.Weight > 0 {
			lack = append(lack, "notes lie outside even so")
		}
		if m.Far > 0 {
			lack = append(lack, fmt.Sprintf("the median of %s is %g semitones away from where it lies well", c.Parts[0].Name, m.Far))
		}
		fmt.Fprintf(&b, " Within 3 semitones\nnothing fits better: %s.", strings.Join(lack, ", and "))
		for _, o := range moves {
			if o.Fits() {
				fmt.Fprintf(&b, "\n%s, %s, would fit, and be another character.", s.Key(o.Key), way(o.Semitones))
				break
			}
		}
	}
	b.WriteString("\nThis is advice of practice: nothing outside, the median of the tune from F4 to A4\n(men: F3 to A3), at most 3 semitones from print.\n")
	if f := c.Parts[0]; f.Voice.Name == "soprano" || f.Supposed {
		tune := beyond(f.Score, Congregation, 0)
		fmt.Fprintf(&b, "For everybody to sing, print advises A3 to D5 for the tune: ")
		switch {
		case tune.Notes == 0:
			b.WriteString("it lies within.\n")
		default:
			fmt.Fprintf(&b, "%s.\n", s.outside(Beyond{Notes: tune.Notes, Pitches: tune.Pitches, Above: tune.Above, Below: tune.Below}))
		}
	}
	return text + b.String()
}

// Tuned is a table of how notes lay in the chords that sounded.
func (s Style) Tuned(part string, heard bool, notes []Tuned) string {
	var b strings.Builder
	if heard {
		fmt.Fprintf(&b, "%s against the others, in cents from what sounded:\n\n", part)
	} else {
		fmt.Fprintf(&b, "%s in its chords, in cents from your own key:\n\n", part)
	}
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "note\tbar\twritten\tchord\tequal\tin the chord\tpure is")
	for i, n := range notes {
		bar, chord, equal, pure, at := "", "-", "-", "-", "-"
		if n.Bar >= 0 {
			bar = fmt.Sprint(n.Bar)
		}
		if n.HasChord {
			if chord = n.Chord.ASCII(); !s.ASCII {
				chord = n.Chord.String()
			}
		}
		if n.HasPure {
			at = signed(n.Pure)
		}
		if n.Sung {
			equal = signed(n.FromEqual)
			if n.HasPure {
				pure = signed(n.FromChord)
			}
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\t%s\n", i+1, bar, s.Pitch(n.Pitch), chord, equal, pure, at)
	}
	w.Flush()
	sum := sums(notes)
	if sum.MedianCents != nil && heard {
		fmt.Fprintf(&b, "\nAll in all %s cents from the others (median).", signed(*sum.MedianCents))
	}
	if sum.Compared > 0 {
		fmt.Fprintf(&b, "\nOf %s with a pure pitch: %.1f cents from equal temperament on average, %.1f from the\nchord's. A pure major third lies 14 cents below the equal one, a minor one 16 above, a\nfifth 2 above.\n",
			report.Many(sum.Compared, "note"), *sum.MeanEqualCents, *sum.MeanChordCents)
	} else {
		b.WriteString("\n")
	}
	return trimmed(b.String())
}

func signed(c theory.Cents) string { return fmt.Sprintf("%+.0f", math.Round(c)+0) }
