package page

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"singback/calib"
)

const port = 4711

// served is a server for tests, with a record of its own.
func served(t testing.TB) *Server {
	t.Helper()
	return NewServer(site(t), Home{
		Record: t.TempDir() + "/record.db", Singer: "Anna",
		Known: func() (Known, error) { return Known{Singer: "Anna"}, nil },
		Keep:  func(calib.Profile) (string, error) { return "anna.toml", nil },
		Now:   func() time.Time { return time.Date(2026, 11, 25, 19, 30, 0, 0, time.UTC) },
		Desk:  deskForTests(),
	}, port, t.Output())
}

// noTake is an error as a desk has them.
type noTake struct{}

func (noTake) Error() string { return "there is no such take" }
func (noTake) Refusal() (status int, code, text, hint string) {
	return 404, "gone", "there is no such take", "look again"
}

// deskForTests answers for a class.
func deskForTests() map[string]map[string]func(http.ResponseWriter, *http.Request) error {
	say := func(w http.ResponseWriter, r *http.Request) error { return reply(w, "a class") }
	return map[string]map[string]func(http.ResponseWriter, *http.Request) error{
		"class": {http.MethodGet: say}, "review": {http.MethodPost: say},
		"take": {http.MethodGet: func(http.ResponseWriter, *http.Request) error { return noTake{} }},
	}
}

// ask sends a request below the key and returns the answer.
func (s *Server) ask(method, name, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "/"+s.key+"/"+name, strings.NewReader(body))
	return s.send(r, headers...)
}

// send sends a request with more headers, in pairs, as a browser here would.
func (s *Server) send(r *http.Request, headers ...string) *httptest.ResponseRecorder {
	if r.Host == "example.com" { // httptest's own
		r.Host = fmt.Sprintf("127.0.0.1:%d", port)
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		} else {
			r.Header.Add(headers[i], headers[i+1])
		}
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

// refusedWith checks that an answer is an error of the status, said in one line of
// JSON, with every header that keeps a browser in.
func refusedWith(t *testing.T, what string, w *httptest.ResponseRecorder, status int, texts ...string) {
	t.Helper()
	var said struct {
		Error *string
		Hint  *string
	}
	if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said.Error == nil || *said.Error == "" || said.Hint == nil || strings.Contains(*said.Error, "\n") {
		t.Errorf("%s: %q is no error: %v", what, w.Body, err)
	}
	if w.Code != status {
		t.Errorf("%s: status %d, want %d: %s", what, w.Code, status, w.Body)
	}
	if w.Header().Get("Cache-Control") != "no-store" || w.Header().Get("Content-Type") != "application/json" {
		t.Errorf("%s: %v", what, w.Header())
	}
	for _, text := range texts {
		if !strings.Contains(w.Body.String(), text) {
			t.Errorf("%s: %q does not say %q", what, w.Body, text)
		}
	}
	guarded(t, what, w.Header())
}

// guarded checks the headers that every answer has. Their meaning: CSP Level 3, the
// Fetch standard, Referrer Policy, Permissions Policy.
func guarded(t *testing.T, what string, h http.Header) {
	t.Helper()
	media := "" // the desk alone plays what it is sent
	if strings.Contains(what, "desk") && strings.HasSuffix(h.Get("Content-Security-Policy"), "; media-src 'self'") {
		media = "; media-src 'self'"
	}
	for name, want := range map[string]string{
		"Content-Security-Policy": "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' data:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'" + media,
		"X-Content-Type-Options":  "nosniff", "Referrer-Policy": "no-referrer",
		"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
	} {
		if got := h.Get(name); got != want {
			t.Errorf("%s: %s is %q, want %q", what, name, got, want)
		}
	}
	for _, want := range []string{"microphone=(self)", "midi=(self)", "camera=()", "geolocation=()"} {
		if !strings.Contains(h.Get("Permissions-Policy"), want) {
			t.Errorf("%s: Permissions-Policy is %q", what, h.Get("Permissions-Policy"))
		}
	}
	if got := h.Get("Access-Control-Allow-Origin"); got != "" {
		t.Errorf("%s: other pages may read it: %q", what, got)
	}
}

// Files are served as they are, with their types, and not sent twice.
func TestServesFiles(t *testing.T) {
	s := served(t)
	for name, kind := range map[string]string{
		"": "text/html; charset=utf-8", "index.html": "text/html; charset=utf-8", "app.js": "text/javascript; charset=utf-8",
		"desk/": "text/html; charset=utf-8", "desk/desk.js": "text/javascript; charset=utf-8",
		"app.js?v=1": "text/javascript; charset=utf-8", "style.css": "text/css; charset=utf-8", "manifest.webmanifest": "application/manifest+json",
		"icons/192.png": "image/png", "icons/mask.svg": "image/svg+xml", "engine.wasm.xz": "application/octet-stream", "home.json": "application/json",
	} {
		w := s.ask("GET", name, "")
		file, _, _ := strings.Cut(name, "?")
		if file == "" || file == "desk/" {
			file += "index.html"
		}
		h := w.Header()
		if w.Code != 200 || h.Get("Content-Type") != kind || w.Body.String() != string(s.site.files[file].data) || h.Get("Cache-Control") != "no-cache" || h.Get("ETag") == "" {
			t.Errorf("%q: %d, %v, %q", name, w.Code, h, w.Body)
		}
		guarded(t, name, h)
		for known, code := range map[string]int{h.Get("ETag"): 304, `"x", W/` + h.Get("ETag"): 304, "*": 304, `"x"`: 200, "": 200} {
			again := s.ask("GET", name, "", "If-None-Match", known)
			if again.Code != code || (code == 304) != (again.Body.Len() == 0) {
				t.Errorf("%q, known as %s: %d with %d bytes", name, known, again.Code, again.Body.Len())
			}
			guarded(t, name, again.Header())
		}
	}
	if got := s.ask("GET", "home.json", "").Body.String(); got != `{"home":"computer","version":"`+s.site.Version()+"\"}\n" {
		t.Errorf("home.json is %s", got)
	}
	if w := s.send(httptest.NewRequest("GET", "/"+s.key, nil)); w.Code != http.StatusPermanentRedirect || w.Header().Get("Location") != "/"+s.key+"/" {
		t.Errorf("without the slash: %d, %v", w.Code, w.Header())
	}
	if len(s.key) != 32 || strings.Trim(s.key, "0123456789abcdef") != "" || s.key == served(t).key {
		t.Errorf("the key is %q", s.key)
	}
}

// Whoever asks from elsewhere, for another host or without the key gets nothing, of
// the files or of the data.
func TestRefusesStrangers(t *testing.T) {
	s := served(t)
	local := fmt.Sprintf("http://localhost:%d", port)
	for _, name := range []string{"", "app.js", "data/known", "data/record", "desk/", "desk/desk.js", "desk/data/class", "no-such-thing"} {
		for _, headers := range [][]string{
			{"Host", "evil.example"}, {"Host", ""}, {"Host", "127.0.0.1"}, {"Host", "127.0.0.1:80"}, {"Host", "127.0.0.1:4711.evil.example"},
			{"Host", "localhost.evil.example:4711"}, {"Host", "[::1]:4711"}, {"Host", "0.0.0.0:4711"}, {"Host", "127.1:4711"},
			{"Origin", "http://evil.example"}, {"Origin", "null"}, {"Origin", ""}, {"Origin", "https://127.0.0.1:4711"}, {"Origin", "http://127.0.0.1"},
			{"Origin", "http://127.0.0.1:4712"}, {"Origin", "http://127.0.0.1:4711.evil.example"}, {"Origin", local},
			{"Origin", "http://127.0.0.1:4711", "Origin", "http://evil.example"},
			{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Sec-Fetch-Site", ""}, {"Sec-Fetch-Site", "none", "Sec-Fetch-Site", "cross-site"},
		} {
			refusedWith(t, fmt.Sprintf("%q with %q", name, headers), s.ask("GET", name, "", headers...), 403)
		}
		for _, headers := range [][]string{
			nil, {"Host", "localhost:4711"}, {"Host", "localhost:4711", "Origin", local}, {"Origin", "http://127.0.0.1:4711", "Sec-Fetch-Site", "same-origin"}, {"Sec-Fetch-Site", "none"},
		} {
			if w := s.ask("GET", name, "", headers...); w.Code == 403 {
				t.Errorf("%q with %q: %s", name, headers, w.Body)
			}
		}
	}
	for _, path := range []string{
		"/", "/index.html", "/data/known", "/favicon.ico", "//" + s.key + "/", "/" + s.key[1:] + "/", "/" + s.key + "0/", "/" + strings.Repeat("0", 32) + "/data/known",
		"/" + strings.ToUpper(s.key) + "A/", "/x/" + s.key + "/", "/" + s.key[:31] + "%3" + s.key[31:] + "/", "/x/../" + s.key + "/", "/?" + s.key,
	} {
		refusedWith(t, path, s.send(httptest.NewRequest("GET", path, nil)), 403, "key")
	}
	if w := s.send(httptest.NewRequest("GET", "http://127.0.0.1:4711/"+s.key+"/", nil)); w.Code != 403 {
		t.Errorf("as a proxy: %d", w.Code)
	}
}

// A desk says with a code what went wrong, and there is none where no class is open.
func TestDesk(t *testing.T) {
	s := served(t)
	refusedWith(t, "desk/data/take", s.ask("GET", "desk/data/take?id=7", ""), 404, `"code":"gone"`, "there is no such take", "look again")
	if got := s.DeskAddress(); got != fmt.Sprintf("http://127.0.0.1:%d/%s/desk/", port, s.key) {
		t.Errorf("the desk is at %s", got)
	}
	if got := site(t).HandingIn("https://cloud.example/takes/", "https://cloud.example", true); len(got.desk) != 2 {
		t.Errorf("a page that hands in has %d files of the desk", len(got.desk))
	}
	none := NewServer(site(t), Home{}, port, t.Output())
	for _, name := range []string{"desk/", "desk/index.html", "desk/desk.js", "desk/data/class"} {
		refusedWith(t, "no "+name, none.ask("GET", name, ""), 404)
	}
}

// hostile are paths that try to leave the page.
var hostilePaths = []string{
	"..", "../", "../../etc/passwd", "icons/../../etc/passwd", "icons/..", "icons/../index.html", ".", "./", "./index.html", "//", "//index.html", "index.html/", "icons", "icons/",
	"%2e%2e/%2e%2e/etc/passwd", "%2e%2e", "..%2f..%2fetc%2fpasswd", "%2e/index.html", "index%2ehtml", `..\..\windows\win.ini`, "..%5c..%5cx", `icons\192.png`, "/etc/passwd", "c:/windows/win.ini",
	"index.html%00.js", "%00", "data", "data/", "data/../data/known", "data/known/", "DATA/KNOWN", "Index.html", "index.html.", "index.html::$DATA", "files.json", "README.md", "built/README.md", "web/index.html",
	"desk", "desk/data", "desk/data/", "desk/data/none", "desk/data/class/", "desk/../index.html", "desk//", "desk/%2e%2e/app.js", "desk/data/../desk.js", "Desk/", "desk/index.html/",
	"%c0%ae%c0%ae/x", "index.html;x", "index.html%20", "~root", ".git/config", "con", "%", "%zz",
}

// A path that is not the name of a file of the page, to the letter, is nothing.
func TestPathsStayInside(t *testing.T) {
	s := served(t)
	for _, name := range hostilePaths {
		w := httptest.NewRecorder()
		s.ServeHTTP(w, raw(t, "GET", "/"+s.key+"/"+name, "Host: 127.0.0.1:4711\r\n"))
		if w.Code != 404 {
			t.Errorf("%q: %d, want 404: %s", name, w.Code, w.Body)
		}
		guarded(t, name, w.Header())
	}
}

// raw is a request with a target that no parser has made nicer; where it is no
// address, the target stands in it all the same.
func raw(t testing.TB, method, target, headers string) *http.Request {
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(method + " " + target + " HTTP/1.1\r\n" + headers + "\r\n")))
	if err != nil {
		r = httptest.NewRequest("GET", "/", nil)
		r.Host, r.RequestURI = "127.0.0.1:4711", target
	}
	return r
}

// Only what is listed can be done.
func TestMethods(t *testing.T) {
	s := served(t)
	for name, allowed := range map[string]string{"": "GET", "app.js": "GET", "data/known": "GET", "data/record": "GET, POST", "data/answers": "POST", "data/profile": "PUT", "desk/": "GET", "desk/data/class": "GET", "desk/data/review": "POST"} {
		for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "get"} {
			if strings.Contains(", "+allowed+",", ", "+method+",") {
				continue
			}
			w := s.ask(method, name, "x")
			refusedWith(t, method+" "+name, w, 405, allowed[:3])
			if w.Header().Get("Allow") != allowed {
				t.Errorf("%s %s: allowed is %q", method, name, w.Header().Get("Allow"))
			}
		}
	}
}

// FuzzServe sends whatever a socket can carry: the server answers all of it, and gives
// out a file only under its name, behind the key, to this host.
func FuzzServe(f *testing.F) {
	s := served(f)
	s.key = strings.Repeat("ab", 16)
	for _, name := range hostilePaths {
		f.Add("GET", "/"+s.key+"/"+name, "127.0.0.1:4711", "", "")
	}
	f.Add("GET", "/"+s.key+"/", "localhost:4711", "http://localhost:4711", "")
	f.Add("POST", "/"+s.key+"/data/answers", "127.0.0.1:4711", "", `{"singer":"Anna"}`)
	f.Add("POST", "/"+s.key+"/data/record", "127.0.0.1:4711", "", "singer,session\n")
	f.Add("PUT", "/"+s.key+"/data/profile", "127.0.0.1:4711", "", "version = 1\n")
	f.Add("GET", "/"+s.key+"/desk/", "127.0.0.1:4711", "", "")
	f.Add("GET", "/"+s.key+"/desk/data/take?id=1", "127.0.0.1:4711", "", "")
	f.Add("POST", "/"+s.key+"/desk/data/review", "127.0.0.1:4711", "http://127.0.0.1:4711", `{"id":"12345678","take":1,"pass":true}`)
	f.Add("GET", "http://127.0.0.1:4711/"+s.key+"/", "127.0.0.1:4711", "", "")
	f.Add("GET", "*", "127.0.0.1:4711", "", "")
	f.Fuzz(func(t *testing.T, method, target, host, origin, body string) {
		r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(
			fmt.Sprintf("%s %s HTTP/1.1\r\nHost: %s\r\nOrigin: %s\r\nContent-Length: %d\r\n\r\n%s", method, target, host, origin, len(body), body))))
		if err != nil {
			return // net/http answers that
		}
		if origin == "" {
			r.Header.Del("Origin")
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		guarded(t, target, w.Header())
		if w.Code >= 400 {
			var said struct{ Error string }
			if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said.Error == "" || w.Code >= 500 {
				t.Errorf("%s %q: %d, %q", method, target, w.Code, w.Body)
			}
			return
		}
		path, _, _ := strings.Cut(r.RequestURI, "?")
		name, ok := strings.CutPrefix(path, "/"+s.key+"/")
		if o := r.Header.Get("Origin"); o != "" && o != "http://"+r.Host || r.Host != "127.0.0.1:4711" && r.Host != "localhost:4711" {
			t.Errorf("%s %q of %q for %q: %d", method, target, host, origin, w.Code)
		}
		if name == "" || name == "desk/" {
			name += "index.html"
		}
		below, _ := strings.CutPrefix(name, "desk/data/")
		file, known := s.site.files[name]
		switch {
		case w.Code == 308 && path == "/"+s.key, strings.HasPrefix(name, "data/") && s.data()[name][r.Method] != nil,
			strings.HasPrefix(name, "desk/data/") && s.home.Desk[below][r.Method] != nil:
		case !ok || !known || r.Method != "GET" || w.Body.String() != string(file.data):
			t.Errorf("%s %q: %d, %q", method, target, w.Code, w.Body)
		}
	})
}

// pipes is a listener of connections in memory.
type pipes struct {
	come   chan net.Conn
	closed chan struct{}
	once   sync.Once
}

func newPipes() *pipes { return &pipes{come: make(chan net.Conn), closed: make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.come:
		return c, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { p.once.Do(func() { close(p.closed) }); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port} }
func (p *pipes) dial() net.Conn {
	here, there := net.Pipe()
	p.come <- there
	return here
}

// A client that sends nothing, half a header, or a body drop by drop, is left after
// its time; one that does not read, too. Others are answered meanwhile.
func TestSlowClients(t *testing.T) {
	const drops = "a body by drops"
	synctest.Test(t, func(t *testing.T) {
		s := served(t)
		p := newPipes()
		ctx, end := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- s.Serve(ctx, p) }()
		var wg sync.WaitGroup
		for _, client := range []struct {
			what, head string
			most       time.Duration
		}{
			{"nothing", "", headerTime},
			{"half a header", "GET /" + s.key + "/ HTTP/1.1\r\nHost: 127.0.0.1:", headerTime},
			{drops, "POST /" + s.key + "/data/answers HTTP/1.1\r\nHost: 127.0.0.1:4711\r\nContent-Length: 1000\r\n\r\n", readTime},
			{"one request and no more", "GET /" + s.key + "/ HTTP/1.1\r\nHost: 127.0.0.1:4711\r\n\r\n", idleTime},
		} {
			c := p.dial()
			left := make(chan bool)
			go func() {
				io.WriteString(c, client.head)
				for client.what == drops {
					<-time.After(10 * time.Second)
					if _, err := c.Write([]byte("x")); err != nil {
						return
					}
				}
			}()
			go func() {
				io.Copy(io.Discard, c)
				close(left)
			}()
			wg.Go(func() {
				select {
				case <-left:
					t.Errorf("a client with %s is left before %v", client.what, client.most)
				case <-time.After(client.most - time.Second):
				}
				select {
				case <-left:
				case <-time.After(11 * time.Second):
					t.Errorf("a client with %s is there after %v", client.what, client.most)
				}
				c.Close()
			})
		}
		c := p.dial()
		fmt.Fprintf(c, "GET /%s/data/known HTTP/1.1\r\nHost: 127.0.0.1:4711\r\nConnection: close\r\n\r\n", s.key)
		if answer, err := io.ReadAll(c); err != nil || !strings.HasPrefix(string(answer), "HTTP/1.1 200 OK\r\n") {
			t.Errorf("meanwhile another gets %.60q, %v", answer, err)
		}
		wg.Wait()
		end()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

// At the end what is being answered is finished, and nothing new begins; but a client
// that does not take its answer does not keep the program.
func TestServeEnds(t *testing.T) {
	for _, c := range []struct {
		what string
		ever bool
	}{{"answered", false}, {"never", true}} {
		synctest.Test(t, func(t *testing.T) {
			s := served(t)
			begun, goOn := make(chan bool), make(chan bool)
			s.home.Known = func() (Known, error) {
				begun <- true
				<-goOn
				return Known{Singer: "Anna"}, nil
			}
			p := newPipes()
			ctx, end := context.WithCancel(t.Context())
			ended := make(chan error, 1)
			go func() { ended <- s.Serve(ctx, p) }()
			conn := p.dial()
			go fmt.Fprintf(conn, "GET /%s/data/known HTTP/1.1\r\nHost: 127.0.0.1:4711\r\n\r\n", s.key)
			<-begun
			end()
			synctest.Wait()
			if !c.ever {
				close(goOn)
			}
			answer, _ := io.ReadAll(conn)
			if got := strings.Contains(string(answer), `"singer":"Anna"`); got == c.ever {
				t.Errorf("%s: %q", c.what, answer)
			}
			if err := <-ended; err != nil {
				t.Errorf("%s: %v", c.what, err)
			}
			if c.ever {
				close(goOn)
			}
		})
	}
}

// What listens can be reached from this computer alone, over a real socket too, and
// an address has its place in the fragment.
func TestListen(t *testing.T) {
	l, free, err := Listen(0)
	if err != nil {
		t.Fatal(err)
	}
	if a := l.Addr().(*net.TCPAddr); !a.IP.IsLoopback() || a.IP.To4() == nil || free == 0 {
		t.Errorf("it listens on %v", a)
	}
	if _, _, err := Listen(free); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("a port that is taken: %v", err)
	}
	s := served(t)
	s.port = free
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- s.Serve(ctx, l) }()
	address, err := s.Address("")
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(res.Body)
	res.Body.Close()
	if err != nil || res.StatusCode != 200 || string(text) != string(s.site.files["index.html"].data) {
		t.Errorf("%s: %s, %q, %v", address, res.Status, text, err)
	}
	guarded(t, address, res.Header)
	for place, want := range map[string]string{
		"today": "#today", "#today": "#today", "sing?key=Eb&count=5": "#sing?key=Eb&count=5", "sing?key=Ab major": "#sing?key=Ab%20major",
		"sing?key=Ab%20major": "#sing?key=Ab%20major", "sing?degrees=fi#": "#sing?degrees=fi%23", "": "",
		"a\x00\n<b>\"": "#a%00%0A%3Cb%3E%22",
	} {
		if got, err := s.Address(place); err != nil || got != address+want {
			t.Errorf("%q is at %s, %v; want %s", place, got, err, address+want)
		}
	}
	if got, err := s.Address("sing?key=%zz"); err == nil {
		t.Errorf("what is no address is at %s", got)
	}
	end()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// What a browser takes packed is sent so, with a tag of its own, and is the same.
func TestPacked(t *testing.T) {
	s := served(t)
	for encodings, packed := range map[string]bool{
		"gzip, deflate, br": true, "br, gzip;q=0.5": true, "": false, "br": false, "gzip;q=0": false, "gzip; q=0.0": false,
	} {
		got := s.ask("GET", "help/voice.md", "", "Accept-Encoding", encodings)
		body := got.Body.Bytes()
		if is := got.Header().Get("Content-Encoding") == "gzip"; is != packed || got.Header().Get("Vary") != "Accept-Encoding" {
			t.Errorf("%q: packed %v, %v", encodings, is, got.Header())
		}
		if packed {
			r, err := gzip.NewReader(bytes.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			if body, err = io.ReadAll(r); err != nil {
				t.Fatal(err)
			}
		}
		if want := s.site.files["help/voice.md"].data; !bytes.Equal(body, want) {
			t.Errorf("%q: %d bytes, want %d", encodings, len(body), len(want))
		}
	}
}
