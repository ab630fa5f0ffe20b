package handin

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"singback/internal/testkit/davserver"
)

const (
	anna   = davserver.User
	solfa  = davserver.Password
	umlaut = "Übung \"1\" 50% & 'leise' + #2.wav"
)

// real is a server that runs.
type real struct{ *davserver.Server }

func apache(t *testing.T) *real { return &real{davserver.Apache(t, "")} }

// inFolder reads all files of the server's folder.
func (s *real) inFolder(t *testing.T, folder string) map[string]string {
	t.Helper()
	list := map[string]string{}
	entries, err := os.ReadDir(filepath.Join(s.Root, folder))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() {
			continue
		}
		b, err := os.ReadFile(filepath.Join(s.Root, folder, e.Name()))
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
		{"nginx", "class", func(t *testing.T) *real { return &real{davserver.Nginx(t, "")} }},
		{"lighttpd, Digest", "class", func(t *testing.T) *real { return &real{davserver.Lighttpd(t)} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.run(t)
			f := quick(t, s.Address+"/"+c.folder, anna, solfa)
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
			if err := os.Mkdir(filepath.Join(s.Root, c.folder, "Änne"), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(s.Root, c.folder, "Änne", "take 1.wav"), []byte(sound(7000)), 0o644); err != nil {
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

			if _, err := quick(t, s.Address+"/"+c.folder, anna, "wrong").Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, Password) {
				t.Errorf("wrong password: %v", err)
			}
			if _, err := quick(t, s.Address+"/"+c.folder, "", "").Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, Password) {
				t.Errorf("no password: %v", err)
			}
			if _, err := quick(t, s.Address+"/"+c.folder+"/none", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil); !isKind(err, NoFolder) {
				t.Errorf("no folder: %v", err)
			}
		})
	}
}

// brokenWay sends a file over a connection that breaks again and again, both as it is
// tried and for good, and then to the end.
func brokenWay(t *testing.T, s *real, folder string) {
	t.Helper()
	way := newWay(t, s.Address)
	text := sound(2*usual + 54321)[1:]
	for calls := 1; ; calls++ {
		way.cut(3 * block / 2)
		f := quick(t, way.address+"/"+folder, anna, solfa)
		f.c.http = http.DefaultTransport.(*http.Transport).Clone()
		got, err := f.Send(context.Background(), "broken.wav", strings.NewReader(text), int64(len(text)), nil)
		if err == nil {
			if way.times.Load() < 5 || got.Pieces < 3 {
				t.Errorf("%s: the connection did not break: %d connections, %+v", s.Name, way.times.Load(), got)
			}
			return
		}
		if !isKind(err, Gone) || calls > 12 {
			t.Fatalf("%s, call %d: %v", s.Name, calls, err)
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
	way := newWay(t, s.Address)
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
			t.Fatalf("%s, call %d: %v", s.Name, calls, err)
		}
	}
	if b, err := os.ReadFile(filepath.Join(to, "large.wav")); err != nil || string(b) != large {
		t.Errorf("large.wav: %d bytes, %v; want %d", len(b), err, len(large))
	}
	// Two files of 8 MiB and one of 0.1 came, each byte about once.
	if n := way.times.Load(); n < 11 || n > 30 {
		t.Errorf("%s: %d connections of 1.5 MiB", s.Name, n)
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
	_, err := quick(t, s.Address+"/class/limited", anna, solfa).Send(ctx, "a", strings.NewReader(sound(2000)), 2000, nil)
	if !isKind(err, TooLarge) {
		t.Errorf("too large: %v", err)
	}
	_, err = quick(t, s.Address+"/read", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil)
	if !isKind(err, Forbidden) {
		t.Errorf("read only: %v", err)
	}
	if os.Geteuid() == 0 { // else the server is whoever runs the test
		if err := errors.Join(os.Chown(filepath.Join(s.Root, "class", "owned"), 0, 0), os.Chmod(filepath.Join(s.Root, "class", "owned"), 0o755)); err != nil {
			t.Fatal(err)
		}
		_, err = quick(t, s.Address+"/class/owned", anna, solfa).Send(ctx, "a", strings.NewReader("la"), 2, nil)
		if !isKind(err, Failed) || statusOf(err) != 500 {
			t.Errorf("a folder in which it may not write: %v", err)
		}
	}
	if n := len(s.inFolder(t, "class/limited")) + len(s.inFolder(t, "read")); n != 0 {
		t.Errorf("%d files lie there", n)
	}
}

// A disk that is full: a file system in memory of 6 MiB, where the test may mount one.
// Apache says so by 507 (RFC 4918, 11.5), nginx and lighttpd by 500, as was seen here. What
// came before is there, and goes on once there is room.
func TestFullDisk(t *testing.T) {
	for _, c := range []struct {
		name string
		run  func() *davserver.Server
		kind Kind
	}{
		{"apache", func() *davserver.Server { return davserver.Apache(t, "") }, Full},
		{"nginx", func() *davserver.Server { return davserver.Nginx(t, "client_max_body_size 8m;") }, Failed},
		{"lighttpd", func() *davserver.Server { return davserver.Lighttpd(t) }, Failed},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.run()
			disk := filepath.Join(s.Root, "small")
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
			f := quick(t, s.Address+"/small", anna, solfa)
			text := sound(2*usual + 5)
			_, err := f.Send(context.Background(), "large.wav", strings.NewReader(text), int64(len(text)), nil)
			var part *Interrupted
			if !isKind(err, c.kind) || !errors.As(err, &part) || part.Have != 1 || part.Of != 3 || strings.Contains(err.Error(), "\n") {
				logged, _ := os.ReadFile(s.Log)
				t.Fatalf("%v\n%s", err, logged)
			}
			if out, err := exec.Command("mount", "-o", "remount,size=20m", disk).CombinedOutput(); err != nil {
				t.Fatalf("remount: %v: %s", err, out)
			}
			got, err := f.Send(context.Background(), "large.wav", strings.NewReader(text), int64(len(text)), nil)
			if err != nil || got.Pieces != 3 {
				t.Errorf("%+v, %v", got, err)
			}
		})
	}
}
