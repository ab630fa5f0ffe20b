package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"singback/internal/sqlfile"
)

// recordError says in one line what is wrong with the record at path.
func recordError(path string, err error) error {
	var inPath *fs.PathError
	if err == nil {
		return nil
	}
	if info, e := os.Stat(path); e == nil && info.IsDir() {
		return fmt.Errorf("%s: it is a folder; name a file in it", path)
	}
	switch c := sqlfile.Code(err); {
	case c == sqlfile.NotADB:
		err = ErrRecordForeign
	case c == sqlfile.Corrupt, c == sqlfile.TooBig, c == sqlfile.Mismatch, c == sqlfile.Format:
		err = fmt.Errorf("%w: %s", ErrRecordDamaged, sqlfile.Words(err))
	case c == sqlfile.Full, c == sqlfile.IOErr && diskFull(filepath.Dir(path)):
		err = ErrRecordFull
	case c == sqlfile.IOErr:
		err = fmt.Errorf("%w: %s", ErrRecordDisk, sqlfile.Words(err))
	case c == sqlfile.Busy:
		err = ErrRecordInUse
	case c == sqlfile.ReadOnly, c == sqlfile.CantOpen, errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		err = ErrRecordReadOnly
	case c != 0:
		err = errors.New(sqlfile.Words(err))
	case noRoom(err):
		err = ErrRecordFull
	case errors.As(err, &inPath):
		err = inPath.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// diskFull reports whether nothing more can be written in a folder. SQLite says so
// only of its own file: where there is no room for the index of its log it speaks
// of an error of the disk.
func diskFull(dir string) bool {
	f, err := os.CreateTemp(dir, temporary+"*")
	if err != nil {
		return noRoom(err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(make([]byte, 64<<10)) // the index takes 32 kB at a time
	return noRoom(errors.Join(err, f.Sync(), f.Close()))
}

// noRoom reports that a disk is full, or what the user may have of it is used up.
func noRoom(err error) bool {
	return slices.ContainsFunc(roomErrors, func(e error) bool { return errors.Is(err, e) })
}

// line puts a message on one line.
func line(s string) string { return strings.Join(strings.Fields(s), " ") }

// RecordHint says what a user can do about an error of this file; "" if there is
// nothing to say.
func RecordHint(err error) string {
	switch {
	case errors.Is(err, ErrRecordInUse):
		return "end the other one first"
	case errors.Is(err, ErrRecordNewer):
		return "use the newer singback, or another file with --record"
	case errors.Is(err, ErrRecordDamaged):
		return "it was not touched; save what can be read with singback record export --damaged, move it away, and import that into a new one"
	case errors.Is(err, ErrRecordForeign):
		return "it was not touched; name another file with --record"
	case errors.Is(err, ErrRecordReadOnly):
		return "name a file in a folder of yours with --record"
	case errors.Is(err, ErrRecordFull):
		return "make room on it"
	case errors.Is(err, ErrRecordDisk):
		return "see whether the disk is well, or copy the file to another one and name it with --record"
	case errors.Is(err, ErrRecordFile):
		return "name a plain file, or one that is not there yet, with --record"
	case errors.Is(err, ErrRecordNames):
		return "two programs could write it without knowing of each other; copy it and name the copy with --record"
	}
	return ""
}
