package main

import (
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// praat is Debian's praat, "To Pitch" by autocorrelation (ac) or
// cross-correlation (cc), floor 60 Hz, ceiling 1400 Hz, everything else but the
// two thresholds as its manual has it.
type praat struct {
	method string
	praatSettings
}

type praatSettings struct {
	voicing float64 // strength that a voiced candidate must beat
	silence float64 // share of the recording's peak under which it is silent
}

// bestPraat is the best found on the dev half by -sweep.
var bestPraat = map[string]praatSettings{"ac": {0.5, 0.1}, "cc": {0.5, 0.1}}

//go:embed pitch.praat
var praatScript string

func (p praat) installed() (string, error) {
	if _, err := exec.LookPath("praat"); err != nil {
		return "", errNotInstalled
	}
	return fmt.Sprintf("%s, To Pitch (%s), voicing threshold %g, silence threshold %g, best on dev", version("praat", "--version"), p.method, p.voicing, p.silence), nil
}

func (p praat) run(list string) (*exec.Cmd, error) {
	script := list + ".praat"
	if err := os.WriteFile(script, []byte(praatScript), 0o600); err != nil {
		return nil, err
	}
	return exec.Command("praat", "--run", script, list, p.method, fmt.Sprint(p.voicing), fmt.Sprint(p.silence), fmt.Sprint(lowest), fmt.Sprint(highest)), nil
}

func (p praat) tracks(dir string, clips []clip, live bool) ([][]reading, error) {
	if live {
		return nil, errNotLive
	}
	list := filepath.Join(dir, "praat-"+p.method)
	var paths strings.Builder
	for _, c := range clips {
		fmt.Fprintln(&paths, c.path)
	}
	if err := os.WriteFile(list, []byte(paths.String()), 0o600); err != nil {
		return nil, err
	}
	cmd, err := p.run(list)
	if err != nil {
		return nil, err
	}
	text, err := output(cmd)
	if err != nil {
		return nil, err
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	if len(lines) != len(clips) {
		return nil, fmt.Errorf("praat wrote %d lines for %d recordings", len(lines), len(clips))
	}
	out := make([][]reading, len(clips))
	for i, c := range clips {
		var first, dt float64
		if _, err := fmt.Sscan(lines[i], &first, &dt); err != nil {
			return nil, fmt.Errorf("praat wrote %q", lines[i])
		}
		name := c.path + "." + p.method
		b, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		os.Remove(name)
		for k, w := range strings.Fields(string(b)) {
			hz, err := strconv.ParseFloat(w, 64)
			if err != nil {
				return nil, fmt.Errorf("praat wrote %q", w)
			}
			out[i] = append(out[i], reading{at: first + float64(k)*dt, hz: hz, voiced: hz > 0, confidence: 1})
		}
	}
	return out, nil
}

func (p praat) command(path string) *exec.Cmd {
	if _, err := exec.LookPath("praat"); err != nil {
		return nil
	}
	list := path + ".praat-" + p.method
	if err := os.WriteFile(list, []byte(path+"\n"), 0o600); err != nil {
		return nil
	}
	cmd, err := p.run(list)
	if err != nil {
		return nil
	}
	return cmd
}
