package notation

import (
	"fmt"
	"math"
	"strings"

	"singback/internal/engrave"
	"singback/theory"
)

// barsALine is how many bars stand on a line of a written file.
const barsALine = 4

// writeABC writes ABC 2.1.
func writeABC(s theory.Score) ([]byte, error) {
	return writeABCParts([]Part{{Score: s}})
}

// writeABCParts writes a tune of several voices, with title, meter, tempo and key of the
// first; one alone has no name.
func writeABCParts(parts []Part) ([]byte, error) {
	s := parts[0].Score
	var b strings.Builder
	b.WriteString("%abc-2.1\nX:1\n")
	fmt.Fprintf(&b, "T:%s\n", strings.Join(strings.Fields(strings.ReplaceAll(s.Title, "%", `\%`)), " "))
	fmt.Fprintf(&b, "M:%s\n", abcMeterOf(s.Meter))
	b.WriteString("L:1/8\n")
	if s.Tempo > 0 {
		pulse := engrave.Pulse(s.Meter)
		beat := pulse.Over(four)
		fmt.Fprintf(&b, "Q:%d/%d=%g\n", beat.Num, beat.Den, math.Round(s.Tempo*1000)/1000)
	}
	if len(parts) > 1 {
		for i, p := range parts {
			fmt.Fprintf(&b, "V:%d name=\"%s\" clef=%s\n", i+1, abcName.Replace(p.Name), p.clef())
		}
	}
	fmt.Fprintf(&b, "K:%s\n", abcKey(s.Key))
	for i, p := range parts {
		if len(parts) > 1 {
			fmt.Fprintf(&b, "V:%d\n", i+1)
			if p.Score.Key != s.Key {
				fmt.Fprintf(&b, "[K:%s]", abcKey(p.Score.Key))
			}
			if p.Score.Meter != s.Meter {
				fmt.Fprintf(&b, "[M:%s]", abcMeterOf(p.Score.Meter))
			}
		}
		if err := writeABCVoice(&b, p.Score); err != nil {
			return nil, err
		}
	}
	return []byte(b.String()), nil
}

func abcMeterOf(m theory.Meter) string {
	if m.Valid() {
		return m.String()
	}
	return "none"
}

// abcName writes a name without the signs that end it, or begin a comment.
var abcName = strings.NewReplacer(`"`, "'", "%", "", "\\", "")

// writeABCVoice writes the music of a line.
func writeABCVoice(b *strings.Builder, s theory.Score) error {
	bars, err := engrave.Lay(s)
	if err != nil {
		return err
	}
	words, slurs := false, 0
	for _, n := range s.Notes {
		words = words || n.Words != "" && !n.Rest
	}
	over := s.Symbols // that are not written yet
	var line []string // the words below the line of music
	flush := func() {
		if words {
			fmt.Fprintf(b, "\nw: %s", strings.Join(line, " "))
		}
		b.WriteString("\n")
		line = line[:0]
	}
	for i, bar := range bars {
		if i > 0 && bar.NewKey {
			fmt.Fprintf(b, "[K:%s]", abcKey(bar.Key))
		}
		if i > 0 && bar.NewMeter {
			fmt.Fprintf(b, "[M:%s]", bar.Meter)
		}
		bar.Pieces = cutAt(bar.Pieces, over)
		for j, p := range bar.Pieces {
			if j > 0 && (p.Beam == 0 || p.Beam != bar.Pieces[j-1].Beam) {
				b.WriteString(" ")
			}
			if p.Opens {
				n := 0
				for _, q := range bar.Pieces[j:] {
					if n++; q.Closes {
						break
					}
				}
				fmt.Fprintf(b, "(%d:%d:%d", p.Tuplet, engrave.InTimeOf(p.Tuplet), n)
			}
			for ; len(over) > 0 && !p.At.Less(over[0].At); over = over[1:] {
				b.WriteString(`"` + abcSymbol.Replace(over[0].ASCII()) + `"`)
			}
			length := p.Length.Times(theory.Fraction{Num: 2, Den: 1})
			if p.Tuplet > 0 {
				length = length.Times(theory.NewFraction(p.Tuplet, engrave.InTimeOf(p.Tuplet)))
			}
			if p.Rest {
				b.WriteString("z" + abcLength(length))
				continue
			}
			if s.Notes[p.Note].Slur && slurs == 0 && !p.TiedFrom {
				b.WriteString("(")
				slurs++
			}
			b.WriteString(abcPitch(p.Pitch, accidentalBefore(&bar, j)) + abcLength(length))
			if p.TiedTo {
				b.WriteString("-")
			} else if slurs > 0 && !p.Slur {
				b.WriteString(")")
				slurs--
			}
			switch {
			case p.TiedFrom:
				line = append(line, "_")
			case p.Words == "":
				line = append(line, "*")
			default:
				line = append(line, abcSyllable(strings.Join(strings.Fields(p.Words), " ")))
			}
		}
		switch {
		case i == len(bars)-1:
			b.WriteString(" |]")
			flush()
		case (i+1)%barsALine == 0:
			b.WriteString(" |")
			flush()
		default:
			b.WriteString(" | ")
		}
	}
	return nil
}

// abcSymbol writes a chord symbol without the sign that ends it, or begins a comment.
var abcSymbol = strings.NewReplacer(`"`, "'", "%", `\%`)

// cutAt cuts pieces where chord symbols stand within them: ABC has them before
// notes only. The parts of a note are tied.
func cutAt(pieces []engrave.Piece, symbols []theory.ChordSymbol) []engrave.Piece {
	var out []engrave.Piece
	for _, p := range pieces {
		end := p.At.Plus(p.Length)
		for len(symbols) > 0 && symbols[0].At.Less(end) {
			at := symbols[0].At
			symbols = symbols[1:]
			if !p.At.Less(at) {
				continue
			}
			before := p
			before.Length, before.TiedTo, before.Slur, before.Closes = at.Minus(p.At), !p.Rest, false, false
			p.At, p.Length, p.TiedFrom, p.Opens, p.Words = at, end.Minus(at), !p.Rest, false, ""
			out = append(out, before)
		}
		out = append(out, p)
	}
	return out
}

// abcWords writes words without the signs that mean something below notes.
var abcWords = strings.NewReplacer(" ", "~", "-", `\-`, "_", `\_`, "*", `\*`, "|", `\|`, "%", `\%`)

// abcSyllable writes a syllable; the hyphen behind one that goes on is the sign for it.
func abcSyllable(s string) string {
	if head, ok := strings.CutSuffix(s, "-"); ok && head != "" && !strings.HasSuffix(head, "-") {
		return abcWords.Replace(head) + "-"
	}
	return abcWords.Replace(s)
}

// accidentalBefore reports whether an accidental is written before a note: wherever a
// reader could think of another one, whether it takes an accidental to hold for
// its octave or for all.
func accidentalBefore(b *engrave.Bar, i int) bool {
	p := b.Pieces[i]
	if p.Pitch.Alter != engrave.Own(b.Key, p.Pitch.Letter) {
		return true
	}
	for _, q := range b.Pieces[:i] {
		if !q.Rest && q.Pitch.Letter == p.Pitch.Letter && q.Pitch.Alter != p.Pitch.Alter {
			return true
		}
	}
	return false
}

func abcKey(k theory.Key) string {
	mode := map[theory.Mode]string{theory.Major: "", theory.Minor: "m", theory.Dorian: "dor", theory.Phrygian: "phr", theory.Lydian: "lyd",
		theory.Mixolydian: "mix", theory.Locrian: "loc"}[k.Mode]
	return k.Tonic.ASCII() + mode
}

func abcPitch(p theory.Pitch, accidental bool) string {
	sign := ""
	if accidental {
		switch n := int(p.Alter); {
		case n > 0:
			sign = strings.Repeat("^", n)
		case n < 0:
			sign = strings.Repeat("_", -n)
		default:
			sign = "="
		}
	}
	letter := p.Letter.String()
	if p.Octave >= 5 {
		return sign + strings.ToLower(letter) + strings.Repeat("'", p.Octave-5)
	}
	return sign + letter + strings.Repeat(",", 4-p.Octave)
}

func abcLength(f theory.Fraction) string {
	switch {
	case f == one:
		return ""
	case f.Den == 1:
		return fmt.Sprint(f.Num)
	}
	return fmt.Sprintf("%d/%d", f.Num, f.Den)
}
