package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"singback/internal/report"
	"singback/internal/store"
)

// fileError is the error of a file with its path and the reason, and nothing
// between.
func fileError(path string, err error) error {
	var inPath *fs.PathError
	var inLink *os.LinkError
	switch {
	case errors.As(err, &inPath):
		err = inPath.Err
	case errors.As(err, &inLink):
		err = inLink.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

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

// recordCheck is what record check prints with --format json.
type recordCheck struct {
	Schema   int            `json:"schema"`
	File     string         `json:"file"`
	Version  int            `json:"version"`
	Size     int64          `json:"size_bytes"`
	Sessions int            `json:"sessions"`
	Answers  int            `json:"answers"`  // that can be read
	Lost     int            `json:"lost"`     // that were there and cannot
	Problems []string       `json:"problems"` // empty: the record is sound
	Singers  []recordSinger `json:"singers"`
}

type recordSinger struct {
	Name     string  `json:"name"`
	Sessions int     `json:"sessions"`
	Answers  int     `json:"answers"`
	First    *string `json:"first"` // time of the first answer; null without one
	Last     *string `json:"last"`
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
			path, c, err := o.examine(cmd, e)
			if err != nil {
				return err
			}
			if format.value == "json" {
				err = writeCheckJSON(e.stdout, path, c)
			} else {
				err = writeCheck(e.stdout, path, c)
			}
			if err == nil && len(c.Problems) > 0 {
				err = fmt.Errorf("%s: %w: %s", path, store.ErrRecordDamaged, c.Problems[0])
			}
			return err
		},
	}
	o.addFile(cmd)
	cmd.Flags().Var(format, "format", "output: text or json")
	must(cmd.RegisterFlagCompletionFunc("format", format.complete))
	return cmd
}

// examine looks at the record; at a damaged one page by page.
func (o *recordOptions) examine(cmd *cobra.Command, e *env) (path string, c store.Check, err error) {
	r, err := o.read(e)
	if err == nil {
		defer r.Close()
		if c, err = r.Check(cmd.Context()); err == nil && len(c.Problems) == 0 {
			return r.Path(), c, nil
		}
	}
	if err != nil && !errors.Is(err, store.ErrRecordDamaged) && !errors.Is(err, store.ErrRecordForeign) {
		return "", c, err
	}
	s, failed := o.salvage(cmd, e)
	if failed != nil {
		if err == nil {
			err = failed
		}
		return "", c, err
	}
	defer s.Close()
	found := s.Check()
	switch {
	case err == nil:
		found.Problems = c.Problems
	case len(found.Problems) == 0:
		found.Problems = []string{strings.TrimPrefix(err.Error(), s.Path()+": ")}
	}
	return s.Path(), found, nil
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

func writeCheck(out io.Writer, path string, c store.Check) error {
	verdict, answers := "sound", many(c.Answers, "answer")
	if len(c.Problems) > 0 {
		verdict = "damaged"
		answers += " can be read"
		if c.Lost > 0 {
			answers += fmt.Sprintf(", %d or more are lost", c.Lost)
		}
		answers += ";"
	}
	if _, err := fmt.Fprintf(out, "%s: %s; version %d, %s in %s, %d kB\n", path, verdict, c.Version,
		answers, many(c.Sessions, "session"), (c.SizeBytes+1023)/1024); err != nil {
		return err
	}
	for _, p := range c.Problems {
		fmt.Fprintln(out, "  "+p)
	}
	if len(c.Singers) == 0 {
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\nsinger\tsessions\tanswers\tfirst\tlast")
	for _, s := range c.Singers {
		day := func(t time.Time) string {
			if t.IsZero() {
				return "-"
			}
			return t.Format(time.DateOnly)
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\n", s.Name, s.Sessions, s.Answers, day(s.First), day(s.Last))
	}
	return w.Flush()
}

// many says how many of a thing there are.
func many(n int, thing string) string { return report.Many(n, thing) }

func writeCheckJSON(out io.Writer, path string, c store.Check) error {
	record := recordCheck{report.Schema, path, c.Version, c.SizeBytes, c.Sessions, c.Answers, c.Lost, append([]string{}, c.Problems...), []recordSinger{}}
	for _, s := range c.Singers {
		text := func(t time.Time) *string {
			if t.IsZero() {
				return nil
			}
			s := t.Format(time.RFC3339Nano)
			return &s
		}
		record.Singers = append(record.Singers, recordSinger{s.Name, s.Sessions, s.Answers, text(s.First), text(s.Last)})
	}
	return json.NewEncoder(out).Encode(record)
}

func newRecordExport(e *env) *cobra.Command {
	var o recordOptions
	var to string
	var damaged, guard, force bool
	format := newFormat("csv", "jsonl")
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the record as CSV or JSON lines",
		Long: `Export writes every answer, oldest first, singer by singer: as CSV with a header
line, or as JSON lines, one object an answer. Both have the same columns, which
singback help fields explains, with every number as it was measured. What is null
in JSON is empty in CSV. singback record import reads both. A file or a pipe gets
the names in it to the byte; a terminal is shown controls in them, like \u001b.

A spreadsheet takes a text that begins with =, +, - or @ for a formula, and such a
name may come from a record of somebody else. With --guard-formulas the CSV has an
apostrophe before it, and says so in a last column, so that singback record import
takes it away again. Numbers stay as they are.

With --damaged it writes what can still be read of a record that is damaged, says
how many answers are lost, and ends with the exit status 1 if the file is not
sound. The file is not changed. Then move it away and import the export into a
new one.`,
		Example: `  singback record export >answers.csv
  singback record export --singer Anna --format jsonl --out anna.jsonl
  singback record export --damaged --out saved.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) (err error) {
			f := store.CSV
			switch {
			case format.value == "jsonl" && guard:
				return usagef("--guard-formulas: it is for --format csv; no spreadsheet opens JSON lines as a table")
			case format.value == "jsonl":
				f = store.JSONLines
			case guard:
				f = store.GuardedCSV
			}
			var export func(io.Writer) (int, error)
			var lost error
			if damaged {
				s, err := o.salvage(cmd, e)
				if err != nil {
					return err
				}
				defer s.Close()
				if err := among(s.Path(), s.Check().Singers, o.singer); err != nil {
					return err
				}
				if len(s.Problems) > 0 || s.Lost > 0 {
					lost = notSound(s)
				}
				export = func(w io.Writer) (int, error) { return s.Export(cmd.Context(), w, f, o.singer) }
			} else {
				r, err := o.read(e)
				if err != nil {
					return err
				}
				defer r.Close()
				if err := has(cmd, r, o.singer); err != nil {
					return err
				}
				export = func(w io.Writer) (int, error) {
					return r.Export(cmd.Context(), w, f, o.singer)
				}
			}
			if to == "" || to == "-" {
				if _, err := export(e.data()); err != nil {
					return err
				}
				return lost
			}
			var n int
			if err := e.writeFile(to, force, forOwner, func(w io.Writer) (err error) {
				n, err = export(w)
				return err
			}); err != nil {
				return fmt.Errorf("--out: %w", err)
			}
			fmt.Fprintf(e.stderr, "%s written to %s.\n", many(n, "answer"), to)
			return lost
		},
	}
	o.addFile(cmd)
	o.addSinger(cmd, "only this singer, by `NAME`")
	cmd.Flags().BoolVar(&damaged, "damaged", false, "write what can still be read of a damaged record")
	cmd.Flags().BoolVar(&guard, "guard-formulas", false, "for a spreadsheet: no text is taken for a formula")
	addForce(cmd, &force)
	cmd.Flags().StringVar(&to, "out", "", "write to this `FILE`")
	cmd.Flags().Var(format, "format", "output: csv or jsonl")
	must(cmd.RegisterFlagCompletionFunc("format", format.complete))
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

// has reports that a singer is not in the record; "" is every singer.
func has(cmd *cobra.Command, r *store.Record, singer string) error {
	singers, err := r.Singers(cmd.Context())
	if err != nil {
		return err
	}
	return among(r.Path(), singers, singer)
}

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
			in, name := e.stdin, "standard input"
			if args[0] != "-" {
				f, err := os.Open(args[0])
				if err != nil {
					return fileError(args[0], err)
				}
				defer f.Close()
				in, name = f, args[0]
			}
			path, err := o.path(e)
			if err != nil {
				return err
			}
			done, err := store.ImportRecord(cmd.Context(), path, e.clock(), in)
			var bad store.ImportError
			if errors.As(err, &bad) {
				return fileError(name, err)
			}
			if err != nil {
				return err
			}
			fmt.Fprintf(e.stdout, "%s read, %d added, %d there already.\n", many(done.Read, "answer"), done.Added, done.Read-done.Added)
			return nil
		},
	}
	o.addFile(cmd)
	return cmd
}
