//go:build unix

package main

import (
	"strings"
	"testing"
)

// Some minutes of sound of the whole drill, on several days, with a record on disk: what
// is in use afterwards, and what an answer takes, is what it was at first. Hours of it
// are run by make soak-simulated.
func TestNothingGrows(t *testing.T) {
	f := newFast(t.TempDir(), 1)
	f.questions, f.lines, f.minutes = 10, 1, 1
	if err := f.hours(t.Context(), 0.1, 0.025); err != nil {
		t.Fatal(err)
	}
	for _, l := range f.looks {
		t.Log(strings.Join(l.cells(), "\t"))
	}
	if len(f.looks) < 3 || f.judged < 30 {
		t.Fatalf("%d looks, %d answers", len(f.looks), f.judged)
	}
	// A file of a record has a size to begin with.
	f.looks[0].record = f.looks[1].record
	if err := f.grown(); err != nil {
		t.Error(err)
	}
}

// What the bounds are for they find.
func TestWhatGrowsIsFound(t *testing.T) {
	for _, last := range []fastLook{{heap: 3}, {within: 6}, {goroutines: 1}, {files: 1}, {record: 500}} {
		f := fast{looks: []fastLook{{heap: 1, within: 1, record: 300}, {heap: 1, within: 1, record: 300}}}
		if err := f.grown(); err != nil {
			t.Fatal(err)
		}
		l := &f.looks[1]
		l.heap, l.within, l.goroutines, l.files, l.record = max(l.heap, last.heap), max(l.within, last.within), last.goroutines, last.files, max(l.record, last.record)
		if f.grown() == nil {
			t.Errorf("%+v is taken for the same as %+v", f.looks[1], f.looks[0])
		}
	}
	for _, last := range []look{{heap: 20, drift: 0.1}, {heap: 3, drift: -1.2}, {heap: 3, goroutines: 9}, {heap: 3, files: 9}} {
		last.minutes = 60
		w := watch{looks: []look{{}, {heap: 3}, {heap: 3}, last}}
		if w.missed() == nil {
			t.Errorf("%+v is taken for the same as %+v", last, w.looks[1])
		}
	}
	w := watch{looks: []look{{}, {heap: 3}, {heap: 3.5, minutes: 60, drift: 0.06}}}
	if err := w.missed(); err != nil {
		t.Error(err)
	}
}

// The singer sings what is asked, and counts what became of it.
func TestSingerCounts(t *testing.T) {
	s := newSinger(1)
	s.cents = -20
	s.follow(strings.NewReader(`{"event":"prompt","target_hz":220}
{"event":"verdict","cents_from_asked":-15}
{"event":"verdict","cents_from_asked":-1219.5}
{"event":"verdict","cents_from_asked":80}
{"event":"verdict","cents_from_asked":null,"reason":"lost_samples"}
{"event":"sung","heard":true}
no JSON
`))
	got := s.tally()
	if got.asked != 5 || got.degrees != 4 || got.right != 2 || got.wrong != 1 || got.unheard != 1 || got.lines != 1 || got.heard != 1 || got.reasons() != "lost_samples 1" {
		t.Errorf("%+v", got)
	}
	for text, want := range map[string]float64{"1": 1, "3/2": 1.5, "1/4": 0.25} {
		if got := fraction(text); got != want {
			t.Errorf("%s is read as %g", text, got)
		}
	}
}
