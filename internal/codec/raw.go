package codec

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
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
			return nil, err
		}
		info, err := f.Stat()
		if err == nil && info.IsDir() {
			err = &fs.PathError{Op: "read", Path: path, Err: syscall.EISDIR}
		}
		if err != nil {
			f.Close()
			return nil, err
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

// Refused is a file of a zip that is not read.
type Refused struct{ Name, Why string }

// Names lists the files of a zip by the paths that [OpenRaw] reads, in its order, those
// that are no recordings too, and what is not read, with the reason.
func Names(path string) (names []string, refused []Refused, err error) {
	z, err := openZip(path)
	if err != nil {
		return nil, nil, err
	}
	defer z.Close()
	if len(z.File) > mostPacked {
		return nil, nil, fmt.Errorf("%s: %w: it holds %d files, at most %d are read", path, ErrPacked, len(z.File), mostPacked)
	}
	seen := map[string]bool{}
	for _, f := range z.File {
		if f.FileInfo().IsDir() {
			continue
		}
		why := refuse(f)
		if why == "" && seen[f.Name] {
			why = "a second file of that name"
		}
		seen[f.Name] = true
		if why != "" {
			refused = append(refused, Refused{f.Name, why})
		} else {
			names = append(names, path+"/"+f.Name)
		}
	}
	return names, refused, nil
}

// InZip tells whether a path names something in a zip that is there.
func InZip(path string) bool {
	_, _, ok := packed(path)
	return ok
}
