package handin

import (
	"context"
	"crypto/md5"
	"crypto/sha1"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"singback/internal/testkit"
)

// The servers of Debian that are asked: Apache with mod_dav_fs by Basic and by Digest
// authentication, nginx with its two modules, which takes 1 MiB at once as it comes, and
// lighttpd. Each runs on a loopback port as a child of the test, with what it needs in
// a folder of the test's.
const (
	anna   = "anna"
	solfa  = "la ti & do" // with what is special in headers
	realm  = "class"
	umlaut = "Übung \"1\" 50% & 'leise' + #2.wav"
)

// real is a server that runs, and the folder that it serves below /class/.
type real struct {
	name    string
	address string // of the server, without a path
	root    string // what lies at /
	log     string
}

// freePort is a port of this computer that nobody listens on.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}

// run starts a server with a configuration, in which PORT, ROOT, DIR and AS stand for the
// port, what it serves, its own folder, and a line that says as whom it serves where the
// test runs as root.
func run(t *testing.T, name, config, as string, args ...string) *real {
	t.Helper()
	program := testkit.Tool(t, name)
	dir, err := os.MkdirTemp("", "singback-dav-") // t.TempDir lies where no other user may go
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	s := &real{name: name, root: filepath.Join(dir, "root"), log: filepath.Join(dir, "error.log")}
	for _, folder := range []string{"root/class", "root/digest", "root/small", "root/read", "root/class/limited", "root/class/owned", "locks", "temp"} {
		if err := os.MkdirAll(filepath.Join(dir, folder), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	sum := sha1.Sum([]byte(solfa))
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("users", anna+":{SHA}"+base64.StdEncoding.EncodeToString(sum[:])+"\n")
	write("digests", fmt.Sprintf("%s:%s:%x\n", anna, realm, md5.Sum([]byte(anna+":"+realm+":"+solfa))))
	write("plain", anna+":"+solfa+"\n")
	if os.Geteuid() != 0 {
		as = ""
	} else if who, err := user.Lookup("www-data"); err == nil {
		uid, _ := strconv.Atoi(who.Uid)
		gid, _ := strconv.Atoi(who.Gid)
		filepath.WalkDir(dir, func(path string, _ os.DirEntry, _ error) error { return os.Chown(path, uid, gid) })
	}
	port := freePort(t)
	s.address = "http://127.0.0.1:" + port
	write("server.conf", strings.NewReplacer("PORT", port, "ROOT", s.root, "DIR", dir, "AS", as).Replace(config))
	out, err := os.Create(filepath.Join(dir, "output"))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, append(args, filepath.Join(dir, "server.conf"))...)
	cmd.Stdout, cmd.Stderr, cmd.Dir = out, out, dir
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	t.Cleanup(func() {
		out.Close()
		cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-ended:
		case <-time.After(10 * time.Second):
			cmd.Process.Kill()
		}
	})
	for range 500 {
		if c, err := net.Dial("tcp4", "127.0.0.1:"+port); err == nil {
			c.Close()
			return s
		}
		select {
		case err := <-ended:
			said, _ := os.ReadFile(out.Name())
			logged, _ := os.ReadFile(s.log)
			t.Fatalf("%s: %v\n%s%s", name, err, said, logged)
		case <-time.After(10 * time.Millisecond):
		}
	}
	t.Fatalf("%s does not begin", name)
	return nil
}

const apacheConfig = `
ServerRoot DIR
ServerName localhost
Listen 127.0.0.1:PORT
PidFile DIR/pid
ErrorLog DIR/error.log
Mutex default:DIR/temp
DefaultRuntimeDir DIR/temp
AS
LoadModule mpm_event_module /usr/lib/apache2/modules/mod_mpm_event.so
LoadModule authn_core_module /usr/lib/apache2/modules/mod_authn_core.so
LoadModule authn_file_module /usr/lib/apache2/modules/mod_authn_file.so
LoadModule authz_core_module /usr/lib/apache2/modules/mod_authz_core.so
LoadModule authz_user_module /usr/lib/apache2/modules/mod_authz_user.so
LoadModule auth_basic_module /usr/lib/apache2/modules/mod_auth_basic.so
LoadModule auth_digest_module /usr/lib/apache2/modules/mod_auth_digest.so
LoadModule headers_module /usr/lib/apache2/modules/mod_headers.so
LoadModule setenvif_module /usr/lib/apache2/modules/mod_setenvif.so
LoadModule dav_module /usr/lib/apache2/modules/mod_dav.so
LoadModule dav_fs_module /usr/lib/apache2/modules/mod_dav_fs.so
StartServers 1
ThreadsPerChild 8
MinSpareThreads 8
MaxSpareThreads 16
MaxRequestWorkers 16
DavLockDB DIR/locks/db
DocumentRoot ROOT
<Directory ROOT>
	Require all denied
</Directory>
<Location />
	Dav On
	AuthType Basic
	AuthName class
	AuthUserFile DIR/users
	Require valid-user
</Location>
<Location /digest/>
	AuthType Digest
	AuthUserFile DIR/digests
	AuthDigestNonceLifetime 1
</Location>
<Location /class/limited/>
	LimitRequestBody 1000
</Location>
<Location /read/>
	<LimitExcept GET PROPFIND OPTIONS>
		Require all denied
	</LimitExcept>
</Location>
`

func apache(t *testing.T) *real {
	return run(t, "apache2", apacheConfig, "User www-data\nGroup www-data", "-DFOREGROUND", "-f")
}

const nginxConfig = `
load_module /usr/lib/nginx/modules/ngx_http_dav_ext_module.so;
daemon off;
worker_processes 1;
pid DIR/pid;
error_log DIR/error.log;
AS
events { worker_connections 64; }
http {
	access_log off;
	client_body_temp_path DIR/temp/body;
	proxy_temp_path DIR/temp/proxy;
	fastcgi_temp_path DIR/temp/fastcgi;
	uwsgi_temp_path DIR/temp/uwsgi;
	scgi_temp_path DIR/temp/scgi;
	server {
		listen 127.0.0.1:PORT;
		root ROOT;
		auth_basic class;
		auth_basic_user_file DIR/users;
		dav_methods PUT DELETE MKCOL COPY MOVE;
		dav_ext_methods PROPFIND OPTIONS;
	}
}
`

const lighttpdConfig = `
server.modules = ("mod_auth", "mod_authn_file", "mod_webdav")
server.document-root = "ROOT"
server.bind = "127.0.0.1"
server.port = PORT
server.pid-file = "DIR/pid"
server.errorlog = "DIR/error.log"
server.upload-dirs = ("DIR/temp")
AS
webdav.activate = "enable"
auth.backend = "plain"
auth.backend.plain.userfile = "DIR/plain"
auth.require = ("" => ("method" => "digest", "realm" => "class", "require" => "valid-user"))
`

// inFolder reads all files of the server's folder.
func (s *real) inFolder(t *testing.T, folder string) map[string]string {
	t.Helper()
	list := map[string]string{}
	entries, err := os.ReadDir(filepath.Join(s.root, folder))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() {
			continue
		}
		b, err := os.ReadFile(filepath.Join(s.root, folder, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		list[e.Name()] = string(b)
	}
	return list
}

// Files of all sizes and names come to lie in the folders of the servers, and are
// fetched from there as they were; a connection that breaks is gone on with; a wrong
// password and a folder that is not there are said.
func TestRealServers(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name, folder string
		run          func(t *testing.T) *real
	}{
		{"apache, Basic", "class", apache},
		{"apache, Digest", "digest", apache},
		{"nginx", "class", func(t *testing.T) *real { return run(t, "nginx", nginxConfig, "user www-data;", "-p", "/tmp", "-c") }},
		{"lighttpd, Digest", "class", func(t *testing.T) *real {
			return run(t, "lighttpd", lighttpdConfig, "server.username = \"www-data\"\nserver.groupname = \"www-data\"", "-D", "-f")
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.run(t)
			f := quick(t, s.address+"/"+c.folder, anna, solfa)
			large := sound(2*usual + 54321)
			for _, file := range []struct{ name, text string }{{umlaut, sound(100_000)}, {"empty.csv", ""}, {"large.wav", large}} {
				got, err := f.Send(ctx, file.name, strings.NewReader(file.text), int64(len(file.text)), nil)
				if err != nil || got.There || got.Name != file.name || got.Pieces == 0 != (len(file.text) < usual) {
					t.Fatalf("%s: %+v, %v", file.name, got, err)
				}
				if got, err := f.Send(ctx, file.name, strings.NewReader(file.text), int64(len(file.text)), nil); err != nil || !got.There {
					t.Errorf("%s again: %+v, %v", file.name, got, err)
				}
			}
			if got := s.inFolder(t, c.folder); got[umlaut] != sound(100_000) {
				t.Errorf("%q lies there: %d bytes", umlaut, len(got[umlaut]))
			}
			if got, err := f.Send(ctx, umlaut, strings.NewReader("la"), 2, nil); err != nil || got.Name != numbered(umlaut, 2) {
				t.Errorf("another of that name: %+v, %v", got, err)
			}
			brokenWay(t, s, c.folder)
			if err := os.Mkdir(filepath.Join(s.root, c.folder, "Änne"), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(s.root, c.folder, "Änne", "take 1.wav"), []byte(sound(7000)), 0o644); err != nil {
				t.Fatal(err)
			}
			to := t.TempDir()
			came, left := fetchAll(t, f, to)
			slices.Sort(came)
			if want := []string{"broken.wav", "empty.csv", "large.wav", "Änne/take 1.wav", numbered(umlaut, 2), umlaut}; !slices.Equal(came, want) || len(left) > 0 {
				t.Errorf("came %q, left %q; want %q", came, left, want)
			}
			for name, want := range map[string]string{umlaut: sound(100_000), "large.wav": large, "broken.wav": large[1:], "Änne/take 1.wav": sound(7000)} {
				if b, err := os.ReadFile(filepath.Join(to, name)); err != nil || string(b) != want {
					t.Errorf("%s: %d bytes, %v; want %d", name, len(b), err, len(want))
				}
			}
			if came, _ := fetchAll(t, f, to); len(came) > 0 {
				t.Errorf("came again: %q", came)
			}
			brokenWayBack(t, s, c.folder, large)

			if _, err := quick(t, s.address+"/"+c.folder, anna, "wrong").Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, Password) {
				t.Errorf("wrong password: %v", err)
			}
			if _, err := quick(t, s.address+"/"+c.folder, "", "").Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, Password) {
				t.Errorf("no password: %v", err)
			}
			if _, err := quick(t, s.address+"/"+c.folder+"/none", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, NoFolder) {
				t.Errorf("no folder: %v", err)
			}
		})
	}
}

// brokenWay sends a file over a connection that breaks again and again, both as it is
// tried and for good, and then to the end.
func brokenWay(t *testing.T, s *real, folder string) {
	t.Helper()
	way := newWay(t, s.address)
	text := sound(2*usual + 54321)[1:]
	for calls := 1; ; calls++ {
		way.cut(3 * block / 2)
		f := quick(t, way.address+"/"+folder, anna, solfa)
		f.c.http = http.DefaultTransport.(*http.Transport).Clone()
		got, err := f.Send(context.Background(), "broken.wav", strings.NewReader(text), int64(len(text)), nil)
		if err == nil {
			if way.times.Load() < 5 || got.Pieces < 3 {
				t.Errorf("%s: the connection did not break: %d connections, %+v", s.name, way.times.Load(), got)
			}
			return
		}
		if !isKind(err, Gone) || calls > 12 {
			t.Fatalf("%s, call %d: %v", s.name, calls, err)
		}
		if calls == 3 { // from here on it breaks less often
			way.cut(usual + block)
			got, err := f.Send(context.Background(), "broken.wav", strings.NewReader(text), int64(len(text)), nil)
			if err == nil && got.Pieces >= 3 {
				return
			}
		}
	}
}

// brokenWayBack fetches over connections that break within each piece.
func brokenWayBack(t *testing.T, s *real, folder, large string) {
	t.Helper()
	way := newWay(t, s.address)
	way.cut(1 << 40)
	way.down.Store(block + block/2)
	to := t.TempDir()
	for calls := 1; ; calls++ {
		f := quick(t, way.address+"/"+folder, anna, solfa)
		f.c.http = http.DefaultTransport.(*http.Transport).Clone()
		_, err := f.Fetch(context.Background(), to, nil)
		if err == nil {
			break
		}
		if !isKind(err, Gone) || calls > 12 {
			t.Fatalf("%s, call %d: %v", s.name, calls, err)
		}
	}
	if b, err := os.ReadFile(filepath.Join(to, "large.wav")); err != nil || string(b) != large {
		t.Errorf("large.wav: %d bytes, %v; want %d", len(b), err, len(large))
	}
	// Two files of 8 MiB and one of 0.1 came, each byte about once.
	if n := way.times.Load(); n < 11 || n > 30 {
		t.Errorf("%s: %d connections of 1.5 MiB", s.name, n)
	}
}

// way is a way to a server that breaks: each connection after so many bytes to it.
type way struct {
	address string
	limit   chan int64
	times   atomic.Int64
	down    atomic.Int64 // how much comes back, if not 0
}

func newWay(t *testing.T, to string) *way {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &way{address: "http://" + l.Addr().String(), limit: make(chan int64, 1)}
	w.limit <- 0
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp4", strings.TrimPrefix(to, "http://"))
			if err != nil {
				in.Close()
				continue
			}
			w.times.Add(1)
			limit := <-w.limit
			w.limit <- limit
			go func() {
				io.Copy(out, io.LimitReader(in, limit))
				in.Close()
				out.Close()
			}()
			go func() {
				if down := w.down.Load(); down > 0 {
					io.Copy(in, io.LimitReader(out, down))
					in.Close()
					out.Close()
				}
				io.Copy(in, out)
			}()
		}
	}()
	return w
}

func (w *way) cut(after int64) { <-w.limit; w.limit <- after }

// What Apache itself says where it takes nothing more, nothing so large, nothing at all.
func TestApacheRefuses(t *testing.T) {
	s := apache(t)
	ctx := context.Background()
	_, err := quick(t, s.address+"/class/limited", anna, solfa).Send(ctx, "a", strings.NewReader(sound(2000)), 2000, nil)
	if !isKind(err, TooLarge) {
		t.Errorf("too large: %v", err)
	}
	_, err = quick(t, s.address+"/read", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil)
	if !isKind(err, Forbidden) {
		t.Errorf("read only: %v", err)
	}
	if os.Geteuid() == 0 { // else the server is whoever runs the test
		if err := errors.Join(os.Chown(filepath.Join(s.root, "class", "owned"), 0, 0), os.Chmod(filepath.Join(s.root, "class", "owned"), 0o755)); err != nil {
			t.Fatal(err)
		}
		_, err = quick(t, s.address+"/class/owned", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil)
		if !isKind(err, Failed) || statusOf(err) != 500 {
			t.Errorf("a folder in which it may not write: %v", err)
		}
	}
	if n := len(s.inFolder(t, "class/limited")) + len(s.inFolder(t, "read")); n != 0 {
		t.Errorf("%d files lie there", n)
	}
}

// A disk that is full: a file system in memory of 6 MiB, where the test may mount one.
// What came before the end is there, and goes on once there is room.
func TestApacheFull(t *testing.T) {
	s := apache(t)
	disk := filepath.Join(s.root, "small")
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=6m,mode=777", "singback-test", disk).CombinedOutput(); err != nil {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" && os.Geteuid() == 0 {
			t.Fatalf("mount: %v: %s", err, out)
		}
		t.Skipf("no file system can be mounted here: %v: %s", err, out)
	}
	t.Cleanup(func() {
		if err := exec.Command("umount", disk).Run(); err != nil {
			t.Errorf("umount: %v", err)
		}
	})
	f := quick(t, s.address+"/small", anna, solfa)
	text := sound(2*usual + 5)
	_, err := f.Send(context.Background(), "large.wav", strings.NewReader(text), int64(len(text)), nil)
	var part *Interrupted
	if !isKind(err, Full) || !errors.As(err, &part) || part.Have != 1 || part.Of != 3 {
		logged, _ := os.ReadFile(s.log)
		t.Fatalf("%v\n%s", err, logged)
	}
	t.Log(err)
	if out, err := exec.Command("mount", "-o", "remount,size=20m", disk).CombinedOutput(); err != nil {
		t.Fatalf("remount: %v: %s", err, out)
	}
	got, err := f.Send(context.Background(), "large.wav", strings.NewReader(text), int64(len(text)), nil)
	if err != nil || got.Pieces != 3 {
		t.Errorf("%+v, %v", got, err)
	}
}
