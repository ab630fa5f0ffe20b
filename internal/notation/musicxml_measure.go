package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"singback/theory"
)

// xmlMeasure is a bar of a part that is being read.
type xmlMeasure struct {
	*reading
	part *xmlPart
	bar  bar
	at   theory.Fraction // where the file stands
	end  theory.Fraction // where the line has come to
}

func (x *xmlMeasure) errorf(format string, args ...any) error {
	return fmt.Errorf("%w: part %s, %s: %s", ErrNotation, quote(x.part.id), x.bar.name, fmt.Sprintf(format, args...))
}

func (x *xmlMeasure) leave(what string) { x.warn("%s: %s", x.bar.name, what) }

// once warns of the first thing of a kind in the part.
func (x *xmlMeasure) once(kind, what string) {
	if !x.part.said[kind] {
		x.part.said[kind] = true
		x.leave(what)
	}
}

// jumps warns of what sends the player to another place.
func (x *xmlMeasure) jumps(n *xmlNode) {
	if what := n.jump(); what != "" {
		x.leave(what + " is not followed: the bars are read in the order they are written")
	}
}

// measure reads one bar.
func (r *reading) measure(p *xmlPart, m *xmlNode) error {
	x := xmlMeasure{reading: r, part: p, at: zero, end: zero}
	x.bar = bar{name: "bar " + m.attr("number"), key: p.key, meter: p.meter, unwritten: true}
	if len(x.bar.name) > 20 {
		x.bar.name = x.bar.name[:20]
	}
	for i := range m.Nodes {
		if err := x.child(&m.Nodes[i]); err != nil {
			return err
		}
	}
	x.fill(m.attr("implicit") == "yes")
	slices.SortStableFunc(x.bar.symbols, func(a, b theory.ChordSymbol) int { return a.At.Minus(b.At).Num })
	if len(p.endings) > 0 && len(x.bar.endings) == 0 {
		x.bar.endings = p.endings
	}
	p.bars = append(p.bars, x.bar)
	for i := range m.Nodes { // an ending stops after its bar
		if n := &m.Nodes[i]; n.Name == "barline" {
			if e := n.child("ending"); e != nil && e.attr("type") != "start" {
				p.endings = nil
			}
		}
	}
	return nil
}

// child reads one element of the bar.
func (x *xmlMeasure) child(n *xmlNode) error {
	switch n.Name {
	case "attributes":
		return x.attributes(n)
	case "backup", "forward":
		return x.move(n)
	case "note":
		return x.note(n)
	case "barline":
		if err := x.barline(n); err != nil {
			return err
		}
		x.jumps(n)
	case "direction", "sound":
		x.direction(n)
	case "harmony":
		x.harmony(n)
	case "figured-bass":
		x.once("figured-bass", "figured bass was left out, here and later")
	}
	return nil
}

// move goes back or forth in the bar without a note.
func (x *xmlMeasure) move(n *xmlNode) error {
	l, err := duration(n, x.part.divisions)
	if err != nil {
		return x.errorf("%v", err)
	}
	if n.Name == "backup" {
		l.Num = -l.Num
	}
	if x.at = x.at.Plus(l); x.at.Num < 0 || x.at.Num > 1<<24 {
		return x.errorf("it goes back before its beginning, or has no end")
	}
	return nil
}

// note reads a note or rest. Those of other voices only move on.
func (x *xmlMeasure) note(n *xmlNode) error {
	if n.child("grace") != nil {
		x.leave("grace notes were left out")
		return nil
	}
	if n.child("cue") != nil {
		x.leave("cue notes were left out")
		return nil
	}
	l, err := duration(n, x.part.divisions)
	if err != nil {
		return x.errorf("%v", err)
	}
	chord := n.child("chord") != nil
	start := x.at
	if !chord {
		if x.at = x.at.Plus(l); x.at.Num > 1<<24 {
			return x.errorf("it has no end")
		}
	}
	if n.voice() != x.part.voice {
		return nil
	}
	x.bar.unwritten = false
	w, err := x.written(n)
	if err != nil {
		return err
	}
	if w.Length = l; l.Num == 0 {
		return x.errorf("a note of no length")
	}
	if chord {
		x.chord(w)
		return nil
	}
	switch {
	case start.Less(x.end):
		return x.errorf("notes of voice %s overlap", quote(x.part.voice))
	case x.end.Less(start): // forward over what the voice does not fill
		x.bar.notes = append(x.bar.notes, note{Written: theory.Written{Rest: true, Length: start.Minus(x.end)}})
	}
	x.bar.notes = append(x.bar.notes, w)
	x.end = start.Plus(l)
	if x.part.notes++; x.part.notes > theory.MaxScoreNotes {
		return x.errorf("more than %d notes", theory.MaxScoreNotes)
	}
	return nil
}

// chord reads another note of a chord: the highest stays, with the length, words
// and slur of the first.
func (x *xmlMeasure) chord(w note) {
	if !x.all {
		x.leave("of a chord only its highest note is read")
	}
	if len(x.bar.notes) == 0 {
		return
	}
	last := &x.bar.notes[len(x.bar.notes)-1]
	if x.all {
		if !w.Rest && !last.Rest {
			last.also = append(last.also, tone{w.Pitch, w.tied})
		}
		return
	}
	if !w.Rest && !last.Rest && w.Pitch.MIDI() > last.Pitch.MIDI() {
		w.Length, w.Words, w.Slur = last.Length, last.Words, last.Slur
		*last = w
	}
}

// direction reads the tempo of a direction or sound.
func (x *xmlMeasure) direction(n *xmlNode) {
	sound := n
	if n.Name == "direction" {
		sound = n.child("sound")
	}
	if sound != nil {
		if bpm, err := strconv.ParseFloat(sound.attr("tempo"), 64); err == nil && bpm > 0 && bpm < 10_000 && x.part.tempo == 0 {
			x.part.tempo = bpm
		}
	}
	x.jumps(n)
}

// fill adds the rest of a voice that ends before the bar does, and makes an
// empty bar one of rest, but an implicit one, a pickup.
func (x *xmlMeasure) fill(implicit bool) {
	if x.at.Num > 0 && x.end.Less(x.at) {
		full := x.at
		if x.bar.meter.Valid() && x.bar.meter.Bar().Less(full) {
			full = x.bar.meter.Bar()
		}
		if x.end.Less(full) {
			x.bar.notes = append(x.bar.notes, note{Written: theory.Written{Rest: true, Length: full.Minus(x.end)}})
		}
	}
	if x.at.Num == 0 && x.bar.meter.Valid() && !implicit {
		x.leave("it is empty: read as a bar of rest")
		x.bar.notes = append(x.bar.notes, note{Written: theory.Written{Rest: true, Length: x.bar.meter.Bar()}})
	}
}

// jump names what in a direction, a sound or a bar line sends the player to
// another place.
func (n *xmlNode) jump() string {
	for _, name := range []string{"dacapo", "dalsegno", "tocoda", "fine", "segno", "coda"} {
		if n.attr(name) != "" || n.Name != "sound" && n.child(name) != nil {
			return name
		}
	}
	if n.Name == "words" && jumps(n.Text) {
		return quote(strings.TrimSpace(n.Text))
	}
	for i := range n.Nodes {
		if c := &n.Nodes[i]; c.Name == "direction-type" || c.Name == "words" || c.Name == "sound" {
			if what := c.jump(); what != "" {
				return what
			}
		}
	}
	return ""
}

// duration reads a <duration> in quarter notes.
func duration(n *xmlNode, divisions int) (theory.Fraction, error) {
	text := n.text("duration")
	d, err := strconv.Atoi(text)
	if err != nil { // some programs write 12.0
		f, e := strconv.ParseFloat(text, 64)
		if d = int(f); e != nil || float64(d) != f {
			return zero, fmt.Errorf("a duration of %s; want a whole number", quote(text))
		}
	}
	if d < 0 || d > 1<<24 {
		return zero, fmt.Errorf("a duration of %d", d)
	}
	f := theory.NewFraction(d, divisions)
	if 960%f.Den != 0 {
		return zero, fmt.Errorf("a duration of %s quarter notes; only halves, thirds and fifths and their halves are supported", f)
	}
	return f, nil
}

// attributes reads what changes: divisions, key, meter.
func (x *xmlMeasure) attributes(n *xmlNode) error {
	if text := n.text("divisions"); text != "" {
		d, err := strconv.Atoi(text)
		if err != nil || d < 1 || d > 1<<20 {
			return x.errorf("divisions of %s", quote(text))
		}
		x.part.divisions = d
	}
	if k := n.child("key"); k != nil {
		fifths, err := strconv.Atoi(k.text("fifths"))
		if err != nil || fifths < -7 || fifths > 7 {
			return x.errorf("a key of %s fifths; want -7 to 7 sharps", quote(k.text("fifths")))
		}
		mode, known := theory.Major, k.text("mode") == ""
		for m := theory.Major; m <= theory.Locrian; m++ {
			if strings.EqualFold(k.text("mode"), m.String()) {
				mode, known = m, true
			}
		}
		known = known || slices.Contains([]string{"ionian", "none"}, strings.ToLower(k.text("mode")))
		if strings.EqualFold(k.text("mode"), "aeolian") {
			mode, known = theory.Minor, true
		}
		if !known {
			x.leave(fmt.Sprintf("the mode %s is read as major", quote(k.text("mode"))))
		}
		x.part.key = keyOf(fifths).WithMode(mode)
		if len(x.bar.notes) > 0 {
			x.leave("the key changes within the bar: read as changed from the next bar line on")
		} else {
			x.bar.key = x.part.key
		}
	}
	if t := n.child("time"); t != nil {
		x.part.meter = theory.Meter{}
		if t.child("senza-misura") == nil {
			beats := 0
			for _, part := range strings.Split(t.text("beats"), "+") {
				n, err := strconv.Atoi(strings.TrimSpace(part))
				if err != nil || n < 1 || n > 99 {
					return x.errorf("a time of %s beats", quote(t.text("beats")))
				}
				beats += n
			}
			m, err := theory.ParseMeter(fmt.Sprintf("%d/%s", beats, t.text("beat-type")))
			if err != nil {
				return x.errorf("%v", err)
			}
			x.part.meter = m
		}
		if len(x.bar.notes) > 0 {
			x.leave("the meter changes within the bar: read as changed from the next bar line on")
		} else {
			x.bar.meter = x.part.meter
		}
	}
	if n.child("transpose") != nil {
		x.once("transpose", "the part is for a transposing instrument: read as written, not as it sounds")
	}
	return nil
}

// keyOf returns the major key of a signature.
func keyOf(fifths int) theory.Key { return theory.Keys()[2*(fifths+7)] }

// written reads the pitch of a note, its ties, slurs and words.
func (x *xmlMeasure) written(n *xmlNode) (note, error) {
	var w note
	if w.Rest = n.child("rest") != nil; w.Rest {
		return w, nil
	}
	pitch := n.child("pitch")
	if pitch == nil {
		return w, x.errorf("a note without a pitch")
	}
	letter := strings.Index("CDEFGAB", strings.ToUpper(pitch.text("step")))
	octave, err := strconv.Atoi(pitch.text("octave"))
	if len(pitch.text("step")) != 1 || letter < 0 || err != nil || octave < 0 || octave > 9 {
		return w, x.errorf("a pitch of step %s, octave %s", quote(pitch.text("step")), quote(pitch.text("octave")))
	}
	alter := 0.0
	if text := pitch.text("alter"); text != "" {
		if alter, err = strconv.ParseFloat(text, 64); err != nil || alter < -3 || alter > 3 {
			return w, x.errorf("an alteration of %s", quote(text))
		}
		if alter != float64(int(alter)) {
			return w, x.errorf("quarter tones are not supported")
		}
	}
	w.Pitch = theory.Pitch{Note: theory.Note{Letter: theory.Letter(letter), Alter: int8(alter)}, Octave: octave}
	starts, stops := false, false
	for i := range n.Nodes {
		c := &n.Nodes[i]
		switch c.Name {
		case "tie":
			w.tied = w.tied || c.attr("type") == "start"
		case "notations":
			for j := range c.Nodes {
				switch s := &c.Nodes[j]; {
				case s.Name == "slur" && s.attr("type") == "start":
					starts = true
				case s.Name == "slur" && s.attr("type") == "stop":
					stops = true
				case s.Name == "tied" && s.attr("type") == "start":
					w.tied = true
				}
			}
		case "lyric":
			if w.Words != "" {
				x.leave("more than one verse: only the first one is read")
				continue
			}
			w.Words = c.sung()
			if s := c.text("syllabic"); w.Words != "" && (s == "begin" || s == "middle") {
				w.Words += "-"
			}
		}
	}
	if stops {
		x.part.slur = false
	}
	if starts {
		x.part.slur = true
	}
	w.Slur = x.part.slur
	return w, nil
}

// barline reads repeats and endings.
func (x *xmlMeasure) barline(n *xmlNode) error {
	if rep := n.child("repeat"); rep != nil {
		switch rep.attr("direction") {
		case "forward":
			x.bar.repeatStart = true
		case "backward":
			x.bar.repeatEnd = 2
			if text := rep.attr("times"); text != "" {
				times, err := strconv.Atoi(text)
				if err != nil || times < 1 || times > 99 {
					return x.errorf("a repeat of %s times", quote(text))
				}
				x.bar.repeatEnd = times
			}
		}
	}
	if e := n.child("ending"); e != nil && e.attr("type") == "start" {
		x.part.endings = nil
		if text := strings.TrimSpace(e.attr("number")); text != "" {
			var err error
			if x.part.endings, err = passes(text); err != nil {
				return x.errorf("%v", err)
			}
		}
		x.bar.endings = x.part.endings
	}
	return nil
}
