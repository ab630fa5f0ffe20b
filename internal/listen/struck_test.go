package listen

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"singback/internal/synth"
	"singback/internal/testkit/instruments"
	"singback/theory"
)

// scores is what became of the notes of one instrument.
type scores struct {
	name                string
	notes, found, added int
	mean, worst         float64 // cents from the key in equal temperament, of those found
	missed              []string
}

func (s *scores) String() string {
	return fmt.Sprintf("%-16s %3d of %3d, %d too many, mean %+.1f cents, worst %.1f %s", s.name, s.found, s.notes, s.added, s.mean/float64(max(1, s.found)), s.worst, strings.Join(s.missed, " "))
}

// count compares what was heard with what was played: a note is found where one of its
// degree, in any octave, begins within 0.15 s of it.
func (s *scores) count(notes []instruments.Note, in Instrument) {
	used := make([]bool, len(in.Notes))
	for _, n := range notes {
		s.notes++
		best := -1
		for j, h := range in.Notes {
			if away := math.Abs(h.Onset - n.At); !used[j] && away < 0.15 && (best < 0 || away < math.Abs(in.Notes[best].Onset-n.At)) {
				best = j
			}
		}
		if best < 0 {
			s.missed = append(s.missed, fmt.Sprintf("%d:none", n.Key))
			continue
		}
		used[best] = true
		off := math.Remainder(in.Notes[best].Cents-100*float64(n.Key), 1200)
		if math.Abs(off) > 50 {
			s.missed = append(s.missed, fmt.Sprintf("%d:%+.0f", n.Key, off))
			continue
		}
		s.found++
		s.mean += off
		s.worst = max(s.worst, math.Abs(off))
	}
	for _, u := range used {
		if !u {
			s.added++
		}
	}
}

// played draws notes that follow each other, at least so many seconds apart, with keys
// that are struck again and, if slurred, some that are held into the next.
func played(rng *rand.Rand, low, high, count int, least float64, slurred bool) (notes []instruments.Note, seconds float64) {
	at := 0.4
	for i := range count {
		n := instruments.Note{Key: low + rng.IntN(high-low+1), At: at, Loud: 0.4 + 0.6*rng.Float64()}
		step := least + 0.5*rng.Float64()
		if n.Length = step * (0.6 + 0.2*rng.Float64()); slurred {
			n.Length = step * (0.6 + 0.5*rng.Float64())
		}
		if i > 0 && rng.IntN(5) == 0 { // the key has come up before
			last := &notes[i-1]
			n.Key, last.Length = last.Key, min(last.Length, 0.8*(at-last.At))
		}
		notes = append(notes, n)
		at += step
	}
	return notes, at + 1
}

// Notes that are struck and plucked, made here, over the range of each instrument:
// nearly all are found, and their cents are what the stiffness of the strings makes of
// them. In quick ones, slurred, a few are missed.
func TestStruck(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 15))
	for _, timbre := range instruments.Timbres() {
		s := &scores{name: timbre.Name}
		for run := range 2 {
			notes, seconds := played(rng, timbre.Low, timbre.Hi, 5, 0.3+0.3*float64(run), run == 0)
			x := timbre.Play(24000, 440, notes, seconds, uint64(run))
			in, err := Struck(t.Context(), x, 24000, Hearing{}, nil, true)
			if err != nil {
				t.Fatal(err)
			}
			s.count(notes, in)
		}
		t.Log(s)
		if s.found < s.notes-1 || s.added > 0 || s.worst > 20 {
			t.Errorf("%s", s)
		}
	}
}

// An outside voice: instruments of a free soundfont, played by fluidsynth, each over its
// range in steps of some semitones (with SINGBACK_LONG=1 every key, the piano from A0 to
// A♭6), at the pace at which somebody answers. A step of the
// keyboard is equal temperament on A4 = 440 Hz (MIDI 1.0); the soundfont is tuned to some
// cents of it.
func TestStruckSoundfont(t *testing.T) {
	all, found, step, missed := 0, 0, 7, 1
	long := os.Getenv("SINGBACK_LONG") == "1"
	if long {
		step, missed = 1, 3
	}
	for i, p := range instruments.Programs() {
		if long && p.Name == "piano" {
			p.Low, p.Hi = 21, 92
		}
		var notes []instruments.Note
		for key := p.Low + i%min(3, step); key <= p.Hi; key += step {
			notes = append(notes, instruments.Note{Key: key, At: 0.4 + 0.8*float64(len(notes)), Length: 0.6, Loud: 0.6 + 0.1*float64(key%4)})
		}
		x := instruments.Soundfont(t, p.Number, notes)
		in, err := Struck(t.Context(), x, 48000, Hearing{}, nil, true)
		if err != nil {
			t.Fatal(err)
		}
		s := &scores{name: p.Name}
		s.count(notes, in)
		t.Log(s)
		all, found = all+s.notes, found+s.found
		if s.found < s.notes-missed || s.added > 2*(missed-1) || s.worst > 20 {
			t.Errorf("%s", s)
		}
	}
	if 100*found < 98*all {
		t.Errorf("%d of %d notes found", found, all)
	}
}

// ownTail is what a room has of the tool's own chords from the moment on at which a
// window opens, so many seconds after they were sent, where the sound comes late.
func ownTail(t *testing.T, seed uint64, room synth.Room, level, after, late, seconds float64) []float64 {
	t.Helper()
	const rate = 16000
	k, err := theory.ParseKey("Ab")
	if err != nil {
		t.Fatal(err)
	}
	at := func(degree int) theory.Pitch {
		return theory.Pitch{Note: k.Note(theory.Degree{Step: 1 + degree%7}), Octave: 3 + degree/7}
	}
	low := int(seed % 5)
	voices := []theory.Voicing{{at(low), at(low + 4), at(low + 7), at(low + 9)}, {at(0), at(4), at(7), at(9)}}
	board := synth.Keyboard{SampleRate: rate, Level: level}
	x := board.Render(synth.Chords(k, theory.Tuning{A4: 440}, voices, 1.2))
	end := len(x) + rate/4
	x = room.Reverb(x, rate, seed)
	out := make([]float64, int(seconds*rate))
	if from := end + int((after-late)*rate); from < len(x) {
		copy(out, x[max(0, from):])
	}
	for i, n := range synth.Pink(len(out), seed) {
		out[i] += 3e-4 * n
	}
	return out
}

// The tool's own chords, dying away in a room when the window opens or still sounding
// since the loudspeaker is late, answer nothing, at any level; and what is struck after
// them is found.
func TestStruckBesideOwnSound(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 15))
	timbres := instruments.Timbres()
	s := &scores{name: "after own sound"}
	for i, c := range []struct{ reverb, level, after, late float64 }{
		{0.4, -6, 0.2, 0}, {1, -18, 0.2, 0.9}, {2, -6, 1.2, 0.3}, {3, -6, 0.2, 0.9}, {3, -24, 0.2, 0},
	} {
		x := ownTail(t, uint64(i), synth.Room{RT60: c.reverb}, c.level, c.after, c.late, 5)
		in, err := Struck(t.Context(), x, 16000, Hearing{}, nil, true)
		if err != nil || len(in.Notes) > 0 {
			t.Errorf("%+v: %v, %v", c, in.Notes, err)
		}
		timbre := timbres[i%len(timbres)]
		notes, seconds := played(rng, max(36, timbre.Low), min(72, timbre.Hi), 3, 0.7, false)
		for j, v := range timbre.Play(16000, 440, notes, min(5, seconds), uint64(i)) {
			x[j] += v
		}
		if in, err = Struck(t.Context(), x, 16000, Hearing{}, nil, true); err != nil {
			t.Fatal(err)
		}
		s.count(notes, in)
	}
	t.Log(s)
	if s.found < s.notes-1 || s.added > 1 {
		t.Errorf("%s", s)
	}
}

// Hum of the mains and noise are no notes, whatever is struck beside them.
func TestStruckInHum(t *testing.T) {
	const rate = 16000
	hum := synth.Hum(6*rate, rate, 50)
	for i, n := range synth.Pink(len(hum), 1) {
		hum[i] = 0.01*hum[i] + 1e-3*n
	}
	in, err := Struck(t.Context(), hum, rate, Hearing{}, nil, true)
	if err != nil || len(in.Notes) > 0 {
		t.Errorf("%v, %v", in.Notes, err)
	}
	notes := []instruments.Note{{Key: 28, At: 0.5, Length: 1}, {Key: 45, At: 2, Length: 0.6}}
	for i, v := range instruments.Timbres()[5].Play(rate, 440, notes, 6, 1) {
		hum[i] += v
	}
	if in, err = Struck(t.Context(), hum, rate, Hearing{}, nil, true); err != nil {
		t.Fatal(err)
	}
	s := &scores{name: "in hum"}
	if s.count(notes, in); s.found != 2 || s.added > 0 {
		t.Errorf("%s", s)
	}
}
