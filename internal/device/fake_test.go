package device

import (
	"context"
	"errors"
	"os"
	"sync"
	"testing"
	"time"

	"singback/internal/audio"
)

func TestMain(m *testing.M) {
	if ServeProbe(os.Args[1:], os.Stdout) {
		return
	}
	os.Exit(m.Run())
}

// fake is a backend whose callbacks run when a test calls them.
type fake struct {
	list []Info
	// What openInput and openOutput were asked for.
	opened  int
	want    format
	refuse  bool          // the rate asked for; 44100 is given instead
	openErr error         // of openInput and openOutput
	hang    chan struct{} // if not nil, open and stop wait for it
	stopped int
	runs    bool // the driver calls back by itself: two channels, ever so often
	record  func(in []float32, missed, filled bool)
	play    func(out []float32)
	late    func(out []float32) // play, after the driver had nothing to play
}

func (f *fake) devices() ([]Info, error) { return f.list, nil }

func (f *fake) open(i int, want format, ready func(format)) (stream, error) {
	if f.hang != nil {
		<-f.hang
	}
	if f.openErr != nil {
		return nil, f.openErr
	}
	f.opened, f.want = i, want
	if f.refuse {
		want.rate = 44100
	}
	ready(want)
	return f, nil
}

func (f *fake) openInput(i int, want format, ready func(format), record func([]float32, bool, bool)) (stream, error) {
	f.record = record
	return f.running(func() { record(make([]float32, 2*64), false, false) }, i, want, ready)
}

func (f *fake) openOutput(i int, want format, ready func(format), play func([]float32, bool)) (stream, error) {
	f.play = func(out []float32) { play(out, false) }
	f.late = func(out []float32) { play(out, true) }
	return f.running(func() { play(make([]float32, 2*480), false) }, i, want, ready)
}

// running is open, with a driver that calls back if it runs.
func (f *fake) running(call func(), i int, want format, ready func(format)) (stream, error) {
	s, err := f.open(i, want, ready)
	if err == nil && f.runs {
		r := &driven{stream: s, end: make(chan struct{})}
		r.ended.Go(func() {
			for {
				select {
				case <-time.After(10 * time.Millisecond):
					call()
				case <-r.end:
					return
				}
			}
		})
		return r, nil
	}
	return s, err
}

// driven is a stream of a driver that runs.
type driven struct {
	stream
	end   chan struct{}
	ended sync.WaitGroup
}

func (d *driven) stop() error {
	close(d.end)
	d.ended.Wait()
	return d.stream.stop()
}

func (f *fake) stop() error {
	if f.hang != nil {
		<-f.hang
	}
	f.stopped++
	return nil
}

// records has blocks of silence come for so long, ten a second.
func (f *fake) records(d time.Duration) {
	for range d / (100 * time.Millisecond) {
		time.Sleep(100 * time.Millisecond)
		f.record(make([]float32, 64), false, false)
	}
}

// studio is an invented set of devices.
func studio() []Info {
	return []Info{
		{Name: "HDMI", Outputs: 8, SampleRate: 48000},
		{Name: "Front Mic", Inputs: 1, SampleRate: 48000, LowInputLatency: 50 * time.Millisecond},
		{Name: "Mic", Inputs: 4, Outputs: 2, SampleRate: 44100, DefaultInput: true},
		{Name: "Speaker", Outputs: 2, SampleRate: 48000, DefaultOutput: true},
	}
}

// newFake returns a host whose backend is f, with the studio's devices.
func newFake() (*fake, *host) {
	f := &fake{list: studio()}
	return f, newHost(func(context.Context) ([]Info, error) { return f.list, nil }, f)
}

// openFakeInput returns a capture stream of one channel per name.
func openFakeInput(t testing.TB, f *fake, h *host, name string, rate int) *input {
	t.Helper()
	in, err := h.openInput(t.Context(), name, rate)
	if err != nil {
		t.Fatalf("openInput(%q, %d): %v", name, rate, err)
	}
	return in
}

func openFakeOutput(t testing.TB, f *fake, h *host) *output {
	t.Helper()
	out, err := h.openOutput(t.Context(), "", 48000)
	if err != nil {
		t.Fatalf("openOutput: %v", err)
	}
	return out
}

// numbered returns n frames whose every channel holds a number that float32
// keeps exactly, the first being from.
func numbered(from, n, channels int) []float32 {
	s := make([]float32, n*channels)
	for i := range s {
		s[i] = float32(number(from + i/channels))
	}
	return s
}

func number(i int) float64 { return float64(i%(1<<20)) / (1 << 20) }

func TestChoose(t *testing.T) {
	for _, c := range []struct {
		rule string
		d    direction
		name string
		want string // name of the device, or part of the error
		err  error
	}{
		{"no name is the default", capture, "", "Mic", nil},
		{"no name is the default", playback, "", "Speaker", nil},
		{"a part is enough, case does not matter", capture, "front", "Front Mic", nil},
		{"a whole name wins over a part of another", capture, "mic", "Mic", nil},
		{"only devices of the direction count", playback, "mic", "Mic", nil},
		{"a part of several names them", capture, "mi", `"mi" could be any of "Front Mic", "Mic"`, ErrWhichDevice},
		{"no match lists what there is", capture, "usb", `no input device is called "usb"; there are "Front Mic", "Mic"`, ErrWhichDevice},
		{"an output is no input", capture, "HDMI", `there are "Front Mic", "Mic"`, ErrWhichDevice},
	} {
		i, err := choose(studio(), c.d, c.name)
		if !errors.Is(err, c.err) {
			t.Errorf("%s: choose(%v, %q) error %v, want %v", c.rule, c.d, c.name, err, c.err)
			continue
		}
		got := studio()[i].Name
		if err != nil {
			got = err.Error()
		}
		if c.err == nil && got != c.want || !contains(got, c.want) {
			t.Errorf("%s: choose(%v, %q) = %s, want %s", c.rule, c.d, c.name, got, c.want)
		}
	}
	if _, err := choose([]Info{{Name: "HDMI", Outputs: 2}}, capture, ""); !errors.Is(err, ErrNoDevice) {
		t.Errorf("outputs only: error %v, want ErrNoDevice", err)
	}
	if _, err := choose([]Info{{Name: "Mic", Inputs: 2}}, capture, ""); !errors.Is(err, ErrWhichDevice) {
		t.Errorf("no default: error %v, want ErrWhichDevice", err)
	}
}

func TestOpenAsksForWhatTheDeviceHas(t *testing.T) {
	for _, c := range []struct {
		name     string
		rate     int
		channels int
		latency  time.Duration
		wantRate int
	}{
		{"front", 48000, 1, 50 * time.Millisecond, 48000}, // recommends more than ours
		{"", 16000, 2, captureLatency, 16000},             // the first two of four
		{"", 0, 2, captureLatency, 44100},                 // the device's own rate
	} {
		f, h := newFake()
		in := openFakeInput(t, f, h, c.name, c.rate)
		if f.want.channels != c.channels || f.want.latency != c.latency || in.SampleRate() != c.wantRate {
			t.Errorf("open(%q, %d): asked for %+v, rate %d; want %d channels, %v, rate %d",
				c.name, c.rate, f.want, in.SampleRate(), c.channels, c.latency, c.wantRate)
		}
	}
	f, h := newFake()
	f.refuse = true
	if in := openFakeInput(t, f, h, "", 16000); in.SampleRate() != 44100 {
		t.Errorf("rate refused: SampleRate() = %d, want the device's 44100", in.SampleRate())
	}
}

func TestOpenFails(t *testing.T) {
	for _, rate := range []int{-1, audio.MinSampleRate - 1, audio.MaxSampleRate + 1} {
		_, h := newFake()
		if _, err := h.openInput(t.Context(), "", rate); err == nil {
			t.Errorf("rate %d accepted", rate)
		}
	}
	f, h := newFake()
	h.probe = func(context.Context) ([]Info, error) { return nil, noDevice("gone") }
	f.hang = make(chan struct{}) // the test hangs if the backend is touched after a failed probe
	if _, err := h.openInput(t.Context(), "", 48000); !errors.Is(err, ErrNoDevice) {
		t.Errorf("after a failed probe: error %v, want ErrNoDevice", err)
	}
	f, h = newFake()
	f.openErr = errors.New("device is in use")
	_, err := h.openInput(t.Context(), "", 48000)
	if !errors.Is(err, f.openErr) || !contains(err.Error(), `"Mic"`) {
		t.Errorf("open error %v, want the driver's, with the device's name", err)
	}
}

func TestHintsSayWhatToDo(t *testing.T) {
	for _, err := range []error{ErrNoDevice, ErrWhichDevice, audio.ErrStalled, errBuiltWithout} {
		if Hint(err, false) == "" {
			t.Errorf("no hint for %v", err)
		}
	}
	if got := Hint(errors.New("disk full"), false); got != "" {
		t.Errorf("hint for another package's error: %q", got)
	}
}
