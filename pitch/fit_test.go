package pitch

import (
	"bytes"
	"flag"
	"fmt"
	"go/format"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"testing"

	"singback/internal/testkit/training"
)

var (
	fit       = flag.Bool("fit", false, "fit all weights anew and write them to weights.go, weights_live.go and weights_onset.go")
	updateFit = flag.Bool("update-fit", false, "renew testdata/fit")
)

// Where the weights come from.
//
// The frame model, once for the readings Settled and Offline and once for Live,
// is fitted on the sounds of package training. A frame's candidates are partly
// where the best paths were before, so they depend on weights. Therefore
// fitting has stages: the first has weights of zero on the paths, each of the
// others those of the stage before, and each fits from zero on the candidates it
// finds (training.Fit has one minimum). What comes out depends on the code and
// the sounds alone, never on the weights that were there before. The last stage
// is fitted on all clips, those before it on every fourth.

const (
	stages = 3
	fourth = 4
)

// making makes one clip of the training set.
type making func() *training.Clip

// fitClips is the training set: melodies under each condition (more of those
// that were hard), test tones, the program's own sound, and steady notes.
func fitClips() (set []making) {
	rates := []int{44100, 48000, 22050, 16000, 44100, 8000}
	for _, cond := range training.Conditions {
		n := uint64(12)
		switch cond {
		case "room":
			n = 28
		case "drone", "high", "bright", "gate":
			n = 30
		case "nobody-talker": // a voice
			n = 0
		case "nobody-room", "nobody-hum", "nobody-breath", "nobody-typing", "nobody-prompt", "nobody-gate":
			n = 9
		}
		for s := range n {
			set = append(set, func() *training.Clip { return training.Make(cond, s+10, rates[s%6], 6) })
		}
	}
	for _, kind := range training.Tones {
		n := uint64(15)
		if kind == "second" || kind == "peak" {
			n = 40
		}
		for s := range n {
			rate := []int{44100, 8000, 22050, 16000, 48000}[s%5]
			set = append(set, func() *training.Clip { return training.MakeTone(kind, s+10, rate, 5) })
		}
	}
	for s := range uint64(14) {
		set = append(set, func() *training.Clip { return training.MakePrompt(s+10, rates[s%6], 6) })
	}
	for i := range 24 {
		f := 65 * math.Exp2(4*float64(i)/23)
		for _, snr := range []float64{math.Inf(1), 20, 10, 0} {
			set = append(set, func() *training.Clip { return training.Steady(f, snr, uint64(i), 44100, .1, .6) })
		}
	}
	return set
}

// gathered is what one clip, or all of them, give to learn from.
type gathered struct {
	examples       []training.Choice
	voiced, missed int // frames with a voice, and those of them without a right candidate
}

// gather reads the clips with the weights that are in place, a clip on each
// processor, and puts their frames in the order of the clips.
func gather(t *testing.T, set []making, reading Reading) gathered {
	each := make([]gathered, len(set))
	errs := make([]error, len(set))
	atOnce(len(set), func(i int) { each[i], errs[i] = gatherClip(set[i](), reading) })
	var all gathered
	for i, g := range each {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		all.examples = append(all.examples, g.examples...)
		all.voiced += g.voiced
		all.missed += g.missed
	}
	return all
}

// atOnce calls f for 0 to n−1, as many at once as there are processors.
func atOnce(n int, f func(i int)) {
	var wait sync.WaitGroup
	turn := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range n {
		turn <- struct{}{}
		wait.Go(func() {
			defer func() { <-turn }()
			f(i)
		})
	}
	wait.Wait()
}

func gatherClip(c *training.Clip, reading Reading) (g gathered, err error) {
	cfg := DefaultConfig(c.Rate)
	cfg.Known, cfg.Reading = c.Known, reading
	tr, err := NewTracker(cfg)
	if err != nil {
		return g, err
	}
	tr.hook = func(k int64, fr *frame, e *evidence) {
		at := float64(k*int64(cfg.Hop)) / float64(c.Rate)
		f := c.At(at)
		// The frames around an edge of voicing are left out.
		near := .008
		if reading == Live {
			near = .004
		}
		if slices.ContainsFunc(c.Cuts, func(cut float64) bool { return math.Abs(at-cut) < near }) {
			near = .001
		}
		before, after := c.At(at-near), c.At(at+near)
		if reading == Live {
			after = f
		}
		if f < 0 || before < 0 || after < 0 || (f > 0) != (before > 0) || (f > 0) != (after > 0) {
			return
		}
		right := -1
		if f > 0 {
			g.voiced++
			if right = nearest(fr, f); right < 0 {
				g.missed++
				return
			}
		}
		block := make([]float32, 0, fr.n*numFeat+numFrame)
		x := training.Choice{Right: right, Options: make([][]float32, fr.n)}
		for i := range fr.n {
			for _, v := range e.feat[i] {
				block = append(block, float32(v))
			}
			x.Options[i] = block[i*numFeat : (i+1)*numFeat]
		}
		for _, v := range e.ffeat {
			block = append(block, float32(v))
		}
		x.None = block[fr.n*numFeat:]
		g.examples = append(g.examples, x)
	}
	tr.Flush(tr.Push(nil, c.X))
	return g, nil
}

// nearest is the candidate nearest to f hertz, within 60 cents; −1 if none is.
func nearest(fr *frame, f float64) int {
	right, least := -1, 60.0
	for i := range fr.n {
		if d := math.Abs(1200 * math.Log2(fr.c[i].f/f)); d < least {
			right, least = i, d
		}
	}
	return right
}

// inPlace puts weights of the frame model in their place.
func inPlace(reading Reading, cand, none []float64) {
	if reading == Live {
		copy(candWeightsLive[:], cand)
		copy(frameWeightsLive[:], none)
		return
	}
	copy(candWeights[:], cand)
	copy(frameWeights[:], none)
}

// keepWeights puts the weights that are in place now back when the test ends.
func keepWeights(t *testing.T) {
	a, b, c, d := candWeights, frameWeights, candWeightsLive, frameWeightsLive
	t.Cleanup(func() { candWeights, frameWeights, candWeightsLive, frameWeightsLive = a, b, c, d })
}

// fitFrames fits the frame model of a reading on the clips, leaves what it
// found in its place, rounded as it is written, and returns the file.
func fitFrames(t *testing.T, set []making, reading Reading, ridge float64) []byte {
	inPlace(reading, make([]float64, numFeat), make([]float64, numFrame))
	suffix := ""
	if reading == Live {
		suffix = "Live"
	}
	var frames int
	var cand, none []float64
	for stage := range stages {
		g := gather(t, some(set, stage), reading)
		frames = len(g.examples)
		cand, none = training.Fit(g.examples, ridge)
		rounded(cand)
		rounded(none)
		inPlace(reading, cand, none)
		loss, wrong := training.Loss(g.examples, cand, none)
		t.Logf("stage %d: %d frames, %.2f %% of those with a voice have no right candidate; loss %.5f, wrong %.3f %%",
			stage+1, frames, 100*float64(g.missed)/float64(g.voiced), loss, 100*wrong)
	}
	return weightsFile(t, "frame", frames, "frames",
		list{"candWeights" + suffix, "numFeat", cand}, list{"frameWeights" + suffix, "numFrame", none})
}

// some is what a stage is fitted on.
func some(set []making, stage int) []making {
	if stage == stages-1 {
		return set
	}
	var out []making
	for i := 0; i < len(set); i += fourth {
		out = append(out, set[i])
	}
	return out
}

// rounded rounds to what a file of weights says.
func rounded(w []float64) {
	for i, v := range w {
		w[i] = math.Round(v*1e4) / 1e4
	}
}

type list struct {
	name, size string
	w          []float64
}

// weightsFile is Go source with the weights of a model.
func weightsFile(t *testing.T, model string, examples int, of string, lists ...list) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "package pitch\n\n// The %s model, fitted by make weights on %d %s; do not edit.\n\n", model, examples, of)
	for _, l := range lists {
		fmt.Fprintf(&b, "var %s = [%s]float64{", l.name, l.size)
		for i, v := range l.w {
			if i%10 == 0 {
				b.WriteString("\n\t")
			} else {
				b.WriteByte(' ')
			}
			fmt.Fprintf(&b, "%.4f,", v+0) // no negative zero
		}
		b.WriteString("\n}\n\n")
	}
	text, err := format.Source(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestFitWeights fits all weights anew and writes them, if asked to.
func TestFitWeights(t *testing.T) {
	if !*fit {
		t.Skip("fits and writes the weights only with -fit (make weights)")
	}
	keepWeights(t)
	write := func(file string, text []byte) {
		if err := os.WriteFile(file, text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	set := fitClips()
	t.Log("weights.go")
	write("weights.go", fitFrames(t, set, Offline, training.Ridge))
	t.Log("weights_live.go")
	write("weights_live.go", fitFrames(t, set, Live, training.Ridge))
	if recordings := fitRecordings(t); recordings != nil {
		t.Log("weights_onset.go") // reads with the new weights.go
		write("weights_onset.go", fitOnsets(t, recordings, training.Ridge))
	} else {
		t.Log("weights_onset.go is left as it is: its sight-singing recordings are not at hand (SINGBACK_REFERENCE is not set)")
	}
}

// A fit depends on the sounds and on the code alone: on no processor count and
// not on the weights that were there before; and it is what it was. The files
// are compared with testdata/fit, renewed with -update-fit.
//
// The ridge is larger than that of make weights: of so few examples, most
// directions are flat, and the digits that are written would hang on the last
// bits of the sums. With it they are the same where the compiler fuses products
// and sums (GOAMD64=v3; arm64 does so too).
func TestFitIsTheSameToTheByte(t *testing.T) {
	if raceDetector {
		t.Skip("much to compute, and clips share nothing: skipped under the race detector; the sums of training.Fit run under it")
	}
	keepWeights(t)
	var set, sung []making
	for i, cond := range []string{"clean", "noise10", "nobody-hum", "room", "drone", "nobody-room", "high", "breathy"} {
		set = append(set, func() *training.Clip { return training.Make(cond, uint64(10+i), 8000, 3) })
	}
	for i, kind := range []string{"sine", "saw", "low", "clicks"} {
		set = append(set, func() *training.Clip { return training.MakeTone(kind, uint64(10+i), 8000, 2) })
	}
	for i := range uint64(4) {
		sung = append(sung, func() *training.Clip { return training.Make("noise20", 20+i, 16000, 6) })
	}
	const ridge = 1e-2
	files := func(processors int, before float64) map[string][]byte {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		for i := range candWeights {
			candWeights[i], candWeightsLive[i] = before, before
		}
		return map[string][]byte{
			"offline": fitFrames(t, set, Offline, ridge),
			"live":    fitFrames(t, set, Live, ridge),
			"onset":   fitOnsets(t, sung, ridge),
		}
	}
	one, three := files(1, 0), files(3, 1)
	for _, name := range []string{"offline", "live", "onset"} {
		if !bytes.Equal(one[name], three[name]) {
			t.Errorf("%s: on one processor and on three, from other weights, the fit gives\n%s\nand\n%s", name, one[name], three[name])
		}
		golden := filepath.Join("testdata", "fit", name+".golden")
		if *updateFit {
			if err := os.WriteFile(golden, one[name], 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(one[name], want) {
			t.Errorf("%s: the fit gives\n%s\nwant (%s)\n%s", name, one[name], golden, want)
		}
	}
}
