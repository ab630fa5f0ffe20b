package notation

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"strings"

	"singback/internal/engrave"
	"singback/theory"
)

// divisions is how many parts a quarter note has in the files written, so that
// every length of a Score is a whole number of them.
const divisions = 960

var valueNames = map[int]string{0: "breve", 1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th", 128: "128th", 256: "256th"}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s))
	return b.String()
}

// writeMusicXML writes MusicXML 4.0, partwise.
func writeMusicXML(s theory.Score) ([]byte, error) {
	return writeMusicXMLParts([]Part{{Name: "Voice", Score: s}})
}

// writeMusicXMLParts writes a file of several parts, with the title of the first.
func writeMusicXMLParts(parts []Part) ([]byte, error) {
	all := xmlWriter{b: new(bytes.Buffer)}
	all.line(0, `<?xml version="1.0" encoding="UTF-8"?>`)
	all.line(0, `<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">`)
	all.line(0, `<score-partwise version="4.0">`)
	if title := parts[0].Score.Title; title != "" {
		all.line(1, `<work><work-title>%s</work-title></work>`, escape(title))
	}
	list := ""
	for i, p := range parts {
		list += fmt.Sprintf(`<score-part id="P%d"><part-name>%s</part-name></score-part>`, i+1, escape(p.Name))
	}
	all.line(1, `<part-list>%s</part-list>`, list)
	for i, p := range parts {
		bars, err := engrave.Lay(p.Score)
		if err != nil {
			return nil, err
		}
		for i, n := range p.Score.Notes {
			if !n.Rest && (n.Pitch.Octave < 0 || n.Pitch.Octave > 9) {
				return nil, fmt.Errorf("%w: note %d: MusicXML has no octave %d", ErrNotation, i+1, n.Pitch.Octave)
			}
		}
		w := xmlWriter{score: p.Score, over: p.Score.Symbols, clef: p.clef(), b: all.b}
		w.line(1, `<part id="P%d">`, i+1)
		for k := range bars {
			w.measure(bars, k)
		}
		w.line(1, `</part>`)
	}
	all.line(0, `</score-partwise>`)
	return all.b.Bytes(), nil
}

// xmlWriter writes the bars of a line.
type xmlWriter struct {
	score theory.Score
	clef  theory.Clef
	b     *bytes.Buffer
	slur  bool                 // one is open
	word  bool                 // another syllable of it follows
	over  []theory.ChordSymbol // that are not written yet
}

func (w *xmlWriter) line(depth int, format string, args ...any) {
	w.b.WriteString(strings.Repeat("  ", depth))
	fmt.Fprintf(w.b, format+"\n", args...)
}

// measure writes the i-th bar.
func (w *xmlWriter) measure(bars []engrave.Bar, i int) {
	bar := &bars[i]
	number, implicit := i+1, ""
	if w.score.Start.Num > 0 && w.score.Meter.Valid() {
		if number--; i == 0 {
			implicit = ` implicit="yes"`
		}
	}
	w.line(2, `<measure number="%d"%s>`, number, implicit)
	if i == 0 || bar.NewKey || bar.NewMeter {
		w.attributes(bar, i == 0)
	}
	if i == 0 && w.score.Tempo > 0 {
		pulse := engrave.Pulse(w.score.Meter)
		value, dots, _, _ := engrave.ValueOf(pulse)
		w.line(3, `<direction placement="above"><direction-type><metronome><beat-unit>%s</beat-unit>%s<per-minute>%g</per-minute></metronome></direction-type><sound tempo="%g"/></direction>`,
			valueNames[value], strings.Repeat("<beat-unit-dot/>", dots), w.score.Tempo, w.score.Tempo*pulse.Float())
	}
	written := engrave.Signs{}
	for j, p := range bar.Pieces {
		for end := p.At.Plus(p.Length); len(w.over) > 0 && w.over[0].At.Less(end); w.over = w.over[1:] {
			w.writeHarmony(w.over[0], w.over[0].At.Minus(p.At))
		}
		w.note(bar, j, written)
	}
	if i == len(bars)-1 {
		w.line(3, `<barline location="right"><bar-style>light-heavy</bar-style></barline>`)
	}
	w.line(2, `</measure>`)
}

// attributes writes key and meter where they are new, and in the first bar the
// clef.
func (w *xmlWriter) attributes(bar *engrave.Bar, first bool) {
	w.line(3, `<attributes>`)
	if first {
		w.line(4, `<divisions>%d</divisions>`, divisions)
	}
	if bar.NewKey {
		w.line(4, `<key><fifths>%d</fifths><mode>%s</mode></key>`, bar.Key.Signature(), bar.Key.Mode)
	}
	switch {
	case bar.NewMeter:
		w.line(4, `<time><beats>%d</beats><beat-type>%d</beat-type></time>`, bar.Meter.Beats, bar.Meter.Unit)
	case first:
		w.line(4, `<time><senza-misura/></time>`)
	}
	if first {
		clef := w.clef
		w.line(4, `<clef><sign>%s</sign><line>%d</line>%s</clef>`, map[bool]string{true: "F", false: "G"}[clef == theory.BassClef],
			map[bool]int{true: 4, false: 2}[clef == theory.BassClef], map[bool]string{true: "<clef-octave-change>-1</clef-octave-change>"}[clef == theory.TrebleDownClef])
	}
	w.line(3, `</attributes>`)
}

// note writes the j-th piece of a bar; written are the accidentals so far.
func (w *xmlWriter) note(bar *engrave.Bar, j int, written engrave.Signs) {
	p := bar.Pieces[j]
	w.line(3, `<note>`)
	if p.Rest {
		w.line(4, `<rest/>`)
	} else {
		alter := ""
		if p.Pitch.Alter != 0 {
			alter = fmt.Sprintf("<alter>%d</alter>", p.Pitch.Alter)
		}
		w.line(4, `<pitch><step>%s</step>%s<octave>%d</octave></pitch>`, p.Pitch.Letter, alter, p.Pitch.Octave)
	}
	length := p.Length.Times(theory.Fraction{Num: divisions, Den: 1})
	w.line(4, `<duration>%d</duration>`, length.Num)
	if p.TiedFrom {
		w.line(4, `<tie type="stop"/>`)
	}
	if p.TiedTo {
		w.line(4, `<tie type="start"/>`)
	}
	w.line(4, `<voice>1</voice>`)
	w.line(4, `<type>%s</type>%s`, valueNames[p.Value], strings.Repeat("<dot/>", p.Dots))
	if !p.Rest && written.Write(bar.Key, p) {
		if name := accidentalNames[p.Pitch.Alter]; name != "" {
			w.line(4, `<accidental>%s</accidental>`, name)
		}
	}
	if p.Tuplet > 0 {
		w.line(4, `<time-modification><actual-notes>%d</actual-notes><normal-notes>%d</normal-notes></time-modification>`, p.Tuplet, engrave.InTimeOf(p.Tuplet))
	}
	for level := 1; p.Beam > 0 && level <= engrave.Flags(p.Value); level++ {
		w.line(4, `<beam number="%d">%s</beam>`, level, beamAt(bar, j, level))
	}
	if text := w.notations(p); text != "" {
		w.line(4, `<notations>%s</notations>`, text)
	}
	if p.Words != "" && !p.Rest {
		word, goesOn := strings.CutSuffix(p.Words, "-")
		if word == "" {
			word, goesOn = p.Words, false
		}
		syllabic := map[[2]bool]string{{false, false}: "single", {false, true}: "begin", {true, true}: "middle", {true, false}: "end"}[[2]bool{w.word, goesOn}]
		w.word = goesOn
		w.line(4, `<lyric number="1"><syllabic>%s</syllabic><text>%s</text></lyric>`, syllabic, escape(word))
	}
	w.line(3, `</note>`)
}

// notations returns what joins a piece to its neighbours: ties, tuplets, slurs.
func (w *xmlWriter) notations(p engrave.Piece) string {
	text := ""
	if p.TiedFrom {
		text += `<tied type="stop"/>`
	}
	if p.TiedTo {
		text += `<tied type="start"/>`
	}
	if p.Opens {
		text += `<tuplet type="start"/>`
	}
	if p.Closes {
		text += `<tuplet type="stop"/>`
	}
	first := !p.TiedFrom && !p.Rest
	if w.slur && !p.TiedTo && !p.Slur {
		text += `<slur number="1" type="stop"/>`
		w.slur = false
	}
	if first && w.score.Notes[p.Note].Slur && !w.slur {
		text += `<slur number="1" type="start"/>`
		w.slur = true
	}
	return text
}

var accidentalNames = map[int8]string{-3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp", 3: "triple-sharp"}

// beamAt says what a beam of a level does at the i-th piece.
func beamAt(b *engrave.Bar, i, level int) string {
	switch before, after := b.Joins(i, i-1, level), b.Joins(i, i+1, level); {
	case before && after:
		return "continue"
	case before:
		return "end"
	case after:
		return "begin"
	case b.Backward(i, level):
		return "backward hook"
	default:
		return "forward hook"
	}
}

// compress writes compressed MusicXML.
func compress(score []byte, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range []struct {
		name string
		data []byte
	}{
		{"META-INF/container.xml", []byte(`<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>
  </rootfiles>
</container>
`)},
		{"score.musicxml", score},
	} {
		w, err := z.Create(f.name)
		if err == nil {
			_, err = w.Write(f.data)
		}
		if err != nil {
			return nil, err
		}
	}
	err = z.Close()
	return b.Bytes(), err
}
