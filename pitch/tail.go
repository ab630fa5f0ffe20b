package pitch

import "math"

// What a room leaves after a note is as periodic as the note was, and the model, which
// sees a frame and the levels before it, often takes it for more of the voice. Looked at
// from both sides it is something else: its level falls along a straight line, in
// decibels, for a tenth of a second and longer, at a pace that rooms have. A voice that
// falls silent is faster, and one that grows softer is slower. So is the fall of a note
// in noise, where nothing is known of the room: only the deep part of a fall is taken.
//
// The constants were chosen by trial on three of the reference voices in made rooms of
// 0.4 to 1.2 s, and on the development half of the hard set.
const (
	tailLeast   = 10. // dB that the level falls within a window at least
	tailUnder   = 10. // dB under the window's first frame at which a frame is the tail's
	tailSlowest = .45 // dB a frame: a room of 1.3 s
	tailFastest = 2.2 // dB a frame: one of 0.27 s
	tailEven    = 1.  // dB that levels may stray from the line, RMS
	tailWet     = .3  // wet, at least: see inWet
	tailSNR     = 5   // dB of the frame over the noise, at least
)

// tailWindows are how many frames a fall is looked at in.
var tailWindows = [...]int64{10, 18}

// cutTails takes what lies in the tail of a room for no voice, in the frames up to end.
// A live frame is given out before its tail can be seen.
func (t *Tracker) cutTails(end int64) {
	if t.prompt {
		return
	}
	n := int64(len(t.frames))
	for k := t.out; k < end; k++ {
		if t.path[k%n] >= 0 && t.frames[k%n].wet >= tailWet && t.inTail(k) {
			t.path[k%n] = -1
		}
	}
}

// inTail tells whether frame k lies deep in a fall as of a room.
func (t *Tracker) inTail(k int64) bool {
	n := int64(len(t.frames))
	oldest := max(0, t.next-n)
	for _, size := range tailWindows {
		for j := max(oldest, k-size); j < k && j+size < t.next; j++ {
			first := t.frames[j%n].level
			if first-t.frames[k%n].level < tailUnder {
				continue
			}
			fall := first - t.frames[(j+size)%n].level
			if pace := fall / float64(size); fall < tailLeast || pace < tailSlowest || pace > tailFastest {
				continue
			}
			if t.stray(j, size) < tailEven {
				return true
			}
		}
	}
	return false
}

// stray is how far the levels of frames j to j+size lie from a straight line, in dB RMS.
func (t *Tracker) stray(j, size int64) float64 {
	n := int64(len(t.frames))
	count, middle := float64(size+1), float64(size)/2
	sum, squares, slope, spread := 0.0, 0.0, 0.0, 0.0
	first := t.frames[j%n].level
	for i := range size + 1 {
		x, y := float64(i)-middle, t.frames[(j+i)%n].level-first
		sum += y
		squares += y * y
		slope += x * y
		spread += x * x
	}
	return math.Sqrt(max(0, squares-sum*sum/count-slope*slope/spread) / count)
}
