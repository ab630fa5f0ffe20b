package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"

	"singback/internal/audio"
	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// reading is one line of a pitch track.
type reading struct {
	at         float64 // seconds, the moment it belongs to
	hz         float64 // 0 is no pitch
	estimate   float64 // ours: the pitch whatever the voicing; 0 is none
	voiced     bool
	confidence float64
	se         float64 // standard error in cents; 0 if unknown
	ready      float64 // seconds of sound that had been read when it came out; 0 if unknown
}

// clip is a recording on disk and what is known about it.
type clip struct {
	path    string
	rate    int
	seconds float64
	known   []float64 // partials of the tool's own sound: a program may be told
}

// tool is a program that makes pitch tracks.
type tool interface {
	// installed tells whether it can run, and how if that matters.
	installed() (note string, err error)
	// tracks reads each clip; live asks for what a listener would have got
	// while the sound went on, with reading.ready.
	tracks(dir string, clips []clip, live bool) ([][]reading, error)
	// command is the program reading one recording by itself, for the clock;
	// nil if there is none.
	command(path string) *exec.Cmd
}

var errNotInstalled = errors.New("not installed")
var errNotLive = errors.New("cannot run live")

func toolNames() []string {
	return []string{"ours", "yin", "aubio-yin", "aubio-yinfast", "praat", "praat-cc"}
}

func newTool(name string) tool {
	switch name {
	case "yin":
		return plainYIN{bestYIN}
	case "aubio-yin":
		return aubio{"yin", bestAubio["yin"]}
	case "aubio-yinfast":
		return aubio{"yinfast", bestAubio["yinfast"]}
	case "praat":
		return praat{"ac", bestPraat["ac"]}
	case "praat-cc":
		return praat{"cc", bestPraat["cc"]}
	}
	return ours{}
}

// save writes an item to disk.
func save(dir, name string, it hardset.Item) (clip, error) {
	c := clip{filepath.Join(dir, name+".wav"), it.Rate, it.Seconds(), it.Known}
	return c, saveWAV(c.path, it.Rate, it.Samples)
}

func saveWAV(path string, rate int, samples []float64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := audio.WriteWAV(f, rate, samples); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// step is the distance of the moments that are judged, in seconds.
const step = 0.01

// frames compares a track with the truth of an item, see the package comment.
func frames(it hardset.Item, track []reading) []metrics.Frame {
	var out []metrics.Frame
	j := 0
	for k := 0; float64(k)*step < it.Seconds(); k++ {
		t := float64(k) * step
		for j+1 < len(track) && math.Abs(track[j+1].at-t) <= math.Abs(track[j].at-t) {
			j++
		}
		var r reading
		if j < len(track) && math.Abs(track[j].at-t) < 0.6*step {
			r = track[j]
			t = r.at
		}
		hz, counts := it.At(t)
		if !counts {
			continue
		}
		f := metrics.Frame{Sung: hz > 0, Est: metrics.Cents(r.hz), Any: metrics.Cents(r.estimate), Voiced: r.voiced && r.hz > 0, Confidence: r.confidence}
		if hz > 0 {
			f.Ref = metrics.Cents(hz)
		}
		out = append(out, f)
	}
	return out
}

// output runs cmd and returns what it wrote, or an error with its last words.
func output(cmd *exec.Cmd) ([]byte, error) {
	out, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			return nil, fmt.Errorf("%s: %w: %s", filepath.Base(cmd.Path), err, exit.Stderr)
		}
		return nil, err
	}
	return out, nil
}
