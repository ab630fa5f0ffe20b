package codec

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"
)

// Raw is a file as it lies on disk or in a zip, before anything is decoded.
type Raw struct {
	io.Reader
	Size     int64     // in bytes, unpacked, as the zip says
	Modified time.Time // zero where a zip says nothing
	close    closers
}

// Close closes the file, and the zip.
func (r *Raw) Close() error { return r.close.Close() }

// OpenRaw opens the bytes of a file, or of one in a zip (see [Inside]), which is
// bounded as a recording there is.
func OpenRaw(path string) (*Raw, error) {
	archive, name, ok := packed(path)
	if !ok {
		f, err := os.Open(path)
		if err != nil {
			return nil, pathError(path, err)
		}
		info, err := f.Stat()
		if err != nil || !info.Mode().IsRegular() {
			f.Close()
			return nil, errors.Join(err, fmt.Errorf("%s: no plain file", path))
		}
		return &Raw{f, info.Size(), info.ModTime(), closers{f}}, nil
	}
	z, err := openZip(archive)
	if err != nil {
		return nil, err
	}
	for _, f := range z.File {
		if f.Name != name {
			continue
		}
		why := refuse(f)
		if why == "" {
			r, err := f.Open()
			if err == nil {
				return &Raw{r, int64(f.UncompressedSize64), f.Modified, closers{r, z}}, nil
			}
			why = "it is damaged; copy the zip again"
		}
		z.Close()
		return nil, fmt.Errorf("%s: %w: %s", path, ErrPacked, why)
	}
	z.Close()
	return nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
}

// pathError has the name of a file once.
func pathError(path string, err error) error {
	var e *fs.PathError
	if errors.As(err, &e) {
		err = e.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// Names lists all files of a zip by the paths that [OpenRaw] reads, in its order.
// Those that are no recordings are among them.
func Names(path string) ([]string, error) {
	z, err := openZip(path)
	if err != nil {
		return nil, err
	}
	defer z.Close()
	var out []string
	seen := map[string]bool{}
	for _, f := range z.File {
		if len(out) == mostPacked {
			return nil, fmt.Errorf("%s: %w: it holds more than %d files", path, ErrPacked, mostPacked)
		}
		if !f.FileInfo().IsDir() && !seen[f.Name] && refuse(f) == "" {
			out = append(out, path+"/"+f.Name)
		}
		seen[f.Name] = true
	}
	return out, nil
}
