package pitch

import "math"

// Where an onset is. The peak of the flux is often at the consonant, and people mark the
// note where its vowel has come: where the level has risen and the pitch has arrived. So
// each frame about a peak is a candidate, described by what is just before and after it,
// and a multinomial logistic model (placeWeights) says how likely people are to mark it.
// The place is the median of that. A change of pitch without a peak is placed in the
// same way.

// Constants were chosen by trial on the sight-singing recordings, in halves: see
// fit_onset_test.go. They count frames, for the usual hop of 10 ms; what has a from and a
// to does not reach its end.
const (
	placeFrom, placeTo = -6, 17 // candidates about the peak
	numPlaces          = placeTo - placeFrom

	placeApart = 5 // places nearer than this are one

	// People mark 20 ms and more after a voice sets in; where it is known when it does (the
	// hard set), half a frame sooner is nearer, and costs 0.003 of the F of marks.
	placeSooner = .5

	risenBack          = 7 // frames back of the least level
	risesAhead         = 6 // and ahead of the loudest
	pastFlux, moreFlux = 2, 3
	nowFrom, nowTo     = 0, 2 // of the pitch at the place
	newFrom, newTo     = 3, 7 // and after
	oldFrom, oldTo     = -7, -2
	sangBack           = 4
	singsAhead         = 7
	mostRisen          = 30 // dB that count at most
	mostMoved          = 2  // semitones that count at most

	placePast = -placeFrom + risenBack // frames before a peak that placing it looks at
	placeSoon = placeTo + risesAhead   // and after it, not reaching the last
)

// What the model knows of a place, in the order of placeWeights: see placeFeatures.
const (
	hereAt = iota
	hereAtOver40
	hereAtOver70
	hereAtOver1
	hereAtOver140
	hereRisen
	hereRisenOver3
	hereRisenOver6
	hereRisenOver12
	hereRises
	hereRisesOver3
	hereRisesOver6
	hereRisesOver12
	hereSlope
	hereFlux
	hereFluxOver15
	hereFluxOver30
	hereFluxPast
	hereFluxMore
	hereMoved
	hereMovedOver50
	hereMoves
	hereMovesOver25
	hereMovesOver50
	hereMovesOver1
	hereSang
	hereSings
	hereVoiced
	hereConfidence
	hereSangTimesSings
	numPlace
)

var placeFeatures = [numPlace]feature{
	hereAt:             {says: "how far from the first place, 60 ms before the peak, 0 to 2.2", unit: "0.1 s"},
	hereAtOver40:       {says: "hinge of at", unit: "0.1 s", made: hinge(hereAt, .4)},
	hereAtOver70:       {says: "hinge of at", unit: "0.1 s", made: hinge(hereAt, .7)},
	hereAtOver1:        {says: "hinge of at", unit: "0.1 s", made: hinge(hereAt, 1)},
	hereAtOver140:      {says: "hinge of at", unit: "0.1 s", made: hinge(hereAt, 1.4)},
	hereRisen:          {says: "how far the level has risen in 70 ms, 0 to 3", unit: "10 dB"},
	hereRisenOver3:     {says: "hinge of risen", unit: "10 dB", made: hinge(hereRisen, .3)},
	hereRisenOver6:     {says: "hinge of risen", unit: "10 dB", made: hinge(hereRisen, .6)},
	hereRisenOver12:    {says: "hinge of risen", unit: "10 dB", made: hinge(hereRisen, 1.2)},
	hereRises:          {says: "how far it will rise in 60 ms, 0 to 3", unit: "10 dB"},
	hereRisesOver3:     {says: "hinge of rises", unit: "10 dB", made: hinge(hereRises, .3)},
	hereRisesOver6:     {says: "hinge of rises", unit: "10 dB", made: hinge(hereRises, .6)},
	hereRisesOver12:    {says: "hinge of rises", unit: "10 dB", made: hinge(hereRises, 1.2)},
	hereSlope:          {says: "level of the next frame over that of the last, −1 to 1", unit: "10 dB"},
	hereFlux:           {says: "flux, 0 to 1", unit: "1"},
	hereFluxOver15:     {says: "hinge of flux", unit: "1", made: hinge(hereFlux, .15)},
	hereFluxOver30:     {says: "hinge of flux", unit: "1", made: hinge(hereFlux, .3)},
	hereFluxPast:       {says: "flux 25 ms before, 0 to 1", unit: "1"},
	hereFluxMore:       {says: "flux 25 ms after, 0 to 1", unit: "1"},
	hereMoved:          {says: "interval between the pitch here and the median 50 ms before, 0 to 2", unit: "semitone"},
	hereMovedOver50:    {says: "hinge of moved", unit: "semitone", made: hinge(hereMoved, .5)},
	hereMoves:          {says: "interval between the pitch here and the median 50 ms after, 0 to 2", unit: "semitone"},
	hereMovesOver25:    {says: "hinge of moves", unit: "semitone", made: hinge(hereMoves, .25)},
	hereMovesOver50:    {says: "hinge of moves", unit: "semitone", made: hinge(hereMoves, .5)},
	hereMovesOver1:     {says: "hinge of moves", unit: "semitone", made: hinge(hereMoves, 1)},
	hereSang:           {says: "share of voiced frames before, 0 to 1", unit: "1"},
	hereSings:          {says: "share of voiced frames after, 0 to 1", unit: "1"},
	hereVoiced:         {says: "share of voiced frames here, 0 to 1", unit: "1"},
	hereConfidence:     {says: "confidence, 0 to 1", unit: "1"},
	hereSangTimesSings: {says: "sang times sings", unit: "1", made: times2(hereSang, hereSings)},
}

var placePlan = planOf(placeFeatures[:])

// describePlace tells the model about the j-th place about frame k.
func (o *OnsetFinder) describePlace(k int64, j int, x *[numPlace]float64) {
	f := k + int64(j+placeFrom)
	at := func(y *[onsetRing]float64, i int64) float64 { return y[i&(onsetRing-1)] }
	x[hereAt] = float64(j) / 10
	level, high := at(&o.l, f), math.Inf(-1)
	for i := f; i <= f+risesAhead; i++ {
		high = math.Max(high, at(&o.l, i))
	}
	x[hereRisen] = math.Min(mostRisen, level-o.lowest(&o.l, f-risenBack, f+1)) / tenDB
	x[hereRises] = math.Min(mostRisen, high-level) / tenDB
	x[hereSlope] = math.Max(-1, math.Min(1, (at(&o.l, f+1)-at(&o.l, f-1))/tenDB))
	x[hereFlux] = at(&o.f, f)
	x[hereFluxPast] = (at(&o.f, f-pastFlux) + at(&o.f, f-moreFlux)) / 2
	x[hereFluxMore] = (at(&o.f, f+pastFlux) + at(&o.f, f+moreFlux)) / 2

	var bufNow, bufOld, bufNew [pitchesMost]float64
	now := o.pitches(&bufNow, f+nowFrom, f+nowTo)
	x[hereMoved], x[hereMoves] = 0, 0
	if len(now) > 0 {
		if old := o.pitches(&bufOld, f+oldFrom, f+oldTo); len(old) > 1 {
			x[hereMoved] = math.Min(mostMoved, math.Abs(middle(old)-average(now)))
		}
		if next := o.pitches(&bufNew, f+newFrom, f+newTo); len(next) > 1 {
			x[hereMoves] = math.Min(mostMoved, math.Abs(middle(next)-average(now)))
		}
	}
	x[hereVoiced] = float64(len(now)) / (nowTo - nowFrom)
	x[hereSang] = float64(len(o.pitches(&bufOld, f-sangBack, f))) / sangBack
	x[hereSings] = float64(len(o.pitches(&bufNew, f+1, f+singsAhead))) / (singsAhead - 1)
	x[hereConfidence] = at(&o.conf, f)
	placePlan.fill(x[:])
}

// place is how many frames after frame k people would mark the onset. All frames from
// k − placePast to k + placeSoon must be in the ring.
func (o *OnsetFinder) place(k int64) float64 {
	var p [numPlaces]float64
	for j := range p {
		o.describePlace(k, j, &o.here)
		for i, v := range o.here {
			p[j] += placeWeights[i] * v
		}
	}
	return placeFrom + middlePlace(&p) - placeSooner
}

// middlePlace is the median of the places with these weighted sums, from −0.5 to
// numPlaces − 0.5.
func middlePlace(p *[numPlaces]float64) float64 {
	most, sum := math.Inf(-1), 0.0
	for _, z := range p {
		most = math.Max(most, z)
	}
	for j := range p {
		p[j] = math.Exp(p[j] - most)
		sum += p[j]
	}
	left := sum / 2
	for j, v := range p {
		if left <= v {
			return float64(j) - .5 + left/v
		}
		left -= v
	}
	return numPlaces - .5 // the sums were rounded
}

// placed is place for a change of pitch at frame k, in whole frames; 0 where the ring does
// not reach so far.
func (o *OnsetFinder) placed(k int64) int {
	if k-placePast < max(0, o.n-onsetRing) || k+placeSoon > o.n {
		return 0
	}
	return int(math.Round(o.place(k)))
}
