package pitch

// A feature is one number that a model knows: a row of candFeatures, frameFeatures or
// onsetFeatures, whose key is its name. A weighted sum of a table's rows is all there is
// to a model: squares, products and hinges are its only bends. The order is that of the
// weights.
//
// Units: "1" is a ratio, a share, a probability or a correlation. "10 dB" says that 1
// stands for 10 dB, and so on: such scales keep the features near 1, which suits the
// fitting, and have no other source. Times are for the usual hop of 10 ms: what is
// counted is frames.
type feature struct {
	says string
	unit string
	made made // of others; the zero made: by itself
}

// made says how a feature is worked out from others of its table: as the product of two,
// or as a hinge, which is how far one lies above a knot, else 0. The knots are round
// numbers that nothing was fitted to. A number in a name is the knot: in dB where the
// unit has them, else in hundredths, and whole from 1 on.
type made struct {
	how  bend
	a, b int
	knot float64
}

type bend int8

const (
	straight bend = iota // the feature is not made of others
	multiplied
	hinged
)

func times2(a, b int) made            { return made{how: multiplied, a: a, b: b} }
func hinge(of int, knot float64) made { return made{how: hinged, a: of, knot: knot} }

// A plan works out those features of a table that are made of others.
type plan struct {
	products []productOf
	hinges   []hingeOf
}

type productOf struct{ to, a, b int }

type hingeOf struct {
	to, of int
	knot   float64
}

func planOf(table []feature) (p plan) {
	for i, f := range table {
		switch f.made.how {
		case multiplied:
			p.products = append(p.products, productOf{i, f.made.a, f.made.b})
		case hinged:
			p.hinges = append(p.hinges, hingeOf{i, f.made.a, f.made.knot})
		}
	}
	return p
}

var (
	candPlan  = planOf(candFeatures[:])
	framePlan = planOf(frameFeatures[:])
	onsetPlan = planOf(onsetFeatures[:])
)

// fill works out the features that are made of others from those that are not.
func (p *plan) fill(x []float64) {
	for _, f := range p.products {
		x[f.to] = x[f.a] * x[f.b]
	}
	for _, f := range p.hinges {
		x[f.to] = over(x[f.of], f.knot)
	}
}

// over is a hinge: how far x lies above the knot. A weighted sum of hinges is a
// curve of straight pieces, which is all the bending that the model can do.
func over(x, knot float64) float64 { return max(0, x-knot) }

// What the model knows of a candidate with period τ and frequency f, in the order of
// candWeights: see candFeatures.
const (
	ofAcf = iota
	ofDiff
	ofComb
	ofPrime
	ofOdd
	ofFirst
	ofAcfHalf
	ofAcfDouble
	ofDiffHalf
	ofDiffDouble
	ofOctave
	ofOctaveSquared
	ofAcfThird
	ofBehindAcf
	ofBehindComb
	ofBehindPrime
	ofBehindDiff
	ofAcfTimesComb
	ofOctaveTimesPrime
	ofOctaveTimesDiff
	ofBehindAcfSquared
	ofOctaveTimesFirst
	ofAbove
	ofAboveSquared
	ofBehindCombTimesSNR
	ofBehindAcfTimesSNR
	ofBehindPrimeTimesSNR
	ofShare
	ofCombSquared
	ofDiffTimesAcf
	ofOddTimesSNR
	ofDiffSquared
	ofHalfTimesSNR
	ofShareSquared
	ofBehindCombSquared
	ofBehindShare
	ofAcfOver45
	ofAcfOver70
	ofAcfOver90
	ofDiffOver30
	ofDiffOver55
	ofCombOver25
	ofCombOver55
	ofPrimeOver25
	ofPrimeOver55
	ofShareOver50
	ofAboveOver1
	ofAboveOver2
	ofFirstOver1
	ofAcfTimesOctave
	ofCombTimesOctave
	ofOddOver40
	ofHalfOver
	ofDiffHalfOver30
	ofOwn
	ofOwnOver70
	ofThirds
	ofThirdsOver10
	ofThirdsTimesSNR
	ofFifths
	ofFifthsOver10
	numFeat
)

// SNR in this table is the frame's ratio of signal to noise, 0 to 3 in steps of 10 dB.
var candFeatures = [numFeat]feature{
	ofAcf:                 {says: "autocorrelation at the period τ", unit: "1"},
	ofDiff:                {says: "root of the difference function at τ: 0 periodic, about 1 noise", unit: "1"},
	ofComb:                {says: "comb over all harmonics, −1 to 1", unit: "1"},
	ofPrime:               {says: "comb over the first and the prime harmonics, −1 to 1", unit: "1"},
	ofOdd:                 {says: "comb over the odd harmonics from the third on, −1 to 1", unit: "1"},
	ofFirst:               {says: "first harmonic over the mean of all, at most 3", unit: "1"},
	ofAcfHalf:             {says: "autocorrelation at τ/2", unit: "1"},
	ofAcfDouble:           {says: "autocorrelation at 2τ", unit: "1"},
	ofDiffHalf:            {says: "root of the difference function at τ/2, which counts up to 1.5", unit: "1"},
	ofDiffDouble:          {says: "root of the difference function at 2τ, which counts up to 1.5", unit: "1"},
	ofOctave:              {says: "f above 256 Hz", unit: "octave"},
	ofOctaveSquared:       {says: "its square", unit: "octave²", made: times2(ofOctave, ofOctave)},
	ofAcfThird:            {says: "autocorrelation at τ/3", unit: "1"},
	ofBehindAcf:           {says: "how far behind the best candidate's autocorrelation", unit: "1"},
	ofBehindComb:          {says: "how far behind the best comb", unit: "1"},
	ofBehindPrime:         {says: "how far behind the best comb of primes", unit: "1"},
	ofBehindDiff:          {says: "how far above the least root of the difference function", unit: "1"},
	ofAcfTimesComb:        {says: "autocorrelation at τ times comb", unit: "1", made: times2(ofAcf, ofComb)},
	ofOctaveTimesPrime:    {says: "octaves times comb of primes", unit: "octave", made: times2(ofOctave, ofPrime)},
	ofOctaveTimesDiff:     {says: "octaves times root of the difference function", unit: "octave", made: times2(ofOctave, ofDiff)},
	ofBehindAcfSquared:    {says: "square of behindAcf", unit: "1", made: times2(ofBehindAcf, ofBehindAcf)},
	ofOctaveTimesFirst:    {says: "octaves times first harmonic", unit: "octave", made: times2(ofOctave, ofFirst)},
	ofAbove:               {says: "mean power of the first six harmonics over the tracked noise, at most 4", unit: "decade"},
	ofAboveSquared:        {says: "its square", unit: "decade²", made: times2(ofAbove, ofAbove)},
	ofBehindCombTimesSNR:  {says: "behindComb times SNR", unit: "10 dB"},
	ofBehindAcfTimesSNR:   {says: "behindAcf times SNR", unit: "10 dB"},
	ofBehindPrimeTimesSNR: {says: "behindPrime times SNR", unit: "10 dB"},
	ofShare:               {says: "share of all power above the noise that its harmonics hold, 0 to 1", unit: "1"},
	ofCombSquared:         {says: "square of the comb", unit: "1", made: times2(ofComb, ofComb)},
	ofDiffTimesAcf:        {says: "root of the difference function times autocorrelation", unit: "1", made: times2(ofDiff, ofAcf)},
	ofOddTimesSNR:         {says: "comb of the odd harmonics times SNR", unit: "10 dB"},
	ofDiffSquared:         {says: "the difference function at τ", unit: "1", made: times2(ofDiff, ofDiff)},
	ofHalfTimesSNR:        {says: "autocorrelation at τ over that at τ/2, times SNR", unit: "10 dB"},
	ofShareSquared:        {says: "square of the share", unit: "1", made: times2(ofShare, ofShare)},
	ofBehindCombSquared:   {says: "square of behindComb", unit: "1", made: times2(ofBehindComb, ofBehindComb)},
	ofBehindShare:         {says: "how far behind the largest share", unit: "1"},
	ofAcfOver45:           {says: "hinge of acf", unit: "1", made: hinge(ofAcf, .45)},
	ofAcfOver70:           {says: "hinge of acf", unit: "1", made: hinge(ofAcf, .7)},
	ofAcfOver90:           {says: "hinge of acf", unit: "1", made: hinge(ofAcf, .9)},
	ofDiffOver30:          {says: "hinge of diff", unit: "1", made: hinge(ofDiff, .3)},
	ofDiffOver55:          {says: "hinge of diff", unit: "1", made: hinge(ofDiff, .55)},
	ofCombOver25:          {says: "hinge of comb", unit: "1", made: hinge(ofComb, .25)},
	ofCombOver55:          {says: "hinge of comb", unit: "1", made: hinge(ofComb, .55)},
	ofPrimeOver25:         {says: "hinge of prime", unit: "1", made: hinge(ofPrime, .25)},
	ofPrimeOver55:         {says: "hinge of prime", unit: "1", made: hinge(ofPrime, .55)},
	ofShareOver50:         {says: "hinge of share", unit: "1", made: hinge(ofShare, .5)},
	ofAboveOver1:          {says: "hinge of above", unit: "decade", made: hinge(ofAbove, 1)},
	ofAboveOver2:          {says: "hinge of above", unit: "decade", made: hinge(ofAbove, 2)},
	ofFirstOver1:          {says: "hinge of first", unit: "1", made: hinge(ofFirst, 1)},
	ofAcfTimesOctave:      {says: "autocorrelation times octaves", unit: "octave", made: times2(ofAcf, ofOctave)},
	ofCombTimesOctave:     {says: "comb times octaves", unit: "octave", made: times2(ofComb, ofOctave)},
	ofOddOver40:           {says: "hinge of odd", unit: "1", made: hinge(ofOdd, .4)},
	ofHalfOver:            {says: "how far the autocorrelation at τ/2 lies above that at τ less 0.1, else 0", unit: "1"},
	ofDiffHalfOver30:      {says: "hinge of diffHalf", unit: "1", made: hinge(ofDiffHalf, .3)},
	ofOwn:                 {says: "share of the power at its harmonics where the program itself sounds, 0 to 1", unit: "1"},
	ofOwnOver70:           {says: "hinge of own", unit: "1", made: hinge(ofOwn, .7)},
	ofThirds:              {says: "partials where they would be if it were the third harmonic of what is sung, 0 none", unit: "1"},
	ofThirdsOver10:        {says: "hinge of thirds", unit: "1", made: hinge(ofThirds, .1)},
	ofThirdsTimesSNR:      {says: "thirds times SNR", unit: "10 dB"},
	ofFifths:              {says: "partials where they would be if it were the fifth harmonic, 0 none", unit: "1"},
	ofFifthsOver10:        {says: "hinge of fifths", unit: "1", made: hinge(ofFifths, .1)},
}

// What the model knows of a frame, in the order of frameWeights: see frameFeatures.
const (
	inBestAcf = iota
	inBestComb
	inBestPrime
	inBestDiff
	inQuiet
	inLow
	inAcfTimesDiff
	inCombSquared
	inBestAbove
	inOne
	inSnr
	inSnrTo15
	inUnder100ms
	inUnder250ms
	inUnder640ms
	inRise40ms
	inUnder100Squared
	inUnder640Squared
	inDiffTimesSNR
	inOthers
	inAboveSquared
	inBestShare
	inShareTimesAbove
	inAcfSquared
	inAcfOver45
	inAcfOver70
	inAcfOver90
	inDiffOver30
	inDiffOver55
	inSnrOver5
	inSnrOver10
	inSnrOver20
	inCombOver40
	inUnder640Over15
	inAboveOver1
	inShareOver60
	inUnderLoudest
	inLoudestOver10
	inLoudestOver18
	inLoudestOver26
	inRise120ms
	inFallTimesLoudest
	inTail30ms
	inTail30Drop
	inTail60ms
	inTail60Drop
	inDropTimesDiff
	inDropTimesSNR
	inFaster
	inDropOver8
	inWet
	inWetDrop
	inWetTail30
	inWetTail60
	inWetDropOver8
	inWetLoudest
	numFrame
)

// The drop in this table is the level under the loudest of the last 0.25 s, in 10 dB, at
// most 2.5. A room's tail falls evenly, and in a room nothing falls faster.
var frameFeatures = [numFrame]feature{
	inBestAcf:          {says: "the candidates' largest autocorrelation", unit: "1"},
	inBestComb:         {says: "their largest comb", unit: "1"},
	inBestPrime:        {says: "their largest comb of primes", unit: "1"},
	inBestDiff:         {says: "their least root of the difference function", unit: "1"},
	inQuiet:            {says: "level over −65 dBFS, at most 0", unit: "20 dB"},
	inLow:              {says: "share of the sound in the first ninety bins", unit: "1"},
	inAcfTimesDiff:     {says: "bestAcf times bestDiff", unit: "1", made: times2(inBestAcf, inBestDiff)},
	inCombSquared:      {says: "square of bestComb", unit: "1", made: times2(inBestComb, inBestComb)},
	inBestAbove:        {says: "largest mean power of a candidate's harmonics over the noise", unit: "decade"},
	inOne:              {says: "1", unit: "1"},
	inSnr:              {says: "ratio of signal to noise, at most 50 dB", unit: "10 dB"},
	inSnrTo15:          {says: "the same, at most 15 dB", unit: "10 dB"},
	inUnder100ms:       {says: "level under the loudest of the last 0.1 s", unit: "10 dB"},
	inUnder250ms:       {says: "of the last 0.25 s", unit: "10 dB"},
	inUnder640ms:       {says: "of the last 0.64 s", unit: "10 dB"},
	inRise40ms:         {says: "level over that 40 ms ago, at most 4", unit: "10 dB"},
	inUnder100Squared:  {says: "square of under100ms", unit: "(10 dB)²", made: times2(inUnder100ms, inUnder100ms)},
	inUnder640Squared:  {says: "square of under640ms", unit: "(10 dB)²", made: times2(inUnder640ms, inUnder640ms)},
	inDiffTimesSNR:     {says: "bestDiff times snr", unit: "10 dB", made: times2(inBestDiff, inSnr)},
	inOthers:           {says: "how far the share of the sound that is not the program's own is under a quarter, at most 0", unit: "1/4"},
	inAboveSquared:     {says: "square of bestAbove", unit: "decade²", made: times2(inBestAbove, inBestAbove)},
	inBestShare:        {says: "the candidates' largest share of the power above the noise", unit: "1"},
	inShareTimesAbove:  {says: "bestShare times bestAbove", unit: "decade", made: times2(inBestShare, inBestAbove)},
	inAcfSquared:       {says: "square of bestAcf", unit: "1", made: times2(inBestAcf, inBestAcf)},
	inAcfOver45:        {says: "hinge of bestAcf", unit: "1", made: hinge(inBestAcf, .45)},
	inAcfOver70:        {says: "hinge of bestAcf", unit: "1", made: hinge(inBestAcf, .7)},
	inAcfOver90:        {says: "hinge of bestAcf", unit: "1", made: hinge(inBestAcf, .9)},
	inDiffOver30:       {says: "hinge of bestDiff", unit: "1", made: hinge(inBestDiff, .3)},
	inDiffOver55:       {says: "hinge of bestDiff", unit: "1", made: hinge(inBestDiff, .55)},
	inSnrOver5:         {says: "hinge of snr, 5 dB", unit: "10 dB", made: hinge(inSnr, .5)},
	inSnrOver10:        {says: "hinge of snr, 10 dB", unit: "10 dB", made: hinge(inSnr, 1)},
	inSnrOver20:        {says: "hinge of snr, 20 dB", unit: "10 dB", made: hinge(inSnr, 2)},
	inCombOver40:       {says: "hinge of bestComb", unit: "1", made: hinge(inBestComb, .4)},
	inUnder640Over15:   {says: "hinge of under640ms, 15 dB", unit: "10 dB", made: hinge(inUnder640ms, 1.5)},
	inAboveOver1:       {says: "hinge of bestAbove", unit: "decade", made: hinge(inBestAbove, 1)},
	inShareOver60:      {says: "hinge of bestShare", unit: "1", made: hinge(inBestShare, .6)},
	inUnderLoudest:     {says: "level under the loudest of the last seconds, at most 5", unit: "10 dB"},
	inLoudestOver10:    {says: "hinge of underLoudest, 10 dB", unit: "10 dB", made: hinge(inUnderLoudest, 1)},
	inLoudestOver18:    {says: "hinge of underLoudest, 18 dB", unit: "10 dB", made: hinge(inUnderLoudest, 1.8)},
	inLoudestOver26:    {says: "hinge of underLoudest, 26 dB", unit: "10 dB", made: hinge(inUnderLoudest, 2.6)},
	inRise120ms:        {says: "level over that 120 ms ago, −3 to 3", unit: "10 dB"},
	inFallTimesLoudest: {says: "fall of the level in 120 ms, at most 0, times underLoudest", unit: "(10 dB)²"},
	inTail30ms:         {says: "near 1 where the level fell in 30 ms as a room's tail does", unit: "1"},
	inTail30Drop:       {says: "the same, times the drop", unit: "10 dB"},
	inTail60ms:         {says: "near 1 where it fell so in 60 ms", unit: "1"},
	inTail60Drop:       {says: "the same, times the drop", unit: "10 dB"},
	inDropTimesDiff:    {says: "the drop times bestDiff", unit: "10 dB"},
	inDropTimesSNR:     {says: "the drop times snr", unit: "(10 dB)²"},
	inFaster:           {says: "fall in 30 ms beyond 6 dB: no room falls so fast", unit: "10 dB"},
	inDropOver8:        {says: "how far the drop lies over 8 dB, else 0", unit: "10 dB"},
	inWet:              {says: "how little the deepest fall of late was: 0 dry, 1 a room of long tails", unit: "1"},
	inWetDrop:          {says: "wet times the drop", unit: "10 dB"},
	inWetTail30:        {says: "wet times tail30Drop", unit: "10 dB", made: times2(inWet, inTail30Drop)},
	inWetTail60:        {says: "wet times tail60Drop", unit: "10 dB", made: times2(inWet, inTail60Drop)},
	inWetDropOver8:     {says: "wet times dropOver8", unit: "10 dB", made: times2(inWet, inDropOver8)},
	inWetLoudest:       {says: "wet times underLoudest", unit: "10 dB", made: times2(inWet, inUnderLoudest)},
}

// What the model knows of a peak of the flux that may be an onset, in the order of
// onsetWeights: see onsetFeatures.
const (
	atOne = iota
	atFlux
	atFluxOver15
	atFluxOver30
	atUsual
	atInterval
	atIntervalOver50
	atNone
	atSings
	atSingsOver50
	atSang
	atRise
	atRiseOver6
	atJump
	atFallOver3
	atScatter
	atConfidence
	atUnderLoudest
	atRiseTimesSings
	atIntervalTimesFlux
	atUsualOver15
	atUsualOver30
	atRiseOver12
	atJumpOver3
	atIntervalOver25TimesSings
	atFluxTimesSings
	atUsualTimesSings
	atStep
	atFluxOver8
	atClimb
	atClimbOver3
	atClimbOver8
	atSink
	atSinkOver3
	atDips
	atDipsOver30
	atPeaks
	atPeaksOver30
	numOnset
)

var onsetFeatures = [numOnset]feature{
	atOne:                      {says: "1", unit: "1"},
	atFlux:                     {says: "flux at the peak, 0 to 1", unit: "1"},
	atFluxOver15:               {says: "hinge of flux", unit: "1", made: hinge(atFlux, .15)},
	atFluxOver30:               {says: "hinge of flux", unit: "1", made: hinge(atFlux, .3)},
	atUsual:                    {says: "flux over its mean around, at most 6", unit: "1"},
	atInterval:                 {says: "interval between the median pitches after and before, at most 2", unit: "semitone"},
	atIntervalOver50:           {says: "hinge of interval", unit: "semitone", made: hinge(atInterval, .5)},
	atNone:                     {says: "1 where one of the two pitches is not there, else 0", unit: "1"},
	atSings:                    {says: "share of voiced frames after it, 0 to 1", unit: "1"},
	atSingsOver50:              {says: "hinge of sings", unit: "1", made: hinge(atSings, .5)},
	atSang:                     {says: "share of voiced frames about it and before, 0 to 1", unit: "1"},
	atRise:                     {says: "mean level after it over the least about it, at most 3", unit: "10 dB"},
	atRiseOver6:                {says: "how far that, without limit, lies over 6 dB, else 0", unit: "10 dB"},
	atJump:                     {says: "mean level just after it over that just before", unit: "10 dB"},
	atFallOver3:                {says: "mean level before it, at most 20 dB over the least about it, beyond 3 dB, else 0", unit: "10 dB"},
	atScatter:                  {says: "standard deviation of the pitch after it, at most 2", unit: "semitone"},
	atConfidence:               {says: "least confidence about it, 0 to 1", unit: "1"},
	atUnderLoudest:             {says: "loudest level after it over the loudest of the last seconds", unit: "10 dB"},
	atRiseTimesSings:           {says: "rise, at most 25 dB, times sings", unit: "10 dB"},
	atIntervalTimesFlux:        {says: "interval times flux", unit: "semitone", made: times2(atInterval, atFlux)},
	atUsualOver15:              {says: "how far usual, up to 8, lies over 1.5, else 0", unit: "1"},
	atUsualOver30:              {says: "how far usual, up to 8, lies over 3, else 0", unit: "1"},
	atRiseOver12:               {says: "how far rise lies over 12 dB, else 0", unit: "10 dB"},
	atJumpOver3:                {says: "how far jump, up to 20 dB, lies over 3 dB, else 0", unit: "10 dB"},
	atIntervalOver25TimesSings: {says: "how far the interval lies over a quarter, else 0, times sings", unit: "semitone"},
	atFluxTimesSings:           {says: "flux times sings", unit: "1", made: times2(atFlux, atSings)},
	atUsualTimesSings:          {says: "usual times sings", unit: "1", made: times2(atUsual, atSings)},
	atStep:                     {says: "interval between the mean pitches of 40 ms after and before, at most 2", unit: "semitone"},
	atFluxOver8:                {says: "hinge of flux", unit: "1", made: hinge(atFlux, .08)},
	atClimb:                    {says: "loudest level after the least about it, over that, 0 to 3", unit: "10 dB"},
	atClimbOver3:               {says: "hinge of climb", unit: "10 dB", made: hinge(atClimb, .3)},
	atClimbOver8:               {says: "hinge of climb", unit: "10 dB", made: hinge(atClimb, .8)},
	atSink:                     {says: "loudest level before the least about it, over that, 0 to 3", unit: "10 dB"},
	atSinkOver3:                {says: "hinge of sink", unit: "10 dB", made: hinge(atSink, .3)},
	atDips:                     {says: "how far the pitch dips under those before and after, 0 to 2", unit: "semitone"},
	atDipsOver30:               {says: "hinge of dips", unit: "semitone", made: hinge(atDips, .3)},
	atPeaks:                    {says: "how far it peaks over them, 0 to 2", unit: "semitone"},
	atPeaksOver30:              {says: "hinge of peaks", unit: "semitone", made: hinge(atPeaks, .3)},
}
