package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"

	"singback/internal/audio"
	"singback/pitch"
)

// ours is the tracker in package pitch, with its defaults.
type ours struct{}

func (ours) installed() (string, error) { return "", nil }

// configure is the default configuration, told what the tool itself sounds,
// whether somebody waits for the points, and whether a pitch is asked for whatever
// the voicing.
func configure(rate int, known []float64, live, estimates bool) pitch.Config {
	cfg := pitch.DefaultConfig(rate)
	cfg.Known = known
	cfg.Estimates = estimates
	cfg.Reading = pitch.Offline
	if live {
		cfg.Reading = pitch.Live
	}
	return cfg
}

func (ours) tracks(_ string, clips []clip, live bool) ([][]reading, error) {
	var out [][]reading
	for _, c := range clips {
		points, ready, err := c.points(live)
		if err != nil {
			return nil, err
		}
		out = append(out, readings(points, ready, c.rate))
	}
	return out, nil
}

// readings puts points into seconds.
func readings(points []pitch.Point, ready []int, rate int) []reading {
	track := make([]reading, len(points))
	for i, p := range points {
		track[i] = reading{
			at: float64(p.Index) / float64(rate), hz: p.F0, voiced: p.Voiced, estimate: p.Estimate,
			confidence: p.Confidence, se: p.SE, ready: float64(ready[i]) / float64(rate),
		}
	}
	return track
}

// block is how many samples are pushed at once: little, so that ready is exact.
const block = 32

// points reads the clip, and says for each point how many samples had been
// pushed when it came out.
func (c clip) points(live bool) (points []pitch.Point, ready []int, err error) {
	samples, rate, err := readWAV(c.path)
	if err != nil {
		return nil, nil, err
	}
	t, err := pitch.NewTracker(configure(rate, c.known, live, true))
	if err != nil {
		return nil, nil, err
	}
	for at := 0; at < len(samples); at += block {
		to := min(at+block, len(samples))
		points = t.Push(points, samples[at:to])
		for len(ready) < len(points) {
			ready = append(ready, to)
		}
	}
	points = t.Flush(points)
	for len(ready) < len(points) {
		ready = append(ready, len(samples))
	}
	return points, ready, nil
}

// notes are the sung notes that the project finds in the clip.
func (c clip) notes() ([]pitch.Note, error) {
	points, _, err := c.points(false)
	if err != nil {
		return nil, err
	}
	return pitch.Notes(configure(c.rate, c.known, false, false), points)
}

func readWAV(path string) (samples []float64, rate int, err error) {
	w, err := audio.OpenWAV(path)
	if err != nil {
		return nil, 0, err
	}
	defer w.Close()
	buffer := make([]float64, 1<<14)
	for {
		n, _, err := w.Read(context.Background(), buffer)
		samples = append(samples, buffer[:n]...)
		if err == io.EOF {
			return samples, w.SampleRate(), nil
		}
		if err != nil {
			return nil, 0, err
		}
	}
}

// analyseFlag makes this program a pitch tracker for the clock: see command.
const analyseFlag = "-analyse"

// analyseFile reads one recording and prints its track and its notes: what the
// reference programs do when they are timed, and the notes.
func analyseFile(path string, stdout io.Writer) error {
	w, err := audio.OpenWAV(path)
	if err != nil {
		return err
	}
	defer w.Close()
	cfg := configure(w.SampleRate(), nil, false, false)
	t, err := pitch.NewTracker(cfg)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(stdout)
	var points []pitch.Point
	buffer := make([]float64, 4096)
	for {
		n, _, err := w.Read(context.Background(), buffer)
		points = t.Push(points, buffer[:n])
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
	}
	points = t.Flush(points)
	notes, err := pitch.Notes(cfg, points)
	if err != nil {
		return err
	}
	for _, p := range points {
		fmt.Fprintf(out, "%.6f\t%.6f\n", float64(p.Index)/float64(cfg.SampleRate), p.F0)
	}
	fmt.Fprintf(out, "%d notes\n", len(notes))
	return out.Flush()
}

func (ours) command(path string) *exec.Cmd {
	self, err := os.Executable()
	if err != nil {
		return nil
	}
	return exec.Command(self, analyseFlag, path)
}
