package notation

import (
	"cmp"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strings"

	"singback/internal/engrave"
	"singback/theory"
)

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
	r.allowRests(parts)
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
	if err := r.xmlPartOf(b, i, p); err != nil {
		return s, err
	}
	return r.xmlLine(s, p, p.bars)
}

// xmlPartOf reads the bars of the i-th part.
func (r *reading) xmlPartOf(b []byte, i int, p *xmlPart) error {
	x, err := newXML(b)
	if err != nil {
		return err
	}
	for {
		t, err := x.token()
		if err != nil {
			return x.failed(err)
		}
		if e, ok := t.(xml.StartElement); !ok || e.Name.Local != "part" {
			continue
		}
		if i--; i >= 0 {
			continue
		}
		if err := r.part(x, p); err != nil {
			return x.failed(err)
		}
		return nil
	}
}

// xmlLine makes the line of a part from bars of it.
func (r *reading) xmlLine(s theory.Score, p *xmlPart, bars []bar) (theory.Score, error) {
	s, err := r.line(s, bars)
	if err == nil && p.tempo > 0 {
		s.Tempo = p.tempo / engrave.Pulse(s.Meter).Float()
	}
	return s, err
}

// surveyed is what is known of a part before it is read.
type surveyed struct {
	id, name string
	voices   []source          // in the order in which they appear
	staffs   []string          // of each voice, where its first note stands
	clefs    map[string]string // of each staff, the first one
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
		case "clef":
			n, err := x.whole(e)
			if err != nil {
				return s, nil, x.failed(err)
			}
			if len(parts) > 0 {
				parts[len(parts)-1].addClef(&n)
			}
		case "note":
			n, err := x.whole(e)
			if err != nil {
				return s, nil, x.failed(err)
			}
			if len(parts) > 0 {
				parts[len(parts)-1].add(n.voice(), n.text("staff"), n.child("pitch") != nil && n.child("grace") == nil && n.child("cue") == nil)
			}
		}
	}
	if !found {
		return s, nil, fmt.Errorf("%w: it is no MusicXML: there is no score-partwise in it", ErrNotation)
	}
	return s, parts, nil
}

// allowRests has rests count as notes where chord symbols are wanted and no part has notes.
func (r *reading) allowRests(parts []surveyed) {
	silent := !slices.ContainsFunc(parts, func(p surveyed) bool {
		return slices.ContainsFunc(p.voices, func(v source) bool { return v.notes })
	})
	for _, p := range parts {
		for i := range p.voices {
			p.voices[i].notes = p.voices[i].notes || silent && r.options.Chords
		}
	}
}

// add notes that a voice has a note, or a rest.
func (p *surveyed) add(voice, staff string, note bool) {
	i := slices.IndexFunc(p.voices, func(v source) bool { return v.names[0] == voice })
	if i < 0 && len(p.voices) < maxVoices {
		i = len(p.voices)
		p.voices = append(p.voices, source{names: []string{voice}})
		p.staffs = append(p.staffs, cmp.Or(staff, "1"))
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
