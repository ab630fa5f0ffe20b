package main

import (
	"math"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
	"singback/pitch"
)

// heldNotes is what ours says of the held notes of the hard set, whose truth no other
// program here tells. Errors are absolute.
type heldNotes struct {
	frames map[group][]float64   // in standard errors
	notes  map[float64][]float64 // in standard errors, of the plain ones, by SNR

	vibratos, vibratosFound       int
	onset, rate, extent           []float64 // ms, Hz, cents: of the vibratos that were found
	slides, slidesFound           int
	settled, begins, slidesCentre []float64 // ms, ms, cents: of the slides that were found
}

// group is some of the frames of the held notes.
type group struct {
	manner hardset.Manner
	snr    float64
	high   bool // over 220 Hz
}

// mannerSNRs are those that vibratos and slides are measured at.
var mannerSNRs = map[hardset.Manner][]float64{
	hardset.Plain: hardset.SNRs, hardset.Vibrato: hardset.SNRs, hardset.Slide: hardset.SNRs[:3],
}

// manners measures the held notes, every step-th.
func (c *column) manners(halves []hardset.Half, step int) error {
	c.held = &heldNotes{frames: map[group][]float64{}, notes: map[float64][]float64{}}
	for _, half := range halves {
		for _, m := range []hardset.Manner{hardset.Plain, hardset.Vibrato, hardset.Slide} {
			for _, snr := range mannerSNRs[m] {
				for h := range hardset.Manners(half, m, snr, step) {
					if err := c.held.add(&h); err != nil {
						return err
					}
				}
			}
		}
	}
	return nil
}

// add measures one note.
func (e *heldNotes) add(h *hardset.Held) error {
	cfg := configure(h.Item.Rate, nil, false, false)
	t, err := pitch.NewTracker(cfg)
	if err != nil {
		return err
	}
	points := t.Flush(t.Push(nil, h.Samples))
	n := h.Notes[0]
	g := group{h.Manner, h.SNR, n.Hz > 220}
	seconds := func(samples int64) float64 { return float64(samples) / float64(h.Item.Rate) }
	for _, p := range points {
		at := seconds(p.Index)
		hz, counts := h.At(at)
		if !p.Voiced || !counts || hz == 0 || at < n.Onset+inside || at > n.Offset-inside {
			continue
		}
		if d := math.Abs(metrics.Cents(p.F0) - metrics.Cents(hz)); d < 100 {
			e.frames[g] = append(e.frames[g], d/p.SE)
		}
	}
	notes, err := pitch.Notes(cfg, points)
	if err != nil {
		return err
	}
	var found pitch.Note
	for _, f := range notes {
		if f.Offset-f.Onset > found.Offset-found.Onset {
			found = f
		}
	}
	off := math.Inf(1)
	if found.F0 > 0 {
		off = math.Abs(metrics.Cents(found.F0) - metrics.Cents(h.Mean(seconds(found.From), seconds(found.To))))
	}
	switch h.Manner {
	case hardset.Plain:
		if off < 100 {
			e.notes[h.SNR] = append(e.notes[h.SNR], off/found.SE)
		}
	case hardset.Vibrato:
		if h.SNR < 10 {
			return nil
		}
		e.vibratos++
		if found.VibratoHz > 0 {
			e.vibratosFound++
			e.onset = append(e.onset, 1000*math.Abs(seconds(found.Onset)+found.VibratoOnset-h.From))
			e.rate = append(e.rate, math.Abs(found.VibratoHz-h.Rate))
			e.extent = append(e.extent, math.Abs(found.VibratoCents-h.MeanExtent()))
		}
	case hardset.Slide:
		e.slides++
		if off < 100 && found.Settled > 0 {
			e.slidesFound++
			e.settled = append(e.settled, 1000*math.Abs(seconds(found.Onset)+found.Settle-h.Near))
			e.begins = append(e.begins, 1000*math.Abs(seconds(found.From)-h.Settles))
			e.slidesCentre = append(e.slidesCentre, off)
		}
	}
	return nil
}

// covered is the share of errors, in standard errors, that are at most one; NaN
// without any.
func covered(errors []float64) float64 {
	n := 0.0
	for _, e := range errors {
		if e <= 1 {
			n++
		}
	}
	return 100 * n / float64(len(errors))
}

// heldRow is a row of the held notes, NaN for other programs.
func heldRow(name, unit string, digits int, value func(*heldNotes) float64) row {
	return row{name: name, unit: unit, digits: digits, goal: noGoal, value: func(c *column) float64 {
		if c.held == nil {
			return math.NaN()
		}
		return value(c.held)
	}}
}

// barRows are the rows of error bars: 68.3 is honest.
func barRows() []row {
	frames := func(name string, is func(group) bool) row {
		return heldRow("error bars, frames, "+name+": within one", "%", 1, func(e *heldNotes) float64 {
			var all []float64
			for g, z := range e.frames {
				if is(g) {
					all = append(all, z...)
				}
			}
			return covered(all)
		})
	}
	at := func(snr float64) func(group) bool {
		return func(g group) bool { return g.manner == hardset.Plain && g.snr == snr }
	}
	note := func(name string, snr float64) row {
		return heldRow("error bars, notes, "+name+": within one", "%", 1, func(e *heldNotes) float64 { return covered(e.notes[snr]) })
	}
	noisy := func(g group) bool { return g.manner == hardset.Plain && g.snr <= 20 }
	return []row{
		frames("clean", at(math.Inf(1))), frames("20 dB", at(20)), frames("10 dB", at(10)), frames("0 dB", at(0)),
		frames("20 to 0 dB, up to 220 Hz", func(g group) bool { return noisy(g) && !g.high }),
		frames("20 to 0 dB, over 220 Hz", func(g group) bool { return noisy(g) && g.high }),
		frames("vibrato", func(g group) bool { return g.manner == hardset.Vibrato }),
		note("clean", math.Inf(1)), note("20 dB", 20), note("10 dB", 10), note("0 dB", 0),
	}
}

// mannerRows are the rows of vibratos and slow ways to a note.
func mannerRows() []row {
	two := func(name, unit string, digits int, of func(*heldNotes) []float64) []row {
		middle := heldRow(name+": median error", unit, digits, func(e *heldNotes) float64 { return median(of(e)) })
		most := heldRow(name+": 90th percentile", unit, digits, func(e *heldNotes) float64 { return quantile(of(e), 0.9) })
		middle.lower, most.lower = true, true
		return []row{middle, most}
	}
	out := []row{heldRow("vibrato, clean to 10 dB: notes in which it is found", "%", 1, func(e *heldNotes) float64 {
		return 100 * float64(e.vibratosFound) / float64(e.vibratos)
	})}
	out = append(out, two("vibrato, where it sets in", "ms", 0, func(e *heldNotes) []float64 { return e.onset })...)
	out = append(out, two("vibrato, rate", "Hz", 3, func(e *heldNotes) []float64 { return e.rate })...)
	out = append(out, two("vibrato, extent", "cents", 2, func(e *heldNotes) []float64 { return e.extent })...)
	out = append(out, heldRow("slides, clean to 10 dB: notes that are held in the end", "%", 1, func(e *heldNotes) float64 {
		return 100 * float64(e.slidesFound) / float64(e.slides)
	}))
	out = append(out, two("slides, within 50 cents", "ms", 0, func(e *heldNotes) []float64 { return e.settled })...)
	out = append(out, two("slides, where the held part begins", "ms", 0, func(e *heldNotes) []float64 { return e.begins })...)
	out = append(out, two("slides, pitch of the held part", "cents", 2, func(e *heldNotes) []float64 { return e.slidesCentre })...)
	return out
}
