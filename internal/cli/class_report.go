package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/class"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/newfile"
	"singback/internal/sheet"
)

// reporting is what the flags of class report say.
type reporting struct {
	c     *classFlags
	all   bool
	out   string
	paper string
	link  string
	staff bool
	force bool
}

func newClassReport(e *env, c *classFlags) *cobra.Command {
	o := reporting{c: c}
	cmd := &cobra.Command{
		Use:   "report [STUDENT ...]",
		Short: "The sheet of a student: what went well, what to practise, the picture",
		Long: `Report makes the sheet of a student: the tasks with their marks, yours beside the
machine's, what went well as far as it was measured, two things to practise with the
command and the address of the page that start them, the picture of the newest take,
what its mark rests on and where in the recording, practice, and your words. Nothing
of any other student is on it, nor are your notes.

Without --out it is shown as text. With --out it is a page to print, a file for each
student in the FOLDER, or with one student in the FILE, if its name ends in .html; it
needs nothing from outside. It fits A4 and letter, on one page unless the take is
long. The class remembers where sheets were written: class forget names them.`,
		Example: `  singback class report Ana
  singback class report --all --out sheets
  singback class report Ana --out ana.html --paper letter --staff`,
		RunE: func(_ *cobra.Command, args []string) error { return o.run(e, args) },
	}
	fl := cmd.Flags()
	fl.BoolVar(&o.all, "all", false, "of all students")
	addPaper(cmd, &o.paper)
	fl.StringVar(&o.link, "link", "", "the page lies at this `ADDRESS`, and what to practise is linked to it")
	fl.BoolVar(&o.staff, "staff", false, "with the line as staff notation, and marks of what was sung, on a page of its own")
	addOut(cmd, &o.out, &o.force, "FOLDER", ", or FILE.html with one student")
	return cmd
}

// addPaper adds --paper.
func addPaper(cmd *cobra.Command, paper *string) {
	cmd.Flags().StringVar(paper, "paper", "", "the `SIZE` of the paper, a4 or letter (else the printer's)")
	completed(cmd, "paper", fixed("a4", "letter"))
}

func readPaper(s string) (sheet.Paper, error) {
	if s == "" {
		return sheet.AnyPaper, nil
	}
	p, ok := sheet.PaperNamed(s)
	if !ok {
		return p, usagef("--paper: %q: want a4 or letter", short(s))
	}
	return p, nil
}

func (o *reporting) run(e *env, names []string) error {
	paper, err := readPaper(o.paper)
	switch {
	case err != nil:
		return err
	case o.all && len(names) > 0:
		return usagef("--all: it is all students; leave out the names, or --all")
	case !o.all && len(names) == 0:
		return usagef("whose sheet: name a STUDENT, or --all")
	case o.link != "" && !strings.HasPrefix(o.link, "https://") && !strings.HasPrefix(o.link, "http://"):
		return usagef("--link: %q: want an address that begins with https:// or http://", short(o.link))
	case o.out == "" && (o.paper != "" || o.staff || o.force || o.link != ""):
		return usagef("--paper, --staff, --link and --force are about pages: name a FOLDER with --out")
	}
	return o.c.with(o.out != "", func(f *classfile.File) error {
		students, err := o.students(f, names)
		if err != nil {
			return err
		}
		r := &desk.Reporter{File: f, Made: class.DateOf(e.clock()), Paper: paper, Page: o.link, Staff: o.staff, ASCII: o.out == "" && e.ascii()}
		if o.out == "" {
			for i, s := range students {
				if i > 0 {
					if err := e.print("\n"); err != nil {
						return err
					}
				}
				page, err := r.Student(s.ID)
				if err == nil {
					err = e.print(page.Text())
				}
				if err != nil {
					return err
				}
			}
			return nil
		}
		return o.write(e, f, r, students)
	})
}

// students are those that are named, in the order of the class.
func (o *reporting) students(f *classfile.File, names []string) ([]class.Student, error) {
	if o.all {
		students, err := f.Students()
		if err == nil && len(students) == 0 {
			err = errors.New("the class has no students yet: singback class add student NAME")
		}
		return students, err
	}
	var out []class.Student
	for _, name := range names {
		s, err := f.Student(name)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// write writes the pages of students.
func (o *reporting) write(e *env, f *classfile.File, r *desk.Reporter, students []class.Student) error {
	single := strings.EqualFold(filepath.Ext(o.out), ".html") || o.out == "-"
	if single && len(students) > 1 {
		return usagef("--out %s is one file, and %s were asked for: name a folder", o.out, many(len(students), "student"))
	}
	if !single {
		if err := os.MkdirAll(o.out, 0o700); err != nil {
			return newfile.PathError(o.out, err)
		}
	}
	taken := map[string]bool{}
	for _, s := range students {
		page, err := r.Student(s.ID)
		if err != nil {
			return err
		}
		path := o.out
		if !single {
			name := fileName(s.Name)
			for n := 2; taken[strings.ToLower(name)]; n++ {
				name = fmt.Sprintf("%s-%d", fileName(s.Name), n)
			}
			taken[strings.ToLower(name)] = true
			path = filepath.Join(o.out, name+".html")
		}
		if err := e.writePage(path, o.force, page.HTML); err != nil {
			return err
		}
		if path == "-" {
			continue
		}
		full, err := filepath.Abs(path)
		if err == nil {
			err = f.AddSheet(s.ID, full)
		}
		if err == nil {
			err = e.print(path + "\n")
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// writePage writes a page about somebody, which only its owner can read.
func (e *env) writePage(path string, force bool, write func(io.Writer) error) error {
	err := e.writeFile(path, force, 0o600, write)
	if errors.Is(err, newfile.ErrThere) {
		return fmt.Errorf("%s: it is there already: --force replaces it, or name another place", path)
	}
	return err
}
