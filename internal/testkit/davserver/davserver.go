// Package davserver runs WebDAV servers of Debian for tests: Apache with mod_dav_fs, by Basic
// authentication and, below /digest/, by Digest, with a nonce that is stale after a second;
// nginx with its two modules, which takes 1 MiB at once as it comes; and lighttpd by
// Digest. Each runs on a loopback port as a child of the test, with what it needs in a
// folder of its own, and ends with the test. Where the program is missing the test is
// skipped, as [testkit.Tool] has it.
package davserver

import (
	"crypto/md5"
	"crypto/sha1"
	"encoding/base64"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"singback/internal/testkit"
)

// Who is let in.
const (
	User     = "anna"
	Password = "la ti & do" // with what is special in headers
)

const realm = "class"

// Server is a server that runs.
type Server struct {
	Name    string
	Address string // without a path
	Root    string // the folder that it serves; class, digest, small and read lie in it
	Log     string // the file of its errors
}

// find finds a program, which may lie where users do not look. The packages of nginx
// and lighttpd start a server by themselves when they are installed, which nobody may want:
// setup.sh installs Apache's alone.
func find(t *testing.T, name string) string {
	t.Helper()
	if path := "/usr/sbin/" + name; isProgram(path) {
		return path
	}
	if _, err := exec.LookPath(name); err != nil && name != "apache2" && os.Getenv("SINGBACK_REQUIRE_TOOLS") != "1" {
		t.Skipf("the program %s is not installed: on Debian, packages nginx libnginx-mod-http-dav-ext lighttpd lighttpd-mod-webdav", name)
	}
	return testkit.Tool(t, name)
}

func isProgram(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
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
func run(t *testing.T, name, config, as string, args ...string) *Server {
	t.Helper()
	program := find(t, name)
	dir, err := os.MkdirTemp("", "singback-dav-") // t.TempDir lies where no other user may go
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	s := &Server{Name: name, Root: filepath.Join(dir, "root"), Log: filepath.Join(dir, "error.log")}
	for _, folder := range []string{"root/class", "root/digest", "root/small", "root/read", "root/class/limited", "root/class/owned", "locks", "temp"} {
		if err := os.MkdirAll(filepath.Join(dir, folder), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	sum := sha1.Sum([]byte(Password))
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write("users", User+":{SHA}"+base64.StdEncoding.EncodeToString(sum[:])+"\n")
	write("digests", fmt.Sprintf("%s:%s:%x\n", User, realm, md5.Sum([]byte(User+":"+realm+":"+Password))))
	write("plain", User+":"+Password+"\n")
	if os.Geteuid() != 0 {
		as = ""
	} else if who, err := user.Lookup("www-data"); err == nil {
		uid, _ := strconv.Atoi(who.Uid)
		gid, _ := strconv.Atoi(who.Gid)
		filepath.WalkDir(dir, func(path string, _ os.DirEntry, _ error) error { return os.Chown(path, uid, gid) })
	}
	port := freePort(t)
	s.Address = "http://127.0.0.1:" + port
	write("server.conf", strings.NewReplacer("PORT", port, "ROOT", s.Root, "DIR", dir, "AS", as).Replace(config))
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
			logged, _ := os.ReadFile(s.Log)
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
	Require all granted
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

// Apache runs Apache, with more lines of configuration, in which ROOT and DIR are as in the
// others.
func Apache(t *testing.T, more string) *Server {
	t.Helper()
	return run(t, "apache2", apacheConfig+more, "User www-data\nGroup www-data", "-DFOREGROUND", "-f")
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
MORE
	}
}
`

// Nginx runs nginx, with more lines of configuration of its server.
func Nginx(t *testing.T, more string) *Server {
	t.Helper()
	return run(t, "nginx", strings.Replace(nginxConfig, "MORE", more, 1), "user www-data;", "-p", "/tmp", "-c")
}

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

// Lighttpd runs lighttpd.
func Lighttpd(t *testing.T) *Server {
	t.Helper()
	return run(t, "lighttpd", lighttpdConfig, "server.username = \"www-data\"\nserver.groupname = \"www-data\"", "-D", "-f")
}
