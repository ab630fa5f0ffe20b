package session

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/audio"
	"singback/internal/testkit"
)

// backs sings and plays back what a test says.
type backs struct {
	sources []audio.Source
	live    bool
	asked   []int // attempts
	strikes [][]exercise.Strike
}

func (b *backs) BackSource(_ Dictation, _, attempt int) (audio.Source, bool, error) {
	b.asked = append(b.asked, attempt)
	if len(b.sources) == 0 {
		return nil, false, ErrNoMore
	}
	src := b.sources[0]
	b.sources = b.sources[1:]
	return src, b.live, nil
}

func (b *backs) Struck(context.Context, Dictation) ([]exercise.Strike, error) {
	s := b.strikes[0]
	b.strikes = b.strikes[1:]
	return s, nil
}

// liveTake is a microphone that hears pieces once the tool's own sound has died away, and
// then nothing.
func liveTake(pieces ...[]float64) audio.Source {
	return recording(append(append([][]float64{silence(guard + 1)}, pieces...), silence(30))...)
}

// hz is so many semitones above A2.
func hz(semitones float64) float64 { return 110 * math.Exp2(semitones/12) }

// The bass of I V6 in A major, do and ti, is sung back.
func TestDictationIsSung(t *testing.T) {
	d := bassLine(t)
	do := items(t, "do")[0]
	c := config()
	c.Think = 1
	right := [][]float64{tone(0.8, hz(12.1)), silence(0.2), tone(0.8, hz(11))}
	wrong := [][]float64{silence(0.5), tone(0.8, hz(0)), silence(2), tone(0.8, hz(7))}
	for _, x := range []struct {
		name    string
		live    bool
		sources []audio.Source
		want    string
		asked   []int
	}{
		{"right", true, []audio.Source{liveTake(right...)}, "[1 7] right right, again=false", []int{1}},
		{"a recording", false, []audio.Source{recording(right...)}, "[1 7] right right, again=false", []int{1}},
		{"one wrong, after a pause", true, []audio.Source{liveTake(wrong...)}, "[1 5] right wrong, again=false", []int{1}},
		{"silence: it is played once more", true, []audio.Source{liveTake(), liveTake(right...)}, "[1 7] right right, again=true", []int{1, 2}},
		{"silence again: not measured", true, []audio.Source{liveTake(), liveTake()}, "[] not_measured not_measured, too_quiet, again=true", []int{1, 2}},
		{"a silent recording", false, []audio.Source{recording(silence(3))}, "[] not_measured not_measured, too_quiet, again=false", []int{1}},
		{"samples were lost", false, []audio.Source{&testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: right[0]}, {Lost: 4800, Samples: right[2]}}}},
			"[] not_measured not_measured, lost_samples, again=false", []int{1}},
	} {
		b := &backs{sources: x.sources, live: x.live}
		var got []string
		s := &script{tasks: []Task{Dictation{Dictation: d, Item: do, Credit: d.Skills()[0], Singer: b}}, on: func(e Event) {
			if n, ok := e.(Named); ok {
				var names []string
				for _, s := range n.Names {
					names = append(names, s.Degree.ASCII())
				}
				var outcomes []string
				for _, o := range n.Outcomes() {
					outcomes = append(outcomes, o.String())
				}
				text := fmt.Sprintf("%v %s", names, strings.Join(outcomes, " "))
				if r := n.Reason(); r != exercise.NoReason {
					text += ", " + r.String()
				}
				got = append(got, fmt.Sprintf("%s, again=%v", text, n.Again))
			}
		}}
		tally, err := s.run(t.Context(), c, null)
		if err != nil || !slices.Equal(got, []string{x.want}) || !slices.Equal(b.asked, x.asked) {
			t.Errorf("%s: %q, asked %v, %v; want %q", x.name, got, b.asked, err, x.want)
		}
		if measured := !strings.Contains(x.want, "not_measured"); measured != (tally.Bass.Of == 2) || !measured && tally.Bass.Of != 0 {
			t.Errorf("%s: counted %v", x.name, tally.Bass)
		}
	}
}

// Bass degrees and chords are played back; where nothing is struck it is played once
// more.
func TestDictationIsPlayed(t *testing.T) {
	d := bassLine(t)
	do := items(t, "do")[0]
	chords := d
	chords.Of = exercise.QualitySkill
	struck := func(keys ...[]int) (out []exercise.Strike) {
		for i, k := range keys {
			out = append(out, exercise.Strike{Keys: k, At: float64(i) + 1, Length: 0.5})
		}
		return out
	}
	for _, x := range []struct {
		name    string
		d       compose.Dictation
		strikes [][]exercise.Strike
		want    string
	}{
		{"bass", d, [][]exercise.Strike{struck([]int{45}, []int{56, 68})}, "right right, again=false"},
		{"one wrong", d, [][]exercise.Strike{struck([]int{46}, []int{56})}, "wrong right, again=false"},
		{"nothing, then one note", d, [][]exercise.Strike{nil, struck([]int{45})}, "right wrong, again=true"},
		{"nothing twice", d, [][]exercise.Strike{nil, nil}, "not_measured not_measured, again=true"},
		{"chords", chords, [][]exercise.Strike{struck([]int{57, 61, 64}, []int{56, 59, 64})}, "right right, again=false"},
		{"another quality, and no chord", chords, [][]exercise.Strike{struck([]int{57, 60, 64}, []int{56, 57, 58})}, "wrong wrong, again=false"},
	} {
		b := &backs{strikes: x.strikes}
		got := ""
		s := &script{tasks: []Task{Dictation{Dictation: x.d, Item: do, Credit: x.d.Skills()[0], Player: b}}, on: func(e Event) {
			if n, ok := e.(Named); ok {
				for _, o := range n.Outcomes() {
					got += o.String() + " "
				}
				got = fmt.Sprintf("%s, again=%v", strings.TrimSpace(got), n.Again)
			}
		}}
		if _, err := s.run(t.Context(), config(), null); err != nil || got != x.want {
			t.Errorf("%s: %q, %v; want %q", x.name, got, err, x.want)
		}
	}
}
