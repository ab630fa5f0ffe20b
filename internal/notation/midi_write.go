package notation

import (
	"bytes"
	"fmt"
	"sort"

	"singback/internal/engrave"

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
	pulse := engrave.Pulse(s.Meter)
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
