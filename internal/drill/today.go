package drill

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Today is the day's sitting: what is due and what is weak.
type Today struct {
	Music    *Music
	Manner   Manner
	Minutes  float64 // 0: what the course says
	Singing  float64 // minutes of singing in a day
	Feedback string  // "fading", "full" or "none"
	Guess    bool
	Study    float64 // seconds
	Answer   string  // how what is heard is answered: ByName, BySinging (the bass) or ByPlaying; "": ByName
	Strict   bool    // only the octave asked is right
	Seed     uint64

	Course   practice.Course
	Practice *practice.Practice // what is known of the singer
	Start    time.Time
	Typed    bool // what is heard can be named: somebody types, or that is simulated

	Recordings int
	OwnProfile bool
}

// Day reads the day on which to practise, like 2026-11-25, at the time of now.
func Day(day string, now time.Time) (time.Time, error) {
	d, err := time.ParseInLocation(time.DateOnly, day, now.Location())
	if err != nil {
		return now, wrongf("--date: %q is no day like 2026-11-25", plain.Short(day))
	}
	return time.Date(d.Year(), d.Month(), d.Day(), now.Hour(), now.Minute(), now.Second(), now.Nanosecond(), now.Location()), nil
}

var fadings = map[string]practice.Fading{"fading": practice.Fade, "full": practice.AllTold, "none": practice.AllBlind}

// Check finds mistakes in what needs no profile and no record.
func (o *Today) Check() error {
	if _, ok := fadings[o.Feedback]; !ok {
		return wrongf("--feedback: %q: want fading, full or none", plain.Short(o.Feedback))
	}
	switch {
	case o.Music.said("minutes") && !(o.Minutes >= practice.MinMinutes && o.Minutes <= practice.MaxMinutes):
		return wrongf("--minutes: %g is out of range: want %g to %g", o.Minutes, practice.MinMinutes, practice.MaxMinutes)
	case !(o.Singing > 0 && o.Singing <= 120):
		return wrongf("--singing: %g is out of range: want more than 0, at most 120", o.Singing)
	case !(o.Study >= 0 && o.Study <= 600):
		return wrongf("--study: %g s is out of range: want 0 to 600", o.Study)
	case o.Answer != "" && o.Answer != ByName && o.Answer != BySinging && o.Answer != ByPlaying:
		return wrongf("--answer: %q: want name, sing or play", plain.Short(o.Answer))
	case o.Manner.Retry == "always" && o.Recordings > 0:
		return wrongf("--retry always: a recording answers only once")
	}
	return nil
}

// Plan reads the options. Every mistake in them is a [Wrong].
func (o *Today) Plan() (*Plan, error) {
	p := &Plan{Command: "today", Seed: o.Seed, Recordings: o.Recordings, Retry: o.Manner.Retry, music: o.Music}
	if err := o.Check(); err != nil {
		return p, err
	}
	o.Music.Key = o.Course.Stages[0].Keys[0].ASCII()
	var err error
	if p.Item, p.Naming, err = o.Music.Base(nil); err != nil {
		return p, err
	}
	if err := o.Manner.read(p); err != nil {
		return p, err
	}
	p.suit(o.OwnProfile)
	if o.Music.said("minutes") {
		o.Course.Minutes = o.Minutes
	}
	s := &sitting{options: o, namer: &namer{}}
	s.sitting, err = practice.NewSitting(o.Practice, o.Course, practice.SittingOptions{
		Start: o.Start, Minutes: o.Course.Minutes, Sung: o.Singing, Seed: o.Seed, Fading: fadings[o.Feedback], NoGuess: !o.Guess,
		Asks: s.asks,
	})
	p.asker = s
	return p, err
}

// sitting asks what a [practice.Sitting] chooses, and tells it what became of it.
type sitting struct {
	options *Today
	sitting *practice.Sitting
	namer   *namer
	run     *Run // nil before the first question

	question practice.Question
	asked    int
	keys     []theory.Key
	fresh    []exercise.Skill // met for the first time
	stood    string           // the stage that was told last
	turned   bool             // the last move was sung the other way

	noted  int             // answers of which the singer was not told
	missed []report.Missed // of them those that were not right
}

// asks says which skills can be asked: those of hearing only where somebody names
// what is heard, and, unless that is simulated, hears it.
func (s *sitting) asks(skill exercise.Skill) bool {
	if !skill.Kind.Heard() {
		return true
	}
	if s.run != nil && s.run.Silent && s.run.Answers.Kind() != BySimulation {
		return false
	}
	switch s.options.Answer {
	case ByPlaying:
		return true
	case BySinging:
		return s.options.Typed || skill.Kind == exercise.BassSkill
	}
	return s.options.Typed
}

// next turns the next question of the sitting into a task.
func (s *sitting) next(r *Run, seconds float64) (session.Task, error) {
	s.run, s.namer.run = r, r
	seconds = r.elapsed(seconds)
	q, ok := s.sitting.Next(seconds)
	if !ok {
		return nil, nil
	}
	s.question = q
	base := r.Plan.Item
	base.Key = q.Key
	var err error
	if base.Register, err = s.options.Music.Register(q.Key); err != nil { // the options were read before
		return nil, err
	}
	s.asked++
	task, err := s.task(r, q, base)
	if err != nil {
		return nil, err
	}
	s.stand(r, seconds)
	if !slices.Contains(s.keys, q.Key) {
		s.keys = append(s.keys, q.Key)
	}
	if q.New && !slices.Contains(s.fresh, q.Skill) { // where nothing was heard it is asked once more
		s.fresh = append(s.fresh, q.Skill)
	}
	return task, nil
}

func (s *sitting) task(r *Run, q practice.Question, base exercise.Item) (session.Task, error) {
	tolerance := exercise.Tolerance{Cents: q.Tolerance, StrictOctave: s.options.Strict}
	seed := s.options.Seed + uint64(s.asked)*1000003
	switch q.Skill.Kind {
	case exercise.BassSkill, exercise.QualitySkill:
		base.Asked = theory.Degree{Step: 1}
		d, err := compose.NewDictation(compose.DictationOrder{Skill: q.Skill, Known: q.Known, Key: q.Key, Length: q.Length, Seed: seed})
		if err != nil {
			return nil, err
		}
		s.namer.known = q.Known
		task := session.Dictation{Dictation: d, Item: base, Credit: q.Skill, SetKey: q.SetKey, Feedback: q.Feedback, Namer: s.namer}
		switch {
		case s.options.Answer == ByPlaying:
			if task.Player, task.Instrument = r.player(); task.Instrument != nil && q.Skill.Kind == exercise.QualitySkill {
				task.Instrument = nil // chords want a keyboard: they are named
			}
		case s.options.Answer == BySinging && q.Skill.Kind == exercise.BassSkill:
			task.Singer = r
		}
		return task, nil
	case exercise.RootSkill:
		return s.progression(r, q, base, seed)
	case exercise.MelodySkill:
		m, err := s.melody(q, seed)
		if err != nil {
			return nil, err
		}
		return session.Line{
			Melody: m, Tuning: base.Tuning, Tempo: usualTempo, Study: s.options.Study, Feedback: q.Feedback, Singer: r,
			Rules: grade.Rules{Freedom: grade.Freedom{Octave: !s.options.Strict}, Tolerance: q.Tolerance},
		}, nil
	}
	item, ok := q.Skill.Ask(base)
	if !ok { // a course asks only for what can be asked
		return nil, fmt.Errorf("%s cannot be asked", q.Skill)
	}
	return session.Degree{
		Item: item, Credit: q.Skill, Tolerance: tolerance, SetKey: q.SetKey, Feedback: q.Feedback, Guess: q.Guess,
		Part: q.Part, Parts: q.Parts, Singer: r, Hand: r.hands(),
	}, nil
}

// progression makes a progression with a chord on the root that is asked.
func (s *sitting) progression(r *Run, q practice.Question, base exercise.Item, seed uint64) (session.Task, error) {
	base.Asked = theory.Degree{Step: 1}
	style, _, err := ReadStyle("", s.options.Music.Known.Style)
	if err != nil {
		return nil, err
	}
	d, err := compose.NewProgression(compose.ProgressionOrder{Key: q.Key, Style: style, Length: q.Length, Root: &q.Skill.Degree, Seed: seed})
	if err != nil {
		return nil, err
	}
	ways, err := (&Dictation{Of: OfProgression, Answer: s.options.Answer}).ways()
	s.namer.known, s.namer.style = nil, style
	return session.Progression{
		Dictation: d, Style: style, Item: base, Credit: q.Skill, SetKey: q.SetKey, Feedback: q.Feedback, Steps: r.steps(s.namer, ways), Reader: r,
	}, err
}

// melody makes a melody of the level in the key of the question, in the singer's
// range if that can be.
func (s *sitting) melody(q practice.Question, seed uint64) (compose.SightMelody, error) {
	order := compose.MelodyOrder{Level: q.Skill.Level, Key: &q.Key, Count: 1, Seed: seed}
	working, _, known, err := s.options.Music.Reach()
	if err != nil {
		return compose.SightMelody{}, err
	}
	if known {
		order.Range = working
	}
	melodies, err := compose.NewMelodies(order)
	if err != nil && known { // a narrow voice: in another key, or outside of it
		order.Key = nil
		if melodies, err = compose.NewMelodies(order); err != nil {
			order.Key, order.Range = &q.Key, theory.Range{}
			melodies, err = compose.NewMelodies(order)
		}
	}
	if err != nil {
		return compose.SightMelody{}, err
	}
	return melodies[0], nil
}

// stand tells where the singer stands, where that has changed or a screen shows it.
func (s *sitting) stand(r *Run, seconds float64) {
	stage, due, left := s.stage(), s.sitting.Due(seconds), minutes(s.sitting.Left(seconds))
	switch {
	case r.Screen:
		r.Show(session.Standing{Text: fmt.Sprintf("%s   %s left   %d due", stage, left, due)})
	case stage != s.stood:
		s.stood = stage
		r.Show(session.Standing{Text: fmt.Sprintf("%s. %d due, %s left.", stage, due, left)})
	}
}

// stage says which stage of the course was reached, and which others are reviewed.
func (s *sitting) stage() string {
	at, stages := s.sitting.Standing(), s.options.Course.Stages
	text := fmt.Sprintf("Stage %d of %d", at.Stage+1, len(stages))
	if name := stages[at.Stage].Name; name != "" {
		text += ": " + name
	}
	for i, r := range at.Review {
		if i == 0 {
			text += "; in review: "
		} else {
			text += ", "
		}
		text += strconv.Itoa(r.Stage + 1)
	}
	return text
}

// minutes says how long something lasts, to the minute, or to the second where that
// is less than one.
func minutes(seconds float64) string {
	if seconds < 59.5 {
		return report.Many(int(math.Round(seconds)), "second")
	}
	return report.Many(int(math.Round(seconds/60)), "minute")
}

// kept tells the sitting how it went.
func (s *sitting) kept(r *Run, e session.Event) {
	switch e := e.(type) {
	case session.Judged:
		s.judged(r, e)
	case session.Named:
		s.named(r, e)
	case session.LineSung:
		s.sung(r, e)
	}
}

// note counts what the singer was not told, and lists what of it was missed.
func (s *sitting) note(hidden, right bool, missed func() report.Missed) {
	if !hidden {
		return
	}
	if s.noted++; !right {
		s.missed = append(s.missed, missed())
	}
}

func (s *sitting) judged(r *Run, j session.Judged) {
	if !j.Counts {
		return
	}
	s.note(j.Hidden, j.Verdict.Outcome.IsRight(), func() report.Missed {
		return r.Style.MissedNote(j.Index, s.question.Skill, j.Item, j.Verdict)
	})
	trial := practice.NewTrial(r.at(j.Seconds), j.Item, j.Verdict, j.Attempt > 1, j.Feedback)
	trial.Skill = s.question.Skill
	s.turned = s.sitting.Turned(trial)
	s.sitting.Add(trial)
}

func (s *sitting) named(r *Run, n session.Named) {
	at := r.at(n.Seconds)
	for i, skill := range n.Dictation.Skills() {
		s.note(n.Hidden, n.Right[i], func() report.Missed {
			var name *exercise.Skill
			if given, ok := n.Name(i); ok {
				name = &given
			}
			return r.Style.MissedName(n.Index, n.Dictation.Key, skill, name)
		})
		if m, ok := s.options.Practice.Memory(skill); n.Step > 0 && skill != s.question.Skill && (!ok || m.Answers == 0) {
			continue // a progression has what was not met yet: it is recorded, and nothing new of today's
		}
		s.sitting.Add(practice.NewNamedTrial(at, n.Dictation.Key, skill, n.Right[i], n.Answer, n.Again, n.Feedback))
	}
}

func (s *sitting) sung(r *Run, l session.LineSung) {
	right, notes, key, level := 0, 0, l.Melody.Score.Key, l.Melody.Level
	if l.Counts() {
		right, notes = l.Grade.Right, len(l.Grade.Notes)
		s.sitting.Add(practice.NewLineTrial(r.at(l.Seconds), key, level, right, notes, l.Take.Voiced, false, l.Feedback))
	}
	s.note(l.Hidden, l.Outcome.IsRight(), func() report.Missed {
		return r.Style.MissedLine(l.Index, key, level, right, notes)
	})
}

// shown says of a move that was sung the other way what that is worth.
func (s *sitting) shown(r *Run, e session.Event) {
	j, ok := e.(session.Judged)
	if !ok || j.Hidden || !j.Counts || !s.turned {
		return
	}
	name := r.Style.Degree(j.Item.Key, j.Item.Asked)
	r.Show(session.Notice{Text: fmt.Sprintf("That was %s the other way from %s: it counts for %s, not for the move.",
		name, r.Style.Degree(j.Item.Key, *j.Item.From), name)})
}

// Sat is where a sitting ended.
type Sat struct {
	Course   practice.Course
	Standing practice.Standing
	Ended    practice.End
	Keys     []theory.Key     // in which it was asked
	New      []exercise.Skill // met for the first time
	Noted    int              // answers of which the singer was not told
	Missed   []report.Missed  // of them those that were not right
}

// Sat returns where the sitting of the plan stands; false for other plans.
func (p *Plan) Sat() (Sat, bool) {
	s, ok := p.asker.(*sitting)
	if !ok {
		return Sat{}, false
	}
	return Sat{
		Course: s.options.Course, Standing: s.sitting.Standing(), Ended: s.sitting.Ended(),
		Keys: s.keys, New: s.fresh, Noted: s.noted, Missed: s.missed,
	}, true
}
