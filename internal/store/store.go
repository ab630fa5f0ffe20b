// Package store keeps on disk what is known of singers, one readable file for
// each and which of them is singing, and the record of their practice, one
// database for all.
//
// [Singers.Load] and [Singers.Save], [OpenRecord] and [Record.Add] are the calls
// that most users need. A profile is replaced in one step, so that whatever ends
// the program leaves the old or the new one whole, and the old ones are kept; an
// answer is on disk when Add returns. What cannot be read is never overwritten.
// The package reads no clock and does not choose its folder.
//
// One program writes the record and others read: the writer holds an exclusive
// transaction on a SQLite file of its own beside the record. The system ends it with
// the process, on every platform, and readers need not know of it.
package store

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"singback/calib"
	"singback/internal/kept"
)

// Kept is how many older versions of a singer's profile are kept.
const Kept = 5

// What singers are called who have given no name, or want no profile.
const (
	DefaultName = kept.DefaultName
	Nobody      = kept.Nobody
)

// The errors about a file that cannot be used.
var (
	ErrDamaged = kept.ErrDamaged
	ErrNewer   = kept.ErrNewer
)

// ErrUnknown is wrapped by the error about a singer of whom there is no profile.
var ErrUnknown = errors.New("no such singer")

// ErrNoFolder is returned where there is no folder to keep profiles in.
var ErrNoFolder = errors.New("no folder for profiles is known: set XDG_DATA_HOME or HOME")

// Singers are the profiles in one folder:
//
//	singers/NAME.toml            the profile
//	singers/old/NAME.0001.toml   older ones, the highest number the newest
//	singers/NAME.toml.damaged    moved aside since it could not be read
//	singers/NAME.toml.newer      moved aside since a newer singback made it
//	singer                       who is singing
//
// Names are the same whatever the case of their letters.
type Singers struct {
	dir  string
	step func(string) // called before each step that changes the disk, for tests
}

// NewSingers returns the profiles in the data folder of the program. Nothing is
// read or made yet.
func NewSingers(dir string) *Singers { return &Singers{dir: dir, step: func(string) {}} }

const extension = ".toml"

func (s *Singers) folder() string { return filepath.Join(s.dir, "singers") }
func (s *Singers) old() string    { return filepath.Join(s.folder(), "old") }
func (s *Singers) choice() string { return filepath.Join(s.dir, "singer") }

// Path returns the file of a singer, whether it is there or not.
func (s *Singers) Path(name string) string { return filepath.Join(s.folder(), name+extension) }

// Names returns the singers with a profile, readable or not, in order.
func (s *Singers) Names() ([]string, error) {
	if s.dir == "" {
		return nil, ErrNoFolder
	}
	entries, err := list(s.folder())
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		name, ours := strings.CutSuffix(e.Name(), extension)
		if ours && !e.IsDir() && kept.CheckName(name) == nil {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(strings.Compare(strings.ToLower(a), strings.ToLower(b)), strings.Compare(a, b))
	})
	return names, nil
}

// list returns what lies in a folder: nothing where there is none.
func list(dir string) ([]fs.DirEntry, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return entries, err
}

// Find returns the singer's name as it is written in the folder; name where
// there is none yet.
func (s *Singers) Find(name string) (string, bool, error) {
	names, err := s.Names()
	if err != nil {
		return name, false, err
	}
	if slices.Contains(names, name) {
		return name, true, nil
	}
	if i := slices.IndexFunc(names, func(n string) bool { return strings.EqualFold(n, name) }); i >= 0 {
		return names[i], true, nil
	}
	return name, false, nil
}

// Current returns who is singing: the one chosen with Use, or else the only
// one there is. It is "" where nobody is known, and Nobody where the user wants
// no profile. Whoever was chosen stays so while the profile has been moved aside:
// that must not make somebody else sing.
func (s *Singers) Current() (string, error) {
	names, err := s.Names()
	if err != nil {
		return "", err
	}
	data, err := read(s.choice())
	switch {
	case err == nil:
		chosen := strings.TrimSpace(string(data))
		if chosen == Nobody {
			return Nobody, nil
		}
		if name, there, err := s.Find(chosen); there || err != nil {
			return name, err
		}
		if files, err := s.Files(chosen); err == nil && len(files) > 0 {
			return chosen, nil
		}
	case !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, ErrDamaged):
		return "", err
	}
	if len(names) == 1 {
		return names[0], nil
	}
	return "", nil
}

// Use makes a singer the one who is singing; Nobody is allowed.
func (s *Singers) Use(name string) error {
	if name != Nobody {
		found, there, err := s.Find(name)
		if err != nil {
			return err
		}
		if !there {
			return s.unknown(name)
		}
		name = found
	}
	if s.dir == "" {
		return ErrNoFolder
	}
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return err
	}
	return s.replace(s.choice(), []byte(name+"\n"), nil)
}

func (s *Singers) unknown(name string) error {
	names, err := s.Names()
	if err != nil || len(names) == 0 {
		return fmt.Errorf("%w: %.60q; there is none yet", ErrUnknown, name)
	}
	return fmt.Errorf("%w: %.60q; there is %s", ErrUnknown, name, strings.Join(names, ", "))
}

// Load reads a singer's profile. A file that cannot be read as one is moved
// aside; the error says what is wrong with it, where it is now, and which older
// one is whole.
func (s *Singers) Load(name string) (calib.Profile, error) {
	name, there, err := s.Find(name)
	if err != nil {
		return calib.Profile{}, err
	}
	if !there {
		if files, err := s.Files(name); err == nil && len(files) > 0 {
			return calib.Profile{}, fmt.Errorf("%w now: the profile of %s has been moved aside; singback calibrate makes a new one, singback profile import FILE brings one back", ErrUnknown, name)
		}
		return calib.Profile{}, s.unknown(name)
	}
	p, err := s.read(name)
	var suffix string
	switch {
	case err == nil:
		return p, nil
	case errors.Is(err, ErrNewer):
		suffix = ".newer"
	case errors.Is(err, ErrDamaged):
		suffix = ".damaged"
	default:
		return calib.Profile{}, err
	}
	aside, failed := s.setAside(s.Path(name), suffix)
	if failed != nil {
		return calib.Profile{}, fmt.Errorf("%w; it could not be moved aside: %w", err, failed)
	}
	err = fmt.Errorf("%w; moved aside to %s", err, aside)
	if last := s.newestWhole(name); last != "" {
		err = fmt.Errorf("%w; singback profile import %q brings the one before back", err, last)
	}
	return calib.Profile{}, err
}

// Peek reads a singer's profile and leaves the file where it is.
func (s *Singers) Peek(name string) (calib.Profile, error) {
	name, there, err := s.Find(name)
	if err != nil {
		return calib.Profile{}, err
	}
	if !there {
		return calib.Profile{}, s.unknown(name)
	}
	return s.read(name)
}

// read reads the file of a singer, which must hold the singer's name.
func (s *Singers) read(name string) (calib.Profile, error) {
	p, err := ReadFile(s.Path(name))
	if err == nil && !strings.EqualFold(p.Name, name) {
		err = fmt.Errorf("%s: %w: name: it is the profile of %q", s.Path(name), ErrDamaged, p.Name)
	}
	return p, err
}

// setAside renames a file beside where it was, to a name that is free.
func (s *Singers) setAside(path, suffix string) (string, error) {
	for n := 1; n < 10_000; n++ {
		aside := path + suffix
		if n > 1 {
			aside += strconv.Itoa(n)
		}
		// A link is refused where the name is taken, a rename is not.
		s.step("set aside: link")
		err := os.Link(path, aside)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil { // a file system without links
			if _, there := os.Lstat(aside); there == nil {
				continue
			}
			return aside, os.Rename(path, aside)
		}
		s.step("set aside: remove")
		return aside, os.Remove(path)
	}
	return "", fmt.Errorf("%s%s: there are too many of them", path, suffix)
}

// Save writes a profile and keeps the one before. Ended at any point it leaves
// the old or the new one whole. It reports whether there was anything to write:
// a profile that is the same is left alone.
func (s *Singers) Save(p calib.Profile) (changed bool, err error) {
	name, there, err := s.Find(p.Name)
	if err != nil {
		return false, err
	}
	p.Name = name
	data, err := kept.EncodeProfile(p)
	if err != nil {
		return false, err
	}
	path := s.Path(name)
	if there {
		before, err := read(path)
		if err == nil && bytes.Equal(before, data) {
			return false, nil
		}
		// Whatever this file is, it is not to be lost.
		if _, err := s.read(name); err != nil {
			if _, err := s.Load(name); !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNewer) {
				return false, err
			}
			there = false
		}
	}
	if err := os.MkdirAll(s.old(), 0o700); err != nil {
		return false, err
	}
	keep := func() error { return nil }
	if there {
		keep = func() error { return s.keep(name) }
	}
	if err := s.replace(path, data, keep); err != nil {
		return false, err
	}
	return true, s.prune(name)
}

// WriteFile writes a profile to any file, in one step. What was there before is
// kept beside it, with .old at the end of its name; what is no profile is left
// alone, and the error says so.
func WriteFile(path string, p calib.Profile) error {
	data, err := kept.EncodeProfile(p)
	if err != nil {
		return err
	}
	s := NewSingers("")
	before, err := read(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s.replace(path, data, nil)
	}
	if err != nil || bytes.Equal(before, data) {
		return err
	}
	if _, err := kept.DecodeProfile(before); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return s.replace(path, data, func() error { return s.replace(path+".old", before, nil) })
}

// temporary is what the files begin with that are not complete yet.
const temporary = ".writing-"

// replace writes data to a new file and renames it to path, after before has
// done its part.
func (s *Singers) replace(path string, data []byte, before func() error) (err error) {
	s.step("create")
	tmp, err := os.CreateTemp(filepath.Dir(path), temporary+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			tmp.Close()
			os.Remove(tmp.Name())
		}
	}()
	s.step("write")
	if _, err = tmp.Write(data); err != nil {
		return err
	}
	s.step("sync")
	if err = tmp.Sync(); err != nil {
		return err
	}
	if err = tmp.Close(); err != nil {
		return err
	}
	if before != nil {
		if err = before(); err != nil {
			return err
		}
	}
	s.step("rename")
	if err = os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	s.step("sync folder")
	return syncFolder(filepath.Dir(path))
}

// syncFolder makes the names in a folder last. Systems that cannot do this for
// folders do it on their own.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	_ = d.Sync()
	return nil
}

// version is an older profile.
type version struct {
	path string
	n    int
}

// versions returns the older profiles of a singer, the newest first.
func (s *Singers) versions(name string) ([]version, error) {
	entries, err := list(s.old())
	if err != nil {
		return nil, err
	}
	var all []version
	for _, e := range entries {
		rest, ours := strings.CutSuffix(e.Name(), extension)
		who, number, dotted := strings.Cut(rest, ".")
		n, err := strconv.Atoi(number)
		if ours && dotted && err == nil && strings.EqualFold(who, name) {
			all = append(all, version{filepath.Join(s.old(), e.Name()), n})
		}
	}
	slices.SortFunc(all, func(a, b version) int { return cmp.Compare(b.n, a.n) })
	return all, nil
}

// keep puts the profile as it is now among the older ones, where it is not
// already the newest of them.
func (s *Singers) keep(name string) error {
	all, err := s.versions(name)
	if err != nil {
		return err
	}
	data, err := read(s.Path(name))
	if err != nil {
		return err
	}
	next := 1
	if len(all) > 0 {
		if last, err := read(all[0].path); err == nil && bytes.Equal(last, data) {
			return nil // written before, by a run that was ended then
		}
		next = all[0].n + 1
	}
	s.step("keep")
	return s.replace(filepath.Join(s.old(), fmt.Sprintf("%s.%04d%s", name, next, extension)), data, nil)
}

// prune removes the oldest of the older profiles beyond Kept.
func (s *Singers) prune(name string) error {
	all, err := s.versions(name)
	if err != nil {
		return err
	}
	for _, v := range all[min(Kept, len(all)):] {
		s.step("prune")
		if err := os.Remove(v.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// newestWhole returns the newest older profile that can be read; "" where none
// can.
func (s *Singers) newestWhole(name string) string {
	all, err := s.versions(name)
	if err != nil {
		return ""
	}
	for _, v := range all {
		if _, err := ReadFile(v.path); err == nil {
			return v.path
		}
	}
	return ""
}

// Files returns every file that is kept of a singer: the profile, older ones,
// those moved aside, and what was never completed.
func (s *Singers) Files(name string) ([]string, error) {
	if s.dir == "" {
		return nil, ErrNoFolder
	}
	if err := kept.CheckName(name); err != nil {
		return nil, err
	}
	var files []string
	for _, dir := range []string{s.folder(), s.old()} {
		entries, err := os.ReadDir(dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		for _, e := range entries {
			who, _, dotted := strings.Cut(strings.TrimPrefix(e.Name(), temporary), ".")
			if dotted && !e.IsDir() && strings.EqualFold(who, name) {
				files = append(files, filepath.Join(dir, e.Name()))
			}
		}
	}
	return files, nil
}

// Forget deletes every file of a singer, for good, and returns what it deleted.
// Where the singer was the current one there is none then.
func (s *Singers) Forget(name string) (deleted []string, err error) {
	files, err := s.Files(name)
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, s.unknown(name)
	}
	for _, f := range files {
		s.step("forget")
		if err := os.Remove(f); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return deleted, err
		}
		deleted = append(deleted, f)
	}
	if data, err := read(s.choice()); err == nil && strings.EqualFold(strings.TrimSpace(string(data)), name) {
		if err := os.Remove(s.choice()); err != nil {
			return deleted, err
		}
	}
	return deleted, nil
}
