package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise/grade"
	"singback/internal/choir"
	"singback/internal/drill"
	"singback/internal/newfile"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/review"
	"singback/internal/tui"
	"singback/theory"
)

// grading is what the flags of grade say.
type grading struct {
	music        music
	rec          recording
	model        string
	part, tune   string
	stderr       io.Writer // warnings about the model
	strict       bool
	strictOctave bool
	tolerance    float64
	out          string
	force        bool
	resume       bool
	list         gradeList
	format       *format
}

func newGrade(e *env) *cobra.Command {
	g := grading{stderr: e.stderr, format: newFormat("text", "json", "csv", "jsonl"), tolerance: grade.DefaultRules().Tolerance}
	cmd := &cobra.Command{
		Use:   "grade --model MODEL TAKE ...",
		Short: "Grade recordings of a melody against a model",
		Long: `Grade compares takes with a model, note by note, and says what a jury would.

MODEL is a typed melody like "do re mi - sol", a notation file (ABC, MusicXML,
MIDI; see singback melody), a recording of somebody who sings or plays it (its
notes are found first), or a pitch curve. A TAKE is a recording of any kind, a
folder or a zip of them (see singback help recordings) or a pitch curve: CSV with
the columns time_s and f0_hz, where 0 is no pitch; - is standard input.

Any key, octave and tempo of a take is right, unless --strict: then the key is
the model's, and --strict-octave asks for its octave too. A typed melody whose
notes are all equally long says nothing of rhythm, which is then not judged: of a
note that was sung again the first try counts, where with rhythm the last does.

  score             1 for a take without a fault; what is at fault lowers it
  pass_probability  that a jury lets it pass
  notes_right       within the tolerance of their pitch, of notes_written (people
                    who judge what is sung at sight let about 80 cents pass)
  omitted, added    notes that were not sung; that belong to no written note
  median_cents      how sharp (or flat) the notes are; drift taken away
  drift_cents       how far the singer's key moved, from first to last note

Points are counted by bars (without bars, by four beats): two for a bar that is
right, one where only its notes or only its rhythm are, two for going on without
a halt. That is this program's own count, and no mark of an examination.

--format json adds every note, and why; jsonl is the same, a take a line. Many
takes are graded at once, in the order given. A take that cannot be read is
reported, the rest go on, and the exit status is 1. With --out FILE the rows go
there one by one, and --resume goes on where an interrupted run stopped.

--list FILE names takes, one a line; blank lines and lines that begin with # are
passed over. --share 2/4 grades the second quarter of all takes: the files of the
four shares, joined in their order, are to the byte that of one run.`,
		Example: `  singback grade --model "do re mi fa sol" take.wav
  singback grade --model piano.wav --format csv take1.wav take2.wav
  singback grade --model "do re mi fa sol" --tolerance 80 take.wav
  singback grade --model model.csv --strict --format json take.csv
  singback grade --model piano.wav --format csv --out marks.csv --resume take1.wav take2.wav
  singback grade --model piano.wav --format csv --list takes.txt --share 2/4 --out 2.csv`,
		Args: g.list.args,
		RunE: func(cmd *cobra.Command, args []string) error {
			return g.run(cmd.Context(), e, args)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&g.model, "model", "", "the `MODEL`: a typed melody, a notation file, a recording or a pitch curve")
	addPart(cmd, &g.tune, &g.part)
	g.music.addKeyFlag(cmd, "", "the `KEY`, like \"Ab major\" or f#m: of a typed melody, and the one that names the degrees")
	fl.StringVar(&g.music.Names, "names", theory.Movable.String(), drill.NamesHelp())
	fl.Float64Var(&g.music.A4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, for a typed melody")
	fl.StringVar(&g.music.Tuning, "tuning", theory.Equal.String(), drill.TuningHelp+"; for a typed melody")
	fl.Float64Var(&g.tolerance, "tolerance", g.tolerance, "how many `CENTS` off are still right, 5 to 100")
	fl.BoolVar(&g.strict, "strict", false, "nothing is let pass: only the key of the model is right")
	fl.BoolVar(&g.strictOctave, "strict-octave", false, "only the octave asked for is right: that of the model, in its key")
	addOut(cmd, &g.out, &g.force, "FILE", ", each row as soon as it is known")
	fl.BoolVar(&g.resume, "resume", false, "go on with --out FILE: takes that it has are not graded again")
	g.list.addFlags(cmd)
	g.rec.addFlags(cmd)
	addFormat(cmd, g.format)
	completed(cmd, "names", fixed(namingNames()...))
	completed(cmd, "tuning", fixed(tuningWordList...))
	return cmd
}

func (g *grading) run(ctx context.Context, e *env, paths []string) error {
	rules := grade.Rules{
		Freedom:   grade.Freedom{Key: !g.strict && !g.strictOctave, Octave: !g.strictOctave},
		Tolerance: g.tolerance,
	}
	if err := rules.Validate(); err != nil {
		return usage(fmt.Errorf("--tolerance: %w", err))
	}
	names, err := theory.ParseNaming(g.music.Names)
	if err != nil {
		return usage(fmt.Errorf("--names: %w", err))
	}
	if paths, err = g.takes(e, paths); err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	options, err := g.rec.options()
	if err != nil {
		return err
	}
	reader := review.Reader{Stdin: newPatient(ctx, e.stdin), Options: options}
	line, err := g.line(ctx, reader, names)
	if err != nil {
		return err
	}
	rows, todo, err := g.rows(e, paths)
	if err != nil {
		return err
	}
	shown := tui.NewBar(nil, len(todo))
	if len(todo) > 1 && e.terminal(e.stderr) {
		shown = tui.NewBar(plain.Around(e.stderr), len(todo))
	}
	done, failed := 0, 0
	among := g.among(e, line)
	var last report.Grade
	var tuned []choir.Tuned
	err = reader.Grade(ctx, todo, line, rules, func(i int, t review.Take, err error) error {
		done++
		shown.Step()
		if err != nil {
			failed++
			shown.Clear()
			fmt.Fprintln(e.stderr, oneLine(err))
			return nil
		}
		if t.Cancelled || rows.onTerminal {
			shown.Clear()
		}
		if t.Cancelled {
			fmt.Fprintln(e.stderr, cancelled(todo[i]))
		}
		last = report.NewGrade(todo[i], line, t.Performance, t.Grading, names)
		tuned = among.tuned(line, t)
		if tuned != nil {
			last.InChords = choir.NewInChords(among.Parts[among.part].Name, false, tuned)
		}
		return rows.Add(last)
	})
	shown.Clear()
	err = errors.Join(err, rows.close(err == nil))
	if errors.Is(err, context.Canceled) && g.out != "" {
		fmt.Fprintf(e.stderr, "%d of %d takes are in %s: the same command with --resume goes on\n", done-failed+len(paths)-len(todo), len(paths), g.out)
		return context.Canceled
	}
	if err != nil {
		return err
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d takes could not be graded", failed, len(paths))
	}
	if g.format.value == "text" && len(paths) == 1 {
		text := "\n" + last.Marks(line) + "\n" + last.NoteTable()
		if tuned != nil {
			text += "\n" + choir.Style{Style: e.style(names)}.Tuned(among.Parts[among.part].Name, false, tuned)
		}
		return e.print(text)
	}
	return nil
}

// takes are the takes that are to be graded.
func (g *grading) takes(e *env, paths []string) ([]string, error) {
	switch {
	case g.resume && g.out == "":
		return nil, usagef("--resume goes on with a file: say which with --out FILE")
	case g.out != "" && g.format.value == "text":
		return nil, usagef("--out needs --format csv, json or jsonl")
	case g.resume && (g.force || g.out == "-"):
		return nil, usagef("--resume: it goes on with a file; with --force it begins anew, and - is no file")
	}
	if err := g.list.check(g.format.value); err != nil {
		return nil, err
	}
	paths, err := g.list.read(e, paths)
	if err != nil {
		return nil, err
	}
	if paths, err = spread(e, paths, g.model, g.out); err != nil {
		return nil, err
	}
	paths = sharedOf(&g.list, paths)
	stdin := 0
	for _, p := range paths {
		if p == "-" {
			stdin++
		}
		if stdin > 1 {
			return nil, usagef("- is given twice: standard input is read only once")
		}
		if g.out != "" && strings.ContainsAny(p, "\r\n") {
			return nil, usagef("%q has a line break in its name, and a row of --out is one line", short(p))
		}
	}
	return paths, nil
}

func oneLine(err error) string { return strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; ") }

// line is the model.
func (g *grading) line(ctx context.Context, reader review.Reader, names theory.Naming) (grade.Line, error) {
	if strings.TrimSpace(g.model) == "" {
		return grade.Line{}, usagef(`--model is missing: a typed melody like "do re mi", a notation file, a recording or a pitch curve`)
	}
	m := review.Model{Text: g.model, Part: g.part, Tune: g.tune, Names: names, Octave: middleOctave}
	if g.music.Key != "" {
		key, err := g.music.readKey("--key", nil)
		if err != nil {
			return grade.Line{}, err
		}
		m.Key = &key
	}
	var err error
	if m.Tuning, err = g.music.readTuning(); err != nil {
		return grade.Line{}, err
	}
	line, warnings, err := reader.Model(ctx, m)
	for _, w := range warnings {
		fmt.Fprintf(g.stderr, "%s: %s\n", g.model, w)
	}
	var asked review.ModelError
	if errors.As(err, &asked) {
		return line, usage(err)
	}
	return line, err
}

// gradeRows is where graded takes go.
type gradeRows struct {
	*report.Graded
	file       *os.File // nil: standard output
	onTerminal bool
}

// rows opens where the results go, and says which takes are to be graded.
func (g *grading) rows(e *env, paths []string) (*gradeRows, []string, error) {
	style := e.style(theory.Movable)
	if g.out == "" || g.out == "-" {
		out := e.stdout
		if g.format.value == "csv" {
			out = e.data()
		}
		r := &gradeRows{style.NewGraded(out, g.format.value, 0), nil, e.terminal(e.stdout)}
		if g.list.headless() {
			return r, paths, nil
		}
		return r, paths, r.Begin()
	}
	f, there, end, err := g.openRows(paths)
	if err != nil {
		return nil, nil, err
	}
	todo := slices.DeleteFunc(slices.Clone(paths), func(p string) bool { return there[p] })
	r := &gradeRows{style.NewGraded(f, g.format.value, len(there)), f, false}
	if end == 0 && !g.list.headless() {
		err = r.Begin()
	}
	return r, todo, err
}

// close ends the document; an interrupted one in a file stays open, to be gone
// on with.
func (r *gradeRows) close(complete bool) (err error) {
	if complete || r.file == nil {
		err = r.End()
	}
	if r.file != nil {
		err = errors.Join(err, r.file.Close())
	}
	return err
}

// openRows opens --out, whose rows are there as soon as they are known. With
// --resume it says which takes are in it; what is written goes to end.
func (g *grading) openRows(paths []string) (f *os.File, there map[string]bool, end int64, err error) {
	if !g.resume {
		f, err := newfile.Open(g.out, g.force)
		if errors.Is(err, newfile.ErrThere) {
			return nil, nil, 0, fmt.Errorf("--out: %s: it is there already: --resume goes on with it, --force begins it anew, or name another file", g.out)
		}
		if err != nil {
			return nil, nil, 0, fmt.Errorf("--out: %w", err)
		}
		return f, nil, 0, nil
	}
	if f, err = os.OpenFile(g.out, os.O_RDWR|os.O_CREATE, 0o666); err != nil {
		return nil, nil, 0, fmt.Errorf("--out: %w", newfile.PathError(g.out, err))
	}
	there, end, err = report.ReadGraded(f, g.format.value, g.list.headless())
	if strange := g.list.strange(there, paths); err == nil && strange != "" {
		err = fmt.Errorf("it has %s, which is not of this share: it is that of another share, or of another list", short(strange))
	}
	if err == nil && end == 0 && !g.list.torn(f, g.format.value, paths) {
		err = fmt.Errorf("it holds no rows: it was not written by grade --format %s", g.format.value)
	}
	if err == nil {
		err = f.Truncate(end)
	}
	if err == nil {
		_, err = f.Seek(end, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, nil, 0, fmt.Errorf("--out: %s: %w", g.out, err)
	}
	return f, there, end, nil
}
