package cli

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"singback/internal/chart"
	"singback/internal/course"
	"singback/internal/newfile"
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
	o.record.addSinger(cmd, "")
	f := cmd.Flags()
	f.StringVar(&o.since, "since", "", "only answers from this `DAY` on, like 2026-11-25")
	f.StringVar(&o.key, "key", "", "the `KEY`, like \"Ab major\" or f#m: only answers in it")
	f.StringVar(&o.names, "names", "movable", "what degrees are called, a `NAMING`: movable, numbers")
	f.StringVar(&o.course, "course", "", "the course in this `FILE` (else the built-in one; see singback course)")
	f.StringVar(&o.svg, "svg", "", "draw charts as SVG into this `FOLDER`")
	f.StringVar(&o.png, "png", "", "draw charts as PNG into this `FOLDER`")
	addForce(cmd, &o.force)
	f.StringVar(&o.html, "html", "", "write a page to print into this `FILE`")
	addFormat(cmd, o.format)
	completed(cmd, "since", fixed())
	completed(cmd, "key", fixed(keyNames(false)...))
	completed(cmd, "names", fixed("movable", "numbers"))
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
	read, err := r.Progress(cmd.Context(), store.ProgressQuery{Singer: of.Singer, Since: of.Since, Key: of.Key})
	if err != nil {
		return err
	}
	p := read.Progress
	of.Skipped, of.Simulated = read.Skipped, read.Simulated
	if read.Practice.Begun() {
		of.Course, of.Standing = &c, c.Standing(read.Practice, nil)
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
		return e.printJSON(shown)
	case "csv":
		return shown.CSV(e.data())
	}
	return e.print(shown.Text())
}

// draw writes the charts and the page that were asked for.
func (o *progressOptions) draw(e *env, p *report.Progress) error {
	for _, to := range []struct {
		flag, folder string
		write        func(chart.Chart, io.Writer) error
	}{{"svg", o.svg, chart.Chart.SVG}, {"png", o.png, chart.Chart.PNG}} {
		if to.folder == "" {
			continue
		}
		charts, err := chart.Of(p)
		if err != nil {
			return err
		}
		name := func(i int) string { return charts[i].Name + "." + to.flag }
		err = newfile.WriteAll(to.folder, len(charts), name, o.force, newfile.ForAll, func(i int, w io.Writer) error { return to.write(charts[i], w) })
		if err != nil {
			return fmt.Errorf("--%s: %w", to.flag, err)
		}
		fmt.Fprintf(e.stderr, "%s drawn in %s.\n", many(len(charts), "chart"), to.folder)
	}
	if o.html == "" {
		return nil
	}
	if err := e.writeFile(o.html, o.force, newfile.ForAll, func(w io.Writer) error { return chart.Page(w, p) }); err != nil {
		return fmt.Errorf("--html: %w", err)
	}
	fmt.Fprintf(e.stderr, "Written: %s.\n", o.html)
	return nil
}
