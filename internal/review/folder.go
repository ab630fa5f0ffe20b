package review

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"singback/internal/newfile"
	"singback/internal/plain"
)

// Spread replaces folders among paths by the recordings in them, those that end in
// .wav, in the order of their names; folders within are left alone, and so are the
// files in but, which have another part in the command. What else a folder has, but
// for hidden files, is told to over, since it may have been meant. A folder without a
// recording is an error.
func Spread(paths []string, over func(folder string, names []string), but ...string) ([]string, error) {
	var out []string
	for _, path := range paths {
		info, err := os.Stat(path)
		if path == "-" || err != nil || !info.IsDir() {
			out = append(out, path) // whoever reads it says what is wrong with it
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
			case err != nil, info.IsDir(), !strings.EqualFold(filepath.Ext(full), ".wav"), sameAsAny(info, but):
				others = append(others, entry.Name())
			default:
				out = append(out, full)
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s: the folder has no recording in it: want files that end in .wav", plain.Short(path))
		}
		if len(others) > 0 {
			over(path, others)
		}
	}
	return out, nil
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
