// Package calib measures the singer, the room and the instrument once, so that
// everything else can fit them. It works on tracks, levels and samples that it
// is given; it opens no device, asks no questions and reads no clock.
//
// Whatever is measured passes [Profile.Validate]. The range test never asks for the
// same extreme twice in a row, never goes on after the singer's word, and never widens
// a range by what was not sung. No level is dB SPL.
//
// The delay from playback to capture is the mean of eight: blocks of input and output
// scatter a single one over some 20 ms, and on a busy machine the mean still moves by a
// few. What the tracker keeps in mind of a range is the comfortable one and seven
// semitones beyond it at both ends.
package calib

import (
	"fmt"
	"unicode"
	"unicode/utf8"

	"singback/theory"
)

// Version is the version of the Profile's fields as they are kept on disk.
const Version = 1

// Profile is what is known of one singer with one microphone in one room. Each
// part is nil until it was measured or stated; without it safe defaults hold.
type Profile struct {
	Version int
	Name    string // of the singer, as the singer chose it
	Made    Date   // when it was last changed

	Voice      *Voice
	Room       *Room
	Instrument *Instrument
	Style      string // the singer's style of harmony, as theory.Style writes it; "" where none was stated
}

// Date is a day, as the caller's calendar has it.
type Date struct{ Year, Month, Day int }

// Voice is a singer's range and how well the singer sings now. Pitches are MIDI
// numbers in the tuning of the time.
type Voice struct {
	Date Date
	// Stated tells that the singer typed it in; it was not measured.
	Stated bool
	Kind   string // "tenor", one of the names of voices, where the singer said so; ""
	// Growing marks a child's or changing voice, which is tested again after 6
	// to 8 weeks.
	Growing     bool
	Comfortable theory.Range // lowest and highest comfortable note
	Tessitura   theory.Range // where the voice lies most at ease, within Comfortable

	// The rest is measured: Notes is how many notes it rests on, 0 if stated.
	Notes  int
	Error  theory.Cents // median absolute distance of a note from the one asked
	Spread theory.Cents // median SD within a held note
}

// Room is the microphone, the room, and what the microphone hears of the
// loudspeaker. Levels are dBFS, which says nothing of dB SPL: the microphone is
// not calibrated.
type Room struct {
	Date  Date
	Floor float64 // level of the room when nobody sings
	Gate  float64 // what lies below is not the singer: goes to pitch.Config.MinLevel
	Hum   float64 // 50 or 60 Hz where mains hum was found, else 0
	Fan   bool    // steady broadband noise well above the microphone's own
	Voice float64 // level of the singer at ease
	Peak  float64 // highest peak of the singer at ease
	// Clipped tells that the singer at ease overloaded the microphone.
	Clipped bool

	// LeakTried tells that a test sound was played. Leak is how loud it came
	// back, against what was played, in decibels; Leaks tells that it was heard.
	LeakTried bool
	Leaks     bool
	Leak      float64
	Delay     float64 // seconds from playback to capture; 0 where it was not heard
}

// Instrument is the tuning of the singer's keyboard.
type Instrument struct {
	Date  Date
	A4    float64      // hertz
	SE    theory.Cents // standard error of A4
	Notes int          // notes that it rests on
}

// Limits of what a profile may hold, all allowed. The range of pitches is that
// of a piano and a little beyond every voice; a gate above MaxGate would shut
// singers out.
const (
	MaxName            = 40      // characters
	LowestMIDI         = 21      // A0
	HighestMIDI        = 108     // C8
	MinLevel           = -120.0  // dBFS
	MaxGate            = -20.0   // dBFS
	MaxPeak            = 20.0    // dBFS: samples in floating point may exceed full scale
	MaxLeak            = 60.0    // dB
	MaxDelay           = 5.0     // seconds
	MaxNotes           = 100_000 // notes that a number rests on
	maxCents           = 1200.0  // of an error or a spread
	firstYear, endYear = 1900, 10_000
)

// Invalid is the error about a field of a profile.
type Invalid struct {
	Field   string // as "voice.comfortable" or "name"
	Problem string // what is wrong, and what would be right
}

// Error names the field and says what is wrong with it.
func (e Invalid) Error() string { return e.Field + ": " + e.Problem }

// Validate reports the first field that makes no sense, as an [Invalid].
func (p Profile) Validate() error {
	var v validator
	v.number("version", float64(p.Version), 1, Version)
	v.name(p.Name)
	v.date("made", p.Made)
	if s := p.Voice; s != nil {
		v.date("voice.date", s.Date)
		v.pitches("voice.comfortable", s.Comfortable)
		if s.Tessitura != (theory.Range{}) {
			v.pitches("voice.tessitura", s.Tessitura)
			if s.Tessitura.Low < s.Comfortable.Low || s.Tessitura.High > s.Comfortable.High {
				v.bad("voice.tessitura", "it lies outside voice.comfortable")
			}
		}
		v.number("voice.notes", float64(s.Notes), 0, MaxNotes)
		v.number("voice.error_cents", s.Error, 0, maxCents)
		v.number("voice.spread_cents", s.Spread, 0, maxCents)
	}
	if r := p.Room; r != nil {
		v.date("room.date", r.Date)
		v.number("room.floor_dbfs", r.Floor, MinLevel, MaxPeak)
		v.number("room.gate_dbfs", r.Gate, MinLevel, MaxGate)
		if r.Hum != 0 && r.Hum != 50 && r.Hum != 60 {
			v.bad("room.hum_hz", "%g is no frequency of the mains: want 50 or 60, or 0 for none", r.Hum)
		}
		v.number("room.voice_dbfs", r.Voice, MinLevel, MaxPeak)
		v.number("room.peak_dbfs", r.Peak, MinLevel, MaxPeak)
		v.number("room.leak_db", r.Leak, MinLevel-MaxLeak, MaxLeak)
		v.number("room.delay_s", r.Delay, 0, MaxDelay)
	}
	if i := p.Instrument; i != nil {
		v.date("instrument.date", i.Date)
		v.number("instrument.a4_hz", i.A4, theory.MinA4, theory.MaxA4)
		v.number("instrument.se_cents", i.SE, 0, maxCents)
		v.number("instrument.notes", float64(i.Notes), 0, MaxNotes)
	}
	if p.Style != "" {
		if s, err := theory.ParseStyle(p.Style); err != nil || s.String() != p.Style {
			v.bad("style", "%.20q is no style: want one like hymn, pop or gospel", p.Style)
		}
	}
	return v.err
}

// validator keeps the first thing that is wrong.
type validator struct{ err error }

func (v *validator) bad(field, format string, args ...any) {
	if v.err == nil {
		v.err = Invalid{field, fmt.Sprintf(format, args...)}
	}
}

func (v *validator) number(field string, x, low, high float64) {
	if !(x >= low && x <= high) { // also refuses NaN
		v.bad(field, "%g is out of range: want %g to %g", x, low, high)
	}
}

func (v *validator) name(s string) {
	n := utf8.RuneCountInString(s)
	switch {
	case n == 0:
		v.bad("name", "it is missing")
	case n > MaxName:
		v.bad("name", "it has %d characters: want %d at most", n, MaxName)
	case !utf8.ValidString(s):
		v.bad("name", "it is not UTF-8")
	}
	for _, r := range s {
		if !unicode.IsPrint(r) {
			v.bad("name", "%q cannot be printed", r)
		}
	}
}

func (v *validator) date(field string, d Date) {
	days := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}
	if d.Year%4 == 0 && (d.Year%100 != 0 || d.Year%400 == 0) {
		days[1] = 29
	}
	if d.Year < firstYear || d.Year >= endYear || d.Month < 1 || d.Month > 12 || d.Day < 1 || d.Day > days[d.Month-1] {
		v.bad(field, "%s is no day: want one like 2026-11-25", d)
	}
}

func (v *validator) pitches(field string, r theory.Range) {
	if r.Low < LowestMIDI || r.High > HighestMIDI {
		v.bad(field, "a note is out of range: want A0 to C8")
	}
	if r.Low > r.High {
		v.bad(field, "the lowest note lies above the highest")
	}
}

// String writes the day as ISO 8601 has it: 2026-11-25.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }
