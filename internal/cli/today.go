package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/grade"
	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/tui"
	"singback/theory"
)

// todayOptions are the flags of today.
type todayOptions struct {
	sing     singOptions
	minutes  float64
	singing  float64
	feedback string
	guess    bool
	course   string
	date     string
	study    float64
}

func newToday(e *env) *cobra.Command {
	o := &todayOptions{}
	o.sing.format, o.sing.window = newFormat("text", "json"), exercise.DefaultWindow()
	cmd := &cobra.Command{
		Use:   "today [RECORDING.wav ...]",
		Short: "Today's practice: a few minutes of what is due and what is weak",
		Long: `Today asks for what is due and what is weak, in mixed order and in one key after
another, with a few new things, and begins with something you know. It ends on
time, and earlier when errors rise or you have sung enough for one day. Every
answer goes into the practice record before the next question.

Feedback fades as you learn: on a thing's first two days it comes after each
answer, later after every second one, then only where you were outside the
tolerance; now and then you are asked first whether it was flat, right or sharp.
What you missed and were not told is listed at the end. A blind check decides
what you have mastered: at least 90 % of the last 20 answers without feedback, on
two days, in two keys. --feedback full or none and --guess=false switch that off.

Beside single degrees and moves it asks for series of the course sung whole, for
melodies that are read and sung, and, where you can type, for the bass degrees and
the qualities of chords that are heard (see singback dictation).

What is learnt, and in which order, is the course: see singback course. The
answers of a simulated singer, or of recordings, are recorded only with --record.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet. This is no medical advice; a voice teacher or clinician decides.`,
		Example: `  singback today --minutes 1 --seed 1 --input simulated
  singback today --singer Anna --minutes 1 --record choir.db --input simulated`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.sing.addFlags(cmd)
	f := cmd.Flags()
	f.Float64Var(&o.minutes, "minutes", 0, "how long at most, 1 to 30 (default: what the course says)")
	f.Float64Var(&o.singing, "singing", practice.DefaultSung, "end after so many `MINUTES` of singing in a day")
	f.StringVar(&o.feedback, "feedback", "fading", "what you are told: fading, full, none")
	f.BoolVar(&o.guess, "guess", true, "ask first, now and then, whether it was flat, right or sharp (in a terminal)")
	f.Float64Var(&o.study, "study", 20, "`SECONDS` to read a melody in silence, 0 to 600")
	f.StringVar(&o.course, "course", "", "practise the course in this `FILE` (see singback course)")
	f.StringVar(&o.date, "date", "", "practise as on this `DAY`, like 2026-11-25")
	must(cmd.RegisterFlagCompletionFunc("feedback", fixed("fading", "full", "none")))
	return cmd
}

func (o *todayOptions) run(cmd *cobra.Command, e *env, args []string) error {
	s := &o.sing
	kind, recordings, err := s.inputs(args)
	if err != nil {
		return err
	}
	if err := s.record.who(cmd, e, &s.music.singer); err != nil {
		return err
	}
	start := e.clock()
	if o.date != "" {
		day, err := time.ParseInLocation(time.DateOnly, o.date, start.Location())
		if err != nil {
			return usagef("--date: %q is no day like 2026-11-25", short(o.date))
		}
		start = time.Date(day.Year(), day.Month(), day.Day(), start.Hour(), start.Minute(), start.Second(), start.Nanosecond(), start.Location())
	}
	fading, ok := map[string]practice.Fading{"fading": practice.Fade, "full": practice.AllTold, "none": practice.AllBlind}[o.feedback]
	if !ok {
		return usagef("--feedback: %q: want fading, full or none", short(o.feedback))
	}
	c := course.BuiltIn()
	if o.course != "" {
		if c, err = readCourse(o.course); err != nil {
			return err
		}
	}
	if cmd.Flags().Changed("minutes") {
		if !(o.minutes >= practice.MinMinutes && o.minutes <= practice.MaxMinutes) {
			return usagef("--minutes: %g is out of range: want %g to %g", o.minutes, practice.MinMinutes, practice.MaxMinutes)
		}
		c.Minutes = o.minutes
	}
	if !(o.singing > 0 && o.singing <= 120) {
		return usagef("--singing: %g is out of range: want more than 0, at most 120", o.singing)
	}
	if !(o.study >= 0 && o.study <= 600) {
		return usagef("--study: %g s is out of range: want 0 to 600", o.study)
	}
	if s.retry == "always" && len(recordings) > 0 {
		return usagef("--retry always: a recording answers only once")
	}
	if err := s.record.check(); err != nil {
		return err
	}
	p := plan{seed: s.seed}
	if !cmd.Flags().Changed("seed") {
		p.seed = e.seed()
	}
	s.music.key = c.Stages[0].Keys[0].ASCII()
	if p.item, p.naming, err = s.music.base(nil); err != nil {
		return err
	}
	if err := s.manner(&p.config); err != nil {
		return err
	}
	s.suit(&p.config, p.item.Tuning.A4, len(recordings))
	known, trouble, err := s.record.practice(cmd, e)
	if err != nil {
		return err
	}
	t := &todayRun{}
	sitting, err := practice.NewSitting(known, c, practice.SittingOptions{
		Start: start, Minutes: c.Minutes, Sung: o.singing, Seed: p.seed, Fading: fading, NoGuess: !o.guess,
		Asks: t.asks(o.names(e, kind, recordings)),
	})
	if err != nil {
		return err
	}
	if trouble != "" {
		fmt.Fprintln(e.stderr, trouble)
	}
	d := &performance{
		command: "today", plan: p, kind: kind, recordings: recordings, start: start,
		style: report.Style{Names: p.naming, ASCII: e.ascii()},
	}
	*t = todayRun{
		drill: d, sitting: sitting, music: &s.music, singer: s.record.singer, began: e.clock(), clock: e.clock, course: c, study: o.study,
	}
	t.lines = &lineRun{
		o: &lineOptions{stage: *s}, e: e, naming: p.naming, seed: p.seed, item: p.item,
		rules: grade.Rules{Freedom: grade.Freedom{Octave: !s.tol.StrictOctave}}, weak: map[[2]theory.Degree]int{},
		melodies: map[int]compose.SightMelody{}, times: map[int]int{},
	}
	d.plan.config.Next, d.plan.config.Keep = t.next, t.keep
	d.skill = func() exercise.Skill { return t.question.Skill }
	d.summary = t.summary
	d.ready, d.staff = t.ready, t.staff
	d.finished = func(out io.Writer, kept string) { t.finished(out, c, s.format.value, kept) }
	return errors.Join(s.perform(cmd, e, d), t.err)
}

// todayRun is one sitting as the session asks it.
type todayRun struct {
	drill    *performance
	sitting  *practice.Sitting
	music    *music
	singer   string // who sings
	began    time.Time
	clock    func() time.Time
	question practice.Question
	keys     []theory.Key
	fresh    []exercise.Skill // met for the first time
	err      error

	course practice.Course
	stood  string   // the stage that was told last
	study  float64  // seconds to read a melody
	lines  *lineRun // reads and grades melodies
	asked  int      // questions
	rig    *rig
	namer  *namer
	turned bool // the last move was sung the other way

	noted  int             // answers of which the singer was not told
	missed []report.Missed // of them those that were not right
}

// names says whether what is heard can be named: not where nobody is at a keyboard,
// or the answers are recordings.
func (o *todayOptions) names(e *env, kind string, recordings []string) bool {
	return len(recordings) == 0 && (kind == inputSimulated || e.terminal(e.stdin))
}

// asks says which skills can be asked: those of hearing only where somebody names
// what is heard, and, unless that is simulated, hears it.
func (t *todayRun) asks(names bool) func(exercise.Skill) bool {
	return func(s exercise.Skill) bool {
		if s.Kind != exercise.BassSkill && s.Kind != exercise.QualitySkill {
			return true
		}
		if t.rig != nil && t.rig.stage.silent {
			_, simulated := t.rig.stage.answers.(simulated)
			return names && simulated
		}
		return names
	}
}

// next turns the next question of the sitting into one of the session.
func (t *todayRun) next(seconds float64) (session.Question, bool) {
	seconds = max(seconds, (t.clock().Sub(t.began) - t.drill.paused).Seconds())
	q, ok := t.sitting.Next(seconds)
	if !ok {
		return session.Question{}, false
	}
	t.question = q
	base := t.drill.plan.item
	base.Key = q.Key
	var err error
	if base.Register, err = t.music.register(q.Key); err != nil { // the flags were read before
		t.err = err
		return session.Question{}, false
	}
	t.asked++
	put := session.Question{
		Tolerance: exercise.Tolerance{Cents: q.Tolerance, StrictOctave: t.drill.plan.config.Tolerance.StrictOctave},
		SetKey:    q.SetKey, Feedback: q.Feedback, Guess: q.Guess, Part: q.Part, Parts: q.Parts,
	}
	switch q.Skill.Kind {
	case exercise.BassSkill, exercise.QualitySkill:
		put.Item = base
		put.Item.Asked = theory.Degree{Step: 1}
		d, err := compose.NewDictation(compose.DictationOrder{
			Skill: q.Skill, Known: q.Known, Key: q.Key, Length: q.Length, Seed: t.drill.plan.seed + uint64(t.asked)*1000003,
		})
		if err != nil {
			t.err = err
			return session.Question{}, false
		}
		put.Dictation = &d
		t.namer.known = q.Known
	case exercise.MelodySkill:
		put.Item = base
		put.Item.Asked = theory.Degree{Step: 1}
		if put.Line, t.err = t.melody(q); t.err != nil {
			return session.Question{}, false
		}
	default:
		if put.Item, ok = q.Skill.Ask(base); !ok { // a course asks only for what can be asked
			t.err = fmt.Errorf("%s cannot be asked", q.Skill)
			return session.Question{}, false
		}
	}
	t.stand(seconds)
	if !slices.Contains(t.keys, q.Key) {
		t.keys = append(t.keys, q.Key)
	}
	if q.New && !slices.Contains(t.fresh, q.Skill) { // where nothing was heard it is asked once more
		t.fresh = append(t.fresh, q.Skill)
	}
	return put, true
}

// stand tells where the singer stands, where that has changed or a screen shows it.
func (t *todayRun) stand(seconds float64) {
	if t.rig == nil {
		return // nobody is shown anything
	}
	stage := t.stage()
	if t.rig.stage.screen {
		t.rig.emit(session.Standing{Text: fmt.Sprintf("%s   %s left   %d due", stage, minutes(t.sitting.Left(seconds)), t.sitting.Due(seconds))})
		return
	}
	if stage == t.stood {
		return
	}
	t.stood = stage
	t.rig.emit(session.Standing{Text: fmt.Sprintf("%s. %d due, %s left.", stage, t.sitting.Due(seconds), minutes(t.sitting.Left(seconds)))})
}

// stage says which stage of the course was reached, and which others are reviewed.
func (t *todayRun) stage() string {
	at, stages := t.sitting.Standing(), t.course.Stages
	s := fmt.Sprintf("Stage %d of %d", at.Stage+1, len(stages))
	if name := stages[at.Stage].Name; name != "" {
		s += ": " + name
	}
	for i, r := range at.Review {
		if i == 0 {
			s += "; in review: "
		} else {
			s += ", "
		}
		s += strconv.Itoa(r.Stage + 1)
	}
	return s
}

// minutes says how long something lasts, to the minute, or to the second where that
// is less than one.
func minutes(seconds float64) string {
	if seconds < 59.5 {
		return many(int(math.Round(seconds)), "second")
	}
	return many(int(math.Round(seconds/60)), "minute")
}

// melody makes a melody of the level in the key of the question, in the singer's
// range if that can be. The syllables stand below it until feedback fades.
func (t *todayRun) melody(q practice.Question) (*theory.Score, error) {
	order := compose.MelodyOrder{Level: q.Skill.Level, Key: &q.Key, Count: 1, Seed: t.drill.plan.seed + uint64(t.asked)*1000003}
	working, _, known, err := t.music.reach()
	if err != nil {
		return nil, err
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
		return nil, err
	}
	t.lines.melodies[t.asked] = melodies[0]
	t.lines.labels.Store(!q.Feedback.Unaided())
	t.lines.rules.Tolerance = q.Tolerance
	if t.rig.log != nil {
		m := melodies[0]
		t.rig.log.record(lineEvent{"line", t.asked, 0, m.Score.Tempo, false, false,
			newMelodyRecord(line{score: m.Score, level: m.Level, skill: m.Skill, seed: &m.Seed}, t.drill.plan.naming, t.lines.labels.Load())})
	}
	return &melodies[0].Score, nil
}

// ready prepares dictations and melodies.
func (t *todayRun) ready(r *rig, c *session.Config) {
	t.rig, t.namer = r, newNamer(r, t.drill.plan.seed)
	t.lines.stage = r.stage
	_, t.lines.live = r.stage.answers.(micAnswers)
	t.lines.keys = r.keys
	if r.stage.screen {
		t.lines.keys = nil
	}
	c.Name, c.KeepNamed, c.Grade, c.Remark = t.namer.name, t.keepNamed, t.grade, t.remark
	c.Lines = session.Lines{
		Tuning: t.drill.plan.item.Tuning, Setting: c.Setting, Hearing: c.Hearing, Delay: c.Delay, Level: c.Level,
		Tempo: 72, Study: t.study, Read: t.read,
	}
	r.answers = todayAnswers{r.stage.answers, t.lines}
}

// todayAnswers answers questions and melodies.
type todayAnswers struct {
	session.Answers
	session.LineAnswers
}

// staff draws a melody in so many columns and at most so many rows, 0: any number.
// Where a staff finds no room, the melody is written in a few lines, as tonic
// sol-fa, or what that has no signs for as ABC.
func (t *todayRun) staff(s theory.Score, width, height int) []string {
	var b strings.Builder
	t.lines.draw(&b, s, width)
	rows := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
	if height == 0 || len(rows) <= height {
		return rows
	}
	text := ""
	if m, _, err := s.Melody(); err == nil {
		text, _ = m.Text(theory.Movable, t.drill.style.ASCII)
	}
	if text == "" {
		b.Reset()
		if err := notation.Write(&b, s, notation.ABC); err != nil {
			return rows // a made melody can be written
		}
		_, text, _ = strings.Cut(b.String(), "\nK:")
		text = "K:" + text
	}
	out := []string{fmt.Sprintf("(a window of %d lines shows the staff)", len(rows)+tui.StaffRoom)}
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			out, line = append(out, line), ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(out, line)
}

// read gives the singer the time to read a melody.
func (t *todayRun) read(ctx context.Context, seconds float64) error {
	if t.rig.ask.Wait != nil {
		return t.rig.ask.Wait(ctx, fmt.Sprintf("read it in silence: %s; Enter begins", report.Many(seconds, "second")), seconds)
	}
	if !t.rig.env.terminal(t.rig.env.stdin) {
		t.lines.keys = nil
	}
	return t.lines.read(ctx, seconds)
}

// grade grades a melody, tells the sitting and the record, and shows the grade.
func (t *todayRun) grade(ctx context.Context, sung session.LineSung) (right, notes int, err error) {
	l, err := t.lines.grade(ctx, sung)
	if err != nil {
		return 0, 0, err
	}
	t.rig.keeper.keepLine(l, sung.Feedback, t.rig.emit)
	outcome := exercise.NotMeasured
	if l.counts() {
		right, notes = l.grading.Right, len(l.grading.Notes)
		outcome = practice.LineOutcome(right, notes)
		t.sitting.Add(practice.NewLineTrial(t.drill.at(sung.Seconds, t.clock().Sub(t.began)), sung.Score.Key, l.melody.Level,
			right, notes, sung.Take.Voiced, false, sung.Feedback))
	}
	hidden := !sung.Feedback.Shows(exercise.Verdict{Outcome: outcome})
	if hidden {
		if t.noted++; !outcome.IsRight() {
			t.missed = append(t.missed, t.drill.style.MissedLine(sung.Index, sung.Score.Key, l.melody.Level, right, notes))
		}
	}
	if t.rig.log != nil {
		t.rig.log.record(l.event)
	}
	var b strings.Builder
	t.lines.results = &results{out: &b}
	t.lines.tell(l)
	head, _, _ := strings.Cut(b.String(), "\n\n") // without the table of notes
	graded := session.LineGraded{Index: sung.Index, Hidden: hidden, Lines: strings.Split(strings.TrimRight(head, "\n"), "\n")}
	t.rig.emit(graded)
	if t.rig.ask.Wait != nil && !hidden {
		return right, notes, t.rig.ask.Wait(ctx, "Enter goes on", 20)
	}
	return right, notes, nil
}

// keepNamed records what was named, and tells the sitting.
func (t *todayRun) keepNamed(n session.Named) {
	t.rig.keeper.keepNamed(n, t.rig.emit)
	at := t.drill.at(n.Seconds, t.clock().Sub(t.began))
	for i, skill := range n.Dictation.Skills() {
		if n.Hidden {
			t.noted++
			if !n.Right[i] {
				var name *exercise.Skill
				if i < len(n.Names) {
					name = &n.Names[i]
				}
				t.missed = append(t.missed, t.drill.style.MissedName(n.Index, n.Dictation.Key, skill, name))
			}
		}
		t.sitting.Add(practice.NewNamedTrial(at, n.Dictation.Key, skill, n.Right[i], n.Answer, n.Again, n.Feedback))
	}
}

// remark says of a move that was sung the other way what that is worth.
func (t *todayRun) remark(j session.Judged) string {
	if !j.Counts || !t.turned {
		return ""
	}
	name := t.drill.style.Degree(j.Item.Key, j.Item.Asked)
	return fmt.Sprintf("That was %s the other way from %s: it counts for %s, not for the move.", name, t.drill.style.Degree(j.Item.Key, *j.Item.From), name)
}

// keep tells the sitting how it went.
func (t *todayRun) keep(j session.Judged) {
	if !j.Counts {
		return
	}
	if j.Hidden {
		if t.noted++; !j.Verdict.Outcome.IsRight() {
			t.missed = append(t.missed, t.drill.style.MissedNote(j.Index, t.question.Skill, j.Item, j.Verdict))
		}
	}
	trial := practice.NewTrial(t.drill.at(j.Seconds, t.clock().Sub(t.began)), j.Item, j.Verdict, j.Attempt > 1, j.Feedback)
	trial.Skill = t.question.Skill
	t.turned = t.sitting.Turned(trial)
	t.sitting.Add(trial)
}

func (t *todayRun) summary(tally exercise.Tally) string {
	if len(t.keys) == 0 {
		return "Nothing was asked.\n"
	}
	style := t.drill.style
	if len(t.keys) > 1 {
		switch style.Names {
		case theory.Numbers:
		default: // names of notes, or syllables that differ between major and minor
			style.Names = theory.Movable
		}
	}
	return style.SummaryOf(t.keys, tally)
}

// todayEvent is the last event of today --format json.
type todayEvent struct {
	Event  string   `json:"event"` // "today"
	Schema int      `json:"schema"`
	Course string   `json:"course"`
	Stage  int      `json:"stage"` // from 1
	Stages int      `json:"stages"`
	Keys   []string `json:"keys"`
	New    int      `json:"new"`   // skills met for the first time
	Ended  string   `json:"ended"` // "": interrupted
	Record string   `json:"record"`
	Singer string   `json:"singer"` // who sings

	Review []report.Review `json:"review"`
	Noted  int             `json:"noted"`  // answers of which the singer was not told
	Missed []report.Missed `json:"missed"` // of them those that were not right
}

// finished says where the singer stands and what was recorded.
func (t *todayRun) finished(out io.Writer, c practice.Course, format, kept string) {
	at := t.sitting.Standing()
	if format == "json" {
		standing := report.NewStanding(c, at)
		ev := todayEvent{
			Event: "today", Schema: report.Schema, Course: standing.Course, Stage: standing.Stage, Stages: standing.Stages, Keys: []string{},
			New: len(t.fresh), Ended: report.EndText(t.sitting.Ended()), Record: kept, Singer: t.singer,
			Review: standing.Review, Noted: t.noted, Missed: append([]report.Missed{}, t.missed...),
		}
		for _, k := range t.keys {
			ev.Keys = append(ev.Keys, k.ASCII())
		}
		_ = json.NewEncoder(out).Encode(ev) // out keeps the error
		return
	}
	style := t.drill.style
	if list := style.Missed(t.noted, t.missed); list != "" {
		fmt.Fprintf(out, "\n%s", list)
	}
	fmt.Fprintln(out)
	for _, line := range style.Standing(c, at, fmt.Sprintf(" New today: %d.", len(t.fresh))) {
		fmt.Fprintln(out, line)
	}
	if why := report.EndText(t.sitting.Ended()); why != "" {
		fmt.Fprintf(out, "Ended: %s.\n", why)
	}
	if kept != "" {
		fmt.Fprintln(out, kept)
	}
}

// readCourse reads the course in a file.
func readCourse(path string) (practice.Course, error) {
	f, err := os.Open(path)
	if err != nil {
		return practice.Course{}, fileError(path, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, course.MaxSize+1))
	if err != nil {
		return practice.Course{}, fileError(path, err)
	}
	c, err := course.Read(data)
	if err != nil {
		return c, fmt.Errorf("%s: %w", path, err)
	}
	if c.Name == "" {
		c.Name = strings.TrimSuffix(path, ".toml")
	}
	return c, nil
}
