package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/newfile"
	"singback/internal/report"
	"singback/internal/store"
)

func newRecord(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "record",
		Short: "The practice record: check it, export it, import it",
		Long: `The practice record holds every answer of today, and of sing once there is a
record: what was asked, what was sung to the hundredth of a cent, and how it was
judged. It is one file, record.db in the folder singback of the user's data
(XDG_DATA_HOME), and stays on this computer. Sound is never kept.

One singback writes it at a time; another goes on without recording and says so.
Before a newer singback changes the file it makes a copy beside it.`,
		Example: `  singback record check --record choir.db`,
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.AddCommand(newRecordCheck(e), newRecordExport(e), newRecordImport(e))
	return cmd
}

func (o *recordOptions) addFile(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.file, "record", "", "the practice record is this `FILE`")
}

// read opens the record for reading.
func (o *recordOptions) read(e *env) (*store.Record, error) {
	path, err := o.path(e)
	if err != nil {
		return nil, err
	}
	r, err := store.ReadRecord(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noRecord(path)
	}
	return r, err
}

func noRecord(path string) error {
	return fmt.Errorf("%s: there is no practice record yet; singback today begins one", path)
}

func newRecordCheck(e *env) *cobra.Command {
	var o recordOptions
	format := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "check",
		Short: "See whether the record is sound, and what is in it",
		Long: `Check looks at the whole record: the structure of the file, that every answer
belongs to a session and can be read. It changes nothing. The exit status is 1 if
something is wrong; then it says how many answers can still be read, which
singback record export --damaged writes.`,
		Example: `  singback record check
  singback record check --record choir.db --format json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			path, err := o.path(e)
			if err != nil {
				return err
			}
			file, c, err := store.ExamineRecord(cmd.Context(), path)
			if errors.Is(err, fs.ErrNotExist) {
				return noRecord(path)
			}
			if err != nil {
				return err
			}
			record := report.RecordCheck{
				Schema: report.Schema, File: file, Version: c.Version, Size: c.SizeBytes, Sessions: c.Sessions,
				Answers: c.Answers, Lost: c.Lost, Problems: append([]string{}, c.Problems...), Singers: []report.RecordSinger{},
			}
			for _, s := range c.Singers {
				record.Singers = append(record.Singers, report.NewRecordSinger(s.Name, s.Sessions, s.Answers, s.First, s.Last))
			}
			if format.value == "json" {
				err = e.printJSON(record)
			} else {
				err = e.print(record.Text())
			}
			if err == nil && len(c.Problems) > 0 {
				err = fmt.Errorf("%s: %w: %s", file, store.ErrRecordDamaged, c.Problems[0])
			}
			return err
		},
	}
	o.addFile(cmd)
	addFormat(cmd, format)
	return cmd
}

// salvage opens the record to read what can be read of it.
func (o *recordOptions) salvage(cmd *cobra.Command, e *env) (*store.Salvage, error) {
	path, err := o.path(e)
	if err != nil {
		return nil, err
	}
	s, err := store.SalvageRecord(cmd.Context(), path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noRecord(path)
	}
	return s, err
}

func newRecordExport(e *env) *cobra.Command {
	var o recordOptions
	var to string
	var damaged, guard, force bool
	var account accountOptions
	format := newFormat("csv", "jsonl", "xapi")
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the record as CSV, JSON lines or xAPI statements",
		Long: `Export writes every answer, oldest first, singer by singer: as CSV with a header
line, or as JSON lines, one object an answer. Both have the same columns, which
singback help fields explains, with every number as it was measured. What is null
in JSON is empty in CSV. singback record import reads both. A file or a pipe gets
the names in it to the byte; a terminal is shown controls in them, like \u001b.

A spreadsheet takes a text that begins with =, +, - or @ for a formula, and such a
name may come from a record of somebody else. With --guard-formulas the CSV has an
apostrophe before it, and says so in a last column, so that singback record import
takes it away again. Numbers stay as they are.

With --format xapi it writes statements of the open standard of learning records (IEEE
9274.1.1), an array of JSON for a learning record store. They say who answered by an
account: --actor and --home-page give it a name that need not be the singer's own.

With --damaged it writes what can still be read of a record that is damaged, says
how many answers are lost, and ends with the exit status 1 if the file is not
sound. The file is not changed. Then move it away and import the export into a
new one.`,
		Example: `  singback record export >answers.csv
  singback record export --singer Anna --format jsonl --out anna.jsonl
  singback record export --singer Anna --format xapi --actor "soprano 3" --out anna.json
  singback record export --damaged --out saved.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f := store.CSV
			if err := account.check(cmd, format.value == "xapi"); err != nil {
				return err
			}
			switch {
			case format.value != "csv" && guard:
				return usagef("--guard-formulas: it is for --format csv; no spreadsheet opens JSON as a table")
			case format.value == "jsonl":
				f = store.JSONLines
			case guard:
				f = store.GuardedCSV
			}
			from, lost, err := o.source(cmd, e, damaged)
			if err != nil {
				return err
			}
			defer from.Close()
			if format.value == "xapi" {
				from = statements{from, account.by}
			}
			if to == "" || to == "-" {
				if _, err := from.Export(cmd.Context(), e.data(), f, o.singer); err != nil {
					return err
				}
				return lost
			}
			n := 0
			if err := e.writeFile(to, force, newfile.ForOwner, func(w io.Writer) (err error) {
				n, err = from.Export(cmd.Context(), w, f, o.singer)
				return err
			}); err != nil {
				return fmt.Errorf("--out: %w", err)
			}
			fmt.Fprintf(e.stderr, "%s written to %s.\n", many(n, "answer"), to)
			return lost
		},
	}
	o.addFile(cmd)
	o.addSinger(cmd, "everybody")
	cmd.Flags().BoolVar(&damaged, "damaged", false, "write what can still be read of a damaged record")
	cmd.Flags().BoolVar(&guard, "guard-formulas", false, "for a spreadsheet: no text is taken for a formula")
	account.addFlags(cmd)
	addOut(cmd, &to, &force, "FILE", "")
	addFormat(cmd, format)
	return cmd
}

// notSound says what was lost of a damaged record. It has no hint of the store's.
func notSound(s *store.Salvage) error {
	lost := "no answer is known to be lost"
	if s.Lost > 0 {
		lost = fmt.Sprintf("%s or more are lost", many(s.Lost, "answer"))
	}
	return fmt.Errorf("%s: it is damaged, and was not changed: %s can be read, %s; move it away, and import this export into a new one",
		s.Path(), many(s.Answers, "answer"), lost)
}

// exporter is a record, sound or damaged.
type exporter interface {
	Export(ctx context.Context, w io.Writer, f store.Format, singer string) (int, error)
	io.Closer
}

// source opens the record to export it; lost says what a damaged one lacks, and is
// nil of a sound one.
func (o *recordOptions) source(cmd *cobra.Command, e *env, damaged bool) (from exporter, lost, err error) {
	var singers []store.SingerCount
	var path string
	if damaged {
		s, err := o.salvage(cmd, e)
		if err != nil {
			return nil, nil, err
		}
		if from, path, singers = s, s.Path(), s.Check().Singers; len(s.Problems) > 0 || s.Lost > 0 {
			lost = notSound(s)
		}
	} else {
		r, err := o.read(e)
		if err != nil {
			return nil, nil, err
		}
		from, path = r, r.Path()
		if o.singer != "" {
			if singers, err = r.Singers(cmd.Context()); err != nil {
				return nil, nil, errors.Join(err, r.Close())
			}
		}
	}
	if err := among(path, singers, o.singer); err != nil {
		from.Close()
		return nil, nil, err
	}
	return from, lost, nil
}

// among reports that a singer is not in the record; "" is every singer.
func among(path string, singers []store.SingerCount, singer string) error {
	if singer == "" {
		return nil
	}
	var names []string
	for _, s := range singers {
		if s.Name == singer {
			return nil
		}
		names = append(names, s.Name)
	}
	return fmt.Errorf("%s: it has nothing of a singer %q; it has %s", path, short(singer), short(strings.Join(names, ", ")))
}

func newRecordImport(e *env) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Add the answers of an export to the record",
		Long: `Import reads what singback record export wrote, CSV or JSON lines; - is standard
input. It adds the answers that are not there yet, so importing a file twice adds
nothing, and changes none that are. If a line is wrong, it is named and nothing
is added.`,
		Example: `  singback record import answers.csv
  singback record export --record old.db | singback record import - --record new.db`,
		Args: oneArg("a file of singback record export"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"csv", "jsonl"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			in, name, err := e.open(args[0])
			if err != nil {
				return err
			}
			defer in.Close()
			path, err := o.path(e)
			if err != nil {
				return err
			}
			done, err := store.ImportRecord(cmd.Context(), path, e.clock(), in)
			var bad store.ImportError
			if errors.As(err, &bad) {
				return newfile.PathError(name, err)
			}
			if err != nil {
				return err
			}
			return e.print(fmt.Sprintf("%s read, %d added, %d there already.\n", many(done.Read, "answer"), done.Added, done.Read-done.Added))
		},
	}
	o.addFile(cmd)
	return cmd
}
