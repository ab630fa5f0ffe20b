// Package newfile writes files that a user named. One rule holds for all of them:
// a file that is there already stays, unless force says otherwise; and a file has
// its name once it is whole. What is no file on disk is written into as it is: a
// pipe, a device.
//
// [Write] is the call that most users need, [WriteAll] that of a folder.
package newfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
)

// ErrThere says that a file is there already.
var ErrThere = errors.New("it is there already: --force replaces it, or name another file")

// File is a file that is being written.
type File struct {
	out   io.Writer
	file  *os.File // nil: a stream
	path  string   // what it will be called; "" for what has its name already
	force bool
	done  bool
}

// The modes of new files, less what the user's mask takes away: what tells of a
// singer is its owner's alone.
const (
	ForAll   fs.FileMode = 0o666
	ForOwner fs.FileMode = 0o600
)

// Stream is a stream that is open already, as a file.
func Stream(w io.Writer) *File { return &File{out: w} }

// Create begins a file.
func Create(path string, force bool, who fs.FileMode) (*File, error) {
	direct, mode, err := look(path, force)
	if err != nil {
		return nil, err
	}
	if direct {
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			return nil, PathError(path, err)
		}
		return &File{out: f, file: f}, nil
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
			return nil, PathError(path, err)
		}
		if mode != 0 && who == ForAll {
			f.Chmod(mode) // as it was, where that can be
		}
		return &File{out: f, file: f, path: path, force: force}, nil
	}
}

// look says how a path can be written to: directly where it is no file on disk,
// in place of a file of that mode, or as a new file.
func look(path string, force bool) (direct bool, mode fs.FileMode, err error) {
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
		return false, 0, PathError(path, err)
	case info.IsDir():
		return false, 0, fmt.Errorf("%s: it is a folder, want a file", path)
	case !info.Mode().IsRegular() && info.Mode()&fs.ModeSymlink == 0:
		return true, 0, nil
	case !force:
		return false, 0, fmt.Errorf("%s: %w", path, ErrThere)
	}
	return false, info.Mode().Perm(), nil
}

// Write names the file in an error as it will be called.
func (f *File) Write(p []byte) (int, error) {
	n, err := f.out.Write(p)
	if err != nil && f.path != "" {
		err = PathError(f.path, err)
	}
	return n, err
}

// Keep gives the file its name, unless it came to be there meanwhile.
func (f *File) Keep() error {
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
		return PathError(f.path, err)
	}
	err = errors.ErrUnsupported
	if !f.force {
		err = os.Link(f.file.Name(), f.path) // refused where the name is taken
	}
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s: %w", f.path, ErrThere)
	}
	if err != nil { // or a file system without links
		if _, there := os.Lstat(f.path); there == nil && !f.force {
			return fmt.Errorf("%s: %w", f.path, ErrThere)
		}
		err = os.Rename(f.file.Name(), f.path)
	}
	var inLink *os.LinkError
	if errors.As(err, &inLink) {
		return fmt.Errorf("%s: %w", f.path, inLink.Err)
	}
	return err
}

// Drop takes away what is not whole. It does nothing after Keep.
func (f *File) Drop() {
	if f.file == nil || f.done {
		return
	}
	f.done = true
	f.file.Close()
	if f.path != "" {
		os.Remove(f.file.Name())
	}
}

// OnDisk returns the file itself, for a writer that goes back in it; nil for a
// stream.
func (f *File) OnDisk() *os.File { return f.file }

// Write writes a file whole or not at all.
func Write(path string, force bool, who fs.FileMode, write func(io.Writer) error) error {
	f, err := Create(path, force, who)
	if err != nil {
		return err
	}
	return f.Fill(write)
}

// Fill writes the file, and keeps it if that went well.
func (f *File) Fill(write func(io.Writer) error) error {
	defer f.Drop()
	if err := write(f); err != nil {
		return err
	}
	return f.Keep()
}

// Check reports a file that would not be written.
func Check(path string, force bool) error {
	_, _, err := look(path, force)
	return err
}

// WriteAll writes so many files into a folder, which is made, one after the other;
// none where one of them would not be written.
func WriteAll(folder string, n int, name func(i int) string, force bool, who fs.FileMode, write func(i int, w io.Writer) error) error {
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return PathError(folder, err)
	}
	for i := range n {
		if err := Check(filepath.Join(folder, name(i)), force); err != nil {
			return err
		}
	}
	for i := range n {
		if err := Write(filepath.Join(folder, name(i)), force, who, func(w io.Writer) error { return write(i, w) }); err != nil {
			return err
		}
	}
	return nil
}

// Open begins a file that has its name from the beginning, since each part of it is
// wanted as soon as it is written.
func Open(path string, force bool) (*os.File, error) {
	direct, _, err := look(path, force)
	if err != nil {
		return nil, err
	}
	how := os.O_WRONLY | os.O_CREATE | os.O_EXCL
	switch {
	case direct:
		how = os.O_WRONLY | os.O_APPEND
	case force:
		how = os.O_WRONLY | os.O_CREATE | os.O_TRUNC
	}
	f, err := os.OpenFile(path, how, 0o666)
	if err != nil {
		return nil, PathError(path, err)
	}
	return f, nil
}

// PathError is the error of a file with its path and the reason, and nothing
// between.
func PathError(path string, err error) error {
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
