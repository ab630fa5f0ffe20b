package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/session"
	"singback/internal/store"
	"singback/pitch"
	"singback/theory"
)

// recordOptions are the flags about the practice record.
type recordOptions struct {
	file   string
	singer string // "": who does the profile in use say; see who
	none   bool

	implied bool // no --singer has named the singer
}

const singerHelp = "who sings, by `NAME`"

func (o *recordOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.file, "record", "", "the practice record is this `FILE`, and whatever answers is recorded")
	f.BoolVar(&o.none, "no-record", false, "record nothing")
	o.addSinger(cmd, "")
}

// addSinger adds --singer; than says who it is without, "": whose profile is in use.
func (o *recordOptions) addSinger(cmd *cobra.Command, than string) {
	cmd.Flags().StringVar(&o.singer, "singer", "", singerHelp+" (else "+cmp.Or(than, "whose profile is in use, or me")+")")
	must(cmd.RegisterFlagCompletionFunc("singer", fixed()))
}

// who settles who sings: the one whom --singer names, or else whose profile is in
// use, or else the singer without a name; and reads the profile, see singer.know.
func (o *recordOptions) who(cmd *cobra.Command, e *env, s *singer) error {
	o.implied = !cmd.Flags().Changed("singer")
	if !o.implied {
		if err := store.CheckSinger(o.singer); err != nil {
			return usage(fmt.Errorf("--singer: %w", err))
		}
		s.asked = o.singer
	}
	if err := s.know(e); err != nil {
		return err
	}
	o.singer = cmp.Or(s.name, store.DefaultName)
	return nil
}

// whose settles whose answers are looked at, as who does.
func (o *recordOptions) whose(cmd *cobra.Command, e *env) error {
	if o.implied = !cmd.Flags().Changed("singer"); !o.implied {
		return o.check()
	}
	name, err := e.singers().Current()
	if err != nil && !errors.Is(err, store.ErrNoFolder) {
		fmt.Fprintf(e.stderr, "The profile is left out: %v\n", err)
	}
	if o.singer = name; err != nil || name == "" || name == store.Nobody {
		o.singer = store.DefaultName
	}
	return nil
}

// unnamed says in one line of the singers of a record that it has answers without
// a name, which the singer who was settled on by the profile may have given before
// there was one; "" where that is not so.
func (o *recordOptions) unnamed(singers []store.SingerCount) string {
	if !o.implied || o.singer == store.DefaultName {
		return ""
	}
	for _, s := range singers {
		if s.Name == store.DefaultName && s.Answers > 0 {
			return fmt.Sprintf("%s of %s, not of %s: singback progress --singer %s shows them.",
				many(s.Answers, "answer"), s.Name, o.singer, s.Name)
		}
	}
	return ""
}

func (o *recordOptions) check() error {
	if o.none && o.file != "" {
		return usagef("--no-record: --record %s wants the opposite", short(o.file))
	}
	if err := store.CheckSinger(o.singer); err != nil {
		return usage(fmt.Errorf("--singer: %w", err))
	}
	return nil
}

// path returns the file of the record.
func (o *recordOptions) path(e *env) (string, error) {
	if o.file != "" {
		return o.file, nil
	}
	if dir := e.dataDir(); dir != "" {
		return filepath.Join(dir, "record.db"), nil
	}
	return "", fmt.Errorf("%w: set XDG_DATA_HOME or HOME, or name a file with --record", errNoPath)
}

// keeper writes the verdicts of a session into the record. Whatever is wrong with
// it, the session goes on.
type keeper struct {
	record  *store.Record // nil: nothing is recorded
	session practice.Session
	drill   *performance
	now     func() time.Time
	begun   time.Time // by the clock

	trouble string            // one line that says why nothing is recorded; "" if that is as it should be
	ending  string            // the same, where it is enough to say so at the end
	note    string            // one line about answers that were given without a name; "" without
	waiting []practice.Answer // could not be written yet
	kept    int
	unheard int // of them were not measured
	failing bool
}

// keeper opens the record for a drill: that of the user for what the microphone
// hears, and with --record that file for whatever answers. Only today begins a
// record of the user's.
func (o *recordOptions) keeper(e *env, d *performance, s *stage) *keeper {
	k := &keeper{drill: d, now: e.clock, begun: e.clock()}
	source := "simulated"
	switch s.answers.(type) {
	case micAnswers:
		source = "mic"
	case *fileAnswers:
		source = "recording"
	case typedAnswers:
		source = "typed"
	}
	path, err := o.path(e)
	begun := false // there is a record already
	if err == nil {
		_, e := os.Stat(path)
		begun = !errors.Is(e, fs.ErrNotExist)
	}
	switch {
	case o.none:
		k.ending = "Not recorded, as --no-record says."
		return k
	case o.file == "" && source != "mic" && source != "typed":
		if d.command == "today" || begun {
			k.trouble = "Not recorded: a simulated singer answers (record it with --record FILE)."
			if source == "recording" {
				k.trouble = "Not recorded: recordings answer (record what they sing with --record FILE)."
			}
		}
		return k
	case o.file == "" && d.command != "today" && !begun:
		k.ending = "Not recorded: there is no practice record yet (singback today begins one, or name a --record FILE)."
		return k
	case o.file == "" && source == "typed" && s.silent:
		k.trouble = "Not recorded: nobody heard the chords (record the names with --record FILE)."
		return k
	}
	if err == nil {
		k.record, err = store.OpenRecord(path, d.start)
	}
	if err != nil {
		k.trouble = notRecorded(err)
		return k
	}
	if singers, err := k.record.Singers(context.Background()); err == nil && !slices.ContainsFunc(singers, func(s store.SingerCount) bool {
		return s.Name == o.singer
	}) {
		k.note = o.unnamed(singers)
	}
	k.session = store.NewSession(o.singer, d.command, source, d.plan.seed, pitch.Version, d.start)
	return k
}

// notRecorded says that and why a session is not recorded.
func notRecorded(err error) string {
	s := "This session is not being recorded: " + err.Error()
	if hint := store.RecordHint(err); hint != "" {
		s += "; " + hint
	}
	return s + "."
}

// tell says what is wrong, if anything is.
func (k *keeper) tell(w io.Writer) {
	for _, line := range []string{k.trouble, k.note} {
		if line != "" {
			fmt.Fprintln(w, line)
		}
	}
}

// at is the time of an event: as much later than the start as the clock, or the
// sound that was played and heard, says.
func (d *performance) at(seconds float64, clock time.Duration) time.Time {
	return d.start.Add(max(clock, time.Duration(seconds*float64(time.Second))))
}

// keep records a verdict.
func (k *keeper) keep(j session.Judged, emit func(session.Event)) {
	skill := j.Item.Skill()
	if k.drill.skill != nil {
		skill = k.drill.skill()
	}
	k.add(j.Seconds, practice.Answer{
		Index: j.Index, Attempt: j.Attempt, Skill: skill, Item: j.Item, Tolerance: j.Tolerance, Verdict: j.Verdict,
		Counts: j.Counts, Again: j.Attempt > 1, Feedback: j.Feedback, Guess: j.Guess,
	}, emit)
}

// keepNamed records what was named, an answer for each chord.
func (k *keeper) keepNamed(n session.Named, emit func(session.Event)) {
	for i, skill := range n.Dictation.Skills() {
		a := practice.Answer{
			Index: n.Index, Attempt: 1, Skill: skill, Item: n.Item, Tolerance: exercise.Tolerance{Cents: exercise.DefaultTolerance},
			Verdict: exercise.Verdict{Outcome: exercise.WrongAnswer, Answer: n.Answer},
			Counts:  true, Again: n.Again, Feedback: n.Feedback, Material: n.Dictation.Material(),
		}
		if n.Right[i] {
			a.Verdict.Outcome = exercise.RightAnswer
		}
		if i < len(n.Names) {
			a.Named = nameOf(n.Names[i])
		}
		if a.Item.Asked = skill.Degree; skill.Kind == exercise.QualitySkill {
			a.Item.Asked = n.Item.Key.Degree(n.Dictation.Chords[i].Chord.Root)
		}
		k.add(n.Seconds, a, emit)
	}
}

// nameOf is a name as the record has it: "b7", "m7b5".
func nameOf(s exercise.Skill) string {
	if s.Kind == exercise.QualitySkill {
		return s.Chord
	}
	return s.Degree.ASCII()
}

// keepLine records a sung line.
func (k *keeper) keepLine(l gradedLine, f practice.Feedback, emit func(session.Event)) {
	a := practice.Answer{
		Index: l.sung.Index, Attempt: l.attempt, Skill: exercise.Skill{Kind: exercise.MelodySkill, Level: l.melody.Level},
		Item: k.drill.plan.item, Tolerance: exercise.Tolerance{Cents: l.tolerance},
		Counts: l.counts() && l.attempt == 1, Again: l.attempt > 1 || l.sung.Echo, Feedback: f,
		Material: fmt.Sprintf("level %d seed %d", l.melody.Level, l.melody.Seed),
	}
	a.Item.Key = l.sung.Score.Key
	a.Item.Asked = theory.Degree{Step: 1}
	if len(l.model.Degrees) > 0 {
		a.Item.Asked = l.model.Degrees[0]
	}
	a.Verdict = exercise.Verdict{Level: l.sung.Take.Loudest, Held: l.sung.Take.Voiced}
	switch {
	case l.sung.Take.Lost:
		a.Verdict.Reason = exercise.LostSamples
	case !l.event.Heard:
		a.Verdict.Reason = exercise.TooQuiet
	default:
		a.Notes, a.NotesRight = len(l.grading.Notes), l.grading.Right
		a.Verdict.Outcome = practice.LineOutcome(a.NotesRight, a.Notes)
	}
	k.add(l.sung.Seconds, a, emit)
}

// add records an answer. What cannot be written is tried again with the next.
func (k *keeper) add(seconds float64, a practice.Answer, emit func(session.Event)) {
	if k.record == nil {
		return
	}
	a.Session, a.Number, a.At = k.session, 1, k.drill.at(seconds, k.now().Sub(k.begun))
	k.waiting = append(k.waiting, a)
	switch err := k.write(); {
	case err != nil && !k.failing:
		k.failing = true
		emit(session.Notice{Text: notRecorded(err)})
	case err == nil && k.failing:
		k.failing = false
		emit(session.Notice{Text: "Recording again: nothing was lost."})
	}
}

// write records what waits.
func (k *keeper) write() error {
	for len(k.waiting) > 0 {
		if err := k.record.Add(k.waiting[0]); err != nil {
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

// end closes the record and says what it has of the session.
func (k *keeper) end() string {
	if k.record == nil {
		return k.trouble + k.ending
	}
	path := k.record.Path()
	failed := k.write() // there may be room again
	err := k.close()
	switch {
	case failed != nil:
		return fmt.Sprintf("%d of %d answers could not be recorded, and are lost: %v.", len(k.waiting), len(k.waiting)+k.kept, failed)
	case err != nil:
		return fmt.Sprintf("%s: %v", path, err)
	}
	of, unheard := "", ""
	if name := k.session.Singer; name != store.DefaultName {
		of = " of " + name
	}
	if k.unheard > 0 {
		unheard = fmt.Sprintf("; %d not measured and not counted", k.unheard)
	}
	return fmt.Sprintf("%s%s recorded in %s%s.", many(k.kept, "answer"), of, path, unheard)
}

// tellKept says at the end what was recorded and what was not: with the results
// where they are text, else beside them.
func tellKept(e *env, format string, results io.Writer, kept string) {
	if format == "json" {
		results = e.stderr
	}
	if kept != "" {
		fmt.Fprintln(results, kept)
	}
}

func (k *keeper) close() error {
	if k.record == nil {
		return nil
	}
	r := k.record
	k.record = nil
	return r.Close()
}

// errNoPath wraps the error about a record for which no folder is known.
var errNoPath = errors.New("no folder for the practice record is known")

// known reads what is known of the singer: nothing where there is an error. Skipped
// is how many answers cannot be read.
func (o *recordOptions) known(cmd *cobra.Command, e *env) (p *practice.Practice, skipped int, err error) {
	p = &practice.Practice{}
	path, err := o.path(e)
	if err != nil {
		return p, 0, err
	}
	r, err := store.ReadRecord(path)
	if err != nil {
		return p, 0, err
	}
	defer r.Close()
	all, skipped, err := r.Practice(cmd.Context(), o.singer)
	if err != nil {
		return p, 0, err
	}
	return all, skipped, nil
}

// practice is known for a session, which goes on without a record or with one that
// cannot be read; trouble says so in one line.
func (o *recordOptions) practice(cmd *cobra.Command, e *env) (p *practice.Practice, trouble string, err error) {
	p, skipped, err := o.known(cmd, e)
	switch {
	case cmd.Context().Err() != nil:
		return p, "", cmd.Context().Err()
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, errNoPath): // of which the keeper says so
		return p, "", nil
	case err != nil:
		return p, fmt.Sprintf("The practice record cannot be read, so today begins anew: %v.", err), nil
	}
	if skipped > 0 {
		trouble = fmt.Sprintf("%s of the record could not be read; see singback record check.", many(skipped, "answer"))
	}
	return p, trouble, nil
}
