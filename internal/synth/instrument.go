package synth

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Instrument is what a Keyboard sounds like.
type Instrument int8

// The instruments.
const (
	Piano Instrument = iota
	Organ
	ElectricPiano
)

var instrumentNames = [...]string{"piano", "organ", "electric"}

// InstrumentNames returns the names that ParseInstrument reads.
func InstrumentNames() []string { return slices.Clone(instrumentNames[:]) }

// String returns the name: "piano", "organ" or "electric".
func (i Instrument) String() string {
	if i < 0 || int(i) >= len(instrumentNames) {
		return fmt.Sprintf("Instrument(%d)", int8(i))
	}
	return instrumentNames[i]
}

// ErrInstrument is wrapped by the error about an instrument that could not be read.
var ErrInstrument = errors.New("not an instrument")

// ParseInstrument reads a name as String writes it, in any case.
func ParseInstrument(name string) (Instrument, error) {
	i := slices.Index(instrumentNames[:], strings.ToLower(strings.TrimSpace(name)))
	if i < 0 {
		return 0, fmt.Errorf("%w: %q; want %s", ErrInstrument, name, strings.Join(instrumentNames[:], ", "))
	}
	return Instrument(i), nil
}

// drawbars holds the amplitudes of the organ's partials: 8′, 4′, 2⅔′, 2′, 1⅗′, 1⅓′, 1 1/7′
// and 1′, drawn 8 7 6 5 4 4 3 3, 3 dB a step (common practice). All are exact multiples,
// not keyed from a tempered set.
var drawbars = [8]float64{1, 0.7079, 0.5012, 0.3548, 0.2512, 0.2512, 0.1778, 0.1778}

const (
	mostPartials = 32   // of one note
	farPartials  = 8    // of those, so many have an aftersound
	tine         = 10   // so many of the electric piano's are harmonics
	bandEdge     = 0.45 // of the sample rate: partials above are left out
	// highestPartial is where partials end, in hertz: what lies above is some 50 dB under the
	// note.
	highestPartial = 12000
)

// partial is one of a note: its amplitude, the frequency in hertz, and the share by which
// it shrinks every second, as a rate: amplitude falls as e^(−fall·t).
type partial struct{ amplitude, hz, fall float64 }

// fallOf returns by how much a piano's note of so many hertz falls, in nepers a second. The
// fundamental falls by 60 dB in 1/(0.07 + 0.00056·f) s, which is 10 s for A1, 7 for C3, 4.6 for C4, 2.8 for C5 and 1.5 for C6: within what is measured at
// pianos. Partial n falls 1 + 0.3·(n−1) times as fast. Even the slowest loses 6 dB a second
// until a key is let go, which no held sung note does: a judge can tell the two apart.
func fallOf(hz float64) float64 {
	return 3 * math.Ln10 * (0.07 + 0.00056*hz)
}

// The aftersound of a piano's partials: so far under the prompt sound at the start, and
// falling so much more slowly (Weinreich 1977: one is what the strings do together, the
// other what they do against each other).
const (
	afterLevel = 0.1 // −20 dB
	afterFall  = 0.25
)

// partialsOf returns the partials of a note, scaled so that the sum of their K-weighted
// powers is 1: so notes are as loud as each other in every register. All are harmonics but
// the electric piano's last one, which is gone after a tenth of a second, and a piano's weak
// uppermost ones.
func (k Keyboard) partialsOf(into []partial, s Sound) []partial {
	limit := min(bandEdge*float64(k.SampleRate), highestPartial)
	octave := math.Log2(s.Hz / 261.6255653) // above C4
	blow := min(max(k.Level-DefaultLevel, -18), 9) / 3
	// The hammer touches the string some 1 to 2 ms at C4, longer below, shorter above, shorter
	// when the blow is harder; it strikes at an eighth of the length, in the treble at a twelfth.
	edge := 620 * math.Exp2(0.35*octave+blow/6)
	strike := math.Pi / min(max(8, 8+2*octave), 14)
	// A tine moves as a sine; what a pickup near it makes of that is stronger in the
	// bass and when struck harder: so many dB from partial to partial.
	step := max(4, 8+1.5*octave-blow/2)
	sum := 1e-9
	for n := range mostPartials {
		j := float64(n)
		p := partial{hz: s.Hz * (j + 1)}
		switch {
		case s.Steady || k.Instrument == Organ:
			if n < len(drawbars) {
				p.amplitude = drawbars[n]
			}
		case k.Instrument == Piano:
			p.amplitude = max(math.Abs(math.Sin((j+1)*strike)), 0.1) / (1 + p.hz*p.hz/(edge*edge)) * board(p.hz)
			p.fall = fallOf(s.Hz) * (1 + 0.3*j)
		case n == tine: // its second mode
			p = partial{0.1, s.Hz * 6.267, 3 * math.Ln10 / 0.12}
		case n < tine:
			p.amplitude, p.fall = fromDB(-step*j), fallOf(s.Hz)
		}
		if p.amplitude > 0 && p.hz < limit {
			sum += p.amplitude * p.amplitude * weight(p.hz)
			into = append(into, p)
		}
	}
	for i := range into {
		into[i].amplitude /= math.Sqrt(sum)
	}
	if k.Instrument == Piano && !s.Steady {
		stretch(into, octave, limit)
	}
	return into
}

// stretch moves a piano's upper partials up, as stiff strings have them: partial n of the
// key m (69 is A4) lies at n·√((1+Bn²)/(1+B)), with B(m) as fitted to pianos by Rigaud (2013, the
// numbers of 2011). It begins with the uppermost, and ends where those moved might move the
// least of the difference function, which is the pitch as most measure it, by more than 0.15
// cents: strong partials, and the first eight, stay exact. What comes to lie above the limit,
// in hertz, is silent.
func stretch(p []partial, octave, limit float64) {
	const most = 0.15 * math.Ln2 / 1200
	m := 60 + 12*octave
	b := expE(0.0926*m-13.64) + expE(-0.0847*m-5.82)
	left := 0.0
	for i, p := range p {
		n := float64(i+1) * p.amplitude
		left += n * n * most
	}
	for i := len(p) - 1; i >= 8; i-- {
		n := float64(i + 1)
		up := math.Sqrt((1 + b*n*n) / (1 + b))
		left -= p[i].amplitude * p[i].amplitude * n * min(n*(up-1), 1/(2*math.Pi))
		if left < 0 {
			return
		}
		if p[i].hz *= up; p[i].hz > limit {
			p[i].amplitude = 0
		}
	}
}

// board returns the gain of the soundboard at f hertz: little below 80 Hz, and resonances
// of 2 and 1 dB at places in no ratio to each other, by ear.
func board(f float64) float64 {
	x := math.Log2(f)
	return f * f / (f*f + 75*75) * fromDB(2*math.Sin(11.9*x+1)+math.Sin(33.7*x))
}

// noises of a piano: the hammer's felt on the string, the key on its bed, and both going
// back when the key is let go, in amplitudes beside the note's.
const (
	hammerNoise, hammerEdge, hammerTime = 0.12, 1500.0, 0.012 // hertz, seconds
	keyNoise, keyEdge, keyTime          = 0.05, 160.0, 0.025
	backNoise                           = 0.006
)

// knock adds noise under an envelope: below edge hertz, falling to 1/e in time seconds. The
// seed gives the same noise each time.
func knock(out, env []float64, rate, level, edge, time float64, seed uint64) {
	share := 1 - expE(-2*math.Pi*edge/rate)
	level *= 2.4 / math.Sqrt(share)
	shrink := expE(-1 / (time * rate))
	var a, b, c, d float64
	for i := range env {
		if level < 1e-6 {
			break
		}
		seed = seed*6364136223846793005 + 1442695040888963407
		a += share * (float64(int64(seed))/(1<<63) - a)
		b += share * (a - b)
		c += share * (b - c)
		d += share * (c - d)
		out[i] += level * env[i] * d
		level *= shrink
	}
}
