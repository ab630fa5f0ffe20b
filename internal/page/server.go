package page

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log"
	"maps"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"singback/calib"
	"singback/internal/handin"
)

// Home is what of the terminal's data the page may see and change.
type Home struct {
	Record string // the file of the record
	Singer string
	Known  func() (Known, error)                        // what is known of the singer, found out anew
	Keep   func(calib.Profile) (path string, err error) // keeps the singer's profile; "" where none is kept
	Now    func() time.Time

	// Desk answers what is asked below desk/data/, by name and method; nil where no
	// class is open, and the page has no desk. An error may have a method Refusal, which
	// says how it is told.
	Desk   map[string]map[string]func(http.ResponseWriter, *http.Request) error
	HandIn handin.Address    // where the page hands in; the zero value is nowhere
	Way    http.RoundTripper // to there; nil: the network
}

// Known is what the page is told of the singer. Profile and Course are TOML; "" is
// nothing, and the built-in course.
type Known struct {
	Singer      string   `json:"singer"`
	Profile     string   `json:"profile"`
	ProfileName string   `json:"profile_name"`
	Course      string   `json:"course"`
	Record      string   `json:"record"`
	There       bool     `json:"there"` // the record is
	Notes       []string `json:"notes"` // lines that the singer should see
}

// Server opens the page on this computer. It answers whoever has the key, in a browser
// that came from no other page.
type Server struct {
	site *Site
	home Home
	key  string
	port int
	log  io.Writer

	storing sync.Mutex // one answer is stored at a time
	added   atomic.Int64
	relay   *relay // nil: nothing is handed in
}

// What a request may be, and how long it may take.
const (
	maxAnswers = 1 << 20
	maxRecord  = 64 << 20
	maxProfile = 256 << 10
	maxHeader  = 16 << 10

	headerTime = 5 * time.Second
	readTime   = time.Minute
	writeTime  = time.Minute
	idleTime   = 2 * time.Minute
	endTime    = 5 * time.Second // for requests that are being answered at the end
)

// NewServer returns a server of a site for what listens on a port of this computer.
// Complaints that are nobody's fault but the program's go to log.
func NewServer(site *Site, home Home, port int, log io.Writer) *Server {
	key := make([]byte, 16)
	rand.Read(key) // never fails, as its documentation says
	s := &Server{home: home, key: hex.EncodeToString(key), port: port, log: log}
	if home.HandIn.Host() != "" {
		site = site.HandingIn(home.HandIn.String(), home.HandIn.Origin(), true)
		s.relay = newRelay(home.HandIn, home.Way)
	}
	s.site = site.in(atComputer)
	if home.Desk != nil {
		maps.Copy(s.site.files, site.desk)
	}
	return s
}

// Listen listens on a port of this computer that nobody else can reach; 0 is a free
// one.
func Listen(port int) (net.Listener, int, error) {
	l, err := net.Listen("tcp4", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
	if err != nil {
		var inSystem *net.OpError
		if errors.As(err, &inSystem) {
			err = inSystem.Err
		}
		return nil, 0, err
	}
	return l, l.Addr().(*net.TCPAddr).Port, nil
}

// Address is where a browser finds the page; place is where in it, like
// sing?key=Eb, or "".
func (s *Server) Address(place string) (string, error) {
	u := &url.URL{Scheme: "http", Host: net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port)), Path: "/" + s.key + "/"}
	if place = strings.TrimPrefix(place, "#"); place == "" {
		return u.String(), nil
	}
	u, err := u.Parse("#" + place)
	if err != nil {
		return "", err
	}
	return u.String(), nil
}

// DeskAddress is where a browser finds the teacher's desk.
func (s *Server) DeskAddress() string {
	u := url.URL{Scheme: "http", Host: net.JoinHostPort("127.0.0.1", strconv.Itoa(s.port)), Path: "/" + s.key + "/" + deskFolder}
	return u.String()
}

// Added is how many answers were added to the record.
func (s *Server) Added() int { return int(s.added.Load()) }

// Serve answers until the context ends; what is being answered then is finished.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler: s, ErrorLog: log.New(s.log, "", 0), MaxHeaderBytes: maxHeader,
		ReadHeaderTimeout: headerTime, ReadTimeout: readTime, WriteTimeout: writeTime, IdleTimeout: idleTime,
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), endTime)
	defer cancel()
	if err := server.Shutdown(last); err != nil {
		server.Close()
	}
	<-ended
	return nil
}

// policy is what a browser may do with the page: run what comes from here, and speak
// to nobody else.
const policy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// deskPolicy lets the desk play what it hears, too.
const deskPolicy = policy + "; media-src 'self'"

// permissions are the powerful features that the page uses, and those that it never
// asks for.
const permissions = "microphone=(self), midi=(self), accelerometer=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), " +
	"hid=(), magnetometer=(), payment=(), serial=(), usb=()"

// ServeHTTP implements [http.Handler].
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", permissions)
	h.Set("Cache-Control", "no-store")
	if err := s.answer(w, r); err != nil {
		s.refuse(w, err)
	}
}

// answer answers a request, or returns why it does not.
func (s *Server) answer(w http.ResponseWriter, r *http.Request) error {
	name, err := s.admit(r)
	if err != nil {
		return err
	}
	if name == deskFolder {
		name += "index.html"
	}
	handlers, ok := s.data()[name]
	if strings.HasPrefix(name, deskFolder) && s.home.Desk != nil {
		w.Header().Set("Content-Security-Policy", deskPolicy)
		if below, isData := strings.CutPrefix(name, deskFolder+"data/"); isData {
			handlers, ok = s.home.Desk[below]
		}
	}
	if !ok {
		handlers = map[string]handler{http.MethodGet: s.file(name)}
		if _, ok := s.site.files[name]; !ok && name != "" {
			return refusal{status: http.StatusNotFound, text: "there is nothing of that name in the page"}
		}
	}
	do, ok := handlers[r.Method]
	if !ok {
		var allowed []string
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut} {
			if handlers[method] != nil {
				allowed = append(allowed, method)
			}
		}
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		return refusal{status: http.StatusMethodNotAllowed, text: fmt.Sprintf("%.20q cannot be done with it; want %s", r.Method, strings.Join(allowed, " or "))}
	}
	return do(w, r)
}

// handler answers one kind of request.
type handler = func(http.ResponseWriter, *http.Request) error

// admit tells what a request asks for, below the key: only as the page itself asks,
// in a browser, for this host, on behalf of no other page.
func (s *Server) admit(r *http.Request) (name string, err error) {
	denied := func(text, hint string) (string, error) {
		return "", refusal{status: http.StatusForbidden, text: text, hint: hint}
	}
	if !s.isHost(r.Host) || r.URL.Host != "" {
		return denied("this is the page of another host", "open the address that singback page printed")
	}
	for _, origin := range r.Header.Values("Origin") {
		if origin != "http://"+r.Host {
			return denied("another page asked for this", "open the address that singback page printed")
		}
	}
	for _, site := range r.Header.Values("Sec-Fetch-Site") {
		if site != "same-origin" && site != "none" {
			return denied("another page asked for this", "open the address that singback page printed, by hand")
		}
	}
	// What was sent is looked at, before anybody has made it nicer.
	asked, _, _ := strings.Cut(r.RequestURI, "?")
	below, ok := strings.CutPrefix(asked, "/")
	key, name, hasName := strings.Cut(below, "/")
	if !ok || subtle.ConstantTimeCompare([]byte(key), []byte(s.key)) != 1 {
		return denied("the key is missing in the address, or is an old one", "open the address that singback page printed last")
	}
	if !hasName {
		return "", redirect("/" + s.key + "/")
	}
	return name, nil
}

// isHost tells whether a Host header names this server.
func (s *Server) isHost(host string) bool {
	for _, name := range []string{"127.0.0.1", "localhost"} {
		if host == net.JoinHostPort(name, strconv.Itoa(s.port)) || s.port == 80 && host == name {
			return true
		}
	}
	return false
}

// file hands out one of the files; "" is the page itself.
func (s *Server) file(name string) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		if name == "" {
			name = "index.html"
		}
		f, ok := s.site.files[name]
		if !ok {
			return refusal{status: http.StatusNotFound, text: "the page has no " + name}
		}
		w.Header().Set("Cache-Control", "no-cache") // asked for again, and not sent again
		if f.packed != nil {
			w.Header().Set("Vary", "Accept-Encoding")
			if takesGzip(r) {
				w.Header().Set("Content-Encoding", "gzip")
				return send(w, r, f.kind, `"`+f.sum+`-gzip"`, f.packed)
			}
		}
		return send(w, r, f.kind, `"`+f.sum+`"`, f.data)
	}
}

// takesGzip tells whether a browser takes what is packed by gzip (RFC 9110, 12.5.3).
func takesGzip(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		coding, weight, _ := strings.Cut(strings.TrimSpace(part), ";")
		if strings.TrimSpace(coding) == "gzip" {
			return !strings.HasPrefix(strings.ReplaceAll(weight, " ", ""), "q=0") || strings.ContainsAny(weight, "123456789")
		}
	}
	return false
}

// send answers with content, or that it is the same as the browser has.
func send(w http.ResponseWriter, r *http.Request, kind, tag string, data []byte) error {
	w.Header().Set("ETag", tag)
	for _, list := range r.Header.Values("If-None-Match") {
		for known := range strings.SplitSeq(list, ",") {
			if known = strings.TrimSpace(known); known == "*" || strings.TrimPrefix(known, "W/") == tag {
				w.WriteHeader(http.StatusNotModified)
				return nil
			}
		}
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = w.Write(data) // whoever asked may have gone
	return nil
}

// redirect is the error of a request that is to be made elsewhere.
type redirect string

func (r redirect) Error() string { return "it is at " + string(r) }

// refusal is the error of a request that is not answered, as it is told.
type refusal struct {
	status     int
	text, hint string
	code       string // of the desk's; "" for none
}

func (r refusal) Error() string { return r.text }

// refuse says why a request is not answered.
func (s *Server) refuse(w http.ResponseWriter, err error) {
	var to redirect
	if errors.As(err, &to) {
		w.Header().Set("Location", string(to))
		w.WriteHeader(http.StatusPermanentRedirect)
		return
	}
	why := refusalOf(err)
	data := line(struct {
		Error string `json:"error"`
		Hint  string `json:"hint"`
		Code  string `json:"code,omitempty"`
	}{strings.Join(strings.Fields(why.text), " "), why.hint, why.code})
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	w.WriteHeader(why.status)
	_, _ = w.Write(data)
}

// body reads what a request carries, at most so many bytes, in one of the types.
func body(w http.ResponseWriter, r *http.Request, limit int64, types ...string) ([]byte, error) {
	if err := checkType(r, types); err != nil {
		return nil, err
	}
	tooLarge := refusal{status: http.StatusRequestEntityTooLarge, text: fmt.Sprintf("more than %d bytes at once", limit)}
	if r.ContentLength > limit {
		return nil, tooLarge
	}
	var b bytes.Buffer
	_, err := b.ReadFrom(http.MaxBytesReader(w, r.Body, limit))
	var more *http.MaxBytesError
	switch {
	case errors.As(err, &more):
		return nil, tooLarge
	case err != nil:
		return nil, refusal{status: http.StatusBadRequest, text: "what was sent ended early"}
	}
	return b.Bytes(), nil
}

// checkType refuses what is sent as something else than the types; fetch calls
// every text text/plain.
func checkType(r *http.Request, types []string) error {
	refused := refusal{status: http.StatusUnsupportedMediaType, text: "it is sent as something else; want " + strings.Join(types, ", ")}
	if e := r.Header.Get("Content-Encoding"); e != "" && !strings.EqualFold(e, "identity") {
		return refused
	}
	kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";")
	if kind = strings.TrimSpace(kind); kind == "" {
		return nil
	}
	for _, t := range types {
		if strings.EqualFold(kind, t) {
			return nil
		}
	}
	return refused
}
