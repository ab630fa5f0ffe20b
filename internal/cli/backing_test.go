package cli

import (
	"math"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit"
)

// strokes are the times in seconds at which something is struck: where the second difference
// of the samples, which a tone hardly has, rises threefold over what it was before.
func strokes(rate int, x []float64) (out []float64) {
	step := rate / 500
	var before [5]float64
	for k := 0; (k+1)*step+2 < len(x); k++ {
		sum := 0.0
		for i := k * step; i < (k+1)*step; i++ {
			d := x[i+2] - 2*x[i+1] + x[i]
			sum += d * d
		}
		now, mean := math.Sqrt(sum/float64(step)), 0.0
		for _, b := range before {
			mean += b / 5
		}
		at := float64(k*step) / float64(rate)
		if now > 3*mean+2e-4 && (len(out) == 0 || at-out[len(out)-1] > 0.06) {
			out = append(out, at)
		}
		before[k%5] = now
	}
	return out
}

// A progression that a band plays is a file to hand out: counted in, a bar for each chord
// with hats on all twelve eighths of 12/8, to 5 ms, the last chord held, at -23 LUFS by
// ffmpeg's meter, under -1 dBTP.
func TestCadenceBacking(t *testing.T) {
	path := filepath.Join(t.TempDir(), "turn.wav")
	const tempo = 72.0
	out, _ := call{}.must(t, "cadence", "--key", "C", "I vi IV V I", "--backing", "gospel", "--tempo", "72", "--count-in", "--output", path)
	if !strings.Contains(out, "bass     C3  A2  F2  G2  C3") {
		t.Error(out)
	}
	rate, x := readWAV(t, path)
	got := strokes(rate, x)
	var want []float64
	for beat := range 4 { // the count
		want = append(want, float64(beat)*60/tempo)
	}
	for eighth := range 4*12 + 1 { // four bars, and the last chord
		want = append(want, (4+float64(eighth)/3)*60/tempo)
	}
	if len(got)+1 < len(want) || len(got) > len(want) {
		t.Fatalf("%d strokes, want %d: %v", len(got), len(want), got)
	}
	got = append(make([]float64, len(want)-len(got)), got...) // the first click has no before
	for i := range want {
		if math.Abs(got[i]-want[i]) > 0.005 {
			t.Errorf("stroke %d at %.3f s, want %.3f", i+1, got[i], want[i])
		}
	}
	if seconds := float64(len(x)) / float64(rate); seconds < 6*4*60/tempo || seconds > 6*4*60/tempo+0.35 { // dampers take 0.3 s at most
		t.Errorf("%.2f s", seconds)
	}
	program := testkit.Tool(t, "ffmpeg")
	said, err := exec.CommandContext(t.Context(), program, "-nostats", "-hide_banner", "-i", path, "-filter_complex", "ebur128=peak=true", "-f", "null", "-").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	read := func(pattern string) float64 {
		all := regexp.MustCompile(pattern).FindAllSubmatch(said, -1)
		v, err := strconv.ParseFloat(string(all[len(all)-1][1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if loud, peak := read(`I:\s+(-?[\d.]+) LUFS`), read(`Peak:\s+(-?[\d.]+) dBFS`); math.Abs(loud+23) > 0.6 || peak > -1 {
		t.Errorf("%.1f LUFS, %.1f dBTP", loud, peak)
	}
}

// A guide has the beat or a band in it without changing when its notes come: grade hears the
// file as it hears the plain one. A count by voice is as long as one by clicks.
func TestGuideBacking(t *testing.T) {
	dir := t.TempDir()
	length := func(args ...string) int {
		path := filepath.Join(dir, strconv.Itoa(len(args))+args[len(args)-1][2:]+".wav")
		call{}.must(t, append([]string{"melody", "../../testdata/evening.abc", "--names", "none", "--output", path}, args...)...)
		_, x := readWAV(t, path)
		return len(x)
	}
	plain, clicked, sung := length("--click"), length("--count-in"), length("--count-in=voice")
	if d := math.Abs(float64(clicked - sung)); d > 10 || clicked <= plain {
		t.Errorf("%d samples, counted in %d, by voice %d", plain, clicked, sung)
	}
	if bar := length("--backing=waltz"); bar <= plain { // the last chord is a bar of its own
		t.Errorf("with a band %d samples, without %d", bar, plain)
	}
}

// What is wrong is one line that says what would be right.
func TestBackingRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"cadence", "--key", "C", "I V", "--backing", "polka", "--output", "none"}, `--backing: not a groove: "polka"; want straight`},
		{[]string{"cadence", "--key", "C", "I V", "--backing", "gospel"}, "--backing is about how it sounds: say where with --output"},
		{[]string{"cadence", "--key", "C", "I V", "--tempo", "80"}, "--tempo: it is about a band: give --backing"},
		{[]string{"cadence", "--key", "C", "I V", "--count-in"}, "--count-in: it is about a band: give --backing"},
		{[]string{"cadence", "--key", "C", "I V", "--backing", "gospel", "--tempo", "300", "--output", "none"}, "--tempo: 300 is out of range"},
		{[]string{"cadence", "--key", "C", "I V", "--backing", "gospel", "--output", "none", "--count-in", "voice"}, "--count-in: write --count-in=voice"},
		{[]string{"melody", "do re mi", "--key", "C", "--click"}, "--click is about how it sounds: say where with --output"},
		{[]string{"melody", "do re mi", "--key", "C", "--backing", "waltz"}, "--backing is about how it sounds: say where with --output"},
		{[]string{"melody", "do re mi", "--key", "C", "--count-in=loud", "--output", "none"}, `--count-in: "loud": want click, voice or none`},
		{[]string{"parts", harbour, "--click"}, "--click is about how it sounds: say --play or --out"},
		{[]string{"echo", "--count-in", "voice", "--input", "simulated"}, "--count-in: no beat is heard"},
		{[]string{"sing", "--backing", "gospel", "--drone", "tonic", "--input", "simulated"}, "--backing: a drone sounds already"},
	} {
		stdout, stderr, code := call{}.run(t, c.args...)
		refused(t, c.args, stdout, stderr, code, exitUsage, c.want)
	}
	_, stderr, code := call{}.run(t, "series", harbour, "--part", "alto", "--against", "others", "--backing", "gospel", "--input", "simulated")
	if code != exitUsage || !strings.Contains(stderr, "--against: a drone, a vamp or a band sounds already") {
		t.Errorf("exit %d, %s", code, stderr)
	}
}
