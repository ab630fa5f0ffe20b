package exercise

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"singback/pitch"
)

const testRate = 48000

// piece is a stretch of a hand-made pitch track.
type piece struct {
	seconds float64
	hz      float64 // 0: no pitch
	level   float64 // dBFS; 0 stands for −20 with a pitch and −80 without
	lost    bool
	to      float64 // hz at its end, where it glides; 0: as at its beginning
}

func sing(seconds, hz float64) piece        { return piece{seconds: seconds, hz: hz} }
func glide(seconds, from, to float64) piece { return piece{seconds: seconds, hz: from, to: to} }

func rest(seconds float64) piece { return piece{seconds: seconds} }

// track draws the points of pieces, one every 10 ms, the first at sample 0.
func track(pieces ...piece) []pitch.Point {
	hop := pitch.DefaultConfig(testRate).Hop
	var points []pitch.Point
	for _, p := range pieces {
		if p.level == 0 {
			p.level = -80
			if p.hz > 0 {
				p.level = -20
			}
		}
		n := int(math.Round(p.seconds * testRate / float64(hop)))
		for i := range n {
			hz := p.hz
			if p.to > 0 {
				hz *= math.Pow(p.to/p.hz, float64(i)/float64(n))
			}
			points = append(points, pitch.Point{
				Index: int64(len(points) * hop), F0: hz, Voiced: p.hz > 0 && !p.lost,
				Confidence: 0.9, Level: p.level, Lost: p.lost,
			})
		}
	}
	return points
}

func attempt(t testing.TB, w Window) *Attempt {
	t.Helper()
	a, err := NewAttempt(pitch.DefaultConfig(testRate), w)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// follow pushes points one by one and returns what was heard and after how
// many seconds the window closed, −1 if it did not.
func follow(t testing.TB, w Window, pieces ...piece) (Take, float64) {
	t.Helper()
	a := attempt(t, w)
	for i, p := range track(pieces...) {
		if a.Push([]pitch.Point{p}) {
			return a.Close(), float64(i+1) / 100
		}
	}
	return a.Close(), -1
}

// Two pitches in turn are no held note; a climb is one when its last note is
// there, and a held note is one wherever the voice came from.
func TestWanders(t *testing.T) {
	sol, la := 220.0, 220*math.Exp2(200./1200)
	ti, mid := 220*math.Exp2(400./1200), 220*math.Exp2(80./1200)
	for _, c := range []struct {
		name   string
		pieces []piece
		want   bool
	}{
		{"one short note", []piece{sing(0.3, sol)}, false},
		{"a step", []piece{sing(0.3, sol), sing(0.35, la)}, false},
		{"a climb", []piece{sing(0.3, sol), sing(0.3, la), sing(0.4, ti)}, false},
		{"to and fro", []piece{sing(0.3, sol), sing(0.35, la), sing(0.3, sol)}, true},
		{"to and fro in less than a semitone", []piece{sing(0.25, sol), sing(0.25, mid), sing(0.25, sol), sing(0.25, mid)}, true},
		{"to and fro, then held", []piece{sing(0.3, sol), sing(0.3, la), sing(0.3, sol), sing(1, la)}, false},
		{"with breaths between", []piece{sing(0.3, sol), rest(0.3), sing(0.35, la), rest(0.3), sing(0.3, sol)}, false},
	} {
		take, _ := follow(t, DefaultWindow(), append(c.pieces, rest(1))...)
		if take.Wanders != c.want {
			t.Errorf("%s: wanders %v, want %v", c.name, take.Wanders, c.want)
		}
		if v := Judge(item(t, "C major", "la"), take, Tolerance{Cents: 35}); c.want != (v.Outcome == Unsteady && !v.HasSung) {
			t.Errorf("%s: %v, degree %v", c.name, v.Outcome, v.HasSung)
		}
	}
}

// What is as loud as a note, has no pitch and no pause before the note is around it, for a
// second on each side at most.
func TestAmid(t *testing.T) {
	loud, soft := piece{seconds: 0.5, level: -24}, piece{seconds: 0.5, level: -28}
	for _, c := range []struct {
		name   string
		pieces []piece
		want   float64
	}{
		{"alone", []piece{rest(1), sing(0.4, 220)}, 0},
		{"before and after", []piece{loud, sing(0.4, 220), loud}, 1},
		{"softer", []piece{soft, sing(0.4, 220), soft}, 0},
		{"after a pause", []piece{loud, rest(0.3), sing(0.4, 220)}, 0},
		{"for long", []piece{loud, loud, loud, loud, sing(0.4, 220)}, 1},
	} {
		take, _ := follow(t, DefaultWindow(), append(c.pieces, rest(1))...)
		if !take.Found || math.Abs(take.Amid-c.want) > 0.05 {
			t.Errorf("%s: %+v, want %g s amid", c.name, take, c.want)
		}
	}
}

func TestWindowCloses(t *testing.T) {
	noise := piece{seconds: 20, level: -30}
	for _, c := range []struct {
		name   string
		window Window
		pieces []piece
		closed float64 // seconds
		found  bool
	}{
		{"a note held long enough", DefaultWindow(), []piece{rest(1), sing(5, 220)}, 3.0, true},
		{"a shorter hold", Window{Hold: 1, Silence: 0.5, Timeout: 8, Longest: 15}, []piece{rest(1), sing(5, 220)}, 2.0, true},
		{"silence after a shorter note", DefaultWindow(), []piece{rest(1), sing(1, 220), rest(5)}, 2.5, true},
		{"a longer silence", Window{Hold: 2, Silence: 1, Timeout: 8, Longest: 15}, []piece{rest(1), sing(1, 220), rest(5)}, 3.0, true},
		{"the hold is of one note, not of the phrase", DefaultWindow(), []piece{sing(1.5, 220), sing(1.5, 247), rest(1)}, 3.5, true},
		{"a breath shorter than the silence", DefaultWindow(), []piece{sing(0.6, 220), rest(0.3), sing(0.6, 220), rest(1)}, 2.0, true},
		{"nobody sings", DefaultWindow(), []piece{rest(20)}, 8.0, false},
		{"noise and no voice", DefaultWindow(), []piece{noise}, 8.0, false},
		{"a scrap, then nothing", DefaultWindow(), []piece{rest(1), sing(0.15, 220), rest(20)}, 9.15, false},
		{"a scrap does not end it", DefaultWindow(), []piece{rest(1), sing(0.15, 220), rest(2), sing(1, 247), rest(1)}, 4.65, true},
		{"the shortest note that answers", DefaultWindow(), []piece{rest(1), sing(MinHeld, 220), rest(1)}, 1.7, true},
		{"no note is long enough for ever", DefaultWindow(), repeat(12, sing(0.9, 220), sing(0.9, 262)), 15.0, true},
		{"a recording has no timeout", DefaultWindow().Recorded(), []piece{rest(40), sing(1, 220), rest(1)}, 41.5, true},
		{"a recording of nothing runs to its end", DefaultWindow().Recorded(), []piece{rest(40)}, -1, false},
		{"a recording may be cut right after the note", DefaultWindow().Recorded(), []piece{rest(1), sing(1, 220)}, -1, true},
	} {
		take, closed := follow(t, c.window, c.pieces...)
		if math.Abs(closed-c.closed) > 0.0101 || take.Found != c.found {
			t.Errorf("%s: closed after %.2f s, found %v; want %.2f s to one frame, %v", c.name, closed, take.Found, c.closed, c.found)
		}
	}
}

func repeat(n int, pieces ...piece) []piece {
	var out []piece
	for range n {
		out = append(out, pieces...)
	}
	return out
}

func TestTheAnswer(t *testing.T) {
	for _, c := range []struct {
		name   string
		window Window
		pieces []piece
		hz     float64
		start  float64 // seconds
	}{
		{"one note", DefaultWindow(), []piece{rest(1), sing(1, 220), rest(1)}, 220, 1},
		{"the longest of the phrase", DefaultWindow(), []piece{sing(0.4, 220), sing(0.9, 247), sing(0.4, 262), rest(1)}, 247, 0},
		{"the earliest of equals", DefaultWindow(), []piece{rest(1), sing(0.6, 220), rest(0.2), sing(0.6, 262), rest(1)}, 220, 1},
		{"what ran into the answer belongs to it", DefaultWindow(), []piece{rest(1), sing(0.4, 220), rest(0.3), sing(1, 262), rest(1)}, 262, 1},
		{"a scrap that ran into it too", DefaultWindow(), []piece{rest(1), sing(0.15, 220), rest(0.3), sing(1, 262), rest(1)}, 262, 1},
		{"a scrap well before does not", DefaultWindow(), []piece{rest(1), sing(0.15, 220), rest(0.8), sing(1, 262), rest(1)}, 262, 1.95},
		{"the first phrase of a recording", Window{Hold: 30, Silence: 0.5}, []piece{sing(0.5, 220), rest(2), sing(5, 262)}, 220, 0},
	} {
		take, _ := follow(t, c.window, c.pieces...)
		if !take.Found || math.Abs(1200*math.Log2(take.Note.F0/c.hz)) > 1 || math.Abs(float64(take.Start)/testRate-c.start) > 0.0101 {
			t.Errorf("%s: found %v, %.2f Hz, started at %.2f s; want %g Hz at %g s", c.name, take.Found, take.Note.F0, float64(take.Start)/testRate, c.hz, c.start)
		}
	}
}

// Speech glides: it answers nothing, neither live nor in a recording, and what is
// sung after it does, whether a pause lies between or not.
func TestSpeechBeforeTheAnswer(t *testing.T) {
	okay := []piece{glide(0.25, 140, 170), rest(0.08), glide(0.4, 180, 105)}
	said := func(more ...piece) []piece { return append(append([]piece{rest(0.5)}, okay...), more...) }
	for _, c := range []struct {
		name   string
		pieces []piece
		found  bool
		hz     float64
		start  float64 // seconds
	}{
		{"speech alone", said(rest(1)), false, 0, 0},
		{"then a note", said(rest(0.7), sing(1, 220), rest(1)), true, 220, 1.93},
		{"then a note at once", said(rest(0.2), sing(1, 220), rest(1)), true, 220, 1.43},
		{"then a shorter note", said(rest(0.2), sing(0.3, 220), rest(1)), true, 220, 1.43},
		{"a note, then speech", append([]piece{rest(0.5), sing(0.8, 220), rest(0.2)}, append(okay, rest(1))...), true, 220, 0.5},
		{"a glide longer than any syllable", []piece{rest(0.5), glide(1.2, 200, 240), rest(1)}, true, 219.1, 0.5},
	} {
		for _, w := range []Window{DefaultWindow(), DefaultWindow().Recorded()} {
			take, _ := follow(t, w, c.pieces...)
			if take.Found != c.found || take.Found && (math.Abs(1200*math.Log2(take.Note.F0/c.hz)) > 5 || math.Abs(float64(take.Start)/testRate-c.start) > 0.0101) {
				t.Errorf("%s: found %v, %.1f Hz at %.2f s; want %v, %g Hz at %g s", c.name, take.Found, take.Note.F0, float64(take.Start)/testRate, c.found, c.hz, c.start)
			}
			if !take.Found {
				if v := Judge(item(t, "C major", "la"), take, Tolerance{Cents: 35}); v.Reason != NotHeld {
					t.Errorf("%s: reason %v, want %v", c.name, v.Reason, NotHeld)
				}
			}
		}
	}
	// The window stays open for the note, and its time begins anew.
	if take, closed := follow(t, DefaultWindow(), said(rest(20))...); take.Found || closed < 9 || closed > 9.3 {
		t.Errorf("after speech the window closed after %.2f s, found %v; want 8 s after the last word", closed, take.Found)
	}
}

// Notes as long as each other: where a way by steps ends is the answer, else the first.
func TestTheEndOfAWayIsTheAnswer(t *testing.T) {
	const fa, sol, la = 174.61, 196.00, 220.00
	for _, c := range []struct {
		name   string
		pieces []piece
		hz     float64
		path   int
	}{
		{"fa sol la", []piece{sing(0.5, fa), sing(0.5, sol), sing(0.5, la), rest(1)}, la, 2},
		{"la a little shorter", []piece{sing(0.5, fa), sing(0.5, sol), sing(0.42, la), rest(1)}, la, 2},
		{"breaths between", []piece{sing(0.5, fa), rest(0.1), sing(0.5, sol), rest(0.1), sing(0.5, la), rest(1)}, la, 2},
		{"la held, then on to its end in passing", []piece{sing(1, la), sing(0.3, sol), sing(0.3, fa), rest(1)}, la, 0},
		{"there and back", []piece{sing(0.5, sol), sing(0.5, la), sing(0.5, sol), rest(1)}, sol, 0},
		{"two notes are no way", []piece{sing(0.6, sol), sing(0.6, la), rest(1)}, sol, 0},
		{"a leap", []piece{sing(0.5, fa), sing(0.5, la), sing(0.5, 261.63), rest(1)}, fa, 0},
		{"the longest all the same", []piece{sing(0.4, fa), sing(0.4, sol), sing(1.2, la), rest(1)}, la, 2},
	} {
		take, _ := follow(t, DefaultWindow(), c.pieces...)
		if !take.Found || math.Abs(1200*math.Log2(take.Note.F0/c.hz)) > 5 || len(take.Path) != c.path {
			t.Errorf("%s: found %v, %.1f Hz after %d notes; want %g Hz after %d", c.name, take.Found, take.Note.F0, len(take.Path), c.hz, c.path)
		}
	}
}

// All points pushed at once: what follows the closing one is not looked at.
func TestTheAnswerIsTheFirstPhraseHoweverMuchFollows(t *testing.T) {
	points := track(rest(0.5), sing(0.5, 220), rest(1), sing(1.5, 330), rest(1))
	a := attempt(t, DefaultWindow())
	if !a.Push(points) {
		t.Fatal("the window did not close")
	}
	take := a.Close()
	if math.Abs(take.Note.F0-220) > 0.1 || take.Heard > testRate*3/2+480 {
		t.Errorf("%.1f Hz after %d samples, want 220 Hz within 1.5 s", take.Note.F0, take.Heard)
	}
}

func TestTakeSumsUp(t *testing.T) {
	take, _ := follow(t, DefaultWindow().Recorded(),
		rest(0.5), piece{seconds: 0.3, level: -40}, piece{seconds: 1, hz: 220, level: -12}, piece{seconds: 0.2, level: -59.9}, piece{seconds: 0.1, level: -60})
	want := Take{SampleRate: testRate, Heard: 2.1 * testRate, Loudest: -12, Voiced: 1, Unpitched: 0.5}
	if take.SampleRate != want.SampleRate || take.Heard != want.Heard || take.Loudest != want.Loudest ||
		math.Abs(take.Voiced-want.Voiced) > 1e-9 || math.Abs(take.Unpitched-want.Unpitched) > 1e-9 {
		t.Errorf("%+v, want %+v", take, want)
	}
	empty := attempt(t, DefaultWindow()).Close()
	if empty.Found || empty.Heard != 0 || empty.Loudest != pitch.MinLevel {
		t.Errorf("a window that heard nothing: %+v", empty)
	}
}

// The singer is never charged for the machine: an answer counts as lost if
// what is missing may have been part of it, and only then.
func TestLostSamples(t *testing.T) {
	gone := func(seconds float64) piece { return piece{seconds: seconds, lost: true} }
	for _, c := range []struct {
		name       string
		pieces     []piece
		lost, note bool
	}{
		{"nothing lost", []piece{rest(1), sing(1, 220), rest(1)}, false, false},
		{"well before the note", []piece{gone(0.1), rest(1), sing(1, 220), rest(1)}, true, false},
		{"right before the note", []piece{rest(1), gone(0.1), sing(1, 220), rest(1)}, true, true},
		{"a moment inside the note", []piece{rest(1), sing(0.5, 220), gone(0.04), sing(0.5, 220), rest(1)}, true, true},
		{"so much that it cuts the note in two", []piece{rest(1), sing(0.5, 220), gone(0.2), sing(0.9, 220), rest(1)}, true, true},
		{"most of the note", []piece{rest(1), sing(0.3, 233), gone(1.5), rest(1)}, true, true},
	} {
		take, _ := follow(t, DefaultWindow(), c.pieces...)
		if !take.Found || take.Lost != c.lost || take.Note.Lost != c.note {
			t.Errorf("%s: found %v, lost in the window %v, in the answer %v; want true, %v, %v", c.name, take.Found, take.Lost, take.Note.Lost, c.lost, c.note)
		}
	}
}

func TestClosingDoesNotDependOnTheSplit(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var pieces []piece
		for range rapid.IntRange(1, 8).Draw(r, "pieces") {
			p := piece{seconds: rapid.Float64Range(0.02, 2.5).Draw(r, "seconds")}
			if rapid.Bool().Draw(r, "voice") {
				p.hz = 110 * math.Exp2(rapid.Float64Range(0, 2).Draw(r, "octaves"))
			} else {
				p.level = rapid.Float64Range(-90, -20).Draw(r, "level")
				p.lost = rapid.IntRange(0, 9).Draw(r, "lost") == 0
			}
			pieces = append(pieces, p)
		}
		w := Window{Hold: rapid.Float64Range(0.5, 2).Draw(r, "hold"), Silence: 0.5, Timeout: 2, Longest: 5}
		points := track(pieces...)
		one, closedOne := follow(t, w, pieces...)
		a, closed := attempt(t, w), -1.0
		for at := 0; at < len(points) && closed < 0; {
			n := min(rapid.IntRange(1, 400).Draw(r, "call"), len(points)-at)
			if a.Push(points[at : at+n]) {
				closed = float64(one.Heard) / testRate
			}
			at += n
		}
		if got := a.Close(); !reflect.DeepEqual(got, one) || (closed < 0) != (closedOne < 0) {
			r.Fatalf("in calls of any size:\n%+v\none point a call:\n%+v", got, one)
		}
	})
}

func TestAttemptDoesNotAllocate(t *testing.T) {
	// A minute of noise with flickers of pitch too short for an answer.
	r := rand.New(rand.NewPCG(1, 2))
	var pieces []piece
	for total := 0.0; total < 60; {
		p := piece{seconds: 0.05 + 0.6*r.Float64(), level: -30}
		if r.IntN(2) == 0 {
			p.seconds, p.hz, p.level = 0.02+0.15*r.Float64(), 100+400*r.Float64(), -25
		}
		pieces = append(pieces, p, rest(0.1))
		total += p.seconds + 0.1
	}
	points := track(pieces...)
	a := attempt(t, DefaultWindow().Recorded())
	a.Push(points[:1000])
	at := 1000
	if n := testing.AllocsPerRun(len(points)-1002, func() {
		if a.Push(points[at : at+1]) {
			t.Fatal("the window closed on noise")
		}
		a.Holding()
		at++
	}); n != 0 {
		t.Errorf("%g allocations per point, want 0", n)
	}
}
