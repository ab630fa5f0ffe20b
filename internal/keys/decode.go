package keys

import (
	"time"

	"gitlab.com/gomidi/midi/v2"
	"gitlab.com/gomidi/midi/v2/drivers"

	"singback/internal/keys/strike"
)

// Change is a key or the pedal that went down or up.
type Change = strike.Change

// The controllers that matter here (MIDI 1.0, from memory).
const (
	sustainPedal  = 64
	pedalDown     = 64 // its value from which it is down: some pedals send all values
	allSoundOff   = 120
	resetAll      = 121
	allNotesOff   = 123
	activeSensing = 0xfe
)

// sensing is how long there is silence at most once a keyboard has sent active sensing:
// 300 ms (MIDI 1.0, from memory). A little more, since an operating system hands on late.
const sensing = 350 * time.Millisecond

// decoder turns bytes into changes, however they are split into packets.
type decoder struct {
	reader  *drivers.Reader
	changes []Change
	at      time.Time
	held    [128]bool
	pedal   bool
	senses  bool // active sensing has come
}

func newDecoder() *decoder {
	d := &decoder{}
	d.reader = drivers.NewReader(drivers.ListenConfig{}, func(message []byte, _ int32) { d.message(message) })
	return d
}

// push takes in bytes that came at a time, and returns what changed. What it returns
// is overwritten by the next call.
func (d *decoder) push(bytes []byte, at time.Time) []Change {
	d.changes, d.at = d.changes[:0], at
	for i, b := range bytes {
		if b >= 0x80 && b < 0xf8 {
			d.reader.Reset() // a message that was cut short is none: the reader would go on with it
		}
		d.reader.EachMessage(bytes[i:i+1], 0)
	}
	return d.changes
}

// silent lets go of all keys of a keyboard that has sent active sensing, and then
// nothing for too long.
func (d *decoder) silent(at time.Time) []Change {
	d.changes, d.at, d.senses = d.changes[:0], at, false
	d.release()
	return d.changes
}

func (d *decoder) message(bytes []byte) {
	message := midi.Message(bytes)
	var channel, key, value uint8
	switch {
	case bytes[0] == activeSensing:
		d.senses = true
	case message.GetNoteStart(&channel, &key, &value):
		d.key(int(key), true)
	case message.GetNoteEnd(&channel, &key):
		d.key(int(key), false)
	case message.GetControlChange(&channel, &key, &value):
		switch key {
		case sustainPedal:
			d.press(value >= pedalDown)
		case allSoundOff, allNotesOff:
			for k := range d.held {
				d.key(k, false)
			}
		case resetAll:
			d.press(false)
		}
	}
}

// key takes note of a key; one that is struck again while it is down changes twice.
func (d *decoder) key(k int, down bool) {
	if !down && !d.held[k] {
		return
	}
	if down && d.held[k] {
		d.changes = append(d.changes, Change{Key: k, At: d.at})
	}
	d.held[k] = down
	d.changes = append(d.changes, Change{Key: k, Down: down, At: d.at})
}

func (d *decoder) press(down bool) {
	if d.pedal != down {
		d.pedal = down
		d.changes = append(d.changes, Change{Pedal: true, Down: down, At: d.at})
	}
}

func (d *decoder) release() {
	for k := range d.held {
		d.key(k, false)
	}
	d.press(false)
}
