package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// spread replaces folders among paths by the recordings in them, those that end in
// .wav, in the order of their names; folders within are left alone, and so are the
// files in but, which have another part in the command. What else a folder has is
// named on standard error, since it may have been meant; hidden files are not. A
// folder without a recording is an error.
func spread(e *env, paths []string, but ...string) ([]string, error) {
	var out []string
	for _, path := range paths {
		info, err := os.Stat(path)
		if path == "-" || err != nil || !info.IsDir() {
			out = append(out, path) // whoever reads it says what is wrong with it
			continue
		}
		entries, err := os.ReadDir(path) // by name
		if err != nil {
			return nil, fileError(path, err)
		}
		n := len(out)
		var over []string
		for _, entry := range entries {
			full := filepath.Join(path, entry.Name())
			info, err := os.Stat(full)
			switch {
			case strings.HasPrefix(entry.Name(), "."):
			case err != nil, info.IsDir(), !strings.EqualFold(filepath.Ext(full), ".wav"), sameAsAny(full, but):
				over = append(over, entry.Name())
			default:
				out = append(out, full)
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s: the folder has no recording in it: want files that end in .wav", short(path))
		}
		if len(over) > 0 {
			fmt.Fprintf(e.stderr, "%s: passed over %s.\n", path, listed(over))
		}
	}
	return out, nil
}

// sameAsAny tells whether a path names one of some files that are there.
func sameAsAny(path string, files []string) bool {
	for _, f := range files {
		if same(path, f) {
			return true
		}
	}
	return false
}

// listed names some things, and says how many more there are.
func listed(names []string) string {
	const most = 5
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}
