package takedown

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"singback/theory"
)

// Beats are the times of the beats of a song.
type Beats struct {
	Meter theory.Meter
	At    []float64 // seconds, rising: one for each beat that is counted (theory.Meter.Pulse)
	// First is the index in At of a beat that begins a bar.
	First int
}

// Limits of beats that are tapped, listed or given as a tempo.
const (
	MaxBeats  = 20_000
	MinTempo  = 20.0 // beats a minute
	MaxTempo  = 400.0
	leastBeat = 60 / MaxTempo
	mostBeat  = 60 / MinTempo
	maxSecond = 24 * 3600.0
)

// ParseBeats reads times of beats, one a line: seconds from the start of the
// recording, and after them, where it is known, the beat's number in the bar (1 is
// the first). Without numbers the first line begins a bar. A # begins a remark. An
// error says the line.
func ParseBeats(s string, m theory.Meter) (Beats, error) {
	b := Beats{Meter: m, First: -1}
	for i, line := range strings.Split(s, "\n") {
		line, _, _ = strings.Cut(line, "#")
		fields := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == '\t' || r == '\r' || r == ',' || r == ';' })
		if len(fields) == 0 {
			continue
		}
		at, err := strconv.ParseFloat(fields[0], 64)
		switch last := len(b.At) - 1; {
		case err != nil || !(at >= 0) || at > maxSecond:
			return Beats{}, fmt.Errorf("line %d: %q is no time of a beat: want seconds from the start, like 12.48", i+1, short(fields[0]))
		case last >= 0 && at-b.At[last] < leastBeat/2:
			return Beats{}, fmt.Errorf("line %d: %s s is not after %.2f s, or too near: want the beats in order, at most %.0f a minute", i+1, short(fields[0]), b.At[last], 2*MaxTempo)
		case len(b.At) == MaxBeats:
			return Beats{}, fmt.Errorf("line %d: more than %d beats", i+1, MaxBeats)
		}
		if len(fields) > 1 {
			n, err := strconv.ParseFloat(fields[1], 64) // 1 or 1.0
			if err != nil || n != math.Trunc(n) || n < 1 || int(n) > m.Pulses() {
				return Beats{}, fmt.Errorf("line %d: %q is no beat of a bar of %s: want 1 to %d", i+1, short(fields[1]), m, m.Pulses())
			}
			if b.First < 0 && n == 1 {
				b.First = len(b.At)
			}
		}
		b.At = append(b.At, at)
	}
	if len(b.At) < 2 {
		return Beats{}, fmt.Errorf("%d beats: want at least two, one a line, in seconds", len(b.At))
	}
	b.First = max(0, b.First)
	return b, nil
}

func short(s string) string {
	if r := []rune(s); len(r) > 20 {
		return string(r[:20]) + "…"
	}
	return s
}

// Steady are beats in a tempo, in beats a minute, from a first one on, which begins a
// bar, to the end of a song.
func Steady(m theory.Meter, tempo, first, end float64) Beats {
	b := Beats{Meter: m}
	for i := 0; len(b.At) < 2 || len(b.At) < MaxBeats && b.At[i-1] < end; i++ {
		b.At = append(b.At, first+float64(i)*60/tempo)
	}
	return b
}

// smoothing is how many taps on either side of one say where it was meant.
const smoothing = 2

// Tapped are beats that a person tapped. The first begins a bar. A tap that is much
// nearer to the one before than usual is a slip of the finger and left out; where one
// or more are missing they are put in; and since a hand is some hundredths of a second
// early or late, each is moved to where its neighbours expect it.
func Tapped(m theory.Meter, taps []float64) (Beats, error) {
	b := Beats{Meter: m}
	var steps []float64
	for i := 1; i < len(taps); i++ {
		steps = append(steps, taps[i]-taps[i-1])
	}
	if len(steps) < 2 {
		return b, fmt.Errorf("%d taps: want at least three", len(taps))
	}
	usual := quantile(steps, 0.5)
	if usual < leastBeat || usual > mostBeat {
		return b, fmt.Errorf("%.0f taps a minute: want %.0f to %.0f", 60/usual, MinTempo, MaxTempo)
	}
	for i, at := range taps {
		if i > 0 {
			last := b.At[len(b.At)-1]
			step := at - last
			if step < 0.5*usual {
				continue
			}
			usual += 0.2 * (min(max(step, 0.7*usual), 1.4*usual) - usual) // the tempo may change
			if n := int(math.Round(step / usual)); n > 1 && len(b.At)+n < MaxBeats {
				for k := 1; k < n; k++ {
					b.At = append(b.At, last+step*float64(k)/float64(n))
				}
			}
		}
		b.At = append(b.At, at)
	}
	b.At = smooth(b.At)
	return b, nil
}

// smooth moves each time onto the straight line through its neighbours.
func smooth(at []float64) []float64 {
	out := make([]float64, len(at))
	for i := range at {
		from, to := max(0, i-smoothing), min(len(at)-1, i+smoothing)
		n, sx, sy, sxx, sxy := 0.0, 0.0, 0.0, 0.0, 0.0
		for j := from; j <= to; j++ {
			x := float64(j - i)
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+at[j], sxx+x*x, sxy+x*at[j]
		}
		slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
		out[i] = (sy - slope*sx) / n
	}
	return out
}

// Tempo is the usual tempo in beats a minute.
func (b Beats) Tempo() float64 { return 60 / b.usual() }

func (b Beats) usual() float64 {
	var steps []float64
	for i := 1; i < len(b.At); i++ {
		steps = append(steps, b.At[i]-b.At[i-1])
	}
	return quantile(steps, 0.5)
}

// position is where a time lies, in beats counted from First; beyond the beats that are
// known they go on in the usual tempo.
func (b Beats) position(t float64) float64 {
	n := len(b.At) - 1
	switch {
	case t <= b.At[0]:
		return (t-b.At[0])/b.usual() - float64(b.First)
	case t >= b.At[n]:
		return (t-b.At[n])/b.usual() + float64(n-b.First)
	}
	low, high := 0, n
	for high-low > 1 {
		if mid := (low + high) / 2; b.At[mid] <= t {
			low = mid
		} else {
			high = mid
		}
	}
	return float64(low-b.First) + (t-b.At[low])/(b.At[high]-b.At[low])
}
