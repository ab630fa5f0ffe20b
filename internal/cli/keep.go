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

	"github.com/spf13/cobra"

	"singback/exercise/practice"
	"singback/internal/drill"
	"singback/internal/kept"
	"singback/internal/store"
	"singback/pitch"
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
	completed(cmd, "singer", fixed())
}

// who settles who sings: the one whom --singer names, or else whose profile is in
// use, or else the singer without a name; and reads the profile, see singer.know.
func (o *recordOptions) who(cmd *cobra.Command, e *env, s *singer) error {
	o.implied = !cmd.Flags().Changed("singer")
	if !o.implied {
		if err := kept.CheckSinger(o.singer); err != nil {
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
	if err := kept.CheckSinger(o.singer); err != nil {
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

// keeper opens the record for a drill: that of the user for what the microphone
// hears, and with --record that file for whatever answers. Only today begins a
// record of the user's.
func (o *recordOptions) keeper(e *env, d *performance, s *stage) *drill.Keeper {
	k := &drill.Keeper{Named: o.singer != store.DefaultName}
	path, err := o.path(e)
	there := false
	if err == nil {
		_, e := os.Stat(path)
		there = !errors.Is(e, fs.ErrNotExist)
	}
	source := s.answers.Kind()
	if !k.May(drill.Keeping{None: o.none, Asked: o.file != "", There: there, Command: d.plan.Command, Source: source, Silent: s.silent, Given: d.plan.Given()}) {
		return k
	}
	var record *store.Record
	if err == nil {
		record, err = store.OpenRecord(path, d.start)
	}
	if err != nil {
		k.Trouble = notRecorded(err)
		return k
	}
	if singers, err := record.Singers(context.Background()); err == nil && !slices.ContainsFunc(singers, func(s store.SingerCount) bool {
		return s.Name == o.singer
	}) {
		k.Note = o.unnamed(singers)
	}
	k.Record = record
	k.Session = store.NewSession(o.singer, d.plan.Command, string(source), d.plan.Seed, pitch.Version, d.start)
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
