package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/plain"
)

// addForce adds the flag of every command that writes files that somebody named.
// The rule is one for all of them: a file that is there already stays, unless the
// flag is given; and a file has its name once it is whole. What is no file on disk
// is written into as it is: a pipe, a device, and - for standard output.
func addForce(cmd *cobra.Command, force *bool) {
	cmd.Flags().BoolVar(force, "force", false, "replace files that are there already")
}

// errThere says that a file is there already.
var errThere = errors.New("it is there already: --force replaces it, or name another file")

// newFile is a file that is being written.
type newFile struct {
	out   io.Writer
	file  *os.File // nil: standard output
	path  string   // what it will be called; "" for what has its name already
	force bool
	done  bool
}

// The modes of new files, less what the user's mask takes away: what tells of a
// singer is its owner's alone.
const (
	forAll   fs.FileMode = 0o666
	forOwner fs.FileMode = 0o600
)

// create begins a file.
func (e *env) create(path string, force bool, who fs.FileMode) (*newFile, error) {
	if path == "-" {
		return &newFile{out: plain.Around(e.stdout)}, nil
	}
	direct, mode, err := lookAt(path, force)
	if err != nil {
		return nil, err
	}
	if direct {
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			return nil, fileError(path, err)
		}
		return &newFile{out: f, file: f}, nil
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // a link to it stays one
	}
	for {
		name := filepath.Join(filepath.Dir(path), fmt.Sprintf(".singback-%x", rand.Uint64()))
		f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, who)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, fileError(path, err)
		}
		if mode != 0 && who == forAll {
			f.Chmod(mode) // as it was, where that can be
		}
		return &newFile{out: f, file: f, path: path, force: force}, nil
	}
}

// lookAt says how a path can be written to: directly where it is no file on disk,
// in place of a file of that mode, or as a new file.
func lookAt(path string, force bool) (direct bool, mode fs.FileMode, err error) {
	if strings.HasPrefix(path, "/dev/") || strings.HasPrefix(path, "/proc/self/fd/") {
		return true, 0, nil // also where standard output is a file
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		info, err = os.Lstat(path) // a link to nothing
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, 0, nil
	case err != nil:
		return false, 0, fileError(path, err)
	case info.IsDir():
		return false, 0, fmt.Errorf("%s: it is a folder, want a file", path)
	case !info.Mode().IsRegular() && info.Mode()&fs.ModeSymlink == 0:
		return true, 0, nil
	case !force:
		return false, 0, fmt.Errorf("%s: %w", path, errThere)
	}
	return false, info.Mode().Perm(), nil
}

// Write names the file in an error as it will be called.
func (f *newFile) Write(p []byte) (int, error) {
	n, err := f.out.Write(p)
	if err != nil && f.path != "" {
		err = fileError(f.path, err)
	}
	return n, err
}

// keep gives the file its name, unless it came to be there meanwhile.
func (f *newFile) keep() error {
	if f.file == nil || f.done {
		return nil
	}
	f.done = true
	f.file.Sync() // an error of it is Close's, too, or there is nothing to be done
	err := f.file.Close()
	if errors.Is(err, fs.ErrClosed) { // by what wrote it
		err = nil
	}
	if f.path == "" {
		return err
	}
	defer os.Remove(f.file.Name())
	if err != nil {
		return fileError(f.path, err)
	}
	err = errors.ErrUnsupported
	if !f.force {
		err = os.Link(f.file.Name(), f.path) // refused where the name is taken
	}
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s: %w", f.path, errThere)
	}
	if err != nil { // or a file system without links
		if _, there := os.Lstat(f.path); there == nil && !f.force {
			return fmt.Errorf("%s: %w", f.path, errThere)
		}
		err = os.Rename(f.file.Name(), f.path)
	}
	var inLink *os.LinkError
	if errors.As(err, &inLink) {
		return fmt.Errorf("%s: %w", f.path, inLink.Err)
	}
	return err
}

// drop takes away what is not whole. It does nothing after keep.
func (f *newFile) drop() {
	if f.file == nil || f.done {
		return
	}
	f.done = true
	f.file.Close()
	if f.path != "" {
		os.Remove(f.file.Name())
	}
}

// writeFile writes a file whole or not at all.
func (e *env) writeFile(path string, force bool, who fs.FileMode, write func(io.Writer) error) error {
	f, err := e.create(path, force, who)
	if err != nil {
		return err
	}
	defer f.drop()
	if err := write(f); err != nil {
		return err
	}
	return f.keep()
}
