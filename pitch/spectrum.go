package pitch

import "math"

// The spectrum of a frame beside what was there before: powers are weighed by bin,
// compared with a noise floor that follows what stays, and compressed. A bin is
// 8 to 20 Hz wide. Where no other source stands, the constants were chosen by trial:
// see evidence.go.

// How a bin at f hertz counts: less and less under lowHz, where rooms rumble, in full
// up to bendHz, then as √(bendHz/f), and less and less again above fadeHz: roughly as
// the partials of a voice fall from the first formant on.
const (
	lowHz  = 60   // Hz
	bendHz = 700  // Hz
	fadeHz = 3500 // Hz
	topHz  = 4900 // Hz: harmonics up to there are enough to tell the pitch of any voice
)

// The noise floor of a bin follows its smoothed power: down by a part of the way in
// each frame, and up by a factor.
const (
	smoothOld         = .75   // share of the power before in the smoothed one
	smoothNew         = .25   // and of this frame's
	floorFalls        = .12   // of the way down, a frame
	floorRises        = 1.02  // times a frame: 8.6 dB a second
	floorRisesPitched = 1.002 // where the last frame was clearly periodic: 0.9 dB a second, so that a held note stays a note
	floorRisesHum     = 1.08  // where it was mains hum: 33 dB a second
	floorRisesKnown   = 1.25  // of a known partial, where there is little else: a decibel a frame
	othersFew         = .3    // share of the sound outside known partials that is little
	floorStart        = 1e-13 // power that is added: a floor of nothing could not rise

	startFrames = 4      // frames that the floor is set from at the start
	startReach  = 12     // bins to either side, of which the least power is taken
	startTimes  = 4      // times: the least of 25 bins of noise lies well under their mean
	startKnown  = 4      // a known partial: its own power over this
	unheard     = 1e9    // power: the floor before anything was heard, above all sound
	noLevel     = -100.0 // dBFS before the first frame
)

const (
	floorTimes = 5     // so many floors are taken off a power before it counts
	leastLeft  = .01   // share of a power that is left at least
	lowBins    = 90    // bins that count as low: up to 0.7 to 1.8 kHz
	knownLobe  = 2.6   // bins beside a known partial that are its own
	fluxFrom   = 4     // first bin of the flux: the rumble under 31 to 78 Hz is not new
	nothing    = 1e-12 // power that keeps ratios finite where there is no sound
	nothingS   = 1e-9  // the same for amplitudes of S
)

// Mains hum: see mains.
const (
	humLoudest = -28.0 // dBFS at most
	humSteady  = 2.5   // dB that its level may move
	humFrames  = 10    // in so many frames
	humFirst   = 7     // frames at the start, when the level may still settle
	humRepeats = .8    // autocorrelation at 1/50 or 1/60 s from which it is hum
	humFaster  = .85   // and at a shorter lag from which it is not
	humHighest = 130   // Hz: above the 100 and 120 Hz of mains whose odd harmonics are weak
	humTaken   = .7    // of a bin's power is noise at once, at the start
	humLag     = .05   // of the window's own autocorrelation is divided by, at least
)

// weighBins sets how much each bin counts.
func (e *evidence) weighBins() {
	e.wbin = make([]float64, e.nfft/2+1)
	for k := 1; k < e.bins; k++ {
		f := float64(k) * e.hz
		w := 1.0
		if f < lowHz {
			w = f / lowHz
		}
		if f > fadeHz {
			w *= (topHz - f) / (topHz - fadeHz)
		}
		if f > bendHz {
			w *= math.Sqrt(bendHz / f)
		}
		e.wbin[k] = max(0, w)
	}
}

// sounding marks the bins around partials, in hertz, that the program itself
// sounds.
func (e *evidence) sounding(known []float64) {
	for _, f := range known {
		for k := range e.known {
			if math.Abs(float64(k)*e.hz-f) < knownLobe*e.hz {
				e.known[k] = true
				e.sounds = true
			}
		}
	}
}

// sAt is S at f hertz, between bins on a straight line.
func (e *evidence) sAt(f float64) float64 {
	x := f / e.hz
	k := int(x)
	if k >= e.bins {
		return 0
	}
	r := x - float64(k)
	return e.s[k] + r*(e.s[k+1]-e.s[k])
}

// heard sums up the bins of a frame.
type heard struct {
	all, low float64 // amplitudes above the noise: of all bins, of the low ones
	snr      float64 // dB, powers to noise, weighted
}

// hear compares the powers with the noise floor, which it moves on, and fills S, lin and
// even. It is one loop, since the tracker spends a seventh of its time here: parted in
// two, or without its branches, it was slower.
func (e *evidence) hear() (h heard) {
	clear(e.s[e.bins:])
	tot, lowE, snrP, snrN := 0.0, 0.0, nothing, nothing
	up1 := floorRises
	if e.hum {
		up1 = floorRisesHum
	} else if e.pitched {
		up1 = floorRisesPitched
	}
	bins := e.bins
	pow, smooth, noise, lin := e.pow[:bins], e.ps[:bins], e.noise[:bins], e.lin[:bins]
	amp, weight, known, even := e.s[:bins], e.wbin[:bins], e.known[:bins], e.even[:bins]
	if e.age < startFrames {
		e.start(e.age == 0)
	}
	e.age++
	out, in := 0.0, nothing
	sumS, sumL := nothing, nothing
	upKnown := up1
	if e.share < othersFew {
		upKnown = floorRisesKnown
	}
	for k, p := range pow {
		ps := smoothOld*smooth[k] + smoothNew*p
		smooth[k] = ps
		nz := noise[k]
		if ps < nz {
			nz += floorFalls * (ps - nz)
		} else {
			u := up1
			if known[k] {
				u = upKnown
			}
			if nz = nz*u + floorStart; nz > ps {
				nz = ps
			}
		}
		noise[k] = nz
		w := weight[k]
		snrP += w * p
		snrN += w * nz
		q := p - floorTimes*nz
		if q < leastLeft*p {
			q = leastLeft * p
		}
		root := math.Sqrt(q)
		a := math.Sqrt(root)
		amp[k] = a
		tot += root
		if k < lowBins {
			lowE += root
		}
		aw := a * w
		if q > nz {
			in += aw
			if !known[k] {
				out += aw
			}
		}
		qw := q * w
		lin[k] = qw
		sumS += aw
		sumL += qw
		even[k] = aw // to be mixed with lin below
	}
	e.share = out / in
	e.sumL = sumL
	gS, gL := mixAmplitude/sumS, mixPower/sumL
	for k, v := range even {
		even[k] = gS*v + gL*lin[k]
	}
	clear(e.even[bins:])
	return heard{all: tot, low: lowE, snr: 10 * math.Log10(snrP/snrN)}
}

// flux is how much of S is new against the frame two back, and keeps S for the frames
// to come.
func (e *evidence) flux() float64 {
	up, all := 0.0, nothingS
	now := e.s[fluxFrom:e.bins]
	for k, old := range e.sprev[1][fluxFrom:e.bins] {
		v := now[k]
		if v > old {
			up += v - old
		}
		all += v
	}
	e.sprev[1], e.sprev[0] = e.sprev[0], e.sprev[1]
	copy(e.sprev[0], e.s)
	return up / all
}

// start sets the noise spectrum from the first frames: what is there before
// anybody sings, or, where the sound starts with a clearly periodic frame, only
// what lies between its partials.
func (e *evidence) start(first bool) {
	if first {
		for k := range e.noise {
			e.noise[k] = unheard
			e.ps[k] = e.pow[k]
		}
		for i := range e.levels {
			e.levels[i] = noLevel
		}
	}
	for k := 0; k < e.bins; k++ {
		lo := e.pow[k]
		for j := max(0, k-startReach); j <= min(e.bins-1, k+startReach); j++ {
			lo = min(lo, e.pow[j])
		}
		if e.known[k] {
			lo = e.pow[k] / startKnown
		}
		e.noise[k] = min(e.noise[k], startTimes*lo+floorStart)
	}
}

// mains looks for hum: a quiet sound of steady level that repeats every 1/50 or
// 1/60 s. It belongs to the room, so the noise spectrum may follow it at once
// at the start, and soon later. (A quiet low note within 1 % of 100 or 120 Hz looks
// the same until its level moves.)
func (e *evidence) mains(level float64) {
	e.hum = false
	if level > humLoudest || e.age < startFrames {
		return
	}
	n := min(e.age, humFrames)
	low, high := level, level
	for _, l := range e.levels[:n] {
		low, high = min(low, l), max(high, l)
	}
	if high-low > humSteady && e.age > humFirst {
		return
	}
	for _, f := range [...]float64{50, 60} {
		tau := e.fs / f
		k := int(tau + .5)
		if k >= e.nfft/2-1 {
			continue
		}
		v := max(e.acf[k], max(e.acf[k-1], e.acf[k+1])) * max(lagLeast, e.acfNorm[k]) / max(humLag, e.acfNorm[k])
		if v > humRepeats && !e.faster(humFaster) {
			e.hum = true
		}
	}
	if e.hum && e.age <= humFirst {
		for k := 0; k < e.bins; k++ {
			e.noise[k] = max(e.noise[k], humTaken*e.pow[k])
		}
	}
}

// faster tells whether the sound also repeats by more than r after a shorter
// time than any hum does: the voice of all but the lowest notes.
func (e *evidence) faster(r float64) bool {
	for t := max(2, e.tauMin); float64(t) < e.fs/humHighest; t++ {
		if v := e.acf[t]; v > r && v >= e.acf[t-1] && v >= e.acf[t+1] {
			return true
		}
	}
	return false
}
