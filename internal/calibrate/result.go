package calibrate

import (
	"strings"

	"singback/calib"
	"singback/internal/report"
	"singback/internal/session"
)

// Result is what a calibration came to.
type Result struct {
	Before    calib.Profile // what was known
	Found     session.Measured
	Stated    *calib.Voice // instead of the voice; nil: nothing was stated
	Widen     bool         // the notes count too that Before has
	Simulated bool         // a simulated singer was measured
	Outcomes  Outcomes
	On        calib.Date // today
}

// Something tells that there is anything to keep.
func (r Result) Something() bool { return r.Found != session.Measured{} || r.Stated != nil }

// Profile is what is known now: what was found or stated, and before that the old
// values.
func (r Result) Profile() calib.Profile {
	p, m := r.Before, r.Found
	p.Made = r.On
	p.Room = r.room()
	switch {
	case r.Stated != nil:
		p.Voice = r.Stated
	case m.Voice != nil:
		v := *m.Voice
		if p.Voice != nil {
			v.Kind = p.Voice.Kind
			if r.Widen {
				v = v.Widened(p.Voice.Comfortable)
			}
		}
		p.Voice = &v
	}
	if m.Tuned != nil {
		i := m.Tuned.Instrument(r.On)
		p.Instrument = &i
	}
	return p
}

// room is what is known of the room now. At least its noise must be known.
func (r Result) room() *calib.Room {
	old, m := r.Before.Room, r.Found
	switch {
	case m.Noise != nil:
		room := calib.NewRoom(r.On, m.Noise, m.Ease, m.Echo)
		if old != nil && m.Ease == nil {
			room.Voice, room.Peak, room.Clipped, room.Gate = old.Voice, old.Peak, old.Clipped, m.Noise.Gate(old.Voice)
		}
		if old != nil && m.Echo == nil {
			room.LeakTried, room.Leaks, room.Leak, room.Delay = old.LeakTried, old.Leaks, old.Leak, old.Delay
		}
		return &room
	case old != nil && (m.Ease != nil || m.Echo != nil):
		room, n := *old, calib.NewRoom(r.On, nil, m.Ease, m.Echo)
		room.Date = r.On
		if m.Ease != nil {
			room.Voice, room.Peak, room.Clipped = n.Voice, n.Peak, n.Clipped
		}
		if m.Echo != nil {
			room.LeakTried, room.Leaks, room.Leak, room.Delay = true, n.Leaks, n.Leak, n.Delay
		}
		return &room
	}
	return old
}

// Record makes the record of it, without the profile and where that was kept.
func (r Result) Record() report.Calibration {
	m := r.Found
	record := report.Calibration{
		Schema: report.Schema, Simulated: r.Simulated, Parts: r.Outcomes.all(r.Stated != nil),
		Noise: report.NewNoise(m.Noise), Ease: report.NewEase(m.Ease),
		Echo: report.NewEcho(m.Echo), Tuned: report.NewTuned(m.Tuned), Published: report.NewPublished(),
	}
	record.Advice = report.NewAdvice(r.advice(record.Parts))
	if v := r.Profile().Voice; v != nil {
		if from, to, ok := v.Again(); ok {
			record.Again = &report.AgainRecord{From: from.String(), To: to.String()}
		}
	}
	return record
}

// advice is what to do: about the room first, then about the parts that could not
// be measured.
func (r Result) advice(parts []report.CalibrationPart) []calib.Advice {
	m := r.Found
	var advice []calib.Advice
	if m.Noise != nil || m.Ease != nil || m.Echo != nil {
		room := calib.NewRoom(r.On, m.Noise, m.Ease, m.Echo)
		if known := r.room(); m.Noise == nil && known != nil {
			room = *known
		}
		advice = calib.Advise(room)
	}
	for _, p := range parts {
		switch {
		case p.Outcome != "not_measured":
		case p.Part == session.RoomPart.String():
			advice = append(advice, calib.BeSilent)
		case p.Part == session.InstrumentPart.String() && strings.Contains(*p.Reason, calib.ErrDetuned.Error()):
			advice = append(advice, calib.Retune)
		}
	}
	return advice
}
