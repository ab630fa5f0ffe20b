package notation

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"singback/internal/plain"
	"singback/theory"
)

// Part is one of the lines that a file holds: what one singer reads.
type Part struct {
	ID    string // as Options.Voice has it: "2", "P1:2"; a line of a voice with chords has its number behind a point
	Name  string // Soprano, or what the file says
	Clef  string // "treble", "treble-8", "bass", or as the file says; "" where it says none
	Score theory.Score
	// Warnings are about this part alone.
	Warnings []Warning
}

// tone is a note of a chord beside the first.
type tone struct {
	pitch theory.Pitch
	tied  bool
}

// Limits of the lines of a file: of one voice with chords, and of all.
const (
	maxLines = 4
	maxParts = 64
)

// ReadParts reads every line of a file, from the first to the last: parts, voices
// that share a staff, and the notes of chords, of which each makes a line of its own.
// What was done so is told in the warnings. o.Voice chooses nothing.
func ReadParts(name string, data io.Reader, o Options) ([]Part, []Warning, error) {
	b, err := io.ReadAll(io.LimitReader(data, MaxFile+1))
	if err != nil {
		return nil, nil, fmt.Errorf("read %s: %w", name, err)
	}
	parts, warnings, err := parseParts(name, b, o)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, bounded(err))
	}
	return parts, warnings, nil
}

func parseParts(name string, b []byte, o Options) ([]Part, []Warning, error) {
	if len(b) > MaxFile {
		return nil, nil, fmt.Errorf("%w: more than %d MiB", ErrNotation, MaxFile>>20)
	}
	text, _, err := fromUTF16(b)
	if err != nil {
		return nil, nil, err
	}
	r := &partsReader{options: o}
	format := detect(name, text)
	if err := o.oneTune(format); err != nil {
		return nil, nil, err
	}
	switch format {
	case MIDI:
		err = r.midi(b)
	case CompressedMusicXML:
		if b, err = uncompressed(b); err == nil {
			err = r.musicXML(b)
		}
	case MusicXML:
		err = r.musicXML(b)
	case ABC:
		err = r.abc(undeclared(text))
	default:
		one := &reading{options: o}
		var s theory.Score
		if s, err = one.names(undeclared(text)); err == nil {
			r.warnings = one.warnings
			err = r.add(Part{ID: "1", Score: s})
		}
	}
	if err != nil {
		return nil, nil, err
	}
	if len(r.parts) == 0 {
		return nil, nil, fmt.Errorf("%w: it has no notes", ErrNotation)
	}
	r.name()
	return r.parts, r.warnings, nil
}

// partsReader collects the parts of a file.
type partsReader struct {
	options  Options
	parts    []Part
	warnings []Warning
	more     bool
}

// reading begins to read one line.
func (r *partsReader) reading() *reading {
	o := r.options
	o.Voice = ""
	return &reading{options: o, all: true}
}

// add adds a part that has notes.
func (r *partsReader) add(p Part) error {
	if !sings(p.Score) {
		return nil
	}
	if err := p.Score.Validate(); err != nil {
		return fmt.Errorf("%w: part %s: %w", ErrNotation, quote(p.ID), err)
	}
	if len(r.parts) == maxParts {
		if !r.more {
			r.warnings = append(r.warnings, Warning(fmt.Sprintf("of its lines the first %d are read", maxParts)))
		}
		r.more = true
		return nil
	}
	p.Score.Title, p.Name = plain.Line(p.Score.Title), plain.Line(strings.Join(strings.Fields(p.Name), " "))
	for i := range p.Score.Notes {
		p.Score.Notes[i].Words = plain.Line(p.Score.Notes[i].Words)
	}
	r.parts = append(r.parts, p)
	return nil
}

// say notes something about the file.
func (r *partsReader) say(format string, args ...any) {
	w := Warning(plain.Line(fmt.Sprintf(format, args...)))
	if !slices.Contains(r.warnings, w) {
		r.warnings = append(r.warnings, w)
	}
}

// voiceBars is a voice of a file as bars, before its chords are divided.
type voiceBars struct {
	id, name, clef string
	bars           []bar
	line           func([]bar) (theory.Score, error)
	reading        *reading
	shared         bool // the reading is that of all voices
}

// divide adds a voice, or the lines that its chords make.
func (r *partsReader) divide(v voiceBars) error {
	most := 0
	for _, b := range v.bars {
		for _, n := range b.notes {
			if !n.Rest {
				most = max(most, 1+len(n.also))
			}
		}
	}
	if most == 0 {
		return nil
	}
	lines := min(most, maxLines)
	names := splitName(v.name, lines)
	if lines > 1 {
		r.say("the chords of %s are read as %d lines, from high to low; where it has one note all of them sing it", quote(nameOr(v.name, v.id)), lines)
	}
	if most > maxLines {
		r.say("%s has chords of %d notes: %d lines of them are read", quote(nameOr(v.name, v.id)), most, lines)
	}
	for j := range lines {
		before := len(v.reading.warnings)
		v.reading.warned = nil
		s, err := v.line(pick(v.bars, j, lines))
		if err != nil {
			return err
		}
		from := 0
		if v.shared {
			from = before
		}
		p := Part{ID: v.id, Name: names[j], Clef: v.clef, Score: s, Warnings: slices.Clone(v.reading.warnings[from:])}
		v.reading.warnings = v.reading.warnings[:before]
		if lines > 1 {
			p.ID = fmt.Sprintf("%s.%d", v.id, j+1)
		}
		if err := r.add(p); err != nil {
			return err
		}
	}
	return nil
}

func nameOr(name, id string) string {
	if name == "" {
		return id
	}
	return name
}

// pick returns bars with the line j of so many, from high to low, of each chord: of a
// chord of fewer notes the outer lines have the outer ones.
func pick(bars []bar, j, lines int) []bar {
	out := slices.Clone(bars)
	for i := range out {
		out[i].notes = slices.Clone(out[i].notes)
		for k := range out[i].notes {
			n := &out[i].notes[k]
			if n.Rest || len(n.also) == 0 {
				continue
			}
			tones := append([]tone{{n.Pitch, n.tied}}, n.also...)
			slices.SortStableFunc(tones, func(a, b tone) int { return b.pitch.MIDI() - a.pitch.MIDI() })
			at := 0
			if lines > 1 {
				at = (j*(len(tones)-1) + (lines-1)/2) / (lines - 1)
			}
			n.Pitch, n.tied, n.also = tones[at].pitch, tones[at].tied, nil
		}
	}
	return out
}

// musicXML reads all voices of all parts.
func (r *partsReader) musicXML(b []byte) error {
	head, parts, err := survey(b)
	if err != nil {
		return err
	}
	for i, sp := range parts {
		var voices []voiceBars
		var staffs []string
		for k, v := range sp.voices {
			if !v.notes || len(voices) > maxParts {
				continue
			}
			one, p := r.reading(), &xmlPart{id: sp.id, divisions: 1, said: map[string]bool{}, voice: v.names[0]}
			if err := one.xmlPartOf(b, i, p); err != nil {
				return err
			}
			voices = append(voices, voiceBars{
				id: sp.id + ":" + v.names[0], name: sp.name, clef: sp.clefs[sp.staffs[k]], bars: p.bars, reading: one,
				line: func(bars []bar) (theory.Score, error) { return one.xmlLine(head, p, bars) },
			})
			staffs = append(staffs, sp.staffs[k])
		}
		r.unison(voices, staffs)
		if len(voices) == 1 {
			voices[0].id = sp.id
		} else if len(voices) > 1 {
			names := splitName(sp.name, len(voices))
			r.say("%s has %d voices: each is a part", quote(nameOr(sp.name, sp.id)), len(voices))
			for k := range voices {
				voices[k].name = names[k]
			}
		}
		for _, v := range voices {
			if err := r.divide(v); err != nil {
				return err
			}
		}
	}
	return nil
}

// unison has a voice sing what the first voice of its staff does in bars where nothing
// of it is written: where two voices share a staff, one stem is for both.
func (r *partsReader) unison(voices []voiceBars, staffs []string) {
	for k := range voices {
		first := slices.Index(staffs, staffs[k])
		if first == k {
			continue
		}
		bars := 0
		for i := range voices[k].bars {
			if i < len(voices[first].bars) && voices[k].bars[i].unwritten && voices[first].bars[i].sings() {
				voices[k].bars[i].notes = slices.Clone(voices[first].bars[i].notes)
				bars++
			}
		}
		if bars > 0 {
			r.say("voice %s is not written in %d bars: there it sings with the first voice of its staff", quote(voices[k].id), bars)
		}
	}
}

// addClef notes the first clef of a staff.
func (p *surveyed) addClef(n *xmlNode) {
	staff := n.attr("number")
	if staff == "" {
		staff = "1"
	}
	if _, ok := p.clefs[staff]; ok || len(p.clefs) > maxVoices {
		return
	}
	if p.clefs == nil {
		p.clefs = map[string]string{}
	}
	clef := strings.ToUpper(n.text("sign")) + n.text("line")
	switch change := n.text("clef-octave-change"); {
	case clef == "G2" || clef == "G":
		clef = "treble"
		if change == "-1" {
			clef = "treble-8"
		}
	case clef == "F4" || clef == "F":
		clef = "bass"
	case clef == "C3":
		clef = "alto"
	case clef == "C4":
		clef = "tenor"
	}
	p.clefs[staff] = plain.Short(clef)
}

// abc reads all voices of the first tune, and those behind an &.
func (r *partsReader) abc(text string) error {
	one := r.reading()
	a, err := one.abcTune(text)
	if err != nil {
		return err
	}
	var second *abcReader
	if slices.ContainsFunc(a.voices, func(v *abcVoice) bool { return v.over2 }) {
		two := r.reading()
		two.overlay = true
		if second, err = two.abcTune(text); err != nil {
			return err
		}
		two.warnings = nil // what the first reading said
	}
	for i, v := range a.voices {
		name := ""
		if len(v.names) > 0 {
			name = v.names[0]
		}
		clef := v.clef
		if clef == "" {
			clef = a.clef
		}
		lines := []voiceBars{{id: v.id, name: name, clef: clef, bars: v.bars, reading: one, shared: true, line: func(bars []bar) (theory.Score, error) { return a.lineOf(v, bars) }}}
		if v.over2 {
			w := second.voices[i]
			names := splitName(name, 2)
			r.say("voice %s has a second one behind the signs &: it is a part; where it has none both sing the same", quote(nameOr(name, v.id)))
			lines[0].name = names[0]
			lines = append(lines, voiceBars{id: v.id + "&", name: names[1], clef: clef, bars: w.bars, reading: second.reading, shared: true,
				line: func(bars []bar) (theory.Score, error) { return second.lineOf(w, bars) }})
		}
		if v.names == nil && !isNumber(v.id) {
			lines[0].name = v.id
		}
		for _, l := range lines {
			if err := r.divide(l); err != nil {
				return err
			}
		}
	}
	for _, w := range one.warnings {
		r.say("%s", w)
	}
	return nil
}

func isNumber(s string) bool {
	return s != "" && strings.IndexFunc(s, func(c rune) bool { return c < '0' || c > '9' }) < 0
}

// abcClef reads the clef that a V: or K: field says; "" where it says none.
func abcClef(text string) string {
	for _, w := range strings.Fields(text) {
		name, value, ok := strings.Cut(w, "=")
		if ok && name != "clef" {
			continue
		}
		if !ok {
			value = w
		}
		value = strings.Trim(value, `"`)
		switch {
		case value == "treble", value == "treble-8", value == "bass", value == "alto", value == "tenor":
			return value
		case value == "treble_8":
			return "treble-8"
		case ok:
			return plain.Short(value)
		}
	}
	return ""
}

// clef is that in which a part is written: the one it names, or the one that fits.
func (p Part) clef() theory.Clef {
	if c, err := theory.ParseClef(p.Clef); err == nil {
		return c
	}
	return theory.ClefFor(p.Score)
}

// WriteParts writes parts as one file: ABC, MusicXML or compressed MusicXML. Title,
// and in ABC the tempo, are those of the first.
func WriteParts(w io.Writer, parts []Part, f Format) error {
	if len(parts) == 0 {
		return fmt.Errorf("%w: no part to write", ErrNotation)
	}
	for _, p := range parts {
		if err := p.Score.Validate(); err != nil {
			return fmt.Errorf("%w: %s: %w", ErrNotation, p.Name, err)
		}
	}
	var b []byte
	var err error
	switch f {
	case ABC:
		b, err = writeABCParts(parts)
	case MusicXML:
		b, err = writeMusicXMLParts(parts)
	case CompressedMusicXML:
		b, err = compress(writeMusicXMLParts(parts))
	default:
		return fmt.Errorf("%w: no parts are written as %v", ErrNotation, f)
	}
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}
