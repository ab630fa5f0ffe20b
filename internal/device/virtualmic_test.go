package device

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"singback/internal/audio"
)

// The tests in this file go through the real PortAudio to a real sound server.
// They run where virtualmic/with-virtual-mic says so, and there they do not
// skip: what is missing is a failure.

const wrapper = "virtualmic/with-virtual-mic"

func needVirtualMic(t *testing.T) {
	t.Helper()
	if os.Getenv("SINGBACK_VIRTUAL_MIC") != "1" {
		t.Skip("needs the virtual microphone: make virtual-mic-test")
	}
	if newBackend() == nil {
		t.Fatal("built without cgo, so there is no PortAudio to test")
	}
}

// start runs a program until the test ends.
func start(t *testing.T, stdin io.Reader, stdout io.Writer, name string, args ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = stdin, stdout, os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatalf("start %s: %v", name, err)
	}
	t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	return cmd
}

// raw is samples as little-endian float32, as paplay and parec have them.
func raw(samples []float64) []byte {
	b := make([]byte, 0, 4*len(samples))
	for _, x := range samples {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
	}
	return b
}

func fromRaw(b []byte) []float64 {
	s := make([]float64, len(b)/4)
	for i := range s {
		s[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:])))
	}
	return s
}

// tone is a sine of hz with an amplitude of 0.5, faded in and out over 10 ms.
func tone(hz float64, rate, n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		edge := min(1, float64(min(i, n-1-i))/float64(rate/100))
		s[i] = 0.5 * edge * math.Sin(2*math.Pi*hz*float64(i)/float64(rate))
	}
	return s
}

// fit is the least-squares fit of one sine of hz to s: its amplitude, its phase
// and the largest distance of a sample from it.
func fit(s []float64, hz float64, rate int) (amplitude, phase, worst float64) {
	w := 2 * math.Pi * hz / float64(rate)
	var cc, cs, ss, xc, xs float64
	for i, x := range s {
		sin, cos := math.Sincos(w * float64(i))
		cc, cs, ss, xc, xs = cc+cos*cos, cs+cos*sin, ss+sin*sin, xc+x*cos, xs+x*sin
	}
	det := cc*ss - cs*cs
	a, b := (xc*ss-xs*cs)/det, (xs*cc-xc*cs)/det
	for i, x := range s {
		sin, cos := math.Sincos(w * float64(i))
		worst = max(worst, math.Abs(x-a*cos-b*sin))
	}
	return math.Hypot(a, b), math.Atan2(-b, a), worst
}

// frequency refines near from how far the phase turns between the first and the
// second half. It is right for a steady tone within 1/T of near.
func frequency(s []float64, near float64, rate int) float64 {
	half := len(s) / 2
	for range 5 {
		_, first, _ := fit(s[:half], near, rate)
		_, second, _ := fit(s[half:2*half], near, rate)
		turn := second - first - 2*math.Pi*near*float64(half)/float64(rate)
		turn -= 2 * math.Pi * math.Round(turn/(2*math.Pi))
		near += turn / (2 * math.Pi) * float64(rate) / float64(half)
	}
	return near
}

// The measure of the tests below, on tones that no device has touched.
func TestFrequencyOfAKnownTone(t *testing.T) {
	for _, hz := range []float64{329.9, 330, 440, 440.3} {
		s := tone(hz, 48000, 96000)[1000:95000]
		if got := frequency(s, math.Round(hz), 48000); math.Abs(got-hz) > 1e-4 {
			t.Errorf("frequency of %v Hz = %v", hz, got)
		}
		if a, _, worst := fit(s, hz, 48000); math.Abs(a-0.5) > 1e-6 || worst > 1e-6 {
			t.Errorf("fit to %v Hz: amplitude %v, worst distance %v, want 0.5, 0", hz, a, worst)
		}
	}
}

// sounding cuts the stretch of s that is neither lead-in nor lead-out silence.
func sounding(s []float64) []float64 {
	loud := func(x float64) bool { return math.Abs(x) > 0.01 }
	first := slices.IndexFunc(s, loud)
	if first < 0 {
		return nil
	}
	last := len(s) - 1
	for !loud(s[last]) {
		last--
	}
	return s[first : last+1]
}

func TestVirtualMicDevices(t *testing.T) {
	needVirtualMic(t)
	devices, err := List(t.Context())
	if err != nil {
		t.Fatalf("List: %v", err)
	}
	var in, out []string
	for _, d := range devices {
		t.Logf("%+v", d)
		if d.DefaultInput && d.Inputs > 0 {
			in = append(in, d.Name)
		}
		if d.DefaultOutput && d.Outputs > 0 {
			out = append(out, d.Name)
		}
	}
	if len(in) != 1 || len(out) != 1 {
		t.Errorf("default inputs %q, default outputs %q, want one each", in, out)
	}
	if !slices.ContainsFunc(devices, func(d Info) bool { return d.Name == "pulse" && d.HostAPI == "ALSA" }) {
		t.Errorf("no ALSA device called pulse among %+v", devices)
	}
	if _, err := OpenInput(t.Context(), "no such thing", 48000); !errors.Is(err, ErrWhichDevice) || !strings.Contains(err.Error(), `"pulse"`) {
		t.Errorf("OpenInput of an unknown name: %v, want ErrWhichDevice with the names", err)
	}
}

func TestVirtualMicHears440(t *testing.T) {
	needVirtualMic(t)
	for _, c := range []struct {
		name string
		rate int
	}{{"", 48000}, {"PULSE", 44100}, {"", 16000}} {
		in, err := OpenInput(t.Context(), c.name, c.rate)
		if err != nil {
			t.Fatal(err)
		}
		if in.SampleRate() != c.rate {
			t.Errorf("SampleRate() = %d, want %d", in.SampleRate(), c.rate)
		}
		start(t, bytes.NewReader(raw(tone(440, 48000, 3*48000))), nil, "paplay", "--raw", "--format=float32le",
			"--rate=48000", "--channels=1", "--latency-msec=500", "--device=mic_feed")
		var got []float64
		var lost int64
		dst := make([]float64, 256)
		for len(got) < 5*c.rate {
			n, l, err := in.Read(t.Context(), dst)
			if err != nil {
				t.Fatalf("Read: %v", err)
			}
			got, lost = append(got, dst[:n]...), lost+l
		}
		if err := in.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		s := sounding(got)
		if seconds := float64(len(s)) / float64(c.rate); seconds < 2.9 || seconds > 3.05 {
			t.Fatalf("%d Hz: heard %.2f s of sound, want the 3 s that were played", c.rate, seconds)
		}
		s = s[c.rate/10 : len(s)-c.rate/10]
		hz := frequency(s, 440, c.rate)
		amplitude, _, worst := fit(s, hz, c.rate)
		t.Logf("%d Hz: heard %.4f Hz, amplitude %.4f, worst distance from a sine %.2g, %d lost, latency %v",
			c.rate, hz, amplitude, worst, lost, in.(*input).Latency())
		if math.Abs(hz-440) > 0.05 || lost != 0 {
			t.Errorf("%d Hz: heard %.4f Hz with %d lost, want 440 ± 0.05 Hz with 0", c.rate, hz, lost)
		}
		if math.Abs(amplitude-0.5) > 0.01 || worst > 0.02 {
			t.Errorf("%d Hz: amplitude %.4f, worst distance from a sine %.4f, want 0.5 and 0 within 0.02", c.rate, amplitude, worst)
		}
	}
}

func TestVirtualMicPlays330(t *testing.T) {
	needVirtualMic(t)
	var mu sync.Mutex
	var recorded bytes.Buffer
	parec := start(t, nil, writer(func(p []byte) (int, error) {
		mu.Lock()
		defer mu.Unlock()
		return recorded.Write(p)
	}), "parec", "--raw", "--format=float32le", "--rate=48000", "--channels=1", "--latency-msec=300", "--device=speaker.monitor")
	length := func() int { mu.Lock(); defer mu.Unlock(); return recorded.Len() / 4 }
	await(t, "parec to record", func() bool { return length() > 0 })

	out, err := OpenOutput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if err := out.Write(t.Context(), tone(330, 48000, 3*48000)); err != nil {
		t.Fatal(err)
	}
	if err := out.Drain(t.Context()); err != nil {
		t.Fatal(err)
	}
	took := time.Since(began)
	if err := out.Close(); err != nil {
		t.Errorf("Close: %v", err)
	}
	drained := length()
	await(t, "parec to catch up", func() bool { return length() > drained+48000 })
	parec.Process.Signal(syscall.SIGTERM)
	parec.Wait()

	s := sounding(fromRaw(recorded.Bytes()))
	if n := len(s); n < 143_000 || n > 144_000 {
		t.Fatalf("the loudspeaker played %d samples of sound, want the 144000 written without a gap", n)
	}
	s = s[2400 : len(s)-2400]
	hz := frequency(s, 330, 48000)
	amplitude, _, worst := fit(s, hz, 48000)
	t.Logf("heard %.4f Hz, amplitude %.4f, worst distance from a sine %.2g; Write and Drain of 3 s took %v; latency %v",
		hz, amplitude, worst, took.Round(time.Millisecond), out.(*output).Latency())
	if math.Abs(hz-330) > 0.05 || math.Abs(amplitude-0.5) > 0.001 || worst > 0.001 {
		t.Errorf("heard %.4f Hz, amplitude %.4f, worst distance from a sine %.4f; want 330, 0.5, 0: no gap, no click", hz, amplitude, worst)
	}
	// The driver tells its latency to a buffer or so: Drain may be early by that,
	// which the guard of a listening window covers.
	// A busy machine may be late; what was played twice would take 6 s.
	if took < 2900*time.Millisecond || took > 5500*time.Millisecond {
		t.Errorf("Write and Drain of 3 s took %v", took)
	}
}

// What the tool plays must have been heard when Drain returns: the listening
// window opens then. Here the loudspeaker stands right at the microphone.
func TestVirtualMicHearsNothingAfterDrain(t *testing.T) {
	needVirtualMic(t)
	opened, err := OpenInput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	in := opened.(*input)
	defer in.Close()
	t.Setenv("PULSE_SINK", "mic_feed")
	out, err := OpenOutput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	dst := make([]float64, 256)
	// hear reads n samples and returns the index of the last loud one, or -1.
	hear := func(n int) (last int) {
		last = -1
		for at := 0; at < n; {
			k, _, err := in.Read(t.Context(), dst[:min(len(dst), n-at)])
			if err != nil {
				t.Fatal(err)
			}
			for i, x := range dst[:k] {
				if math.Abs(x) > 1e-3 {
					last = at + i
				}
			}
			at += k
		}
		return last
	}
	for _, n := range []int{2400, 24000, 48000} {
		in.Skip()
		if err := out.Write(t.Context(), tone(330, 48000, n)); err != nil {
			t.Fatal(err)
		}
		if err := out.Drain(t.Context()); err != nil {
			t.Fatal(err)
		}
		kept := in.samples.len()
		before := hear(kept)
		after := hear(24000)
		t.Logf("%d samples: last heard %d samples before Drain returned, %d after", n, kept-before, after+1)
		// On two cores with four busy loops, 1696 samples were the worst.
		if late := int(in.Latency().Seconds()*48000) + 2400; before < 0 || after >= late {
			t.Errorf("%d samples played: heard until %d samples after Drain returned, want at most the microphone's latency and 50 ms, %d", n, after+1, late)
		}
	}
}

type writer func([]byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }

// await waits for a program beside this one.
func await(t *testing.T, what string, done func() bool) {
	t.Helper()
	for deadline := time.Now().Add(60 * time.Second); !done(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// TestVirtualMicServerDies runs itself in a second server, which it may end.
func TestVirtualMicServerDies(t *testing.T) {
	needVirtualMic(t)
	const mode = "SINGBACK_TEST_SERVER_DIES"
	if os.Getenv(mode) == "" {
		cmd := exec.CommandContext(t.Context(), wrapper, os.Args[0], "-test.v", "-test.timeout=60s", "-test.run=^"+t.Name()+"$")
		cmd.Env = append(os.Environ(), mode+"=1")
		out, err := cmd.CombinedOutput()
		if err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()) {
			t.Errorf("%v\n%s", err, out)
		}
		t.Logf("%s", out)
		return
	}
	in, err := OpenInput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	out, err := OpenOutput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	dst := make([]float64, 256)
	for range 20 {
		if _, _, err := in.Read(t.Context(), dst); err != nil {
			t.Fatalf("Read with the server alive: %v", err)
		}
	}
	if err := out.Write(t.Context(), tone(330, 48000, 4800)); err != nil {
		t.Fatalf("Write with the server alive: %v", err)
	}
	if err := out.Drain(t.Context()); err != nil {
		t.Fatalf("Drain with the server alive: %v", err)
	}
	pid, err := strconv.Atoi(os.Getenv("SINGBACK_VIRTUAL_MIC_SERVER"))
	if err != nil || pid <= 1 {
		t.Fatalf("SINGBACK_VIRTUAL_MIC_SERVER: %v", err)
	}
	server, err := os.FindProcess(pid)
	if err := errors.Join(err, server.Kill()); err != nil {
		t.Fatal(err)
	}
	// Half a second is the device's own limit; these tell only that nothing hangs.
	within(t, "Read", 20*time.Second, func() error {
		for {
			if _, _, err := in.Read(t.Context(), dst); err != nil {
				return err
			}
		}
	}, audio.ErrStalled)
	within(t, "Write", 20*time.Second, func() error {
		for {
			if err := out.Write(t.Context(), dst); err != nil {
				return err
			}
		}
	}, audio.ErrStalled)
	within(t, "Close of the microphone", 20*time.Second, in.Close, nil)
	within(t, "Close of the loudspeaker", 20*time.Second, out.Close, nil)
	if _, err := OpenInput(t.Context(), "", 48000); err == nil {
		t.Error("OpenInput succeeded without a server")
	} else {
		t.Logf("OpenInput without a server: %v", err)
	}
}

func within(t *testing.T, what string, limit time.Duration, f func() error, want error) {
	t.Helper()
	done := make(chan error, 1)
	began := time.Now()
	go func() { done <- f() }()
	select {
	case err := <-done:
		t.Logf("%s after the server's death: %v after %v", what, err, time.Since(began).Round(time.Millisecond))
		if !errors.Is(err, want) {
			t.Errorf("%s after the server's death: %v, want %v", what, err, want)
		}
	case <-time.After(limit):
		t.Fatalf("%s still hangs %v after the server's death", what, limit)
	}
}

// TestVirtualMicNoDefaultDevice is in a process of its own to see that nothing
// reaches standard error. PortAudio aborts in this configuration.
func TestVirtualMicNoDefaultDevice(t *testing.T) {
	needVirtualMic(t)
	const mode = "SINGBACK_TEST_NO_DEFAULT"
	if os.Getenv(mode) != "" {
		_, list := List(context.Background())
		_, in := OpenInput(context.Background(), "", 48000)
		_, out := OpenOutput(context.Background(), "", 48000)
		for _, err := range []error{list, in, out} {
			if !errors.Is(err, ErrNoDevice) {
				t.Errorf("error %v, want ErrNoDevice", err)
			}
		}
		fmt.Println("survived:", in)
		return
	}
	for name, conf := range map[string]string{
		"nothing defined": "",
		"no default":      "pcm.pulse { type pulse }\n",
		"broken":          "pcm.!default {\n",
	} {
		path := filepath.Join(t.TempDir(), "asound.conf")
		if err := os.WriteFile(path, []byte(conf), 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$")
		cmd.Env = append(os.Environ(), mode+"=1", "ALSA_CONFIG_PATH="+path)
		var stdout, stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		if err := cmd.Run(); err != nil || !strings.Contains(stdout.String(), "survived") {
			t.Errorf("%s: %v\n%s", name, err, stdout.String())
		}
		if stderr.Len() > 0 {
			t.Errorf("%s: standard error has %q", name, stderr.String())
		}
		t.Logf("%s: %s", name, stdout.String())
	}
}

// The noise of the drivers must not reach the user's screen in any life of a
// stream, nor when the server dies under it.
func TestVirtualMicIsQuiet(t *testing.T) {
	needVirtualMic(t)
	const mode = "SINGBACK_TEST_QUIET"
	if os.Getenv(mode) == "" {
		cmd := exec.CommandContext(t.Context(), wrapper, os.Args[0], "-test.run=^"+t.Name()+"$")
		cmd.Env = append(os.Environ(), mode+"=1")
		var stdout, stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		if err := cmd.Run(); err != nil || stderr.Len() > 0 {
			t.Errorf("%v, standard error has %q\n%s", err, stderr.String(), stdout.String())
		}
		return
	}
	in, err := OpenInput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	out, err := OpenOutput(t.Context(), "", 48000)
	if err != nil {
		t.Fatal(err)
	}
	if err := out.Write(t.Context(), tone(330, 48000, 4800)); err != nil {
		t.Fatal(err)
	}
	if err := out.Drain(t.Context()); err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(os.Getenv("SINGBACK_VIRTUAL_MIC_SERVER"))
	if err != nil || pid <= 1 {
		t.Fatalf("SINGBACK_VIRTUAL_MIC_SERVER: %v", err)
	}
	server, err := os.FindProcess(pid)
	if err := errors.Join(err, server.Kill()); err != nil {
		t.Fatal(err)
	}
	dst := make([]float64, 256)
	for {
		if _, _, err := in.Read(t.Context(), dst); err != nil {
			break
		}
	}
	in.Close()
	out.Close()
}
