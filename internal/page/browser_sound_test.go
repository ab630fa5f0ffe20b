package page_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"singback/internal/audio"
	"singback/internal/synth"
	"singback/theory"
)

// address is the drill that asks for what a recording answers.
func (r recording) address() string {
	q := url.Values{
		"key": {r.says["key"]}, "octave": {r.says["tonic_octave"]}, "degrees": {r.says["asked"]}, "tolerance": {r.says["tolerance"]},
		"count": {"1"}, "set": {"tonic"}, "think": {"0"}, "compare": {"false"}, "retry": {"never"}, "timeout": {"4"},
	}
	return "sing?" + q.Encode()
}

// judged is what the program says of the recording.
func (r recording) judged(t *testing.T, p program) verdict {
	t.Helper()
	out, _ := p.run(t, "judge", "--format", "json", "--degree", r.says["asked"], r.path,
		"--key", r.says["key"], "--octave", r.says["tonic_octave"], "--tolerance", r.says["tolerance"])
	return read[verdict](t, []byte(out))
}

// answer runs the drill of a recording and answers with it.
func (p *tab) answer(r recording) (v verdict) {
	p.t.Helper()
	for range tries {
		from := p.heard()
		p.go_("help")
		p.go_(r.address())
		quiet := func() {}
		if r.says["expect_reason"] == "too_noisy" {
			quiet = again(p.t, r.path) // a noise does not begin when somebody is to sing
		}
		p.press("Start")
		_, from = p.event(from, "listening")
		if r.says["expect_reason"] != "too_noisy" {
			sing(p.t, r.path)
		}
		got, from := p.event(from, "verdict")
		quiet()
		p.event(from, "summary")
		v = read[verdict](p.t, got.Detail)
		if v.Reason == nil || *v.Reason != "lost_samples" {
			return v
		}
		p.t.Logf("%s: not heard whole", r.name)
	}
	return v
}

// Every recording that is sung into the browser's microphone gets the verdict that judge
// gives it as a file: the same outcome and degree, and the same pitch within a cent. For
// these minutes the key sounds soon after each click, no sound is lost, and the page never
// stands still while it listens.
func TestBrowserRecordings(t *testing.T) {
	needBrowser(t)
	prog := newProgram(t)
	p := open(t, browse(t), prog.serve(t))
	began, worked, work := time.Now(), p.worked(), -1.0
	var worst, slowest float64
	for i, r := range recordings(t) {
		if testing.Short() && i%3 > 0 {
			continue
		}
		t.Run(r.name, func(t *testing.T) {
			p.t = t
			from := p.heard()
			want, got := r.judged(t, prog), p.answer(r)
			key, _ := p.event(from, "key")
			slowest = max(slowest, key.At-evaluate[float64](p, "clicked"))
			if work < 0 && time.Since(began) > time.Minute {
				work = worked()
			}
			if got.String() != want.String() {
				t.Fatalf("%s, want %s", got, want)
			}
			if want.Cents == nil {
				t.Log(got)
				return
			}
			off := math.Abs(*got.Cents - *want.Cents)
			worst = max(worst, off)
			t.Logf("%s, %.2f cents, as a file %.2f", got, *got.Cents, *want.Cents)
			if off > 1 {
				t.Errorf("%.2f cents, want %.2f ± 1", *got.Cents, *want.Cents)
			}
		})
	}
	p.t = t
	if work < 0 {
		work = worked()
	}
	t.Logf("the largest distance of a pitch from that of the file: %.2f cents", worst)
	lost := 0
	for _, v := range p.verdicts() {
		if v.Reason != nil && *v.Reason == "lost_samples" {
			lost++
		}
	}
	stood := p.stood()
	t.Logf("in %.0f s %d answers lost sound; the page stood still for at most %.0f ms while it listened; the longest of its own work, for a minute, was %.1f ms; from the click to the key at most %.0f ms",
		time.Since(began).Seconds(), lost, stood, work, slowest)
	if lost > 0 || strings.Contains(p.troubles(), "lost") {
		t.Errorf("%d answers lost sound; the page says: %s", lost, p.troubles())
	}
	if stood > longestTask && work > longestTask {
		t.Errorf("the page stood still for %.0f ms while it listened, %.0f of them its own work; want at most %d", stood, work, longestTask)
	}
	if slowest <= 0 || slowest > toCadence {
		t.Errorf("from the click to the key: %.0f ms, want at most %d", slowest, toCadence)
	}
	p.calm()
}

// again plays a recording into the microphone over and over, until the function that it
// returns is called.
func again(t testing.TB, path string) (end func()) {
	t.Helper()
	w, err := audio.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var once []float64
	for block := make([]float64, 4096); ; {
		n, _, err := w.Read(t.Context(), block)
		once = append(once, block[:n]...)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return repeat(t, w.SampleRate(), once)
}

// repeat plays samples into the microphone over and over, in pieces of a minute, until the
// function that it returns is called, or the test ends.
func repeat(t testing.TB, rate int, once []float64) (end func()) {
	t.Helper()
	var all []float64
	for len(all) < 60*rate {
		all = append(all, once...)
	}
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, rate, all); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "again.wav")
	if err := os.WriteFile(file, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var ended sync.WaitGroup
	ended.Go(func() {
		for ctx.Err() == nil {
			exec.CommandContext(ctx, "paplay", "--latency-msec=500", "--device=mic_feed", file).Run()
		}
	})
	end = func() { stop(); ended.Wait() }
	t.Cleanup(end)
	return end
}

// loudspeaker records what the virtual loudspeaker plays.
type loudspeaker struct {
	t   testing.TB
	cmd *exec.Cmd
	mu  sync.Mutex
	raw []byte
}

// loudspeakerRate is that of the virtual loudspeaker, so that it is not changed.
const loudspeakerRate = 48000

func (l *loudspeaker) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.raw = append(l.raw, p...)
	return len(p), nil
}

// samples are those until now, of the left channel.
func (l *loudspeaker) samples() []float64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := make([]float64, len(l.raw)/8)
	for i := range s {
		s[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(l.raw[8*i:])))
	}
	return s
}

// overhear begins to record.
func overhear(t testing.TB) *loudspeaker {
	t.Helper()
	l := &loudspeaker{t: t}
	l.cmd = exec.Command("parec", "--raw", "--format=float32le", "--rate=48000", "--channels=2", "--latency-msec=300", "--device=speaker.monitor")
	l.cmd.Stdout = l
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		l.cmd.Process.Kill()
		l.cmd.Wait()
	})
	l.await(1)
	return l
}

// await waits until so many samples have come.
func (l *loudspeaker) await(n int) {
	l.t.Helper()
	for limit := time.Now().Add(hangs); len(l.samples()) < n; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(limit) {
			l.t.Fatal("the virtual loudspeaker gives nothing")
		}
	}
}

// end ends it, when what has been played has come, and returns all.
func (l *loudspeaker) end() []float64 {
	l.t.Helper()
	l.await(len(l.samples()) + loudspeakerRate)
	l.cmd.Process.Signal(syscall.SIGTERM)
	l.cmd.Wait()
	return l.samples()
}

// shifted are n samples of x from place at on, which may lie between samples: a sinc of
// 64 samples under the window of Hann.
func shifted(x []float64, at float64, n int) []float64 {
	const half = 32
	whole := int(math.Floor(at))
	kernel := sinc(half, at-float64(whole))
	y := make([]float64, n)
	for i := range y {
		for j, k := range kernel {
			if from := whole - half + 1 + i + j; from >= 0 && from < len(x) {
				y[i] += k * x[from]
			}
		}
	}
	return y
}

// sinc weighs the samples about a place so much behind one, from half-1 before it on.
func sinc(half int, behind float64) []float64 {
	kernel := make([]float64, 2*half)
	for i := range kernel {
		d := behind + float64(half-1-i)
		kernel[i] = 0.5 + 0.5*math.Cos(math.Pi*d/float64(half))
		if d != 0 {
			kernel[i] *= math.Sin(math.Pi*d) / (math.Pi * d)
		}
	}
	return kernel
}

// atLoudspeaker has samples of a rate at most the loudspeaker's at its rate.
func atLoudspeaker(x []float64, rate int) []float64 {
	if rate == loudspeakerRate {
		return x
	}
	y := make([]float64, len(x)*loudspeakerRate/rate)
	for i := range y {
		y[i] = shifted(x, float64(i)*float64(rate)/loudspeakerRate, 1)[0]
	}
	return y
}

// alike fits got, from place at on, to want times a factor, and returns the factor, and
// what is left of want's energy.
func alike(got, want []float64, at float64) (factor, left float64) {
	var ww, gw, gg float64
	for i, g := range shifted(got, at, len(want)) {
		w := want[i]
		ww, gw, gg = ww+w*w, gw+g*w, gg+g*g
	}
	if ww == 0 || gg == 0 {
		return 0, 1
	}
	return gw / ww, 1 - gw*gw/(ww*gg)
}

// place finds where in got, between two places, want is likest, to a hundredth of a
// sample.
func place(got, want []float64, low, high int) float64 {
	best, at := 2.0, 0.0
	for i := low; i <= high; i++ {
		var gw, gg float64
		for j, w := range want {
			if i+j >= len(got) {
				break
			}
			gw, gg = gw+w*got[i+j], gg+got[i+j]*got[i+j]
		}
		if gw > 0 && -gw*gw/gg < best {
			best, at = -gw*gw/gg, float64(i)
		}
	}
	for step := 0.5; step > 0.005; step /= 2 {
		_, here := alike(got, want, at)
		for _, try := range []float64{at - step, at + step} {
			if _, left := alike(got, want, try); left < here {
				here, at = left, try
			}
		}
	}
	return at
}

// What the page plays is what the program computes: the scale that sets the key, of 15
// notes that follow each other, is recorded from the loudspeaker and laid over the same
// scale. Every note lasts as long as it should, to the sample, so that its pitch is right
// and none begins late; and nothing else is heard, no click and no gap.
func TestBrowserLoudspeaker(t *testing.T) {
	needBrowser(t)
	p := open(t, browse(t), newProgram(t).serve(t))
	key, err := theory.ParseKey("Ab major")
	if err != nil {
		t.Fatal(err)
	}
	tuning, err := theory.NewTuning(theory.DefaultA4)
	if err != nil {
		t.Fatal(err)
	}
	// The noises of the keys are others at another rate, which is the browser's choice.
	rate := int(evaluate[float64](p, "new AudioContext().sampleRate"))
	t.Logf("the page plays %d samples a second", rate)
	want := atLoudspeaker(synth.NewKeyboard(rate).Render(synth.Scale(key, tuning, 4)), rate)
	for try := 1; ; try++ {
		l := overhear(t)
		from := p.heard()
		p.go_("help")
		p.go_("sing?key=Ab&set=scale&degrees=do&octave=4&count=1&seed=1&think=0&compare=false&input=simulated")
		p.press("Start")
		p.event(from, "listening")
		got := l.end()
		p.event(from, "summary")
		worstCents, worstLeft := laidOver(t, got, want)
		t.Logf("the worst pitch is %.3f cents off, and the loudest of what does not belong there %.1f dB below the scale", worstCents, -worstLeft)
		if math.Abs(worstCents) < 1 && worstLeft < -40 {
			break
		}
		if try == tries {
			t.Errorf("want pitches within 1 cent, and 40 dB")
			break
		}
	}
	p.calm()
}

// laidOver returns the largest error of pitch of a note, and the largest part, in dB, of
// any 20 ms that is not the scale.
func laidOver(t *testing.T, got, want []float64) (worstCents, worstLeft float64) {
	t.Helper()
	first := 0
	for first < len(got) && math.Abs(got[first]) < 1e-4 {
		first++
	}
	if first == len(got) {
		t.Fatal("the loudspeaker was silent")
	}
	at := place(got, want[:loudspeakerRate/2], max(0, first-500), first+500)
	worstLeft = math.Inf(-1)
	factor, left := alike(got, want, at)
	t.Logf("the scale of %.2f s begins at sample %.2f, times %.3f; left of it %.1f dB", float64(len(want))/loudspeakerRate, at, factor, 10*math.Log10(left))
	const window = loudspeakerRate / 50
	var energy float64
	for _, w := range want {
		energy += w * w / float64(len(want))
	}
	all := shifted(got, at, len(want))
	for i := 0; i+window <= len(want); i += window {
		var off float64
		for j := i; j < i+window; j++ {
			d := all[j] - factor*want[j]
			off += d * d / window
		}
		worstLeft = max(worstLeft, 10*math.Log10(off/(factor*factor*energy)))
	}
	// A pitch that is a cent too high has run ahead by 0.06 % after the note.
	const note = loudspeakerRate / 2
	last := at
	for i := note; i+note <= len(want); i += note {
		here := place(got, want[i:i+note], int(at)+i-40, int(at)+i+40) - float64(i)
		if cents := 1200 * math.Log2(1+(here-last)/note); math.Abs(cents) > math.Abs(worstCents) {
			worstCents = cents
		}
		last = here
	}
	return worstCents, worstLeft
}
