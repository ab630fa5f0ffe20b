package cli

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/notation"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/review"
	"singback/theory"
)

// grading is what the flags of grade say.
type grading struct {
	music        music
	rec          recording
	model        string
	part         string
	stderr       io.Writer // warnings about the model
	strict       bool
	strictOctave bool
	tolerance    float64
	out          string
	force        bool
	resume       bool
	format       *format
}

func newGrade(e *env) *cobra.Command {
	g := grading{stderr: e.stderr, format: newFormat("text", "json", "csv"), tolerance: grade.DefaultRules().Tolerance}
	cmd := &cobra.Command{
		Use:   "grade --model MODEL TAKE ...",
		Short: "Grade recordings of a melody against a model",
		Long: `Grade compares takes with a model, note by note, and says what a jury would.

MODEL is a typed melody like "do re mi - sol", a notation file (ABC, MusicXML,
MIDI; see singback melody), a recording of somebody who sings or plays it (its
notes are found first), or a pitch curve. A TAKE is a recording, a folder of them
(those that end in .wav, by name) or a pitch curve: CSV with the columns time_s
and f0_hz, where 0 is no pitch; - reads a take from standard input.

Any key, octave and tempo of a take is right, unless --strict: then the key is
the model's, and --strict-octave asks for its octave too. A typed melody whose
notes are all equally long says nothing of rhythm, which is then not judged.

  score             1 for a take without a fault; what is at fault lowers it
  pass_probability  that a jury lets it pass
  notes_right       within the tolerance of their pitch, of notes_written
  omitted, added    notes that were not sung; that belong to no written note
  median_cents      how sharp (or flat) the notes are; drift taken away
  drift_cents       how far the singer's key moved, from first to last note

Points are counted by bars (without bars, by four beats): two for a bar that is
right, one where only its notes or only its rhythm are, two for going on without
a halt. That is this program's own count, and no mark of an examination.

--format json adds every note, and why. Many takes are graded at once, in the
order given. A take that cannot be read is reported, the rest go on, and the
exit status is 1. With --out FILE the rows go there one by one, and --resume
goes on where an interrupted run stopped.`,
		Example: `  singback grade --model "do re mi fa sol" take.wav
  singback grade --model piano.wav --format csv take1.wav take2.wav
  singback grade --model model.csv --strict --format json take.csv
  singback grade --model piano.wav --format csv --out marks.csv --resume take1.wav take2.wav`,
		Args: manyArgs("a recording or pitch curve TAKE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return g.run(cmd.Context(), e, args)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&g.model, "model", "", "the `MODEL`: a typed melody, a notation file, a recording or a pitch curve")
	fl.StringVar(&g.part, "part", "", "the voice, part or track of a notation file: its `NAME` or number")
	g.music.addKeyFlag(cmd, false, "", "the `KEY`, like \"Ab major\" or f#m: of a typed melody, and the one that names the degrees")
	fl.StringVar(&g.music.names, "names", theory.Movable.String(), namesHelp())
	fl.Float64Var(&g.music.a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, for a typed melody")
	fl.StringVar(&g.music.tuning, "tuning", theory.Equal.String(), tuningHelp+"; for a typed melody")
	fl.Float64Var(&g.tolerance, "tolerance", g.tolerance, "how many `CENTS` off are still right, 5 to 50")
	fl.BoolVar(&g.strict, "strict", false, "only the key of the model is right")
	fl.BoolVar(&g.strictOctave, "strict-octave", false, "only the octave asked for is right: that of the model, in its key")
	addOut(cmd, &g.out, &g.force, "FILE", ", each row as soon as it is known")
	fl.BoolVar(&g.resume, "resume", false, "go on with --out FILE: takes that it has are not graded again")
	g.rec.addFlags(cmd)
	addFormat(cmd, g.format)
	must(cmd.RegisterFlagCompletionFunc("names", fixed(namingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("tuning", fixed(tuningWordList...)))
	return cmd
}

// graded is what one take comes to.
type graded struct {
	record    report.Grade
	cancelled bool // the channels of the recording cancel each other
}

func (g *grading) run(ctx context.Context, e *env, paths []string) error {
	rules := grade.Rules{
		Freedom:   grade.Freedom{Key: !g.strict && !g.strictOctave, Octave: !g.strictOctave},
		Tolerance: g.tolerance,
	}
	if err := (exercise.Tolerance{Cents: g.tolerance}).Validate(); err != nil {
		return usage(fmt.Errorf("--tolerance: %w", err))
	}
	names, err := theory.ParseNaming(g.music.names)
	if err != nil {
		return usage(fmt.Errorf("--names: %w", err))
	}
	switch {
	case g.resume && g.out == "":
		return usagef("--resume goes on with a file: say which with --out FILE")
	case g.out != "" && g.format.value == "text":
		return usagef("--out needs --format csv or --format json")
	case g.resume && (g.force || g.out == "-"):
		return usagef("--resume: it goes on with a file; with --force it begins anew, and - is no file")
	}
	if paths, err = spread(e, paths, g.model, g.out); err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, p := range paths {
		if p == "-" && seen[p] {
			return usagef("- is given twice: standard input is read only once")
		}
		if g.out != "" && strings.ContainsAny(p, "\r\n") {
			return usagef("%q has a line break in its name, and a row of --out is one line", short(p))
		}
		seen[p] = true
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
	shown := newBar(e, len(todo))
	failed := 0
	done := 0
	err = review.Each(ctx, len(todo), func(ctx context.Context, i int) (graded, error) {
		cancelled := false
		r := reader
		r.Heard = func(src *audio.WAV) { cancelled = src.Cancelled() }
		p, err := r.Read(ctx, todo[i])
		if err != nil {
			return graded{}, err
		}
		found, err := grade.Of(line, p, rules)
		if err != nil {
			return graded{}, fmt.Errorf("%s: %w", todo[i], err)
		}
		return graded{report.NewGrade(todo[i], line, p, found, names), cancelled}, nil
	}, func(i int, r graded, err error) error {
		done++
		shown.step()
		if err != nil {
			failed++
			shown.clear()
			fmt.Fprintln(e.stderr, oneLine(err))
			return nil
		}
		if r.cancelled || rows.onTerminal {
			shown.clear()
		}
		if r.cancelled {
			fmt.Fprintf(e.stderr, "%s: the channels cancel each other when mixed; try --channel 1\n", todo[i])
		}
		return rows.add(r.record)
	})
	shown.clear()
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
		return rows.details(line)
	}
	return nil
}

func oneLine(err error) string { return strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; ") }

// line is the model: the one place that decides what kind it is.
func (g *grading) line(ctx context.Context, reader review.Reader, names theory.Naming) (grade.Line, error) {
	if strings.TrimSpace(g.model) == "" {
		return grade.Line{}, usagef(`--model is missing: a typed melody like "do re mi", a notation file, a recording or a pitch curve`)
	}
	var key theory.Key
	var err error
	if g.music.key != "" {
		if key, err = g.music.readKey("--key", nil); err != nil {
			return grade.Line{}, err
		}
	}
	_, missing := os.Stat(g.model)
	extension := strings.ToLower(filepath.Ext(g.model))
	if _, written := notation.ByName(g.model); written {
		return g.written(key, names)
	}
	if g.part != "" {
		return grade.Line{}, usagef("--part is about a notation file, and --model is none")
	}
	if missing == nil || extension == ".wav" || extension == ".csv" {
		p, err := reader.Read(ctx, g.model)
		if err != nil {
			return grade.Line{}, fmt.Errorf("--model: %w", err)
		}
		line, err := grade.NewPerformedLine(p.Notes)
		if err != nil {
			return line, fmt.Errorf("--model: %s: no note was found in it", g.model)
		}
		if g.music.key != "" {
			line = line.Named(key)
		}
		return line, nil
	}
	if g.music.key == "" {
		if key, err = theory.ParseKey("C major"); err != nil {
			return grade.Line{}, err
		}
	}
	melody, err := theory.ParseMelody(g.model, key, names)
	if err != nil {
		if strings.ContainsAny(extension, "abcdefghijklmnopqrstuvwxyz") && !strings.ContainsAny(g.model, " ") {
			return grade.Line{}, usagef("--model: there is no file %s", short(g.model))
		}
		return grade.Line{}, usage(fmt.Errorf("--model: %w", err))
	}
	tuning, err := g.music.readTuning()
	if err != nil {
		return grade.Line{}, err
	}
	line, err := grade.NewMelodyLine(melody, 4, tuning)
	if err != nil {
		return line, usage(fmt.Errorf("--model: %w", err))
	}
	return line, nil
}

// written is a model in a notation file, in the key that the file says or --key.
func (g *grading) written(key theory.Key, names theory.Naming) (grade.Line, error) {
	tuning, err := g.music.readTuning()
	if err != nil {
		return grade.Line{}, err
	}
	f, err := os.Open(g.model)
	if errors.Is(err, fs.ErrNotExist) {
		return grade.Line{}, usagef("--model: there is no file %s", short(g.model))
	}
	if err != nil {
		return grade.Line{}, fmt.Errorf("--model: %w", fileError(g.model, err))
	}
	defer f.Close()
	score, warnings, err := notation.Read(g.model, f, notation.Options{
		Voice: g.part, Key: key, KeyAsked: g.music.key != "", Naming: names, Octave: middleOctave,
	})
	if err != nil {
		return grade.Line{}, fmt.Errorf("--model: %w", err)
	}
	for _, w := range warnings {
		fmt.Fprintf(g.stderr, "%s: %s\n", g.model, w)
	}
	return grade.NewLine(score, tuning)
}

// rows opens where the results go, and says which takes are to be graded.
func (g *grading) rows(e *env, paths []string) (*gradeRows, []string, error) {
	out := e.stdout
	if g.format.value == "csv" {
		out = e.data()
	}
	r := &gradeRows{kind: g.format.value, w: bufio.NewWriter(out), onTerminal: e.terminal(e.stdout), ascii: e.ascii()}
	if g.out == "" || g.out == "-" {
		return r, paths, r.head()
	}
	if !g.resume {
		// Its rows are there as soon as they are known, so it has its name from the
		// beginning.
		direct, _, err := lookAt(g.out, g.force)
		if errors.Is(err, errThere) {
			return nil, nil, fmt.Errorf("--out: %s: it is there already: --resume goes on with it, --force begins it anew, or name another file", g.out)
		}
		if err != nil {
			return nil, nil, fmt.Errorf("--out: %w", err)
		}
		how := os.O_WRONLY | os.O_CREATE | os.O_EXCL
		switch {
		case direct:
			how = os.O_WRONLY | os.O_APPEND
		case g.force:
			how = os.O_WRONLY | os.O_CREATE | os.O_TRUNC
		}
		f, err := os.OpenFile(g.out, how, 0o666)
		if err != nil {
			return nil, nil, fmt.Errorf("--out: %w", fileError(g.out, err))
		}
		r.file, r.w, r.onTerminal = f, bufio.NewWriter(f), false
		return r, paths, r.head()
	}
	f, err := os.OpenFile(g.out, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return nil, nil, fmt.Errorf("--out: %w", err)
	}
	have, end, err := readGraded(f, g.format.value)
	if err == nil {
		err = f.Truncate(end)
	}
	if err == nil {
		_, err = f.Seek(end, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, nil, fmt.Errorf("--out: %s: %w", g.out, err)
	}
	r.file, r.w, r.onTerminal, r.count = f, bufio.NewWriter(f), false, len(have)
	var todo []string
	for _, p := range paths {
		if !have[p] {
			todo = append(todo, p)
		}
	}
	if end > 0 {
		return r, todo, nil
	}
	return r, todo, r.head()
}

// widest is how many bytes of a take's name the table shows.
const widest = 30

// table writes the rows for people.
func (r *gradeRows) text(g report.Grade) error {
	name := plain.Shown(g.Take)
	if n := []rune(name); len(n) > widest {
		name = "…" + string(n[len(n)-widest+1:])
		if r.ascii {
			name = "~" + string(n[len(n)-widest+1:])
		}
	}
	_, err := fmt.Fprintf(r.w, "%-*s %5.2f %5.2f %6s %7d %5d %+6.0f %+5.0f\n", widest, name, g.Score, g.PassProbability,
		fmt.Sprintf("%d/%d", g.NotesRight, g.NotesWritten), g.Omitted, g.Added, g.MedianCents, g.DriftCents)
	return err
}

// details says why a single take got what it got.
func (r *gradeRows) details(line grade.Line) error {
	fmt.Fprintln(r.w)
	return errors.Join(writeDetails(r.w, r.last, line), r.w.Flush())
}

// writeDetails writes the marks of a take, its faults and its notes.
func writeDetails(w io.Writer, g report.Grade, line grade.Line) error {
	parts := map[bool]string{true: "bars", false: "parts of four beats"}[len(line.Bars) > 0]
	fmt.Fprintf(w, "marks     %d of %d notes right; %d of %d points: %d of %d %s%s\n", g.NotesRight, g.NotesWritten, g.Points, g.PointsOf, g.SegmentsRight, g.Segments, parts,
		map[bool]string{true: ", and the flow", false: ""}[g.Flow])
	if !line.Timed {
		fmt.Fprintln(w, "rhythm    not judged: the model says nothing of it")
	}
	if g.UnsteadyBeats != nil {
		fmt.Fprintf(w, "tempo     notes begin within %.2f beats of their time (median)\n", *g.UnsteadyBeats)
	}
	for k, b := range g.Restarts {
		fmt.Fprintf(w, "%-9s at %.1f s, from note %d to note %d\n", first(k, "restarts"), b.AtSeconds, b.From, b.To)
	}
	if len(g.Hesitations) > 0 {
		fmt.Fprintf(w, "waited    before note %s\n", strings.Trim(strings.Join(strings.Fields(fmt.Sprint(g.Hesitations)), ", "), "[]"))
	}
	if l := g.Weakest; l != nil {
		way := "up"
		if l.Semitones < 0 {
			way = "down"
		}
		named := ""
		if l.FromDegree != "" {
			named = fmt.Sprintf("%s to %s, ", l.FromDegree, l.ToDegree)
		}
		fmt.Fprintf(w, "weakest   %snotes %d to %d, %s %s: %.0f cents off\n", named, l.From, l.To, many(max(l.Semitones, -l.Semitones), "semitone"), way, l.ErrorCents)
	}
	for k, f := range g.Why {
		if f.Cost < 0.05 {
			continue
		}
		fmt.Fprintf(w, "%-9s %s (-%.2f)\n", first(k, "faults"), f.Text, f.Cost/8)
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "note\tdegree\tresult\tcents\tlate\tlength")
	number := func(v *float64, form string) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprintf(form, *v)
	}
	for _, n := range g.Notes {
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\n", n.Index, cmp.Or(n.Degree, "-"), strings.ReplaceAll(n.Result, "_", " "),
			number(n.Cents, "%+.0f"), number(n.LateBeats, "%+.2f"), number(n.Length, "%.2f"))
	}
	return t.Flush()
}

// first is a label on the first line of several.
func first(k int, label string) string {
	if k == 0 {
		return label
	}
	return ""
}
