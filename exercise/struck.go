package exercise

import (
	"singback/pitch"
)

// NewStruckWindow returns the window of a live answer of so many notes on an instrument
// that is struck, plucked or blown: 2 s after the last note began, 6 s between them, 15 s
// to begin, and 6 s for each and 20 s at the longest (common practice). Notes may ring on.
func NewStruckWindow(notes int) PhraseWindow {
	return PhraseWindow{Notes: notes, Struck: true, Silence: 2, Pause: 6, Timeout: 15, Longest: 6*float64(notes) + 20}
}

// What a struck note is for the window that waits for it: the level rises. Chosen by
// trial on the timbres of the tests; a soft note on a ringing one is told by its pitch.
const (
	blowRise = 6.0  // dB over the least level of
	blowTime = 0.15 // s before
	blowOver = 10.0 // dB over the tracker's least level
)

// blows counts the notes that are struck.
type blows struct {
	levels [32]float64 // of the last frames, in a ring
	n      int
	rising bool
	last   float64 // s, when something was struck last
	count  int
}

// push takes in a frame, at a time; least is the level under which all is silence.
func (b *blows) push(p pitch.Point, at, hop, least float64) {
	frames := min(len(b.levels), max(1, int(blowTime/hop)))
	low := p.Level
	for i := range min(b.n, frames) {
		low = min(low, b.levels[(b.n-1-i)%len(b.levels)])
	}
	b.levels[b.n%len(b.levels)] = p.Level
	b.n++
	before := b.rising
	if b.rising = b.n > frames/2 && p.Level >= low+blowRise && p.Level >= least+blowOver; b.rising && !before {
		b.count++
		b.last = at
	}
}

// struck reports whether a window of struck notes closes at a time.
func (a *PhraseAttempt) struck(p pitch.Point) bool {
	t, w := &a.take, a.window
	at := t.Seconds(p.Index)
	before := a.sung
	a.count(p)
	a.blows.push(p, at, t.Seconds(int64(a.hop)), a.quiet)
	if a.sung > before {
		a.blows.last = max(a.blows.last, at)
	}
	n := max(a.blows.count, a.sung)
	switch since := at - a.blows.last; {
	case w.Longest > 0 && t.Seconds(t.Heard) >= w.Longest:
		return true
	case n == 0:
		return w.Timeout > 0 && at >= w.Timeout
	case n >= w.Notes:
		return w.Silence > 0 && since >= w.Silence
	default:
		return w.Pause > 0 && since >= w.Pause
	}
}
