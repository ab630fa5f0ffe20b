package cli

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/sheet"
)

// tabling is what the flags of class table say.
type tabling struct {
	c      *classFlags
	html   string
	paper  string
	force  bool
	format *format
}

func newClassTable(e *env, c *classFlags) *cobra.Command {
	o := tabling{c: c, format: newFormat("text", "csv", "json")}
	cmd := &cobra.Command{
		Use:   "table",
		Short: "The class at a glance: who, what, since when; what is weak",
		Long: `Table shows the class: for each student and task the mark that counts, yours where
you gave one, when it was handed in, and what is missing; then the degrees and moves
that are weak across the class, with 95 % intervals, and how often you and the machine
say the same. Of fewer than ten answers or takes nothing is said.

--html writes it as a page to print, on its side. --format csv is for the school's own
books and --format json for programs: a row for each student and task, with what you
said beside the machine's. In CSV a name that a spreadsheet would take for a formula
has an apostrophe before it.`,
		Example: `  singback class table
  singback class table --format csv
  singback class table --html table.html --paper a4`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return o.run(e) },
	}
	cmd.Flags().StringVar(&o.html, "html", "", "write a page to print into this `FILE`")
	addPaper(cmd, &o.paper)
	addForce(cmd, &o.force)
	addFormat(cmd, o.format)
	return cmd
}

func (o *tabling) run(e *env) error {
	paper, err := readPaper(o.paper)
	switch {
	case err != nil:
		return err
	case o.html == "" && (o.paper != "" || o.force):
		return usagef("--paper and --force are about a page: name a FILE with --html")
	case o.html != "" && o.format.value != "text":
		return usagef("--html is a page: leave out --format, or --html")
	}
	return o.c.with(o.html != "" && o.html != "-", func(f *classfile.File) error {
		r := &desk.Reporter{File: f, Made: class.DateOf(e.clock()), Paper: paper, ASCII: o.html == "" && e.ascii()}
		if o.html != "" {
			return o.page(e, f, r)
		}
		if o.format.value == "text" {
			t, err := r.Table()
			if err != nil {
				return err
			}
			text, err := t.Text(e.ascii())
			if err != nil {
				return err
			}
			return e.print(text)
		}
		records, err := r.Records()
		if err != nil {
			return err
		}
		if o.format.value == "csv" {
			return sheet.WriteCSV(e.data(), records)
		}
		s, err := r.Summary()
		if err != nil {
			return err
		}
		return sheet.WriteJSON(e.stdout, s, records)
	})
}

// page writes the table as a page, and remembers who is on it.
func (o *tabling) page(e *env, f *classfile.File, r *desk.Reporter) error {
	t, err := r.Table()
	if err == nil {
		err = e.writePage(o.html, o.force, t.HTML)
	}
	if err != nil || o.html == "-" {
		return err
	}
	full, err := filepath.Abs(o.html)
	if err == nil {
		err = f.AddSheetOfAll(full)
	}
	if err != nil {
		return err
	}
	return e.print(o.html + "\n")
}
