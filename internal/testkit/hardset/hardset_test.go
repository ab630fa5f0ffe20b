package hardset

import (
	"hash/maphash"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"singback/internal/testkit"
)

// notUnderRace skips what only computes: nothing here runs at the same time as
// anything else, and the race detector would make it last minutes.
func notUnderRace(t *testing.T) {
	t.Helper()
	if raceDetector {
		t.Skip("one goroutine, much to compute: skipped under the race detector")
	}
}

// phase measures a frequency from outside: by how much the phase of the line
// at hz turns between two windows of the given size, apart samples apart.
func phase(x []float64, rate, at, size, apart int, hz float64) float64 {
	cycles := hz / float64(rate)
	line := func(from int) (sum complex128) {
		for i := range size {
			hann := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(size))
			sum += complex(x[from+i]*hann, 0) * cmplx.Rect(1, -2*math.Pi*cycles*float64(i))
		}
		return sum
	}
	from := at - (size+apart)/2
	turn := cmplx.Phase(line(from+apart) / line(from)) // of the expected cycles, modulo 1
	expected := 2 * math.Pi * cycles * float64(apart)
	turn += 2 * math.Pi * math.Round((expected-turn)/(2*math.Pi))
	return turn * float64(rate) / (2 * math.Pi * float64(apart))
}

// The grid's notes have the frequency they claim: measured by the phase of a
// harmonic of the clean note, as far as 16 bits allow.
func TestGridTruth(t *testing.T) {
	for _, half := range []Half{Dev, HeldOut} {
		n := 0
		for it := range Grid(half, math.Inf(1), 1) {
			n++
			note := it.Notes[0]
			middle := int((note.Onset + note.Offset) / 2 * float64(it.Rate))
			got := phase(it.Samples, it.Rate, middle, 16384, 2048, note.Hz)
			if c := testkit.Cents(got, note.Hz); math.Abs(c) > 0.02 {
				t.Errorf("%v %s: measured %.4f Hz, %.4f cents off", half, it.Name, got, c)
			}
			for _, at := range []float64{note.Onset + 0.02, (note.Onset + note.Offset) / 2, note.Offset - 0.02} {
				if hz, counts := it.At(at); !counts || math.Abs(hz-note.Hz) > 1e-6 {
					t.Errorf("%v %s: the truth at %.3f s is %g, %v, want %g", half, it.Name, at, hz, counts, note.Hz)
				}
			}
			for _, at := range []float64{0, note.Onset - 0.02, note.Offset + 0.02} {
				if hz, counts := it.At(at); !counts || hz != 0 {
					t.Errorf("%v %s: the truth at %.3f s is %g, %v, want nothing sung", half, it.Name, at, hz, counts)
				}
			}
		}
		if n != gridNotes {
			t.Errorf("%d notes, want %d", n, gridNotes)
		}
	}
}

// The truth of moving voices, both renderers: where the truth says sung, the
// phase of the fundamental turns as it says. In the clean items, over windows
// short enough to follow vibrato.
func TestMelodyTruth(t *testing.T) {
	notUnderRace(t)
	var off []float64
	for it := range Items(Dev, 3, Clean) {
		frames, covered := 0, 0
		for s := 0.1; s < it.Seconds()-0.1; s += 0.03 {
			hz, counts := it.At(s)
			if !counts || hz == 0 {
				continue
			}
			frames++
			// Four periods either side must belong to the same truth.
			size := int(8 * float64(it.Rate) / hz)
			steady := true
			for _, d := range []float64{-1, -0.5, 0.5, 1} {
				near, ok := it.At(s + d*4/hz)
				steady = steady && ok && near != 0 && math.Abs(testkit.Cents(near, hz)) < 20
			}
			if !steady {
				continue
			}
			covered++
			off = append(off, math.Abs(testkit.Cents(phase(it.Samples, it.Rate, int(s*float64(it.Rate)), size, 64, hz), hz)))
		}
		if covered < 60 {
			t.Errorf("%s: %d of %d sung frames measured, want at least 60", it.Name, covered, frames)
		}
	}
	slices.Sort(off)
	// Jitter of up to 4 cents from cycle to cycle is in the sound and averages
	// out only partly; a wrong time by 5 ms would show as 5 to 10 cents in the
	// vibrato.
	if m, p := off[len(off)/2], off[len(off)*95/100]; m > 1.5 || p > 6 {
		t.Errorf("%d frames: median %.2f and 95th percentile %.2f cents off, want at most 1.5 and 6", len(off), m, p)
	} else {
		t.Logf("%d frames: median %.2f, 95th percentile %.2f, worst %.2f cents off", len(off), m, p, off[len(off)-1])
	}
}

func TestPlan(t *testing.T) {
	notUnderRace(t)
	total := 0.0
	seen := map[uint64]string{}
	hash := maphash.MakeSeed()
	melodies := map[float64]string{}
	for _, half := range []Half{Dev, HeldOut} {
		frames := map[Condition][3]int{}
		for it := range Items(half, 1) {
			total += it.Seconds()
			name := half.String() + " " + it.Name
			var h maphash.Hash
			h.SetSeed(hash)
			for _, v := range it.Samples {
				maphash.WriteComparable(&h, v)
				if v < -1 || v >= 1 || v*32768 != math.Trunc(v*32768) {
					t.Fatalf("%s: sample %g is not a step of 16 bits", name, v)
				}
			}
			if other, ok := seen[h.Sum64()]; ok {
				t.Errorf("%s is the same as %s", name, other)
			}
			seen[h.Sum64()] = name
			for _, n := range it.Notes {
				if other, ok := melodies[n.Hz]; ok && other != name {
					t.Errorf("%s and %s share a note of %g Hz", name, other, n.Hz)
				}
				melodies[n.Hz] = name
				if n.Hz < 62 || n.Hz > 1400 || n.Offset <= n.Onset || n.Offset > it.Seconds()+1e-9 {
					t.Errorf("%s: note %+v", name, n)
				}
			}
			c := frames[it.Condition]
			for s := 0.0; s < it.Seconds(); s += 0.01 {
				switch hz, counts := it.At(s); {
				case !counts:
					c[2]++
				case hz > 0:
					c[1]++
				default:
					c[0]++
				}
			}
			frames[it.Condition] = c
			if known := it.Condition == Drone || it.Condition == NobodyPrompt; known != (it.Known != nil) {
				t.Errorf("%s: known sounds %v", name, it.Known)
			}
		}
		for _, c := range Conditions() {
			f := frames[c]
			t.Logf("%-9v %-22s frames: %5d sung %5d not sung %4d open", half, c, f[1], f[0], f[2])
			if c.Nobody() != (f[1] == 0) || c.Nobody() && f[2] > 0 {
				t.Errorf("%v %s: %d frames sung, %d open", half, c, f[1], f[2])
			}
			if !c.Nobody() && (f[1] < 200 || f[0] < 80 || f[2] > (f[0]+f[1])/5) {
				t.Errorf("%v %s: %d sung, %d not sung, %d open: want 200, 80 and at most a fifth", half, c, f[1], f[0], f[2])
			}
		}
	}
	// The whole set is longer: what the plan says, and the grids.
	for _, p := range plan {
		total += 2 * float64(p.items-1) * p.seconds
	}
	total += 2 * float64(len(SNRs)*gridNotes)
	if total < 26*60 || total > 34*60 {
		t.Errorf("%.1f minutes in all, want about 30", total/60)
	}
}

func TestSameSeedSameSamples(t *testing.T) {
	notUnderRace(t)
	for c := 1; c < len(plan); c += 4 {
		if a, b := render(HeldOut, c, 0), render(HeldOut, c, 0); !slices.Equal(a.Samples, b.Samples) || !slices.Equal(a.truth, b.truth) {
			t.Errorf("%s: two renderings differ", a.Name)
		}
	}
}

// At follows the rule of the package comment at a hand-made edge.
func TestTruthRule(t *testing.T) {
	const rate = 10000
	var k take
	k.rest(0.1, rate)
	for i := range 2000 { // 200 ms at full strength but for the first 30 ms, 26 dB down
		x, hz := math.Sin(2*math.Pi*200*float64(i)/rate), 200.0
		if i < 300 {
			x /= 20
		}
		k.x, k.f0 = append(k.x, x), append(k.f0, hz)
	}
	k.rest(0.1, rate)
	k.notes = []Note{{0.1, 0.3, 200}}
	it := k.item(Clean, "edge", rate, k.x)
	for _, c := range []struct {
		at     float64
		hz     float64
		counts bool
	}{
		{0, 0, true}, {0.083, 0, true}, {0.086, 0, false}, {0.095, 0, false}, {0.11, 0, false}, // too weak
		{0.135, 200, true}, {0.2, 200, true}, {0.293, 200, true}, {0.297, 0, false}, {0.313, 0, false}, {0.317, 0, true}, {5, 0, true},
	} {
		hz, counts := it.At(c.at)
		if counts != c.counts || counts && math.Abs(hz-c.hz) > 1e-9 {
			t.Errorf("at %g s: %g, %v, want %g, %v", c.at, hz, counts, c.hz, c.counts)
		}
	}
}

// What is shut is exactly silent or comfort noise, nothing is sung there, and beside
// it a moment counts by its centre. The gates shut between most notes, and leave
// nearly all of the notes.
func TestShut(t *testing.T) {
	notUnderRace(t)
	for _, half := range []Half{Dev, HeldOut} {
		for it := range Items(half, 1, Silence, Gate, Comfort, SilenceMic, SilenceQuiet, SilenceBreathy, SilenceCreaky) {
			zero, sung, cut, longest, run := 0, 0.0, 0, 0, 0
			per := it.Rate / 1000
			for k := 1; k < len(it.truth); k++ {
				window := it.Samples[k*it.Rate/1000 : k*it.Rate/1000+per]
				if slices.Max(window) == 0 && slices.Min(window) == 0 {
					zero++
					run++
					longest = max(longest, run)
					if it.truth[k] != 0 && it.truth[k-1] != 0 && run > 2 {
						t.Errorf("%v %s: %g Hz is sung at %d ms, in silence", half, it.Name, it.truth[k], k)
					}
				} else {
					run = 0
				}
				if it.truth[k] > 0 {
					sung++
					if it.truth[k-1] == 0 {
						cut++
					}
				}
			}
			total := 0.0
			for _, n := range it.Notes {
				total += 1000 * (n.Offset - n.Onset)
			}
			comfort := it.Condition == Comfort || zero < 20
			t.Logf("%-8v %-28s %2d notes, %2d cut at once; %4.1f %% of it silent, %.0f ms at once; %.0f %% of the notes sung", half, it.Name, len(it.Notes), cut, 100*float64(zero)/float64(len(it.truth)), float64(longest), 100*sung/total)
			if !comfort && longest < 60 || sung < 0.8*total {
				t.Errorf("%v %s: %d ms of silence at most, %.0f of %.0f ms of notes are sung", half, it.Name, longest, sung, total)
			}
		}
	}
}

// A gate by hand: what it lets through counts from its first sample to its last, and
// its weakest is open as everywhere.
func TestCutTruthRule(t *testing.T) {
	const rate = 10000
	var k take
	k.rest(0.1, rate)
	for i := range 2000 {
		k.x, k.f0 = append(k.x, math.Sin(2*math.Pi*200*float64(i)/rate)), append(k.f0, 200)
	}
	k.rest(0.1, rate)
	k.notes = []Note{{0.1, 0.3, 200}}
	k.gain = make([]float64, len(k.x))
	for i := 1200; i < 3500; i++ { // opens 20 ms into the note, shuts 50 ms after it
		k.gain[i] = 1
	}
	it := k.item(Gate, "edge", rate, k.x)
	for _, c := range []struct {
		at     float64
		hz     float64
		counts bool
	}{
		{0.05, 0, true}, {0.11, 0, true}, {0.1185, 0, true}, {0.1205, 200, true}, {0.2, 200, true}, {0.293, 200, true},
		{0.298, 0, false}, {0.31, 0, false}, {0.317, 0, true}, {0.34, 0, true},
	} {
		hz, counts := it.At(c.at)
		if counts != c.counts || counts && math.Abs(hz-c.hz) > 1e-9 {
			t.Errorf("at %g s: %g, %v, want %g, %v", c.at, hz, counts, c.hz, c.counts)
		}
	}
}
