package newfile

import (
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
)

// WriteFolder writes so many files into a folder: all of them, or none. They are written
// into a hidden folder beside their place first. A folder that is not there gets its name
// when it is whole; in one that is there, what has the name of a file to come is an error
// unless force replaces it.
func WriteFolder(folder string, n int, name func(i int) string, force bool, who fs.FileMode, write func(i int, w io.Writer) error) error {
	_, err := os.Stat(folder)
	there := err == nil
	if there {
		for i := range n {
			if err := Check(filepath.Join(folder, name(i)), force); err != nil {
				return err
			}
		}
	} else if err := os.MkdirAll(filepath.Dir(filepath.Clean(folder)), 0o777); err != nil {
		return PathError(folder, err)
	}
	beside := filepath.Dir(filepath.Clean(folder))
	if there {
		beside = folder
	}
	hidden := filepath.Join(beside, fmt.Sprintf(".singback-%x", rand.Uint64()))
	if err := os.Mkdir(hidden, 0o777); err != nil {
		return PathError(folder, err)
	}
	defer os.RemoveAll(hidden)
	for i := range n {
		if err := Write(filepath.Join(hidden, name(i)), false, who, func(w io.Writer) error { return write(i, w) }); err != nil {
			return unhidden{err, strings.ReplaceAll(err.Error(), hidden, filepath.Clean(folder))}
		}
	}
	if !there {
		if err := os.Rename(hidden, filepath.Clean(folder)); err != nil {
			return fmt.Errorf("%s: %w", folder, ErrThere)
		}
		return nil
	}
	var kept []string // that were not there before
	for i := range n {
		from, to := filepath.Join(hidden, name(i)), filepath.Join(folder, name(i))
		var err error
		if force {
			err = os.Rename(from, to)
		} else if err = os.Link(from, to); err == nil {
			kept = append(kept, to)
		} else if _, taken := os.Lstat(to); taken == nil {
			err = ErrThere
		} else if err = os.Rename(from, to); err == nil { // a file system without links
			kept = append(kept, to)
		}
		if err != nil {
			for _, path := range kept {
				os.Remove(path)
			}
			return PathError(to, err)
		}
	}
	return nil
}

// unhidden is an error that names the folder by the name it was to have.
type unhidden struct {
	error
	text string
}

func (e unhidden) Error() string { return e.text }
func (e unhidden) Unwrap() error { return e.error }
