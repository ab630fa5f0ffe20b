package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/classfile"
	"singback/internal/codec"
	"singback/internal/handin"
)

func newClassForget(e *env, c *classFlags) *cobra.Command {
	var yes, recordings, sheets bool
	cmd := &cobra.Command{
		Use:   "forget NAME",
		Short: "Remove a student and all that the class has of them",
		Long: `Forget removes a student from the class: takes and what was measured of them, copies of
recordings, marks, reviews, remarks, practice; and writes the file anew, so that
nothing of it can be read there any more. Recordings lie where they lay: --recordings
deletes those that are there, --sheets the sheets that were written. It says what it
removed, and what it cannot: copies of the file, printed sheets, what was sent by
mail, a zip with other students' takes in it.`,
		Example: `  singback class forget Ana
  singback class forget Ana --recordings --sheets --yes`,
		Args: oneArg("the NAME of a student"),
		RunE: func(_ *cobra.Command, args []string) error {
			return c.with(true, func(f *classfile.File) error {
				s, err := f.Student(args[0])
				if err != nil {
					return err
				}
				if !yes {
					answer, err := e.answer(fmt.Sprintf("Remove %s from %s, for good? Type the whole name: ", s.Name, f.Name()))
					if err != nil {
						return err
					}
					if answer != s.Name {
						return errors.New("nothing was removed: the name was not typed; --yes does not ask")
					}
				}
				out, err := f.Forget(s.ID)
				if err != nil {
					return err
				}
				return e.print(forgotten(f, out, recordings, sheets))
			})
		},
	}
	fl := cmd.Flags()
	fl.BoolVar(&yes, "yes", false, "do not ask")
	fl.BoolVar(&recordings, "recordings", false, "delete the recordings too, where they are")
	fl.BoolVar(&sheets, "sheets", false, "delete the sheets that were written too")
	return cmd
}

// forgotten deletes the files that it may, and says what was removed and what was not.
func forgotten(f *classfile.File, out classfile.Forgotten, recordings, sheets bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s is removed from %s: %s, %s, %s, %s, %s of practice, %s of recordings.\n", out.Name, f.Path(), many(out.Takes, "take"), many(out.Marks, "mark"),
		many(out.Reviews, "review"), many(out.Remarks, "remark"), many(out.Answers, "answer"), manyCopies(out.Copies))
	taken := leftovers{del: recordings}
	for _, r := range out.Recordings {
		taken.look(f.Where(r.Path), func(path string) bool { return holds(path, r.SHA256) })
	}
	taken.say(&b, "recordings")
	written := leftovers{del: sheets}
	for _, path := range out.Sheets {
		written.look(path, func(path string) bool { return names(path, out.Name) })
	}
	written.say(&b, "sheets")
	if len(taken.fetched) > 0 {
		fmt.Fprintf(&b, "Fetched from a server, and fetched again while it lies there: %s. Delete it there too.\n", strings.Join(taken.fetched, ", "))
	}
	if len(out.Named) > 0 {
		fmt.Fprintf(&b, "The name still stands in %s.\n", strings.Join(out.Named, ", "))
	}
	b.WriteString("What it cannot remove: copies and backups of the file, tables and sheets that were printed or sent, what the student or others kept.\n")
	return b.String()
}

// leftovers are files that tell of somebody who is forgotten, and what became of them.
type leftovers struct {
	del                  bool // they are to be deleted
	gone, there, fetched []string
}

// look deletes a file, if it is to be and is still the one that is meant.
func (l *leftovers) look(path string, meant func(string) bool) {
	if _, err := os.Stat(path); err != nil {
		if codec.InZip(path) {
			l.there = append(l.there, path+" (in a zip)")
		}
		return
	}
	switch {
	case !meant(path):
		l.there = append(l.there, path+" (another file by now)")
	case !l.del:
		l.there = append(l.there, path)
	default:
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			l.there = append(l.there, path+" (it cannot be deleted)")
			return
		}
		l.gone = append(l.gone, path)
		if was, err := handin.ForgetFile(path); was || err != nil {
			l.fetched = append(l.fetched, path)
		}
	}
}

func (l *leftovers) say(b *strings.Builder, what string) {
	if len(l.gone) > 0 {
		fmt.Fprintf(b, "Deleted: %s.\n", strings.Join(l.gone, ", "))
	}
	if len(l.there) > 0 {
		fmt.Fprintf(b, "Still there, %s: %s.\n", what, strings.Join(l.there, ", "))
	}
}

// holds tells whether a file has that checksum.
func holds(path, sum string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return err == nil && hex.EncodeToString(h.Sum(nil)) == sum
}

// names tells whether a file is a sheet or a table with a name on it.
func names(path, name string) bool {
	const most = 64 << 20
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, most))
	return err == nil && (strings.Contains(string(b), name) || strings.Contains(string(b), html.EscapeString(name)))
}

func manyCopies(n int) string {
	if n == 1 {
		return "1 copy"
	}
	return fmt.Sprintf("%d copies", n)
}
