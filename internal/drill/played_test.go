package drill

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/kept"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// players are Answers that play as a test has them.
type players struct {
	Typing
	play func(d session.Dictation) ([]exercise.Strike, error)
}

func (players) Kind() Kind { return ByKeys }

func (p players) Struck(_ context.Context, d session.Dictation) ([]exercise.Strike, error) {
	return p.play(d)
}

// playedAs is what was struck, and what is to be said of it.
type playedAs struct {
	way     int
	strikes []exercise.Strike
	right   []bool
	names   []string // of qualities; of degrees by their semitones
	added   int
	waits   []bool
	octave  []int
	turned  []int // inversions
}

// playBass plays the bass of a dictation, in a way.
func playBass(d session.Dictation, way int, rng *rand.Rand) playedAs {
	skills := d.Dictation.Skills()
	n := len(skills)
	p := playedAs{way: way}
	odd, at := rng.IntN(n), 0.8
	if way == late {
		at = 15
	}
	strike := func(key int) {
		keys := []int{key}
		if rng.IntN(4) == 0 {
			keys = append(keys, key+12) // with its octave
		}
		p.strikes = append(p.strikes, exercise.Strike{Keys: keys, At: at, Length: 0.4})
		at += 0.5 + 0.3*rng.Float64()
	}
	other := func(i int) int { // sounds like nothing that is asked beside it
		for {
			away := 1 + rng.IntN(11)
			ok := true
			for j := max(0, i-1); j <= min(n-1, i+1); j++ {
				ok = ok && (skills[i].Degree.Semitones()+away-skills[j].Degree.Semitones()+24)%12 != 0
			}
			if ok {
				return away
			}
		}
	}
	for i, s := range skills {
		key, octave, degree := d.Dictation.Voices[i][0].MIDI(), 1, s.Degree.Semitones()
		p.right, p.waits = append(p.right, way != oneWrong || i != odd), append(p.waits, way == hesitant && i > 0 && i == max(odd, 1))
		switch {
		case way == octaveOff && i == odd:
			octave = 2
		case way == oneWrong && i == odd:
			away := other(i)
			key, degree = key+away, (degree+away)%12
		case way == extraNote && i == odd:
			strike(key + 12 + other(i))
			p.added++
		case p.waits[i]:
			at += 2
		}
		strike(key + 12*octave)
		p.names, p.octave = append(p.names, fmt.Sprint(degree)), append(p.octave, octave)
	}
	return p
}

// playChords plays the chords of a dictation, in a way, each in some inversion.
func playChords(d session.Dictation, way int, rng *rand.Rand) playedAs {
	skills := d.Dictation.Skills()
	p := playedAs{way: way}
	odd, at := rng.IntN(len(skills)), 0.8
	if way == late {
		at = 15
	}
	strike := func(root theory.Note, quality string) (inversion int) {
		q, err := theory.ParseQuality(map[string]string{"min": "m", "mMaj7": "m(maj7)"}[quality])
		if quality != "min" && quality != "mMaj7" {
			q, err = theory.ParseQuality(quality)
		}
		if err != nil {
			panic(err)
		}
		tones := q.Tones()
		inversion = rng.IntN(len(tones))
		low := (theory.Pitch{Note: root, Octave: 3}).MIDI()
		var keys []int
		for i := range tones {
			k := low + tones[(inversion+i)%len(tones)].Semitones()
			for len(keys) > 0 && k <= keys[len(keys)-1] {
				k += 12
			}
			keys = append(keys, k)
		}
		if way == octaveOff {
			keys[len(keys)-1] += 12
		}
		p.strikes = append(p.strikes, exercise.Strike{Keys: keys, At: at, Length: 0.7})
		at += 1
		return inversion
	}
	for i, s := range skills {
		quality, root := s.Chord, d.Dictation.Chords[i].Chord.Root
		if way == hesitant && i == odd {
			at += 3
		}
		if p.right = append(p.right, way != oneWrong || i != odd); way == oneWrong && i == odd {
			for quality = s.Chord; quality == s.Chord; {
				quality = compose.Qualities()[rng.IntN(len(compose.Qualities()))]
			}
		}
		p.turned = append(p.turned, strike(root, quality))
		p.names = append(p.names, quality)
	}
	if way == extraNote {
		strike(d.Item.Key.Tonic, "maj")
		p.added++
	}
	return p
}

// check compares what was said with what was played.
func (p playedAs) check(n session.Named) error {
	if n.Played == nil || n.Reason() != exercise.NoReason || !slices.Equal(n.Right, p.right) {
		return fmt.Errorf("right %v, made %v", n.Right, p.right)
	}
	if n.Dictation.Of == exercise.QualitySkill {
		if len(n.Played.Held) != len(p.names)+p.added {
			return fmt.Errorf("%d chords, made %d", len(n.Played.Held), len(p.names)+p.added)
		}
		for i, name := range p.names {
			if h := n.Played.Held[i]; h.Name != name || h.Inversion != p.turned[i] || h.Open != (p.way == octaveOff) {
				return fmt.Errorf("chord %d: %+v, made %s, inversion %d", i+1, h, name, p.turned[i])
			}
		}
		return nil
	}
	b := n.Played.Back
	if len(b.Added) != p.added {
		return fmt.Errorf("too many: %v, made %d", b.Added, p.added)
	}
	for i, d := range b.Degrees {
		switch {
		case !d.Sung || fmt.Sprint(d.Degree.Semitones()) != p.names[i] || d.Cents > 1e-6 || d.Cents < -1e-6:
			return fmt.Errorf("note %d: %+v, made %s", i+1, d, p.names[i])
		case p.right[i] && d.Octave != p.octave[i]:
			return fmt.Errorf("note %d: octave %d, made %d", i+1, d.Octave, p.octave[i])
		case (d.Wait >= 1) != p.waits[i]:
			return fmt.Errorf("note %d: after %.1f s, made %v", i+1, d.Wait, p.waits[i])
		}
	}
	return nil
}

// Answers that are played back are marked as they were made: bass lines and chords, each
// way, in each naming, in equal and in just tuning.
func TestPlayedBack(t *testing.T) {
	answers := 500
	if raceDetector {
		answers = 60
	}
	keys := []string{"C", "Eb", "f#m", "A", "gm", "Bb", "dm", "Db"}
	namings := theory.Namings()
	for _, of := range []string{"bass", "quality"} {
		asked, wrong := [wayCount]int{}, [wayCount]int{}
		for run, done := 0, 0; done < answers; run++ {
			o := &Dictation{
				Music: music(keys[run%len(keys)]), Manner: manner(), Of: of, Answer: ByPlaying, Degrees: "all", Qualities: strings.Join(compose.Qualities(), " "),
				Length: 1 + run%6, Count: min(10, answers-done), Seed: uint64(run + 1),
			}
			o.Music.Names = namings[run%len(namings)].String()
			if run%2 == 1 {
				o.Music.Tuning, o.Music.A4 = "just", 442
			}
			if run%3 == 2 {
				o.Degrees = "chromatic"
			}
			p, err := o.Plan()
			if err != nil {
				t.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(uint64(run), 8))
			var record memory
			r, events := heardRun(p, &record)
			var made []playedAs
			r.Answers = players{play: func(d session.Dictation) ([]exercise.Strike, error) {
				way := (run + len(made)) % wayCount
				if of == "bass" {
					made = append(made, playBass(d, way, rng))
				} else {
					made = append(made, playChords(d, way, rng))
				}
				return made[len(made)-1].strikes, nil
			}}
			if _, err := r.Do(t.Context()); err != nil {
				t.Fatal(err)
			}
			for _, e := range *events {
				n, ok := e.(session.Named)
				if !ok {
					continue
				}
				m := made[n.Index-1]
				asked[m.way]++
				if err := m.check(n); err != nil {
					wrong[m.way]++
					t.Logf("%s, run %d, answer %d, %s, %s: %v", of, run, n.Index, ways[m.way], n.Dictation.Material(), err)
				}
				if ev := r.EventRecord(n).(namedEvent); ev.By != "play" || len(ev.Played) != len(m.strikes) || ev.Sung != nil {
					t.Errorf("%+v", ev)
				}
			}
			for _, a := range record.answers {
				a.Session = kept.NewSession([16]byte{1}, "Anna", "dictation", "keys", 1, "test", began)
				if err := kept.Check(a); err != nil {
					t.Errorf("%+v cannot be kept: %v", a, err)
				}
			}
			done += o.Count
		}
		for way, n := range wrong {
			t.Logf("%s, %-10s %d of %d as they were made", of, ways[way], asked[way]-n, asked[way])
			if n > 0 {
				t.Errorf("%s, %s: %d of %d are not marked as they were made", of, ways[way], n, asked[way])
			}
		}
	}
}

// Where nothing is struck it is played once more, and then held against nobody; a
// keyboard that is gone ends the drill with its word, and what was answered is kept.
func TestNothingIsPlayed(t *testing.T) {
	o := &Dictation{Music: music("C"), Manner: manner(), Of: "bass", Answer: ByPlaying, Degrees: "do", Length: 1, Count: 3, Seed: 1}
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	var record memory
	r, events := heardRun(p, &record)
	calls := 0
	gone := errors.New("the keyboard x is gone")
	r.Answers = players{play: func(d session.Dictation) ([]exercise.Strike, error) {
		switch calls++; calls {
		case 3:
			return []exercise.Strike{{Keys: []int{60}, At: 1, Length: 1}}, nil
		case 4:
			return nil, gone
		}
		return nil, nil
	}}
	tally, err := r.Do(t.Context())
	if !errors.Is(err, gone) || tally.Bass != (exercise.Marks{Right: 1, Of: 1}) {
		t.Errorf("%v, %+v", err, tally.Bass)
	}
	if len(record.answers) != 2 || record.answers[0].Verdict.Outcome != exercise.NotMeasured || record.answers[0].Counts || !record.answers[1].Counts {
		t.Errorf("%+v", record.answers)
	}
	style := report.Style{ASCII: true}
	for _, e := range *events {
		if n, ok := e.(session.Named); ok && n.Index == 1 {
			if got := style.AnsweredHeadline(Answered(n)); got != "do: nothing was struck, not counted" || !n.Again {
				t.Errorf("%q, again %v", got, n.Again)
			}
		}
	}
}
