package desk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"singback/internal/class"
	"singback/internal/codec"
	"singback/internal/newfile"
	"singback/internal/plain"
)

// Content is what a file that was handed in holds.
type Content int8

const (
	Recording Content = iota
	Curve             // a pitch curve
	Practice          // a record of practice
)

// Found is a file that was handed in.
type Found struct {
	Path string
	Content
}

// Passed is a file that was passed over.
type Passed struct{ Path, Why string }

// deepest is how many folders within each other are looked into.
const deepest = 8

// Find lists what was handed in at some paths: files, folders with all folders in them,
// zips. Files of a folder come in the order of their names, those of a zip in its order.
// What a file is, is seen from how it begins. What is nothing that can be handed in is
// listed with the reason, hidden files are not. A path that is not there is an error.
func Find(paths []string) (found []Found, passed []Passed, err error) {
	f := finder{}
	for _, p := range paths {
		if err := f.path(p, 0, true); err != nil {
			return nil, nil, err
		}
	}
	return f.found, f.passed, nil
}

type finder struct {
	found  []Found
	passed []Passed
}

func (f *finder) pass(path, why string) { f.passed = append(f.passed, Passed{path, why}) }

// path looks at a file or folder; named tells that the teacher named it.
func (f *finder) path(path string, deep int, named bool) error {
	info, err := os.Stat(path)
	switch {
	case err != nil && named:
		return newfile.PathError(path, err)
	case err != nil:
		f.pass(path, plain.Short(newfile.PathError("it", err).Error()))
	case info.IsDir() && deep > deepest:
		f.pass(path, fmt.Sprintf("more than %d folders deep", deepest))
	case info.IsDir():
		entries, err := os.ReadDir(path) // by name
		if err != nil {
			return newfile.PathError(path, err)
		}
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), ".") || e.Name() == "__MACOSX" {
				continue
			}
			if err := f.path(filepath.Join(path, e.Name()), deep+1, false); err != nil {
				return err
			}
		}
	case !info.Mode().IsRegular():
		f.pass(path, "no plain file")
	case codec.IsZip(path):
		return f.zip(path)
	default:
		f.file(path)
	}
	return nil
}

func (f *finder) zip(path string) error {
	names, refused, err := codec.Names(path)
	if err != nil {
		f.pass(path, lastPart(err, path))
		return nil
	}
	for _, r := range refused {
		f.pass(path+"/"+r.Name, r.Why)
	}
	for _, n := range names {
		base := filepath.Base(n)
		if strings.HasPrefix(base, ".") || strings.Contains(n, "/__MACOSX/") {
			continue
		}
		f.file(n)
	}
	return nil
}

// lastPart is an error without the path that it begins with.
func lastPart(err error, path string) string {
	return strings.TrimPrefix(strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; "), path+": ")
}

// file looks at how a file begins.
func (f *finder) file(path string) {
	content, err := contentOf(path)
	if err != nil {
		f.pass(path, lastPart(err, path))
		return
	}
	f.found = append(f.found, Found{path, content})
}

// errNothing says that a file is nothing that can be handed in.
var errNothing = errors.New("neither a recording, nor a pitch curve, nor a record of practice")

// contentOf tells what a file holds.
func contentOf(path string) (Content, error) {
	raw, err := codec.OpenRaw(path)
	if err != nil {
		return 0, err
	}
	defer raw.Close()
	in := bufio.NewReaderSize(raw, 4096)
	head, err := in.Peek(codec.Sniffed)
	if err != nil && !errors.Is(err, io.EOF) {
		return 0, fmt.Errorf("%s: it cannot be read", path)
	}
	if kind, _ := codec.Sniff(head); kind != codec.Unknown {
		return Recording, nil
	}
	if len(head) == 0 {
		return 0, errors.New("it is empty")
	}
	if codec.Named(path) {
		return Recording, nil // it is told what is wrong with it
	}
	start, _ := in.Peek(2048)
	line, _, _ := strings.Cut(strings.TrimPrefix(string(start), "\ufeff"), "\n")
	line = strings.TrimSpace(line)
	switch {
	case strings.HasPrefix(line, `{"singer":`), strings.HasPrefix(line, "singer,session,"):
		return Practice, nil
	case strings.EqualFold(filepath.Ext(path), ".csv"):
		return Curve, nil
	}
	return 0, errNothing
}

// Who knows whose a file is and for which task.
type Who struct {
	students, tasks *class.Matcher
	Students        []class.Student
	Tasks           []class.Task   // those that ask for a melody
	Student         *class.Student // whoever it is said to be; nil: as the name says
	Task            *class.Task
	Assigned        map[string][2]string // for a path the names of student and task
}

// NewWho knows the students and tasks of a class.
func NewWho(students []class.Student, tasks []class.Task) *Who {
	w := &Who{Students: students}
	var names []string
	for _, s := range students {
		names = append(names, s.Name)
	}
	w.students = class.NewMatcher(names)
	names = nil
	for _, t := range tasks {
		if t.Kind == class.Melody {
			w.Tasks = append(w.Tasks, t)
			names = append(names, t.Name)
		}
	}
	w.tasks = class.NewMatcher(names)
	return w
}

// Handed is a file with whoever handed it in.
type Handed struct {
	Found
	Student class.Student
	Task    class.Task // means nothing of a record of practice
}

// Unplaced is a file of which it is not known whose it is, or for which task.
type Unplaced struct {
	Found
	Student *class.Student // nil: not known
	Task    *class.Task    // nil: not known
	Why     string
}

// Sort tells whose files are.
func (w *Who) Sort(found []Found) (handed []Handed, unplaced []Unplaced) {
	for _, f := range found {
		h := Handed{Found: f}
		u := Unplaced{Found: f}
		var why []string
		if s, err := w.student(f.Path); err != nil {
			why = append(why, "whose it is: "+err.Error())
		} else {
			h.Student, u.Student = *s, s
		}
		if f.Content != Practice {
			if t, err := w.task(f.Path); err != nil {
				why = append(why, "for which task: "+err.Error())
			} else {
				h.Task, u.Task = *t, t
			}
		}
		if u.Why = strings.Join(why, "; "); u.Why != "" {
			unplaced = append(unplaced, u)
		} else {
			handed = append(handed, h)
		}
	}
	return handed, unplaced
}

func (w *Who) student(path string) (*class.Student, error) {
	if a, ok := w.Assigned[path]; ok && a[0] != "" {
		for i, s := range w.Students {
			if strings.EqualFold(s.Name, a[0]) {
				return &w.Students[i], nil
			}
		}
		return nil, fmt.Errorf("%q is not in the class", a[0])
	}
	if w.Student != nil {
		return w.Student, nil
	}
	i, err := w.students.Match(path)
	if err != nil {
		return nil, err
	}
	return &w.Students[i], nil
}

func (w *Who) task(path string) (*class.Task, error) {
	if a, ok := w.Assigned[path]; ok && a[1] != "" {
		for i, t := range w.Tasks {
			if strings.EqualFold(t.Name, a[1]) {
				return &w.Tasks[i], nil
			}
		}
		return nil, fmt.Errorf("the class has no melody called %q", a[1])
	}
	switch {
	case w.Task != nil:
		return w.Task, nil
	case len(w.Tasks) == 0:
		return nil, errors.New("the class has no task with a melody yet")
	}
	i, err := w.tasks.Match(path)
	if err == nil {
		return &w.Tasks[i], nil
	}
	if len(w.Tasks) == 1 {
		return &w.Tasks[0], nil
	}
	return nil, err
}
