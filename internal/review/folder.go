package review

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"singback/internal/codec"
	"singback/internal/newfile"
	"singback/internal/plain"
)

// Spread replaces folders and zips among paths by the recordings in them: in a folder in
// the order of their names, in a zip in its order. A recording is what begins like one, or
// has the name of one, so that one that is empty is told. Folders within are left alone,
// and so are the files in but, which have another part in the command. What else is there,
// but for hidden files, is told to over, since it may have been meant. A folder or a zip
// without a recording is an error.
func Spread(paths []string, over func(folder string, names []string), but ...string) ([]string, error) {
	var out []string
	for _, path := range paths {
		info, err := os.Stat(path)
		if path == "-" || err != nil || !info.IsDir() && (codec.Named(path) || !codec.IsZip(path)) {
			out = append(out, path) // whoever reads it says what is wrong with it
			continue
		}
		if !info.IsDir() {
			inside, others, err := codec.Inside(path)
			if err != nil {
				return nil, err
			}
			if len(others) > 0 {
				over(path, others)
			}
			if len(inside) == 0 {
				return nil, fmt.Errorf("%s: the zip has no recording in it", plain.Short(path))
			}
			out = append(out, inside...)
			continue
		}
		entries, err := os.ReadDir(path) // by name
		if err != nil {
			return nil, newfile.PathError(path, err)
		}
		n := len(out)
		var others []string
		for _, entry := range entries {
			full := filepath.Join(path, entry.Name())
			info, err := os.Stat(full)
			switch {
			case strings.HasPrefix(entry.Name(), "."):
			case err != nil, info.IsDir(), sameAsAny(info, but):
				others = append(others, entry.Name())
			case recording(full):
				out = append(out, full)
			case codec.IsZip(full):
				others = append(others, entry.Name()+" (a zip: name it itself)")
			default:
				others = append(others, entry.Name())
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s: the folder has no recording in it", plain.Short(path))
		}
		if len(others) > 0 {
			over(path, others)
		}
	}
	return out, nil
}

// recording tells whether a file begins like a recording, or has the name of one.
func recording(path string) bool {
	if kind, _, err := codec.SniffFile(path); err == nil && kind != codec.Unknown {
		return true
	}
	return codec.Named(path)
}

// sameAsAny tells whether a file is one of some that are there.
func sameAsAny(file os.FileInfo, paths []string) bool {
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && os.SameFile(info, file) {
			return true
		}
	}
	return false
}
