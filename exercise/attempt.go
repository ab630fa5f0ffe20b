package exercise

import (
	"fmt"

	"singback/pitch"
)

// Window says when a listening window closes. All lengths are in seconds of
// sound heard.
type Window struct {
	Hold    float64 // a note held this long is an answer; > MinHeld
	Silence float64 // this much without voice after a note ends the answer
	Timeout float64 // nothing was begun for this long: give up; 0 = wait for the end of the recording
	Longest float64 // close at the latest after this; 0 = at the end of the recording
}

// MinHeld is the shortest note, in seconds, that is measured: two transients
// of the recommended note measurement take 240 ms of a note, and less than
// this leaves no steady middle (common practice).
const MinHeld = 0.2

// DefaultWindow is the window of a live drill.
func DefaultWindow() Window {
	return Window{Hold: 2.0, Silence: 0.5, Timeout: 8, Longest: 15}
}

// Recorded returns the same window for a recording: it has no timeouts, since
// the recording ends by itself.
func (w Window) Recorded() Window {
	w.Timeout, w.Longest = 0, 0
	return w
}

// Validate reports the first length that makes no sense.
func (w Window) Validate() error {
	switch {
	case !(w.Hold >= 0.5 && w.Hold <= 30):
		return fmt.Errorf("a hold of %g s is out of range: want 0.5 to 30", w.Hold)
	case !(w.Silence >= 0.2 && w.Silence <= 5):
		return fmt.Errorf("a closing silence of %g s is out of range: want 0.2 to 5", w.Silence)
	case !(w.Timeout >= 0) || !(w.Longest >= 0):
		return fmt.Errorf("timeouts of %g and %g s: want 0 or more", w.Timeout, w.Longest)
	}
	return nil
}

// Take is what one listening window heard: everything that [Judge] looks at.
type Take struct {
	SampleRate int
	// Note is the answer; Found tells whether there is one.
	Note  pitch.Note
	Found bool
	// Start is the sample at which the answering phrase began: the onset of
	// Note, or of the notes that led to it without a pause.
	Start int64
	// Heard is the number of samples in the window, Loudest the highest level
	// of a frame in dBFS. What lies at or below Quiet counts as silence; 0
	// stands for the usual -60 dBFS.
	Heard   int64
	Loudest float64
	Quiet   float64
	// Voiced and Unpitched are the seconds of pitched sound, and of sound
	// above Quiet in which no pitch was found.
	Voiced, Unpitched float64
	// Lost tells that the driver lost samples inside the window. Where it lost
	// some that may have belonged to the answering phrase, Note.Lost is set too.
	Lost bool
}

// Attempt follows one listening window. Feed it the points of the tracker
// until Push says that the answer is complete, or the recording ends, then
// Close it.
type Attempt struct {
	window Window
	rate   int
	hop    int
	seg    *pitch.Segmenter
	notes  []pitch.Note // finished notes of the answering phrase
	take   Take
	voice  int64 // sample index of the last voiced frame; −1: none yet
	lost   int64 // sample index of the last frame with lost samples, if take.Lost
}

// NewAttempt returns an Attempt for the points of a tracker with the same
// Config. Where its MinLevel is the measured level of the room, above the usual
// -60 dBFS, that is what counts as silence.
func NewAttempt(cfg pitch.Config, w Window) (*Attempt, error) {
	seg, err := pitch.NewSegmenter(cfg)
	if err != nil {
		return nil, err
	}
	return &Attempt{
		window: w, rate: cfg.SampleRate, hop: cfg.Hop, seg: seg,
		notes: make([]pitch.Note, 0, 16),
		take:  Take{SampleRate: cfg.SampleRate, Loudest: pitch.MinLevel, Quiet: max(quietLimit, cfg.MinLevel)},
		voice: -1,
	}, nil
}

// Push takes the next points and reports whether the window should close now.
// Where exactly it closes depends on the points alone, not on how they are
// split into calls: points after the closing one are not looked at.
func (a *Attempt) Push(points []pitch.Point) (done bool) {
	for i := range points {
		if a.push(points[i : i+1]) {
			return true
		}
	}
	return false
}

func (a *Attempt) push(one []pitch.Point) bool {
	p := one[0]
	a.take.Heard = p.Index + int64(a.hop)
	a.take.Loudest = max(a.take.Loudest, p.Level)
	if p.Lost {
		a.take.Lost, a.lost = true, p.Index
	}
	hop := a.seconds(int64(a.hop))
	switch {
	case p.Voiced:
		a.voice = p.Index
		a.take.Voiced += hop
	case p.Level > a.take.Quiet:
		a.take.Unpitched += hop
	}
	a.notes = a.seg.Push(a.notes, one)
	onset, offset, singing := a.seg.Holding()
	if singing && a.seconds(offset-onset) >= a.window.Hold {
		return true
	}
	if singing {
		return a.window.Longest > 0 && a.seconds(a.take.Heard) >= a.window.Longest
	}
	pause := a.seconds(p.Index - a.voice)
	if len(a.notes) > 0 && pause >= a.window.Silence {
		if a.answer() >= 0 {
			return true
		}
		// Only scraps so far: not an answer, keep the window open.
		a.notes = a.notes[:0]
	}
	if a.window.Timeout > 0 && len(a.notes) == 0 && pause >= a.window.Timeout {
		return true
	}
	return a.window.Longest > 0 && a.seconds(a.take.Heard) >= a.window.Longest
}

// Close ends the window and returns what it heard. The Attempt is used up.
func (a *Attempt) Close() Take {
	a.notes = a.seg.Flush(a.notes)
	if i := a.answer(); i >= 0 {
		a.take.Found = true
		a.take.Note = a.notes[i]
		a.take.Start = a.notes[i].Onset
		// Notes that ran into the answer belong to the search for it.
		for i > 0 && a.seconds(a.notes[i].Onset-a.notes[i-1].Offset) < a.window.Silence {
			i--
			a.take.Start = a.notes[i].Onset
		}
		// A gap longer than the segmenter bridges cuts the note in two, and
		// what was lost may have been the better part of the answer.
		if a.take.Lost && a.seconds(a.take.Start-a.lost) < a.window.Silence {
			a.take.Note.Lost = true
		}
	}
	return a.take
}

// Holding returns how long, in seconds, the note being sung at this moment has
// been held, for a live view; false if none is.
func (a *Attempt) Holding() (seconds float64, ok bool) {
	onset, offset, ok := a.seg.Holding()
	return a.seconds(offset - onset), ok
}

// answer picks the note that answers: of the first phrase that holds a note of
// at least MinHeld, the longest, and the earliest of equals. A phrase ends
// where Silence passes without a note. −1 if there is none.
func (a *Attempt) answer() int {
	best := -1
	for i, n := range a.notes {
		if best >= 0 && a.seconds(n.Onset-a.notes[i-1].Offset) >= a.window.Silence {
			break
		}
		length := n.Offset - n.Onset
		if a.seconds(length) < MinHeld {
			continue
		}
		if best < 0 || length > a.notes[best].Offset-a.notes[best].Onset {
			best = i
		}
	}
	return best
}

func (a *Attempt) seconds(samples int64) float64 { return float64(samples) / float64(a.rate) }
