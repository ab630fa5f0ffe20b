package notation

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"sort"
	"strings"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/smf"

	"singback/theory"
)

// writeMIDI writes a Standard MIDI File of one track: key, meter, tempo, words,
// notes.
func writeMIDI(s theory.Score) ([]byte, error) {
	const channel, velocity = 0, 80
	file := smf.New()
	file.TimeFormat = smf.MetricTicks(divisions)
	var track smf.Track
	type event struct {
		tick  int
		order int
		msg   []byte
	}
	var events []event
	ticks := func(f theory.Fraction) int { return f.Num * divisions / f.Den }
	add := func(at theory.Fraction, order int, msg []byte) {
		events = append(events, event{ticks(at), order, msg})
	}
	key := func(at theory.Fraction, k theory.Key) {
		n := k.Signature()
		add(at, 1, smf.MetaKey(uint8(k.Tonic.PitchClass()), k.Mode != theory.Minor, uint8(max(n, -n)), n < 0))
	}
	meter := func(at theory.Fraction, m theory.Meter) {
		if m.Valid() {
			add(at, 1, smf.MetaTimeSig(uint8(m.Beats), uint8(m.Unit), uint8(24*m.Pulse().Num/m.Pulse().Den), 8))
		}
	}
	if s.Title != "" {
		add(zero, 0, smf.MetaTrackSequenceName(s.Title))
	}
	pulse := theory.Fraction{Num: 1, Den: 1}
	if s.Meter.Valid() {
		pulse = s.Meter.Pulse()
	}
	if s.Tempo > 0 {
		add(zero, 1, smf.MetaTempo(s.Tempo*pulse.Float()))
	}
	key(zero, s.Key)
	// A pickup is a short bar of its own.
	first := s.Meter
	if s.Start.Num > 0 && s.Meter.Valid() {
		if m, ok := meterOf(s.Start); ok {
			first = m
			meter(s.Start, s.Meter)
		}
	}
	meter(zero, first)
	nowKey, nowMeter := s.Key, s.Meter
	for _, c := range s.Changes {
		if c.Key != nowKey {
			key(c.At, c.Key)
		}
		if c.Meter != nowMeter {
			meter(c.At, c.Meter)
		}
		nowKey, nowMeter = c.Key, c.Meter
	}
	at := zero
	for _, n := range s.Notes {
		end := at.Plus(n.Length)
		if !n.Rest {
			if n.Words != "" {
				add(at, 2, smf.MetaLyric(n.Words))
			}
			pitch := uint8(n.Pitch.MIDI())
			add(at, 3, midi.NoteOn(channel, pitch, velocity))
			add(end, 0, midi.NoteOff(channel, pitch))
		}
		at = end
	}
	sort.SliceStable(events, func(i, j int) bool {
		a, b := events[i], events[j]
		return a.tick < b.tick || a.tick == b.tick && a.order < b.order
	})
	last := 0
	for _, e := range events {
		track.Add(uint32(e.tick-last), e.msg)
		last = e.tick
	}
	track.Close(uint32(ticks(at) - last))
	if err := file.Add(track); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotation, err)
	}
	var b bytes.Buffer
	if _, err := file.WriteTo(&b); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotation, err)
	}
	return b.Bytes(), nil
}

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
	type meta struct {
		at    int64
		key   *theory.Key
		meter *theory.Meter
	}
	var metas []meta
	type line struct {
		name   string
		notes  []played
		end    int64
		others bool // channels besides the first
	}
	var lines []line
	var sources []source
	for i, track := range tracks {
		at := int64(0)
		open := map[int]int{} // by pitch, the note that sounds
		var notes []played
		name, words := "", ""
		channel := -1
		others := false
		for {
			delta, m, ok, err := track.next()
			if err != nil {
				return s, fmt.Errorf("%w: track %d of the MIDI file: %w", ErrNotation, i+1, err)
			}
			if at += int64(delta); at > maxQuarters*quarter {
				return s, fmt.Errorf("%w: track %d lasts more than %d quarter notes", ErrNotation, i+1, maxQuarters)
			}
			if !ok {
				break
			}
			var ch, pitch, velocity uint8
			var num, den, clocks, thirty uint8
			var bpm float64
			var text string
			var k smf.Key
			switch {
			case m.GetMetaTrackName(&text):
				name = strings.ToValidUTF8(text, "?")
			case m.GetMetaLyric(&text):
				words = strings.ToValidUTF8(strings.Join(strings.Fields(text), " "), "?")
			case m.GetMetaTempo(&bpm):
				if s.Tempo == 0 && bpm > 0 && bpm < 10_000 && !math.IsNaN(bpm) {
					s.Tempo = bpm
				}
			case m.GetMetaTimeSig(&num, &den, &clocks, &thirty):
				meter := theory.Meter{Beats: int(num), Unit: int(den)}
				if !meter.Valid() {
					r.warn("the time signature %d/%d is not supported and was left out", num, den)
					continue
				}
				metas = append(metas, meta{at: at, meter: &meter})
			case m.GetMetaKey(&k):
				fifths := int(k.Num)
				if k.IsFlat {
					fifths = -fifths
				}
				if fifths < -7 || fifths > 7 {
					continue
				}
				key := keyOf(fifths)
				if !k.IsMajor {
					key = key.WithMode(theory.Minor)
				}
				metas = append(metas, meta{at: at, key: &key})
			case m.GetNoteStart(&ch, &pitch, &velocity):
				if ch == 9 {
					continue // percussion
				}
				if channel < 0 {
					channel = int(ch)
				}
				if channel != int(ch) {
					others = true
					continue
				}
				if j, ok := open[int(pitch)]; ok {
					notes[j].to = at
				}
				open[int(pitch)] = len(notes)
				notes = append(notes, played{from: at, to: -1, pitch: int(pitch), words: words})
				words = ""
				if len(notes) > theory.MaxScoreNotes {
					return s, fmt.Errorf("%w: track %d has more than %d notes", ErrNotation, i+1, theory.MaxScoreNotes)
				}
			case m.GetNoteEnd(&ch, &pitch):
				if j, ok := open[int(pitch)]; ok && int(ch) == channel {
					notes[j].to = at
					delete(open, int(pitch))
				}
			}
		}
		for _, j := range open {
			notes[j].to = at
		}
		lines = append(lines, line{name, notes, at, others})
		sources = append(sources, source{[]string{name}, len(notes) > 0})
	}
	i, err := r.choose("track", r.options.Voice, sources)
	if err != nil {
		return s, err
	}
	if lines[i].others {
		r.warn("the track plays on several channels: only the first one is read")
	}
	s.Title = lines[i].name
	chosen, end := lines[i].notes, lines[i].end
	r.oneVoice(&chosen)
	g := newGrid(chosen, quarter)
	s.Notes = lineOf(chosen, end, g)
	if !g.exact {
		r.warn("times were moved to the nearest sixteenth or triplet")
	}
	// Key and meter, in order of time.
	sort.SliceStable(metas, func(i, j int) bool { return metas[i].at < metas[j].at })
	now := theory.Change{Key: r.options.Key}
	var changes []theory.Change
	for _, m := range metas {
		at := g.time(m.at)
		if m.key != nil {
			now.Key = *m.key
		} else {
			now.Meter = *m.meter
		}
		now.At = at
		if n := len(changes); n > 0 && changes[n-1].At == at {
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
		s.Key = r.options.Key
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
	if s.Tempo > 0 && s.Meter.Valid() {
		s.Tempo /= s.Meter.Pulse().Float()
	}
	s.Tempo = math.Round(s.Tempo*1000) / 1000
	r.rekey(&s)
	spell(&s)
	return s, nil
}

// maxTracks bounds the tracks of a MIDI file.
const maxTracks = 1024

// midiTracks finds the tracks of a MIDI file and the ticks of a quarter note. No
// length that the file states is believed before so much is there: the library
// would set aside what an event says of itself, up to 4 GiB for a few bytes, so
// that files are walked here and it is shown one event at a time.
func midiTracks(b []byte) (tracks []*midiTrack, quarter int64, err error) {
	broken := func(format string, args ...any) ([]*midiTrack, int64, error) {
		return nil, 0, fmt.Errorf("%w: "+format, append([]any{ErrNotation}, args...)...)
	}
	if bytes.HasPrefix(b, []byte("RIFF")) { // a MIDI file in a RIFF one
		i := bytes.Index(b[:min(len(b), 64)], []byte("MThd"))
		if i < 0 {
			return broken("a RIFF file without a MIDI file in it")
		}
		b = b[i:]
	}
	said := -1 // tracks, by the header
	for len(b) >= 8 && (said < 0 || len(tracks) < said) {
		name := string(b[:4])
		n := int64(binary.BigEndian.Uint32(b[4:]))
		if n > int64(len(b)-8) {
			return broken("a MIDI file cut short: a chunk of %d bytes where %d are left", n, len(b)-8)
		}
		data := b[8 : 8+n]
		b = b[8+n:]
		switch {
		case said < 0 && (name != "MThd" || n < 6):
			return broken("a broken MIDI file: it has no header of six bytes")
		case said < 0:
			format, division := binary.BigEndian.Uint16(data), binary.BigEndian.Uint16(data[4:])
			if said = int(binary.BigEndian.Uint16(data[2:])); said > maxTracks || format > 2 {
				return broken("a MIDI file of format %d with %d tracks; want format 0 to 2 and at most %d tracks", format, said, maxTracks)
			}
			if division&0x8000 != 0 || division == 0 {
				return broken("a MIDI file in time code (SMPTE); want one in ticks a quarter note")
			}
			quarter = int64(division)
		case name == "MTrk":
			tracks = append(tracks, &midiTrack{data: data})
		}
	}
	if said < 0 {
		return broken("a MIDI file cut short: it has no header")
	}
	if len(tracks) < said {
		return broken("a MIDI file cut short: it says that it has %d tracks, and %d are there", said, len(tracks))
	}
	return tracks, quarter, nil
}

// midiTrack goes through the events of one track.
type midiTrack struct {
	data   []byte
	at     int
	status byte // the running one; 0: none
	short  [3]byte
}

// next returns the next event, which stays as it is until the call after; ok is
// false at the end of the track.
func (t *midiTrack) next() (delta uint32, m smf.Message, ok bool, err error) {
	if t.at == len(t.data) { // without its end of track
		return 0, nil, false, nil
	}
	start := t.at
	broken := func(format string, args ...any) (uint32, smf.Message, bool, error) {
		return 0, nil, false, fmt.Errorf("the event at byte %d: %s", start, fmt.Sprintf(format, args...))
	}
	delta, fits := t.number()
	if !fits || t.at == len(t.data) {
		return broken("its time or what comes after is cut short")
	}
	status := t.data[t.at]
	switch {
	case status == 0xff || status == 0xf0 || status == 0xf7:
		from := t.at
		t.at++
		if status == 0xff {
			t.at++ // the kind
		}
		n, fits := t.number()
		if !fits {
			return broken("its length is cut short or has more than four bytes")
		}
		if left := len(t.data) - t.at; int64(n) > int64(left) {
			return broken("a length of %d bytes where %d are left", n, left)
		}
		t.at += int(n)
		t.status = 0
		m = t.data[from:t.at]
		return delta, m, status != 0xff || t.data[from+1] != 0x2f, nil
	case status >= 0xf0:
		return broken("a status of %#x, which files do not have", status)
	case status >= 0x80:
		t.status = status
		t.at++
	case t.status == 0:
		return broken("%#x where a status is wanted", status)
	}
	n := 2
	if kind := t.status & 0xf0; kind == 0xc0 || kind == 0xd0 {
		n = 1
	}
	if left := len(t.data) - t.at; left < n {
		return broken("%d bytes where %d are wanted", left, n)
	}
	t.short[0] = t.status
	copy(t.short[1:], t.data[t.at:t.at+n])
	for _, c := range t.short[1 : 1+n] {
		if c >= 0x80 {
			return broken("a value of %d; want at most 127", c)
		}
	}
	t.at += n
	return delta, t.short[:1+n], true, nil
}

// number reads a number of variable length, of at most four bytes.
func (t *midiTrack) number() (n uint32, ok bool) {
	for range 4 {
		if t.at >= len(t.data) {
			return n, false
		}
		c := t.data[t.at]
		t.at++
		n = n<<7 | uint32(c&0x7f)
		if c < 0x80 {
			return n, true
		}
	}
	return n, false
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
