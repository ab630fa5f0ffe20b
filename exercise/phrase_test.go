package exercise

import (
	"math/rand/v2"
	"testing"

	"singback/pitch"
)

// followLine pushes the points of pieces and returns what was heard and after how
// many seconds the window closed, −1 if it did not.
func followLine(t testing.TB, w PhraseWindow, pieces ...piece) (PhraseTake, float64) {
	t.Helper()
	a, err := NewPhraseAttempt(pitch.DefaultConfig(testRate), w)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range track(pieces...) {
		if a.Push([]pitch.Point{p}) {
			return a.Close(), float64(p.Index) / testRate
		}
	}
	return a.Close(), -1
}

// When the window for a line of 6 s closes: common practice.
func TestPhraseWindow(t *testing.T) {
	w := NewPhraseWindow(6)
	for _, c := range []struct {
		name   string
		window PhraseWindow
		pieces []piece
		want   float64 // s; −1: never
	}{
		{"1.5 s after the whole line", w, []piece{rest(1), sing(6, 220), rest(5)}, 8.5},
		{"who hesitates for 3 s goes on", w, []piece{rest(1), sing(2, 220), rest(3), sing(4, 220), rest(5)}, 11.5},
		{"4 s of silence within it end it", w, []piece{sing(2, 220), rest(9)}, 6},
		{"nothing is begun for 10 s", w, []piece{rest(20)}, 10},
		{"three times its length and 20 s", w, []piece{sing(60, 220)}, 38},
		{"2 s after the last of two notes", NewNotesWindow(2), []piece{rest(1), sing(1, 220), rest(0.2), sing(1, 330), rest(5)}, 5.2},
		{"4 s after the first of two", NewNotesWindow(2), []piece{rest(1), sing(1, 220), rest(9)}, 6},
		{"who thinks for 3 s between them goes on", NewNotesWindow(2), []piece{rest(1), sing(1, 220), rest(3), sing(1, 330), rest(5)}, 8},
		{"a note begun again is one", NewNotesWindow(2), []piece{sing(1, 220), rest(0.3), sing(1, 221), rest(3), sing(1, 330), rest(5)}, 8.3},
		{"6 s for each note and 20 s", NewNotesWindow(2), []piece{sing(60, 220)}, 32},
		{"nothing for 10 s, of notes", NewNotesWindow(2), []piece{rest(20)}, 10},
		{"a recording ends by itself", w.Recorded(), []piece{rest(30), sing(1, 220), rest(30)}, -1},
	} {
		take, at := followLine(t, c.window, c.pieces...)
		if d := at - c.want; d < -0.02 || d > 0.02 {
			t.Errorf("%s: closed after %.2f s, want %.2f", c.name, at, c.want)
		}
		if sung := c.want > 0 && c.pieces[len(c.pieces)-1].hz == 0 && len(c.pieces) > 1; sung && take.Voiced == 0 {
			t.Errorf("%s: nothing was heard", c.name)
		}
	}
}

// The end depends on the points alone, not on how they are split into calls.
func TestPhraseAnySplit(t *testing.T) {
	points := track(rest(0.5), sing(1, 220), rest(0.2), sing(2, 330), piece{seconds: 0.1, lost: true}, rest(3))
	w := NewPhraseWindow(3)
	one, err := NewPhraseAttempt(pitch.DefaultConfig(testRate), w)
	if err != nil {
		t.Fatal(err)
	}
	one.Push(points)
	want := one.Close()
	if !want.Lost || want.Voiced < 2.9 || want.Heard == 0 {
		t.Fatalf("%+v", want)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for range 20 {
		a, _ := NewPhraseAttempt(pitch.DefaultConfig(testRate), w)
		for rest := points; len(rest) > 0; {
			n := 1 + rng.IntN(min(len(rest), 50))
			if a.Push(rest[:n]) {
				break
			}
			rest = rest[n:]
		}
		if got := a.Close(); got != want {
			t.Fatalf("%+v, want %+v", got, want)
		}
	}
}

func TestPhraseWindowRefused(t *testing.T) {
	for _, w := range []PhraseWindow{{Length: -1}, {Length: 3601}, {Silence: 2, Pause: 1}, {Silence: -1}, {Timeout: -1}, {Longest: -1}} {
		if _, err := NewPhraseAttempt(pitch.DefaultConfig(testRate), w); err == nil {
			t.Errorf("%+v was taken", w)
		}
	}
}
