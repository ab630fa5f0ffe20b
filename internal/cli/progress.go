package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"singback/exercise/practice"
	"singback/internal/course"
	"singback/internal/report"
	"singback/internal/store"
	"singback/theory"
)

// progressOptions are the flags of progress.
type progressOptions struct {
	record recordOptions
	since  string
	key    string
	names  string
	course string
	svg    string
	png    string
	html   string
	force  bool
	format *format
}

func newProgress(e *env) *cobra.Command {
	o := &progressOptions{format: newFormat("text", "json", "csv")}
	cmd := &cobra.Command{
		Use:   "progress",
		Short: "What the record says of your ear: strong, weak, better, worse",
		Long: `Progress shows, for each degree and each move, how many of your answers were
right, how far from the note they were, how scattered, and how long you took; the
same by key, register, place in the session and day; what you sang instead of
what was asked; whether the pitch drifts; and what has changed since when.

Each share and median comes with an interval of 95 %, and where there are fewer
than ten answers it says so instead. A change is listed only where it is more
than chance. Where you stand in the course (--course FILE, if it is not the
built-in one) is worked out from all your answers.

--svg and --png draw charts into a folder, --html writes one page to print; with
--force they replace the charts and the page of before.`,
		Example: `  singback progress --record choir.db --singer Anna
  singback progress --singer Anna --since 2026-09-01 --html anna.html --png charts
  singback progress --singer Anna --format csv >anna.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd, e) },
	}
	o.record.addFile(cmd)
	o.record.addSinger(cmd, "whose progress, by `NAME` (else whose profile is in use, or me)")
	f := cmd.Flags()
	f.StringVar(&o.since, "since", "", "only answers from this `DAY` on, like 2026-11-25")
	f.StringVar(&o.key, "key", "", "only answers in this `KEY`")
	f.StringVar(&o.names, "names", "movable", "names of degrees: movable, numbers")
	f.StringVar(&o.course, "course", "", "the course that is practised, a `FILE` (else the built-in one)")
	f.StringVar(&o.svg, "svg", "", "draw charts as SVG into this `FOLDER`")
	f.StringVar(&o.png, "png", "", "draw charts as PNG into this `FOLDER`")
	addForce(cmd, &o.force)
	f.StringVar(&o.html, "html", "", "write a page to print into this `FILE`")
	f.Var(o.format, "format", "output: text, json or csv")
	must(cmd.RegisterFlagCompletionFunc("since", fixed()))
	must(cmd.RegisterFlagCompletionFunc("key", fixed(keyNames(false)...)))
	must(cmd.RegisterFlagCompletionFunc("names", fixed("movable", "numbers")))
	must(cmd.RegisterFlagCompletionFunc("format", o.format.complete))
	must(cmd.MarkFlagFilename("course", "toml"))
	must(cmd.MarkFlagDirname("svg"))
	must(cmd.MarkFlagDirname("png"))
	must(cmd.MarkFlagFilename("html", "html"))
	return cmd
}

func (o *progressOptions) run(cmd *cobra.Command, e *env) error {
	if err := o.record.whose(cmd, e); err != nil {
		return err
	}
	style := report.Style{ASCII: e.ascii()}
	switch o.names {
	case "movable":
	case "numbers":
		style.Names = theory.Numbers
	default:
		return usagef("--names: %q: want movable or numbers", short(o.names))
	}
	c := course.BuiltIn()
	if o.course != "" {
		var err error
		if c, err = readCourse(o.course); err != nil {
			return err
		}
	}
	of := report.ProgressOf{Singer: o.record.singer, Since: o.since}
	if cmd.Flags().Changed("since") {
		day, err := time.Parse(time.DateOnly, o.since)
		if err != nil {
			return usagef("--since: %q is no day like 2026-11-25", short(o.since))
		}
		if today := e.clock().Format(time.DateOnly); o.since > today {
			return usagef("--since: %s is still to come; today is %s", day.Format(time.DateOnly), today)
		}
	}
	if cmd.Flags().Changed("key") {
		k, err := theory.ParseKey(o.key)
		if err != nil {
			return usage(fmt.Errorf("--key: %w", err))
		}
		of.Key = &k
	}
	r, err := o.record.read(e)
	if err != nil {
		return err
	}
	defer r.Close()
	singers, err := r.Singers(cmd.Context())
	if err != nil {
		return err
	}
	if len(singers) == 0 {
		return fmt.Errorf("%s: the record is empty; singback today begins it", r.Path())
	}
	if note := o.record.unnamed(singers); note != "" {
		fmt.Fprintf(e.stderr, "%s has %s\n", r.Path(), note)
	}
	if err := among(r.Path(), singers, of.Singer); err != nil {
		return err
	}
	p, practice, err := readProgress(cmd, r, &of)
	if err != nil {
		return err
	}
	if practice.Begun() {
		of.Course, of.Standing = &c, c.Standing(practice, nil)
	}
	if of.Skipped > 0 {
		verb := "are"
		if of.Skipped == 1 {
			verb = "is"
		}
		fmt.Fprintf(e.stderr, "%s of the record could not be read and %s left out; see singback record check.\n", many(of.Skipped, "answer"), verb)
	}
	if _, _, ok := p.Span(); !ok {
		where := ""
		if of.Key != nil {
			where += " in " + of.Key.ASCII()
		}
		if of.Since != "" {
			where += " since " + of.Since
		}
		return fmt.Errorf("%s: it has no answer of %s%s that counts", r.Path(), of.Singer, where)
	}
	shown := report.NewProgress(of, p, style)
	if err := o.draw(e, &shown); err != nil {
		return err
	}
	switch o.format.value {
	case "json":
		return json.NewEncoder(e.stdout).Encode(shown)
	case "csv":
		return shown.CSV(e.data())
	}
	_, err = io.WriteString(e.stdout, shown.Text())
	return err
}

// readProgress reads the answers that count, and what practice knows by all of them.
// Those that cannot be read are counted in of, and so are those of a simulated
// singer.
func readProgress(cmd *cobra.Command, r *store.Record, of *report.ProgressOf) (*practice.Progress, *practice.Practice, error) {
	past := &practice.Practice{}
	q := store.Query{Singer: of.Singer, Counted: true}
	if of.Since != "" {
		day, err := time.Parse(time.DateOnly, of.Since)
		if err != nil {
			return nil, nil, err
		}
		if past, _, err = r.Practice(cmd.Context(), of.Singer); err != nil {
			return nil, nil, err
		}
		q.Since = day.AddDate(0, 0, -1) // the singer's day begins up to 14 hours before that of UTC
	}
	p := &practice.Progress{}
	for a, err := range r.Answers(cmd.Context(), q) {
		switch {
		case cmd.Context().Err() != nil:
			return nil, nil, cmd.Context().Err()
		case errors.Is(err, store.ErrAnswer):
			of.Skipped++
			continue
		case err != nil:
			return nil, nil, err
		}
		if t, ok := a.Trial(); ok && of.Since == "" {
			past.Add(t)
		}
		switch {
		case a.Session.Command == "echo": // heard before it was sung
			continue
		case of.Since != "" && a.At.Format(time.DateOnly) < of.Since, of.Key != nil && a.Item.Key != *of.Key:
			continue
		}
		added := p.Add(practice.Entry{
			At: a.At, Session: a.Session.ID, Question: a.Index, Skill: a.Skill, Item: a.Item,
			Tolerance: a.Tolerance.Cents, Verdict: a.Verdict, Named: a.Named, Notes: a.Notes, NotesRight: a.NotesRight,
		})
		if added && a.Session.Source == "simulated" {
			of.Simulated++
		}
	}
	return p, past, nil
}

// draw writes the charts and the page that were asked for.
func (o *progressOptions) draw(e *env, p *report.Progress) error {
	for _, to := range []struct {
		flag, folder string
		write        func(report.Chart, io.Writer) error
	}{{"svg", o.svg, report.Chart.SVG}, {"png", o.png, report.Chart.PNG}} {
		if to.folder == "" {
			continue
		}
		charts, err := p.Charts()
		if err != nil {
			return err
		}
		if err := os.MkdirAll(to.folder, 0o777); err != nil {
			return fmt.Errorf("--%s: %w", to.flag, fileError(to.folder, err))
		}
		name := func(c report.Chart) string { return filepath.Join(to.folder, c.Name+"."+to.flag) }
		for _, c := range charts {
			if _, _, err := lookAt(name(c), o.force); err != nil {
				return fmt.Errorf("--%s: %w", to.flag, err)
			}
		}
		for _, c := range charts {
			if err := e.writeFile(name(c), o.force, forAll, func(w io.Writer) error { return to.write(c, w) }); err != nil {
				return err
			}
		}
		fmt.Fprintf(e.stderr, "%s drawn in %s.\n", many(len(charts), "chart"), to.folder)
	}
	if o.html == "" {
		return nil
	}
	if err := e.writeFile(o.html, o.force, forAll, p.HTML); err != nil {
		return fmt.Errorf("--html: %w", err)
	}
	fmt.Fprintf(e.stderr, "Written: %s.\n", o.html)
	return nil
}
