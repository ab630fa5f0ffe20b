package page_test

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Firefox is driven by no protocol here: the page gets a script that presses Start when it
// is told, and tells the server what the page tells programs.
const report = `
const tell = (what) => fetch("report", {method: "POST", body: JSON.stringify(what)});
addEventListener("singback", (e) => tell(e.detail));
addEventListener("error", (e) => tell({event: "error", text: e.message}));
const ready = setInterval(() => {
	if (document.body.dataset.ready !== "true") return;
	clearInterval(ready);
	tell({event: "ready", agent: navigator.userAgent});
	const next = async () => {
		const address = await (await fetch("next")).text();
		if (address) {
			location.hash = address;
			setTimeout(() => document.querySelector("button.start")?.click(), 200);
		}
		setTimeout(next, 500);
	};
	next();
}, 100);
`

// preferences let the page play and hear without being asked about, and keep the browser
// from asking anybody else for anything.
const preferences = `
user_pref("media.autoplay.default", 0);
user_pref("media.autoplay.blocking_policy", 0);
user_pref("media.navigator.permission.disabled", true);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.enabled", false);
user_pref("app.update.enabled", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
user_pref("network.dns.disabled", true);
`

// In Firefox too the engine is ready, a simulated singer gets a verdict, and so does who
// sings into its microphone.
func TestBrowserFirefox(t *testing.T) {
	needBrowser(t)
	path, err := exec.LookPath("firefox-esr")
	if err != nil {
		if path, err = exec.LookPath("firefox"); err != nil {
			t.Fatal("no firefox-esr and no firefox here: make page-test installs it, on Debian")
		}
	}
	files := http.FileServer(http.Dir(newProgram(t).folder(t)))
	type event struct {
		Event, Text, Agent string
		verdict
	}
	events, next := make(chan event, 1000), make(chan string, 10)
	address := serveHandler(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/report":
			text, _ := io.ReadAll(r.Body)
			events <- read[event](t, text)
		case "/next":
			select {
			case place := <-next:
				fmt.Fprint(w, place)
			default:
			}
		case "/report.js":
			w.Header().Set("Content-Type", "text/javascript")
			fmt.Fprint(w, report)
		case "/":
			inner := &inMemory{}
			files.ServeHTTP(inner, r)
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			fmt.Fprint(w, strings.Replace(inner.body.String(), "</head>", `<script type="module" src="report.js"></script></head>`, 1))
		default:
			files.ServeHTTP(w, r)
		}
	}))
	profile := t.TempDir()
	if err := os.WriteFile(filepath.Join(profile, "user.js"), []byte(preferences), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "--headless", "--no-remote", "--profile", profile, address)
	cmd.Env = append(os.Environ(), "HOME="+profile, "MOZ_CRASHREPORTER_DISABLE=1")
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cmd.Process.Signal(os.Interrupt)
		ended := time.AfterFunc(10*time.Second, func() { cmd.Process.Kill() })
		cmd.Wait()
		ended.Stop()
		if t.Failed() {
			t.Logf("Firefox said: %.2000s", &said)
		}
	})
	await := func(name string) event {
		t.Helper()
		limit := time.After(2 * hangs)
		for {
			select {
			case e := <-events:
				if e.Event == "error" {
					t.Fatalf("the page threw %s", e.Text)
				}
				if e.Event == name {
					return e
				}
			case <-limit:
				t.Fatalf("waited in vain for %q", name)
			}
		}
	}
	t.Logf("ready: %s", await("ready").Agent)
	next <- "sing?key=Eb&degrees=la&count=1&seed=7&set=tonic&think=0&compare=false&input=simulated"
	if v := await("verdict"); v.Outcome == "" || v.Outcome == "not_measured" {
		t.Errorf("the simulated singer was %s", v.verdict)
	}
	await("summary")
	r := la(t)
	for try := 1; ; try++ {
		next <- "help"
		next <- r.address()
		await("listening")
		sing(t, r.path)
		v := await("verdict")
		await("summary")
		cents := "without cents"
		if v.Cents != nil {
			cents = fmt.Sprintf("%.2f cents", *v.Cents)
		}
		t.Logf("%s: %s, %s", r.name, v.verdict, cents)
		if v.Outcome == "in_tune" && v.Sung.Syllable == "la" {
			break
		}
		if try == tries {
			t.Errorf("%s was %s", r.name, v.verdict)
			break
		}
	}
}

// inMemory takes what a handler answers.
type inMemory struct {
	body   bytes.Buffer
	header http.Header
}

func (m *inMemory) Header() http.Header {
	if m.header == nil {
		m.header = http.Header{}
	}
	return m.header
}

func (m *inMemory) Write(b []byte) (int, error) { return m.body.Write(b) }
func (m *inMemory) WriteHeader(int)             {}
