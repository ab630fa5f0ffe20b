package notation

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"singback/internal/engrave"

	"gitlab.com/gomidi/midi/v2/smf"

	"singback/theory"
)

// played is a note of a MIDI file, in ticks.
type played struct {
	from, to int64
	pitch    int
	words    string
}

// maxQuarters bounds the time of a file, in quarter notes.
const maxQuarters = 20_000

// midi reads one track of a Standard MIDI File. Times that are no note values
// are moved to the nearest; pitches are spelled by the key.
func (r *reading) midi(b []byte) (s theory.Score, err error) {
	defer func() { // whatever the library makes of a broken event
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: a broken MIDI file: %v", ErrNotation, p)
		}
	}()
	tracks, quarter, err := midiTracks(b)
	if err != nil {
		return s, err
	}
	m := midiReader{reading: r, quarter: quarter}
	var lines []midiLine
	var sources []source
	for i, track := range tracks {
		line, err := m.track(i+1, track, -1)
		if err != nil {
			return s, err
		}
		lines = append(lines, line)
		sources = append(sources, source{[]string{line.name}, len(line.notes) > 0})
	}
	i, err := r.choose("track", r.options.Voice, sources)
	if err != nil {
		return s, err
	}
	chosen := &lines[i]
	if chosen.others != [16]bool{} {
		r.warn("the track plays on several channels: only the first one is read")
	}
	s.Title = chosen.name
	r.oneVoice(&chosen.notes)
	g := newGrid(chosen.notes, quarter)
	s.Notes = lineOf(chosen.notes, chosen.end, g)
	if !g.exact {
		r.warn("times were moved to the nearest sixteenth or triplet")
	}
	m.change(&s, g)
	s.Tempo = math.Round(m.tempo/engrave.Pulse(s.Meter).Float()*1000) / 1000
	r.rekey(&s)
	spell(&s)
	return s, nil
}

// midiReader collects what the tracks of a file say of the whole.
type midiReader struct {
	*reading
	again   bool    // what tracks say of the whole file was read before
	quarter int64   // ticks
	tempo   float64 // quarter notes a minute; 0: not said
	changes []midiChange
}

// midiChange is a change of key or of meter.
type midiChange struct {
	at    int64 // ticks
	key   *theory.Key
	meter *theory.Meter
}

// midiLine is what a track plays on its first channel.
type midiLine struct {
	name    string
	notes   []played
	end     int64       // ticks
	others  [16]bool    // the channels besides it
	channel int         // −1 before the first note
	words   string      // of the next note
	open    map[int]int // by pitch, the note that sounds
}

// track reads what a track, its number counted from 1, plays on a channel; −1 is the
// first one with notes.
func (m *midiReader) track(number int, track *midiTrack, channel int) (midiLine, error) {
	l := midiLine{channel: channel, open: map[int]int{}}
	for {
		delta, event, ok, err := track.next()
		if err != nil {
			return l, fmt.Errorf("%w: track %d of the MIDI file: %w", ErrNotation, number, err)
		}
		if l.end += int64(delta); l.end > maxQuarters*m.quarter {
			return l, fmt.Errorf("%w: track %d lasts more than %d quarter notes", ErrNotation, number, maxQuarters)
		}
		if !ok {
			break
		}
		if !m.again {
			m.meta(l.end, event)
		}
		l.event(event)
		if len(l.notes) > theory.MaxScoreNotes {
			return l, fmt.Errorf("%w: track %d has more than %d notes", ErrNotation, number, theory.MaxScoreNotes)
		}
	}
	for _, j := range l.open {
		l.notes[j].to = l.end
	}
	return l, nil
}

// meta reads what an event says of the whole file.
func (m *midiReader) meta(at int64, event smf.Message) {
	var num, den, clocks, thirty uint8
	var bpm float64
	var k smf.Key
	switch {
	case event.GetMetaTempo(&bpm):
		if m.tempo == 0 && bpm > 0 && bpm < 10_000 && !math.IsNaN(bpm) {
			m.tempo = bpm
		}
	case event.GetMetaTimeSig(&num, &den, &clocks, &thirty):
		meter := theory.Meter{Beats: int(num), Unit: int(den)}
		if !meter.Valid() {
			m.warn("the time signature %d/%d is not supported and was left out", num, den)
			return
		}
		m.changes = append(m.changes, midiChange{at: at, meter: &meter})
	case event.GetMetaKey(&k):
		fifths := int(k.Num)
		if k.IsFlat {
			fifths = -fifths
		}
		if fifths < -7 || fifths > 7 {
			return
		}
		key := keyOf(fifths)
		if !k.IsMajor {
			key = key.WithMode(theory.Minor)
		}
		m.changes = append(m.changes, midiChange{at: at, key: &key})
	}
}

// event reads what an event at the end of the line, as far as it was read, says
// of it.
func (l *midiLine) event(event smf.Message) {
	var ch, pitch, velocity uint8
	var text string
	switch {
	case event.GetMetaTrackName(&text):
		l.name = strings.ToValidUTF8(text, "?")
	case event.GetMetaLyric(&text):
		l.words = strings.ToValidUTF8(strings.Join(strings.Fields(text), " "), "?")
	case event.GetNoteStart(&ch, &pitch, &velocity):
		if ch == 9 {
			return // percussion
		}
		if l.channel < 0 {
			l.channel = int(ch)
		}
		if l.channel != int(ch) {
			l.others[ch] = true
			return
		}
		if j, ok := l.open[int(pitch)]; ok {
			l.notes[j].to = l.end
		}
		l.open[int(pitch)] = len(l.notes)
		l.notes = append(l.notes, played{from: l.end, to: -1, pitch: int(pitch), words: l.words})
		l.words = ""
	case event.GetNoteEnd(&ch, &pitch):
		if j, ok := l.open[int(pitch)]; ok && int(ch) == l.channel {
			l.notes[j].to = l.end
			delete(l.open, int(pitch))
		}
	}
}

// change sets key and meter of s and their changes, in order of time.
func (m *midiReader) change(s *theory.Score, g grid) {
	sort.SliceStable(m.changes, func(i, j int) bool { return m.changes[i].at < m.changes[j].at })
	now := theory.Change{Key: m.options.Key}
	var changes []theory.Change
	for _, c := range m.changes {
		if c.key != nil {
			now.Key = *c.key
		} else {
			now.Meter = *c.meter
		}
		now.At = g.time(c.at)
		if n := len(changes); n > 0 && changes[n-1].At == now.At {
			changes[n-1] = now
		} else {
			changes = append(changes, now)
		}
	}
	s.Key = now.Key
	if len(changes) > 0 && changes[0].At.Num == 0 {
		s.Key, s.Meter = changes[0].Key, changes[0].Meter
		changes = changes[1:]
	} else if len(changes) > 0 {
		s.Key = m.options.Key
	}
	// A first bar of a meter of its own that is shorter is a pickup.
	if len(changes) > 0 && s.Meter.Valid() && changes[0].Meter.Valid() && changes[0].At == s.Meter.Bar() && s.Meter.Bar().Less(changes[0].Meter.Bar()) {
		s.Start, s.Meter = s.Meter.Bar(), changes[0].Meter
		if changes[0].Key == s.Key {
			changes = changes[1:]
		}
	}
	length := s.Length()
	for i, c := range changes {
		before := theory.Change{Key: s.Key, Meter: s.Meter}
		if i > 0 {
			before = changes[i-1]
		}
		if (c.Key != before.Key || c.Meter != before.Meter) && c.At.Less(length) {
			s.Changes = append(s.Changes, c)
		}
	}
}

// oneVoice leaves the highest of notes that begin together, and ends each note
// where the next begins.
func (r *reading) oneVoice(notes *[]played) {
	ns := *notes
	sort.SliceStable(ns, func(i, j int) bool {
		return ns[i].from < ns[j].from || ns[i].from == ns[j].from && ns[i].pitch > ns[j].pitch
	})
	kept := ns[:0]
	for _, n := range ns {
		if last := len(kept) - 1; last >= 0 {
			if n.from == kept[last].from {
				r.warn("of notes that begin together only the highest one is read")
				continue
			}
			kept[last].to = min(kept[last].to, n.from)
		}
		kept = append(kept, n)
	}
	*notes = kept
}

// grid is where times may lie: anywhere if they are note values as they are,
// else on the sixteenths of each quarter or, where the notes that begin in it
// lie nearer to them, on its triplet eighths.
type grid struct {
	exact    bool
	quarter  int64
	triplets map[int]bool // by quarter
}

// beat is the quarter that a time belongs to: what comes a little early belongs
// to the next.
func (g grid) beat(t int64) int { return int(math.Floor(float64(t)/float64(g.quarter) + 0.1)) }

// on moves a time to the nearest of den parts of a quarter note.
func (g grid) on(t int64, den int) (f theory.Fraction, off float64) {
	x := float64(t) / float64(g.quarter)
	f = theory.NewFraction(int(math.Round(x*float64(den))), den)
	return f, math.Abs(f.Float() - x)
}

func newGrid(notes []played, quarter int64) grid {
	g := grid{exact: true, quarter: quarter, triplets: map[int]bool{}}
	exact := func(t int64) bool {
		d := theory.NewFraction(int(t), int(quarter)).Den
		return 48%d == 0 || 20%d == 0
	}
	nearer := map[int]float64{}
	for _, n := range notes {
		g.exact = g.exact && exact(n.from) && exact(n.to)
		_, four := g.on(n.from, 4)
		_, three := g.on(n.from, 3)
		nearer[g.beat(n.from)] += four - three
	}
	for beat, by := range nearer {
		g.triplets[beat] = by > 0.02 // clearly nearer
	}
	return g
}

// time returns a time in quarter notes.
func (g grid) time(t int64) theory.Fraction {
	if g.exact {
		if f := theory.NewFraction(int(t), int(g.quarter)); 960%f.Den == 0 {
			return f
		}
	}
	den := 4
	if g.triplets[g.beat(t)] {
		den = 3
	}
	f, _ := g.on(t, den)
	return f
}

// lineOf makes notes and rests, without pitches spelled.
func lineOf(notes []played, end int64, g grid) []theory.Written {
	var ws []theory.Written
	at := zero
	for i, n := range notes {
		from, to := g.time(n.from), g.time(n.to)
		if i+1 < len(notes) {
			next := g.time(notes[i+1].from)
			// Notes let go a little early, by less than half a beat or a third of
			// the way to the next, are not followed by a rest.
			gap := next.Minus(to)
			early := gap.Less(theory.Fraction{Num: 1, Den: 2}) || gap.Less(next.Minus(from).Times(theory.Fraction{Num: 1, Den: 3}))
			if !g.exact && early || next.Less(to) {
				to = next
			}
		}
		from = later(from, at)
		if !from.Less(to) {
			continue // too short to be written
		}
		if at.Less(from) {
			ws = append(ws, theory.Written{Rest: true, Length: from.Minus(at)})
		}
		// The octave holds the MIDI number until the line is spelled.
		ws = append(ws, theory.Written{Pitch: theory.Pitch{Octave: n.pitch}, Length: to.Minus(from), Words: n.words})
		at = to
	}
	if last := g.time(end); g.exact && at.Less(last) && last.Minus(at).Less(theory.Fraction{Num: 16, Den: 1}) {
		ws = append(ws, theory.Written{Rest: true, Length: last.Minus(at)})
	}
	return ws
}

func later(a, b theory.Fraction) theory.Fraction {
	if a.Less(b) {
		return b
	}
	return a
}

// spell gives the pitches of a line from MIDI their letters, by the key of the
// moment.
func spell(s *theory.Score) {
	at, k, changes := zero, s.Key, s.Changes
	var part []int // indices of the notes in one key
	finish := func() {
		above := make([]int, len(part))
		for i, j := range part {
			above[i] = s.Notes[j].Pitch.Octave - k.Tonic.PitchClass()
		}
		for i, d := range k.SpellLine(above) {
			n := &s.Notes[part[i]]
			midi := n.Pitch.Octave
			p := theory.Pitch{Note: k.Note(d)}
			p.Octave = (midi - p.MIDI()) / 12
			n.Pitch = p
		}
		part = part[:0]
	}
	for i, n := range s.Notes {
		if len(changes) > 0 && !at.Less(changes[0].At) {
			finish()
			for len(changes) > 0 && !at.Less(changes[0].At) {
				k, changes = changes[0].Key, changes[1:]
			}
		}
		if !n.Rest {
			part = append(part, i)
		}
		at = at.Plus(n.Length)
	}
	finish()
}
