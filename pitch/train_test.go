package pitch

import (
	"bytes"
	"flag"
	"fmt"
	"go/format"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"singback/internal/testkit/training"
)

type example struct {
	n     int
	x     [maxCand][numFeat]float32
	z     [numFrame]float32
	right int // -1 unvoiced
}

var fit = flag.String("fit", "", "fit the weights of the frame model anew and write them: offline or live")

// TestFitWeights fits the multinomial logistic model that says how likely each
// candidate of a frame, and none of them, is: by Adam, from the present weights
// on, with the mean of the last three epochs, on the sounds of package training.
// It writes weights.go or weights_live.go only if asked to.
func TestFitWeights(t *testing.T) {
	if *fit != "offline" && *fit != "live" {
		t.Skip("fits the weights anew only with -fit offline or -fit live")
	}
	var ex []example
	missed, voiced := map[string]int{}, map[string]int{}
	add := func(c *training.Clip) {
		cfg := DefaultConfig(c.Rate)
		cfg.Known = c.Known
		if *fit == "live" {
			cfg.Reading = Live
		}
		tr, err := NewTracker(cfg)
		if err != nil {
			t.Fatal(err)
		}
		tr.hook = func(k int64, fr *frame, e *evidence) {
			ts := float64(k*int64(cfg.Hop)) / float64(c.Rate)
			f := c.At(ts)
			// leave out the frames around an edge of voicing
			a, b := c.At(ts-.008), c.At(ts+.008)
			if cfg.Reading == Live {
				a, b = c.At(ts-.004), f
			}
			if f < 0 || a < 0 || b < 0 || (f > 0) != (a > 0) || (f > 0) != (b > 0) {
				return
			}
			x := example{n: fr.n, right: -1}
			if f > 0 {
				voiced[c.Name]++
				bd := 60.0
				for i := 0; i < fr.n; i++ {
					if d := math.Abs(1200 * math.Log2(fr.c[i].f/f)); d < bd {
						bd = d
						x.right = i
					}
				}
				if x.right < 0 {
					missed[c.Name]++
					return
				}
			}
			for i := 0; i < fr.n; i++ {
				for j := range x.x[i] {
					x.x[i][j] = float32(e.feat[i][j])
				}
			}
			for j := range x.z {
				x.z[j] = float32(e.ffeat[j])
			}
			ex = append(ex, x)
		}
		tr.Flush(tr.Push(nil, c.X))
	}
	for _, cond := range training.Conditions {
		n := uint64(12)
		switch cond {
		case "room":
			n = 28
		case "drone", "high", "bright":
			n = 30
		}
		for s := uint64(0); s < n; s++ {
			if cond == "nobody-talker" || cond[:3] == "nob" && s > 8 {
				continue
			}
			rate := []int{44100, 48000, 22050, 16000, 44100, 8000}[s%6]
			add(training.Make(cond, s+10, rate, 6))
		}
	}
	for _, kind := range training.Tones {
		n := uint64(15)
		if kind == "second" || kind == "peak" {
			n = 40
		}
		for s := uint64(0); s < n; s++ {
			rate := []int{44100, 8000, 22050, 16000, 48000}[s%5]
			add(training.MakeTone(kind, s+10, rate, 5))
		}
	}
	for s := uint64(0); s < 14; s++ {
		rate := []int{44100, 48000, 22050, 16000, 44100, 8000}[s%6]
		add(training.MakePrompt(s+10, rate, 6))
	}
	for i := 0; i < 24; i++ {
		f := 65 * math.Exp2(4*float64(i)/23)
		for _, snr := range []float64{math.Inf(1), 20, 10, 0} {
			add(training.Steady(f, snr, uint64(i), 44100, .1, .6))
		}
	}
	for _, c := range training.Conditions {
		if voiced[c] > 0 {
			t.Logf("%s: no right candidate %.2f %%", c, 100*float64(missed[c])/float64(voiced[c]))
		}
	}
	t.Log(len(ex), "examples")
	// Adam
	const P = numFeat + numFrame
	var w, m1, m2 [P]float64
	copy(w[:], candWeights[:])
	copy(w[numFeat:], frameWeights[:])
	r := rand.New(rand.NewPCG(1, 2))
	step := 0
	var mean [P]float64
	means := 0.0
	for epoch := 0; epoch < 10; epoch++ {
		r.Shuffle(len(ex), func(i, j int) { ex[i], ex[j] = ex[j], ex[i] })
		loss, bad := 0.0, 0
		var g [P]float64
		for i := range ex {
			x := &ex[i]
			var l [maxCand + 1]float64
			u := 0.0
			for j, z := range x.z {
				u += w[numFeat+j] * float64(z)
			}
			l[x.n] = u
			mx, arg := u, -1
			for q := 0; q < x.n; q++ {
				for j, v := range x.x[q] {
					l[q] += w[j] * float64(v)
				}
				if l[q] > mx {
					mx, arg = l[q], q
				}
			}
			s := 0.0
			for q := 0; q <= x.n; q++ {
				l[q] = math.Exp(l[q] - mx)
				s += l[q]
			}
			rt := x.right
			if rt < 0 {
				rt = x.n
			}
			loss -= math.Log(l[rt]/s + 1e-12)
			if arg != x.right {
				bad++
			}
			for q := 0; q <= x.n; q++ {
				d := l[q] / s
				if q == rt {
					d--
				}
				if q == x.n {
					for j, z := range x.z {
						g[numFeat+j] += d * float64(z)
					}
				} else {
					for j, v := range x.x[q] {
						g[j] += d * float64(v)
					}
				}
			}
			if i%32 == 31 {
				step++
				lr := .03 / (1 + float64(epoch))
				for j := range g {
					gr := g[j]/32 + 1e-5*w[j]
					m1[j] = .9*m1[j] + .1*gr
					m2[j] = .999*m2[j] + .001*gr*gr
					w[j] -= lr * m1[j] / (1 - math.Pow(.9, float64(step))) / (math.Sqrt(m2[j]/(1-math.Pow(.999, float64(step)))) + 1e-8)
				}
				g = [P]float64{}
				if epoch >= 7 {
					means++
					for j := range mean {
						mean[j] += (w[j] - mean[j]) / means
					}
				}
			}
		}
		t.Logf("epoch %d loss %.4f wrong %.2f %%", epoch, loss/float64(len(ex)), 100*float64(bad)/float64(len(ex)))
	}
	w = mean
	name, suffix := "weights.go", ""
	if *fit == "live" {
		name, suffix = "weights_live.go", "Live"
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "package pitch\n\n// Fitted by TestFitWeights on %d frames; do not edit.\n\n", len(ex))
	for _, list := range []struct {
		name, size string
		w          []float64
	}{{"candWeights", "numFeat", w[:numFeat]}, {"frameWeights", "numFrame", w[numFeat:]}} {
		fmt.Fprintf(&b, "var %s%s = [%s]float64{", list.name, suffix, list.size)
		for i, v := range list.w {
			if i%10 == 0 {
				b.WriteString("\n\t")
			} else {
				b.WriteByte(' ')
			}
			fmt.Fprintf(&b, "%.4f,", v)
		}
		b.WriteString("\n}\n\n")
	}
	text, err := format.Source(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, text, 0o666); err != nil {
		t.Fatal(err)
	}
}
