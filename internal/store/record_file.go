package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// A record is a plain file with one name. Of a file with two, SQLite would keep a
// write-ahead log beside each, and neither program would see what the other wrote.

// companions are the files beside a record that SQLite and the lock make.
var companions = []string{"-wal", "-shm", "-journal", ".lock"}

// resolve returns the path at which a file lies, without the links that lead to
// it. The file need not be there, its folder must be.
func resolve(path string) (string, error) {
	file, err := filepath.EvalSymlinks(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return file, err
	}
	if _, err := os.Lstat(path); err == nil {
		return "", fmt.Errorf("%w: it is a link to nothing", ErrRecordFile)
	}
	dir, err := filepath.EvalSymlinks(filepath.Dir(path))
	return filepath.Join(dir, filepath.Base(path)), err
}

// plain refuses a record, or one with a file beside it, that is there and is no
// plain file with one name. It opens nothing: a pipe would wait for ever, and on
// some systems to close a file lets go of the locks that this program has on it.
func plain(path string) error {
	if err := plainFile(path); err != nil {
		return err
	}
	for _, c := range companions {
		if err := plainFile(path + c); err != nil {
			return fmt.Errorf("%s beside it: %w", filepath.Base(path+c), err)
		}
	}
	return nil
}

func plainFile(path string) error {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return ErrRecordFile
	}
	n, err := names(path, info)
	if err == nil && n > 1 {
		err = fmt.Errorf("%w (%d links)", ErrRecordNames, n)
	}
	return err
}

// own makes a file that only its owner may read, or takes from others what they
// may do with one that is there; made tells which.
func own(path string) (made bool, err error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err == nil {
		return true, errors.Join(f.Chmod(0o600), f.Close())
	}
	if !errors.Is(err, fs.ErrExist) {
		return false, err
	}
	if err := plainFile(path); err != nil {
		return false, err
	}
	for _, c := range append([]string{""}, companions...) {
		// Where it is another one's, they have allowed it.
		if info, err := os.Lstat(path + c); err == nil && info.Mode().IsRegular() && info.Mode()&0o077 != 0 {
			os.Chmod(path+c, info.Mode()&^0o077)
		}
	}
	return false, nil
}
