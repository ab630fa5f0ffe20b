package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"singback/internal/newfile"
)

// Written says what a folder has come to hold.
type Written struct {
	Files int
	Bytes int      // over the wire at the first visit
	Left  []string // of an older page, no part of this one, and left alone
}

// listed is files.json: what the service worker loads, and how the page knows its own
// files again.
type listed struct {
	Version string       `json:"version"`
	Files   []listedFile `json:"files"`
}

type listedFile struct {
	Path  string `json:"path"`
	Sum   string `json:"sha256"`
	Bytes int    `json:"bytes"`
	Later bool   `json:"later,omitempty"` // no part of the first visit
}

// published returns the page for a web server, with files.json.
func (s *Site) published() *Site {
	out := s.in(atBrowser)
	list := listed{Version: s.version}
	for _, name := range out.names() {
		f := out.files[name]
		list.Files = append(list.Files, listedFile{name, f.sum, len(f.data), later(name)})
	}
	out.add(listFile, line(list))
	return out
}

// WriteFolder writes the page into a folder for a web server, all of it or nothing.
// What is there already is replaced only with force, and only what an older page has
// written there; anything else is left alone, and is an error where it is in the way.
func (s *Site) WriteFolder(folder string, force bool) (done Written, err error) {
	out := s.published()
	names := lastThings(out.names())
	own := ownFiles(folder)
	if err := inTheWay(folder, names, own, force); err != nil {
		return done, err
	}
	var made undo
	defer func() {
		if err != nil {
			made.all()
		}
	}()
	files := make([]*newfile.File, len(names))
	for i, name := range names {
		to := filepath.Join(folder, filepath.FromSlash(name))
		if err := made.folders(filepath.Dir(to)); err != nil {
			return done, err
		}
		if files[i], err = newfile.Create(to, force, newfile.ForAll); err != nil {
			return done, err
		}
		defer files[i].Drop()
		if _, err := files[i].Write(out.files[name].data); err != nil {
			return done, err
		}
	}
	// Now there is room for all of it.
	for i, name := range names {
		if err := files[i].Keep(); err != nil {
			return done, err
		}
		if !own[name] {
			made.paths = append(made.paths, filepath.Join(folder, filepath.FromSlash(name)))
		}
		delete(own, name)
	}
	done.Files, done.Bytes = len(names), out.Size()
	for name := range own {
		if _, err := os.Lstat(filepath.Join(folder, filepath.FromSlash(name))); err == nil {
			done.Left = append(done.Left, name)
		}
	}
	slices.Sort(done.Left)
	return done, nil
}

// lastThings puts last what a browser looks at first, so that it finds the rest.
func lastThings(names []string) []string {
	last := []string{homeFile, "index.html", listFile, worker}
	slices.SortStableFunc(names, func(a, b string) int { return slices.Index(last, a) - slices.Index(last, b) })
	return names
}

// undo is what was made, in that order.
type undo struct{ paths []string }

// all takes away what was made; a folder only where nothing is in it.
func (u *undo) all() {
	for _, path := range slices.Backward(u.paths) {
		os.Remove(path)
	}
}

// folders makes a folder and those that it lies in.
func (u *undo) folders(dir string) error {
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return nil
	}
	if up := filepath.Dir(dir); up != dir {
		if err := u.folders(up); err != nil {
			return err
		}
	}
	if err := os.Mkdir(dir, 0o777); err != nil {
		return newfile.PathError(dir, err)
	}
	u.paths = append(u.paths, dir)
	return nil
}

// ownFiles are the files of an older page in a folder, by its list; none where there
// is no list of a page.
func ownFiles(folder string) map[string]bool {
	own := map[string]bool{}
	path := filepath.Join(folder, listFile)
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return own
	}
	f, err := os.Open(path)
	if err != nil {
		return own
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, 1<<20))
	var list listed
	if err != nil || json.Unmarshal(data, &list) != nil || list.Version == "" ||
		!slices.ContainsFunc(list.Files, func(f listedFile) bool { return f.Path == engine }) {
		return own
	}
	own[listFile] = true
	for _, f := range list.Files {
		if plainName(f.Path) {
			own[f.Path] = true
		}
	}
	return own
}

// inTheWay reports what keeps the page from being written into a folder.
func inTheWay(folder string, names []string, own map[string]bool, force bool) error {
	info, err := os.Stat(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return newfile.PathError(folder, err)
	case !info.IsDir():
		return fmt.Errorf("%s: it is a file, want a folder", folder)
	}
	var foreign []string
	there := ""
	for _, name := range names {
		bad := ""
		for up := path.Dir(name); up != "."; up = path.Dir(up) {
			if info, err := os.Stat(filepath.Join(folder, filepath.FromSlash(up))); err == nil && !info.IsDir() {
				bad = up
			}
		}
		to := filepath.Join(folder, filepath.FromSlash(name))
		if _, err := os.Lstat(to); err == nil && bad == "" {
			info, err := os.Stat(to)
			if !own[name] || err == nil && !info.Mode().IsRegular() {
				bad = name
			} else if there == "" {
				there = to
			}
		}
		if bad != "" && !slices.Contains(foreign, bad) {
			foreign = append(foreign, bad)
		}
	}
	switch {
	case len(foreign) > 0:
		return fmt.Errorf("%s: %s in the way, and no part of a page written there before: move that away, or name another folder", folder, some(foreign))
	case there != "" && !force:
		return fmt.Errorf("%s: %w", there, newfile.ErrThere)
	}
	return nil
}

// some names the first few of a list, as the subject of a sentence.
func some(names []string) string {
	const most = 5
	slices.Sort(names)
	switch n := len(names); {
	case n == 1:
		return names[0] + " is"
	case n > most:
		return fmt.Sprintf("%s and %d more are", strings.Join(names[:most], ", "), n-most)
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1] + " are"
	}
}
