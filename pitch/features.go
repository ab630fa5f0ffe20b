package pitch

// What the model knows of a candidate with period τ and frequency f, in the order
// of candWeights. A weighted sum of these, with those of the frame, is all there is:
// squares, products and hinges (over) are its only bends. SNR is the frame's ratio
// of signal to noise, 0 to 3 in steps of 10 dB. The knots of the hinges are round numbers
// that nothing was fitted to; a number in a name is the knot, in hundredths.
const (
	ofAcf        = iota // autocorrelation at the period τ, at most 1
	ofDiff              // root of the difference function at τ: 0 periodic, about 1 noise
	ofComb              // comb over all harmonics, −1 to 1
	ofPrime             // comb over the prime harmonics
	ofOdd               // comb over the odd harmonics from the third on
	ofFirst             // first harmonic over the mean of all, at most 3
	ofAcfHalf           // autocorrelation at τ/2
	ofAcfDouble         // autocorrelation at 2τ
	ofDiffHalf          // root of the difference function at τ/2
	ofDiffDouble        // root of the difference function at 2τ
	ofOctave            // octaves above 256 Hz
	ofOctaveSquared
	ofAcfThird    // autocorrelation at τ/3
	ofBehindAcf   // how far behind the best candidate's autocorrelation
	ofBehindComb  // how far behind the best comb
	ofBehindPrime // how far behind the best comb of primes
	ofBehindDiff  // how far above the least difference function
	ofAcfTimesComb
	ofOctaveTimesPrime
	ofOctaveTimesDiff
	ofBehindAcfSquared
	ofOctaveTimesFirst
	ofAbove // mean power of the first six harmonics over the tracked noise, decades, at most 4
	ofAboveSquared
	ofBehindCombTimesSNR
	ofBehindAcfTimesSNR
	ofBehindPrimeTimesSNR
	ofShare // share of all power above the noise that its harmonics hold, 0 to 1
	ofCombSquared
	ofDiffTimesAcf
	ofOddTimesSNR
	ofDiffSquared
	ofHalfTimesSNR // autocorrelation at τ over that at τ/2, times the ratio of signal to noise
	ofShareSquared
	ofBehindCombSquared
	ofBehindShare // how far behind the largest share
	ofAcfOver45   // hinge of acf
	ofAcfOver70
	ofAcfOver90
	ofDiffOver30 // hinge of diff
	ofDiffOver55
	ofCombOver25 // hinge of comb
	ofCombOver55
	ofPrimeOver25 // hinge of prime
	ofPrimeOver55
	ofShareOver50 // hinge of share
	ofAboveOver1  // hinge of above
	ofAboveOver2
	ofFirstOver1 // hinge of first
	ofAcfTimesOctave
	ofCombTimesOctave
	ofOddOver40      // hinge of odd
	ofHalfOver       // hinge of the autocorrelation at τ/2 over that at τ
	ofDiffHalfOver30 // hinge of diffHalf
	ofOwn            // share of the power at its harmonics where the program itself sounds, 0 to 1
	ofOwnOver70      // hinge of own
	ofThirds         // partials where they would be if it were the third harmonic of what is sung, 0 none
	ofThirdsOver10   // hinge of thirds
	ofThirdsTimesSNR
	ofFifths       // the same for the fifth harmonic
	ofFifthsOver10 // hinge of fifths
	numFeat
)

// What the model knows of a frame, in the order of frameWeights. The drop is the
// level under the loudest of the last 0.25 s, in 10 dB, at most 2.5. A room's tail
// falls evenly, and in a room nothing falls faster.
const (
	inBestAcf      = iota // the candidates' largest autocorrelation
	inBestComb            // their largest comb
	inBestPrime           // their largest comb of primes
	inBestDiff            // their least difference function
	inQuiet               // level under −65 dBFS, in 20 dB, at most 0
	inLow                 // share of the sound in the first ninety bins
	inAcfTimesDiff        // of the best
	inCombSquared         // of the best
	inBestAbove           // largest mean power of harmonics over the noise, decades
	inOne                 // 1
	inSnr                 // ratio of signal to noise, in 10 dB
	inSnrTo15             // the same, at most 1.5
	inUnder100ms          // level under the loudest of the last 0.1 s, in 10 dB
	inUnder250ms          // of the last 0.25 s
	inUnder640ms          // of the last 0.64 s
	inRise50ms            // level over that 50 ms ago, in 10 dB
	inUnder100Squared
	inUnder640Squared
	inDiffTimesSNR    // of the best
	inOthers          // how far the sound that is not the program's own is under a quarter, times 4
	inAboveSquared    // of the best
	inBestShare       // largest share of the power above the noise
	inShareTimesAbove // of the best
	inAcfSquared      // of the best
	inAcfOver45       // hinge of bestAcf
	inAcfOver70
	inAcfOver90
	inDiffOver30 // hinge of bestDiff
	inDiffOver55
	inSnrOver5 // hinge of snr, in dB
	inSnrOver10
	inSnrOver20
	inCombOver40     // hinge of bestComb
	inUnder640Over15 // hinge of under640ms, in dB
	inAboveOver1     // hinge of bestAbove
	inShareOver60    // hinge of bestShare
	inUnderLoudest   // level under the loudest of the last seconds, in 10 dB, at most 5
	inLoudestOver10  // hinge of underLoudest, in dB
	inLoudestOver18
	inLoudestOver26
	inRise130ms        // level over that 130 ms ago, in 10 dB, −3 to 3
	inFallTimesLoudest // fall of the level in 130 ms, times underLoudest
	inTail30ms         // near 1 where the level fell in 40 ms as a room's tail does
	inTail30Drop       // the same, times the drop
	inTail60ms         // near 1 where it fell so in 70 ms
	inTail60Drop       // the same, times the drop
	inDropTimesDiff
	inDropTimesSNR
	inFaster    // fall in 40 ms beyond 6 dB, in 10 dB: no room falls so fast
	inDropOver8 // hinge of the drop, in dB
	inWet       // how little the deepest fall of late was: 0 dry, 1 a room of long tails
	inWetDrop
	inWetTail30
	inWetTail60
	inWetDropOver8
	inWetLoudest
	numFrame
)
