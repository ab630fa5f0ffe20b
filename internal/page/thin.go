package page

import (
	"bytes"
	"path"
)

// foreign are the modules that are not ours: they stay as they came.
var foreign = map[string]bool{"xz-decompress.js": true}

// thin returns a module or a style sheet of the page without comments that stand on lines
// of their own, blank lines and indentation: a browser needs none of them, and they are a
// fifth of all that it loads beside the engine. No text of ours goes over a line's end,
// which a test sees to.
func thin(name string, data []byte) []byte {
	if ext := path.Ext(name); ext != ".js" && ext != ".css" || foreign[name] {
		return data
	}
	out := make([]byte, 0, len(data))
	comment := false
	for line := range bytes.Lines(data) {
		line = bytes.TrimSpace(line)
		switch {
		case comment:
			comment = !bytes.HasSuffix(line, []byte("*/"))
		case bytes.HasPrefix(line, []byte("/*")) && !bytes.Contains(line, []byte("*/")):
			comment = true
		case len(line) == 0, bytes.HasPrefix(line, []byte("//")),
			bytes.HasPrefix(line, []byte("/*")) && bytes.Index(line, []byte("*/")) == len(line)-2:
		default:
			out = append(append(out, line...), '\n')
		}
	}
	return out
}
