package page_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// before has a script run before those of the page.
func (p *tab) before(script string) {
	p.t.Helper()
	_, err := chromedp.Call(p.ctx, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: script})
	p.must(err)
}

// says waits until the page shows a sentence.
func (p *tab) says(sentence string) {
	p.t.Helper()
	p.await(sentence, fmt.Sprintf(`document.body.innerText.replace(/\s+/g, " ").includes(%q)`, sentence))
}

// What the browser or the computer refuses is said in a sentence that says what to do.
func TestBrowserTroubles(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	dir := prog.folder(t)
	address := serveFolder(t, dir)
	const drill = "sing?key=Eb&degrees=la&count=1&set=tonic&think=0"
	denied := "The browser may not hear the microphone: allow it beside the address of the page, then try again."
	none := "No microphone was found: plug one in or switch it on, then try again."
	used := "The microphone is in use by another program: close that, then try again."
	https := "A browser lends the microphone only to a page from an https address or from this computer: open the page that way."
	refuse := func(name string) string {
		return fmt.Sprintf(`navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("", %q));`, name)
	}

	t.Run("permission", func(t *testing.T) {
		ctx := browseWith(t, chromedp.Flag("mute-audio", false))
		p := newTab(t, ctx)
		_, err := chromedp.CallBrowser(p.ctx, cdpbrowser.SetPermission, cdpbrowser.SetPermissionParams{
			Permission: &cdpbrowser.PermissionDescriptor{Name: "microphone"}, Setting: cdpbrowser.PermissionSettingDenied,
		})
		p.must(err)
		p.visit(address)
		p.go_(drill)
		p.press("Start")
		p.says(denied)
		// Without a microphone there is a way to see how it goes.
		p.press("Let a simulated singer answer")
		p.event(0, "prompt")
		p.calm()
	})
	t.Run("no sound server", func(t *testing.T) {
		nowhere := filepath.Join(t.TempDir(), "asound.conf")
		if err := os.WriteFile(nowhere, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx := browse(t, chromedp.Env("PULSE_SERVER=unix:/nowhere", "ALSA_CONFIG_PATH="+nowhere))
		p := open(t, ctx, address)
		p.go_(drill)
		p.press("Start")
		p.says(none)
	})
	ctx := browse(t, chromedp.Flag("host-resolver-rules", "MAP choir.example 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"))
	t.Run("what a browser answers", func(t *testing.T) {
		for name, want := range map[string]string{"NotReadableError": used, "NotFoundError": none, "NotAllowedError": denied} {
			p := newTab(t, ctx)
			p.before(refuse(name))
			p.visit(address)
			p.go_(drill)
			p.press("Start")
			p.says(want)
			p.close()
		}
	})
	t.Run("not https", func(t *testing.T) {
		u, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		p := open(t, ctx, "http://choir.example:"+u.Port()+"/")
		p.go_(drill)
		p.press("Start")
		p.says(https)
		p.close()
	})
	t.Run("an old browser", func(t *testing.T) {
		for _, feature := range []string{"AudioWorklet", "WebAssembly", "Worker"} {
			p := newTab(t, ctx)
			p.before("delete globalThis." + feature)
			p.must(chromedp.Do(p.ctx, chromedp.Navigate(address)))
			p.says("This browser is too old: it has no " + map[string]string{"Worker": "workers"}[feature] + map[bool]string{true: feature}[feature != "Worker"])
			p.calm()
			p.close()
		}
	})
	t.Run("changed files", func(t *testing.T) {
		for _, c := range []struct{ file, from, to, want string }{
			{"engine.wasm.xz", "\xfd7zXZ", "\xfd7zXX", "The engine could not be started"},
			{"keep.js", "class Keep", `Object.defineProperty(self, "indexedDB", {get() { throw new DOMException("denied", "SecurityError"); }}); class Keep`, "The browser keeps nothing of this page (denied): leave private browsing, or allow the page to store data."},
		} {
			data := must(os.ReadFile(filepath.Join(dir, c.file)))
			changed := bytes.Replace(data, []byte(c.from), []byte(c.to), 1)
			if bytes.Equal(changed, data) {
				t.Fatalf("%s has no %q", c.file, c.from)
			}
			files := http.FileServer(http.Dir(dir))
			p := newTab(t, ctx)
			p.must(chromedp.Do(p.ctx, chromedp.Navigate(serveHandler(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if r.URL.Path != "/"+c.file {
					files.ServeHTTP(w, r)
				} else if strings.HasSuffix(c.file, ".js") {
					w.Header().Set("Content-Type", "text/javascript")
					w.Write(changed)
				} else {
					w.Write(changed)
				}
			})))))
			p.says(c.want)
			t.Logf("%s: %s", c.file, p.troubles())
			p.close()
		}
	})
	t.Run("silence", func(t *testing.T) {
		p := open(t, ctx, address)
		p.go_(drill + "&timeout=20")
		p.press("Start")
		p.says("The microphone gives silence: look for a mute switch on the headset, and choose the right microphone in the browser.")
		sing(t, la(t).path)
		p.event(0, "verdict")
		p.await("that it is heard again", `!document.getElementById("troubles").innerText.includes("gives silence")`)
		p.calm()
		p.close()
	})
	t.Run("no gesture", func(t *testing.T) {
		p := newTab(t, ctx)
		p.visit(address + "#" + drill + "&input=simulated")
		p.says("Press Start, space or Enter, or tap anywhere.")
		time.Sleep(time.Second)
		if n := p.heard(); n > 0 {
			t.Errorf("%d events before anybody pressed anything", n)
		}
		p.key(" ")
		p.event(0, "prompt")
		p.calm()
		p.close()
	})
	t.Run("a wrong address", func(t *testing.T) {
		p := open(t, ctx, address)
		for flag, value := range map[string]string{"count": "10000", "key": "H", "degrees": "zz", "tolerance": "1", "kez": "C"} {
			cmd := prog.command("sing", "--"+flag, value)
			var said bytes.Buffer
			cmd.Stderr = &said
			if err := cmd.Run(); err == nil {
				t.Fatalf("the program takes --%s %s", flag, value)
			}
			p.go_("help")
			p.go_("sing?" + flag + "=" + value)
			p.press("Start")
			p.await("what is wrong", `document.querySelector(".summary")`)
			here := evaluate[string](p, `document.querySelector(".summary").innerText`)
			if flag != "kez" && !strings.Contains(said.String(), strings.TrimSpace(here)) {
				t.Errorf("%s=%s: the page says %q, and the program %q", flag, value, here, &said)
			}
			t.Logf("%s=%s: %s", flag, value, here)
		}
		p.calm()
		p.close()
	})
}

// Where singback page has ended, the page says that, and what it does no longer record.
func TestBrowserServerGone(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	cmd := prog.command("page", "--no-open")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	line := make([]byte, 200)
	n, err := out.Read(line)
	if err != nil {
		t.Fatal(err)
	}
	p := open(t, browse(t), strings.TrimSpace(string(line[:n])))
	notes(t, 0.8, 0.3)
	p.go_(quick + "&count=6")
	p.press("Start")
	_, from := p.event(0, "verdict")
	told := len(p.verdicts())
	cmd.Process.Kill()
	cmd.Wait()
	p.event(from, "summary")
	p.says("singback no longer runs on this computer: start singback page again, and open the address that it prints")
	if rows := prog.rows(t); len(rows) < told {
		t.Errorf("%d answers were told while the server ran, and %d are kept", told, len(rows))
	}
	t.Log(p.text())
	p.calm()
}

// A microphone that is unplugged in the middle of a drill is said, and when it is back
// the drill can be started again.
func TestBrowserUnplugged(t *testing.T) {
	needBrowser(t)
	run := func(args ...string) string {
		out, err := exec.Command("pactl", args...).Output()
		if err != nil {
			t.Fatalf("pactl %q: %v", args, err)
		}
		return strings.TrimSpace(string(out))
	}
	var module string
	for line := range strings.Lines(run("list", "short", "modules")) {
		if strings.Contains(line, "module-remap-source") {
			module, _, _ = strings.Cut(line, "\t")
		}
	}
	p := open(t, browse(t), newProgram(t).serve(t))
	notes(t, 0.8, 0.3)
	p.go_(quick + "&count=100")
	p.press("Start")
	_, from := p.event(0, "verdict")
	p.event(from, "verdict")
	run("unload-module", module)
	plugged := false
	plug := func() {
		if !plugged {
			plugged = true
			run("load-module", "module-remap-source", "source_name=mic", "master=mic_feed.monitor", "channels=1")
			run("set-default-source", "mic")
		}
	}
	t.Cleanup(plug)
	p.await("what is said", `/unplugged|gone silent|gives silence/.test(document.body.innerText)`)
	t.Log(p.text())
	plug()
	p.key("q")
	p.await("the end", `document.querySelector(".summary")`)
	from = p.heard()
	p.press("Again")
	p.event(from, "verdict")
	p.calm()
}

// site is a web server that can be gone, and come back with another folder.
type site struct {
	t      *testing.T
	at     string
	server *http.Server
}

func (s *site) up(dir string) {
	s.t.Helper()
	at := s.at
	if at == "" {
		at = "127.0.0.1:0"
	}
	l, err := net.Listen("tcp", at)
	if err != nil {
		s.t.Fatal(err)
	}
	s.at = l.Addr().String()
	s.server = &http.Server{Handler: http.FileServer(http.Dir(dir))}
	go s.server.Serve(l)
}

func (s *site) down() {
	s.server.Close()
}

// renewed is the page of a folder in another version: with another background.
func renewed(t *testing.T, dir string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "renewed")
	if err := os.CopyFS(out, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	style := append(must(os.ReadFile(filepath.Join(out, "style.css"))), "\n:root { --renewed: yes }\n"...)
	var list struct {
		Version string           `json:"version"`
		Files   []map[string]any `json:"files"`
	}
	if err := json.Unmarshal(must(os.ReadFile(filepath.Join(out, "files.json"))), &list); err != nil {
		t.Fatal(err)
	}
	home := []byte(strings.Replace(string(must(os.ReadFile(filepath.Join(out, "home.json")))), list.Version, "renewed", 1))
	list.Version = "renewed"
	write := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(out, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, f := range list.Files {
			if f["path"] == name {
				sum := sha256.Sum256(data)
				f["sha256"], f["bytes"] = hex.EncodeToString(sum[:]), len(data)
			}
		}
	}
	write("style.css", style)
	write("home.json", home)
	text, err := json.Marshal(list)
	if err != nil {
		t.Fatal(err)
	}
	write("files.json", text)
	return out
}

// After the first visit the page works without a network, a drill and all. A new version
// is offered, in no drill, and used when it is asked for.
func TestBrowserOffline(t *testing.T) {
	needBrowser(t)
	dir := newProgram(t).folder(t)
	s := &site{t: t}
	s.up(dir)
	t.Cleanup(func() { s.down() })
	p := open(t, browse(t), "http://"+s.at+"/")
	p.settled(true)
	s.down()
	if _, err := http.Get("http://" + s.at + "/"); err == nil {
		t.Fatal("the server still answers")
	}
	reload := func() {
		t.Helper()
		p.must(chromedp.Do(p.ctx, chromedp.Reload()))
		p.await("the engine", `document.body.dataset.ready === "true"`)
	}
	reload()
	const drill = "sing?key=Eb&degrees=la&set=tonic&think=0&compare=false&input=simulated"
	p.go_(drill + "&count=1")
	p.press("Start")
	p.event(0, "verdict")
	p.go_("record")
	p.await("the record", button("Export"))

	s.up(renewed(t, dir))
	p.go_("")
	from := p.heard()
	reload()
	p.go_(drill + "&count=2")
	p.press("Start")
	p.event(from, "key")
	page := evaluate[float64](p, "performance.timeOrigin")
	offered := `document.getElementById("troubles").innerText.includes("A new version is ready.")`
	p.await("the new version", `navigator.serviceWorker.getRegistration().then((r) => r.waiting !== null)`)
	_, from = p.event(from, "verdict")
	if evaluate[bool](p, offered) || evaluate[float64](p, "performance.timeOrigin") != page {
		t.Errorf("in the drill the page says %q", p.troubles())
	}
	p.event(from, "summary")
	p.await("the offer", offered)
	p.press("Use it now")
	p.await("the new page", fmt.Sprintf(`performance.timeOrigin !== %f && getComputedStyle(document.documentElement).getPropertyValue("--renewed") === "yes"`, page))
	s.down()
	reload()
	if evaluate[string](p, `getComputedStyle(document.documentElement).getPropertyValue("--renewed")`) != "yes" {
		t.Error("without a network it is the old version again")
	}
	p.calm()
}
