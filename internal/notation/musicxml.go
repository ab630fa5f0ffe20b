package notation

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"singback/theory"
)

// compressed reads the first score in a compressed MusicXML file.
func (r *reading) compressed(b []byte) (theory.Score, error) {
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return theory.Score{}, fmt.Errorf("%w: it begins like a compressed file and is none: %v", ErrNotation, err)
	}
	unpack := func(name string) ([]byte, error) {
		for _, f := range z.File {
			if f.Name != name {
				continue
			}
			file, err := f.Open()
			if err != nil {
				return nil, fmt.Errorf("%w: %s in it: %v", ErrNotation, quote(name), err)
			}
			defer file.Close()
			// What it says about its size is not believed.
			data, err := io.ReadAll(io.LimitReader(file, MaxFile+1))
			if err == nil && len(data) > MaxFile {
				err = fmt.Errorf("unpacked it has more than %d MiB", MaxFile>>20)
			}
			if err != nil {
				return nil, fmt.Errorf("%w: %s in it: %v", ErrNotation, quote(name), err)
			}
			return data, nil
		}
		return nil, fmt.Errorf("%w: there is no %s in it", ErrNotation, quote(name))
	}
	container, err := unpack("META-INF/container.xml")
	if err != nil {
		return theory.Score{}, err
	}
	var root struct {
		Files []struct {
			Path string `xml:"full-path,attr"`
			Type string `xml:"media-type,attr"`
		} `xml:"rootfiles>rootfile"`
	}
	if err := xml.Unmarshal(container, &root); err != nil {
		return theory.Score{}, fmt.Errorf("%w: META-INF/container.xml in it: %v", ErrNotation, err)
	}
	for _, f := range root.Files {
		if f.Type == "" || strings.Contains(f.Type, "musicxml") {
			score, err := unpack(f.Path)
			if err != nil {
				return theory.Score{}, err
			}
			return r.musicXML(score)
		}
	}
	return theory.Score{}, fmt.Errorf("%w: its META-INF/container.xml names no score", ErrNotation)
}

// xmlNode is an element of a bar with everything in it.
type xmlNode struct {
	XMLName xml.Name
	Attrs   []xml.Attr `xml:",any,attr"`
	Text    string     `xml:",chardata"`
	Nodes   []xmlNode  `xml:",any"`
}

func (n *xmlNode) child(name string) *xmlNode {
	for i := range n.Nodes {
		if n.Nodes[i].XMLName.Local == name {
			return &n.Nodes[i]
		}
	}
	return nil
}

func (n *xmlNode) text(names ...string) string {
	for _, name := range names {
		if n = n.child(name); n == nil {
			return ""
		}
	}
	return strings.TrimSpace(n.Text)
}

func (n *xmlNode) attr(name string) string {
	for _, a := range n.Attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// xmlPart is what is read of one part.
type xmlPart struct {
	id        string
	divisions int
	key       theory.Key
	meter     theory.Meter
	voice     string // the one that is read; "" until its first note
	others    map[string]bool
	bars      []bar
	endings   []int
	slur      bool
	tempo     float64 // quarter notes a minute
	notes     int
	tuned     bool // transposing instruments were warned of
}

// musicXML reads one part of a MusicXML file, partwise.
func (r *reading) musicXML(b []byte) (theory.Score, error) {
	var s theory.Score
	if bytes.HasPrefix(b, []byte("\xff\xfe")) || bytes.HasPrefix(b, []byte("\xfe\xff")) {
		return s, fmt.Errorf("%w: MusicXML in UTF-16; want UTF-8", ErrNotation)
	}
	d := xml.NewDecoder(bytes.NewReader(b))
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		if slices.Contains([]string{"iso-8859-1", "latin1", "us-ascii", "ascii"}, strings.ToLower(charset)) {
			data, err := io.ReadAll(in)
			runes := make([]rune, len(data))
			for i, c := range data {
				runes[i] = rune(c)
			}
			return strings.NewReader(string(runes)), err
		}
		return nil, fmt.Errorf("the character set %s; want UTF-8", quote(charset))
	}
	fail := func(err error) (theory.Score, error) {
		if errors.Is(err, ErrNotation) {
			return s, err
		}
		line, _ := d.InputPos()
		text := err.Error()
		if syntax := (*xml.SyntaxError)(nil); errors.As(err, &syntax) {
			text = syntax.Msg
		}
		return s, fmt.Errorf("%w: line %d: %s", ErrNotation, line, text)
	}
	names := map[string]string{}
	var ids []string
	var chosen *xmlPart
	found, parts := false, 0
	wanted := r.options.Voice
	voice := ""
	if id, v, ok := strings.Cut(wanted, ":"); ok {
		wanted, voice = id, v
	}
	for {
		t, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return fail(err)
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "score-partwise":
			found = true
		case "score-timewise":
			return s, fmt.Errorf("%w: MusicXML ordered by time (score-timewise); want score-partwise", ErrNotation)
		case "work-title", "movement-title":
			var title string
			if err := d.DecodeElement(&title, &e); err != nil {
				return fail(err)
			}
			if s.Title == "" {
				s.Title = strings.Join(strings.Fields(title), " ")
			}
		case "score-part":
			var n xmlNode
			if err := d.DecodeElement(&n, &e); err != nil {
				return fail(err)
			}
			names[n.attr("id")] = n.text("part-name")
		case "part":
			if !found {
				return s, fmt.Errorf("%w: a part outside of score-partwise", ErrNotation)
			}
			parts++
			id := (&xmlNode{Attrs: e.Attr}).attr("id")
			ids = append(ids, id)
			if chosen != nil || wanted != "" && wanted != id && wanted != strconv.Itoa(parts) && !strings.EqualFold(wanted, names[id]) {
				if err := d.Skip(); err != nil {
					return fail(err)
				}
				continue
			}
			p := &xmlPart{id: id, divisions: 1, voice: voice, others: map[string]bool{}}
			if err := r.part(d, p); err != nil {
				return fail(err)
			}
			if p.notes > 0 || wanted != "" {
				chosen = p
			}
		}
	}
	switch {
	case !found:
		return s, fmt.Errorf("%w: it is no MusicXML: there is no score-partwise in it", ErrNotation)
	case chosen == nil && wanted != "" && !slices.Contains(ids, wanted):
		return s, fmt.Errorf("%w: there is no part %s; it has %s", ErrNotation, quote(wanted), strings.Join(ids[:min(len(ids), 12)], ", "))
	case chosen == nil:
		return s, fmt.Errorf("%w: it has no notes", ErrNotation)
	}
	if parts > 1 && wanted == "" {
		r.warn("of %d parts the first one with notes, %s, is read", parts, chosen.id)
	}
	if len(chosen.others) > 0 && voice == "" {
		r.warn("part %s has other voices besides %s, which were left out", chosen.id, quote(chosen.voice))
	}
	s, err := r.line(s, chosen.bars)
	if err == nil && chosen.tempo > 0 {
		s.Tempo = chosen.tempo
		if s.Meter.Valid() {
			s.Tempo /= s.Meter.Pulse().Float()
		}
	}
	return s, err
}

// part reads the bars of a part.
func (r *reading) part(d *xml.Decoder, p *xmlPart) error {
	for {
		t, err := d.Token()
		if err != nil {
			return err
		}
		switch e := t.(type) {
		case xml.EndElement:
			return nil
		case xml.StartElement:
			if e.Name.Local != "measure" {
				if err := d.Skip(); err != nil {
					return err
				}
				continue
			}
			var m xmlNode
			if err := d.DecodeElement(&m, &e); err != nil {
				return err
			}
			if err := r.measure(p, &m); err != nil {
				return err
			}
			if len(p.bars) > maxBars {
				return fmt.Errorf("%w: more than %d bars", ErrNotation, maxBars)
			}
		}
	}
}

// measure reads one bar.
func (r *reading) measure(p *xmlPart, m *xmlNode) error {
	b := bar{name: "bar " + m.attr("number"), key: p.key, meter: p.meter}
	if len(b.name) > 20 {
		b.name = b.name[:20]
	}
	errorf := func(format string, args ...any) error {
		return fmt.Errorf("%w: part %s, %s: %s", ErrNotation, quote(p.id), b.name, fmt.Sprintf(format, args...))
	}
	leave := func(what string) { r.warn("%s: %s", b.name, what) }
	end, at := zero, zero // at: where the file stands; end: where the line has come to
	for i := range m.Nodes {
		n := &m.Nodes[i]
		switch n.XMLName.Local {
		case "attributes":
			if err := r.attributes(p, n, &b, leave, errorf); err != nil {
				return err
			}
		case "backup", "forward":
			l, err := duration(n, p.divisions)
			if err != nil {
				return errorf("%v", err)
			}
			if n.XMLName.Local == "backup" {
				l.Num = -l.Num
			}
			if at = at.Plus(l); at.Num < 0 || at.Num > 1<<24 {
				return errorf("it goes back before its beginning, or has no end")
			}
		case "note":
			if n.child("grace") != nil {
				leave("grace notes were left out")
				continue
			}
			if n.child("cue") != nil {
				leave("cue notes were left out")
				continue
			}
			l, err := duration(n, p.divisions)
			if err != nil {
				return errorf("%v", err)
			}
			chord := n.child("chord") != nil
			start := at
			if !chord {
				if at = at.Plus(l); at.Num > 1<<24 {
					return errorf("it has no end")
				}
			}
			voice := n.text("voice")
			if voice == "" {
				voice = "1"
			}
			if p.voice == "" && n.child("rest") == nil {
				p.voice = voice
				if len(p.bars) > 0 || len(b.notes) > 0 { // rests before the first note belong to it
					p.others = map[string]bool{}
				}
			}
			if p.voice != "" && voice != p.voice {
				if n.child("rest") == nil && len(p.others) < maxVoices {
					p.others[voice] = true
				}
				continue
			}
			if p.voice == "" && start.Less(end) {
				continue // rests of several voices
			}
			w, err := r.xmlNote(p, n, leave, errorf)
			if err != nil {
				return err
			}
			if w.Length = l; l.Num == 0 {
				return errorf("a note of no length")
			}
			if chord {
				leave("of a chord only its highest note is read")
				if last := len(b.notes) - 1; last >= 0 && !w.Rest && !b.notes[last].Rest && w.Pitch.MIDI() > b.notes[last].Pitch.MIDI() {
					words, slur := b.notes[last].Words, b.notes[last].Slur
					w.Length = b.notes[last].Length
					b.notes[last] = w
					b.notes[last].Words, b.notes[last].Slur = words, slur
				}
				continue
			}
			switch {
			case start.Less(end):
				return errorf("notes of voice %s overlap", quote(p.voice))
			case end.Less(start): // forward over what the voice does not fill
				b.notes = append(b.notes, note{Written: theory.Written{Rest: true, Length: start.Minus(end)}})
			}
			b.notes = append(b.notes, w)
			end = start.Plus(l)
			if p.notes++; p.notes > theory.MaxScoreNotes {
				return errorf("more than %d notes", theory.MaxScoreNotes)
			}
		case "barline":
			if err := r.xmlBarline(p, n, &b, errorf); err != nil {
				return err
			}
		case "direction", "sound":
			sound := n
			if n.XMLName.Local == "direction" {
				sound = n.child("sound")
			}
			if sound != nil {
				if bpm, err := strconv.ParseFloat(sound.attr("tempo"), 64); err == nil && bpm > 0 && bpm < 10_000 && p.tempo == 0 {
					p.tempo = bpm
				}
				for _, jump := range []string{"dacapo", "dalsegno", "tocoda", "fine"} {
					if sound.attr(jump) != "" {
						leave(fmt.Sprintf("%s is not followed: the bars are read in the order they are written", jump))
					}
				}
			}
		}
	}
	// A voice that ends before the bar does rests.
	if at.Num > 0 && end.Less(at) && p.voice != "" {
		full := at
		if b.meter.Valid() && b.meter.Bar().Less(full) {
			full = b.meter.Bar()
		}
		if end.Less(full) {
			b.notes = append(b.notes, note{Written: theory.Written{Rest: true, Length: full.Minus(end)}})
		}
	}
	if len(p.endings) > 0 && len(b.endings) == 0 {
		b.endings = p.endings
	}
	p.bars = append(p.bars, b)
	for i := range m.Nodes { // an ending stops after its bar
		if n := &m.Nodes[i]; n.XMLName.Local == "barline" {
			if e := n.child("ending"); e != nil && e.attr("type") != "start" {
				p.endings = nil
			}
		}
	}
	return nil
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

func (r *reading) attributes(p *xmlPart, n *xmlNode, b *bar, leave func(string), errorf func(string, ...any) error) error {
	if text := n.text("divisions"); text != "" {
		d, err := strconv.Atoi(text)
		if err != nil || d < 1 || d > 1<<20 {
			return errorf("divisions of %s", quote(text))
		}
		p.divisions = d
	}
	if k := n.child("key"); k != nil {
		fifths, err := strconv.Atoi(k.text("fifths"))
		if err != nil || fifths < -7 || fifths > 7 {
			return errorf("a key of %s fifths; want -7 to 7 sharps", quote(k.text("fifths")))
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
			leave(fmt.Sprintf("the mode %s is read as major", quote(k.text("mode"))))
		}
		p.key = keyOf(fifths).WithMode(mode)
		if len(b.notes) > 0 {
			leave("the key changes within the bar: read as changed from the next bar line on")
		} else {
			b.key = p.key
		}
	}
	if t := n.child("time"); t != nil {
		p.meter = theory.Meter{}
		if t.child("senza-misura") == nil {
			beats := 0
			for _, part := range strings.Split(t.text("beats"), "+") {
				n, err := strconv.Atoi(strings.TrimSpace(part))
				if err != nil || n < 1 || n > 99 {
					return errorf("a time of %s beats", quote(t.text("beats")))
				}
				beats += n
			}
			m, err := theory.ParseMeter(fmt.Sprintf("%d/%s", beats, t.text("beat-type")))
			if err != nil {
				return errorf("%v", err)
			}
			p.meter = m
		}
		if len(b.notes) > 0 {
			leave("the meter changes within the bar: read as changed from the next bar line on")
		} else {
			b.meter = p.meter
		}
	}
	if n.child("transpose") != nil && !p.tuned {
		p.tuned = true
		leave("the part is for a transposing instrument: read as written, not as it sounds")
	}
	return nil
}

// keyOf returns the major key of a signature.
func keyOf(fifths int) theory.Key { return theory.Keys()[2*(fifths+7)] }

func (r *reading) xmlNote(p *xmlPart, n *xmlNode, leave func(string), errorf func(string, ...any) error) (note, error) {
	var w note
	if w.Rest = n.child("rest") != nil; w.Rest {
		return w, nil
	}
	pitch := n.child("pitch")
	if pitch == nil {
		return w, errorf("a note without a pitch")
	}
	letter := strings.Index("CDEFGAB", strings.ToUpper(pitch.text("step")))
	octave, err := strconv.Atoi(pitch.text("octave"))
	if len(pitch.text("step")) != 1 || letter < 0 || err != nil || octave < 0 || octave > 9 {
		return w, errorf("a pitch of step %s, octave %s", quote(pitch.text("step")), quote(pitch.text("octave")))
	}
	alter := 0.0
	if text := pitch.text("alter"); text != "" {
		if alter, err = strconv.ParseFloat(text, 64); err != nil || alter < -3 || alter > 3 {
			return w, errorf("an alteration of %s", quote(text))
		}
		if alter != float64(int(alter)) {
			return w, errorf("quarter tones are not supported")
		}
	}
	w.Pitch = theory.Pitch{Note: theory.Note{Letter: theory.Letter(letter), Alter: int8(alter)}, Octave: octave}
	starts, stops := false, false
	for i := range n.Nodes {
		c := &n.Nodes[i]
		switch c.XMLName.Local {
		case "tie":
			w.tied = w.tied || c.attr("type") == "start"
		case "notations":
			for j := range c.Nodes {
				switch s := &c.Nodes[j]; {
				case s.XMLName.Local == "slur" && s.attr("type") == "start":
					starts = true
				case s.XMLName.Local == "slur" && s.attr("type") == "stop":
					stops = true
				case s.XMLName.Local == "tied" && s.attr("type") == "start":
					w.tied = true
				}
			}
		case "lyric":
			if w.Words != "" {
				leave("more than one verse: only the first one is read")
				continue
			}
			w.Words = strings.Join(strings.Fields(c.text("text")), " ")
			if s := c.text("syllabic"); w.Words != "" && (s == "begin" || s == "middle") {
				w.Words += "-"
			}
		}
	}
	if stops {
		p.slur = false
	}
	if starts {
		p.slur = true
	}
	w.Slur = p.slur
	return w, nil
}

func (r *reading) xmlBarline(p *xmlPart, n *xmlNode, b *bar, errorf func(string, ...any) error) error {
	if rep := n.child("repeat"); rep != nil {
		switch rep.attr("direction") {
		case "forward":
			b.repeatStart = true
		case "backward":
			b.repeatEnd = 2
			if text := rep.attr("times"); text != "" {
				times, err := strconv.Atoi(text)
				if err != nil || times < 1 || times > 99 {
					return errorf("a repeat of %s times", quote(text))
				}
				b.repeatEnd = times
			}
		}
	}
	if e := n.child("ending"); e != nil && e.attr("type") == "start" {
		p.endings = nil
		for _, text := range strings.FieldsFunc(e.attr("number"), func(c rune) bool { return c == ',' || c == ' ' }) {
			k, err := strconv.Atoi(text)
			if err != nil || k < 1 || k > 99 {
				return errorf("an ending %s", quote(text))
			}
			p.endings = append(p.endings, k)
		}
		b.endings = p.endings
	}
	return nil
}
