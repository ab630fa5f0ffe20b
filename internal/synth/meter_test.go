package synth

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
)

// lufs is an integrated-loudness meter of these tests: it knows nothing of how the package
// measures. It brings the sound to 48 kHz, for which alone ITU-R BS.1770 prints coefficients,
// by go-dsp's transform, filters by the printed numbers in direct form I, and gates.
func lufs(x []float64, rate int) float64 {
	if rate != 48000 {
		x = resample(x, rate, 48000)
	}
	filter := func(x []float64, b, a [3]float64) []float64 {
		y := make([]float64, len(x))
		for i := range x {
			for j := 0; j <= min(i, 2); j++ {
				y[i] += b[j] * x[i-j]
				if j > 0 {
					y[i] -= a[j] * y[i-j]
				}
			}
		}
		return y
	}
	x = filter(x, [3]float64{1.53512485958697, -2.69169618940638, 1.19839281085285}, [3]float64{1, -1.69065929318241, 0.73248077421585})
	x = filter(x, [3]float64{1, -2, 1}, [3]float64{1, -1.99004745483398, 0.99007225036621})
	var blocks []float64
	for at := 0; at+19200 <= len(x) || at == 0; at += 4800 {
		sum := 0.0
		for _, v := range x[at:min(len(x), at+19200)] {
			sum += v * v
		}
		blocks = append(blocks, sum/19200)
	}
	over := func(limit float64) float64 {
		sum, n := 0.0, 0.0
		for _, b := range blocks {
			if -0.691+10*math.Log10(b) > limit {
				sum, n = sum+b, n+1
			}
		}
		return -0.691 + 10*math.Log10(sum/n)
	}
	return over(over(-70) - 10)
}

// resample changes the rate upward by sinc interpolation under a Hann window.
func resample(x []float64, from, to int) []float64 {
	const half = 24
	y := make([]float64, len(x)*to/from)
	for i := range y {
		at := float64(i) * float64(from) / float64(to)
		for j := max(0, int(at)-half+1); j <= min(len(x)-1, int(at)+half); j++ {
			d := at - float64(j)
			w := 0.5 + 0.5*math.Cos(math.Pi*d/half)
			if d != 0 {
				w *= math.Sin(math.Pi*d) / (math.Pi * d)
			}
			y[i] += w * x[j]
		}
	}
	return y
}

// truePeak is the peak in dBTP of the sound at four times its rate, sought around the
// highest samples.
func truePeak(x []float64) float64 {
	const half = 24
	top := peak(x)
	limit := 0.6 * top
	for i, v := range x {
		if math.Abs(v) < limit {
			continue
		}
		for q := -3; q <= 3; q++ {
			at, y := float64(i)+float64(q)/4, 0.0
			for j := max(0, i-half); j <= min(len(x)-1, i+half); j++ {
				d := at - float64(j)
				w := 0.5 + 0.5*math.Cos(math.Pi*d/(half+1))
				if d != 0 {
					w *= math.Sin(math.Pi*d) / (math.Pi * d)
				}
				y += w * x[j]
			}
			top = max(top, math.Abs(y))
		}
	}
	return toDB(top)
}

// Values worked out from ITU-R BS.1770's filters: a sine at full
// scale in one channel, and two halves of which the softer one is gated or not.
func TestMeters(t *testing.T) {
	sine := func(hz, db, seconds float64) []float64 {
		x := make([]float64, int(seconds*48000))
		for i := range x {
			x[i] = fromDB(db) * math.Sin(2*math.Pi*hz*float64(i)/48000)
		}
		return x
	}
	for _, c := range []struct {
		x      []float64
		want   float64
		within float64
	}{
		{sine(997, 0, 3), -3.01, 0.02},
		{sine(440, 0, 3), -3.69, 0.02},
		{sine(261.63, 0, 3), -3.84, 0.02},
		{sine(100, 0, 3), -4.83, 0.02},
		{append(sine(997, -16.99, 20), sine(997, -36.99, 20)...), -20, 0.1},
		{append(sine(997, -16.99, 20), sine(997, -26.99, 20)...), -22.6, 0.1},
	} {
		own := 10*math.Log10(power(c.x, 48000)) - 0.691
		if got := lufs(c.x, 48000); math.Abs(got-c.want) > c.within || math.Abs(own-got) > 0.01 {
			t.Errorf("the test's meter reads %.3f, the package's %.3f, want %.2f LUFS", got, own, c.want)
		}
	}
	for hz := 40.0; hz < 12000; hz *= 1.3 {
		sine := sine(hz, 0, 1)[24000:] // after the filters have settled, as near as a block is
		if got := 10 * math.Log10(weight(hz)/2/power(sine, 48000)); math.Abs(got) > 0.15 {
			t.Errorf("the weight of %.0f Hz is %.2f dB off", hz, got)
		}
	}
	// BS.1770-5 (2023) prints the coefficients at 48 kHz.
	printed := kWeighting(48000)
	want := []float64{1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585, -1.99004745483398, 0.99007225036621}
	for i, got := range printed {
		if math.Abs(got-want[i]) > 2e-6 {
			t.Errorf("coefficient %d is %.12f, printed is %.12f", i, got, want[i])
		}
	}
}

// ffmpegs returns integrated loudness and true peak by ffmpeg's filter ebur128.
func ffmpegs(t *testing.T, x []float64, rate int) (loud, peak float64) {
	program, err := exec.LookPath("ffmpeg")
	if err != nil {
		t.Skip("no ffmpeg here")
	}
	raw := make([]byte, 0, 4*len(x))
	for _, v := range x {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(float32(v)))
	}
	file := filepath.Join(t.TempDir(), "x.raw")
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), program, "-nostats", "-hide_banner", "-f", "f32le", "-ar", strconv.Itoa(rate), "-ac", "1", "-i", file,
		"-filter_complex", "ebur128=peak=true", "-f", "null", "-").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	read := func(pattern string) float64 {
		all := regexp.MustCompile(pattern).FindAllSubmatch(out, -1)
		if all == nil {
			t.Fatalf("%s is not in %s", pattern, out)
		}
		v, err := strconv.ParseFloat(string(all[len(all)-1][1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	return read(`I:\s+(-?[\d.]+) LUFS`), read(`Peak:\s+(-?[\d.]+) dBFS`)
}
