package notation

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"gitlab.com/gomidi/midi/v2/smf"
)

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
