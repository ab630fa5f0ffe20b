package exercise

import (
	"fmt"
	"math"

	"singback/pitch"
	"singback/theory"
)

// PhraseWindow says when the window for a whole line closes. All lengths are in
// seconds of sound heard.
type PhraseWindow struct {
	// Length is how long the line is expected to last; 0 where the singer's
	// tempo is not known.
	Length float64
	// Notes is how many notes are expected where no length is: then Silence ends the
	// line once so many were sung. 0: Length tells.
	Notes int
	// Struck tells that notes are struck and ring on: what counts is when they begin.
	Struck bool
	// Silence ends the line once Length has passed since the first note, and
	// Pause before that: who hesitates is given time. Silence ≤ Pause.
	Silence, Pause float64
	Timeout        float64 // nothing was begun for this long: give up; 0 = wait for the end of the recording
	Longest        float64 // close at the latest after this; 0 = at the end of the recording
}

// NewPhraseWindow returns the window of a live line that is expected to last
// length seconds: 1.5 s of silence after it, 4 s within it, 10 s to begin, and
// three times its length and 20 s at the longest (common practice).
func NewPhraseWindow(length float64) PhraseWindow {
	return PhraseWindow{Length: length, Silence: 1.5, Pause: 4, Timeout: 10, Longest: 3*length + 20}
}

// NewNotesWindow returns the window of a live answer of so many notes, each of which
// may be thought about: 2 s of silence after them, 4 s between them, 10 s to begin,
// and 6 s for each and 20 s at the longest (common practice).
func NewNotesWindow(notes int) PhraseWindow {
	return PhraseWindow{Notes: notes, Silence: 2, Pause: 4, Timeout: 10, Longest: 6*float64(notes) + 20}
}

// Recorded returns the same window for a recording: it ends with the recording.
func (w PhraseWindow) Recorded() PhraseWindow {
	return PhraseWindow{Length: w.Length, Notes: w.Notes, Struck: w.Struck}
}

// Validate reports the first length that makes no sense.
func (w PhraseWindow) Validate() error {
	switch {
	case !(w.Length >= 0 && w.Length <= 3600):
		return fmt.Errorf("a line of %g s is out of range: want 0 to 3600", w.Length)
	case w.Struck && w.Notes < 1:
		return fmt.Errorf("a line of %d struck notes: want at least 1", w.Notes)
	case w.Notes < 0 || w.Notes > 0 && w.Length > 0:
		return fmt.Errorf("a line of %d notes and %g s: want one of them", w.Notes, w.Length)
	case !(w.Silence >= 0 && w.Silence <= w.Pause):
		return fmt.Errorf("a closing silence of %g s and a pause of %g s: want 0 or more, the pause no shorter", w.Silence, w.Pause)
	case !(w.Timeout >= 0) || !(w.Longest >= 0):
		return fmt.Errorf("timeouts of %g and %g s: want 0 or more", w.Timeout, w.Longest)
	}
	return nil
}

// PhraseTake is what was heard of a whole line, its notes apart.
type PhraseTake struct {
	SampleRate int
	Heard      int64   // samples in the window
	Loudest    float64 // highest level of a frame in dBFS
	Voiced     float64 // seconds of pitched sound
	Lost       bool    // the driver lost samples inside the window
}

// Seconds returns a number of samples as time.
func (t PhraseTake) Seconds(samples int64) float64 { return float64(samples) / float64(t.SampleRate) }

// PhraseAttempt follows the singing of a whole line to find its end. Feed it the points of the
// tracker until Push says that the line has ended, or the recording ends, then
// Close it.
type PhraseAttempt struct {
	window       PhraseWindow
	hop          int
	take         PhraseTake
	first, voice int64 // sample index of the first and the last voiced frame; −1: none yet

	segmenter *pitch.Segmenter // where notes are expected; else nil
	notes     []pitch.Note
	sung      int // notes: one that is begun again counts once
	last      float64

	blows blows   // of a window of struck notes
	quiet float64 // dBFS
}

// NewPhraseAttempt returns a PhraseAttempt for the points of a tracker with the
// same Config.
func NewPhraseAttempt(cfg pitch.Config, w PhraseWindow) (*PhraseAttempt, error) {
	if err := w.Validate(); err != nil {
		return nil, err
	}
	a := &PhraseAttempt{
		window: w, hop: cfg.Hop, quiet: cfg.MinLevel,
		take:  PhraseTake{SampleRate: cfg.SampleRate, Loudest: pitch.MinLevel},
		first: -1, voice: -1,
	}
	if w.Notes > 0 {
		var err error
		if a.segmenter, err = pitch.NewMelodySegmenter(cfg); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// Push takes the next points and reports whether the window should close now.
// Where it closes depends on the points alone, not on how they are split into
// calls: points after the closing one are not looked at.
func (a *PhraseAttempt) Push(points []pitch.Point) (done bool) {
	for i := range points {
		if a.push(points[i]) {
			return true
		}
	}
	return false
}

func (a *PhraseAttempt) push(p pitch.Point) bool {
	t := &a.take
	t.Heard = p.Index + int64(a.hop)
	t.Loudest = max(t.Loudest, p.Level)
	t.Lost = t.Lost || p.Lost
	if p.Voiced {
		if a.first < 0 {
			a.first = p.Index
		}
		a.voice = p.Index
		t.Voiced += t.Seconds(int64(a.hop))
	}
	w := a.window
	if w.Struck {
		return a.struck(p)
	}
	if a.segmenter != nil {
		a.count(p)
	}
	if w.Longest > 0 && t.Seconds(t.Heard) >= w.Longest {
		return true
	}
	if a.first < 0 {
		return w.Timeout > 0 && t.Seconds(p.Index) >= w.Timeout
	}
	quiet := w.Pause
	if a.sung >= w.Notes && t.Seconds(p.Index-a.first) >= w.Length {
		quiet = w.Silence
	}
	return quiet > 0 && t.Seconds(p.Index-a.voice) >= quiet
}

// leastNote is how long, in seconds, a note lasts at least that counts: a shorter one
// is a slip of the voice. One within samePitch cents of the note before is the same
// note, begun again.
const (
	leastNote = 0.15
	samePitch = 60.0
)

// count counts the notes.
func (a *PhraseAttempt) count(p pitch.Point) {
	a.notes = a.segmenter.Push(a.notes[:0], []pitch.Point{p})
	for _, n := range a.notes {
		if a.take.Seconds(n.Offset-n.Onset) < leastNote || a.sung > 0 && math.Abs(theory.CentsBetween(n.F0, a.last)) < samePitch {
			continue
		}
		a.sung, a.last = a.sung+1, n.F0
	}
}

// Close returns what the window heard.
func (a *PhraseAttempt) Close() PhraseTake { return a.take }
