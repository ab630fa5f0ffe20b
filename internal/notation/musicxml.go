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
	x, err := newXML(container)
	if err != nil {
		return theory.Score{}, err
	}
	for {
		t, err := x.token()
		if err == io.EOF {
			return theory.Score{}, fmt.Errorf("%w: its META-INF/container.xml names no score", ErrNotation)
		}
		if err != nil {
			return theory.Score{}, fmt.Errorf("%w: META-INF/container.xml in it: %v", ErrNotation, err)
		}
		e, ok := t.(xml.StartElement)
		if !ok || e.Name.Local != "rootfile" {
			continue
		}
		file := xmlNode{Attrs: e.Attr}
		if kind := file.attr("media-type"); kind == "" || strings.Contains(kind, "musicxml") {
			score, err := unpack(file.attr("full-path"))
			if err != nil {
				return theory.Score{}, err
			}
			return r.musicXML(score)
		}
	}
}

// Bounds of what is read of XML: elements within each other, elements of a bar,
// bytes of one tag.
const (
	maxDepth = 100
	maxNodes = 50_000
	maxTag   = 64 << 10
)

// xmlStream reads XML and keeps no more of it than it is asked for.
type xmlStream struct {
	d     *xml.Decoder
	depth int
}

// newXML begins to read a file in UTF-8, UTF-16 or a Latin character set.
func newXML(b []byte) (*xmlStream, error) {
	b, wide, err := fromUTF16(b)
	if err != nil {
		return nil, err
	}
	start := -1 // of the tag, if one is open
	for i, c := range b {
		switch {
		case c == '<' && i+1 < len(b) && b[i+1] != '!' && b[i+1] != '?':
			start = i
		case c == '>':
			start = -1
		case start >= 0 && i-start > maxTag:
			return nil, fmt.Errorf("%w: line %d: an element with more than %d KiB of attributes", ErrNotation, 1+bytes.Count(b[:start], []byte("\n")), maxTag>>10)
		}
	}
	d := xml.NewDecoder(bytes.NewReader(b))
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) {
		switch charset = strings.ToLower(charset); {
		case wide && strings.HasPrefix(charset, "utf-16"):
			return in, nil
		case slices.Contains(latinNames, charset):
			data, err := io.ReadAll(in)
			return strings.NewReader(latin(data)), err
		}
		return nil, fmt.Errorf("the character set %s; want UTF-8, UTF-16, ISO-8859-1 or Windows-1252", quote(charset))
	}
	return &xmlStream{d: d}, nil
}

func (x *xmlStream) token() (xml.Token, error) {
	t, err := x.d.Token()
	switch t.(type) {
	case xml.StartElement:
		if x.depth++; x.depth > maxDepth {
			return nil, fmt.Errorf("more than %d elements within each other", maxDepth)
		}
	case xml.EndElement:
		x.depth--
	}
	return t, err
}

// skip reads to the end of the element that has begun.
func (x *xmlStream) skip() error {
	for depth := x.depth; x.depth >= depth; {
		if _, err := x.token(); err != nil {
			return err
		}
	}
	return nil
}

// node reads the element that has begun, of at most so many elements.
func (x *xmlStream) node(e xml.StartElement, left *int) (xmlNode, error) {
	n := xmlNode{Name: e.Name.Local, Attrs: e.Attr}
	if *left--; *left < 0 {
		return n, fmt.Errorf("an element of more than %d others", maxNodes)
	}
	for {
		t, err := x.token()
		if err != nil {
			return n, err
		}
		switch t := t.(type) {
		case xml.StartElement:
			child, err := x.node(t, left)
			if err != nil {
				return n, err
			}
			n.Nodes = append(n.Nodes, child)
		case xml.CharData:
			n.Text += string(t)
		case xml.EndElement:
			return n, nil
		}
	}
}

// whole reads the element that has begun.
func (x *xmlStream) whole(e xml.StartElement) (xmlNode, error) {
	left := maxNodes
	return x.node(e, &left)
}

// xmlNode is an element of a bar with everything in it.
type xmlNode struct {
	Name  string
	Attrs []xml.Attr
	Text  string
	Nodes []xmlNode
}

func (n *xmlNode) child(name string) *xmlNode {
	for i := range n.Nodes {
		if n.Nodes[i].Name == name {
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
	voice     string // the one that is read
	bars      []bar
	endings   []int
	slur      bool
	tempo     float64 // quarter notes a minute
	notes     int
	said      map[string]bool // what is warned of once
}

// musicXML reads one part of a MusicXML file, partwise.
func (r *reading) musicXML(b []byte) (theory.Score, error) {
	s, parts, err := survey(b)
	if err != nil {
		return s, err
	}
	sources := make([]source, len(parts))
	for i, p := range parts {
		sources[i] = source{[]string{p.id, p.name}, slices.ContainsFunc(p.voices, func(v source) bool { return v.notes })}
	}
	wanted, voice := r.options.Voice, ""
	if !slices.ContainsFunc(parts, func(p surveyed) bool { return wanted == p.id || strings.EqualFold(wanted, p.name) }) {
		wanted, voice, _ = strings.Cut(wanted, ":")
	}
	i, err := r.choose("part", wanted, sources)
	if err != nil {
		return s, err
	}
	p := &xmlPart{id: parts[i].id, divisions: 1, said: map[string]bool{}}
	v, err := r.choose("voice", voice, parts[i].voices)
	if err != nil {
		return s, err
	}
	p.voice = parts[i].voices[v].names[0]
	x, err := newXML(b)
	if err != nil {
		return s, err
	}
	for {
		t, err := x.token()
		if err != nil {
			return s, x.failed(err)
		}
		if e, ok := t.(xml.StartElement); !ok || e.Name.Local != "part" {
			continue
		}
		if i--; i >= 0 {
			continue
		}
		if err := r.part(x, p); err != nil {
			return s, x.failed(err)
		}
		break
	}
	s, err = r.line(s, p.bars)
	if err == nil && p.tempo > 0 {
		s.Tempo = p.tempo
		if s.Meter.Valid() {
			s.Tempo /= s.Meter.Pulse().Float()
		}
	}
	return s, err
}

// failed adds the line to an error about XML.
func (x *xmlStream) failed(err error) error {
	if errors.Is(err, ErrNotation) {
		return err
	}
	line, _ := x.d.InputPos()
	text := err.Error()
	if syntax := (*xml.SyntaxError)(nil); errors.As(err, &syntax) {
		text = syntax.Msg
	}
	return fmt.Errorf("%w: line %d: %s", ErrNotation, line, text)
}

// surveyed is what is known of a part before it is read.
type surveyed struct {
	id, name string
	voices   []source // in the order in which they appear
}

// survey goes through a MusicXML file for its title, its parts, and the voices
// in them that have notes.
func survey(b []byte) (theory.Score, []surveyed, error) {
	var s theory.Score
	var parts []surveyed
	x, err := newXML(b)
	if err != nil {
		return s, nil, err
	}
	names := map[string]string{}
	found := false
	for {
		t, err := x.token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return s, nil, x.failed(err)
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "score-partwise":
			found = true
		case "score-timewise":
			return s, nil, fmt.Errorf("%w: MusicXML ordered by time (score-timewise); want score-partwise", ErrNotation)
		case "work-title", "movement-title", "score-part":
			n, err := x.whole(e)
			if err != nil {
				return s, nil, x.failed(err)
			}
			if e.Name.Local == "score-part" {
				names[n.attr("id")] = n.text("part-name")
			} else if s.Title == "" {
				s.Title = strings.Join(strings.Fields(n.Text), " ")
			}
		case "part":
			if !found {
				return s, nil, fmt.Errorf("%w: a part outside of score-partwise", ErrNotation)
			}
			if len(parts) == maxTracks {
				return s, nil, fmt.Errorf("%w: more than %d parts", ErrNotation, maxTracks)
			}
			id := (&xmlNode{Attrs: e.Attr}).attr("id")
			parts = append(parts, surveyed{id: id, name: names[id]})
		case "note":
			n, err := x.whole(e)
			if err != nil {
				return s, nil, x.failed(err)
			}
			if len(parts) > 0 {
				parts[len(parts)-1].add(n.voice(), n.child("pitch") != nil && n.child("grace") == nil && n.child("cue") == nil)
			}
		}
	}
	if !found {
		return s, nil, fmt.Errorf("%w: it is no MusicXML: there is no score-partwise in it", ErrNotation)
	}
	return s, parts, nil
}

// add notes that a voice has a note, or a rest.
func (p *surveyed) add(voice string, note bool) {
	i := slices.IndexFunc(p.voices, func(v source) bool { return v.names[0] == voice })
	if i < 0 && len(p.voices) < maxVoices {
		i = len(p.voices)
		p.voices = append(p.voices, source{names: []string{voice}})
	}
	if i >= 0 {
		p.voices[i].notes = p.voices[i].notes || note
	}
}

// voice is the voice of a note.
func (n *xmlNode) voice() string {
	if v := n.text("voice"); v != "" {
		return v
	}
	return "1"
}

// part reads the bars of a part.
func (r *reading) part(x *xmlStream, p *xmlPart) error {
	for {
		t, err := x.token()
		if err != nil {
			return err
		}
		switch e := t.(type) {
		case xml.EndElement:
			return nil
		case xml.StartElement:
			if e.Name.Local != "measure" {
				if err := x.skip(); err != nil {
					return err
				}
				continue
			}
			m, err := x.whole(e)
			if err != nil {
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
	once := func(kind, what string) {
		if !p.said[kind] {
			p.said[kind] = true
			leave(what)
		}
	}
	jump := func(n *xmlNode) {
		if what := n.jump(); what != "" {
			leave(what + " is not followed: the bars are read in the order they are written")
		}
	}
	end, at := zero, zero // at: where the file stands; end: where the line has come to
	for i := range m.Nodes {
		n := &m.Nodes[i]
		switch n.Name {
		case "attributes":
			if err := r.attributes(p, n, &b, leave, once, errorf); err != nil {
				return err
			}
		case "backup", "forward":
			l, err := duration(n, p.divisions)
			if err != nil {
				return errorf("%v", err)
			}
			if n.Name == "backup" {
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
			if n.voice() != p.voice {
				continue
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
			jump(n)
		case "direction", "sound":
			sound := n
			if n.Name == "direction" {
				sound = n.child("sound")
			}
			if sound != nil {
				if bpm, err := strconv.ParseFloat(sound.attr("tempo"), 64); err == nil && bpm > 0 && bpm < 10_000 && p.tempo == 0 {
					p.tempo = bpm
				}
			}
			jump(n)
		case "harmony", "figured-bass":
			once("harmony", "chord symbols were left out, here and later")
		}
	}
	// A voice that ends before the bar does rests.
	if at.Num > 0 && end.Less(at) {
		full := at
		if b.meter.Valid() && b.meter.Bar().Less(full) {
			full = b.meter.Bar()
		}
		if end.Less(full) {
			b.notes = append(b.notes, note{Written: theory.Written{Rest: true, Length: full.Minus(end)}})
		}
	}
	if at.Num == 0 && b.meter.Valid() && m.attr("implicit") != "yes" {
		leave("it is empty: read as a bar of rest")
		b.notes = append(b.notes, note{Written: theory.Written{Rest: true, Length: b.meter.Bar()}})
	}
	if len(p.endings) > 0 && len(b.endings) == 0 {
		b.endings = p.endings
	}
	p.bars = append(p.bars, b)
	for i := range m.Nodes { // an ending stops after its bar
		if n := &m.Nodes[i]; n.Name == "barline" {
			if e := n.child("ending"); e != nil && e.attr("type") != "start" {
				p.endings = nil
			}
		}
	}
	return nil
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

func (r *reading) attributes(p *xmlPart, n *xmlNode, b *bar, leave func(string), once func(kind, what string), errorf func(string, ...any) error) error {
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
	if n.child("transpose") != nil {
		once("transpose", "the part is for a transposing instrument: read as written, not as it sounds")
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
		if text := strings.TrimSpace(e.attr("number")); text != "" {
			var err error
			if p.endings, err = passes(text); err != nil {
				return errorf("%v", err)
			}
		}
		b.endings = p.endings
	}
	return nil
}
