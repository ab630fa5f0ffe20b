package handin

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"singback/internal/plain"
)

// Item is a file in the folder, whole or in pieces.
type Item struct {
	Path     string // below the folder, with / between
	Size     int64  // -1 where the server does not say
	ETag     string // of pieces, that of all of them
	Modified time.Time
	Pieces   int    // it lies there in so many; 0: as a file
	Have     int    // pieces that have come
	Note     string // why it cannot be fetched, or ""

	folder  []string // as the server calls those in which it lies
	entries []entry
	id      string
}

// Fetched is what became of a file of the folder.
type Fetched struct {
	Item
	File string // where it is now; "" where it was left
	New  bool   // it came now, and was not there before
}

// deepest is how far below the folder students' folders may lie.
const deepest = 3

// List says what lies in the folder and those below it, three deep: in the server's
// order, pieces put together, each file once. What is half sent has a Note.
func (f *Folder) List(ctx context.Context) ([]Item, error) {
	return f.walk(ctx, f.c, nil)
}

func (f *Folder) walk(ctx context.Context, c *client, below []string) (items []Item, err error) {
	var there []entry
	if err := c.again(ctx, nil, func() (err error) { there, err = c.list(ctx); return err }); err != nil {
		return nil, err
	}
	var folders []entry
	for _, e := range there {
		if e.folder {
			folders = append(folders, e)
		} else if _, ok := parsePiece(e.name); !ok {
			items = append(items, Item{Path: path.Join(append(slices.Clone(below), e.name)...), Size: e.size, ETag: e.etag, Modified: e.modified, folder: below, entries: []entry{e}})
		}
	}
	for _, g := range group(there) {
		it := Item{Path: path.Join(append(slices.Clone(below), g.name)...), Size: g.size, Pieces: g.of, Have: g.have, folder: below, entries: g.entries, id: g.id}
		for _, e := range g.entries {
			if e.modified.After(it.Modified) {
				it.Modified = e.modified
			}
		}
		it.ETag = g.id
		if g.have < g.of {
			it.Note = fmt.Sprintf("%s is half sent: %d of %d pieces have come", plain.Short(it.Path), g.have, g.of)
			if g.of == 1 {
				it.Note = fmt.Sprintf("%s is half sent", plain.Short(it.Path))
			}
		}
		items = append(items, it)
	}
	for _, e := range folders {
		in := append(slices.Clone(below), e.name)
		if len(in) > deepest {
			items = append(items, Item{Path: path.Join(in...), Note: fmt.Sprintf("%s lies too deep: %d folders below the address are looked through", plain.Short(path.Join(in...)), deepest)})
			continue
		}
		more, err := f.walk(ctx, c.in(e.name), in)
		if isKind(err, Forbidden, NoFolder) {
			items, err = append(items, Item{Path: path.Join(in...), Note: err.Error()}), nil
		}
		if err != nil {
			return nil, err
		}
		items = append(items, more...)
	}
	return items, nil
}

// in is a client for a folder in the folder, which knows what this one knows.
func (c *client) in(name string) *client {
	c.known.Lock()
	defer c.known.Unlock()
	below := &client{to: c.to.below(name), http: c.http, wait: c.wait, basic: c.basic}
	if c.asked != nil {
		asked := *c.asked
		below.asked = &asked
		below.times = c.times
	}
	return below
}

// Fetch fetches what lies in a folder and those below it into a folder of this computer,
// which is made if it is not there: each file whole, under its own name below it, or not at
// all. What has come before is not fetched again; what came in part is gone on with.
// What is half sent, or cannot be fetched, is among the result with a Note, and left.
// report, which may be nil, is told how it goes. An error ends it; what has come is
// kept, and the same call goes on from there.
func Fetch(ctx context.Context, from Address, to string, report func(Progress)) ([]Fetched, error) {
	return Open(from).Fetch(ctx, to, report)
}

// Fetch is the function of that name, for the folder.
func (f *Folder) Fetch(ctx context.Context, to string, report func(Progress)) (list []Fetched, err error) {
	items, err := f.List(ctx)
	if err != nil {
		return nil, err
	}
	w, err := openFetching(f.c, to, report)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, w.notes.Close()) }()
	w.tidy(items)
	for _, it := range items {
		got := Fetched{Item: it}
		if it.Note == "" {
			got, err = w.fetch(ctx, it)
			if isKind(err, NoFolder, Forbidden, Changed) { // it is gone meanwhile, or is another's
				got.Note, err = fmt.Sprintf("%s: %v", plain.Short(it.Path), err), nil
			}
		}
		if err != nil {
			return list, fmt.Errorf("%s: %w", plain.Short(it.Path), err)
		}
		list = append(list, got)
	}
	return list, nil
}

// notesFile is what Fetch keeps of what has come.
const notesFile = ".singback-fetched.jsonl"

// note is a line of it.
type note struct {
	Path     string    `json:"path"`
	ETag     string    `json:"etag,omitempty"`
	Size     int64     `json:"size"`
	Modified time.Time `json:"modified"`
	File     string    `json:"file"` // below the folder, with / between
}

// fetching is a folder that is being filled.
type fetching struct {
	c      *client
	to     string
	report func(Progress)
	known  map[string]note
	notes  *os.File
}

func openFetching(c *client, to string, report func(Progress)) (*fetching, error) {
	if err := os.MkdirAll(to, 0o777); err != nil {
		return nil, err
	}
	w := &fetching{c: c, to: to, report: report, known: map[string]note{}}
	var err error
	if w.notes, err = os.OpenFile(filepath.Join(to, notesFile), os.O_RDWR|os.O_CREATE|os.O_APPEND, 0o666); err != nil {
		return nil, err
	}
	ends := true
	for in := bufio.NewReader(w.notes); ; {
		line, err := in.ReadBytes('\n')
		var n note
		if json.Unmarshal(line, &n) == nil && filepath.IsLocal(filepath.FromSlash(n.File)) {
			w.known[n.Path] = n
		}
		if err != nil {
			ends = ends && len(line) == 0
			break
		}
	}
	if !ends { // a line that was cut off
		_, err = w.notes.WriteString("\n")
	}
	return w, err
}

// tidy takes away what came in part of files that are no longer what they were.
func (w *fetching) tidy(items []Item) {
	now, folders := map[string]bool{}, map[string]bool{w.to: true}
	for _, it := range items {
		now[partName(it)] = true
		folders[filepath.Join(w.to, filepath.FromSlash(path.Dir(localPath(it))))] = true
	}
	for folder := range folders {
		entries, _ := os.ReadDir(folder) // one that is not there has nothing
		for _, e := range entries {
			if name := e.Name(); partial.MatchString(name) && !now[name] {
				os.Remove(filepath.Join(folder, name))
			}
		}
	}
}

var partial = regexp.MustCompile(`^\.singback-[0-9a-f]{16}\.fetching$`)

// partName is what a file is called while it comes.
func partName(it Item) string { return ".singback-" + mark(it) + ".fetching" }

func (w *fetching) tell(p Progress) {
	if w.report != nil {
		w.report(p)
	}
}

// fetch fetches a file, unless it is there.
func (w *fetching) fetch(ctx context.Context, it Item) (got Fetched, err error) {
	got.Item = it
	local := localPath(it)
	if n, ok := w.known[it.Path]; ok && n.same(it) {
		if file := filepath.Join(w.to, filepath.FromSlash(n.File)); isFile(file) {
			got.File = file
			return got, nil
		}
	}
	folder := filepath.Join(w.to, filepath.FromSlash(path.Dir(local)))
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return got, err
	}
	part := filepath.Join(folder, partName(it))
	if err := w.load(ctx, it, part); err != nil {
		return got, err
	}
	if !it.Modified.IsZero() {
		os.Chtimes(part, time.Time{}, it.Modified) // it is as old as there; not needed
	}
	for k := 1; ; k++ {
		file := numbered(local, k)
		got.File = filepath.Join(w.to, filepath.FromSlash(file))
		err := os.Link(part, got.File) // not over what is there
		if err == nil {
			err = os.Remove(part)
		} else if !errors.Is(err, fs.ErrExist) {
			// A file system without links: looked at, then named.
			if _, there := os.Lstat(got.File); errors.Is(there, fs.ErrNotExist) {
				err = os.Rename(part, got.File)
			} else {
				err = fs.ErrExist
			}
		}
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return got, err
		}
		got.New = true
		return got, w.note(note{it.Path, it.ETag, it.Size, it.Modified, file})
	}
}

// same tells whether what came is what lies there.
func (n note) same(it Item) bool {
	if n.ETag != "" || it.ETag != "" {
		return n.ETag == it.ETag && (it.Size < 0 || n.Size == it.Size)
	}
	return n.Size == it.Size && n.Modified.Equal(it.Modified)
}

func (w *fetching) note(n note) error {
	line, err := json.Marshal(n)
	if err != nil {
		return err
	}
	w.known[n.Path] = n
	_, err = w.notes.Write(append(line, '\n'))
	return err
}

func isFile(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular()
}

// mark tells one state of a file from every other.
func mark(it Item) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\n%s\n%d\n%d\n%d", it.Path, it.ETag, it.Size, it.Modified.Unix(), it.Pieces))
	return hex.EncodeToString(sum[:8])
}

// localPath is where a file comes to lie below the folder, with / between.
func localPath(it Item) string {
	names := strings.Split(it.Path, "/")
	for i, name := range names {
		names[i] = localName(name, runtime.GOOS == "windows")
	}
	return path.Join(names...)
}

// localName is a name that every file system of a kind takes.
func localName(name string, windows bool) string {
	name = SafeName(name)
	if !windows {
		return name
	}
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`<>:"|?*`, r) {
			return '_'
		}
		return r
	}, name)
	if !filepath.IsLocal(name) || slices.Contains(devices, strings.ToUpper(strings.SplitN(name, ".", 2)[0])) {
		name = "_" + name
	}
	return name
}

// devices are names that no file has on Windows, whatever its ending.
var devices = strings.Fields("CON PRN AUX NUL COM0 COM1 COM2 COM3 COM4 COM5 COM6 COM7 COM8 COM9 LPT0 LPT1 LPT2 LPT3 LPT4 LPT5 LPT6 LPT7 LPT8 LPT9")

// load fills a file with what an item holds, from where it ends on.
func (w *fetching) load(ctx context.Context, it Item, part string) (err error) {
	out, err := os.OpenFile(part, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	at, err := out.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	if it.Size >= 0 && at > it.Size {
		at = 0
	}
	c := w.c
	for _, name := range it.folder {
		c = c.in(name)
	}
	begin := int64(0)
	for i, e := range it.entries {
		n := e.size
		if it.Pieces > 0 {
			p := piece{name: it.Path, id: it.id, size: it.Size, i: i + 1, of: it.Pieces}
			_, n = p.at()
		}
		if n >= 0 && at >= begin+n && it.Pieces > 0 {
			begin += n
			continue
		}
		if at, err = w.loadOne(ctx, c, it, e, out, begin, at, n); err != nil {
			return err
		}
		begin = at
	}
	if it.Size >= 0 && at != it.Size {
		return &Trouble{Kind: Changed, text: fmt.Sprintf("%d of %d bytes came: it was changed meanwhile; fetch again", at, it.Size)}
	}
	if it.Pieces == 0 {
		return nil
	}
	blocks, err := blocksOf(ctx, io.NewSectionReader(out, 0, it.Size), it.Size)
	if err == nil && idOf(blocks) != it.id {
		err = errors.Join(out.Truncate(0), &Trouble{Kind: Changed, text: "its pieces do not make what was sent: have it sent again"})
	}
	return err
}

// loadOne reads what is missing of one file of the server's, which begins at a place and
// is n bytes long, where that is known.
func (w *fetching) loadOne(ctx context.Context, c *client, it Item, e entry, out *os.File, begin, at, n int64) (int64, error) {
	told := func(d time.Duration, err error) {
		w.tell(Progress{Name: it.Path, Done: at, Total: it.Size, Wait: d, Err: err})
	}
	err := c.again(ctx, told, func() error {
		if n >= 0 && at == begin+n {
			return nil
		}
		in, whole, err := c.read(ctx, e.name, at-begin, e.etag)
		if err != nil {
			if statusOf(err) == 416 { // there is no more: what is here is of another file
				at = begin
			}
			return err
		}
		defer in.Close()
		if whole {
			at = begin
		}
		if err := out.Truncate(at); err != nil {
			return err
		}
		buffer := make([]byte, 128<<10)
		for {
			k, err := in.Read(buffer)
			if _, bad := out.WriteAt(buffer[:k], at); bad != nil {
				return bad
			}
			at += int64(k)
			w.tell(Progress{Name: it.Path, Done: at, Total: it.Size})
			switch {
			case n >= 0 && at > begin+n:
				return &Trouble{Kind: Changed, text: "it has become longer meanwhile: fetch again"}
			case errors.Is(err, io.EOF) && n >= 0 && at < begin+n:
				return c.broken(ctx, io.ErrUnexpectedEOF)
			case errors.Is(err, io.EOF):
				return nil
			case err != nil:
				return c.broken(ctx, err)
			}
		}
	})
	return at, err
}
