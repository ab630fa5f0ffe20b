package drill

import (
	"fmt"
	"slices"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Record is where answers are kept: each is safe when Add returns.
type Record interface {
	Add(a practice.Answer) error
	Path() string // where it is, for people
	Close() error
}

// Keeper writes the verdicts of a session into a record. Whatever is wrong with it,
// the session goes on.
type Keeper struct {
	Record  Record // nil: nothing is recorded
	Session practice.Session
	Named   bool // the singer has a name

	Trouble string // one line that says why nothing is recorded; "" if that is as it should be
	Ending  string // the same, where it is enough to say so at the end
	Note    string // one line about answers that were given without a name; "" without

	waiting []practice.Answer // could not be written yet
	kept    int
	unheard int // of them were not measured
	failing bool
}

// Keeping says what may be kept.
type Keeping struct {
	None    bool // nothing
	Asked   bool // whatever answers is recorded, in the record that was named
	There   bool // there is a record
	Command string
	Source  Kind
	Silent  bool // nobody hears the sound
	Given   bool // the lines were read from files
}

// Why not: what is recorded is what a singer does, and only today begins a record of
// the user's.
func (k Keeping) refusal() (trouble, ending string) {
	switch {
	case k.None:
		return "", "Not recorded, as --no-record says."
	case k.Given:
		return "", "Not recorded: a melody that is given has no level."
	case k.Asked:
		return "", ""
	case k.Source != ByMicrophone && k.Source != ByTyping && k.Source != ByKeys:
		if k.Command != "today" && !k.There {
			return "", ""
		}
		if k.Source == ByRecording {
			return "Not recorded: recordings answer (record what they sing with --record FILE).", ""
		}
		return "Not recorded: a simulated singer answers (record it with --record FILE).", ""
	case k.Command != "today" && !k.There:
		return "", "Not recorded: there is no practice record yet (singback today begins one, or name a --record FILE)."
	case (k.Source == ByTyping || k.Command == "dictation") && k.Silent:
		return "Not recorded: nobody heard the chords (record the names with --record FILE).", ""
	}
	return "", ""
}

// May reports whether the answers are recorded; where not, the keeper says why.
func (k *Keeper) May(what Keeping) bool {
	k.Trouble, k.Ending = what.refusal()
	nothing := what.None || what.Given || !what.Asked && what.Source != ByMicrophone && what.Source != ByTyping && what.Source != ByKeys
	return !nothing && k.Trouble == "" && k.Ending == ""
}

// keep records what an event has to keep; emit tells what goes wrong, once.
func (k *Keeper) keep(e session.Event, r *Run) {
	switch e := e.(type) {
	case session.Judged:
		k.add(e.Seconds, practice.Answer{
			Index: e.Index, Attempt: e.Attempt, Skill: e.Skill, Item: e.Item, Tolerance: e.Tolerance, Verdict: e.Verdict,
			Counts: e.Counts, Again: e.Attempt > 1, Feedback: e.Feedback, Guess: e.Guess,
		}, r)
	case session.Named:
		for _, a := range namedAnswers(e) {
			k.add(e.Seconds, a, r)
		}
	case *session.HandStruck:
		for _, a := range handAnswers(e) {
			k.add(e.Seconds, a, r)
		}
	case session.LineSung:
		if e.Melody.Level == 0 {
			return // a line that was read is no skill
		}
		k.add(e.Seconds, lineAnswer(e, r.Plan.Item), r)
	}
}

// namedAnswers are those of a dictation, one for each chord.
func namedAnswers(n session.Named) []practice.Answer {
	var out []practice.Answer
	outcomes := n.Outcomes()
	for i, skill := range n.Dictation.Skills() {
		a := practice.Answer{
			Index: n.Index, Attempt: 1, Skill: skill, Item: n.Item, Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance},
			Verdict: exercise.Verdict{Outcome: outcomes[i], Reason: n.Reason(), Answer: n.Answer},
			Counts:  outcomes[i] != exercise.NotMeasured && outcomes[i] != exercise.Ambiguous, Again: n.Again, Feedback: n.Feedback, Material: n.Dictation.Material(),
		}
		if name, ok := n.Name(i); ok {
			a.Named = nameOf(name)
		}
		if a.Item.Asked = skill.Degree; skill.Kind == exercise.QualitySkill {
			a.Item.Asked = n.Item.Key.Degree(n.Dictation.Chords[i].Chord.Root)
		}
		out = append(out, a)
	}
	if n.Dictation.Of != exercise.RootSkill {
		return out
	}
	asked, named, right := n.Inversions()
	for i, a := range out {
		if a.Skill, a.Named = asked[i], ""; i < len(named) && named[i] != (exercise.Skill{}) {
			a.Named = nameOf(named[i])
		}
		if a.Verdict.Outcome != exercise.NotMeasured {
			if a.Verdict.Outcome = exercise.WrongAnswer; right[i] {
				a.Verdict.Outcome = exercise.RightAnswer
			}
		}
		out = append(out, a)
	}
	return out
}

// nameOf is a name as the record has it: "b7", "m7b5", of an inversion "1".
func nameOf(s exercise.Skill) string {
	return report.Code(s)
}

// lineAnswer is that of a sung line; item has the tuning and register of the drill.
func lineAnswer(s session.LineSung, item exercise.Item) practice.Answer {
	m := s.Melody
	a := practice.Answer{
		Index: s.Index, Attempt: s.Attempt, Skill: exercise.Skill{Kind: exercise.MelodySkill, Level: m.Level},
		Item: item, Tolerance: exercise.Tolerance{Cents: s.Rules.Tolerance},
		Counts: s.Counts() && s.Attempt == 1, Again: s.Attempt > 1 || s.Echo, Feedback: s.Feedback,
		Material: fmt.Sprintf("level %d seed %d", m.Level, m.Seed),
	}
	if s.Silent != nil {
		a.Material += " silent bars " + barList(s.SilentBars)
	}
	a.Item.Key = m.Score.Key
	a.Item.Asked = theory.Degree{Step: 1}
	if len(s.Model.Degrees) > 0 {
		a.Item.Asked = s.Model.Degrees[0]
	}
	a.Verdict = exercise.Verdict{Level: s.Take.Loudest, Held: s.Take.Voiced}
	switch {
	case s.Take.Lost:
		a.Verdict.Reason = exercise.LostSamples
	case s.Masked:
		a.Verdict.Reason = exercise.TooLoud
	case !s.Heard():
		a.Verdict.Reason = exercise.TooQuiet
	default:
		a.Notes, a.NotesRight = len(s.Grade.Notes), s.Grade.Right
		a.Verdict.Outcome = s.Outcome
	}
	return a
}

// add records an answer. What cannot be written is tried again with the next.
func (k *Keeper) add(seconds float64, a practice.Answer, r *Run) {
	if k.Record == nil {
		return
	}
	a.Session, a.Number, a.At = k.Session, 1, r.at(seconds)
	k.waiting = append(k.waiting, a)
	switch err := k.write(); {
	case err != nil && !k.failing:
		k.failing = true
		r.Show(session.Notice{Text: r.NotRecorded(err)})
	case err == nil && k.failing:
		k.failing = false
		r.Show(session.Notice{Text: "Recording again: nothing was lost."})
	}
}

// write records what waits.
func (k *Keeper) write() error {
	for len(k.waiting) > 0 {
		if err := k.Record.Add(k.waiting[0]); err != nil {
			return err
		}
		k.kept++
		if k.waiting[0].Verdict.Outcome == exercise.NotMeasured {
			k.unheard++
		}
		k.waiting = k.waiting[1:]
	}
	return nil
}

// End closes the record and says what it has of the session.
func (k *Keeper) End() string {
	if k.Record == nil {
		return k.Trouble + k.Ending
	}
	path := k.Record.Path()
	failed := k.write() // there may be room again
	err := k.Close()
	switch {
	case failed != nil:
		return fmt.Sprintf("%d of %d answers could not be recorded, and are lost: %v.", len(k.waiting), len(k.waiting)+k.kept, failed)
	case err != nil:
		return fmt.Sprintf("%s: %v", path, err)
	}
	of, unheard := "", ""
	if k.Named {
		of = " of " + k.Session.Singer
	}
	if k.unheard > 0 {
		unheard = fmt.Sprintf("; %d not measured and not counted", k.unheard)
	}
	return fmt.Sprintf("%s%s recorded in %s%s.", report.Many(k.kept, "answer"), of, path, unheard)
}

// Close closes the record without a word.
func (k *Keeper) Close() error {
	if k.Record == nil {
		return nil
	}
	r := k.Record
	k.Record = nil
	return r.Close()
}

// Lines are what is wrong, if anything is, a line each.
func (k *Keeper) Lines() []string {
	return slices.DeleteFunc([]string{k.Trouble, k.Note}, func(s string) bool { return s == "" })
}
