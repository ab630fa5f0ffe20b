package pitch

import (
	"fmt"
	"math"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/hardset"
)

// A standard error covers 68 % of the errors, two cover 95 (of a Gaussian value): of
// frames on exactly steady notes and in vibrato, from clean to a voice as strong as the
// noise, for low and high voices, and of whole notes. Too wide is less of a fault than
// too narrow: of a note that is synthesised without any jitter all is known to a
// hundredth of a cent.
func TestStandardErrors(t *testing.T) {
	if raceDetector {
		t.Skip("one goroutine, much to compute: skipped under the race detector")
	}
	step := 4
	if testing.Short() {
		step = 8
	}
	type group struct {
		name   string
		n      int
		a, b   int // within one and two
		square float64
	}
	count := func(g *group, z float64) {
		g.n++
		if math.Abs(z) <= 1 {
			g.a++
		}
		if math.Abs(z) <= 2 {
			g.b++
		}
		g.square += z * z
	}
	part := func(n, of int) float64 { return 100 * float64(n) / float64(of) }
	notes := group{name: "notes"}
	for _, manner := range []hardset.Manner{hardset.Plain, hardset.Vibrato} {
		for _, snr := range []float64{math.Inf(1), 20, 10, 0} {
			bands := [2]group{{name: "under 220 Hz"}, {name: "over 220 Hz"}}
			for h := range hardset.Manners(hardset.Dev, manner, snr, step) {
				n := h.Notes[0]
				g := &bands[0]
				if n.Hz > 220 {
					g = &bands[1]
				}
				points := track(t, h.Item.Rate, h.Samples)
				for _, p := range points {
					at := float64(p.Index) / float64(h.Item.Rate)
					hz, counts := h.At(at)
					if p.Voiced && counts && at > n.Onset+.06 && at < n.Offset-.06 && math.Abs(testkit.Cents(p.F0, hz)) < 100 {
						count(g, testkit.Cents(p.F0, hz)/p.SE)
					}
				}
				if manner == hardset.Plain {
					found, err := Notes(DefaultConfig(h.Item.Rate), points)
					if err != nil {
						t.Fatal(err)
					}
					for _, f := range found {
						if f.Settled > 0 && math.Abs(testkit.Cents(f.F0, n.Hz)) < 100 {
							count(&notes, testkit.Cents(f.F0, n.Hz)/f.SE)
						}
					}
				}
			}
			for _, g := range bands {
				what := fmt.Sprintf("%s, %g dB, %s: %d frames, %.1f %% within one, %.1f %% within two", manner, snr, g.name, g.n, part(g.a, g.n), part(g.b, g.n))
				t.Log(what)
				if g.n < 100 || part(g.a, g.n) < 58 || part(g.b, g.n) < 89 || snr < 40 && part(g.a, g.n) > 88 {
					t.Errorf("%s, want 58 to 88 (more without noise) and at least 89", what)
				}
			}
		}
	}
	t.Logf("%d notes: %.1f %% within one, %.1f %% within two, RMS %.2f", notes.n, part(notes.a, notes.n), part(notes.b, notes.n), math.Sqrt(notes.square/float64(notes.n)))
	if notes.n < 10 || part(notes.a, notes.n) < 68 || part(notes.b, notes.n) < 93 {
		t.Errorf("%d notes: %.1f %% within one, %.1f %% within two, want at least 68 and 93", notes.n, part(notes.a, notes.n), part(notes.b, notes.n))
	}
}
