package engine

import (
	"math"
	"slices"
	"sort"
	"strings"

	"singback/exercise"
	"singback/internal/session"
	"singback/pitch"
	"singback/theory"
)

// picture is what a screen needs to draw how a note was sung. Heights are in cents above
// the tonic of the octave in which it was asked; what was sung in another octave is moved
// there.
type picture struct {
	Asked     string        `json:"asked"`
	Degrees   []rung        `json:"degrees"` // those in view, from below
	Target    float64       `json:"target"`  // of the asked degree
	Tolerance float64       `json:"tolerance"`
	Points    []*[2]float64 `json:"points"`   // seconds and cents; null: no pitch
	Measured  *[2]float64   `json:"measured"` // seconds, from and to; null: nothing was
	Pitch     *float64      `json:"pitch"`    // what was measured
	Note      string        `json:"note"`     // what it shows, in words
}

// rung is a degree on the ladder.
type rung struct {
	Name  string  `json:"name"`
	Cents float64 `json:"cents"`
}

// What of an answer is drawn: from so many seconds before its first voice, at most so
// long, and at most so far from what was asked.
const (
	pictureBefore  = 0.15
	pictureSeconds = 8.0
	pictureReach   = 1300.0
)

// picture draws an answer; nil where no voice was heard.
func (s *show) picture(ev session.Judged) *picture {
	rate := float64(ev.Take.SampleRate)
	if rate == 0 || len(ev.Curve) == 0 {
		return nil
	}
	first := slices.IndexFunc(ev.Curve, func(p pitch.Point) bool { return p.Voiced })
	if first < 0 {
		return nil
	}
	it := ev.Item
	tonic := it.Tuning.Hz(theory.Pitch{Note: it.Key.Tonic, Octave: it.Register.TonicOctave})
	// The pitch that is drawn where the asked one is: what was measured, or the middle
	// of what was heard.
	target := it.Tuning.Cents(it.Asked)
	cents := func(hz float64) float64 { return theory.CentsBetween(hz, tonic) }
	middle := cents(middleOf(ev.Curve))
	if ev.Take.Found {
		middle = cents(ev.Take.Note.F0)
	}
	shift := 1200 * math.Round((target-middle)/1200)
	out := &picture{
		Asked: s.run.Style.Asked(it), Target: tenth(target), Tolerance: ev.Tolerance.Cents,
		Points: []*[2]float64{}, Degrees: []rung{},
	}
	begin := float64(ev.Curve[first].Index)/rate - pictureBefore
	low, high := target-250, target+250
	gap := true
	for _, p := range ev.Curve[first:] {
		at := float64(p.Index)/rate - begin
		if at > pictureSeconds {
			break
		}
		c := 0.0
		if p.Voiced {
			c = cents(p.F0) + shift
		}
		if !p.Voiced || math.Abs(c-target) > pictureReach {
			if !gap {
				out.Points = append(out.Points, nil)
			}
			gap = true
			continue
		}
		gap = false
		low, high = min(low, c-60), max(high, c+60)
		out.Points = append(out.Points, &[2]float64{math.Round(100*at) / 100, tenth(c)})
	}
	if n := ev.Take.Note; ev.Take.Found && n.To > n.From {
		out.Measured = &[2]float64{math.Round(100*(float64(n.From)/rate-begin)) / 100, math.Round(100*(float64(n.To)/rate-begin)) / 100}
		c := tenth(cents(n.F0) + shift)
		out.Pitch = &c
	}
	out.Degrees = s.rungs(it, low, high)
	details := s.run.Style.Details(ev.Verdict)
	if ev.Verdict.HasSung && len(details) > 0 {
		details = details[1:] // the octave is not in the picture
	}
	out.Note = strings.Join(details, "; ")
	return out
}

// middleOf is the median pitch of the voiced points, in hertz.
func middleOf(points []pitch.Point) float64 {
	var hz []float64
	for _, p := range points {
		if p.Voiced {
			hz = append(hz, p.F0)
		}
	}
	slices.Sort(hz)
	return hz[len(hz)/2]
}

// rungs are the degrees of the key, and the one that is asked, between two heights.
func (s *show) rungs(it exercise.Item, low, high float64) []rung {
	degrees := it.Key.ScaleDegrees()
	all := slices.Clone(degrees[:])
	if !slices.Contains(all, it.Asked) {
		all = append(all, it.Asked)
	}
	var out []rung
	for _, d := range all {
		for octave := -2400.0; octave <= 2400; octave += 1200 {
			if c := it.Tuning.Cents(d) + octave; c >= low && c <= high {
				out = append(out, rung{s.run.Style.Degree(it.Key, d), tenth(c)})
			}
		}
	}
	compare := func(a, b rung) int {
		if a.Cents < b.Cents {
			return -1
		}
		return 1
	}
	sort.SliceStable(out, func(i, j int) bool { return compare(out[i], out[j]) < 0 })
	return out
}
