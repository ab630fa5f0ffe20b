package codec

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"singback/internal/audio"
)

// A recording in a zip has the path of the zip, a slash, and its name there:
// week3.zip/ana.opus. It is read from the zip as it is; only for ffmpeg it is put into a
// file for as long as that runs.

// ErrPacked is wrapped by every error about a zip, or something in it.
var ErrPacked = errors.New("not a zip that can be read")

const (
	// packedWell and packedLarge bound what is unpacked: no recording packs two hundred
	// times smaller, unless it is a silence of some minutes, which is under 64 MiB.
	packedWell  = 200
	packedLarge = 64 << 20
	// mostPacked is how many files a zip may hold.
	mostPacked = 100_000
)

// IsZip tells whether the file at path is a zip, by how it begins.
func IsZip(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var head [4]byte
	_, err = io.ReadFull(f, head[:])
	return err == nil && (string(head[:]) == "PK\x03\x04" || string(head[:]) == "PK\x05\x06")
}

// Inside lists what a zip holds, in its order: the paths of what Open can read, and the
// names of the rest, each with a reason.
func Inside(path string) (recordings, others []string, err error) {
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
		if f.FileInfo().IsDir() || strings.HasPrefix(filepath.Base(f.Name), ".") || strings.HasPrefix(f.Name, "__MACOSX/") {
			continue
		}
		why := refuse(f)
		if why == "" && seen[f.Name] {
			why = "a second file of that name"
		}
		seen[f.Name] = true
		if why == "" {
			if kind, _, err := sniffPacked(f); err != nil {
				why = "damaged"
			} else if kind == Unknown {
				why = "not a recording"
			}
		}
		if why != "" {
			others = append(others, fmt.Sprintf("%s (%s)", f.Name, why))
			continue
		}
		recordings = append(recordings, path+"/"+f.Name)
	}
	return recordings, others, nil
}

// refuse says why a file of a zip is not read; "" where it may be.
func refuse(f *zip.File) string {
	switch {
	case !filepath.IsLocal(f.Name) || strings.Contains(f.Name, `\`):
		return "its path leads out of the zip"
	case !f.Mode().IsRegular():
		return "not a file"
	case f.Flags&1 != 0:
		return "locked by a password"
	case f.UncompressedSize64 > packedLarge && f.UncompressedSize64/packedWell > f.CompressedSize64:
		return fmt.Sprintf("unpacks to %d MB from %d kB, as no recording does", f.UncompressedSize64>>20, f.CompressedSize64>>10)
	}
	return ""
}

func sniffPacked(f *zip.File) (Kind, string, error) {
	r, err := f.Open()
	if err != nil {
		return Unknown, "", err
	}
	defer r.Close()
	head := make([]byte, Sniffed)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return Unknown, "", err
	}
	kind, name := Sniff(head[:n])
	return kind, name, nil
}

func openZip(path string) (*zip.ReadCloser, error) {
	z, err := zip.OpenReader(path)
	var file *fs.PathError
	switch {
	case errors.As(err, &file):
		return nil, fmt.Errorf("%s: %w", path, file.Err)
	case err != nil:
		return nil, fmt.Errorf("%s: %w: it is damaged or only half sent; copy it again", path, ErrPacked)
	}
	return z, nil
}

// packed parts the path of a recording in a zip; ok if it is one.
func packed(path string) (archive, name string, ok bool) {
	if _, err := os.Lstat(path); err == nil {
		return "", "", false
	}
	for at := 0; ; {
		i := strings.IndexAny(path[at:], `/`+string(filepath.Separator))
		if i < 0 {
			return "", "", false
		}
		at += i + 1
		if info, err := os.Stat(path[:at-1]); err == nil && info.Mode().IsRegular() {
			return path[:at-1], path[at:], true
		}
	}
}

// openPacked opens a recording in a zip.
func openPacked(path, archive, name string, options ...audio.Option) (*audio.WAV, error) {
	z, err := openZip(archive)
	if err != nil {
		return nil, err
	}
	w, err := openIn(z, path, name, options...)
	if err != nil {
		z.Close()
	}
	return w, err
}

func openIn(z *zip.ReadCloser, path, name string, options ...audio.Option) (*audio.WAV, error) {
	for _, f := range z.File {
		if f.Name != name {
			continue
		}
		if why := refuse(f); why != "" {
			return nil, fmt.Errorf("%s: %w: %s", path, ErrPacked, why)
		}
		kind, what, err := sniffPacked(f)
		if err != nil {
			return nil, fmt.Errorf("%s: %w: it is damaged; copy the zip again", path, ErrPacked)
		}
		r, err := f.Open()
		if err != nil {
			return nil, fmt.Errorf("%s: %w: it is damaged; copy the zip again", path, ErrPacked)
		}
		all := closers{r, z}
		var w *audio.WAV
		switch kind {
		case WAV, Unknown:
			w, err = audio.NewWAV(r, path, options...)
		case Foreign:
			return unpacked(r, all, path, what, options...)
		default:
			if w, err = decoded(kind, what, r, path, options...); errors.Is(err, errLowRate) {
				r.Close()
				if r, err = f.Open(); err != nil {
					return nil, fmt.Errorf("%s: %w", path, err)
				}
				return unpacked(r, closers{r, z}, path, what, options...)
			}
		}
		if err != nil {
			return nil, err
		}
		w.OnClose(all)
		return w, nil
	}
	return nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
}

// unpacked puts what r delivers into a file, for ffmpeg, and takes it away again.
func unpacked(r io.Reader, all closers, path, what string, options ...audio.Option) (*audio.WAV, error) {
	f, err := os.CreateTemp("", "singback-*")
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	_, err = io.Copy(f, r)
	err = errors.Join(err, f.Close())
	var w *audio.WAV
	if err == nil {
		w, err = through(f.Name(), path, what, options...)
	} else {
		err = fmt.Errorf("%s: %w", path, err)
	}
	if err != nil {
		os.Remove(f.Name())
		return nil, err
	}
	w.OnClose(append(closers{w.Closer(), removed(f.Name())}, all...))
	return w, nil
}

// closers are closed in their order.
type closers []io.Closer

// Close closes all.
func (c closers) Close() error {
	var all []error
	for _, one := range c {
		all = append(all, one.Close())
	}
	return errors.Join(all...)
}

// removed is a file that goes when it is closed.
type removed string

// Close removes the file.
func (r removed) Close() error { return os.Remove(string(r)) }
