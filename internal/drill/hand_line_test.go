package drill

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Lines that are sung are then played whole: every note is asked of the hand, in its
// order, and what voice and hand took is told apart. The simulated singer sings and
// plays; what it strikes is compared with what is said note by note.
func TestLinesThenPlayed(t *testing.T) {
	lines, struck, wrong, sungWrong, moved := 0, 0, 0, 0, 0
	for seed := range uint64(10) {
		o := &Series{Music: &Music{}, Level: 1 + int(seed)%5, Count: 2, Tempo: 0, Tolerance: grade.DefaultRules().Tolerance, Setting: "tonic", Loudness: -23, Then: ThenPlay, Notes: 4, Seed: seed, Echo: seed%2 == 0, Gap: 1}
		o.Music.A4, o.Music.Tuning, o.Music.Names = theory.DefaultA4, "equal", "movable"
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		var record memory
		r, events := heardRun(p, &record)
		r.Answers = NewSimulated(p, 16000)
		tally, err := r.Do(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		right, of := 0, 0
		var score theory.Score
		for _, e := range *events {
			switch e := e.(type) {
			case session.LinePrompted:
				score = e.Melody.Score
			case *session.HandStruck:
				lines++
				var want []theory.Degree
				for _, n := range score.Notes {
					if !n.Rest {
						want = append(want, score.Key.Degree(n.Pitch.Note))
					}
				}
				if len(e.Asked) != len(want) || len(e.Strikes) != len(want) || len(e.Sung) != len(want) {
					t.Fatalf("%d asked, %d struck, %d sung of %d notes", len(e.Asked), len(e.Strikes), len(e.Sung), len(want))
				}
				for i, d := range want {
					of++
					key := theory.Pitch{Note: score.Key.Tonic, Octave: 4}.MIDI() + d.Semitones()
					same := (e.Strikes[i].Keys[0]-key)%12 == 0
					got := e.Outcome(i) == exercise.RightAnswer
					switch inOrder := e.Back.Degrees[i].Onset == e.Strikes[i].At; {
					case e.Asked[i].Degree != d, inOrder && got != same:
						t.Errorf("note %d: asked %v, want %v; struck %d: %v", i+1, e.Asked[i].Degree, d, e.Strikes[i].Keys[0], e.Outcome(i))
					case !inOrder:
						moved++ // a wrong key beside its like is taken for it, and the next one for added
					}
					if got {
						right++
					} else {
						wrong++
					}
					if s := e.Sung[i]; s != (exercise.Skill{}) && s.Degree != d {
						sungWrong++
					}
				}
				struck += len(want)
				if head := r.Style.HandHeadline(Handed(e)); !strings.HasPrefix(head, "played ") {
					t.Error(head)
				}
			}
		}
		if tally.Hand != (exercise.Marks{Right: right, Of: of}) {
			t.Errorf("%+v, struck %d of %d right", tally.Hand, right, of)
		}
		if text := r.Summary(tally); !strings.HasSuffix(text, fmt.Sprintf("%d of %d notes struck right.\n", right, of)) {
			t.Errorf("%q", text)
		}
		ends := slices.IndexFunc(*events, func(e session.Event) bool { _, ok := e.(session.Finished); return ok })
		if ev := r.EventRecord((*events)[ends]).(linesEvent); ev.Hand != (report.Score{Right: right, Of: of}) {
			t.Errorf("%+v", ev)
		}
	}
	t.Logf("%d lines, %d notes struck, %d wrong, %d answered by another strike, %d sung as another degree", lines, struck, wrong, moved, sungWrong)
	if lines != 20 || moved > 15 || wrong < 20 || struck-wrong < 60 || sungWrong < 3 {
		t.Errorf("%d lines, %d notes, %d wrong, %d sung wrong: is anything tried?", lines, struck, wrong, sungWrong)
	}
}
