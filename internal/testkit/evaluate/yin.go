package main

import (
	"fmt"
	"math"
	"os/exec"

	"singback/pitch"
)

// plainYIN is the estimator of package pitch, frame by frame: YIN by the paper
// and nothing else, a reading every 10 ms at the full sample rate, in one fixed
// range. It is what the tracker has to be better than; nothing else in the
// project calls it.
type plainYIN struct{ yinSettings }

// yinSettings are what makes a reading voiced.
type yinSettings struct {
	aperiodicity float64 // at most
	level        float64 // at least, of the frame in dBFS
}

// bestYIN is the best found on the dev half by -sweep.
var bestYIN = yinSettings{0.4, -60}

func (y plainYIN) installed() (string, error) {
	return fmt.Sprintf("plain YIN, ours (by the paper), voiced up to an aperiodicity of %g and from %g dBFS, best on dev", y.aperiodicity, y.level), nil
}

func (y plainYIN) tracks(_ string, clips []clip, _ bool) ([][]reading, error) {
	out := make([][]reading, len(clips))
	for i, c := range clips {
		frames, err := c.estimates()
		if err != nil {
			return nil, err
		}
		out[i] = y.readings(frames)
	}
	return out, nil
}

// estimate is one frame as YIN reads it.
type estimate struct {
	reading
	aperiodicity, level float64
}

// readings decides on voicing.
func (y plainYIN) readings(frames []estimate) []reading {
	track := make([]reading, len(frames))
	for i, f := range frames {
		track[i] = f.reading
		track[i].voiced = f.hz > 0 && f.aperiodicity <= y.aperiodicity && f.level >= y.level
	}
	return track
}

// estimates reads the clip, with silence before and after it.
func (c clip) estimates() ([]estimate, error) {
	samples, rate, err := readWAV(c.path)
	if err != nil {
		return nil, err
	}
	e, err := pitch.NewEstimator(float64(rate), lowest, highest)
	if err != nil {
		return nil, err
	}
	n := e.FrameLength()
	padded := make([]float64, len(samples)+n)
	copy(padded[n/2:], samples)
	var out []estimate
	for at := 0; at < len(samples); at += rate / 100 {
		frame := padded[at : at+n]
		power := 0.0
		for _, v := range frame {
			power += v * v
		}
		found := e.Estimate(frame)
		out = append(out, estimate{
			reading: reading{
				at: float64(at) / float64(rate), hz: found.F0, confidence: 1 - found.Aperiodicity,
				ready: float64(at+n/2+1) / float64(rate),
			},
			aperiodicity: found.Aperiodicity,
			level:        10 * math.Log10(power/float64(n)+1e-20),
		})
	}
	return out, nil
}

// command is nil: it is a part of this program, which is timed as ours.
func (plainYIN) command(string) *exec.Cmd { return nil }
