package metrics

import (
	"math"
)

// Reading is a pitch track at one time: seconds and hertz. In a reference, 0 or
// less is "nothing sung". In an estimate, 0 is "no pitch", and a negative value
// is the pitch the estimator would give in a frame that it does not call sung.
type Reading struct{ Time, Hz float64 }

// Frame is one moment at which truth and estimate are compared.
type Frame struct {
	// Ref and Est are in cents above 10 Hz; 0 is no pitch.
	Ref, Est float64
	// Any is in cents too: the pitch that the estimator would give whatever the
	// voicing, where it tells it apart from Est; else 0.
	Any float64
	// Sung is the truth, Voiced what the estimator says.
	Sung, Voiced bool
	// Confidence is the estimator's, 0 … 1; only Calibration reads it.
	Confidence float64
}

// base is what cents are counted from in mir_eval, in hertz.
const base = 10.0

// Cents returns how far hz, of either sign, lies above 10 Hz in cents; 0 for
// 0, which is no pitch. (So is 10 Hz itself, as in mir_eval.)
func Cents(hz float64) float64 {
	if hz == 0 {
		return 0
	}
	return 1200 * math.Log2(math.Abs(hz)/base)
}

// Align gives one Frame for each reading of the reference (and one at time 0
// if it starts later), with the estimate resampled to the reference's times as
// mir_eval.melody.to_cent_voicing does: cents are interpolated linearly, where
// a gap holds the last pitch; voicing, and whether there is a pitch, are those
// of the reading at or before the time. After its last reading, and if it has
// none, the estimate is not voiced. Times must rise in both and be at least 0.
func Align(ref, est []Reading) []Frame {
	ref, est = fromZero(ref), fromZero(est)
	frames := make([]Frame, len(ref))
	for i, r := range ref {
		frames[i].Ref, frames[i].Sung = Cents(r.Hz), r.Hz > 0
	}
	if len(est) == 0 {
		return frames
	}
	if sameTimes(ref, est) {
		for i, e := range est {
			frames[i].Est, frames[i].Voiced = Cents(e.Hz), e.Hz > 0
		}
		return frames
	}
	held := make([]float64, len(est))
	for i, e := range est {
		if held[i] = Cents(e.Hz); held[i] == 0 && i > 0 {
			held[i] = held[i-1]
		}
	}
	last, end := len(est)-1, round(est[len(est)-1].Time, 10)
	at := 0
	for i, r := range ref {
		t := round(r.Time, 10)
		for at < last && round(est[at+1].Time, 10) <= t {
			at++
		}
		e := est[at]
		if t > end || Cents(e.Hz) == 0 {
			// Past the end mir_eval interpolates towards a last reading of no
			// pitch at the reference's end, and between keeps the last one.
			if t > end && t < round(ref[len(ref)-1].Time, 10) {
				frames[i].Est, frames[i].Voiced = held[last], e.Hz > 0
				if Cents(e.Hz) == 0 {
					frames[i].Est = 0
				}
			}
			continue
		}
		frames[i].Voiced = e.Hz > 0
		frames[i].Est = held[at]
		if from := round(e.Time, 10); at < last && t > from {
			to := round(est[at+1].Time, 10)
			frames[i].Est += (held[at+1] - held[at]) * (t - from) / (to - from)
		}
	}
	return frames
}

// fromZero puts a copy of the first reading at time 0 if there is none.
func fromZero(x []Reading) []Reading {
	if len(x) == 0 || x[0].Time <= 0 {
		return x
	}
	return append([]Reading{{0, x[0].Hz}}, x...)
}

// sameTimes is numpy.allclose of two series of times.
func sameTimes(ref, est []Reading) bool {
	if len(ref) != len(est) {
		return false
	}
	for i := range ref {
		if math.Abs(est[i].Time-ref[i].Time) > 1e-8+1e-5*math.Abs(ref[i].Time) {
			return false
		}
	}
	return true
}

// round is numpy.around.
func round(x float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.RoundToEven(x*p) / p
}

// share counts the frames for which hit holds among those for which among
// does; none where there are none.
func share(frames []Frame, among, hit func(Frame) bool, none float64) float64 {
	n, hits := 0, 0
	for _, f := range frames {
		if among(f) {
			n++
			if hit(f) {
				hits++
			}
		}
	}
	if n == 0 {
		return none
	}
	return float64(hits) / float64(n)
}

func sung(f Frame) bool   { return f.Sung }
func unsung(f Frame) bool { return !f.Sung }
func voiced(f Frame) bool { return f.Voiced }

// within tells whether both have a pitch and lie less than cents apart.
func (f Frame) within(cents float64) bool {
	return f.Ref != 0 && f.Est != 0 && math.Abs(f.Ref-f.Est) < cents
}

// VoicingRecall is the share of the sung frames that are called voiced: 0 if
// there are no frames, 1 if none is sung.
func VoicingRecall(frames []Frame) float64 {
	if len(frames) == 0 {
		return 0
	}
	return share(frames, sung, voiced, 1)
}

// VoicingFalseAlarm is the share of the frames where nothing is sung that are
// called voiced; 0 if there is none.
func VoicingFalseAlarm(frames []Frame) float64 { return share(frames, unsung, voiced, 0) }

// RawPitch is the raw pitch accuracy: the share of the sung frames whose
// estimate, called voiced or not, is less than cents away; 0 if none is sung.
func RawPitch(frames []Frame, cents float64) float64 {
	return share(frames, sung, func(f Frame) bool { return f.within(cents) }, 0)
}

// RawEstimate is RawPitch of Any where there is one, and of Est elsewhere: the raw
// pitch accuracy of what an estimator says when a pitch is asked for whatever the
// voicing.
func RawEstimate(frames []Frame, cents float64) float64 {
	return share(frames, sung, func(f Frame) bool {
		if f.Any != 0 {
			f.Est = f.Any
		}
		return f.within(cents)
	}, 0)
}

// RawChroma is RawPitch with whole octaves forgiven.
func RawChroma(frames []Frame, cents float64) float64 {
	return share(frames, sung, func(f Frame) bool {
		d := math.Abs(f.Ref - f.Est)
		return f.Ref != 0 && f.Est != 0 && math.Abs(d-1200*math.Floor(d/1200+0.5)) < cents
	}, 0)
}

// Overall is the overall accuracy: the share of all frames that are sung,
// called voiced and less than cents away, or not sung and not called voiced; 0
// if there are no frames.
func Overall(frames []Frame, cents float64) float64 {
	return share(frames, func(Frame) bool { return true }, func(f Frame) bool {
		if f.Sung {
			return f.Voiced && f.within(cents)
		}
		return !f.Voiced
	}, 0)
}

// Limits of the two kinds of error, in cents.
const (
	grossCents  = 100.0
	octaveCents = 50.0
)

// GrossErrors is the share, among the frames that are sung and called voiced,
// of those more than 100 cents off: another note. 0 if there are none.
func GrossErrors(frames []Frame) float64 {
	return share(frames, bothVoiced, func(f Frame) bool { return math.Abs(f.Ref-f.Est) > grossCents }, 0)
}

// OctaveErrors is the share, among the frames that are sung and called voiced,
// of those at most 50 cents from one or more whole octaves off. 0 if there are
// none.
func OctaveErrors(frames []Frame) float64 {
	return share(frames, bothVoiced, func(f Frame) bool {
		d := math.Abs(f.Ref - f.Est)
		octaves := math.Round(d / 1200)
		return octaves >= 1 && math.Abs(d-1200*octaves) <= octaveCents
	}, 0)
}

func bothVoiced(f Frame) bool { return f.Sung && f.Voiced && f.Est != 0 }

// Bin is one line of a calibration table: the frames called voiced with a
// confidence from From to below To (to 1 inclusive in the last bin).
type Bin struct {
	From, To   float64
	Frames     int
	Confidence float64 // their mean confidence; 0 without frames
	Right      float64 // the share that is sung and less than the tolerance away
}

// Calibration sorts the frames called voiced into n bins of equal width by
// their confidence. A well-calibrated estimator has Right near Confidence in
// each.
func Calibration(frames []Frame, n int, cents float64) []Bin {
	bins := make([]Bin, n)
	for i := range bins {
		bins[i].From, bins[i].To = float64(i)/float64(n), float64(i+1)/float64(n)
	}
	for _, f := range frames {
		if !f.Voiced {
			continue
		}
		b := &bins[min(max(int(f.Confidence*float64(n)), 0), n-1)]
		b.Frames++
		b.Confidence += f.Confidence
		if f.Sung && f.within(cents) {
			b.Right++
		}
	}
	for i := range bins {
		if c := float64(bins[i].Frames); c > 0 {
			bins[i].Confidence /= c
			bins[i].Right /= c
		}
	}
	return bins
}

// CalibrationError is the expected calibration error: the mean over the frames
// of how far the confidence of their bin is from its share of right ones; 0
// without frames (Naeini et al. 2015, from memory).
func CalibrationError(bins []Bin) float64 {
	n, sum := 0, 0.0
	for _, b := range bins {
		n += b.Frames
		sum += float64(b.Frames) * math.Abs(b.Confidence-b.Right)
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}
