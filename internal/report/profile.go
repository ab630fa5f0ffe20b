package report

import (
	"fmt"
	"strings"

	"singback/calib"
	"singback/exercise"
	"singback/theory"
)

// Notes is a span of pitches by name and as MIDI numbers, limits included.
type Notes struct {
	Low      string `json:"low"`
	High     string `json:"high"`
	LowMIDI  int    `json:"low_midi"`
	HighMIDI int    `json:"high_midi"`
}

// VoiceRecord is the voice in a [Profile].
type VoiceRecord struct {
	Date        string   `json:"date"`
	Stated      bool     `json:"stated"` // as the singer said, not measured
	Kind        *string  `json:"kind"`
	Growing     bool     `json:"growing"`
	Comfortable Notes    `json:"comfortable"`
	Working     Notes    `json:"working"` // what drills ask for
	Tessitura   *Notes   `json:"tessitura"`
	Notes       int      `json:"notes"`
	ErrorCents  *float64 `json:"error_cents"` // null where nothing was sung
	SpreadCents *float64 `json:"spread_cents"`
}

// RoomRecord is the room in a [Profile].
type RoomRecord struct {
	Date      string   `json:"date"`
	FloorDBFS float64  `json:"floor_dbfs"`
	GateDBFS  float64  `json:"gate_dbfs"`
	HumHz     *float64 `json:"hum_hz"`
	Fan       bool     `json:"fan"`
	VoiceDBFS *float64 `json:"voice_dbfs"` // null where nobody sang
	PeakDBFS  *float64 `json:"peak_dbfs"`
	Clipped   bool     `json:"clipped"`
	LeakTried bool     `json:"leak_tried"`
	Leaks     bool     `json:"leaks"`
	LeakDB    *float64 `json:"leak_db"`
	DelayS    *float64 `json:"delay_s"`
}

// InstrumentRecord is the instrument in a [Profile].
type InstrumentRecord struct {
	Date    string   `json:"date"`
	A4Hz    float64  `json:"a4_hz"`
	Stated  bool     `json:"stated"`
	SECents *float64 `json:"se_cents"`
	Notes   int      `json:"notes"`
}

// Profile is the record of what is known of a singer. What is not known is
// null.
type Profile struct {
	Schema     int               `json:"schema"`
	Name       string            `json:"name"`
	Made       string            `json:"made"`
	File       string            `json:"file"`
	Current    bool              `json:"current"`
	Voice      *VoiceRecord      `json:"voice"`
	Room       *RoomRecord       `json:"room"`
	Instrument *InstrumentRecord `json:"instrument"`
	Style      *string           `json:"style"`
}

// NewProfile makes the record of a profile in a file.
func NewProfile(p calib.Profile, file string, current bool) Profile {
	out := Profile{Schema: Schema, Name: p.Name, Made: p.Made.String(), File: file, Current: current}
	if v := p.Voice; v != nil {
		r := &VoiceRecord{
			Date: v.Date.String(), Stated: v.Stated, Growing: v.Growing, Notes: v.Notes,
			Comfortable: newNotes(v.Comfortable), Working: newNotes(exercise.Working(v.Comfortable)),
		}
		if v.Kind != "" {
			r.Kind = &v.Kind
		}
		if v.Tessitura != (theory.Range{}) {
			t := newNotes(v.Tessitura)
			r.Tessitura = &t
		}
		if v.Notes > 0 {
			r.ErrorCents, r.SpreadCents = number(v.Error, 2), number(v.Spread, 2)
		}
		out.Voice = r
	}
	if m := p.Room; m != nil {
		r := &RoomRecord{
			Date: m.Date.String(), FloorDBFS: round(m.Floor, 1), GateDBFS: round(m.Gate, 1), Fan: m.Fan,
			Clipped: m.Clipped, LeakTried: m.LeakTried, Leaks: m.Leaks,
		}
		if m.Voice != 0 {
			r.VoiceDBFS, r.PeakDBFS = number(m.Voice, 1), number(m.Peak, 1)
		}
		if m.Hum > 0 {
			r.HumHz = number(m.Hum, 1)
		}
		if m.Leaks {
			r.LeakDB = number(m.Leak, 1)
		}
		if m.Delay > 0 {
			r.DelayS = number(m.Delay, 4)
		}
		out.Room = r
	}
	if i := p.Instrument; i != nil {
		r := &InstrumentRecord{Date: i.Date.String(), A4Hz: round(i.A4, 4), Stated: i.Notes == 0, Notes: i.Notes}
		if i.Notes > 0 {
			r.SECents = number(i.SE, 2)
		}
		out.Instrument = r
	}
	if p.Style != "" {
		out.Style = &p.Style
	}
	return out
}

func newNotes(r theory.Range) Notes {
	return Notes{PitchName(r.Low), PitchName(r.High), r.Low, r.High}
}

// sharps are the names of the notes from C up.
var sharps = strings.Fields("C C# D D# E F F# G G# A A# B")

// PitchName names a MIDI number, with a sharp where it needs one.
func PitchName(midi int) string { return fmt.Sprintf("%s%d", sharps[midi%12], midi/12-1) }

func (n Notes) words() string { return n.Low + " to " + n.High }

// Profile says what is known of a singer, in lines of at most 80 cells.
func (s Style) Profile(p Profile) string {
	var b strings.Builder
	row := func(head, format string, args ...any) {
		fmt.Fprintf(&b, "%-12s%s\n", head, fmt.Sprintf(format, args...))
	}
	fmt.Fprintf(&b, "%s, changed %s\n\n", p.Name, p.Made)
	if v := p.Voice; v == nil {
		row("voice", "not known: safe defaults, about middle C")
	} else {
		how := "measured " + v.Date
		if v.Stated {
			how = "as stated " + v.Date + ", not measured"
		}
		if v.Kind != nil {
			how = *v.Kind + ", " + how
		}
		row("voice", "%s comfortable (%s)", v.Comfortable.words(), how)
		line := "drills ask " + v.Working.words()
		if v.Tessitura != nil {
			line += "; most at ease " + v.Tessitura.words()
		}
		row("", "%s", line)
		if v.ErrorCents != nil {
			row("", "notes %g cents off (median of %d), steady within %g", *v.ErrorCents, v.Notes, *v.SpreadCents)
		}
		if v.Growing {
			row("", "a growing voice: calibrate it again after 6 to 8 weeks")
		}
	}
	if r := p.Room; r == nil {
		row("room", "not known")
	} else {
		row("room", "floor %g dBFS, noise gate %g dBFS (%s)", r.FloorDBFS, r.GateDBFS, r.Date)
		if r.VoiceDBFS != nil {
			row("", "singing at ease %g dBFS, peaks %g dBFS", *r.VoiceDBFS, *r.PeakDBFS)
		}
		if r.HumHz != nil {
			row("", "the mains hum at %g Hz", *r.HumHz)
		}
		if r.Fan {
			row("", "a fan or the like")
		}
		if r.Clipped {
			row("", "singing at ease overloads the microphone: turn it down")
		}
		switch {
		case r.Leaks:
			row("", "the microphone hears the loudspeaker: use headphones")
		case r.LeakTried:
			row("", "the microphone does not hear the loudspeaker")
		}
		if r.DelayS != nil {
			row("", "%.0f ms from playback to capture", *r.DelayS*1000)
		}
	}
	switch i := p.Instrument; {
	case i == nil:
		row("instrument", "not known: A4 = 440 Hz")
	case i.Stated:
		row("instrument", "A4 = %g Hz (as stated %s, not measured)", i.A4Hz, i.Date)
	default:
		row("instrument", "A4 = %g Hz %s%g cents, from %d notes (%s)", round(i.A4Hz, 2), s.plusMinus(), *i.SECents, i.Notes, i.Date)
	}
	if p.Style != nil {
		row("style", "%s, of the harmony (as stated)", *p.Style)
	}
	return b.String()
}

// Singers is the record of the singers on a machine.
type Singers struct {
	Schema  int      `json:"schema"`
	Folder  string   `json:"folder"`
	Current *string  `json:"current"` // null where nobody is
	Singers []Singer `json:"singers"`
}

// Singer is one of them.
type Singer struct {
	Name    string  `json:"name"`
	Made    *string `json:"made"` // null where the file cannot be read
	File    string  `json:"file"`
	Problem *string `json:"problem"` // why it cannot be read
}

// Text lists the singers; * marks the current one. Nobody tells that none was
// chosen.
func (s Singers) Text(nobody bool) string {
	var b strings.Builder
	for _, one := range s.Singers {
		mark, what := " ", ""
		if s.Current != nil && one.Name == *s.Current {
			mark = "*"
		}
		if one.Problem != nil {
			what = "cannot be read: " + *one.Problem
		} else {
			what = "changed " + *one.Made
		}
		fmt.Fprintf(&b, "%s %-12s  %s\n", mark, one.Name, what)
	}
	if len(s.Singers) == 0 {
		b.WriteString("Nobody has a profile yet.\n")
	}
	if nobody {
		b.WriteString("No profile is in use, as you chose.\n")
	}
	return b.String()
}
