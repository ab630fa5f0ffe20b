package synth

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"singback/theory"
)

// Groove is what a band plays in every bar: a pattern of kick, snare, hats, bass and
// chords over a grid of equal steps.
type Groove struct {
	Name  string
	Meter theory.Meter
	Tempo float64 // beats (Meter.Pulse) a minute, where nothing else says one
	// Swing tells that the second half of each beat comes late: by as much as the tempo
	// says (SwingRatio), or in a meter of dotted beats, by the notation, as the last third.
	Swing bool
	// lanes have a sign for every step of a bar: kick, snare and hats x, o softly; the bass
	// r for the chord's own, t for its third, f for its fifth, l for what leads to the next
	// one; chords x. A dot is none.
	lanes [lanes]string
}

const (
	kickLane = iota
	snareLane
	hatLane
	bassLane
	chordLane
	lanes
)

// grooves are the usual patterns of a band in church and beyond it (common practice).
var grooves = []Groove{
	{Name: "straight", Meter: theory.Meter{Beats: 4, Unit: 4}, Tempo: 96, lanes: [lanes]string{
		"x...x...", "..x...x.", "xoxoxoxo", "r..rf..l", "x...x..."}},
	{Name: "ballad", Meter: theory.Meter{Beats: 4, Unit: 4}, Tempo: 68, lanes: [lanes]string{
		"x......xx.......", "....x.......x...", "xoooxoooxoooxooo", "r......rr.......", "x.......x......."}},
	{Name: "half-time", Meter: theory.Meter{Beats: 4, Unit: 4}, Tempo: 72, lanes: [lanes]string{
		"x.......", "....x...", "xoxoxoxo", "r.....l.", "x......."}},
	{Name: "swing", Meter: theory.Meter{Beats: 4, Unit: 4}, Tempo: 132, Swing: true, lanes: [lanes]string{
		"x...x...", "..x...x.", "xoxoxoxo", "r.t.f.l.", "x..x...."}},
	{Name: "waltz", Meter: theory.Meter{Beats: 3, Unit: 4}, Tempo: 96, lanes: [lanes]string{
		"x..", ".oo", "...", "r..", ".xx"}},
	{Name: "six-eight", Meter: theory.Meter{Beats: 6, Unit: 8}, Tempo: 60, lanes: [lanes]string{
		"x.....", "...x..", "xooxoo", "r..f.l", "x..x.."}},
	{Name: "gospel", Meter: theory.Meter{Beats: 12, Unit: 8}, Tempo: 66, Swing: true, lanes: [lanes]string{
		"x.....x.....", "...x.....x..", "xooxooxooxoo", "r..t..f..l..", "x....xx....x"}},
	{Name: "praise", Meter: theory.Meter{Beats: 4, Unit: 4}, Tempo: 160, lanes: [lanes]string{
		"x.x.x.x.", ".x.x.x.x", "........", "r.t.f.l.", ".x.x.x.x"}},
}

// GrooveNames returns the names that ParseGroove reads.
func GrooveNames() (names []string) {
	for _, g := range grooves {
		names = append(names, g.Name)
	}
	return names
}

// ErrGroove is wrapped by the error about a groove that could not be read.
var ErrGroove = errors.New("not a groove")

// ParseGroove reads a name of GrooveNames, in any case.
func ParseGroove(name string) (*Groove, error) {
	for i := range grooves {
		if strings.EqualFold(strings.TrimSpace(name), grooves[i].Name) {
			return &grooves[i], nil
		}
	}
	return nil, fmt.Errorf("%w: %q; want %s", ErrGroove, name, strings.Join(GrooveNames(), ", "))
}

// For returns the groove for a meter: itself where its beats are as many and of the kind;
// with half of its bar in two beats of four; 12/8 over four plain beats, which it swings;
// or else the first one of that meter. False where there is none.
func (g *Groove) For(m theory.Meter) (*Groove, bool) {
	if g.fits(m) {
		return g, true
	}
	if m.Pulses() == 2 && !m.Compound() {
		half := grooves[0]
		if g.Meter.Pulses() == 4 {
			half = *g
		}
		half.Meter = m
		for i, lane := range half.lanes {
			half.lanes[i] = lane[:len(lane)/2]
		}
		return &half, true
	}
	for i := range grooves {
		if grooves[i].fits(m) {
			return &grooves[i], true
		}
	}
	return g, false
}

// fits reports whether its beats are as many as a meter has, and of the kind.
func (g *Groove) fits(m theory.Meter) bool {
	n := g.Meter.Pulses()
	return n == m.Pulses() && (g.Meter.Compound() == m.Compound() || n == 4 && !m.Compound())
}

// Beats is how many beats are counted in its bar.
func (g *Groove) Beats() int { return g.Meter.Pulses() }

// SwingRatio returns how much longer the first half of a swung beat is than the second at
// a tempo in beats a minute: 3.5 up to 120, falling evenly to 1 at 300, so that the short
// note stays near a tenth of a second: what Friberg and Sundström (2002) measured at
// drummers' cymbals. Where a line is swung it is 2, as a triplet is written: soloists swing
// less.
func SwingRatio(tempo float64) float64 {
	return min(3.5, max(1, 3.5-2.5*(tempo-120)/180))
}

// at returns where a step lies in its bar, in beats.
func (g *Groove) at(step, steps int, tempo float64) float64 {
	at := float64(step) * float64(g.Beats()) / float64(steps)
	if !g.Swing || g.Meter.Compound() {
		return at
	}
	r := SwingRatio(tempo)
	whole := math.Floor(at)
	late := r / (1 + r)
	if at -= whole; at < 0.5 {
		return whole + 2*late*at
	}
	return whole + late + 2*(1-late)*(at-0.5)
}

// Onset is something that a groove has played in a bar: kick, snare, hat, bass or chord.
type Onset struct {
	What  string
	Beat  float64 // from 1, as musicians count
	Sign  byte
	Later bool // than a written step: swung
}

// Onsets lists what is played in a bar at a tempo, lane by lane in order of time.
func (g *Groove) Onsets(tempo float64) (out []Onset) {
	for i, lane := range g.lanes {
		for step := range len(lane) {
			if lane[step] != '.' {
				at := g.at(step, len(lane), tempo)
				out = append(out, Onset{
					What: [...]string{"kick", "snare", "hat", "bass", "chord"}[i], Beat: 1 + at, Sign: lane[step],
					Later: at > float64(step)*float64(g.Beats())/float64(len(lane))+1e-9,
				})
			}
		}
	}
	return out
}
