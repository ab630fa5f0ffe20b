package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/doctor"
)

// examined runs doctor without a sound device and returns its report.
func examined(t *testing.T, c call, args ...string) doctor.Report {
	t.Helper()
	stdout, stderr, code := c.run(t, append([]string{"doctor", "--format", "json"}, args...)...)
	var r doctor.Report
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatalf("%v: %s%s", err, stdout, stderr)
	}
	if failed := r.Failed(); (code == exitDone) != (len(failed) == 0) || r.Well != (len(failed) == 0) || !strings.Contains(stderr, strings.Join(failed, ", ")) {
		t.Errorf("exit %d, well %v, %q; %q fail", code, r.Well, stderr, failed)
	}
	return r
}

func checked(t *testing.T, r doctor.Report, name string) doctor.Check {
	t.Helper()
	i := slices.IndexFunc(r.Checks, func(c doctor.Check) bool { return c.Name == name })
	if i < 0 {
		t.Fatalf("no check of %s in %+v", name, r.Checks)
	}
	return r.Checks[i]
}

// What is kept, and with which rights.
func TestDoctorPlaces(t *testing.T) {
	soundless(t)
	t.Chdir(t.TempDir())
	data := t.TempDir()
	c := call{data: data}
	folder := filepath.Join(data, "singback")

	r := examined(t, c)
	if _, err := os.Stat(folder); err == nil {
		t.Error("doctor made the folder")
	}
	for name, want := range map[string]doctor.State{
		"devices": doctor.Fails, "microphone": doctor.LeftOut, "tone": doctor.LeftOut, "terminal": doctor.Well, "locale": doctor.Well,
		"folder": doctor.Well, "profile": doctor.Note, "record": doctor.Well, "class": doctor.Well,
	} {
		if k := checked(t, r, name); k.State != want {
			t.Errorf("at first: %+v, want %s", k, want)
		}
	}

	c.must(t, "record", "import", filepath.Join(testdata(t), "record", "anna.csv"))
	c.must(t, "profile", "set", "--voice", "tenor", "--profile", "Otto")
	c.must(t, "class", "new", "Harbour Choir")
	r = examined(t, c)
	for name, says := range map[string]string{"folder": "(0700)", "profile": "Otto", "record": "version ", "class": "it can be read"} {
		if k := checked(t, r, name); k.State != doctor.Well || !strings.Contains(k.Found, says) {
			t.Errorf("kept: %+v, want %q", k, says)
		}
	}
	if len(r.Places) != 4 {
		t.Errorf("places: %+v, want folder, profile, record and class", r.Places)
	}
	for _, p := range r.Places {
		if runtime.GOOS != "windows" && (p.Mode == nil || (*p.Mode)[2:] != "00") || !p.There || !p.Writable {
			t.Errorf("%+v: want it there, and its owner's alone", p)
		}
	}
	if left, err := os.ReadDir(folder); err != nil || slices.ContainsFunc(left, func(e os.DirEntry) bool { return strings.HasPrefix(e.Name(), ".") }) {
		t.Errorf("doctor left something behind: %v, %v", left, err)
	}

	for path, mode := range map[string]os.FileMode{folder: 0o755, filepath.Join(folder, "singers", "Otto.toml"): 0o644} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	r = examined(t, c)
	for _, name := range []string{"folder", "profile"} {
		if k := checked(t, r, name); runtime.GOOS != "windows" && (k.State != doctor.Note || k.Do == nil || !strings.Contains(*k.Do, "chmod ")) {
			t.Errorf("open to others: %+v", k)
		}
	}

	record := filepath.Join(folder, "record.db")
	for _, path := range []string{record, filepath.Join(folder, "singers", "Otto.toml"), "A spoilt one.sbclass"} {
		if err := os.WriteFile(path, []byte("no such thing\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	os.Remove(record + "-wal")
	os.Remove(record + "-shm")
	r = examined(t, c)
	for _, name := range []string{"profile", "record", "class"} {
		if k := checked(t, r, name); k.State != doctor.Fails || k.Do == nil || *k.Do == "" {
			t.Errorf("spoilt: %+v", k)
		}
	}
	if b, err := os.ReadFile(record); err != nil || string(b) != "no such thing\n" {
		t.Errorf("doctor touched the record: %q, %v", b, err)
	}
	if _, err := os.Stat(filepath.Join(folder, "singers", "Otto.toml")); err != nil {
		t.Errorf("doctor moved the profile: %v", err)
	}
}

// testdata is the folder of recordings and records.
func testdata(t *testing.T) string {
	t.Helper()
	_, file, _, _ := runtime.Caller(0)
	return filepath.Join(filepath.Dir(file), "../../testdata")
}

// Nothing sounds that was not agreed to.
func TestDoctorAsksFirst(t *testing.T) {
	args := []string{"doctor", "--tone"}
	stdout, stderr, code := call{data: t.TempDir()}.run(t, args...)
	refused(t, args, stdout, stderr, code, exitUsage, "--tone", "--yes")
	for answer, want := range map[string]bool{"\n": true, "  \n": true, "n\n": false, "no\n": false, "": false, "later\n": false} {
		var said bytes.Buffer
		d := doctorCommand{env: &env{stdin: strings.NewReader(answer), stderr: &said, terminal: func(any) bool { return true }}, lufs: -23}
		if got := d.agreed(); got != want {
			t.Errorf("%q: %v, want %v", answer, got, want)
		}
		for _, text := range []string{"should not be louder than your own voice", "headphones off", "-23 LUFS"} {
			if !strings.Contains(strings.ReplaceAll(said.String(), "\n", " "), text) {
				t.Errorf("%q is not said before it sounds: %q", text, said.String())
			}
		}
	}
}

// The test tone comes back through the real microphone and loudspeaker where they
// are joined, and not where they are apart.
func TestVirtualMicDoctor(t *testing.T) {
	path := needVirtualMic(t)
	examine := func(t *testing.T, env []string) (r doctor.Report) {
		t.Helper()
		for try := 1; ; try++ {
			p := startProgram(t, env, path, "doctor", "--tone", "--yes", "--format", "json")
			p.end(t)
			if err := json.Unmarshal(p.stdout.Bytes(), &r); err != nil {
				t.Fatalf("%v: %s", err, &p.stderr)
			}
			busy := r.Tone == nil || r.Tone.Lost > 0 || r.Tone.Underruns > 0 || len(r.Tone.Dropouts) > 0
			if !busy || try == tries {
				return r
			}
			t.Logf("the machine is too busy for sound, %+v", checked(t, r, "tone"))
		}
	}
	r := examine(t, []string{"PULSE_SINK=mic_feed"})
	if r.Tone == nil || r.Microphone == nil {
		t.Fatalf("joined: %+v", r.Checks)
	}
	t.Logf("joined: %+v", *r.Tone)
	x := r.Tone
	if x.Heard != 3 || x.Leak == nil || *x.Leak < -1 || *x.Leak > 1 || x.Delay == nil || *x.Delay < 5 || *x.Delay > 1000 || !x.Judged {
		t.Errorf("joined: %+v, want it back as loud as it was played", *x)
	}
	// Where the driver still says that it was late, the tone was broken indeed.
	told := x.Lost > 0 || x.Underruns > 0
	if whole := len(x.Dropouts) == 0 && x.Seconds > doctor.ToneSeconds-.15 && x.Seconds < doctor.ToneSeconds; !told && !whole {
		t.Errorf("joined: %+v, and the driver says nothing: want the tone whole", *x)
	}
	if x.Drift == nil || !told && (*x.Drift < -50 || *x.Drift > 50) {
		t.Errorf("joined: clocks %v ppm apart, want one clock", x.Drift)
	}
	if k := checked(t, r, "microphone"); r.Microphone.Floor != audio.MinLevel || k.State != doctor.Note {
		t.Errorf("joined: %+v, want a microphone without any noise", k)
	}
	r = examine(t, nil)
	if r.Tone == nil || r.Tone.Heard != 0 || r.Tone.Judged || r.Tone.Leak != nil || checked(t, r, "tone").State != doctor.Note {
		t.Errorf("apart: %+v", r)
	}
	if k := checked(t, r, "microphone"); k.State != doctor.Fails {
		t.Errorf("apart: %+v, want a microphone that hears nothing", k)
	}
}
