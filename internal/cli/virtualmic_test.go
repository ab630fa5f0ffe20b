package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"singback/calib"
	"singback/internal/audio"
	"singback/internal/device"
	"singback/internal/drill"
	"singback/internal/listen"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// The tests in this file run the built program against the real PortAudio and
// a real sound server. They run where internal/device/virtualmic says so, and
// there they do not skip: what is missing is a failure.

// Sound takes real time here, and a busy machine takes longer: a limit on time tells
// only what hangs from what goes on. Where the driver says that it lost samples, or
// the sound server got no turn for so long that the device counts as silent, the
// program says so and judges nothing, and the same is tried again, twice at most: a
// device that is always lost or silent fails. What was heard, and how loud and how
// high, has the same bounds on every machine.

// hangs is the time after which a program that should have ended does not end any
// more: many times what the longest run here takes.
const hangs = 90 * time.Second

// needVirtualMic builds the program and returns its path.
func needVirtualMic(t *testing.T) string {
	t.Helper()
	if os.Getenv("SINGBACK_VIRTUAL_MIC") != "1" {
		t.Skip("needs the virtual microphone: make virtual-mic-test")
	}
	path := filepath.Join(t.TempDir(), "singback")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "singback/cmd/singback").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return path
}

// running is the program at work. Its standard input is closed from the start.
type running struct {
	cmd    *exec.Cmd
	stdout bytes.Buffer
	said   chan string // lines of standard error
	pid    int         // of the program, where it is not cmd itself
	stderr strings.Builder
}

func startProgram(t *testing.T, env []string, path string, args ...string) *running {
	t.Helper()
	r := &running{cmd: exec.Command(path, args...), said: make(chan string, 1000)}
	r.cmd.Env = append(append(os.Environ(), "XDG_DATA_HOME="+t.TempDir()), env...)
	r.cmd.Stdout = &r.stdout
	pipe, err := r.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.cmd.Process.Kill() })
	go func() {
		for s := bufio.NewScanner(pipe); s.Scan(); {
			r.said <- s.Text()
		}
		close(r.said)
	}()
	return r
}

// tries is how often something is tried on a machine that is too busy for it.
const tries = 3

// starved tells that the program ended, or asked anew, because the sound server got no
// turn.
func (r *running) starved(t *testing.T) bool {
	t.Helper()
	if said := r.stderr.String(); !strings.Contains(said, audio.ErrStalled.Error()) && !strings.Contains(said, goneLine) {
		return false
	}
	t.Logf("the machine is too busy for sound: %s", &r.stderr)
	return true
}

// ended runs the program to its end, and once more where it starved.
func ended(t *testing.T, env []string, path string, args ...string) *running {
	t.Helper()
	for try := 1; ; try++ {
		r := startProgram(t, env, path, args...)
		code := r.end(t)
		if code == exitDone {
			return r
		}
		if try == tries || !r.starved(t) {
			t.Fatalf("exit %d: %s", code, &r.stderr)
		}
	}
}

// await waits for a line of standard error that begins with prefix; false means
// that the program starved before it said it.
func (r *running) await(t *testing.T, prefix string) bool {
	t.Helper()
	limit := time.After(hangs)
	for {
		select {
		case line, ok := <-r.said:
			r.stderr.WriteString(line + "\n")
			switch {
			case !ok && r.starved(t):
				return false
			case !ok:
				t.Fatalf("the program ended before it said %q: %v, standard error %q, standard output %q", prefix, r.cmd.Wait(), &r.stderr, &r.stdout)
			case strings.HasPrefix(line, prefix):
				return true
			}
		case <-limit:
			t.Fatalf("waited in vain for %q; standard error has %q", prefix, &r.stderr)
		}
	}
}

// end waits for the program's end and returns its exit status.
func (r *running) end(t *testing.T) int {
	t.Helper()
	after := time.AfterFunc(hangs, func() {
		r.cmd.Process.Kill()
		t.Errorf("the program still runs after %v", hangs)
	})
	defer after.Stop()
	for line := range r.said {
		r.stderr.WriteString(line + "\n")
	}
	r.cmd.Wait()
	return r.cmd.ProcessState.ExitCode()
}

// play plays a recording into the virtual microphone and waits for its end.
func play(t *testing.T, env []string, path string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), hangs)
	defer cancel()
	cmd := exec.CommandContext(ctx, "paplay", "--latency-msec=500", "--device=mic_feed", path)
	cmd.Env = append(os.Environ(), env...)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("paplay: %v: %s", err, out)
	}
}

// The lines about a device that goes and comes back.
const (
	goneLine = "The sound device has gone silent: waiting for it to come back."
	backLine = "The sound is back."
)

// unrecorded is what sing says at its end to who has no practice record.
const unrecorded = "Not recorded: there is no practice record yet (singback today begins one, or name a --record FILE).\n"

// sung runs one question through the real microphone and loudspeaker, with a
// recording for an answer.
func sung(t *testing.T, path string, env []string, tr truth, more ...string) event {
	t.Helper()
	for range tries {
		v, ok := sungOnce(t, path, env, tr, more...)
		if ok && (v.Reason == nil || *v.Reason != "lost_samples") {
			return v
		}
		t.Logf("%s: not heard whole", tr.path)
	}
	t.Fatalf("%s: never heard whole", tr.path)
	return event{}
}

// sungOnce is false where the program starved.
func sungOnce(t *testing.T, path string, env []string, tr truth, more ...string) (v event, ok bool) {
	t.Helper()
	args := append([]string{"sing", "--count", "1", "--input", "mic", "--output", "speaker", "--degrees", tr.says["asked"]}, tr.music()...)
	r := startProgram(t, env, path, append(args, more...)...)
	if !r.await(t, "Listening.") {
		return event{}, false
	}
	play(t, env, tr.path)
	code := r.end(t)
	if r.starved(t) {
		return event{}, false
	}
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, &r.stderr)
	}
	all := events(t, r.stdout.String())
	verdicts := named(all, "verdict")
	if len(verdicts) != 1 || all[len(all)-1].Event != "summary" {
		t.Fatalf("events %s", &r.stdout)
	}
	for line := range strings.Lines(r.stderr.String()) {
		if !strings.HasPrefix(line, "Listening.") && !strings.HasPrefix(line, "Hear it inside") && !strings.HasPrefix(line, "1 of 1: ") && !strings.HasPrefix(line, "It starts quiet, ") && line != unrecorded && !strings.Contains(line, ", A4 = 440 Hz, seed ") {
			t.Errorf("standard error has %q", line)
		}
	}
	return verdicts[0], true
}

// What is sung into the real microphone gets the verdict that the text beside
// the recording says, as a file does.
func TestVirtualMicSing(t *testing.T) {
	path := needVirtualMic(t)
	var more []string
	for _, name := range []string{"la-eb-major-tenor", "flat-40", "la-for-sol", "octave-below"} {
		tr := recordingNamed(t, name)
		v := sung(t, path, nil, tr, more...)
		more = []string{"--set", "tonic", "--compare=false"} // the whole once, then in short
		if v.Outcome != tr.says["expect_outcome"] || v.Sung == nil || v.Sung.Syllable != tr.says["expect_sung_degree"] ||
			fmt.Sprint(v.Sung.OctaveShift) != tr.says["expect_octave_shift"] || v.Reason != nil {
			t.Errorf("%s: %s, sung %+v, want %s, %s", name, v.Outcome, v.Sung, tr.says["expect_outcome"], tr.says["expect_sung_degree"])
		}
		if want := number(t, tr.says["expect_cents"]); v.Cents == nil || math.Abs(*v.Cents-want) > 5 {
			t.Errorf("%s: %v cents, want %v ± 5", name, v.Cents, want)
		} else {
			t.Logf("%s: %s, %.2f cents, truth %.2f", name, v.Outcome, *v.Cents, want)
		}
	}
}

// What the tool plays comes out of the loudspeaker: the cadence, note by note.
func TestVirtualMicPlaysTheCadence(t *testing.T) {
	path := needVirtualMic(t)
	const level, rate = -17.0, 48000
	var samples []float64
	for try := 1; samples == nil; try++ {
		if try > tries {
			t.Fatal("never played to its end")
		}
		samples = cadencePlayed(t, path, level, rate)
	}
	checkCadence(t, samples, rate)
	most := 20 * math.Log10(peak(samples))
	t.Logf("%.1f s recorded, peak %.2f dBFS", float64(len(samples))/rate, most)
	if most > -2.4 || most < level+10 {
		t.Errorf("--loudness %v: peak at %.2f dBFS", level, most)
	}
	// The right note, F4, is sounded after the verdict.
	after := samples[slices.IndexFunc(samples, func(x float64) bool { return math.Abs(x) > 1e-4 })+5*rate:]
	last := len(after) - 1
	for last > 0 && math.Abs(after[last]) < 1e-4 {
		last--
	}
	if last < rate {
		t.Fatal("nothing is sounded after the verdict")
	}
	if got := strength(after[last-rate*8/10:last], rate, 349.228); got < level-40 {
		t.Errorf("the right note has %.1f dBFS", got)
	}
}

// cadencePlayed returns what comes out of the loudspeaker while the program asks one
// question that nobody answers; nil where it starved.
func cadencePlayed(t *testing.T, path string, level float64, rate int) []float64 {
	t.Helper()
	var recorded bytes.Buffer
	parec := exec.CommandContext(t.Context(), "parec", "--raw", "--format=float32le", "--rate=48000", "--channels=1", "--latency-msec=300", "--device=speaker.monitor")
	pipe, err := parec.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := parec.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := io.CopyN(&recorded, pipe, int64(4*rate/10)); err != nil { // it records
		t.Fatal(err)
	}
	copied := make(chan error, 1)
	go func() { _, err := io.Copy(&recorded, pipe); copied <- err }()
	r := startProgram(t, nil, path, "sing", "--key", "Ab major", "--degrees", "la", "--count", "1", "--input", "mic",
		"--output", "speaker", "--timeout", "0.6", "--loudness", fmt.Sprint(level), "--format", "json")
	code := r.end(t)
	parec.Process.Signal(syscall.SIGTERM)
	<-copied
	parec.Wait()
	if r.starved(t) {
		return nil
	}
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, &r.stderr)
	}
	samples := make([]float64, recorded.Len()/4)
	for i := range samples {
		samples[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(recorded.Bytes()[4*i:])))
	}
	return samples
}

// The tool's own sound reaches the microphone, at full level, and is never
// judged; a singer who answers after it is.
func TestVirtualMicOwnSound(t *testing.T) {
	path := needVirtualMic(t)
	loop := []string{"PULSE_SINK=mic_feed"}
	for _, more := range [][]string{{"--think", "0"}, {"--think", "0", "--from", "do", "--set", "drone"}} {
		args := []string{"sing", "--key", "Ab major", "--degrees", "la sol", "--count", "2", "--input", "mic", "--output", "speaker",
			"--timeout", "1.5", "--loudness", "-16", "--format", "json"}
		r := ended(t, loop, path, append(args, more...)...)
		all := events(t, r.stdout.String())
		for _, v := range named(all, "verdict") {
			if v.Outcome != "not_measured" || v.Reason == nil || *v.Reason != "too_quiet" && *v.Reason != "lost_samples" {
				t.Errorf("%q: nobody sang, and the verdict is %s (%v), sung %+v", more, v.Outcome, v.Reason, v.Sung)
			}
		}
		if total := all[len(all)-1].Total; total.Asked != 2 || total.Answered != 0 {
			t.Errorf("%q: total %+v", more, total)
		}
	}
	tr := recordingNamed(t, "flat-40")
	if v := sung(t, path, loop, tr, "--think", "0", "--loudness", "-16"); v.Outcome != "flat" || v.Cents == nil || math.Abs(*v.Cents-number(t, tr.says["expect_cents"])) > 5 {
		t.Errorf("with the loudspeaker at the microphone: %s, %v cents", v.Outcome, v.Cents)
	}
}

func TestVirtualMicDevices(t *testing.T) {
	path := needVirtualMic(t)
	r := startProgram(t, nil, path, "devices", "--format", "json")
	if code := r.end(t); code != exitDone || r.stderr.Len() > 0 {
		t.Fatalf("exit %d: %s", code, &r.stderr)
	}
	var list struct {
		Schema  int
		Devices []struct {
			Name          string
			Inputs        int
			DefaultInput  bool `json:"default_input"`
			DefaultOutput bool `json:"default_output"`
		}
	}
	if err := json.Unmarshal(r.stdout.Bytes(), &list); err != nil {
		t.Fatal(err)
	}
	in, out := 0, 0
	for _, d := range list.Devices {
		if d.DefaultInput {
			in++
		}
		if d.DefaultOutput {
			out++
		}
	}
	if list.Schema != 1 || in != 1 || out != 1 {
		t.Errorf("%d default microphones and %d default loudspeakers in %s", in, out, &r.stdout)
	}
	r = startProgram(t, nil, path, "devices")
	if code := r.end(t); code != exitDone || !strings.Contains(r.stdout.String(), "microphone and loudspeaker") {
		t.Errorf("exit %d: %s%s", code, &r.stdout, &r.stderr)
	}
	r = startProgram(t, nil, path, "sing", "--input", "mic", "--device", "no such thing")
	if code := r.end(t); code != exitFailed || strings.Count(r.stderr.String(), "\n") != 1 || !strings.Contains(r.stderr.String(), `"pulse"`) {
		t.Errorf("an unknown device: exit %d, %q, want the names", code, &r.stderr)
	}
}

// click plays one short click, 10 ms after the beginning of what is handed over,
// since the output fades in, and returns how much later the microphone has it,
// in seconds: the first sample over half of its height.
func click(t *testing.T, in audio.Source, out audio.Sink) (seconds float64, err error) {
	t.Helper()
	block := make([]float64, 256)
	for heard := 0; heard < in.SampleRate()/2; {
		n, _, err := in.Read(t.Context(), block)
		if err != nil {
			return 0, err
		}
		heard += n
	}
	if err := listen.Freshly(t.Context(), in); err != nil {
		return 0, err
	}
	played := make(chan error, 1)
	go func() {
		played <- errors.Join(out.Write(t.Context(), append(make([]float64, sampleRate/100), slices.Repeat([]float64{0.5}, 48)...)), out.Drain(t.Context()))
	}()
	var x []float64
	for len(x) < in.SampleRate() {
		n, lost, err := in.Read(t.Context(), block)
		if err != nil {
			return 0, err
		}
		x = append(append(x, make([]float64, lost)...), block[:n]...)
	}
	if err := <-played; err != nil {
		return 0, err
	}
	i := slices.IndexFunc(x, func(v float64) bool { return math.Abs(v) > 0.25 })
	if i < 0 {
		t.Fatalf("the click was not heard: peak %g", peak(x))
	}
	return float64(i)/float64(in.SampleRate()) - 0.01, nil
}

// The delay of the calibration, the mean of eight sounds, is that of clicks on the
// same streams, before and after it, within 5 ms or three standard errors of the
// difference: blocks of input and output scatter single ones over some 30 ms. On a
// busy machine the delay itself changes in between, so one of three comparisons
// must hold; a measure that is always early or late by more passes none.
func TestVirtualMicCalibrationDelay(t *testing.T) {
	if os.Getenv("SINGBACK_VIRTUAL_MIC") != "1" {
		t.Skip("needs the virtual microphone: make virtual-mic-test")
	}
	t.Setenv("PULSE_SINK", "mic_feed")
	var wrong []string
	for range tries {
		fault := compareDelay(t)
		if fault == "" {
			return
		}
		t.Log(fault)
		wrong = append(wrong, fault)
	}
	t.Errorf("%s", strings.Join(wrong, "\n"))
}

// compareDelay measures the delay by clicks and by a calibration between them, and
// says how they differ; "" if they do not.
func compareDelay(t *testing.T) string {
	t.Helper()
	in, err := device.OpenInput(t.Context(), "", sampleRate)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := device.OpenOutput(t.Context(), "", sampleRate)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	var clicks []float64
	eight := func() error {
		for range 8 {
			c, err := click(t, in, out)
			if err != nil {
				return err
			}
			clicks = append(clicks, c)
		}
		return nil
	}
	fault := func(err error) string {
		if !errors.Is(err, audio.ErrStalled) {
			t.Fatal(err)
		}
		return err.Error()
	}
	if err := eight(); err != nil {
		return fault(err)
	}
	cfg := session.Calibration{Parts: []session.Part{session.LeakPart}, Tuning: theory.Tuning{A4: 440}, Level: -24, On: calib.Date{Year: 2026, Month: 11, Day: 25}}
	command := calibrateCommand{env: &env{stderr: io.Discard}}
	who, err := command.subject(t.Context(), &stage{answers: drill.Microphone{Live: in}}, calibration{Calibration: cfg})
	if err != nil {
		t.Fatal(err)
	}
	m, err := session.Calibrate(t.Context(), cfg, who, out, func(session.Event) {})
	if err != nil {
		return fault(err)
	}
	if m.Echo == nil {
		t.Fatalf("%+v", m)
	}
	if err := eight(); err != nil {
		return fault(err)
	}
	slices.Sort(clicks)
	median, known, n := clicks[len(clicks)/2], 0.0, 0.0
	for _, c := range clicks {
		if math.Abs(c-median) < 0.02 { // a busy machine is late now and then
			known, n = known+c, n+1
		}
	}
	known /= n
	scatter := 0.0
	for _, c := range clicks {
		if math.Abs(c-median) < 0.02 {
			scatter += (c - known) * (c - known) / (n - 1)
		}
	}
	within := max(0.005, 3*math.Sqrt(scatter*(1/n+1./8)))
	t.Logf("clicks after %.4f to %.4f s, on average %.4f s, the test sound after %.4f s", clicks[0], clicks[len(clicks)-1], known, m.Echo.Delay)
	if !m.Echo.Heard || math.Abs(m.Echo.Delay-known) > within || math.Abs(m.Echo.Level) > 3 {
		return fmt.Sprintf("%+v, want a delay of %.4f s, within %.4f s", *m.Echo, known, within)
	}
	return ""
}

// The program finds a leak where there is one, and none where there is none,
// through the real microphone and loudspeaker.
func TestVirtualMicCalibrate(t *testing.T) {
	path := needVirtualMic(t)
	for _, leaks := range []bool{true, false} {
		var env []string
		if leaks {
			env = []string{"PULSE_SINK=mic_feed"}
		}
		r := ended(t, env, path, "calibrate", "--only", "leak", "--input", "mic", "--output", "speaker", "--format", "json")
		var c report.Calibration
		if err := json.Unmarshal(r.stdout.Bytes(), &c); err != nil {
			t.Fatal(err)
		}
		if c.Echo == nil || c.Echo.Heard != leaks || len(c.Advice) > 0 != leaks {
			t.Errorf("leaks: %v, found %+v, advice %+v", leaks, c.Echo, c.Advice)
		}
	}
}
