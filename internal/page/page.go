// Package page has the page to give away: the files that a browser loads, the server
// that opens them on this computer beside the record of the terminal, and the folder
// that any other web server can hand out. Where a teacher has set an address the page
// hands in to it.
//
// [Embedded] is what this build has. [Server.Serve] serves it on loopback, behind a
// key in the address; what it stores goes through the same calls as the terminal's,
// and the record is open no longer than a request takes. [Site.WriteFolder] writes it
// out. The package computes nothing about music and knows nothing of what the
// files do.
package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"

	"singback/internal/help"
)

//go:embed web built
var embedded embed.FS

// ErrNoEngine says that this build lacks what the page computes with.
var ErrNoEngine = errors.New("this build has no page in it; make build, in the sources of singback, makes one that has (it needs xz)")

// The files that make build adds.
const (
	engine = "engine.wasm.xz"
	loader = "wasm_exec.js"
)

// The files that are made here: which home the page is in, and what belongs to it.
const (
	homeFile = "home.json"
	listFile = "files.json"
)

// worker is the service worker, which keeps what files.json lists.
const worker = "sw.js"

// A file is one that a browser loads.
type file struct {
	data []byte
	sum  string // SHA-256 in hexadecimal digits
	kind string // media type

	packed []byte // the data by gzip; nil where it is hardly smaller
}

// Site is the page as files.
type Site struct {
	files   map[string]file
	desk    map[string]file // those of the teacher's desk, which only a server with a class hands out
	version string
}

// deskFolder has the files of the teacher's desk: no part of the page elsewhere, of its
// version or of its first visit.
const deskFolder = "desk/"

// Embedded returns the page that is part of this program; [ErrNoEngine] where it was
// built without.
func Embedded() (*Site, error) {
	web, err := fs.Sub(embedded, "web")
	if err != nil {
		return nil, err
	}
	built, err := fs.Sub(embedded, "built")
	if err != nil {
		return nil, err
	}
	return New(web, built)
}

// New returns the page of all files of web with the engine and its loader in built.
func New(web, built fs.FS) (*Site, error) {
	s := &Site{files: map[string]file{}, desk: map[string]file{}}
	for _, name := range []string{engine, loader} {
		data, err := fs.ReadFile(built, name)
		if errors.Is(err, fs.ErrNotExist) || err == nil && len(data) == 0 {
			return nil, ErrNoEngine
		}
		if err != nil {
			return nil, err
		}
		s.add(name, data)
	}
	err := fs.WalkDir(web, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if _, ok := s.files[name]; ok || name == homeFile || name == listFile || name == handInFile || !plainName(name) {
			return fmt.Errorf("the page cannot have a file %q", name)
		}
		data, err := fs.ReadFile(web, name)
		switch {
		case err != nil:
		case strings.HasPrefix(name, deskFolder):
			s.desk[name] = newFile(name, thin(name, data))
		default:
			s.add(name, thin(name, data))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	s.handbook()
	s.sign()
	return s, nil
}

// handbookFolder has the topics of the handbook: a list of them, and a file each. They are
// read when somebody wants to, and are no part of the first visit.
const handbookFolder = "help/"

// handbook adds the handbook.
func (s *Site) handbook() {
	type topic struct {
		Name  string `json:"name"`
		About string `json:"about"`
	}
	var list []topic
	for _, t := range help.Topics() {
		list = append(list, topic{t.Name, t.Short})
		s.add(handbookFolder+t.Name+".md", []byte(t.Source))
	}
	s.add(handbookFolder+"topics.json", line(list))
}

// add adds a file.
func (s *Site) add(name string, data []byte) { s.files[name] = newFile(name, data) }

// newFile is a file, packed too where that makes it smaller by much.
func newFile(name string, data []byte) file {
	f := file{data: data, sum: sum(data), kind: mediaType(name)}
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err == nil {
		_, err = w.Write(data)
	}
	if err == nil {
		err = w.Close()
	}
	if err == nil && packed.Len() < len(data)*9/10 {
		f.packed = packed.Bytes()
	}
	return f
}

// names returns the files in the order of their names.
func (s *Site) names() (list []string) {
	for name := range s.files {
		list = append(list, name)
	}
	slices.Sort(list)
	return list
}

// handInFile says, where the teacher has set one, to which address the page hands in.
const handInFile = "handin.json"

// onDemand are modules that are loaded when they are needed, and no part of the first visit.
var onDemand = map[string]bool{"handin.js": true, "handin-send.js": true, handInFile: true}

// later tells whether a file is no part of the first visit.
func later(name string) bool { return strings.HasPrefix(name, handbookFolder) || onDemand[name] }

// HandingIn returns the page that hands in to an address, of an origin: itself, or, with
// relay, over the server on this computer. The page of a web server may speak with that
// origin and with no other.
func (s *Site) HandingIn(address, origin string, relay bool) *Site {
	out := &Site{files: maps.Clone(s.files), desk: s.desk}
	index := bytes.Replace(s.files["index.html"].data, []byte("<body "), []byte(`<body data-hand-in="yes" `), 1)
	if !relay {
		index = bytes.Replace(index, []byte("connect-src 'self'"), []byte("connect-src 'self' "+origin), 1)
	}
	out.add("index.html", index)
	out.add(handInFile, line(struct {
		Address string `json:"address"`
		Relay   bool   `json:"relay"`
	}{address, relay}))
	out.sign()
	return out
}

// sign makes the version anew of what the files hold.
func (s *Site) sign() {
	h := sha256.New()
	for _, name := range s.names() {
		fmt.Fprintf(h, "%s %s\n", s.files[name].sum, name)
	}
	s.version = hex.EncodeToString(h.Sum(nil))[:16]
}

// Version is made of the content of all files: another page has another.
func (s *Site) Version() string { return s.version }

// Size is what the first visit takes over the wire, in bytes, from a server that packs
// nothing.
func (s *Site) Size() (n int) {
	for name, f := range s.files {
		if !later(name) {
			n += len(f.data)
		}
	}
	return n
}

// in returns the page for a home, with home.json.
func (s *Site) in(home string) *Site {
	out := &Site{files: make(map[string]file, len(s.files)+2), desk: s.desk, version: s.version}
	for name, f := range s.files {
		out.files[name] = f
	}
	out.add(homeFile, line(struct {
		Home    string `json:"home"`
		Version string `json:"version"`
	}{home, s.version}))
	return out
}

// The homes of the page: the terminal's computer, or the browser itself.
const (
	atComputer = "computer"
	atBrowser  = "browser"
)

// line is a record as JSON on a line of its own.
func line(record any) []byte {
	b, err := json.Marshal(record)
	if err != nil {
		panic("page: " + err.Error()) // of what is written here
	}
	return append(b, '\n')
}

func sum(data []byte) string {
	s := sha256.Sum256(data)
	return hex.EncodeToString(s[:])
}

// plainName tells whether a file has a name that is the same in every address and on
// every system.
func plainName(name string) bool {
	return fs.ValidPath(name) && !strings.ContainsFunc(name, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && !strings.ContainsRune("-_./", r)
	})
}

// mediaTypes are those of what pages are made of (the registry of media types at
// iana.org; manifests: W3C Web Application Manifest).
var mediaTypes = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
	".js": "text/javascript; charset=utf-8", ".mjs": "text/javascript; charset=utf-8",
	".json": "application/json", ".webmanifest": "application/manifest+json",
	".txt": "text/plain; charset=utf-8", ".md": "text/markdown; charset=utf-8",
	".svg": "image/svg+xml", ".png": "image/png", ".ico": "image/vnd.microsoft.icon",
	".woff2": "font/woff2", ".wav": "audio/wav",
}

func mediaType(name string) string {
	if t, ok := mediaTypes[path.Ext(name)]; ok {
		return t
	}
	return "application/octet-stream"
}
