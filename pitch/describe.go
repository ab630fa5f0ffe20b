package pitch

import "math"

// What the model is told, of the candidates and of the frame. Where no other source
// stands, the constants were chosen by trial: see evidence.go. Those of a hinge or a
// scale are in the tables of features.go.
const (
	octaveZero   = 8   // log2 of 256 Hz: the middle of what is sung
	mostDiff     = 1.5 // difference function that counts at half and twice the period
	mostFirst    = 3   // means of the harmonics that the first counts for, at most
	mostSNR      = 30  // dB that count in what is multiplied by the ratio
	halfUnder    = -.1 // autocorrelation at half the period over that at the period, the knot
	clearSNR     = 50  // dB that count at all: beside digital silence it is boundless
	snrFlat      = 15  // dB: inSnrTo15
	tenDB        = 10  // dB: the unit of levels
	quietLevel   = -65 // dBFS under which a frame is quiet
	quietUnit    = 20  // dB
	othersHalf   = .25 // share of the sound that is not the program's own under which it counts
	othersUnit   = 4   // to the whole
	shortWindow  = 10  // frames of which the loudest is taken: 0.1 s,
	middleWindow = 25  // 0.25 s
	underAll     = -120.0

	loudFalls  = .02 // dB a frame that the loudest level forgets
	mostUnder  = 5   // 10 dB under it that count
	mostRise40 = 4   // 10 dB that it rises in 40 ms, at most
	mostRise   = 3   // 10 dB that the level rises or falls in 120 ms, at most

	// Frames back that levels are compared with.
	back30ms, back40ms, back60ms, back100ms, back120ms = 3, 4, 6, 10, 12
)

// Tails. In a room whose reverberation takes T s to fall by 60 dB, a level falls by
// 1.8/T dB in 30 ms: 2 to 6 dB for the 0.3 to 0.9 s of the rooms that training makes,
// and twice that in 60 ms.
const (
	mostDrop = 2.5 // 10 dB that a drop counts for, at most
	tail30   = 3.5 // dB in 30 ms: the pace of a room
	slack30  = 3   // dB more or less at which it is none
	tail60   = 7   // and in 60 ms
	slack60  = 6
	fastFall = 6   // dB in 30 ms: no room falls faster
	dropOver = .8  // 10 dB: the knot of inDropOver8
	fallFrom = 12  // frames from the start before falls are believed
	forget   = .01 // dB a frame that the deepest fall forgets
	dryFall  = 38  // dB within 100 ms: a deeper fall is heard in no room of long tails
	wetRange = 22  // dB under it: with a deepest fall of 16 dB it is one
)

// What one candidate is a harmonic of: see overtones.
const (
	leastOver      = 2.8 // times as high at least
	alikeUnderLow  = .97 // ratio to the nearest harmonic
	alikeUnderHigh = 1.03
)

// What is clearly periodic: the next frame's noise floor hardly rises.
const (
	pitchedDiff  = .35 // root of the difference function under it
	pitchedPrime = .5  // comb of primes over it
)

// hat is 1 at mid and falls to 0 at half on either side.
func hat(x, mid, half float64) float64 { return max(0, 1-math.Abs(x-mid)/half) }

// best is the best that any candidate of a frame has.
type best struct{ acf, comb, prime, diff, above, share float64 }

// describe tells the model about the candidates and the frame, by the features of the
// tables in features.go: that is all that classify knows.
func (e *evidence) describe(fr *frame, h heard) {
	b := e.describeCandidates(fr, h.snr)
	e.describeFrame(fr, h, &b)
	e.pitched = b.diff < pitchedDiff && b.prime > pitchedPrime
}

func (e *evidence) describeCandidates(fr *frame, snr float64) best {
	b := best{acf: 0, comb: -1, prime: -1, diff: 2, above: -1, share: 0}
	for i := 0; i < fr.n; i++ {
		f := fr.c[i].f
		tau := e.fs / f
		x := &e.feat[i]
		all, prime, odd, first, v := e.comb(f)
		fr.c[i].nv = v * v * v * v / e.winPow
		x[ofAcf] = e.acfAt(tau)
		x[ofDiff] = math.Sqrt(e.dAt(tau))
		x[ofComb] = all
		x[ofPrime] = prime
		x[ofOdd] = odd
		x[ofFirst] = min(mostFirst, first)
		x[ofAcfHalf] = e.acfAt(tau / 2)
		x[ofAcfDouble] = e.acfAt(2 * tau)
		x[ofAcfThird] = e.acfAt(tau / 3)
		x[ofDiffHalf] = math.Sqrt(min(mostDiff, e.dAt(tau/2)))
		x[ofDiffDouble] = math.Sqrt(min(mostDiff, e.dAt(2*tau)))
		x[ofOctave] = fr.c[i].oct - octaveZero
		x[ofAbove], x[ofShare], x[ofOwn] = e.explained(f)
		x[ofThirds] = e.between(f, thirds)
		x[ofFifths] = e.between(f, fifths)
		if x[ofAcf] > b.acf {
			b.acf = x[ofAcf]
		}
		b.comb = max(b.comb, all)
		b.prime = max(b.prime, prime)
		b.diff = min(b.diff, x[ofDiff])
		b.above = max(b.above, x[ofAbove])
		b.share = max(b.share, x[ofShare])
	}
	e.overtones(fr)
	sz := min(max(snr, 0), mostSNR) / tenDB
	for i := 0; i < fr.n; i++ {
		x := &e.feat[i]
		x[ofBehindAcf] = b.acf - x[ofAcf]
		x[ofBehindComb] = b.comb - x[ofComb]
		x[ofBehindPrime] = b.prime - x[ofPrime]
		x[ofBehindDiff] = x[ofDiff] - b.diff
		x[ofBehindShare] = b.share - x[ofShare]
		x[ofHalfOver] = over(x[ofAcfHalf]-x[ofAcf], halfUnder)
		x[ofBehindCombTimesSNR] = x[ofBehindComb] * sz
		x[ofBehindAcfTimesSNR] = x[ofBehindAcf] * sz
		x[ofBehindPrimeTimesSNR] = x[ofBehindPrime] * sz
		x[ofOddTimesSNR] = x[ofOdd] * sz
		x[ofHalfTimesSNR] = (x[ofAcf] - x[ofAcfHalf]) * sz
		x[ofThirdsTimesSNR] = x[ofThirds] * sz
		candPlan.fill(x[:])
	}
	return b
}

func (e *evidence) describeFrame(fr *frame, h heard, b *best) {
	z := &e.ffeat
	z[inOne] = 1
	z[inBestAcf] = b.acf
	z[inBestComb] = b.comb
	z[inBestPrime] = b.prime
	z[inBestDiff] = b.diff
	z[inBestAbove] = b.above
	z[inBestShare] = b.share
	z[inLow] = h.low / (h.all + nothing)
	h.snr = min(h.snr, clearSNR)
	z[inSnr] = h.snr / tenDB
	z[inSnrTo15] = min(h.snr, snrFlat) / tenDB
	z[inOthers] = min(0, e.share-othersHalf) * othersUnit

	lv := &e.levels
	top1, top2, top3 := underAll, underAll, underAll
	for i, l := range lv {
		if l > top3 {
			top3 = l
		}
		switch i {
		case shortWindow - 1:
			top1 = top3
		case middleWindow - 1:
			top2 = top3
		}
	}
	z[inQuiet] = min(0, fr.level-quietLevel) / quietUnit
	z[inUnder100ms] = (top1 - fr.level) / tenDB
	z[inUnder250ms] = (top2 - fr.level) / tenDB
	z[inUnder640ms] = (top3 - fr.level) / tenDB
	z[inRise40ms] = min(mostRise40, (fr.level-lv[back40ms])/tenDB)
	z[inRise120ms] = max(-mostRise, min(mostRise, (fr.level-lv[back120ms])/tenDB))
	if e.age == 1 {
		e.loud = fr.level
	}
	e.loud = max(fr.level, e.loud-loudFalls)
	z[inUnderLoudest] = min(mostUnder, (e.loud-fr.level)/tenDB)
	z[inFallTimesLoudest] = min(0, z[inRise120ms]) * z[inUnderLoudest]

	// Tails: the sound has dropped and falls on at the pace of a room, in a room
	// where nothing falls faster.
	drop := min(mostDrop, z[inUnder250ms])
	z[inTail30ms] = hat(lv[back30ms]-fr.level, tail30, slack30)
	z[inTail30Drop] = z[inTail30ms] * drop
	z[inTail60ms] = hat(lv[back60ms]-fr.level, tail60, slack60)
	z[inTail60Drop] = z[inTail60ms] * drop
	z[inDropTimesDiff] = drop * z[inBestDiff]
	z[inDropTimesSNR] = drop * z[inSnr]
	z[inFaster] = over(lv[back30ms]-fr.level, fastFall) / tenDB
	z[inDropOver8] = over(drop, dropOver)
	if e.age > fallFrom {
		e.fall = max(e.fall-forget, lv[back100ms]-fr.level)
	}
	z[inWet] = max(0, min(1, (dryFall-e.fall)/wetRange))
	if fr.wet = z[inWet]; h.snr < tailSNR { // noise ends every fall
		fr.wet = 0
	}
	z[inWetDrop] = z[inWet] * drop
	framePlan.fill(z[:])
}

// overtones finds the largest comb of the candidates that each one would be the third or
// a higher harmonic of. A formant that rings on between irregular pulses repeats better
// at its own frequency than the voice does at its own; so it does in noise. But then the
// partials below it are there, too.
func (e *evidence) overtones(fr *frame) {
	for i := range fr.c[:fr.n] {
		e.under[i] = 0
		for j := range fr.c[:fr.n] {
			ratio := fr.c[i].f / fr.c[j].f
			if ratio < leastOver {
				continue
			}
			if r := ratio / math.Floor(ratio+.5); r > alikeUnderLow && r < alikeUnderHigh {
				e.under[i] = max(e.under[i], e.feat[j][ofComb])
			}
		}
	}
}
