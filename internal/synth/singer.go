package synth

import (
	"math"
	"math/rand/v2"

	"singback/internal/audio"
)

// Singer is the simulated singer of the drill: someone with a fair ear who
// takes a moment, mostly answers in tune, now and then sings sharp, flat, a
// neighbouring degree or an octave off, and does better on a second try.
type Singer struct {
	Voice Voice
	Seed  uint64
}

// Ask is what the simulated singer is asked to do.
type Ask struct {
	Hz float64 // the right answer
	// Below and Above are the neighbouring degrees in hertz, which the singer
	// may mistake for it.
	Below, Above float64
	Item         int // counts the questions of a series; the answer depends on it
	Attempt      int // 0 for the first answer, 1 for the first retry, …
}

// Intent is what the simulated singer is about to do.
type Intent struct {
	Cents   float64 // how far off the degree aimed at
	Degree  int     // −1 the degree below, 0 the right one, +1 the degree above
	Octaves int     // octaves away from the right one
	Pause   float64 // seconds of silence before the note, 0.4 … 1.0
	Note    Sung    // 1.6 … 2.4 s long
}

// How often, out of a hundred first answers, the singer goes wrong, and how
// often on a retry; the rest are in tune. Chosen so that a drill of ten
// questions shows most verdicts.
const (
	mistuned, wrongDegree, otherOctave = 18, 14, 8
	mistunedAgain                      = 12
)

// Intend returns what the singer will do. The same seed, item and attempt give
// the same intent.
func (s Singer) Intend(a Ask) Intent {
	rng := rand.New(rand.NewPCG(s.Seed, uint64(a.Item)<<16|uint64(a.Attempt)))
	in := Intent{
		Cents: max(-20, min(20, 9*rng.NormFloat64())),
		Pause: 0.4 + 0.6*rng.Float64(),
	}
	side := 1 - 2*rng.IntN(2)
	off := float64(side) * (25 + 20*rng.Float64())
	chance := rng.IntN(100)
	hz := a.Hz
	switch {
	case a.Attempt > 0:
		if chance < mistunedAgain {
			in.Cents = off
		}
	case chance < mistuned:
		in.Cents = off
	case chance < mistuned+wrongDegree:
		in.Degree, hz = side, a.Below
		if side > 0 {
			hz = a.Above
		}
	case chance < mistuned+wrongDegree+otherOctave:
		// An octave below, unless that leaves the human voice.
		in.Octaves = -1
		if a.Hz < 130 {
			in.Octaves = 1
		}
	}
	hz *= math.Exp2(float64(in.Octaves) + in.Cents/1200)
	n := NewSung(hz, 1.6+0.8*rng.Float64())
	n.Vowel = Vowel(rng.IntN(5))
	n.Consonant = Consonant(rng.IntN(4))
	n.ScoopCents = 20 + 60*rng.Float64()
	n.VibratoHz, n.VibratoCents = 5+1.5*rng.Float64(), 40*rng.Float64()
	n.BreathDB = 22 + 10*rng.Float64()
	in.Note = n
	return in
}

// What surrounds the note in an answer: silence after it in seconds, and the
// level of a quiet room in dBFS.
const (
	answerTail = 1.0
	roomLevel  = -75.0
)

// Answer sings the answer: the pause, the note, and a second of silence, in a
// quiet room. It ends then.
func (s Singer) Answer(a Ask) audio.Source {
	in := s.Intend(a)
	x, _ := s.Voice.Sing([]Sung{Rest(in.Pause), in.Note, Rest(answerTail)}, s.Seed+(uint64(a.Item)<<16|uint64(a.Attempt)))
	for i, n := range Pink(len(x), s.Seed^uint64(a.Item)) {
		x[i] += fromDB(roomLevel) * n
	}
	return audio.NewSamples(s.Voice.SampleRate, x)
}
