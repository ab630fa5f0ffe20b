package exercise

import (
	"math/rand/v2"
	"testing"

	"singback/theory"
)

// Every prompt of 10 000 random series, for each voice and for narrow ones, in
// all 30 keys, lies inside the working range or is marked as folded.
func TestTenThousandSeriesFitTheVoice(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 10_000))
	keys := theory.Keys()
	var ranges []theory.Range
	for _, name := range Voices() {
		v, err := VoiceNamed(name)
		if err != nil {
			t.Fatal(err)
		}
		ranges = append(ranges, v.Range)
	}
	named := len(ranges)
	met := map[[2]int]bool{}
	folded, outside, asked := 0, 0, 0
	for n := range 10_000 {
		// Half of the series are for the seven voices in turn, the rest for
		// voices of nought to thirty semitones anywhere from A0 to C8.
		comfortable := ranges[n/2%named]
		switch low := 21 + rng.IntN(80); {
		case n%20 == 19:
			comfortable = theory.Range{Low: low, High: low + 5} // a voice of five semitones
		case n%2 == 1:
			comfortable = theory.Range{Low: low, High: min(108, low+rng.IntN(31))}
		default:
			met[[2]int{n / 2 % named, n / 14 % len(keys)}] = true
		}
		k := keys[n/14%len(keys)]
		working := Working(comfortable)
		if working.Low < comfortable.Low || working.High > comfortable.High || working.Low > working.High {
			t.Fatalf("working range %v of %v", working, comfortable)
		}
		chromatic, scale := k.ChromaticDegrees(), k.ScaleDegrees()
		order := Order{Asked: scale[:], Count: 1 + rng.IntN(30), Seed: rng.Uint64()}
		if rng.IntN(2) == 0 {
			order.Asked = chromatic[:]
		}
		if rng.IntN(2) == 0 {
			order.From = chromatic[rng.IntN(11):]
		}
		series, err := NewSeries(Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: RegisterFor(k, working)}, order)
		if err != nil {
			t.Fatal(err)
		}
		for _, it := range series {
			asked++
			p, moved := it.Target()
			in := p.MIDI() >= working.Low && p.MIDI() <= working.High
			if !in && !moved {
				t.Fatalf("%v, range %v: %v is asked at %v, outside, and not marked as folded", k, working, it.Asked, p)
			}
			if moved {
				folded++
			}
			if in == it.Register.Outside(p) {
				t.Fatalf("%v in %v: Outside = %v", p, working, !in)
			}
			if !in {
				outside++
			}
			if p.PitchClass() != k.Note(it.Asked).PitchClass() {
				t.Fatalf("%v, %v: %v is another note", k, it.Asked, p)
			}
			// A pitch outside is as near as any octave of it comes.
			off := max(working.Low-p.MIDI(), p.MIDI()-working.High, 0)
			for _, by := range []int{-12, 12} {
				if other := max(working.Low-p.MIDI()-by, p.MIDI()+by-working.High, 0); other < off {
					t.Fatalf("%v, range %v: %v lies %d semitones off, an octave away only %d", k, working, p, off, other)
				}
			}
			// An octave holds every degree (eleven semitones: twelve notes).
			if !in && working.High-working.Low >= 11 {
				t.Fatalf("%v lies outside %v, which has a place for it", p, working)
			}
			if it.From != nil {
				if f := it.FromPitch(); working.High-working.Low >= 11 && !working.Contains(f) {
					t.Fatalf("%v, range %v: starts from %v", k, working, f)
				}
			}
		}
	}
	if len(met) != named*len(keys) {
		t.Errorf("%d pairs of voice and key, want %d", len(met), named*len(keys))
	}
	if folded == 0 || outside == 0 {
		t.Errorf("of %d prompts %d folded and %d outside: the property was not put to the test", asked, folded, outside)
	}
}

// The working range: two semitones inside the comfortable one (common
// practice), and an octave where it has not much more.
func TestWorkingRange(t *testing.T) {
	for _, c := range []struct{ comfortable, want theory.Range }{
		{theory.Range{Low: 48, High: 67}, theory.Range{Low: 50, High: 65}}, // C3–G4: D3–F4
		{theory.Range{Low: 48, High: 63}, theory.Range{Low: 50, High: 61}}, // 15 semitones: just an octave of notes is left
		{theory.Range{Low: 48, High: 62}, theory.Range{Low: 50, High: 61}},
		{theory.Range{Low: 48, High: 60}, theory.Range{Low: 49, High: 60}},
		{theory.Range{Low: 48, High: 59}, theory.Range{Low: 48, High: 59}},
		{theory.Range{Low: 60, High: 65}, theory.Range{Low: 60, High: 65}},
		{theory.Range{Low: 60, High: 60}, theory.Range{Low: 60, High: 60}},
	} {
		if got := Working(c.comfortable); got != c.want {
			t.Errorf("%v: %v, want %v", c.comfortable, got, c.want)
		}
	}
}

// Worked out by hand, after the definition of Herbst et al. 2012: half of the
// reserve below less the reserve above.
func TestFitOf(t *testing.T) {
	tenor := theory.Range{Low: 48, High: 69}     // C3–A4, working D3–G4
	tessitura := theory.Range{Low: 53, High: 64} // F3–E4
	for _, c := range []struct {
		tonic  string
		folded int
		shift  float64
	}{
		{"F", 0, 0},    // F3–E4: nothing is left on either side
		{"G", 0, 2},    // G3–F♯4: 2 below, 2 too many above
		{"D", 0, -3},   // D3–C♯4: 3 too many below, 3 above
		{"C", 1, -3.5}, // do is moved to C4, so D3–C4: 3 too many below, 4 above
	} {
		tonic, err := theory.ParseNote(c.tonic)
		if err != nil {
			t.Fatal(err)
		}
		k := theory.Key{Tonic: tonic}
		degrees := k.ScaleDegrees()
		if got, want := FitOf(k, degrees[:], RegisterFor(k, Working(tenor)), tessitura), (Fit{k, c.folded, c.shift}); got != want {
			t.Errorf("%v: %+v, want %+v", k, got, want)
		}
	}
}

// What Best returns is what a slow search finds: no key folds less, none as
// little and is more than two semitones nearer to the middle.
func TestBest(t *testing.T) {
	for _, name := range Voices() {
		v, _ := VoiceNamed(name)
		var fits []Fit
		for _, k := range theory.Keys() {
			degrees := k.ScaleDegrees()
			fits = append(fits, FitOf(k, degrees[:], RegisterFor(k, Working(v.Range)), Working(v.Range)))
		}
		best := Best(fits)
		if len(best) == 0 || len(best) == len(fits) {
			t.Fatalf("%s: %d of %d keys fit best", name, len(best), len(fits))
		}
		in := map[theory.Key]bool{}
		for _, f := range best {
			in[f.Key] = true
		}
		for _, f := range fits {
			wins := true
			for _, g := range fits {
				wins = wins && g.Folded >= f.Folded
			}
			for _, g := range fits {
				wins = wins && (g.Folded > f.Folded || abs(f.Shift)-abs(g.Shift) <= 2)
			}
			if wins != in[f.Key] {
				t.Errorf("%s, %v: among the best %v, want %v", name, f, in[f.Key], wins)
			}
		}
		if best[0].Folded != 0 || abs(best[0].Shift) > 0.5 {
			t.Errorf("%s: %+v is the best fit; the scale fits every voice without folding, in its middle", name, best[0])
		}
	}
	if Best(nil) != nil {
		t.Error("none given, some returned")
	}
}

func abs(x float64) float64 { return max(x, -x) }

// The rest is called for once, at the window that completes the time.
func TestStint(t *testing.T) {
	s := Stint{RestAfter: RestAfter}
	told := 0
	for i := range 1000 {
		if s.Add(2) {
			told++
			if i+1 != RestAfter/2 {
				t.Errorf("after %d windows of 2 s, want %g", i+1, RestAfter/2)
			}
		}
	}
	if told != 1 || s.Sung != 2000 {
		t.Errorf("told %d times, %g s", told, s.Sung)
	}
	never := Stint{}
	for range 1000 {
		if never.Add(60) {
			t.Fatal("a rest without a limit")
		}
	}
}
