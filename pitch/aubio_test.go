package pitch

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"singback/internal/testkit"
)

// writeWAV writes samples as 16-bit mono. The test has its own writer so that a
// fault of the program's would show.
func writeWAV(t *testing.T, path string, rate int, samples []float64) {
	t.Helper()
	var b bytes.Buffer
	size := uint32(2 * len(samples))
	b.WriteString("RIFF")
	binary.Write(&b, binary.LittleEndian, 36+size)
	b.WriteString("WAVEfmt ")
	binary.Write(&b, binary.LittleEndian, []uint32{16, 1 | 1<<16, uint32(rate), uint32(2 * rate), 2 | 16<<16})
	b.WriteString("data")
	binary.Write(&b, binary.LittleEndian, size)
	for _, v := range samples {
		binary.Write(&b, binary.LittleEndian, int16(math.Round(32767*math.Max(-1, math.Min(1, v)))))
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestAgainstAubio measures the same recordings with Debian's aubio (package
// aubio-tools), frame by frame, on tones and on sung-like movements. Both are
// compared with the closed form too.
func TestAgainstAubio(t *testing.T) {
	program, err := exec.LookPath("aubiopitch")
	if err != nil {
		t.Skip("aubiopitch is not installed (Debian package aubio-tools): its second opinion is skipped")
	}
	const rate, hop, buffer = 44100, 441, 2048
	ten := testkit.Harmonics(10, 6)
	voice := func(f float64) []float64 { return testkit.Vowel(f, 30, 750, 1200, 2600, 3400) }
	for _, c := range []struct {
		name  string
		truth testkit.Curve
		amps  []float64
		// Cents: how far the other may be from us in the median, and both from
		// the truth.
		between, ours, theirs float64
	}{
		{"C2, ten harmonics", testkit.Steady(65.406), ten, 2, 0.1, 2},
		{"A2, ten harmonics", testkit.Steady(110), ten, 1, 0.1, 1},
		{"A3, sine", testkit.Steady(220), []float64{1}, 1, 0.1, 1},
		{"A3, open vowel", testkit.Steady(220), voice(220), 1, 0.1, 1},
		{"A4, ten harmonics", testkit.Steady(440), ten, 2, 0.1, 2},
		{"A5, ten harmonics", testkit.Steady(880), ten, 4, 0.1, 4},
		{"C6, sine", testkit.Steady(1046.502), []float64{1}, 2, 0.1, 2},
		{"semitone a second up from A3", testkit.Glide(220, 100), voice(220), 2, 0.1, 2},
		{"scoop to A3", testkit.Scoop(220, -200, 0.12), voice(220), 1, 1, 1},
		{"vibrato 6 Hz ±70 c on A3", testkit.Vibrato(220, 6, 70), voice(220), 8, 3, 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := testkit.Tone(rate, 1.2, c.truth, c.amps)
			path := filepath.Join(t.TempDir(), "f.wav")
			writeWAV(t, path, rate, x)
			out, err := exec.Command(program, "-i", path, "-p", "yin", "-B", fmt.Sprint(buffer), "-H", fmt.Sprint(hop), "-r", fmt.Sprint(rate), "-u", "Hz").Output()
			if err != nil {
				t.Fatalf("aubiopitch: %v", err)
			}
			points := track(t, rate, x)
			var between, ours, theirs []float64
			lines := bufio.NewScanner(bytes.NewReader(out))
			for lines.Scan() {
				var s, hz float64
				if _, err := fmt.Sscan(lines.Text(), &s, &hz); err != nil {
					t.Fatalf("aubiopitch wrote %q", lines.Text())
				}
				at := s*rate + hop - aubioDelay
				if at < rate/20 || at > float64(len(x)-rate/20) || hz == 0 {
					continue
				}
				// Our frames before and after the moment.
				i := int(at / hop)
				a, b := points[i], points[i+1]
				if !a.Voiced || !b.Voiced {
					t.Fatalf("frame at sample %d is not voiced", a.Index)
				}
				share := at/hop - float64(i)
				mine := a.F0 * math.Pow(b.F0/a.F0, share)
				between = append(between, math.Abs(testkit.Cents(hz, mine)))
				theirs = append(theirs, math.Abs(testkit.Cents(hz, c.truth(at/rate))))
				ours = append(ours, math.Abs(testkit.Cents(a.F0, c.truth(float64(a.Index)/rate))))
			}
			if len(between) < 90 {
				t.Fatalf("only %d frames compared", len(between))
			}
			t.Logf("%d frames; median, worst: ours from the truth %.3f, %.3f c; theirs %.3f, %.3f c; between us %.3f, %.3f c", len(between),
				Median(ours), slices.Max(ours), Median(theirs), slices.Max(theirs), Median(between), slices.Max(between))
			if Median(between) > c.between || Median(ours) > c.ours || Median(theirs) > c.theirs {
				t.Errorf("medians: between us %.2f c (want ≤ %g), ours from the truth %.2f (≤ %g), theirs %.2f (≤ %g)",
					Median(between), c.between, Median(ours), c.ours, Median(theirs), c.theirs)
			}
		})
	}
}

// aubioDelay is how many samples before the end of its newest hop a reading of
// aubio's yin with a buffer of 2048 belongs to: the first half of the buffer is
// compared with itself shifted by up to the second half, so its middle for a
// period of T is 2048 − (1024 + T)/2 from the end; T = 200 at A3.
const aubioDelay = 2048 - (1024+200)/2
