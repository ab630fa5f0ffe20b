package exercise

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"singback/pitch"
	"singback/theory"
)

func key(t testing.TB, s string) theory.Key {
	t.Helper()
	k, err := theory.ParseKey(s)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func degree(t testing.TB, s string, k theory.Key) theory.Degree {
	t.Helper()
	d, err := theory.ParseDegree(s, k, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func item(t testing.TB, k, asked string) Item {
	t.Helper()
	kk := key(t, k)
	return Item{
		Key: kk, Tuning: theory.Tuning{A4: 440},
		Register: MiddleRegister(kk), Asked: degree(t, asked, kk),
	}
}

// held is a take of one steady note of two seconds.
func held(hz float64) Take {
	const rate = 48000
	return Take{
		SampleRate: rate, Found: true, Start: rate / 2, Heard: 3 * rate, Loudest: -20, Voiced: 2,
		Note: pitch.Note{Onset: rate / 2, Offset: rate/2 + 2*rate, F0: hz, SE: 0.2, Spread: 4, Near: 0.95, Level: -22, VoicedShare: 1},
	}
}

// sungAt is a take of a note so many cents above the target of the item.
func sungAt(it Item, c theory.Cents) Take {
	p, _ := it.Target()
	return held(theory.Shift(it.Tuning.Hz(p), c))
}

// The borders are common practice: right up to the tolerance, another degree
// from half a semitone on, undecided within 5 cents of that border, which goes
// before the tolerance.
func TestJudgeBorders(t *testing.T) {
	it := item(t, "Ab major", "la")
	for _, c := range []struct {
		off, tolerance theory.Cents
		want           Outcome
	}{
		{0, 35, InTune},
		{34.99, 35, InTune},
		{-34.99, 35, InTune},
		{35.01, 35, Sharp},
		{-35.01, 35, Flat},
		{20, 15, Sharp},
		{20, 35, InTune},
		{-40, 35, Flat},
		{44.9, 35, Sharp},
		{44.9, 50, InTune},
		{45.1, 50, Ambiguous},
		{-45.1, 35, Ambiguous},
		{50, 35, Ambiguous},
		{54.9, 35, Ambiguous},
		{-54.9, 15, Ambiguous},
		{55.1, 50, OtherDegree},
		{-55.1, 15, OtherDegree},
		{100, 50, OtherDegree},
		{599, 35, OtherDegree},
		{-599, 35, OtherDegree},
	} {
		v := Judge(it, sungAt(it, c.off), Tolerance{Cents: c.tolerance})
		if v.Outcome != c.want {
			t.Errorf("%+g cents at tolerance %g: %v, want %v", c.off, c.tolerance, v.Outcome, c.want)
		}
		if math.Abs(v.FromAsked-c.off) > 1e-6 {
			t.Errorf("%+g cents: measured %g from the asked degree", c.off, v.FromAsked)
		}
		if c.want != OtherDegree && (!v.HasSung || v.Sung != it.Asked || v.Cents != v.FromAsked) {
			t.Errorf("%+g cents: sung %v %v (%g cents), want the asked degree", c.off, v.HasSung, v.Sung, v.Cents)
		}
	}
}

// The wrong note is named with its syllable, its own tuning and its octave.
func TestJudgeNamesTheDegreeSung(t *testing.T) {
	for _, c := range []struct {
		key, asked string
		off        theory.Cents
		sung       string
		cents      theory.Cents
		shift      int
	}{
		{"Ab major", "la", -200, "sol", 0, 0},
		{"Ab major", "la", -188, "sol", 12, 0},
		{"Ab major", "la", 100, "te", 0, 0},
		{"Ab major", "la", 200 - 30, "ti", -30, 0},
		{"C major", "ti", 100, "do", 0, 1},    // the do above ti
		{"C major", "do", -100, "ti", 0, -1},  // the ti below do
		{"C major", "do", -1300, "ti", 0, -2}, // and an octave lower
		{"C major", "sol", 600, "ra", 0, 1},
		{"A minor", "me", 100, "mi", 0, 0},
		{"A minor", "ti", -100, "te", 0, 0},
		{"A minor", "le", 1300, "la", 0, 1},
		{"F# major", "fa", 100, "fi", 0, 0},
	} {
		it := item(t, c.key, c.asked)
		v := Judge(it, sungAt(it, c.off), Tolerance{Cents: 35})
		want := degree(t, c.sung, it.Key)
		if v.Outcome != OtherDegree || v.Sung.Semitones() != want.Semitones() || v.OctaveShift != c.shift || math.Abs(v.Cents-c.cents) > 1e-6 {
			t.Errorf("%s, asked %s, sung %+g cents off: %v %v %+d octaves %g cents; want %s %+d octaves %g cents",
				c.key, c.asked, c.off, v.Outcome, v.Sung, v.OctaveShift, v.Cents, c.sung, c.shift, c.cents)
		}
	}
}

// Test tones against the tonic C4 = 261.6256 Hz; the distances in cents are
// computed from 1200·log2(f/261.6256).
func TestJudgeTestTones(t *testing.T) {
	for _, c := range []struct {
		hz      float64
		asked   string
		outcome Outcome
		cents   theory.Cents
		shift   int
	}{
		{130.81, "do", InTune, -0.04, -1},
		{255, "do", Flat, -44.41, 0},
		{264, "do", InTune, 15.64, 0},
		{270, "do", Ambiguous, 54.55, 0},
		{293.66, "re", InTune, -0.03, 0},
		{327.03, "mi", InTune, -13.70, 0},
		{330, "mi", InTune, 1.96, 0},
		{392.44, "sol", InTune, 1.96, 0},
		{436.04, "la", InTune, -15.65, 0},
		{440, "la", InTune, 0, 0},
		{490.55, "ti", InTune, -11.72, 0},
		{523.25, "do", InTune, 0, 1},
	} {
		it := item(t, "C major", c.asked)
		v := Judge(it, held(c.hz), Tolerance{Cents: 35})
		if v.Outcome != c.outcome || math.Abs(v.Cents-c.cents) > 0.01 || v.OctaveShift != c.shift {
			t.Errorf("%g Hz as %s: %v %.3f cents %+d octaves; want %v %.2f %+d", c.hz, c.asked, v.Outcome, v.Cents, v.OctaveShift, c.outcome, c.cents, c.shift)
		}
	}
}

func TestJudgeOctave(t *testing.T) {
	it := item(t, "Eb major", "mi")
	for _, shift := range []int{-2, -1, 1, 2} {
		take := sungAt(it, theory.Cents(1200*shift)+10)
		if v := Judge(it, take, Tolerance{Cents: 35}); v.Outcome != InTune || v.OctaveShift != shift || math.Abs(v.Cents-10) > 1e-6 {
			t.Errorf("%+d octaves, any octave counts: %v, %+d octaves, %g cents", shift, v.Outcome, v.OctaveShift, v.Cents)
		}
		if v := Judge(it, take, Tolerance{Cents: 35, StrictOctave: true}); v.Outcome != OtherDegree || v.OctaveShift != shift || v.Sung != it.Asked {
			t.Errorf("%+d octaves, strict: %v, %+d octaves, sung %v", shift, v.Outcome, v.OctaveShift, v.Sung)
		}
	}
	if v := Judge(it, sungAt(it, 10), Tolerance{Cents: 35, StrictOctave: true}); v.Outcome != InTune {
		t.Errorf("the octave asked, strict: %v", v.Outcome)
	}
}

func TestJudgeSteadinessComesThird(t *testing.T) {
	it := item(t, "G major", "re")
	for _, c := range []struct {
		name   string
		off    theory.Cents
		spread theory.Cents
		near   float64
		want   Outcome
		names  bool
	}{
		{"right and steady", 5, 10, 1, InTune, true},
		{"right but wavering", 5, 31, 0.9, Unsteady, true},
		{"sharp but wavering", 40, 31, 0.9, Unsteady, true},
		{"wrong and wavering is wrong", 100, 40, 0.9, OtherDegree, true},
		{"ambiguous goes before wavering", 50, 40, 0.9, Ambiguous, true},
		{"wandering too far for any degree", 5, 51, 0.7, Unsteady, false},
		{"wandering far from it", 200, 80, 0.3, Unsteady, false},
		{"a glide with a slow middle", 5, 20, 0.5, Unsteady, false},
		{"a slow scoop, then held", 5, 10, 0.65, InTune, true},
	} {
		take := sungAt(it, c.off)
		take.Note.Spread, take.Note.Near = c.spread, c.near
		v := Judge(it, take, Tolerance{Cents: 35})
		if v.Outcome != c.want || v.HasSung != c.names {
			t.Errorf("%s: %v, names a degree: %v; want %v, %v", c.name, v.Outcome, v.HasSung, c.want, c.names)
		}
	}
}

// What the machine could not measure is never the singer's fault.
func TestJudgeNotMeasured(t *testing.T) {
	it := item(t, "C major", "la")
	for _, c := range []struct {
		name string
		take Take
		want Reason
	}{
		{"silence", Take{Loudest: -90}, TooQuiet},
		{"a whisper under the limit", Take{Loudest: -61}, TooQuiet},
		{"a note under the limit", change(sungAt(it, 0), func(t *Take) { t.Note.Level = -61 }), TooQuiet},
		{"noise", Take{Loudest: -20, Unpitched: 3}, TooNoisy},
		{"a click", Take{Loudest: -20, Unpitched: 0.02}, TooQuiet},
		{"a scrap of voice", Take{Loudest: -20, Voiced: 0.09, Unpitched: 1}, TooShort},
		{"lost samples and nothing else", Take{Loudest: -20, Lost: true, Unpitched: 2}, LostSamples},
		{"lost samples inside the note", change(sungAt(it, 0), func(t *Take) { t.Lost, t.Note.Lost = true, true }), LostSamples},
		{"a struck note dying away", change(sungAt(it, 0), func(t *Take) { t.Note.DecayDB, t.Note.DecayFit, t.Note.Spread = -8, 0.99, 0.1 }), OwnSound},
		{"one dying away in noise", change(sungAt(it, 0), func(t *Take) {
			t.Note.DecayDB, t.Note.DecayFit, t.Note.Spread, t.Beside = -8, 0.7, 5, Beside{Looks: 20, Other: -60, Hum: -60, Wander: 0.2}
		}), OwnSound},
		{"one falling steeply into the noise", change(sungAt(it, 0), func(t *Take) { t.Note.DecayDB, t.Note.DecayFit, t.Note.Spread = -20, 0.65, 2.5 }), OwnSound},
		{"a short chord", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 2, Other: -30, Hum: -60, Wander: 0.01} }), SeveralTones},
		{"speech alone", Take{Loudest: -20, Voiced: 1.2, Spoken: true}, NotHeld},
		{"another tone as loud", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -3, Hum: -60, Wander: 5} }), SeveralTones},
		{"a measure of several tones", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -60, Hum: -60, Gaps: 5} }), SeveralTones},
		{"a tone and a weak other", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -30, Hum: -60, Wander: 0.1} }), SeveralTones},
		{"a tone over hum", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -60, Hum: -30, Wander: 0.1} }), SeveralTones},
		{"a chord that is no note", Take{Loudest: -20, Voiced: 1.2, Spoken: true, Beside: Beside{Looks: 20, Other: 0, Hum: -60}}, SeveralTones},
		{"a moment of a chord", change(sungAt(it, 0), func(t *Take) { t.Note.Offset, t.Amid = t.Note.Onset+48000/4, 0.4 }), TooNoisy},
		{"mains hum", change(held(100.02), func(t *Take) { t.Note.Level, t.Note.Spread = -45, 0.1 }), TooNoisy},
	} {
		v := Judge(it, c.take, Tolerance{Cents: 35})
		if v.Outcome != NotMeasured || v.Reason != c.want || v.HasSung || v.Counts() {
			t.Errorf("%s: %v, reason %v; want not measured, %v", c.name, v.Outcome, v.Reason, c.want)
		}
	}
	for _, c := range []struct {
		name string
		take Take
	}{
		{"lost samples before the note", change(sungAt(it, 0), func(t *Take) { t.Lost = true })},
		{"a singer's diminuendo", change(sungAt(it, 0), func(t *Take) { t.Note.DecayDB, t.Note.DecayFit, t.Note.Spread = -8, 0.99, 6 })},
		{"a voice over a weaker tone", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -15, Hum: -60, Wander: 2} })},
		{"a voice over hum", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -60, Hum: -5, Wander: 2} })},
		{"a short still note over a weak tone", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 3, Other: -25, Hum: -60, Wander: 0.1} })},
		{"a test tone in noise", change(sungAt(it, 0), func(t *Take) { t.Beside = Beside{Looks: 20, Other: -45, Hum: -60, Wander: 0.1} })},
		{"a short note after a consonant", change(sungAt(it, 0), func(t *Take) { t.Note.Offset, t.Amid = t.Note.Onset+48000/4, 0.2 })},
		{"a long note amid noise", change(sungAt(it, 0), func(t *Take) { t.Amid = 2 })},
		{"a steady test tone", change(sungAt(it, 0), func(t *Take) { t.Note.Spread = 0 })},
	} {
		if v := Judge(it, c.take, Tolerance{Cents: 35}); v.Outcome != InTune {
			t.Errorf("%s: %v %v, want in tune", c.name, v.Outcome, v.Reason)
		}
	}
}

func change(t Take, f func(*Take)) Take {
	f(&t)
	return t
}

// The slide into a note counts as settling, however many notes it was cut into.
func TestJudgeTimes(t *testing.T) {
	it := item(t, "C major", "la")
	take := sungAt(it, 0)
	take.Note.Settle = 0.15
	take.Start -= 24000
	v := Judge(it, take, Tolerance{Cents: 35})
	if math.Abs(v.Settle-0.65) > 1e-9 || math.Abs(v.Held-2) > 1e-9 || v.Answer != 0 {
		t.Errorf("settled after %g, held %g, answered after %g; want 0.65, 2, 0", v.Settle, v.Held, v.Answer)
	}
}

// Transposing the question and the answer together changes nothing.
func TestJudgeCommutesWithTransposing(t *testing.T) {
	keys := theory.Keys()
	rapid.Check(t, func(t *rapid.T) {
		tol := Tolerance{Cents: rapid.Float64Range(MinTolerance, MaxTolerance).Draw(t, "tolerance"), StrictOctave: rapid.Bool().Draw(t, "strict")}
		off := rapid.Float64Range(-2400, 2400).Draw(t, "off")
		spread := rapid.Float64Range(0, 80).Draw(t, "spread")
		mode := rapid.IntRange(0, 1).Draw(t, "mode")
		step := rapid.IntRange(0, 6).Draw(t, "step")
		near := math.Abs(math.Mod(math.Abs(off)+50, 100) - 50)
		if math.Abs(near-tol.Cents) < 1e-6 || math.Abs(near-45) < 1e-6 || near > 50-1e-6 || math.Mod(math.Abs(off), 1200) > 599.999 && math.Mod(math.Abs(off), 1200) < 600.001 {
			t.Skip("on a border, where rounding decides")
		}
		var first Verdict
		for i := mode; i < len(keys); i += 2 {
			k := keys[i]
			it := Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: Register{TonicOctave: 4}, Asked: k.ScaleDegrees()[step]}
			take := sungAt(it, off)
			take.Note.Spread = spread
			v := Judge(it, take, tol)
			if i == mode {
				first = v
				continue
			}
			if v.Outcome != first.Outcome || v.Sung != first.Sung || v.OctaveShift != first.OctaveShift || math.Abs(v.Cents-first.Cents) > 1e-6 {
				t.Fatalf("%v: %+v; %v: %+v", k, v, keys[mode], first)
			}
		}
	})
}

// A wider tolerance never turns a right answer wrong.
func TestJudgeToleranceIsMonotone(t *testing.T) {
	it := item(t, "D major", "mi")
	rapid.Check(t, func(t *rapid.T) {
		off := rapid.Float64Range(-600, 600).Draw(t, "off")
		a := rapid.Float64Range(MinTolerance, MaxTolerance).Draw(t, "narrow")
		b := rapid.Float64Range(a, MaxTolerance).Draw(t, "wide")
		narrow, wide := Judge(it, sungAt(it, off), Tolerance{Cents: a}), Judge(it, sungAt(it, off), Tolerance{Cents: b})
		if narrow.Outcome == InTune && wide.Outcome != InTune {
			t.Fatalf("%+g cents: in tune at %g, %v at %g", off, a, wide.Outcome, b)
		}
		if narrow.Outcome != wide.Outcome && wide.Outcome != InTune {
			t.Fatalf("%+g cents: %v at %g, %v at %g", off, narrow.Outcome, a, wide.Outcome, b)
		}
	})
}

func TestToleranceAndWindowRanges(t *testing.T) {
	for _, c := range []float64{math.NaN(), -1, 0, 4.99, 50.01, math.Inf(1)} {
		if (Tolerance{Cents: c}).Validate() == nil {
			t.Errorf("a tolerance of %g cents was accepted", c)
		}
	}
	for _, c := range []float64{MinTolerance, DefaultTolerance, MaxTolerance} {
		if err := (Tolerance{Cents: c}).Validate(); err != nil {
			t.Error(err)
		}
	}
	if err := DefaultWindow().Validate(); err != nil {
		t.Error(err)
	}
	if err := DefaultWindow().Recorded().Validate(); err != nil {
		t.Error(err)
	}
	for _, w := range []Window{{}, {Hold: 0.4, Silence: 0.5}, {Hold: 2, Silence: 0.1}, {Hold: 2, Silence: 0.5, Timeout: -1}, {Hold: math.NaN(), Silence: 0.5}} {
		if w.Validate() == nil {
			t.Errorf("the window %+v was accepted", w)
		}
	}
}

// Who begins on another degree and walks to the one asked has found it; who knew it,
// slid into it, or put one mistake right, has not walked (common practice).
func TestFoundBySteps(t *testing.T) {
	for _, c := range []struct {
		key, asked, way string // the way in degrees, the answer last; an octave mark ' or , after a syllable
		want            bool
	}{
		{"C major", "la", "fa sol la", true},
		{"C major", "la", "do re mi fa sol la", true},
		{"C major", "la", "do' ti la", true},
		{"C major", "sol", "do mi sol", true},
		{"C major", "la", "do mi sol la", true},
		{"A minor", "sol", "do me sol", true},
		{"C major", "re", "do re", true},
		{"C major", "ti", "do' ti", true},
		{"C major", "fi", "re mi fi", true},
		{"C major", "fa", "sol mi re mi fa", true}, // the last stretch is a way
		{"C major", "la", "la", false},
		{"C major", "la", "sol la", false},           // a mistake put right
		{"C major", "la", "la sol fa sol la", false}, // known from the first
		{"C major", "la", "la, ti, do re mi fa sol la", false},
		{"C major", "la", "fa la", false},
		{"C major", "sol", "do sol", false}, // a leap from do is how a singer knows
		{"C major", "la", "fa ti la", false},
		{"C major", "la", "sol le la", false}, // creeping up by semitones
	} {
		it := item(t, c.key, c.asked)
		it.Register = Register{TonicOctave: 4}
		var notes []pitch.Note
		for _, name := range strings.Fields(c.way) {
			octave := 0.0
			if rest, ok := strings.CutSuffix(name, "'"); ok {
				name, octave = rest, 1
			} else if rest, ok := strings.CutSuffix(name, ","); ok {
				name, octave = rest, -1
			}
			d := degree(t, name, it.Key)
			// As in tune as a singer on the way is.
			hz := it.Hz(it.pitchOf(theory.Degree{Step: 1})) * math.Exp2(octave+(it.Tuning.Cents(d)+15*float64(len(notes)%2))/1200)
			notes = append(notes, pitch.Note{F0: hz})
		}
		take := sungAt(it, 0)
		take.Note.F0 = notes[len(notes)-1].F0
		take.Path = notes[:len(notes)-1]
		v := Judge(it, take, Tolerance{Cents: 35})
		if v.BySteps != c.want || v.Outcome != InTune {
			t.Errorf("%s in %s, sung %s: %v, found by steps %v; want in tune, %v", c.asked, c.key, c.way, v.Outcome, v.BySteps, c.want)
		}
		// A way to another degree finds nothing.
		take.Note.F0 = theory.Shift(take.Note.F0, 100)
		if v := Judge(it, take, Tolerance{Cents: 35}); v.BySteps {
			t.Errorf("%s in %s, sung %s and a semitone too high: found by steps", c.asked, c.key, c.way)
		}
	}
}
