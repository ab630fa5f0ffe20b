package main

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
)

// policy is what the page runs under (internal/page serves it with the same one).
const policy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// handsIn is the query of a page that hands in.
const handsIn = "hands-in"

// serve serves the page of a folder, with recordings in the place of the engine and the
// sound, and the handbook.
func serve(folder string) *httptest.Server {
	stands := map[string]string{
		"/worker.js": "webtest/mock-worker.js", "/sound.js": "webtest/mock-sound.js",
		"/recordings.mjs": "webtest/recordings.mjs", "/line.svg": "webtest/line.svg", "/sung.svg": "webtest/sung.svg",
		"/narrow-line.svg": "webtest/narrow-line.svg", "/narrow-sung.svg": "webtest/narrow-sung.svg",
		"/options.json": "webtest/options.json", "/degrees.json": "webtest/degrees.json",
	}
	return httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		switch {
		case r.URL.Path == "/help/topics.json":
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write([]byte(`[{"name": "practice", "about": "the drill, today's practice, and why feedback fades"}, {"name": "voice", "about": "your voice, your room, your instrument"}]`))
			return
		case strings.HasPrefix(r.URL.Path, "/help/"):
			http.ServeFile(w, r, filepath.Join(folder, "../help", filepath.Base(r.URL.Path)))
			return
		case r.URL.Path == "/handin.json":
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write([]byte(`{"address": "https://example.org/dav/class/", "relay": true}`))
			return
		case r.URL.Path == "/data/handin": // knows nobody
			w.Header().Set("Singback-Status", "401")
			return
		case r.URL.Path == "/" && r.URL.RawQuery == handsIn:
			index, err := os.ReadFile(filepath.Join(folder, "web/index.html"))
			if err != nil {
				http.Error(w, err.Error(), http.StatusInternalServerError)
				return
			}
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			_, _ = w.Write([]byte(strings.Replace(string(index), "<body ", `<body data-hand-in="yes" `, 1)))
			return
		case r.URL.Path == "/files.json":
			w.Header().Set("Content-Type", "application/json")
			_, _ = w.Write([]byte(`{"version": "", "files": []}`))
			return
		}
		if s, ok := stands[r.URL.Path]; ok {
			if strings.HasSuffix(s, "js") {
				w.Header().Set("Content-Type", "text/javascript")
			}
			http.ServeFile(w, r, filepath.Join(folder, s))
			return
		}
		if r.URL.Path == "/" {
			http.ServeFile(w, r, filepath.Join(folder, "web/"))
			return
		}
		http.ServeFile(w, r, filepath.Join(folder, "web", filepath.Clean("/"+r.URL.Path)))
	}))
}

// repository finds the folder of go.mod, at or above this one.
func repository() (string, error) {
	folder, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for ; ; folder = filepath.Dir(folder) {
		if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
			return folder, nil
		}
		if folder == filepath.Dir(folder) {
			return "", errors.New("run it within the repository")
		}
	}
}
