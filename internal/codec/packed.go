package codec

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"time"
	"unicode"

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

// Inside lists what a zip holds, in its order: the paths of what Open can read, or whose
// names say that it should, and the names of the rest, each with a reason.
func Inside(path string) (recordings, others []string, err error) {
	z, err := openZip(path)
	if err != nil {
		return nil, nil, err
	}
	defer z.Close()
	seen := map[string]bool{}
	thin := uint64(0) // bytes of what packs too well, of all together
	for _, f := range z.File {
		if f.FileInfo().IsDir() || strings.HasPrefix(filepath.Base(f.Name), ".") || strings.HasPrefix(f.Name, "__MACOSX/") {
			continue
		}
		why := refuse(f)
		if f.UncompressedSize64/packedWell > f.CompressedSize64 {
			if thin += f.UncompressedSize64; why == "" && thin > packedLarge {
				why = "unpacks, with others, as no recordings do"
			}
		}
		if why == "" && seen[f.Name] {
			why = "a second file of that name"
		}
		seen[f.Name] = true
		if why == "" {
			kind, head, err := sniffPacked(f)
			switch {
			case err != nil && !Named(f.Name):
				why = "damaged"
			case err == nil && kind == Unknown && strings.HasPrefix(head, "PK\x03\x04"):
				why = "a zip in the zip: unpack it first"
			case err == nil && kind == Unknown && !Named(f.Name):
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
	case strings.Contains(f.Name, `\`):
		return "a backslash in its path: pack it again"
	case !filepath.IsLocal(f.Name) || path.Clean(f.Name) != f.Name:
		return "its path leads out of the zip"
	case strings.ContainsFunc(f.Name, unicode.IsControl):
		return "a control character in its name"
	case !f.Mode().IsRegular():
		return "not a file"
	case f.Flags&1 != 0:
		return "locked by a password: unpack it first"
	case f.Method != zip.Store && f.Method != zip.Deflate:
		return "packed in a way that is not read here: unpack it first"
	case f.UncompressedSize64 > packedLarge && f.UncompressedSize64/packedWell > f.CompressedSize64:
		return fmt.Sprintf("unpacks to %d MB from %d kB, as no recording does", f.UncompressedSize64>>20, f.CompressedSize64>>10)
	}
	return ""
}

// sniffPacked tells the kind of a file of a zip, and how it begins.
func sniffPacked(f *zip.File) (kind Kind, head string, err error) {
	r, err := f.Open()
	if err != nil {
		return Unknown, "", err
	}
	defer r.Close()
	b := make([]byte, Sniffed)
	n, err := io.ReadFull(r, b)
	if err != nil && !errors.Is(err, io.EOF) && (n == 0 || !errors.Is(err, io.ErrUnexpectedEOF)) {
		return Unknown, "", err
	}
	kind, _ = Sniff(b[:n])
	return kind, string(b[:n]), nil
}

// archive is a zip that is open.
type archive struct {
	*zip.Reader
	file   *os.File
	byName map[string]*zip.File // the first of each name
	size   int64
	made   time.Time
	users  int
}

// shelf keeps the zip that was opened last, since its files are read one after the other.
var shelf struct {
	sync.Mutex
	path string
	*archive
}

// openZip opens a zip, or takes it from the shelf.
func openZip(path string) (*archive, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, noPath(path, err)
	}
	shelf.Lock()
	defer shelf.Unlock()
	if z := shelf.archive; z != nil && shelf.path == path && z.size == info.Size() && z.made.Equal(info.ModTime()) {
		z.users++
		return z, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, noPath(path, err)
	}
	z, err := readZip(path, f, info)
	if err != nil {
		f.Close()
		return nil, err
	}
	if shelf.archive != nil {
		shelf.users--
		shelf.close()
	}
	z.users = 2 // the shelf, and whoever asked
	shelf.path, shelf.archive = path, z
	return z, nil
}

func readZip(path string, f *os.File, info fs.FileInfo) (*archive, error) {
	z := &archive{file: f, byName: map[string]*zip.File{}, size: info.Size(), made: info.ModTime()}
	var err error
	if z.Reader, err = zip.NewReader(f, info.Size()); err != nil && z.Reader == nil {
		return nil, fmt.Errorf("%s: %w: it is damaged or only half sent; copy it again", path, ErrPacked)
	}
	if len(z.File) > mostPacked {
		return nil, fmt.Errorf("%s: %w: it holds %d files, at most %d are read", path, ErrPacked, len(z.File), mostPacked)
	}
	together := uint64(0)
	for _, f := range z.File {
		together += f.CompressedSize64
		if z.byName[f.Name] == nil {
			z.byName[f.Name] = f
		}
	}
	if together > uint64(info.Size()) {
		return nil, fmt.Errorf("%s: %w: its files lie one upon another, as in a zip that is made to unpack without end", path, ErrPacked)
	}
	return z, nil
}

// noPath is an error about the file at path, which names it once.
func noPath(path string, err error) error {
	if file, ok := errors.AsType[*fs.PathError](err); ok {
		err = file.Err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// Close gives a zip back; the file is closed by the last who does.
func (z *archive) Close() error {
	shelf.Lock()
	defer shelf.Unlock()
	z.users--
	return z.close()
}

func (z *archive) close() error {
	if z.users > 0 {
		return nil
	}
	return z.file.Close()
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

func openIn(z *archive, path, name string, options ...audio.Option) (*audio.WAV, error) {
	f := z.byName[name]
	if f == nil {
		return nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
	}
	if why := refuse(f); why != "" {
		return nil, fmt.Errorf("%s: %w: %s", path, ErrPacked, why)
	}
	_, head, err := sniffPacked(f)
	kind, what := Sniff([]byte(head))
	var r io.ReadCloser
	if err == nil {
		r, err = f.Open()
	}
	if err != nil {
		return nil, damaged(path)
	}
	all := closers{r, z}
	in := intact{r}
	var w *audio.WAV
	switch kind {
	case WAV, Unknown:
		w, err = audio.NewWAV(in, path, options...)
		err = unknown(path, err)
	case Foreign:
		return spooled(in, all, path, what, int64(f.UncompressedSize64), options...)
	default:
		w, err = decoded(kind, what, in, path, options...)
		if other, ok := errors.AsType[elsewhere](err); ok {
			r.Close()
			if r, err = f.Open(); err != nil {
				return nil, damaged(path)
			}
			return spooled(intact{r}, closers{r, z}, path, string(other), int64(f.UncompressedSize64), options...)
		}
	}
	if err != nil {
		r.Close()
		return nil, err
	}
	w.OnClose(all)
	return w, nil
}

func damaged(path string) error {
	return fmt.Errorf("%s: %w: it is damaged there; copy the zip again", path, ErrPacked)
}

// intact reads a file of a zip; what is damaged there is cut short.
type intact struct{ io.Reader }

func (i intact) Read(p []byte) (int, error) {
	n, err := i.Reader.Read(p)
	if err != nil && err != io.EOF {
		err = fmt.Errorf("%w: it is damaged in the zip; copy that again", audio.ErrTruncated)
	}
	return n, err
}

// mostSpooled is how much of a pipe is put into a file for ffmpeg.
const mostSpooled = 4 << 30

// spooled puts what r delivers, at most so many bytes, into a file for ffmpeg, and takes it
// away again. What is in all is closed with the recording.
func spooled(r io.Reader, all closers, path, what string, most int64, options ...audio.Option) (*audio.WAV, error) {
	if !has(program) {
		return nil, missing(path, what)
	}
	f, err := os.CreateTemp("", "singback-*")
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	n, err := io.Copy(f, io.LimitReader(r, most+1))
	if err == nil && n > most {
		err = fmt.Errorf("%w: it is larger than %d MB", audio.ErrUnsupported, most>>20)
	}
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
