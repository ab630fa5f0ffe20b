// Package calib measures the singer, the room and the instrument once, so that
// everything else can fit them. It works on tracks, levels and samples that it
// is given; it opens no device, asks no questions and reads no clock.
package calib

import "singback/theory"

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
}

// Date is a day, as the caller's calendar has it.
type Date struct{ Year, Month, Day int }

// Range is a span of pitches as MIDI numbers, limits included.
type Range struct{ Low, High int }

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
	Comfortable Range // lowest and highest comfortable note
	Tessitura   Range // where the voice lies most at ease, within Comfortable

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
