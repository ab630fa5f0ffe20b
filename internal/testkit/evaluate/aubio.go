package main

import (
	_ "embed"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// aubio is Debian's aubio: the library through its Python module (package
// python3-aubio), which tells its confidence, or else the program aubiopitch
// (aubio-tools), which does not. The buffer is 2048 samples, 1024 at 22.05 kHz,
// and the hop 10 ms.
type aubio struct {
	method string
	aubioSettings
}

// aubioSettings are what makes a reading voiced.
type aubioSettings struct {
	confidence float64 // at least
	level      float64 // at least, of the newest hop in dBFS
}

// bestAubio is the best found on the dev half by -sweep.
var bestAubio = map[string]aubioSettings{"yin": {0.65, -90}, "yinfast": {0.65, -90}}

const (
	python = "/usr/bin/python3"
	// The floor and ceiling of the references, hertz.
	lowest, highest = 60.0, 1400.0
)

// version is what a program says its version is.
func version(name string, args ...string) string {
	out, err := exec.Command(name, args...).CombinedOutput()
	first, _, _ := strings.Cut(strings.TrimSpace(string(out)), "\n")
	if err != nil || first == "" {
		return "version unknown"
	}
	return first
}

func hasModule(module string) bool {
	return exec.Command(python, "-I", "-c", "import "+module).Run() == nil
}

func (a aubio) installed() (string, error) {
	if hasModule("aubio") {
		return fmt.Sprintf("library %s, voiced from confidence %g and %g dBFS, best on dev", version(python, "-I", "-c", "import aubio; print(aubio.version)"), a.confidence, a.level), nil
	}
	if _, err := exec.LookPath("aubiopitch"); err == nil {
		return fmt.Sprintf("program, voiced from %g dBFS: it tells no confidence (python3-aubio would)", a.level), nil
	}
	return "", errNotInstalled
}

//go:embed hops.py
var aubioScript string

// raw is one hop as aubio reads it.
type raw struct{ hz, confidence, level float64 }

func (a aubio) tracks(dir string, clips []clip, _ bool) ([][]reading, error) {
	raws, err := a.raws(dir, clips)
	if err != nil {
		return nil, err
	}
	out := make([][]reading, len(clips))
	for i, c := range clips {
		out[i] = a.readings(c, raws[i])
	}
	return out, nil
}

// window is aubio's buffer and hop in samples.
func (c clip) window() (buffer, hop int) {
	buffer = 2048
	if c.rate < 32000 {
		buffer = 1024
	}
	return buffer, c.rate / 100
}

// readings decides on voicing, and puts each reading where it belongs: YIN
// compares the first half of the buffer with itself shifted by a period, so the
// middle of what it looked at lies (buffer/2 + period)/2 after its start.
func (a aubio) readings(c clip, raws []raw) []reading {
	buffer, hop := c.window()
	track := make([]reading, 0, len(raws))
	for k, r := range raws {
		end := float64(k+1) * float64(hop)
		period := 0.0
		if r.hz > 0 {
			period = min(float64(c.rate)/r.hz, float64(buffer)/2)
		}
		at := end - float64(buffer) + (float64(buffer)/2+period)/2
		if at < 0 {
			continue
		}
		if n := len(track); n > 0 {
			at = max(at, track[n-1].at*float64(c.rate)+1)
		}
		track = append(track, reading{
			at: at / float64(c.rate), hz: r.hz, confidence: r.confidence, ready: end / float64(c.rate),
			voiced: r.hz >= lowest && r.hz <= highest && r.confidence >= a.confidence && r.level >= a.level,
		})
	}
	return track
}

func (a aubio) raws(dir string, clips []clip) ([][]raw, error) {
	out := make([][]raw, len(clips))
	if !hasModule("aubio") {
		for i, c := range clips {
			buffer, hop := c.window()
			text, err := output(exec.Command("aubiopitch", "-i", c.path, "-p", a.method, "-B", fmt.Sprint(buffer), "-H", fmt.Sprint(hop), "-s", fmt.Sprint(a.level)))
			if err != nil {
				return nil, err
			}
			for line := range strings.Lines(string(text)) {
				var at, hz float64
				if _, err := fmt.Sscan(line, &at, &hz); err != nil {
					return nil, fmt.Errorf("aubiopitch wrote %q", line)
				}
				out[i] = append(out[i], raw{hz, 1, 0})
			}
		}
		return out, nil
	}
	var jobs strings.Builder
	for _, c := range clips {
		buffer, hop := c.window()
		fmt.Fprintf(&jobs, "%s\t%d\t%d\n", c.path, buffer, hop)
	}
	cmd := exec.Command(python, "-I", "-c", aubioScript, a.method, a.suffix())
	cmd.Stdin = strings.NewReader(jobs.String())
	if _, err := output(cmd); err != nil {
		return nil, err
	}
	for i, c := range clips {
		b, err := os.ReadFile(c.path + a.suffix())
		if err != nil {
			return nil, err
		}
		os.Remove(c.path + a.suffix())
		value := func(k int) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*k:]))) }
		for k := 0; 12*k+12 <= len(b); k++ {
			out[i] = append(out[i], raw{value(3 * k), value(3*k + 1), value(3*k + 2)})
		}
	}
	return out, nil
}

func (a aubio) suffix() string { return "." + a.method }

func (a aubio) command(path string) *exec.Cmd {
	if _, err := exec.LookPath("aubiopitch"); err != nil {
		return nil
	}
	return exec.Command("aubiopitch", "-i", filepath.Clean(path), "-p", a.method, "-B", "2048", "-H", "441")
}
