package handin

import (
	"context"
	"crypto/md5"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/webdav"
)

// server is a WebDAV server of golang.org/x/net, which knows nothing of this package, in
// memory, with what a test wants to go wrong in front of it.
type server struct {
	*httptest.Server
	fs webdav.FileSystem

	busy  sync.RWMutex // held while a request is answered
	mu    sync.Mutex
	asked []string // METHOD PATH of each request
	wrong func(w http.ResponseWriter, r *http.Request) bool
}

func serve(t *testing.T) *server {
	t.Helper()
	s := &server{fs: webdav.NewMemFS()}
	dav := &webdav.Handler{FileSystem: s.fs, LockSystem: webdav.NewMemLS()}
	s.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.busy.RLock()
		defer s.busy.RUnlock()
		s.mu.Lock()
		s.asked = append(s.asked, r.Method+" "+r.URL.Path)
		wrong := s.wrong
		s.mu.Unlock()
		if wrong == nil || !wrong(w, r) {
			dav.ServeHTTP(w, r)
		}
	}))
	t.Cleanup(s.Close)
	if err := s.fs.Mkdir(context.Background(), "/class", 0o777); err != nil {
		t.Fatal(err)
	}
	return s
}

// goesWrong sets what goes wrong from now on, when nothing is being answered any more.
func (s *server) goesWrong(wrong func(w http.ResponseWriter, r *http.Request) bool) {
	s.busy.Lock()
	defer s.busy.Unlock()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wrong, s.asked = wrong, nil
}

func (s *server) requests(method string) (list []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, a := range s.asked {
		if path, ok := strings.CutPrefix(a, method+" "); ok {
			list = append(list, path)
		}
	}
	return list
}

// folder is the folder of the class on the server, whose waits take no time.
func (s *server) folder(t *testing.T) *Folder {
	t.Helper()
	return quick(t, s.URL+"/class", "", "")
}

func quick(t *testing.T, address, user, password string) *Folder {
	t.Helper()
	a, err := ParseAddress(address, false)
	if err != nil {
		t.Fatal(err)
	}
	a.User, a.Password = user, password
	f := Open(a)
	f.c.wait = func(ctx context.Context, _ time.Duration) error { return context.Cause(ctx) }
	return f
}

// files are the names of all files of the class with what they hold.
func (s *server) files(t *testing.T) map[string]string {
	t.Helper()
	list := map[string]string{}
	dir, err := s.fs.OpenFile(context.Background(), "/class", 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	infos, err := dir.Readdir(-1)
	if err != nil {
		t.Fatal(err)
	}
	for _, info := range infos {
		f, err := s.fs.OpenFile(context.Background(), "/class/"+info.Name(), 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		list[info.Name()] = string(b)
	}
	return list
}

// put puts a file into the class as somebody else does, by what the server has it on.
func (s *server) put(t *testing.T, name, text string) {
	t.Helper()
	f, err := s.fs.OpenFile(context.Background(), "/class/"+name, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o666)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// sound is n bytes that are no two times the same within 256.
func sound(n int) string {
	b := make([]byte, n)
	for i, x := 0, uint32(7); i < n; i++ {
		x = x*1664525 + 1013904223
		b[i] = byte(x >> 24)
	}
	return string(b)
}

// byDigest lets a user in by Digest authentication as RFC 2617 has it, worked out here
// by its formulas and not by the library, with a nonce that is stale after so many
// requests.
func byDigest(user, password string, stale int) func(w http.ResponseWriter, r *http.Request) bool {
	hash := func(parts ...string) string {
		sum := md5.Sum([]byte(strings.Join(parts, ":")))
		return hex.EncodeToString(sum[:])
	}
	nonce, used := 1, 0
	return func(w http.ResponseWriter, r *http.Request) bool {
		given := map[string]string{}
		for part := range strings.SplitSeq(strings.TrimPrefix(r.Header.Get("Authorization"), "Digest "), ",") {
			name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
			given[name] = strings.Trim(value, `"`)
		}
		want := hash(hash(user, "class", password), given["nonce"], given["nc"], given["cnonce"], "auth", hash(r.Method, r.RequestURI))
		old := given["nonce"] != fmt.Sprint(nonce)
		if used++; used > stale {
			nonce, used = nonce+1, 0
			old = true
		}
		if given["username"] == user && given["response"] == want && !old {
			return false
		}
		said := ""
		if given["response"] == want && given["username"] == user {
			said = ", stale=true"
		}
		w.Header().Set("WWW-Authenticate", fmt.Sprintf(`Digest realm="class", qop="auth", nonce="%d"%s`, nonce, said))
		w.WriteHeader(http.StatusUnauthorized)
		return true
	}
}
