package pitch

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"singback/internal/testkit"
)

// testHop and testRate give points every 10 ms.
const (
	testRate = 44100
	testHop  = 441
)

// trackOf makes the points of a perfect tracker.
func trackOf(seconds float64, f testkit.Curve) []Point {
	points := make([]Point, int(math.Round(seconds*100)))
	for i := range points {
		points[i] = Point{Index: int64(i) * testHop, F0: f(float64(i) / 100), Voiced: true, Confidence: 1, Level: -20}
	}
	return points
}

func unvoice(points []Point, from, to int) {
	for i := from; i < to; i++ {
		points[i].Voiced, points[i].F0 = false, 0
	}
}

func notesOf(t testing.TB, points []Point) []Note {
	t.Helper()
	seg, err := NewSegmenter(DefaultConfig(testRate))
	if err != nil {
		t.Fatal(err)
	}
	notes := seg.Flush(seg.Push(nil, points))
	for _, n := range notes {
		checkNote(t, n)
	}
	return notes
}

// checkNote asserts what holds for every note whatever the points were.
func checkNote(t testing.TB, n Note) {
	t.Helper()
	for _, v := range []float64{n.F0, n.SE, n.Spread, n.Slope, n.Settle, n.Scoop, n.Fall, n.VibratoHz, n.VibratoCents, n.VibratoOnset, n.Settled, n.Near, n.Level, n.DecayDB, n.DecayFit, n.VoicedShare} {
		if v-v != 0 {
			t.Fatalf("a number is not finite: %+v", n)
		}
	}
	if n.Onset >= n.Offset || n.Onset > n.From || n.From >= n.To || n.To > n.Offset || n.F0 <= 0 || n.SE < 0 || n.Spread < 0 || n.Settle < 0 ||
		n.DecayFit < 0 || n.DecayFit > 1 || n.VoicedShare <= 0 || n.VoicedShare > 1 || n.Near < 0 || n.Near > 1 || n.Settled < 0 || n.VibratoOnset < 0 ||
		(n.VibratoHz != 0) != (n.VibratoCents != 0) || n.VibratoHz == 0 && n.VibratoOnset != 0 || n.VibratoHz != 0 && (n.VibratoHz < 4 || n.VibratoHz > 8 || n.VibratoCents < 15) {
		t.Fatalf("outside its range: %+v", n)
	}
}

func oneNote(t testing.TB, points []Point) Note {
	t.Helper()
	notes := notesOf(t, points)
	if len(notes) != 1 {
		t.Fatalf("%d notes, want 1: %+v", len(notes), notes)
	}
	return notes[0]
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.4g, want %.4g ± %.3g", what, got, want, tolerance)
	}
}

func TestSteadyNote(t *testing.T) {
	n := oneNote(t, trackOf(1, testkit.Steady(220)))
	if n.Onset != 0 || n.Offset != 100*testHop {
		t.Errorf("note from %d to %d, want 0 to %d", n.Onset, n.Offset, 100*testHop)
	}
	near(t, "F0", n.F0, 220, 1e-9)
	for what, v := range map[string]float64{"SE": n.SE - leastSE, "spread": n.Spread, "slope": n.Slope, "settle": n.Settle, "scoop": n.Scoop, "fall": n.Fall, "vibrato": n.VibratoHz} {
		near(t, what, v, 0, 1e-9)
	}
	near(t, "level", n.Level, -20, 1e-9)
	near(t, "voiced share", n.VoicedShare, 1, 0)
}

// The mean of a sine vibrato of ±70 c over n cycles is off by up to
// 70·|sin πn|/(πn): 14.9 c at 1.5 cycles, 8.9 at 2.5, 6.4 at 3.5 and 0 at whole
// n. The mean over whole cycles must stay clear of that at any length.
func TestVibratoMeanOverWholeCycles(t *testing.T) {
	const rate = 6.0
	for _, c := range []struct{ cycles, bias float64 }{{1.5, 14.9}, {2.5, 8.9}, {3.5, 6.4}, {2, 0}, {3, 0}} {
		var plain, whole float64
		for phase := 0.0; phase < 1; phase += 0.05 {
			steady := c.cycles / rate
			// 1 ms hops so that the length is what the table says.
			cfg := DefaultConfig(testRate)
			cfg.Hop = 44
			dt := 44.0 / testRate
			var points []Point
			var sum float64
			var n int
			drop := int(math.Round(0.120 / dt))
			total := int(math.Round(steady/dt)) + 2*drop
			for i := 0; i < total; i++ {
				cents := 70 * math.Sin(2*math.Pi*(rate*float64(i)*dt+phase))
				points = append(points, Point{Index: int64(i) * 44, F0: 220 * math.Exp2(cents/1200), Voiced: true, Level: -20})
				if i >= drop && i < total-drop {
					sum += cents
					n++
				}
			}
			plain = math.Max(plain, math.Abs(sum/float64(n)))
			notes, err := Notes(cfg, points)
			if err != nil || len(notes) != 1 {
				t.Fatalf("%g cycles: %d notes, %v", c.cycles, len(notes), err)
			}
			whole = math.Max(whole, math.Abs(testkit.Cents(notes[0].F0, 220)))
			near(t, "vibrato rate", notes[0].VibratoHz, rate, 0.05)
			near(t, "vibrato extent", notes[0].VibratoCents, 70, 0.5)
		}
		t.Logf("%g cycles: plain mean off by up to %.1f c, over whole cycles %.2f c", c.cycles, plain, whole)
		near(t, "bias of the plain mean", plain, c.bias, 0.35)
		if whole > 0.3 {
			t.Errorf("%g cycles: off by %.2f c, want ≤ 0.3", c.cycles, whole)
		}
	}
}

func TestVibratoNotes(t *testing.T) {
	for _, hz := range []float64{98, 220, 784} {
		for _, c := range []struct{ rate, extent, seconds float64 }{
			{6, 70, 1}, {5, 30, 1.2}, {7.5, 50, 0.8}, {4.2, 60, 1.5}, {5.5, 120, 1.5}, {6, 70, 0.6}, {6, 20, 1},
		} {
			x := testkit.Tone(testRate, c.seconds, testkit.Vibrato(hz, c.rate, c.extent), testkit.Vowel(hz, 30, 750, 1200, 2600))
			n := oneNote(t, track(t, testRate, x))
			e := testkit.Cents(n.F0, hz)
			t.Logf("%g Hz, %g Hz ±%g c, %g s: %+.2f c ± %.2f, vibrato %.2f Hz ±%.1f c, spread %.2f, settle %.2f", hz, c.rate, c.extent, c.seconds, e, n.SE, n.VibratoHz, n.VibratoCents, n.Spread, n.Settle)
			near(t, "pitch in cents", e, 0, 1.5)
			near(t, "vibrato rate", n.VibratoHz, c.rate, 0.1)
			near(t, "vibrato extent", n.VibratoCents, c.extent, 0.08*c.extent)
			near(t, "spread", n.Spread, 0, 4)
		}
	}
}

// Straight tone, then vibrato, as most trained voices sing: it is found where it
// is, and what is held is the whole of it. Two cycles are enough.
func TestVibratoThatSetsInLate(t *testing.T) {
	for _, onset := range []float64{0, 0.25, 0.5, 1} {
		for _, ramp := range []float64{0, 0.3, 0.6} {
			for _, extent := range []float64{20, 50, 90, 120} {
				for _, rate := range []float64{4.2, 5.5, 7.5} {
					f := func(s float64) float64 {
						grown := 1.0
						if ramp > 0 {
							grown = math.Min(1, math.Max(0, s-onset)/ramp)
						}
						if s < onset {
							grown = 0
						}
						return 220 * math.Exp2(extent*grown*math.Sin(2*math.Pi*rate*(s-onset))/1200)
					}
					n := oneNote(t, trackOf(onset+ramp+0.8, f))
					name := fmt.Sprintf("±%g c at %g Hz after %g s in %g s: ", extent, rate, onset, ramp)
					near(t, name+"pitch in cents", testkit.Cents(n.F0, 220), 0, 3)
					near(t, name+"spread", n.Spread, 0, 12)
					near(t, name+"rate", n.VibratoHz, rate, 0.35)
					near(t, name+"extent", n.VibratoCents, extent, 0.45*extent)
					near(t, name+"vibrato onset", n.VibratoOnset, onset+ramp*15/extent, 0.2)
					if n.Settled == 0 || n.Near < 0.99 {
						t.Errorf("%snot held: settled %.2f s, near %.2f", name, n.Settled, n.Near)
					}
				}
			}
		}
	}
}

// A slide before a note and a fall after it are neither its pitch nor its
// unsteadiness; how long they last is Settle's to say.
func TestSlideAndFall(t *testing.T) {
	for _, size := range []float64{-700, -350, -100, 100, 350, 640} {
		for _, seconds := range []float64{0.1, 0.35, 0.6} {
			for _, hold := range []float64{0.5, 1, 2} {
				before := testkit.Scoop(220, size, seconds)
				after := testkit.Then(testkit.Steady(220), hold, func(s float64) float64 { return 220 * math.Exp2(size*math.Min(1, s/seconds)/1200) })
				for what, points := range map[string][]Point{"slide": trackOf(seconds+hold, before), "fall": trackOf(hold+seconds, after)} {
					n := oneNote(t, points)
					name := fmt.Sprintf("%s of %g c in %g s, held %g s: ", what, size, seconds, hold)
					near(t, name+"pitch in cents", testkit.Cents(n.F0, 220), 0, 0.5)
					near(t, name+"spread", n.Spread, 0, 5)
					if n.Settled == 0 || n.Near < 0.8 {
						t.Errorf("%snot held: settled %.2f s, near %.2f", name, n.Settled, n.Near)
					}
				}
			}
		}
	}
}

// A semitone to and fro is no vibrato, as fast as it may be.
func TestTrillIsNoVibrato(t *testing.T) {
	for _, rate := range []float64{3, 4.5, 5.5, 6.5, 7.5} {
		for _, moving := range []float64{0.1, 0.25, 0.4} { // share of the time
			f := func(s float64) float64 {
				turn := math.Mod(2*rate*s, 2)
				c := 0.5 - 0.5*math.Cos(math.Pi*math.Min(1, math.Mod(turn, 1)/moving))
				if turn >= 1 {
					c = 1 - c
				}
				return 220 * math.Exp2(100*c/1200)
			}
			for _, n := range notesOf(t, trackOf(2, f)) {
				if float64(n.Offset-n.Onset) < 0.25*testRate {
					continue // slow ones come apart
				}
				if n.VibratoHz != 0 || n.Spread < 30 {
					t.Errorf("%g Hz, moving for %g of the time: vibrato of %.1f Hz ±%.0f c, spread %.0f, want none and over 30", rate, moving, n.VibratoHz, n.VibratoCents, n.Spread)
				}
			}
		}
	}
}

// Unsteady but no vibrato: below 15 c, slower than 4 Hz, one bend, or no
// regular swing.
func TestNoVibrato(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	walk := make([]float64, 200)
	for i := 1; i < len(walk); i++ {
		walk[i] = 0.9*walk[i-1] + 5*r.NormFloat64()
	}
	for name, f := range map[string]testkit.Curve{
		"±10 c":     testkit.Vibrato(220, 6, 10),
		"2.5 Hz":    testkit.Vibrato(220, 2.5, 40),
		"irregular": func(s float64) float64 { return 220 * math.Exp2(walk[int(math.Round(s*100))]/1200) },
		"one bend":  func(s float64) float64 { return 220 * math.Exp2(60*math.Exp(-(s-1)*(s-1)/0.002)/1200) },
	} {
		if n := oneNote(t, trackOf(2, f)); n.VibratoHz != 0 {
			t.Errorf("%s: vibrato of %.1f Hz ±%.1f c, want none", name, n.VibratoHz, n.VibratoCents)
		}
	}
}

// A scoop from 200 c below in 120 ms enters ±50 c after three quarters of it.
func TestScoopAndFall(t *testing.T) {
	n := oneNote(t, trackOf(1, testkit.Scoop(220, -200, 0.12)))
	near(t, "pitch in cents", testkit.Cents(n.F0, 220), 0, 0.01)
	near(t, "scoop", n.Scoop, -200+200.0/12, 0.01) // the median of 0, 10 and 20 ms
	near(t, "settle", n.Settle, 0.09, 1e-9)
	near(t, "fall", n.Fall, 0, 0.01)

	fall := testkit.Then(testkit.Steady(220), 0.9, testkit.Glide(220, -1500))
	n = oneNote(t, trackOf(1, fall))
	near(t, "pitch in cents", testkit.Cents(n.F0, 220), 0, 0.01)
	near(t, "fall", n.Fall, -1500*0.08, 0.01)

	// And through the tracker: the first frames are half outside the note.
	x := append(testkit.Silence(testRate/5), testkit.Tone(testRate, 1, testkit.Scoop(220, -200, 0.12), testkit.Harmonics(10, 6))...)
	n = oneNote(t, track(t, testRate, append(x, testkit.Silence(testRate/5)...)))
	near(t, "pitch in cents", testkit.Cents(n.F0, 220), 0, 0.5)
	near(t, "scoop", n.Scoop, -175, 25)
	near(t, "settle", n.Settle, 0.09, 0.02)
	near(t, "onset in s", float64(n.Onset)/testRate, 0.2, 0.02)
	near(t, "offset in s", float64(n.Offset)/testRate, 1.2, 0.025)
}

func TestSlopeSpreadAndError(t *testing.T) {
	// A line of 50 c/s over the steady 760 ms has a standard deviation of
	// 50·0.76/√12 c.
	n := oneNote(t, trackOf(1, testkit.Glide(220, 50)))
	near(t, "slope", n.Slope, 50, 0.01)
	near(t, "spread", n.Spread, 50*0.76/math.Sqrt(12), 0.1)

	// A glide of a semitone a second is one note.
	n = oneNote(t, trackOf(2, testkit.Glide(220, 100)))
	near(t, "slope", n.Slope, 100, 0.01)

	// The standard error is that of the truth: over many notes with scatter of
	// known correlation the errors divided by SE have a spread of about 1.
	for _, rho := range []float64{0, 0.6} {
		r := rand.New(rand.NewPCG(7, 7))
		var squares float64
		const notes = 400
		for range notes {
			walk := 0.0
			points := trackOf(1.2, testkit.Steady(220))
			for i := range points {
				walk = rho*walk + math.Sqrt(1-rho*rho)*8*r.NormFloat64()
				points[i].F0 *= math.Exp2(walk / 1200)
			}
			n := oneNote(t, points)
			z := testkit.Cents(n.F0, 220) / n.SE
			squares += z * z
		}
		z := math.Sqrt(squares / notes)
		t.Logf("correlation %g: error over SE has an RMS of %.2f", rho, z)
		near(t, "RMS of error over SE", z, 1, 0.35)
	}
}

func TestDecay(t *testing.T) {
	points := trackOf(1, testkit.Steady(220))
	for i := range points {
		points[i].Level = -10 - 12*float64(i)/100
	}
	n := oneNote(t, points)
	near(t, "decay", n.DecayDB, -12, 1e-6)
	near(t, "fit", n.DecayFit, 1, 1e-6)
	near(t, "level", n.Level, -10-12*0.495, 1e-6)
}

func TestGapsAndLengths(t *testing.T) {
	points := trackOf(1, testkit.Steady(220))
	unvoice(points, 40, 46) // 60 ms
	n := oneNote(t, points)
	near(t, "voiced share", n.VoicedShare, 0.94, 1e-9)

	points = trackOf(1, testkit.Steady(220))
	unvoice(points, 40, 47) // 70 ms
	if notes := notesOf(t, points); len(notes) != 2 || notes[0].Offset != 40*testHop || notes[1].Onset != 47*testHop {
		t.Errorf("a gap of 70 ms: %+v, want two notes around it", notes)
	}
	if notes := notesOf(t, trackOf(0.09, testkit.Steady(220))); len(notes) != 0 {
		t.Errorf("90 ms: %+v, want no note", notes)
	}
	if notes := notesOf(t, trackOf(0.10, testkit.Steady(220))); len(notes) != 1 {
		t.Errorf("100 ms: %d notes, want 1", len(notes))
	}
	points = trackOf(1, testkit.Steady(220))
	unvoice(points, 50, 51)
	points[50].Lost = true
	if n := oneNote(t, points); !n.Lost {
		t.Error("a lost frame inside: Lost is not set")
	}
	points = trackOf(1, testkit.Steady(220))
	for i := 50; i < 100; i++ {
		points[i].Index += 5 * testHop // points are missing
	}
	if notes := notesOf(t, points); len(notes) != 2 {
		t.Errorf("missing points: %d notes, want 2", len(notes))
	}
}

func TestSplits(t *testing.T) {
	slur := func(cents, seconds float64) testkit.Curve {
		to := 220 * math.Exp2(cents/1200)
		return testkit.Then(testkit.Steady(220), 0.5, testkit.Scoop(to, -cents, seconds))
	}
	for _, c := range []struct {
		name  string
		f     testkit.Curve
		cents []float64 // of the notes, above 220 Hz
	}{
		{"a tone up at once", slur(200, 1e-9), []float64{0, 200}},
		{"a tone up in 80 ms", slur(200, 0.08), []float64{0, 200}},
		{"a semitone down in 50 ms", slur(-100, 0.05), []float64{0, -100}},
		{"an octave up", slur(1200, 0.04), []float64{0, 1200}},
		{"a tone up with vibrato on both", func(s float64) float64 {
			return slur(200, 0.05)(s) * testkit.Vibrato(1, 6, 70)(s)
		}, []float64{0, 200}},
		{"a tone down with vibrato on the first", func(s float64) float64 {
			if s > 0.5 {
				return slur(-200, 0.05)(s)
			}
			return testkit.Vibrato(220, 6, 70)(s)
		}, []float64{0, -200}},
		{"a wide vibrato that begins late is one note", func(s float64) float64 {
			return 220 * testkit.Vibrato(1, 5.5, 90*math.Min(1, math.Max(0, 3*(s-0.3))))(s)
		}, []float64{0}},
		{"a correction of 60 c is one note", slur(60, 0.1), []float64{60}},
		{"a scoop of 200 c is one note", testkit.Scoop(220, -200, 0.12), []float64{0}},
		{"a wide slow vibrato is one note", testkit.Vibrato(220, 4.5, 100), []float64{0}},
		{"a gentle slow vibrato is one note", testkit.Vibrato(220, 4, 50), []float64{0}},
	} {
		notes := notesOf(t, trackOf(1.2, c.f))
		if len(notes) != len(c.cents) {
			t.Errorf("%s: %d notes, want %d", c.name, len(notes), len(c.cents))
			continue
		}
		for i, n := range notes {
			near(t, c.name+": cents", testkit.Cents(n.F0, 220), c.cents[i], 5)
			if i > 0 {
				near(t, c.name+": onset in s", float64(n.Onset)/testRate, 0.525, 0.03)
			}
		}
	}
}

// Frames an octave off for a moment are not a note and move nothing.
func TestOctaveSlips(t *testing.T) {
	points := trackOf(1, testkit.Steady(220))
	for _, i := range []int{0, 20, 21, 40, 41, 42, 43, 60, 99} {
		points[i].F0 *= 2
	}
	points[75].F0 /= 2
	n := oneNote(t, points)
	near(t, "F0", n.F0, 220, 1e-6)
	near(t, "spread", n.Spread, 0, 1e-6)
	near(t, "voiced share", n.VoicedShare, 0.9, 1e-9)
}

// What glides like speech may come out as notes where it turns, but never as a
// clean one: it moves, or it comes from afar and goes afar.
func TestSpeechLikeGlides(t *testing.T) {
	least := math.Inf(1)
	for _, rate := range []float64{1.5, 2.2, 3} {
		for _, extent := range []float64{300, 600} {
			f := func(s float64) float64 {
				return 150 * math.Exp2((extent*math.Sin(2*math.Pi*rate*s)-300*math.Mod(s, 1))/1200)
			}
			x := testkit.Tone(testRate, 3, f, testkit.Vowel(150, 30, 650, 1100, 2500))
			for _, n := range notesOf(t, track(t, testRate, x)) {
				length := float64(n.Offset-n.Onset) / testRate
				if length < 0.25 {
					continue // too short for any judge
				}
				least = math.Min(least, n.Spread)
				if n.Spread < 20 && math.Abs(n.Slope) < 300 && math.Max(math.Abs(n.Scoop), math.Abs(n.Fall)) < 100 {
					t.Errorf("±%g c at %g Hz: a clean note of %.2f s: %+v", extent, rate, length, n)
				}
			}
		}
	}
	t.Logf("least spread %.1f c", least)
}

func TestAnyCutGivesTheSameNotes(t *testing.T) {
	x := append(mixedSignal(testRate), mixedSignal(testRate)...)
	points := track(t, testRate, x)
	whole := notesOf(t, points)
	if len(whole) != 4 {
		t.Errorf("%d notes, want 4", len(whole))
	}
	seg, err := NewSegmenter(DefaultConfig(testRate))
	if err != nil {
		t.Fatal(err)
	}
	for _, size := range []int{1, 7, 50} {
		var got []Note
		for from := 0; from < len(points); from += size {
			got = seg.Push(got, points[from:min(len(points), from+size)])
		}
		got = seg.Flush(got)
		if len(got) != len(whole) {
			t.Fatalf("cuts of %d: %d notes, want %d", size, len(got), len(whole))
		}
		for i := range got {
			if got[i] != whole[i] {
				t.Errorf("cuts of %d: note %d = %+v, want %+v", size, i, got[i], whole[i])
			}
		}
	}
}

func TestCurrent(t *testing.T) {
	points := trackOf(1, testkit.Steady(220))
	seg, err := NewSegmenter(DefaultConfig(testRate))
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range points {
		seg.Push(nil, []Point{p})
		n, ok := seg.Current()
		if ok != (i >= 9) {
			t.Fatalf("after %d ms: ok = %v", 10*(i+1), ok)
		}
		if onset, offset, holding := seg.Holding(); holding != ok || ok && (onset != n.Onset || offset != n.Offset) {
			t.Fatalf("after %d ms: holding %v, %d to %d; the current note is %v, %d to %d", 10*(i+1), holding, onset, offset, ok, n.Onset, n.Offset)
		}
		if ok {
			near(t, "F0 so far", n.F0, 220, 1e-9)
		}
	}
	n, _ := seg.Current()
	if done := seg.Flush(nil); len(done) != 1 || done[0] != n {
		t.Errorf("finished note %+v, want the current one %+v", done, n)
	}
	if _, ok := seg.Current(); ok {
		t.Error("a note is held after the end")
	}
}

// A held note lies near its pitch, with vibrato and a scoop of 120 ms too; a
// glide through 600 cents, fast or slow, does not.
func TestNear(t *testing.T) {
	for _, c := range []struct {
		name     string
		f        testkit.Curve
		least    float64
		greatest float64
	}{
		{"steady", testkit.Steady(220), 1, 1},
		{"vibrato of ±70 c", testkit.Vibrato(220, 6, 70), 0.99, 1},
		{"scoop of 200 c", testkit.Scoop(220, -200, 0.12), 0.9, 1},
		{"a swing of ±300 c in 1.5 Hz", testkit.Vibrato(220, 1.5, 300), 0, 0.6},
		{"glide of 400 c/s", testkit.Glide(220, 400), 0, 0.3},
	} {
		for _, n := range notesOf(t, trackOf(1.5, c.f)) {
			if float64(n.Offset-n.Onset) < 0.25*testRate {
				continue // a scrap where the swing turns
			}
			if n.Near < c.least || n.Near > c.greatest {
				t.Errorf("%s: %.2f of the note lies near its pitch, want %g … %g", c.name, n.Near, c.least, c.greatest)
			}
		}
	}
}

// A note of almost two minutes stays in bounded memory and in tune.
func TestVeryLongNote(t *testing.T) {
	seg, err := NewSegmenter(DefaultConfig(testRate))
	if err != nil {
		t.Fatal(err)
	}
	before := cap(seg.frames)
	notes := seg.Flush(seg.Push(nil, trackOf(110, testkit.Vibrato(220, 5.5, 40))))
	if len(notes) != 1 || cap(seg.frames) != before {
		t.Fatalf("%d notes, room for %d frames, was %d", len(notes), cap(seg.frames), before)
	}
	checkNote(t, notes[0])
	near(t, "pitch in cents", testkit.Cents(notes[0].F0, 220), 0, 1)
	near(t, "length in s", float64(notes[0].Offset-notes[0].Onset)/testRate, 110, 0.2)
}

func FuzzSegmenter(f *testing.F) {
	var seed []byte
	for i := range 40 {
		seed = append(seed, byte(1), byte(100+i%3), 0)
	}
	f.Add(seed)
	f.Add([]byte{1, 0, 0, 2, 255, 1, 3, 3, 3})
	f.Add([]byte("any text is a track"))
	f.Fuzz(func(t *testing.T, b []byte) {
		seg, err := NewSegmenter(DefaultConfig(testRate))
		if err != nil {
			t.Fatal(err)
		}
		odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0, 1e-300, 1e300, 220}
		var notes []Note
		index := int64(0)
		for i := 0; i+2 < len(b); i += 3 {
			kind, v := b[i], b[i+1]
			p := Point{Index: index, Voiced: kind&1 != 0, Lost: kind&2 != 0, F0: 55 * math.Exp2(float64(v)/50), Level: -float64(b[i+2])}
			if kind&0x1c == 0x1c {
				p.F0 = odd[v%8]
			}
			if kind&0xe0 == 0xe0 {
				p.Level = odd[v%8]
			}
			if kind&0xe0 == 0x60 {
				p.Index = int64(binary.LittleEndian.Uint16(b[i+1:])) << (v % 48)
			}
			for range 1 + b[i+2]%16 {
				notes = seg.Push(notes, []Point{p})
				if n, ok := seg.Current(); ok {
					checkNote(t, n)
				}
				p.Index += testHop
			}
			index = p.Index
		}
		for _, n := range seg.Flush(notes) {
			checkNote(t, n)
		}
	})
}

// One operation measures a note of five seconds.
func BenchmarkCurrent(b *testing.B) {
	seg, err := NewSegmenter(DefaultConfig(testRate))
	if err != nil {
		b.Fatal(err)
	}
	seg.Push(nil, trackOf(5, testkit.Vibrato(220, 6, 50)))
	b.ReportAllocs()
	for b.Loop() {
		seg.Current()
	}
}

// A melody's notes begin where they are heard to begin: where the voice sets in
// after a hiss like that of a consonant, on the same pitch again after a dip, and at a slur. The
// tolerance is that of note transcription, 50 ms and 50 cents.
func TestMelodyNotes(t *testing.T) {
	const rate = 44100
	var x []float64
	var want []Note
	add := func(hz, seconds, hiss, dip float64) {
		if hiss > 0 {
			x = append(x, testkit.Scale(testkit.White(int(hiss*rate), uint64(len(x))), 0.02)...)
		}
		n := len(x)
		note := testkit.Scale(testkit.Tone(rate, seconds-hiss, testkit.Steady(hz), testkit.Vowel(hz, 20, 700, 1150, 2600)), 1)
		for i := range note {
			t := float64(i) / rate
			g := math.Min(1, math.Min(t/0.02, (float64(len(note))-float64(i))/rate/0.02))
			note[i] *= dip + (1-dip)*g
		}
		x = append(x, note...)
		want = append(want, Note{Onset: int64(n), Offset: int64(len(x)), F0: hz})
	}
	x = append(x, testkit.Scale(testkit.Pink(rate/2, 3), 0.0003)...)
	for _, hz := range []float64{220, 247, 262, 262, 294, 262, 220} {
		add(hz, 0.45, 0.06, 0) // a hiss before each
	}
	add(196, 0.5, 0.05, 0)
	add(196, 0.5, 0, 0) // the same again after a dip
	x = append(x, testkit.Scale(testkit.Pink(rate/2, 4), 0.0003)...)
	cfg := DefaultConfig(rate)
	cfg.Reading = Offline
	tr, err := NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	points := tr.Flush(tr.Push(nil, x))
	got, err := Notes(cfg, points)
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, w := range want {
		for _, n := range got {
			if math.Abs(float64(n.Onset-w.Onset)) <= 0.05*rate && math.Abs(testkit.Cents(n.F0, w.F0)) < 5 {
				found++
				break
			}
		}
	}
	t.Logf("%d of %d notes found, %d given", found, len(want), len(got))
	if found < len(want)-1 || len(got) > len(want)+1 {
		t.Errorf("%d of %d notes found within 50 ms and 5 cents, %d given: want all but one, and at most one more", found, len(want), len(got))
		for _, n := range got {
			t.Logf("%.3f to %.3f s: %.1f Hz", float64(n.Onset)/rate, float64(n.Offset)/rate, n.F0)
		}
	}
	// The same, however the points come.
	seg, err := NewMelodySegmenter(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var again []Note
	for i := range points {
		again = seg.Push(again, points[i:i+1])
	}
	if again = seg.Flush(again); !reflect.DeepEqual(again, got) {
		t.Errorf("one by one: %d notes, all at once %d", len(again), len(got))
	}
}

// Of a melody, a slur to another level begins a note though nothing in the
// spectrum marks it, and a note ends where its level sinks for a moment just
// before its pitch does.
func TestMelodyNotesWithoutOnsets(t *testing.T) {
	level := func(p []Point, from, to float64, dB float64) []Point {
		for i := range p {
			if s := float64(p[i].Index) / testRate; s >= from && s < to {
				p[i].Level = dB
			}
		}
		return p
	}
	second := math.Exp2(200. / 1200)
	for _, c := range []struct {
		name   string
		points []Point
		want   [][2]float64 // onset and offset in seconds
	}{
		{"a slurred second", trackOf(1.2, func(s float64) float64 {
			if s < 0.6 {
				return 220
			}
			return 220 * second
		}), [][2]float64{{0, 0.6}, {0.6, 1.2}}},
		{"a dip before the end", level(level(trackOf(0.7, testkit.Steady(220)), 0, 0.7, -20), 0.6, 0.65, -30), [][2]float64{{0, 0.6}}},
		{"a dip in the middle", level(level(trackOf(0.9, testkit.Steady(220)), 0, 0.9, -20), 0.4, 0.45, -30), [][2]float64{{0, 0.9}}},
	} {
		got, err := Notes(DefaultConfig(testRate), c.points)
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: %d notes, want %d", c.name, len(got), len(c.want))
			continue
		}
		for i, w := range c.want {
			near(t, c.name+": onset in s", float64(got[i].Onset)/testRate, w[0], 0.025)
			near(t, c.name+": offset in s", float64(got[i].Offset)/testRate, w[1], 0.025)
		}
	}
}
