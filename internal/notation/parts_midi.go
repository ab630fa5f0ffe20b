package notation

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"singback/internal/engrave"
	"singback/theory"
)

// midi reads what each track plays on each of its channels; where notes sound
// together on one they are divided into lines.
func (r *partsReader) midi(b []byte) (err error) {
	defer func() { // whatever the library makes of a broken event
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: a broken MIDI file: %v", ErrNotation, p)
		}
	}()
	tracks, quarter, err := midiTracks(b)
	if err != nil {
		return err
	}
	one := r.reading()
	m := midiReader{reading: one, quarter: quarter}
	type voice struct {
		midiLine
		id string
	}
	var voices []voice
	for i, track := range tracks {
		fresh := func() *midiTrack { return &midiTrack{data: track.data} }
		m.again = false
		line, err := m.track(i+1, fresh(), -1)
		if err != nil {
			return err
		}
		if len(line.notes) == 0 {
			continue
		}
		id := fmt.Sprint(len(voices) + 1)
		voices = append(voices, voice{line, id})
		m.again = true
		for ch, plays := range line.others {
			if !plays || len(voices) >= maxParts {
				continue
			}
			other, err := m.track(i+1, fresh(), ch)
			if err != nil {
				return err
			}
			if len(other.notes) > 0 {
				r.say("track %d plays on several channels: each is a part", i+1)
				voices = append(voices, voice{other, fmt.Sprint(len(voices) + 1)})
			}
		}
	}
	end := int64(0)
	for _, v := range voices {
		end = max(end, v.end)
	}
	for _, v := range voices {
		lines := separate(v.notes, quarter)
		if len(lines) > maxLines {
			one.oneVoice(&v.notes)
			lines = [][]played{v.notes}
			r.say("on %s more than %d notes sound together: of notes that begin together only the highest one is read", quote(nameOr(v.name, "track "+v.id)), maxLines)
		} else if len(lines) > 1 {
			r.say("on %s up to %d notes sound together: they are read as %d lines, from high to low", quote(nameOr(v.name, "track "+v.id)), len(lines), len(lines))
		}
		names := splitName(v.name, len(lines))
		for j, notes := range lines {
			p := Part{ID: v.id, Name: names[j]}
			if len(lines) > 1 {
				p.ID = fmt.Sprintf("%s.%d", v.id, j+1)
			}
			if p.Score, p.Warnings = m.partOf(notes, v.end); p.Score.Notes == nil {
				continue
			}
			if err := r.add(p); err != nil {
				return err
			}
		}
	}
	return nil
}

// partOf writes played notes as a line.
func (m *midiReader) partOf(notes []played, end int64) (theory.Score, []Warning) {
	var s theory.Score
	one := midiReader{reading: &reading{options: m.options}, quarter: m.quarter, tempo: m.tempo, changes: slices.Clone(m.changes)}
	g := newGrid(notes, m.quarter)
	s.Notes = lineOf(notes, end, g)
	if !g.exact {
		one.warn("times were moved to the nearest sixteenth or triplet")
	}
	one.change(&s, g)
	s.Tempo = math.Round(m.tempo/engrave.Pulse(s.Meter).Float()*1000) / 1000
	one.rekey(&s)
	spell(&s)
	return s, one.warnings
}

// separate divides notes that sound together into as many lines as ever sound at
// once, from high to low: notes that begin together keep their order, and each goes to
// the free line whose last note is nearest. What sounds together for less than an
// eighth of a quarter note only overlaps.
func separate(notes []played, quarter int64) [][]played {
	ns := slices.Clone(notes)
	sort.SliceStable(ns, func(i, j int) bool {
		return ns[i].from < ns[j].from || ns[i].from == ns[j].from && ns[i].pitch > ns[j].pitch
	})
	held := func(n played, at int64) bool { return n.from <= at && at < n.to-quarter/8 || n.from == at }
	most := 0
	var sounding []played
	for _, n := range ns {
		sounding = append(slices.DeleteFunc(sounding, func(s played) bool { return !held(s, n.from) }), n)
		if most = max(most, len(sounding)); most > maxLines {
			return make([][]played, most)
		}
	}
	if most <= 1 {
		return [][]played{ns}
	}
	lines := make([][]played, most)
	for i := 0; i < len(ns); {
		group := i
		for i < len(ns) && ns[i].from == ns[group].from {
			i++
		}
		var free []int
		for j, l := range lines {
			if len(l) == 0 || !held(l[len(l)-1], ns[group].from) {
				free = append(free, j)
			}
		}
		for k, j := range nearestLines(ns[group:i], lines, free) {
			l := lines[j]
			if n := len(l); n > 0 {
				l[n-1].to = min(l[n-1].to, ns[group].from)
			}
			lines[j] = append(l, ns[group+k])
		}
	}
	return lines
}

// nearestLines chooses of the free lines one for each note, in order, so that the steps
// from their last notes are smallest in all.
func nearestLines(notes []played, lines [][]played, free []int) []int {
	var best []int
	least := math.MaxInt
	var choose func(from, cost int, chosen []int)
	choose = func(from, cost int, chosen []int) {
		if len(chosen) == len(notes) {
			if cost < least {
				best, least = slices.Clone(chosen), cost
			}
			return
		}
		for k := from; k < len(free); k++ {
			step := 0
			if l := lines[free[k]]; len(l) > 0 {
				step = l[len(l)-1].pitch - notes[len(chosen)].pitch
			}
			choose(k+1, cost+max(step, -step), append(chosen, free[k]))
		}
	}
	choose(0, 0, nil)
	return best
}
