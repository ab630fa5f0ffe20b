package drill

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"singback/exercise"
	"singback/internal/kept"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/internal/testkit/instruments"
	"singback/theory"
)

// buildStruck makes an answer to a dictation, by an instrument in equal temperament on
// a4.
func buildStruck(d session.Dictation, way int, timbre instruments.Timbre, rate int, a4 float64, rng *rand.Rand) built {
	n := len(d.Dictation.Chords)
	b := built{way: way, start: 0.3 + rng.Float64(), right: make([]bool, n), cents: make([]float64, n), octave: make([]int, n), waits: make([]float64, n)}
	if way == late {
		b.start = 5 + 4*rng.Float64()
	}
	up := 0
	for i := range n { // into the instrument's range
		for d.Dictation.Voices[i][0].MIDI()+12*up < timbre.Low {
			up++
		}
	}
	odd := rng.IntN(n)
	away := func(at int) int { // semitones to what sounds like nothing that is struck beside
		for {
			by := 1 + rng.IntN(11)
			ok := true
			for j := max(0, at-1); j <= min(n-1, at+1); j++ {
				ok = ok && (b.sung[at].Semitones()+by-b.sung[j].Semitones()+24)%12 != 0
			}
			if ok {
				return by
			}
		}
	}
	for _, s := range d.Dictation.Skills() {
		b.sung = append(b.sung, s.Degree)
	}
	var notes []instruments.Note
	at := b.start
	strike := func(key int, step float64) {
		notes = append(notes, instruments.Note{Key: key, At: at, Length: step * (0.7 + 0.25*rng.Float64()), Loud: 0.5 + 0.5*rng.Float64()})
		at += step
	}
	moved := make([]theory.Degree, n)
	for i := range b.sung {
		key := d.Dictation.Voices[i][0].MIDI()
		b.right[i], b.octave[i] = true, up
		if way == octaveOff && i == odd {
			b.octave[i]++
		}
		if way == hesitant && i > 0 && i == max(odd, 1) {
			b.waits[i] = 2 + rng.Float64()
			at += b.waits[i]
		}
		if way == extraNote && i == odd {
			by := away(i)
			b.added = append(b.added, chromatic()[(b.sung[i].Semitones()+by)%12])
			strike(key+12*up+by, 0.5)
		}
		moved[i] = b.sung[i]
		if way == oneWrong && i == odd {
			by := away(i)
			b.right[i], moved[i] = false, chromatic()[(b.sung[i].Semitones()+by)%12]
			key += by
		}
		strike(key+12*b.octave[i], 0.5+0.4*rng.Float64())
	}
	b.sung = moved
	b.samples = timbre.Play(rate, a4, notes, at+0.5, rng.Uint64())
	for i, x := range synth.Pink(len(b.samples), rng.Uint64()) {
		b.samples[i] += x * 3e-4
	}
	return b
}

// checkStruck compares what was said with what was made: cents within what the
// inharmonicity of strings makes of them.
func (b built) checkStruck(n session.Named) error {
	if n.Played == nil || n.Played.Take == nil || n.Reason() != exercise.NoReason {
		return fmt.Errorf("not measured: %s", n.Reason())
	}
	back := n.Played.Back
	if !slices.Equal(n.Right, b.right) {
		return fmt.Errorf("right %v, made %v", n.Right, b.right)
	}
	if len(back.Added) != len(b.added) {
		return fmt.Errorf("too many: %v, made %v", back.Added, b.added)
	}
	for i, d := range back.Degrees {
		switch {
		case !d.Sung || d.Degree.Semitones() != b.sung[i].Semitones():
			return fmt.Errorf("note %d: %v, made %v", i+1, d, b.sung[i])
		case math.Abs(d.Cents) > 20:
			return fmt.Errorf("note %d: %.1f cents off", i+1, d.Cents)
		case (d.Wait >= 1) != (b.waits[i] > 0):
			return fmt.Errorf("note %d: after %.1f s, made %.1f", i+1, d.Wait, b.waits[i])
		}
	}
	return nil
}

// Answers that an instrument plays are marked as they were made: each way, in each
// naming, each timbre, live and from recordings, in just and equal tuning of what was
// heard, on an instrument that is tuned to the A4 of the options. Of 500, with
// SINGBACK_LONG=1, all are.
func TestStruckBack(t *testing.T) {
	const rate = 16000
	answers := 60
	switch {
	case os.Getenv("SINGBACK_LONG") == "1":
		answers = 500
	case raceDetector || testing.Short():
		answers = 12
	}
	keys := []string{"C", "Eb", "f#m", "A", "gm", "Bb", "dm", "Db"}
	asked, wrong := [wayCount]int{}, [wayCount]int{}
	namings, timbres := theory.Namings(), instruments.Timbres()
	for run, done := 0, 0; done < answers; run++ {
		o := &Dictation{
			Music: music(keys[run%len(keys)]), Manner: manner(), Of: "bass", Answer: ByPlaying, Degrees: "all",
			Length: 1 + run%4, Count: min(10, answers-done), Seed: uint64(run + 1),
		}
		o.Manner.Think = 1
		o.Music.Names = namings[run%len(namings)].String()
		if run%2 == 1 {
			o.Music.Tuning, o.Music.A4 = "just", 443
		}
		if run%3 == 2 {
			o.Degrees = "chromatic"
		}
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		p.Config.Compare = false
		rng := rand.New(rand.NewPCG(uint64(run), 15))
		var record memory
		r, events := heardRun(p, &record)
		timbre := timbres[run%len(timbres)]
		who := &singers{Answers: Microphone{}, live: run%4 != 0, rate: rate}
		who.make = func(d session.Dictation, index int) built {
			return buildStruck(d, (run+index)%wayCount, timbre, rate, o.Music.A4, rng)
		}
		r.Answers = who
		if _, err := r.Do(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, e := range *events {
			n, ok := e.(session.Named)
			if !ok {
				continue
			}
			b := who.made[n.Index-1]
			asked[b.way]++
			if err := b.checkStruck(n); err != nil {
				wrong[b.way]++
				t.Logf("run %d (%s), answer %d, %s, %s: %v", run, timbre.Name, n.Index, ways[b.way], n.Dictation.Material(), err)
			}
			if ev := r.EventRecord(n).(namedEvent); ev.By != ByPlaying || ev.Struck == nil || ev.Sung != nil {
				t.Errorf("%+v", ev)
			}
		}
		for _, a := range record.answers {
			a.Session = kept.NewSession([16]byte{1}, "Anna", "dictation", "mic", 1, "test", began)
			if err := kept.Check(a); err != nil {
				t.Errorf("%+v cannot be kept: %v", a, err)
			}
		}
		done += o.Count
	}
	for way, n := range wrong {
		t.Logf("%-10s %d of %d as they were made", ways[way], asked[way]-n, asked[way])
		if n > 0 {
			t.Errorf("%s: %d of %d are not marked as they were made", ways[way], n, asked[way])
		}
	}
}
