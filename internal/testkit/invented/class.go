package invented

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"singback/exercise/grade"
	"singback/internal/synth"
	"singback/internal/testkit"
)

// Planted is what goes wrong in an invented take.
type Planted int8

const (
	Well      Planted = iota // nothing but what any voice does
	WrongNote                // one note is another degree
	LeftOut                  // one note is passed over
	Twice                    // a note is added
	Waited                   // a silence before one note
	Again                    // from the beginning again, after some notes
	Drifting                 // the key falls by a tone and a half
	OutOfTune                // every note lies off by some 60 cents
	Silent                   // a room, and nobody in it
	Speaking                 // speech
	OtherLine                // another melody

	PlantedKinds // how many there are
)

// String names it.
func (p Planted) String() string {
	return [...]string{"well", "wrong note", "left out", "added", "waited", "again", "drifting", "out of tune", "silent", "speaking", "other line"}[p]
}

// ClassTake is an invented take of a class.
type ClassTake struct {
	Student, Task int
	Planted       Planted
	At            int // the note that it is about, from 0; −1: none
	Sung          []grade.Sung
	seed          uint64
}

// classMoves are steps through a scale from which tasks are put together; of nobody.
var classMoves = []int{1, 1, -1, 2, -1, 1, -2, 1, 2, -1, -1, 2, 1, -3, 1, 1}

// ClassTask is the line of a task, in names of degrees with their octaves, and its notes
// as a voice sings them, above C4, each beat a second times speed.
func ClassTask(task, notes int) (names string, sung []grade.Sung) {
	syllables := []string{"do", "re", "mi", "fa", "sol", "la", "ti"}
	semitones := []float64{0, 2, 4, 5, 7, 9, 11}
	rng := rand.New(rand.NewPCG(uint64(task), 41))
	step, at := 0, 0.5
	for i := range notes {
		if i > 0 {
			move := classMoves[rng.IntN(len(classMoves))]
			for step+move < 0 || step+move > 8 || move == 0 {
				move = classMoves[rng.IntN(len(classMoves))]
			}
			step += move
		}
		if i == notes-1 {
			step = 7 * ((step + 3) / 7) // home
		}
		name := syllables[step%7]
		if step >= 7 {
			name += "'"
		}
		if i > 0 {
			names += " "
		}
		names += name
		sung = append(sung, grade.Sung{Onset: at, Offset: at + 0.62, Cents: 6000 + 100*semitones[step%7] + 1200*float64(step/7)})
		at += 0.7
	}
	return names, sung
}

// Class makes the takes of an invented class, one of each student for each task, in the
// order of the tasks. Every student sings in a key of their own; most sing well, and
// what is planted in the others comes in turn. So many notes have the lines.
func Class(students, tasks, notes int, seed uint64) []ClassTake {
	var out []ClassTake
	turn := 0
	for task := range tasks {
		_, line := ClassTask(task, notes)
		for student := range students {
			rng := rand.New(rand.NewPCG(seed+uint64(task), uint64(student)))
			t := ClassTake{Student: student, Task: task, At: -1, seed: rng.Uint64()}
			if rng.IntN(3) == 0 {
				turn++
				t.Planted = Planted(1 + turn%int(PlantedKinds-1))
			}
			t.Sung = plant(&t, line, rng)
			shift := 100 * float64((student*5)%9-4)
			for i := range t.Sung {
				t.Sung[i].Cents += shift + 8*rng.NormFloat64()
			}
			out = append(out, t)
		}
	}
	return out
}

// plant has something go wrong in a line.
func plant(t *ClassTake, line []grade.Sung, rng *rand.Rand) []grade.Sung {
	s := append([]grade.Sung(nil), line...)
	n := len(s)
	later := func(from int, by float64) {
		for i := from; i < len(s); i++ {
			s[i].Onset += by
			s[i].Offset += by
		}
	}
	k := 2 + rng.IntN(n-4)
	switch t.Planted {
	case WrongNote:
		t.At = k
		off := []float64{-400, -300, 300, 400}[rng.IntN(4)]
		s[k].Cents += off
	case LeftOut:
		t.At = k
		s = append(s[:k:k], s[k+1:]...)
		later(k, -0.7)
	case Twice:
		t.At = k
		extra := s[k]
		extra.Cents += 300
		s = append(s[:k:k], append([]grade.Sung{extra}, s[k:]...)...)
		later(k+1, 0.7)
	case Waited:
		t.At = k
		later(k, 2.5)
	case Again:
		t.At = k
		first := append([]grade.Sung(nil), s[:k]...)
		by := s[k-1].Offset + 0.8 - s[0].Onset
		later(0, by)
		s = append(first, s...)
	case Drifting:
		for i := range s {
			s[i].Cents -= 300 * float64(i) / float64(n-1)
		}
	case OutOfTune:
		for i := range s {
			s[i].Cents += 62 * float64(1-2*(i%2))
		}
	case OtherLine:
		_, s = ClassTask(t.Task+1000, n)
		for i := range s { // in another order too
			j := rng.IntN(i + 1)
			s[i].Cents, s[j].Cents = s[j].Cents, s[i].Cents
		}
	}
	return s
}

// classVoices are who sings, in turn.
var classVoices = []struct {
	voice  synth.VoiceType
	octave float64
}{{synth.Alto, 0}, {synth.Soprano, 0}, {synth.Tenor, -1}, {synth.Bass, -1}}

// Samples sings the take at a rate, with a quiet room about it.
func (t ClassTake) Samples(rate int) []float64 {
	last := 0.0
	for _, n := range t.Sung {
		last = max(last, n.Offset)
	}
	length := int((last + 0.5) * float64(rate))
	var x []float64
	switch t.Planted {
	case Silent:
		x = make([]float64, length)
	case Speaking:
		x = testkit.Speech(rate, last+0.5, t.seed)
		for i := range x {
			x[i] *= 0.5
		}
	default:
		who := classVoices[t.Student%len(classVoices)]
		var notes []synth.Sung
		now := 0.0
		for _, n := range t.Sung {
			if gap := n.Onset - now; gap > 0.002 {
				notes, now = append(notes, synth.Rest(gap)), now+gap
			}
			if d := n.Offset - now; d > 0 {
				one := synth.NewSung(440*math.Exp2((n.Cents-6900)/1200+who.octave), d)
				one.VibratoHz, one.VibratoCents, one.DriftCents = 5.2, 12, 6
				notes, now = append(notes, one), now+d
			}
		}
		x, _ = synth.Voice{SampleRate: rate, Type: who.voice}.Sing(append(notes, synth.Rest(0.5)), t.seed)
	}
	for i, v := range synth.Pink(len(x), t.seed) {
		x[i] += v * math.Pow(10, -62.0/20)
	}
	return x
}

// StudentName is the name of an invented student: two syllables and where more are
// needed a number.
func StudentName(i int) string {
	first := []string{"Ba", "Da", "Fe", "Ga", "Hu", "Ja", "Ka", "Lo", "Me", "Ni", "Po", "Ru", "Sa", "Ta", "Vi", "Wo"}
	second := []string{"ran", "lim", "dor", "ves", "nuk", "rel", "tan", "mos", "pir", "zel"}
	name := first[i%16] + second[i/16%10]
	if i >= 160 {
		name += fmt.Sprintf(" %d", i/160)
	}
	return name
}

// Curve is the take as a pitch curve of CSV, as a program that measures pitch writes it:
// a moment each 10 ms, and no pitch between notes. Of speech it glides.
func (t ClassTake) Curve() string {
	rng := rand.New(rand.NewPCG(t.seed, 3))
	last := 0.0
	for _, n := range t.Sung {
		last = max(last, n.Offset)
	}
	var b strings.Builder
	b.WriteString("time_s,f0_hz\n")
	next, glide := 0, 0.0
	for i := range int(100 * (last + 0.5)) {
		at, hz := float64(i)/100, 0.0
		for next < len(t.Sung) && t.Sung[next].Offset <= at {
			next++
		}
		if next < len(t.Sung) && t.Sung[next].Onset <= at {
			cents := t.Sung[next].Cents + 10*math.Sin(2*math.Pi*5.2*at) + 3*rng.NormFloat64()
			if t.Planted == Speaking {
				if i%12 == 0 {
					glide = 2000 * (rng.Float64() - 0.5)
				}
				cents += glide * float64(i%12) / 12
			}
			hz = 440 * math.Exp2((cents-6900)/1200)
		}
		if t.Planted == Silent {
			hz = 0
		}
		fmt.Fprintf(&b, "%.2f,%.3f\n", at, hz)
	}
	return b.String()
}
