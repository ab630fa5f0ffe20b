package session

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/testkit/instruments"
)

// The bass of I V6 in A major, do and ti, is played back on an instrument that is heard.
// What sounds when the window opens answers nothing, and where it may have been a key
// that was struck too early nothing is counted.
func TestDictationIsPlayedOnAnInstrument(t *testing.T) {
	d := bassLine(t)
	do := items(t, "do")[0]
	c := config()
	c.Think = 1
	play := func(at float64, keys ...int) []float64 {
		var notes []instruments.Note
		for i, k := range keys {
			notes = append(notes, instruments.Note{Key: k, At: at + 0.9*float64(i), Length: 0.7})
		}
		return instruments.Timbres()[0].Play(rate, 440, notes, at+0.9*float64(len(keys))+0.5, 1)
	}
	right, early := play(0.4, 45, 56), play(0, 45)
	// A string that was struck while the window was shut, and rings on.
	ringing := instruments.Timbres()[0].Play(rate, 440, []instruments.Note{{Key: 45, Length: 8}}, 8, 1)
	for _, x := range []struct {
		name    string
		live    bool
		sources []audio.Source
		want    string
		asked   []int
	}{
		{"right", true, []audio.Source{liveTake(right)}, "[1 7] right right, again=false", []int{1}},
		{"a recording that begins at once", false, []audio.Source{recording(play(0, 45, 56))}, "[1 7] right right, again=false", []int{1}},
		{"other octaves, and one wrong", true, []audio.Source{liveTake(play(0.4, 69, 52))}, "[1 5] right wrong, again=false", []int{1}},
		{"one is missing", true, []audio.Source{liveTake(play(0.4, 45))}, "[1 -] right wrong, again=false", []int{1}},
		{"silence: it is played once more", true, []audio.Source{liveTake(), liveTake(right)}, "[1 7] right right, again=true", []int{1, 2}},
		{"what rings when the window opens, twice", true, []audio.Source{recording(ringing, silence(30)), recording(ringing, silence(30))},
			"[] not_measured not_measured, too_quiet, again=true", []int{1, 2}},
		{"struck too early, then the rest", true, []audio.Source{recording(silence(guard+0.5), early, play(0.6, 56), silence(30)), liveTake(right)},
			"[1 7] right right, again=true", []int{1, 2}},
	} {
		b := &backs{sources: x.sources, live: x.live}
		var got []string
		s := &script{tasks: []Task{Dictation{Dictation: d, Item: do, Credit: d.Skills()[0], Instrument: b}}, on: func(e Event) {
			n, ok := e.(Named)
			if !ok {
				return
			}
			names, outcomes := []string{}, []string{}
			for i := range n.Names {
				name := "-"
				if s, ok := n.Name(i); ok {
					name = s.Degree.ASCII()
				}
				names = append(names, name)
			}
			for _, o := range n.Outcomes() {
				outcomes = append(outcomes, o.String())
			}
			text := fmt.Sprintf("%v %s", names, strings.Join(outcomes, " "))
			if r := n.Reason(); r != exercise.NoReason {
				text += ", " + r.String()
			}
			got = append(got, fmt.Sprintf("%s, again=%v", text, n.Again))
		}}
		if _, err := s.run(t.Context(), c, null); err != nil || !slices.Equal(got, []string{x.want}) || !slices.Equal(b.asked, x.asked) {
			t.Errorf("%s: %q, asked %v, %v; want %q", x.name, got, b.asked, err, x.want)
		}
	}
}
