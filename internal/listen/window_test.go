package listen

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
	"singback/theory"
)

// window is one way to listen to a source. It returns all that it hears, told states
// included.
type window struct {
	name string
	hear func(*Ear) (any, error)
}

// heardAll is what a window tells and returns.
type heardAll struct {
	States  []State
	Take    exercise.Take
	Notes   []pitch.Note
	Line    exercise.PhraseTake
	Samples []float64
	Sung    grade.Performance
}

// windows are all of them; of a line the second reading too.
func windows(ctx context.Context) []window {
	all := func(hear func(*heardAll, *Ear, func(State)) error) func(*Ear) (any, error) {
		return func(e *Ear) (any, error) {
			var a heardAll
			err := hear(&a, e, func(s State) { a.States = append(a.States, s) })
			return a, err
		}
	}
	return []window{
		{"note", all(func(a *heardAll, e *Ear, told func(State)) (err error) {
			a.Take, err = e.Note(ctx, exercise.DefaultWindow(), told)
			return err
		})},
		{"held notes", all(func(a *heardAll, e *Ear, told func(State)) (err error) {
			a.Notes, err = e.Notes(ctx, 6, told)
			return err
		})},
		{"line", all(func(a *heardAll, e *Ear, told func(State)) (err error) {
			if a.Line, a.Samples, err = e.Line(ctx, exercise.NewPhraseWindow(2), told); err != nil {
				return err
			}
			a.Sung, err = Take(ctx, audio.NewSamples(a.Line.SampleRate, a.Samples), Hearing{}, e.Room())
			return err
		})},
		{"whole line", all(func(a *heardAll, e *Ear, _ func(State)) (err error) {
			a.Sung, err = Take(ctx, e.src, Hearing{}, e.room)
			return err
		})},
	}
}

// sungBy is notes as a tenor sings them.
func sungBy(seed uint64, notes ...synth.Sung) []float64 {
	x, _ := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Sing(notes, seed)
	return x
}

// noisy has noise of -60 dBFS over pieces of sound.
func noisy(pieces ...[]float64) []float64 {
	x := slices.Concat(pieces...)
	for i, v := range testkit.White(len(x), 5) {
		x[i] += 0.001 * v
	}
	return x
}

// clone gives a window samples of its own: a Source eats its cues.
func clone(cues []testkit.Cue) []testkit.Cue { return slices.Clone(cues) }

// However the samples are split, and wherever some are lost, each window hears and
// tells the same, to the bit. The windows close by themselves: in the silence after a
// note, while it is held, and because time is up.
func TestAnySplit(t *testing.T) {
	melody := sungBy(2, synth.Rest(0.3), synth.NewSung(196, 0.6), synth.NewSung(220, 0.5), synth.Rest(0.1), synth.NewSung(247, 0.8), synth.Rest(5))
	short := sungBy(3, synth.Rest(0.4), synth.NewSung(196, 0.4), synth.Rest(6))
	held := sungBy(4, synth.Rest(0.5), synth.NewSung(164, 32))
	for _, c := range []struct {
		name string
		cues []testkit.Cue
	}{
		{"a melody", []testkit.Cue{{Samples: noisy(melody)}}},
		{"a short note", []testkit.Cue{{Samples: noisy(short)}}},
		{"a note that does not end", []testkit.Cue{{Samples: noisy(held)}}},
		{"nothing", []testkit.Cue{{Samples: noisy(silence(32))}}},
		{"a recording that ends within a note", []testkit.Cue{{Samples: noisy(held[:rate])}}},
		{"samples lost within a note", []testkit.Cue{{Samples: noisy(melody[:rate/2])}, {Lost: 333, Samples: noisy(melody[rate/2:])}}},
		{"a second lost", []testkit.Cue{{Samples: noisy(melody[:rate])}, {Lost: rate, Samples: noisy(melody[rate:])}}},
	} {
		for _, w := range windows(t.Context()) {
			hear := func(chunk func() int) any {
				e, err := New(&testkit.Source{Rate: rate, Cues: clone(c.cues), Chunk: chunk}, Hearing{})
				if err != nil {
					t.Fatal(err)
				}
				e.block = make([]float64, fileBlock) // room for the largest chunk
				got, err := w.hear(e)
				if err != nil {
					t.Fatal(err)
				}
				return got
			}
			want := hear(func() int { return blockSize })
			random := rand.New(rand.NewPCG(1, 2))
			for _, s := range []struct {
				name  string
				chunk func() int
			}{
				{"one", func() int { return 1 }},
				{"up to 300", func() int { return 1 + random.IntN(300) }},
				{"up to 4096", func() int { return 1 + random.IntN(4096) }},
				{"4096", func() int { return 4096 }},
			} {
				if s.name == "one" && raceDetector {
					continue
				}
				if got := hear(s.chunk); !reflect.DeepEqual(got, want) {
					t.Errorf("%s, %s by %s: %s", c.name, w.name, s.name, differ(got.(heardAll), want.(heardAll)))
				}
			}
		}
	}
}

// differ says in what two hearings differ.
func differ(got, want heardAll) string {
	s := ""
	if !reflect.DeepEqual(got.States, want.States) {
		s += fmt.Sprintf("told %d states, want %d; ", len(got.States), len(want.States))
	}
	if !reflect.DeepEqual(got.Take, want.Take) {
		s += fmt.Sprintf("take %+v, want %+v; ", got.Take, want.Take)
	}
	if !reflect.DeepEqual(got.Notes, want.Notes) {
		s += fmt.Sprintf("notes %+v, want %+v; ", got.Notes, want.Notes)
	}
	if got.Line != want.Line {
		s += fmt.Sprintf("line %+v, want %+v; ", got.Line, want.Line)
	}
	if !slices.Equal(got.Samples, want.Samples) {
		s += fmt.Sprintf("%d samples, want %d; ", len(got.Samples), len(want.Samples))
	}
	if !reflect.DeepEqual(got.Sung, want.Sung) {
		s += fmt.Sprintf("sung %+v, want %+v", got.Sung.Notes, want.Sung.Notes)
	}
	return s
}

// An error ends every window with that error, and comes with what was heard before
// it, the samples of the same read included; the end of a source is none. The second
// reading of a line decides much later what it heard, and promises nothing.
func TestErrorsInEveryWindow(t *testing.T) {
	gone := errors.New("the device has gone")
	melody := noisy(sungBy(2, synth.Rest(0.3), synth.NewSung(196, 0.6), synth.Rest(0.5), synth.NewSung(247, 0.4)))
	for _, err := range []error{gone, audio.ErrStalled, context.Canceled, nil} {
		for _, w := range windows(t.Context()) { // of a note that has ended
			if w.name == "line" {
				continue // below, since an error leaves out its second reading
			}
			cues := []testkit.Cue{{Samples: melody[:rate*115/100]}}
			if err != nil {
				cues = append(cues, testkit.Cue{Err: err})
			}
			e, bad := New(&testkit.Source{Rate: rate, Cues: cues}, Hearing{})
			if bad != nil {
				t.Fatal(bad)
			}
			got, is := w.hear(e)
			if !errors.Is(is, err) {
				t.Errorf("%s: %v, want %v", w.name, is, err)
			}
			a := got.(heardAll)
			if found := a.Take.Found || len(a.Notes) == 1 || w.name == "whole line"; !found {
				t.Errorf("%s, %v: nothing was heard before it", w.name, err)
			}
		}
		cues := []testkit.Cue{{Samples: melody}}
		if err != nil {
			cues = append(cues, testkit.Cue{Err: err})
		}
		e, bad := New(&testkit.Source{Rate: rate, Cues: cues}, Hearing{})
		if bad != nil {
			t.Fatal(bad)
		}
		take, x, is := e.Line(t.Context(), exercise.NewPhraseWindow(2), nil)
		if !errors.Is(is, err) || take.Voiced < 0.8 || !slices.Equal(x, melody) {
			t.Errorf("line: %v, want %v; %.2f s voiced, %d samples of %d", is, err, take.Voiced, len(x), len(melody))
		}
	}
	// Samples and error in one read.
	for _, w := range windows(t.Context()) {
		e, err := New(&abrupt{testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: melody[:rate*8/10]}}}, gone}, Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.hear(e); !errors.Is(err, gone) {
			t.Errorf("%s, with samples: %v, want %v", w.name, err, gone)
		}
	}
	e, err := New(&abrupt{testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: melody[:1000]}}}, gone}, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	if _, x, err := e.Line(t.Context(), exercise.NewPhraseWindow(2), nil); !errors.Is(err, gone) || !slices.Equal(x, melody[:1000]) {
		t.Errorf("line: %v with %d samples, want 1000", err, len(x))
	}
	if _, err := Record(t.Context(), &abrupt{testkit.Source{Rate: rate}, gone}, 1); !errors.Is(err, gone) {
		t.Errorf("record: %v, want %v", err, gone)
	}
}

// abrupt gives its last samples together with an error.
type abrupt struct {
	testkit.Source
	err error
}

func (a *abrupt) Read(ctx context.Context, dst []float64) (int, int64, error) {
	n, lost, err := a.Source.Read(ctx, dst)
	if err == nil && len(a.Cues) == 1 && len(a.Cues[0].Samples) == 0 {
		err = a.err
	} else if err != nil {
		err = a.err
	}
	return n, lost, err
}

// An ended context ends a window at once, whatever is coming.
func TestEndedContextEndsEveryWindow(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	for _, w := range windows(ctx) {
		src := &testkit.Source{Rate: rate, Forever: true}
		e, err := New(src, Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.hear(e); !errors.Is(err, context.Canceled) || src.Reads != 1 {
			t.Errorf("%s: %v after %d reads, want %v at the first", w.name, err, src.Reads, context.Canceled)
		}
	}
}

// What was lost counts as time and as silence, and is told of where an answer lies in
// it: it takes no note's place and moves none.
func TestLostInEveryWindow(t *testing.T) {
	a, b := sungBy(1, synth.NewSung(196, 0.7), synth.Rest(0.1)), sungBy(2, synth.NewSung(247, 0.7), synth.Rest(2))
	open := func(lost int64) *Ear {
		e, err := New(&testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: noisy(silence(0.3), a)}, {Lost: lost, Samples: noisy(b)}}}, Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	for _, lost := range []int64{0, 1, rate / 2} {
		second := 1.1 + float64(lost)/rate
		take, x, err := open(lost).Line(t.Context(), exercise.NewPhraseWindow(2), nil)
		if err != nil || take.Lost != (lost > 0) {
			t.Errorf("line, %d lost: %v, lost %v", lost, err, take.Lost)
		}
		if from := rate * 11 / 10; !slices.Equal(x[from:from+int(lost)], make([]float64, lost)) || len(x) < from+int(lost)+rate {
			t.Errorf("line, %d lost: they are not silence in the %d samples", lost, len(x))
		}
		sung, err := Take(t.Context(), open(lost).src, Hearing{}, nil)
		if err != nil || len(sung.Notes) != 2 || math.Abs(sung.Notes[0].Onset-0.3) > 0.05 || math.Abs(sung.Notes[1].Onset-second) > 0.05 {
			t.Errorf("take, %d lost: %+v, %v; want notes at 0.3 and %.2f s", lost, sung.Notes, err, second)
		}
	}
	// The window for held notes counts them in its time, even if nothing else comes.
	for range 3 {
		src := &testkit.Source{Rate: rate, Cues: []testkit.Cue{{Lost: 4 * rate}, {Lost: 4 * rate}, {Err: errors.New("read on")}}}
		e, err := New(src, Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		if notes, err := e.Notes(t.Context(), 6, nil); err != nil || len(notes) > 0 {
			t.Errorf("held notes: %v, %v", notes, err)
		}
	}
	// A stretch that a line cannot hold is cut, not allocated.
	e, err := New(&testkit.Source{Rate: 8000, Cues: []testkit.Cue{{Lost: 2 * maxLost, Samples: make([]float64, 100)}}}, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	if take, x, err := e.Line(t.Context(), exercise.PhraseWindow{}, nil); err != nil || len(x) != maxLost+100 || !take.Lost {
		t.Errorf("%d samples of a line that lost %d: %v", len(x), 2*maxLost, err)
	}
}

// A steady whine that was there before the window is hushed in every window, and who
// sings over it is heard. Without what came before, it is heard as an answer: so the
// test shows something.
func TestWhineIsHushedInEveryWindow(t *testing.T) {
	const wait = 0.6 // s, as before a line
	melody := sungBy(7, synth.NewSung(220, 0.8), synth.Rest(0.1), synth.NewSung(247, 0.8))
	for _, whine := range []struct{ hz, level float64 }{{155, -50}, {155, -35}, {337, -40}} {
		for _, sings := range []bool{false, true} {
			for _, knows := range []bool{true, false} {
				x := testkit.Whine(rate, 9, whine.hz, whine.level)
				if sings {
					for i, v := range level20(melody) {
						x[int((wait+1)*rate)+i] += v
					}
				}
				for _, w := range windows(t.Context()) {
					e, err := New(audio.NewSamples(rate, x), Hearing{})
					if err != nil {
						t.Fatal(err)
					}
					quiet := int64(wait * rate)
					if !knows {
						quiet = 0
					}
					if err := e.Pass(t.Context(), int64(wait*rate), quiet); err != nil {
						t.Fatal(err)
					}
					if (e.Room() != nil) != knows {
						t.Fatalf("whine of %+v: the ear knows of the tone: %v, want %v", whine, e.Room() != nil, knows)
					}
					got, err := w.hear(e)
					if err != nil {
						t.Fatal(err)
					}
					a := got.(heardAll)
					var pitches []float64
					if a.Take.Found {
						pitches = append(pitches, a.Take.Note.F0)
					}
					for _, n := range a.Notes {
						pitches = append(pitches, n.F0)
					}
					for _, n := range a.Sung.Notes {
						pitches = append(pitches, grade440(n.Cents))
					}
					answers := slices.ContainsFunc(pitches, func(hz float64) bool { return math.Abs(theory.CentsBetween(hz, whine.hz)) < 50 })
					voice := slices.ContainsFunc(pitches, func(hz float64) bool {
						// One answer is the longest note, and both are as long.
						return math.Abs(theory.CentsBetween(hz, 220)) < 30 || w.name == "note" && math.Abs(theory.CentsBetween(hz, 247)) < 30
					})
					if answers == knows {
						t.Errorf("%s, whine of %+v, known %v, sung %v: it answers: %v; pitches %.1f", w.name, whine, knows, sings, answers, pitches)
					}
					if knows && voice != sings {
						t.Errorf("%s, whine of %+v, sung %v: found %v; pitches %.1f", w.name, whine, sings, voice, pitches)
					}
					if knows && w.name == "line" && (a.Line.Voiced > 2 || !sings && a.Line.Voiced > 0.1 || sings && a.Line.Voiced < 1.2) {
						t.Errorf("line, whine of %+v, sung %v: %.2f s voiced", whine, sings, a.Line.Voiced)
					}
				}
			}
		}
	}
}

// level20 is sound whose singing has an RMS of -20 dBFS.
func level20(x []float64) []float64 { return level(slices.Clone(x), -20) }

// grade440 is the frequency of cents as grades have them, on A4 = 440 Hz = 6900.
func grade440(cents float64) float64 { return 440 * math.Exp2((cents-6900)/1200) }
