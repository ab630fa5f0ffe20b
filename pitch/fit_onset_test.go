package pitch

import (
	"flag"
	"math"
	"os"
	"slices"
	"testing"

	"singback/internal/testkit/training"
)

// The onset and the place model are fitted on real singing: on the sight-singing
// recordings of the reference data, which are not in the repository, and the onsets that
// annotators marked in them.
//
// First the place: the frame nearest to the marked onset is right, of those about the
// peak of the flux that is nearest to it. In some recordings all marks lie 20 to 35 ms
// later than in others, against all that is heard. So a recording has a shift of its own,
// the median of what the model leaves, and the model is fitted on the rest; the mean of
// the shifts stays in it.
//
// Then the onset: an example is a peak of the flux. It is right where its place is the
// nearest one to a marked onset, within onsetNear, and wrong elsewhere.
//
// What is chosen here, and in place.go and note.go, was chosen by fitting on one half of
// the recordings and trying on the other (every second one of the table, and in six parts
// of four neighbours, who may be one singer): TestNotesOfOtherSingers does that.

const (
	// onsetNear is what two notes are compared with, in seconds. Of 0.04 to 0.10 all find
	// the marked onsets with an F that differs by 0.003 at most.
	onsetNear = 0.050
	// peakNear is how far, in seconds, a peak may be from a mark less peakLeads.
	peakNear, peakLeads = 0.120, 0.030
	// placeRidge and onsetRidge: of 1e-5, 1e-4 and 1e-3, tried on the other half.
	placeRidge, onsetRidge = 1e-5, 1e-3
	shiftRounds            = 4
	never                  = -100 // the feature of no place at all: people marked one
)

// judgedPeak is a peak of the flux.
type judgedPeak struct {
	at     float64     // s
	x      []float32   // what the onset model knows of it
	places [][]float32 // and what the place model knows of the places about it
	note   int         // whose mark is nearest, −1 none
}

// heardPeaks are the peaks of a clip and the onsets marked in it.
type heardPeaks struct {
	peaks []judgedPeak
	marks []float64 // s
	shift float64   // s that its marks are later than the model says
}

// onsetExamples reads a clip.
func onsetExamples(c *training.Clip) (h heardPeaks, err error) {
	cfg := DefaultConfig(c.Rate)
	cfg.Known, cfg.Reading = c.Known, Offline
	tr, err := NewTracker(cfg)
	if err != nil {
		return h, err
	}
	return hearMarks(cfg, tr.Flush(tr.Push(nil, c.X)), c.Notes), nil
}

// hearMarks are the peaks in points, and the marks that are nearest.
func hearMarks(cfg Config, points []Point, notes []training.Note) (h heardPeaks) {
	h.peaks = judged(cfg, points)
	for _, n := range notes {
		h.marks = append(h.marks, n.On)
	}
	at := make([]float64, len(h.peaks))
	for i, p := range h.peaks {
		at[i] = p.at + peakLeads
	}
	for i, note := range marked(at, h.marks, peakNear) {
		h.peaks[i].note = note
	}
	return h
}

// judged are the peaks that a finder judges, with the places about them.
func judged(cfg Config, points []Point) (out []judgedPeak) {
	o := NewOnsetFinder(cfg)
	var waiting []int64
	push := func(p *Point) {
		o.push(nil, p)
		if k := o.n - 1 - onsetAfter; k >= 2 && o.isPeak(k) {
			o.judge(k) // fills o.x
			p := judgedPeak{at: float64(k) * o.seconds}
			for _, v := range o.x {
				p.x = append(p.x, float32(v))
			}
			out, waiting = append(out, p), append(waiting, k)
		}
		for len(waiting) > 0 && waiting[0]+placeSoon <= o.n {
			p := &out[len(out)-len(waiting)]
			for j := range numPlaces {
				o.describePlace(waiting[0], j, &o.here)
				x := make([]float32, numPlace)
				for i, v := range o.here {
					x[i] = float32(v)
				}
				p.places = append(p.places, x)
			}
			waiting = waiting[1:]
		}
	}
	for i := range points {
		push(&points[i])
	}
	quiet := Point{Level: MinLevel}
	for len(waiting) > 0 {
		push(&quiet)
	}
	return out
}

// marked pairs places with marks, the nearest first, each with one at most, and tells the
// mark of each place, −1 for none.
func marked(at, marks []float64, near float64) []int {
	of, taken := make([]int, len(at)), make([]bool, len(marks))
	for i := range of {
		of[i] = -1
	}
	for {
		place, mark, least := -1, -1, near
		for i, t := range at {
			for j, m := range marks {
				if d := math.Abs(t - m); of[i] < 0 && !taken[j] && d < least {
					place, mark, least = i, j, d
				}
			}
		}
		if place < 0 {
			return of
		}
		of[place], taken[mark] = mark, true
	}
}

// placeOf is where the place model w puts the onset of a peak, in seconds.
func (p *judgedPeak) placeOf(w []float64, seconds float64) float64 {
	var z [numPlaces]float64
	for j, x := range p.places {
		for i, v := range x {
			z[j] += w[i] * float64(v)
		}
	}
	return p.at + (placeFrom+middlePlace(&z))*seconds
}

// fitPlaces fits the place model, and leaves the shift of each clip.
func fitPlaces(set []heardPeaks, seconds, ridge float64) (w []float64, examples int) {
	for round := range shiftRounds {
		var all []training.Choice
		for _, h := range set {
			for _, p := range h.peaks {
				if p.note < 0 {
					continue
				}
				right := int(math.Round((h.marks[p.note]-h.shift-p.at)/seconds)) - placeFrom
				if right >= 0 && right < numPlaces {
					all = append(all, training.Choice{Options: p.places, None: []float32{never}, Right: right})
				}
			}
		}
		w, _ = training.Fit(all, ridge)
		examples = len(all)
		if round == shiftRounds-1 {
			break
		}
		mean, n := 0.0, 0.0
		for i := range set {
			h := &set[i]
			var left []float64
			for _, p := range h.peaks {
				if p.note >= 0 {
					left = append(left, h.marks[p.note]-p.placeOf(w, seconds))
				}
			}
			if len(left) > 0 {
				slices.Sort(left)
				h.shift = left[len(left)/2]
				mean, n = mean+h.shift, n+1
			}
		}
		for i := range set {
			set[i].shift -= mean / math.Max(1, n)
		}
	}
	return w, examples
}

// onsetChoices are the examples of the onset model, their places by the place model w.
func onsetChoices(set []heardPeaks, w []float64, seconds float64) (all []training.Choice) {
	for _, h := range set {
		at := make([]float64, len(h.peaks))
		for i := range h.peaks {
			at[i] = h.peaks[i].placeOf(w, seconds)
		}
		for i, mark := range marked(at, h.marks, onsetNear) {
			c := training.Choice{Options: [][]float32{h.peaks[i].x}, Right: -1}
			if mark >= 0 {
				c.Right = 0
			}
			all = append(all, c)
		}
	}
	return all
}

// fitOnsets fits both models on clips, read with the frame model that is in place, and
// returns the file.
func fitOnsets(t *testing.T, set []making, ridge float64) []byte {
	place, onset, peaks := fitHeard(t, hearPeaks(t, set), max(ridge, placeRidge), max(ridge, onsetRidge))
	return weightsFile(t, "onset", peaks, "peaks of the flux",
		list{"onsetWeights", "numOnset", onset}, list{"placeWeights", "numPlace", place})
}

// hearPeaks reads clips.
func hearPeaks(t *testing.T, set []making) []heardPeaks {
	each := make([]heardPeaks, len(set))
	errs := make([]error, len(set))
	atOnce(len(set), func(i int) { each[i], errs[i] = onsetExamples(set[i]()) })
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	return each
}

func fitHeard(t *testing.T, set []heardPeaks, placeRidge, onsetRidge float64) (place, onset []float64, peaks int) {
	const seconds = .01 // a frame
	place, places := fitPlaces(set, seconds, placeRidge)
	rounded(place)
	all := onsetChoices(set, place, seconds)
	onset, _ = training.Fit(all, onsetRidge)
	rounded(onset)
	loss, wrong := training.Loss(all, onset, nil)
	t.Logf("%d places; %d peaks; loss %.5f, wrong %.3f %%", places, len(all), loss, 100*wrong)
	return place, onset, len(all)
}

// fitRecordings is what the onset model is fitted on, nil where the reference
// data are not at hand.
func fitRecordings(t *testing.T) (set []making) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		return nil
	}
	clips, err := training.Recordings(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range clips {
		set = append(set, func() *training.Clip { return c })
	}
	return set
}

var fitOnsetsOnly = flag.Bool("fit-onsets", false, "fit the onset and place models anew, read with the frame model that is in place, and write weights_onset.go")

// TestFitOnsetWeights is the last part of TestFitWeights by itself.
func TestFitOnsetWeights(t *testing.T) {
	if !*fitOnsetsOnly {
		t.Skip("fits and writes weights_onset.go only with -fit-onsets")
	}
	set := fitRecordings(t)
	if set == nil {
		t.Fatal("SINGBACK_REFERENCE does not name the folder with the sight-singing recordings")
	}
	if err := os.WriteFile("weights_onset.go", fitOnsets(t, set, training.Ridge), 0o666); err != nil {
		t.Fatal(err)
	}
}
