package page

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"singback/internal/newfile"
)

// made is a page of a few files.
func made() (web, built fstest.MapFS) {
	text := func(s string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(s)} }
	return fstest.MapFS{
			"index.html": text("<!DOCTYPE html>\n<title>singback</title>\n"), "style.css": text("body { margin: 0 }\n"),
			"app.js": text("'use strict';\n"), "sw.js": text("'use strict';\n"), "manifest.webmanifest": text("{}\n"),
			"desk/index.html": text("<!DOCTYPE html>\n<title>desk</title>\n"), "desk/desk.js": text("'use strict';\n"), // which no folder has
			"icons/192.png": text("\x89PNG"), "icons/mask.svg": text("<svg xmlns=\"http://www.w3.org/2000/svg\"/>"),
		}, fstest.MapFS{
			"README.md": text("what belongs here"), "engine.wasm.xz": text("\xfd7zXZ"), "wasm_exec.js": text("// loader\n"),
		}
}

func site(t testing.TB) *Site {
	t.Helper()
	s, err := New(made())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A page is all files of its web folder, the engine and its loader, and no more. One
// without an engine is none, and one that could not be served is refused.
func TestSite(t *testing.T) {
	s := site(t)
	want := []string{"app.js", "engine.wasm.xz", "icons/192.png", "icons/mask.svg", "index.html", "manifest.webmanifest", "style.css", "sw.js", "wasm_exec.js"}
	got := slices.DeleteFunc(s.names(), func(name string) bool { return strings.HasPrefix(name, handbookFolder) })
	if !slices.Equal(got, want) {
		t.Errorf("files %q, want %q", got, want)
	}
	var topics []struct{ Name, About string }
	if err := json.Unmarshal(s.files["help/topics.json"].data, &topics); err != nil || len(topics) < 10 {
		t.Errorf("%d topics, %v", len(topics), err)
	}
	for _, topic := range topics {
		if topic.About == "" || len(s.files["help/"+topic.Name+".md"].data) == 0 {
			t.Errorf("topic %+v has no file", topic)
		}
	}
	for _, c := range []struct {
		what   string
		change func(web, built fstest.MapFS)
		err    string
	}{
		{"another file is another page", func(web, _ fstest.MapFS) { web["a.js"] = &fstest.MapFile{} }, ""},
		{"and other content", func(web, _ fstest.MapFS) { web["app.js"] = &fstest.MapFile{Data: []byte("1")} }, ""},
		{"and another name", func(web, _ fstest.MapFS) { web["b.css"] = web["style.css"]; delete(web, "style.css") }, ""},
		{"and another engine", func(_, built fstest.MapFS) { built[engine] = &fstest.MapFile{Data: []byte("x")} }, ""},
		{"no engine", func(_, built fstest.MapFS) { delete(built, engine) }, "make build"},
		{"an empty engine", func(_, built fstest.MapFS) { built[engine] = &fstest.MapFile{} }, "make build"},
		{"no loader", func(_, built fstest.MapFS) { delete(built, loader) }, "make build"},
		{"a name that is made here", func(web, _ fstest.MapFS) { web["home.json"] = &fstest.MapFile{} }, "home.json"},
		{"a name that is two things", func(web, _ fstest.MapFS) { web[engine] = &fstest.MapFile{} }, engine},
		{"a name that is not the same everywhere", func(web, _ fstest.MapFS) { web["a b.js"] = &fstest.MapFile{} }, "a b.js"},
	} {
		web, built := made()
		c.change(web, built)
		other, err := New(web, built)
		switch {
		case c.err == "" && (err != nil || other.Version() == s.Version() || len(other.Version()) != 16):
			t.Errorf("%s: %v", c.what, err)
		case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err) || strings.Contains(err.Error(), "\n")):
			t.Errorf("%s: %v, want an error with %s", c.what, err, c.err)
		}
	}
	web, built := made()
	again, err := New(web, built)
	if err != nil || again.Version() != s.Version() {
		t.Errorf("the same files are the version %s and %s, %v", s.Version(), again.Version(), err)
	}
}

// What is embedded is a page, or says how to get one; its own files can be served.
func TestEmbedded(t *testing.T) {
	s, err := Embedded()
	if errors.Is(err, ErrNoEngine) {
		web, subErr := fs.Sub(embedded, "web")
		if subErr != nil {
			t.Fatal(subErr)
		}
		_, built := made()
		s, err = New(web, built)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"index.html", engine, loader} {
		if _, ok := s.files[name]; !ok {
			t.Errorf("the page has no %s", name)
		}
	}
	for _, name := range s.names() {
		if s.files[name].kind == "application/octet-stream" && name != engine {
			t.Errorf("%s has no media type: see mediaTypes", name)
		}
	}
}

// written reads a folder.
func written(t *testing.T, folder string) map[string]string {
	t.Helper()
	got := map[string]string{}
	if err := fs.WalkDir(os.DirFS(folder), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(filepath.Join(folder, name))
		got[name] = string(b)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return got
}

// checkList checks the files of a folder against its own list.
func checkList(t *testing.T, s *Site, got map[string]string) {
	t.Helper()
	var list struct {
		Version string
		Files   []struct {
			Path, SHA256 string
			Bytes        int
		}
	}
	if err := json.Unmarshal([]byte(got["files.json"]), &list); err != nil || list.Version != s.Version() || len(list.Files) != len(s.files)+1 {
		t.Errorf("files.json has the version %q and %d files, %v: %s", list.Version, len(list.Files), err, got["files.json"])
	}
	for _, f := range list.Files {
		if content, ok := got[f.Path]; !ok || len(content) != f.Bytes || sum([]byte(content)) != f.SHA256 {
			t.Errorf("%s is listed with %d bytes and the sum %s, and has %d", f.Path, f.Bytes, f.SHA256, len(content))
		}
	}
	var home struct{ Home, Version string }
	if err := json.Unmarshal([]byte(got["home.json"]), &home); err != nil || home.Home != "browser" || home.Version != s.Version() {
		t.Errorf("home.json is %q, %v", got["home.json"], err)
	}
}

// A folder has the whole page, and its list is true.
func TestWriteFolder(t *testing.T) {
	s := site(t)
	folder := filepath.Join(t.TempDir(), "to", "page")
	done, err := s.WriteFolder(folder, false)
	if err != nil {
		t.Fatal(err)
	}
	got := written(t, folder)
	checkList(t, s, got)
	bytes := 0
	for name, content := range got {
		if !strings.HasPrefix(name, handbookFolder) {
			bytes += len(content)
		}
	}
	if done.Files != len(got) || len(got) != len(s.files)+2 || done.Bytes != bytes || done.Left != nil {
		t.Errorf("%+v, of %d files with %d bytes", done, len(got), bytes)
	}
	for name, f := range s.files {
		if got[name] != string(f.data) {
			t.Errorf("%s is %q", name, got[name])
		}
	}
	// A second time it is refused, without a trace; with force it is written anew.
	if _, err := s.WriteFolder(folder, false); !errors.Is(err, newfile.ErrThere) {
		t.Errorf("a second time: %v", err)
	}
	web, built := made()
	web["new.js"] = &fstest.MapFile{Data: []byte("1\n")}
	delete(web, "style.css")
	newer, err := New(web, built)
	if err != nil {
		t.Fatal(err)
	}
	foreign := filepath.Join(folder, "notes.txt")
	if err := os.WriteFile(foreign, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	done, err = newer.WriteFolder(folder, true)
	if err != nil || !slices.Equal(done.Left, []string{"style.css"}) {
		t.Errorf("%+v, %v, want that style.css of the older page is left", done, err)
	}
	got = written(t, folder)
	checkList(t, newer, got)
	if got["notes.txt"] != "mine" || got["style.css"] == "" || len(got) != len(newer.files)+4 {
		t.Errorf("the folder has %d files now", len(got))
	}
}

// What is not the page's own stays as it is, with force and without; nothing of the
// page is written then, and one line names what is in the way.
func TestWriteFolderLeavesForeignFiles(t *testing.T) {
	s := site(t)
	for _, c := range []struct {
		what    string
		prepare func(folder string) error
		want    []string
	}{
		{"a file of the same name", put("index.html", "mine"), []string{"index.html is in the way"}},
		{"two", func(folder string) error {
			return errors.Join(put("index.html", "mine")(folder), put("app.js", "mine")(folder))
		}, []string{"app.js and index.html are in the way"}},
		{"a folder instead of a file", put("app.js/x", "mine"), []string{"app.js is in the way"}},
		{"a file instead of a folder", put("icons", "mine"), []string{"icons is in the way"}},
		{"somebody else's list", put("files.json", `{"files":[{"path":"index.html"}]}`), []string{"files.json is in the way"}},
		{"a list that is none", put("files.json", `{`), []string{"files.json is in the way"}},
		{"a link to nothing", func(folder string) error {
			return errors.Join(os.MkdirAll(folder, 0o777), os.Symlink("nowhere", filepath.Join(folder, "app.js")))
		}, []string{"app.js is in the way"}},
		{"a file for a folder", func(folder string) error { return os.WriteFile(folder, []byte("mine"), 0o666) }, []string{"it is a file, want a folder"}},
	} {
		for _, force := range []bool{false, true} {
			folder := filepath.Join(t.TempDir(), "page")
			if err := c.prepare(folder); err != nil {
				t.Fatal(err)
			}
			before := listing(t, folder)
			_, err := s.WriteFolder(folder, force)
			if err == nil || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), folder) {
				t.Errorf("%s, force %v: %v", c.what, force, err)
				continue
			}
			for _, text := range c.want {
				if !strings.Contains(err.Error(), text) {
					t.Errorf("%s, force %v: %q does not say %q", c.what, force, err, text)
				}
			}
			if after := listing(t, folder); !slices.Equal(after, before) {
				t.Errorf("%s, force %v: %q became %q", c.what, force, before, after)
			}
		}
	}
}

func put(name, text string) func(string) error {
	return func(folder string) error {
		path := filepath.Join(folder, name)
		return errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, []byte(text), 0o666))
	}
}

// listing is everything below a path with its content.
func listing(t *testing.T, path string) (list []string) {
	t.Helper()
	if err := filepath.WalkDir(path, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		b, _ := os.ReadFile(name)
		list = append(list, name+" "+d.Type().String()+" "+string(b))
		return nil
	}); err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	return list
}

// A list of files is a hostile one where it names what lies elsewhere.
func TestOwnFiles(t *testing.T) {
	folder := t.TempDir()
	list := `{"version":"1","files":[{"path":"../x"},{"path":"/etc/passwd"},{"path":"a\\..\\b"},{"path":"engine.wasm.xz"},{"path":"a//b"},{"path":"ok.js"}]}`
	if err := put("files.json", list)(folder); err != nil {
		t.Fatal(err)
	}
	own := ownFiles(folder)
	if len(own) != 3 || !own["ok.js"] || !own[engine] || !own["files.json"] {
		t.Errorf("own files: %v", own)
	}
}

// A folder that cannot be written to is left as it was, and one line says why.
func TestWriteFolderReadOnly(t *testing.T) {
	if os.Geteuid() == 0 {
		// Root may write anywhere but into what is no folder of a disk.
		if _, err := os.Stat("/proc/self"); err != nil {
			t.Skip("root may write anywhere")
		}
		_, err := site(t).WriteFolder("/proc/self/page/below", false)
		if err == nil || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "/proc/self/page") {
			t.Errorf("%v, want what the system says", err)
		}
		return
	}
	folder := t.TempDir()
	if err := os.Chmod(folder, 0o500); err != nil {
		t.Fatal(err)
	}
	_, err := site(t).WriteFolder(filepath.Join(folder, "page"), false)
	if !errors.Is(err, fs.ErrPermission) || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v, want that it may not be written", err)
	}
}
