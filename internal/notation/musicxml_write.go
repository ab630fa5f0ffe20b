package notation

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"strings"

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
	bars, err := lay(s)
	if err != nil {
		return nil, err
	}
	for i, n := range s.Notes {
		if !n.Rest && (n.Pitch.Octave < 0 || n.Pitch.Octave > 9) {
			return nil, fmt.Errorf("%w: note %d: MusicXML has no octave %d", ErrNotation, i+1, n.Pitch.Octave)
		}
	}
	var b bytes.Buffer
	line := func(depth int, format string, args ...any) {
		b.WriteString(strings.Repeat("  ", depth))
		fmt.Fprintf(&b, format+"\n", args...)
	}
	line(0, `<?xml version="1.0" encoding="UTF-8"?>`)
	line(0, `<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">`)
	line(0, `<score-partwise version="4.0">`)
	if s.Title != "" {
		line(1, `<work><work-title>%s</work-title></work>`, escape(s.Title))
	}
	line(1, `<part-list><score-part id="P1"><part-name>Voice</part-name></score-part></part-list>`)
	line(1, `<part id="P1">`)
	slur := false
	for i, bar := range bars {
		number := i + 1
		implicit := ""
		if s.Start.Num > 0 && s.Meter.Valid() {
			if number--; i == 0 {
				implicit = ` implicit="yes"`
			}
		}
		line(2, `<measure number="%d"%s>`, number, implicit)
		if i == 0 || bar.newKey || bar.newMeter {
			line(3, `<attributes>`)
			if i == 0 {
				line(4, `<divisions>%d</divisions>`, divisions)
			}
			if bar.newKey {
				line(4, `<key><fifths>%d</fifths><mode>%s</mode></key>`, bar.key.Signature(), bar.key.Mode)
			}
			switch {
			case bar.newMeter:
				line(4, `<time><beats>%d</beats><beat-type>%d</beat-type></time>`, bar.meter.Beats, bar.meter.Unit)
			case i == 0:
				line(4, `<time><senza-misura/></time>`)
			}
			if i == 0 {
				clef := ClefFor(s)
				line(4, `<clef><sign>%s</sign><line>%d</line>%s</clef>`, map[bool]string{true: "F", false: "G"}[clef == Bass],
					map[bool]int{true: 4, false: 2}[clef == Bass], map[bool]string{true: "<clef-octave-change>-1</clef-octave-change>"}[clef == TrebleDown])
			}
			line(3, `</attributes>`)
		}
		if i == 0 && s.Tempo > 0 {
			pulse := theory.Fraction{Num: 1, Den: 1}
			if s.Meter.Valid() {
				pulse = s.Meter.Pulse()
			}
			value, dots, _, _ := valueOf(pulse)
			line(3, `<direction placement="above"><direction-type><metronome><beat-unit>%s</beat-unit>%s<per-minute>%g</per-minute></metronome></direction-type><sound tempo="%g"/></direction>`,
				valueNames[value], strings.Repeat("<beat-unit-dot/>", dots), s.Tempo, s.Tempo*pulse.Float())
		}
		written := signs{}
		for j, p := range bar.pieces {
			line(3, `<note>`)
			if p.Rest {
				line(4, `<rest/>`)
			} else {
				alter := ""
				if p.Pitch.Alter != 0 {
					alter = fmt.Sprintf("<alter>%d</alter>", p.Pitch.Alter)
				}
				line(4, `<pitch><step>%s</step>%s<octave>%d</octave></pitch>`, p.Pitch.Letter, alter, p.Pitch.Octave)
			}
			length := p.Length.Times(theory.Fraction{Num: divisions, Den: 1})
			line(4, `<duration>%d</duration>`, length.Num)
			ties := ""
			if p.from {
				line(4, `<tie type="stop"/>`)
				ties += `<tied type="stop"/>`
			}
			if p.to {
				line(4, `<tie type="start"/>`)
				ties += `<tied type="start"/>`
			}
			line(4, `<voice>1</voice>`)
			line(4, `<type>%s</type>%s`, valueNames[p.value], strings.Repeat("<dot/>", p.dots))
			if !p.Rest && written.write(bar.key, p) {
				if name := accidentalNames[p.Pitch.Alter]; name != "" {
					line(4, `<accidental>%s</accidental>`, name)
				}
			}
			if p.tuplet > 0 {
				line(4, `<time-modification><actual-notes>%d</actual-notes><normal-notes>%d</normal-notes></time-modification>`, p.tuplet, inTimeOf(p.tuplet))
			}
			for level := 1; p.beam > 0 && level <= flags(p.value); level++ {
				line(4, `<beam number="%d">%s</beam>`, level, bar.beam(j, level))
			}
			if p.opens {
				ties += `<tuplet type="start"/>`
			}
			if p.closes {
				ties += `<tuplet type="stop"/>`
			}
			first := !p.from && !p.Rest
			if slur && !p.to && !p.Slur {
				ties += `<slur number="1" type="stop"/>`
				slur = false
			}
			if first && s.Notes[p.note].Slur && !slur {
				ties += `<slur number="1" type="start"/>`
				slur = true
			}
			if ties != "" {
				line(4, `<notations>%s</notations>`, ties)
			}
			if p.Words != "" && !p.Rest {
				syllabic, word := "single", p.Words
				if w, ok := strings.CutSuffix(word, "-"); ok && w != "" {
					syllabic, word = "begin", w
				}
				line(4, `<lyric><syllabic>%s</syllabic><text>%s</text></lyric>`, syllabic, escape(word))
			}
			line(3, `</note>`)
		}
		if i == len(bars)-1 {
			line(3, `<barline location="right"><bar-style>light-heavy</bar-style></barline>`)
		}
		line(2, `</measure>`)
	}
	line(1, `</part>`)
	line(0, `</score-partwise>`)
	return b.Bytes(), nil
}

var accidentalNames = map[int8]string{-3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp", 3: "triple-sharp"}

// beam says what a beam of a level does at the i-th piece.
func (b *laidBar) beam(i, level int) string {
	has := func(j int) bool {
		return j >= 0 && j < len(b.pieces) && b.pieces[j].beam == b.pieces[i].beam && flags(b.pieces[j].value) >= level
	}
	same := func(j int) bool { return j >= 0 && j < len(b.pieces) && b.pieces[j].beam == b.pieces[i].beam }
	switch before, after := has(i-1), has(i+1); {
	case before && after:
		return "continue"
	case before:
		return "end"
	case after:
		return "begin"
	case same(i - 1):
		return "backward hook"
	default:
		return "forward hook"
	}
}

// compress writes compressed MusicXML.
func compress(s theory.Score) ([]byte, error) {
	score, err := writeMusicXML(s)
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
