package calib_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"singback/calib"
	"singback/pitch"
	"singback/theory"
)

var concert = theory.Tuning{A4: theory.DefaultA4}

// held is a note of a second, well held, at a MIDI number.
func held(midi float64) pitch.Note {
	return pitch.Note{Offset: rate, F0: 440 * math.Exp2((midi-69)/12), Spread: 12, Near: 1, VoicedShare: 1}
}

// heldFor is the same, of some seconds.
func heldFor(midi, seconds float64) pitch.Note {
	n := held(midi)
	n.Offset = int64(seconds * rate)
	return n
}

func reply(w calib.Word, notes ...pitch.Note) calib.RangeReply {
	return calib.RangeReply{Notes: notes, Rate: rate, Word: w}
}

// take runs a test with a singer who answers each ask, and returns what was
// asked in order.
func take(t testing.TB, test *calib.RangeTest, answer func(calib.RangeAsk) calib.RangeReply) []calib.RangeAsk {
	t.Helper()
	var asked []calib.RangeAsk
	for test.Next().Step != calib.AllDone {
		if len(asked) > 300 {
			t.Fatal("the test does not end")
		}
		asked = append(asked, test.Next())
		test.Hear(answer(test.Next()))
	}
	return asked
}

// safe reports what no singer may be asked: a step back in the order, the same
// extreme twice in a row, a note beyond C2 … C6, in a direction that the singer
// ended with strain.
func safe(t testing.TB, name string, asked []calib.RangeAsk, growing bool) {
	t.Helper()
	times := map[int]int{}
	for i, a := range asked {
		if i == 0 {
			continue
		}
		last := asked[i-1]
		if a.Step < last.Step && !(a.Step == calib.AtEase && last.Step == calib.Softly) {
			t.Errorf("%s: %v after %v", name, a, last)
		}
		if a.Pitch == last.Pitch && a.Step > calib.Softly {
			t.Errorf("%s: %d twice in a row", name, a.Pitch)
		}
		if a.Step != calib.AtEase && (a.Pitch < 36 || a.Pitch > 84) {
			t.Errorf("%s: %d was asked for", name, a.Pitch)
		}
		if a.Step > calib.Softly && !a.Rest {
			if times[a.Pitch]++; times[a.Pitch] > 2 || growing && times[a.Pitch] > 1 {
				t.Errorf("%s: %d was asked for %d times", name, a.Pitch, times[a.Pitch])
			}
		}
	}
}

// limited is a singer with a comfortable range, who starts at ease somewhere in
// it, and what comes of an ask outside of it.
func limited(low, high, start int, outside func(calib.RangeAsk) calib.RangeReply) func(calib.RangeAsk) calib.RangeReply {
	return func(a calib.RangeAsk) calib.RangeReply {
		switch {
		case a.Step == calib.AtEase:
			return reply(calib.Unsaid, held(float64(start)))
		case a.Pitch < low || a.Pitch > high:
			return outside(a)
		}
		return reply(calib.Unsaid, held(float64(a.Pitch)))
	}
}

// What a voice does beyond its comfortable range.
var beyond = []struct {
	name string
	does func(a calib.RangeAsk) calib.RangeReply
	says calib.RangeHeard
}{
	{"says strain", func(a calib.RangeAsk) calib.RangeReply { return reply(calib.Strain, held(float64(a.Pitch))) }, calib.Strained},
	{"is silent", func(calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid) }, calib.Nothing},
	{"fries", func(a calib.RangeAsk) calib.RangeReply {
		n := held(float64(a.Pitch))
		n.Spread = 70
		return reply(calib.Unsaid, n)
	}, calib.Unsteady},
	{"breaks up", func(a calib.RangeAsk) calib.RangeReply {
		return reply(calib.Unsaid, heldFor(float64(a.Pitch), .7), heldFor(float64(a.Pitch)+7, .3))
	}, calib.Broke},
	{"sings an octave above", func(a calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid, held(float64(a.Pitch+12))) }, calib.Elsewhere},
	{"sings an octave below", func(a calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid, held(float64(a.Pitch-12))) }, calib.Elsewhere},
	{"whistles", func(calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid, held(88)) }, calib.Whistle},
	{"glides", func(a calib.RangeAsk) calib.RangeReply {
		n := held(float64(a.Pitch))
		n.Near = .4
		return reply(calib.Unsaid, n)
	}, calib.Unsteady},
	{"just touches it", func(a calib.RangeAsk) calib.RangeReply {
		return reply(calib.Unsaid, heldFor(float64(a.Pitch), .3))
	}, calib.Nothing},
}

// Every kind of voice, with every way of not reaching a note: the range is found
// exactly, a growing voice's to a semitone, and safely.
func TestRangeTest(t *testing.T) {
	for _, v := range []struct {
		name             string
		low, high, start int
		growing          bool
	}{
		{"bass", 40, 62, 50, false}, {"tenor", 48, 67, 55, false}, {"alto", 53, 74, 60, false},
		{"soprano", 60, 81, 67, false}, {"child", 59, 72, 64, true}, {"changing", 53, 65, 57, true},
		{"narrow", 57, 60, 58, false}, {"starts at its lowest", 48, 67, 48, false}, {"starts at its highest", 48, 67, 67, false},
		{"all that is asked", 30, 90, 60, false},
	} {
		for _, b := range beyond {
			name := v.name + " " + b.name
			test := calib.NewRangeTest(concert, v.growing)
			sing := limited(v.low, v.high, v.start, b.does)
			asked := take(t, test, sing)
			safe(t, name, asked, v.growing)
			got, ok := test.Voice(today)
			low, high, within := max(v.low, 36), min(v.high, 84), 0
			if v.growing {
				within = 1
			}
			c := got.Comfortable
			if !ok || c.Low < low || c.Low > low+within || c.High > high || c.High < high-within {
				t.Errorf("%s: found %v, want %d–%d", name, c, low, high)
			}
			if got.Stated || got.Growing != v.growing || got.Date != today || got.Notes == 0 || got.Error > 1e-6 || got.Spread != 12 {
				t.Errorf("%s: %+v", name, got)
			}
			if s := got.Tessitura; s.Low < c.Low || s.High > c.High || s.Low > v.start || s.High < v.start {
				t.Errorf("%s: tessitura %v of %v, started at %d", name, s, c, v.start)
			}
			if most := map[bool]int{true: 20, false: 70}[v.growing]; len(asked) > most {
				t.Errorf("%s: %d notes were asked for", name, len(asked))
			}
		}
	}
}

// The asks of a test, word for word: a letter for the step, r for an easy note.
func script(asked []calib.RangeAsk) string {
	var s []string
	for _, a := range asked {
		rest := ""
		if a.Rest {
			rest = "r"
		}
		s = append(s, fmt.Sprintf("%s%s%d", a.Step.String()[:1], rest, a.Pitch))
	}
	return strings.Join(s, " ")
}

func TestRangeTestAsks(t *testing.T) {
	silent := beyond[1].does
	for _, c := range []struct {
		name    string
		growing bool
		sing    func(calib.RangeAsk) calib.RangeReply
		want    string
	}{
		{"strain ends a direction at once", false, limited(58, 62, 60, beyond[0].does), "e0 s60 d59 d58 d57 u61 u62 u63"},
		{"what does not come, once more after an easy one", false, limited(54, 61, 60, silent),
			"e0 s60 d59 d58 d57 d56 d55 d54 d53 dr58 d53 u61 u62 ur60 u62"},
		{"a growing voice: by whole tones, nothing twice", true, limited(56, 64, 60, silent), "e0 s60 d58 d56 d54 u62 u64 u66"},
		{"stop ends the test", false, limited(58, 62, 60, func(calib.RangeAsk) calib.RangeReply { return reply(calib.Stop) }), "e0 s60 d59 d58 d57"},
		{"nobody sings", false, func(calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid) }, "e0 e0 e0"},
		{"the easy one fails too", false, limited(60, 61, 60, func(calib.RangeAsk) calib.RangeReply { return reply(calib.Unsaid) }), "e0 s60 d59 dr60 d59 u61 u62 ur60 u62"},
		{"the note at ease was heard an octave off", false, func() func(calib.RangeAsk) calib.RangeReply {
			sing, first := limited(59, 61, 60, beyond[0].does), true
			return func(a calib.RangeAsk) calib.RangeReply {
				if first {
					first = false
					return reply(calib.Unsaid, held(72))
				}
				if a.Pitch == 72 {
					return reply(calib.Unsaid, held(60))
				}
				return sing(a)
			}
		}(), "e0 s72 e0 s60 d59 d58 u61 u62"},
		{"never the note at ease again", false, func(a calib.RangeAsk) calib.RangeReply {
			if a.Step == calib.AtEase {
				return reply(calib.Unsaid, held(60))
			}
			return reply(calib.Strain)
		}, "e0 s60 e0 s60 e0 s60 d59 u61"},
		{"strain on the easy one", false, func() func(calib.RangeAsk) calib.RangeReply {
			sing := limited(58, 61, 60, silent)
			return func(a calib.RangeAsk) calib.RangeReply {
				if a.Rest {
					return reply(calib.Strain)
				}
				return sing(a)
			}
		}(), "e0 s60 d59 d58 d57 dr60 u61 u62 ur60"},
		{"a break at 62 and 63 comes for nobody else", false, limited(59, 61, 60, beyond[3].does), "e0 s60 d59 d58 dr60 d58 d57 u61 u62 ur60 u62 u63"},
	} {
		test := calib.NewRangeTest(concert, c.growing)
		asked := take(t, test, c.sing)
		safe(t, c.name, asked, c.growing)
		if got := script(asked); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
	if v, ok := calib.NewRangeTest(concert, false).Voice(today); ok {
		t.Errorf("a voice out of nothing: %+v", v)
	}
}

// What one reply comes to.
func TestRangeHeard(t *testing.T) {
	for _, b := range beyond {
		test := calib.NewRangeTest(concert, false)
		test.Hear(reply(calib.Unsaid, held(60)))
		test.Hear(reply(calib.Unsaid, held(60)))
		if got := test.Hear(b.does(test.Next())); got != b.says {
			t.Errorf("%s: %v, want %v", b.name, got, b.says)
		}
	}
	test := calib.NewRangeTest(concert, false)
	if got := test.Hear(calib.RangeReply{Notes: []pitch.Note{held(60)}}); got != calib.Nothing {
		t.Errorf("no rate: %v", got)
	}
	if got := test.Hear(reply(calib.Stop)); got != calib.Stopped || test.Next().Step != calib.AllDone {
		t.Errorf("stop: %v", got)
	}
	if got := test.Hear(reply(calib.Unsaid, held(60))); got != calib.Nothing || test.Next().Step != calib.AllDone {
		t.Errorf("after the end: %v", got)
	}
}

// A voice that breaks at one note, and sings beyond it at ease, is followed
// over the break.
func TestBreakIsPassedOver(t *testing.T) {
	for _, at := range []int{56, 64} {
		test := calib.NewRangeTest(concert, false)
		sing := limited(50, 69, 60, beyond[0].does)
		asked := take(t, test, func(a calib.RangeAsk) calib.RangeReply {
			if a.Pitch == at {
				return beyond[3].does(a)
			}
			return sing(a)
		})
		safe(t, "a break", asked, false)
		if v, _ := test.Voice(today); v.Comfortable != (theory.Range{Low: 50, High: 69}) {
			t.Errorf("break at %d: %v, want 50–69", at, v.Comfortable)
		}
	}
}

// Whoever sings a semitone short of what is asked has not reached it.
func TestRangeIsWhatWasSung(t *testing.T) {
	test := calib.NewRangeTest(concert, false)
	sing := limited(50, 69, 60, beyond[0].does)
	take(t, test, func(a calib.RangeAsk) calib.RangeReply {
		switch a.Pitch {
		case 49:
			return reply(calib.Unsaid, held(50))
		case 70:
			return reply(calib.Unsaid, held(69.1))
		}
		return sing(a)
	})
	if v, _ := test.Voice(today); v.Comfortable != (theory.Range{Low: 50, High: 69}) || v.Notes < 20 {
		t.Errorf("%+v, want 50–69", v)
	}
}

// Whatever comes, the test ends, keeps to what is safe, never widens the range
// by what was not sung, and leaves a voice that a profile may hold.
func TestRangeTestEndsAlways(t *testing.T) {
	for seed := range uint64(3000) {
		rng := rand.New(rand.NewPCG(seed, 5))
		growing := seed%3 == 0
		test := calib.NewRangeTest(theory.Tuning{A4: 415 + 50*rng.Float64()}, growing)
		start, good := float64(36+rng.IntN(49)), rng.Float64()
		low, high := 200.0, 0.0
		asked := take(t, test, func(a calib.RangeAsk) calib.RangeReply {
			if a.Step == calib.AtEase || rng.Float64() < good {
				at := float64(a.Pitch) + rng.NormFloat64()
				if a.Step == calib.AtEase {
					at = start
				}
				low, high = min(low, at), max(high, at)
				n := held(60)
				n.F0 = test.Hz(calib.RangeAsk{Pitch: 60}) * math.Exp2((at-60)/12)
				return reply(calib.Unsaid, n)
			}
			return beyond[rng.IntN(len(beyond))].does(a)
		})
		safe(t, fmt.Sprint("seed ", seed), asked, growing)
		v, ok := test.Voice(today)
		if !ok {
			continue
		}
		p := calib.Profile{Version: calib.Version, Name: "Ada", Made: today, Voice: &v}
		if err := p.Validate(); err != nil {
			t.Fatalf("seed %d: %+v: %v", seed, v, err)
		}
		if float64(v.Comfortable.Low) < low-.5 || float64(v.Comfortable.High) > high+.5 {
			t.Fatalf("seed %d: %v, sung %.1f–%.1f", seed, v.Comfortable, low, high)
		}
	}
}

func TestWidened(t *testing.T) {
	v := calib.Voice{Comfortable: theory.Range{Low: 48, High: 67}, Tessitura: theory.Range{Low: 52, High: 61}, Notes: 20}
	w := v.Widened(theory.Range{Low: 50, High: 69})
	if w.Comfortable != (theory.Range{Low: 48, High: 69}) || w.Tessitura.Low > 52 || w.Tessitura.High < 61 || w.Notes != 20 {
		t.Errorf("%+v", w)
	}
	if got := v.Widened(theory.Range{Low: 50, High: 60}); got != v {
		t.Errorf("a narrower test changed it: %+v", got)
	}
}

// The tessitura of an unchanged child's voice, A3–F5 (Cooksey, after secondary
// sources), is about C4–B♭4 in handbooks (from memory).
func TestTessitura(t *testing.T) {
	v, err := calib.ParseVoice("A3-F5", usual, today)
	if s := v.Tessitura; err != nil || abs(s.Low-60) > 1 || abs(s.High-70) > 1 {
		t.Errorf("%v, %v", s, err)
	}
}

// From a recording of going down and up: fry, whistle, a wrong octave and what
// is not held do not count.
func TestVoiceOf(t *testing.T) {
	var notes []pitch.Note
	for m := 60.0; m >= 50; m -= 2 {
		notes = append(notes, held(m))
	}
	for m := 62.0; m <= 70; m += 2 {
		notes = append(notes, held(m))
	}
	fry, touched := held(46), heldFor(72, .2)
	fry.Spread, fry.Near = 120, .5
	notes = append(notes, fry, touched, held(88), held(34), held(40), held(79))
	v, ok := calib.VoiceOf(notes, rate, concert, false, today)
	if !ok || v.Comfortable != (theory.Range{Low: 50, High: 70}) || v.Notes != 11 || v.Spread != 12 || v.Error != 0 || v.Stated {
		t.Errorf("%+v, %v", v, ok)
	}
	if v, ok := calib.VoiceOf([]pitch.Note{fry, touched}, rate, concert, false, today); ok {
		t.Errorf("nothing was held: %+v", v)
	}
}

func abs(n int) int { return max(n, -n) }
