package pitch

import "math"

// Evidence for one frame, in the order it is worked out: a Hann window of
// about 50 ms, its spectrum S with amplitudes compressed to their square root
// (spectrum.go), the generalised autocorrelation of S (lag-domain candidates that
// a formant or a noise band cannot dominate) and the difference function of the
// waveform over windows that follow the period (YIN's, symmetric about the
// frame's centre; lags.go), and a weighted comb of harmonics on S read at the
// candidates only (comb.go). All that is told to the model is in describe.go.
//
// Constants of these files without another source were chosen by trial, on the
// sounds of package training and on the development half of the hard set; they
// come from no publication. Those that count frames are for the usual hop of 10 ms.

const (
	maxCand        = 14    // candidates of a frame
	evidencePoints = 1024  // of the transform: bins of 8 to 20 Hz
	frameTime      = .050  // s, the Hann window: three periods of the lowest voice
	liveFall       = .012  // s in which a live window falls: its peak is near what is new
	liveAhead      = .0095 // s after its centre that a live frame needs
	shortestWindow = .009  // s, of the difference function, whose window is the period where that is longer
	lagMargin      = 8     // samples that are kept beside the longest lag
	liveMargin     = 20    // and beside two windows before a live centre
	levelsKept     = 64    // frames whose levels are known
)

// cand is one hypothesis about a frame.
type cand struct {
	f    float64 // Hz
	oct  float64 // log2 f
	logp float64 // log probability given the frame alone
	cost float64 // best path ending here
	nv   float64 // noise variance per sample, read between the harmonics
	back int8

	like, estCost float64 // log probability beside the likeliest candidate; best path without silence
	estBack       int8
}

// frame is what is kept of one analysis frame until its row is decided.
type frame struct {
	n     int
	c     [maxCand]cand
	uv    float64 // log probability of unvoiced
	uvC   float64
	uvB   int8
	pos   int64 // decimated sample nearest the centre
	level float64
	flux  float64
	lost  bool
	wet   float64 // how little the deepest fall of late was: inWet
}

type evidence struct {
	fs         float64
	nfft       int
	bins       int // up to topHz
	win        []float64
	pow        []float64
	s          []float64
	sprev      [2][]float64
	lin        []float64 // power above the noise, weighted
	ps         []float64 // power, smoothed over time
	noise      []float64 // power of what was there before and stays: room, hum, drone
	age        int
	hum        bool // the last frame was mains hum
	pitched    bool // the last frame was clearly periodic
	known      []bool
	sounds     bool // any is
	sumL       float64
	share      float64 // share of S outside known partials
	levels     [levelsKept]float64
	loud       float64    // the loudest level of late, in dBFS, falling by 2 dB a second
	fall       float64    // dB: the deepest fall of the level within 100 ms of late, less 1 dB a second: how dry the room is
	follow     [2]float64 // hertz: the best paths' last candidates
	even       []float64
	acf        []float64
	acfNorm    []float64
	acfGain    []float64 // 1/acfNorm, where that is not too small
	minWindow  int       // shortest window of the difference function
	tauMin     int
	tauMax     int
	d          []float64
	live       bool
	back       int       // samples before the centre that analyse needs
	ahead      int       // and after it
	local      []float64 // they, less their mean
	cum        []float64
	z, zcum    []float64
	ft         *transform
	hz         float64 // per bin
	wbin       []float64
	winPow     float64
	feat       [maxCand][numFeat]float64
	ffeat      [numFrame]float64
	under      [maxCand]float64 // comb of what a candidate would be a harmonic of
	minF, maxF float64
}

func newEvidence(fs, minF, maxF float64, live bool) *evidence {
	e := &evidence{fs: fs, live: live, nfft: evidencePoints, minF: minF, maxF: maxF}
	e.ft = newTransform(e.nfft)
	e.hz = fs / float64(e.nfft)
	e.bins = min(e.nfft/2, int(topHz/e.hz))
	e.pow = make([]float64, e.nfft/2+2)
	e.s = make([]float64, e.nfft/2+2)
	e.lin = make([]float64, e.nfft/2+2)
	e.ps = make([]float64, e.nfft/2+2)
	e.noise = make([]float64, e.nfft/2+2)
	e.known = make([]bool, e.nfft/2+2)
	e.sprev[0] = make([]float64, e.nfft/2+2)
	e.sprev[1] = make([]float64, e.nfft/2+2)
	e.even = make([]float64, e.nfft/2+1)
	e.acf = make([]float64, e.nfft)
	e.setWindow()
	e.weighBins()
	e.setLagWindow()

	e.tauMin = int(fs / maxF)
	e.tauMax = int(fs/minF) + 2
	e.d = make([]float64, e.tauMax+3)
	e.minWindow = int(shortestWindow * fs)
	reach := max(e.tauMax, e.minWindow)
	e.cum = make([]float64, 2*reach+lagMargin)
	e.z = make([]float64, reach+lagMargin)
	e.zcum = make([]float64, reach+lagMargin+1)
	e.back, e.ahead = e.half(), e.half()
	if live {
		e.ahead = int(liveAhead * fs)
		e.back = max(len(e.win), 2*reach+liveMargin)
	}
	e.local = make([]float64, e.back+e.ahead+2)
	return e
}

// setWindow makes the window: Hann's, or the live one, whose second half is short.
func (e *evidence) setWindow() {
	n := int(frameTime*e.fs) | 1
	e.win = make([]float64, n)
	for i := range e.win {
		e.win[i] = .5 - .5*math.Cos(2*math.Pi*(float64(i)+.5)/float64(n))
		if e.live {
			fall := liveFall * e.fs
			if t := float64(n) - float64(i) - .5; t < fall {
				e.win[i] = .5 - .5*math.Cos(math.Pi*t/fall)
			} else {
				e.win[i] = .5 - .5*math.Cos(math.Pi*(float64(i)+.5)/(float64(n)-fall))
			}
		}
		e.winPow += e.win[i] * e.win[i]
	}
}

// reset forgets everything heard.
func (e *evidence) reset() {
	clear(e.sprev[0])
	clear(e.sprev[1])
	clear(e.ps)
	clear(e.noise)
	clear(e.levels[:])
	e.age, e.loud, e.share, e.fall = 0, 0, 0, 0
	e.pitched, e.hum = false, false
	e.follow = [2]float64{}
}

// remember keeps where the two best paths to a frame are: the next frame looks
// there too.
func (e *evidence) remember(fr *frame) {
	e.follow = [2]float64{}
	first, second := math.Inf(-1), math.Inf(-1)
	for i := range fr.c[:fr.n] {
		switch c := &fr.c[i]; {
		case c.cost > first:
			second, e.follow[1] = first, e.follow[0]
			first, e.follow[0] = c.cost, c.f
		case c.cost > second:
			second, e.follow[1] = c.cost, c.f
		}
	}
}

// half is how many samples on each side of the centre analyse needs.
func (e *evidence) half() int { return max(len(e.win)/2+1, max(e.tauMax, e.minWindow)+lagMargin) }

// analyse fills fr from the samples x; x[c] is the frame's centre.
func (e *evidence) analyse(fr *frame, x []float64, c int) {
	x = x[c-e.back : c+e.ahead+2]
	mean := average(x)
	local := e.local[:len(x)]
	for i, v := range x {
		local[i] = v - mean
	}
	x, c = e.local, e.back
	n := len(e.win)
	from := c - n/2
	if e.live {
		from = c + e.ahead - n
	}
	e.ft.power(e.pow[:e.bins], x[from:from+n], e.win)
	h := e.hear()
	lv := &e.levels
	copy(lv[1:], lv[:len(lv)-1])
	lv[0] = fr.level
	fr.flux = e.flux()
	e.correlate()
	e.mains(fr.level)
	e.difference(x, c)
	fr.n = 0
	e.candidates(fr)
	e.describe(fr, h)
}
