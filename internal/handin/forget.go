package handin

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// Forget takes out of what Fetch keeps of a folder here each file of which gone is true:
// path is what it is called on the server, file where it came to lie, below the folder, both
// with / between. It returns how many they were. The files themselves, and those on the
// server, are the caller's to delete: what still lies there is fetched again by the next
// Fetch. A folder that Fetch has not filled has nothing to forget.
func Forget(folder string, gone func(path, file string) bool) (n int, err error) {
	name := filepath.Join(folder, notesFile)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	var kept bytes.Buffer
	for line := range bytes.Lines(b) {
		var is note
		switch err := json.Unmarshal(line, &is); {
		case err != nil: // a line that was cut off: nobody reads it, and it may have a name in it
		case gone(is.Path, is.File):
			n++
		default:
			kept.Write(line)
		}
	}
	if kept.Len() == len(b) {
		return 0, nil
	}
	next, err := os.CreateTemp(folder, notesFile+".*")
	if err != nil {
		return 0, err
	}
	_, err = next.Write(kept.Bytes())
	if err = errors.Join(err, next.Close()); err == nil {
		err = os.Rename(next.Name(), name)
	}
	if err != nil {
		return 0, errors.Join(err, os.Remove(next.Name()))
	}
	return n, nil
}

// ForgetFile takes a file that Fetch has brought here out of what is kept of its folder,
// and tells whether it was in it. While it still lies on the server the next Fetch brings it
// again.
func ForgetFile(name string) (was bool, err error) {
	if name, err = filepath.Abs(name); err != nil {
		return false, err
	}
	for folder, deep := filepath.Dir(name), 0; deep <= deepest; folder, deep = filepath.Dir(folder), deep+1 {
		n, err := Forget(folder, func(_, file string) bool { return filepath.Join(folder, filepath.FromSlash(file)) == name })
		if err != nil || n > 0 {
			return n > 0, err
		}
	}
	return false, nil
}
