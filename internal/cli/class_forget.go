package cli

import (
	"errors"
	"fmt"
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
				return e.print(forgotten(f.Path(), out, recordings, sheets))
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
func forgotten(path string, out classfile.Forgotten, recordings, sheets bool) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s is removed from %s: %s, %s, %s, %s, %s of practice, %s of recordings.\n", out.Name, path, many(out.Takes, "take"), many(out.Marks, "mark"),
		many(out.Reviews, "review"), many(out.Remarks, "remark"), many(out.Answers, "answer"), manyCopies(out.Copies))
	var fetched []string
	files := func(what string, paths []string, del bool) {
		var there, gone []string
		for _, p := range paths {
			if _, err := os.Stat(p); err != nil {
				if codec.InZip(p) {
					there = append(there, p+" (in a zip)")
				}
				continue
			}
			if !del {
				there = append(there, p)
			} else if err := os.Remove(p); err != nil && !errors.Is(err, fs.ErrNotExist) {
				there = append(there, p+" (it cannot be deleted)")
			} else {
				gone = append(gone, p)
				if was, err := handin.ForgetFile(p); was || err != nil {
					fetched = append(fetched, p)
				}
			}
		}
		if len(gone) > 0 {
			fmt.Fprintf(&b, "Deleted: %s.\n", strings.Join(gone, ", "))
		}
		if len(there) > 0 {
			fmt.Fprintf(&b, "Still there, %s: %s.\n", what, strings.Join(there, ", "))
		}
	}
	files("recordings", out.Recordings, recordings)
	files("sheets", out.Sheets, sheets)
	if len(fetched) > 0 {
		fmt.Fprintf(&b, "Fetched from a server, and fetched again while it lies there: %s. Delete it there too.\n", strings.Join(fetched, ", "))
	}
	if len(out.Named) > 0 {
		fmt.Fprintf(&b, "The name still stands in %s.\n", strings.Join(out.Named, ", "))
	}
	b.WriteString("What it cannot remove: copies and backups of the file, tables and sheets that were printed or sent, what the student or others kept.\n")
	return b.String()
}

func manyCopies(n int) string {
	if n == 1 {
		return "1 copy"
	}
	return fmt.Sprintf("%d copies", n)
}
