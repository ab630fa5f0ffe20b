package hardset

import (
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"

	"singback/internal/synth"
	"singback/internal/testkit"
)

// Half is one of the two disjoint halves of the set.
type Half int8

// Everything may be tuned on Dev and nothing on HeldOut.
const (
	Dev Half = iota
	HeldOut
)

// String returns "dev" or "held-out".
func (h Half) String() string { return [...]string{"dev", "held-out"}[h] }

// Condition is what makes an item hard.
type Condition string

// The conditions. Levels are against the sounding voice, which is near −20 dBFS
// but in Quiet; under everything lies pink noise of −78 dBFS.
const (
	Clean    Condition = "clean"
	Noise40  Condition = "noise 40 dB" // breath-shaped
	Noise20  Condition = "noise 20 dB"
	Noise10  Condition = "noise 10 dB"
	Noise0   Condition = "noise 0 dB"
	Hum      Condition = "mains hum"        // 50 or 60 Hz and harmonics, −15 to −25 dB
	Reverb   Condition = "room"             // RT60 0.6 s, direct over reflected 3 to 6 dB
	SmallMic Condition = "small microphone" // 250 to 4000 Hz
	Quiet    Condition = "quiet voice"      // −48 dBFS
	Drone    Condition = "own drone"        // root and fifth at −18 dB, known
	Breathy  Condition = "breathy"          // the breath 5 to 14 dB under the voice
	Creaky   Condition = "creaky"           // every second cycle weaker, and irregular
	Bright   Condition = "bright vowels"    // first formant near twice 330 to 660 Hz
	High     Condition = "above 660 Hz"
	Fast     Condition = "fast onsets" // notes of 130 to 250 ms that start within 4 ms

	NobodyRoom   Condition = "nobody: room"
	NobodyHum    Condition = "nobody: hum"
	NobodyBreath Condition = "nobody: breath"
	NobodyTyping Condition = "nobody: typing"
	NobodyPrompt Condition = "nobody: own prompt" // known
	NobodyTalker Condition = "nobody: distant talker"

	// Cut, gated, or sent as comfort noise between the notes: see shutter. The last
	// four take these in turn.
	Silence        Condition = "digital silence" // an editor's cuts
	Gate           Condition = "noise gate"      // a phone's, with hangover
	Comfort        Condition = "comfort noise"   // a codec's
	SilenceMic     Condition = "silence: small microphone"
	SilenceQuiet   Condition = "silence: quiet voice"
	SilenceBreathy Condition = "silence: breathy"
	SilenceCreaky  Condition = "silence: creaky"
	NobodyGate     Condition = "nobody: gate" // that a breath, strokes of keys and hum open

	Steady Condition = "steady" // see Grid
)

// plan is what each half holds: how many items of how many seconds.
var plan = []struct {
	Condition
	items   int
	seconds float64
}{
	{Clean, 5, 11},
	{Noise40, 4, 8}, {Noise20, 4, 8}, {Noise10, 4, 8}, {Noise0, 4, 8},
	{Hum, 4, 8}, {Reverb, 4, 8}, {SmallMic, 3, 9}, {Quiet, 3, 9}, {Drone, 4, 8},
	{Breathy, 3, 9}, {Creaky, 3, 9}, {Bright, 3, 9}, {High, 3, 9}, {Fast, 3, 7},
	{NobodyRoom, 1, 10}, {NobodyHum, 2, 6}, {NobodyBreath, 1, 10}, {NobodyTyping, 1, 10}, {NobodyPrompt, 2, 6}, {NobodyTalker, 1, 10},
	{Silence, 5, 8}, {Gate, 6, 8}, {Comfort, 4, 8},
	{SilenceMic, 3, 7}, {SilenceQuiet, 3, 7}, {SilenceBreathy, 3, 7}, {SilenceCreaky, 3, 7}, {NobodyGate, 2, 6},
}

// shutters of the conditions with silence between the notes, of item i.
func (c Condition) shutter(half Half, i int) (s shutter, ok bool) {
	switch c {
	case Silence:
		return scissors, true
	case Gate:
		return phone, true
	case Comfort:
		return codec, true
	case SilenceMic, SilenceQuiet, SilenceBreathy, SilenceCreaky:
		return shutter(i+int(half)) % shutters, true
	case NobodyGate:
		return phone + shutter(i)%2, true
	}
	return 0, false
}

// Conditions lists the conditions of Items, in their order.
func Conditions() []Condition {
	out := make([]Condition, len(plan))
	for i, p := range plan {
		out[i] = p.Condition
	}
	return out
}

// Nobody tells whether nobody sings in items of the condition.
func (c Condition) Nobody() bool { return len(c) > 6 && c[:6] == "nobody" }

// rates are those of the items, in turn.
var rates = [...]int{44100, 48000, 44100, 22050, 44100}

// Items renders a half, item by item, at most limit of each condition, or all
// if limit is 0; of the conditions given, or all if none is.
func Items(half Half, limit int, conditions ...Condition) iter.Seq[Item] {
	return func(yield func(Item) bool) {
		for c, p := range plan {
			if len(conditions) > 0 && !slices.Contains(conditions, p.Condition) {
				continue
			}
			n := p.items
			if limit > 0 {
				n = min(n, limit)
			}
			for i := range n {
				if !yield(render(half, c, i)) {
					return
				}
			}
		}
	}
}

// seeded returns the source of everything random in one item.
func seeded(half Half, kind string, i int) *rand.Rand {
	seed := uint64(half) + 1
	for _, b := range []byte(kind) {
		seed = seed*1099511628211 + uint64(b)
	}
	return rand.New(rand.NewPCG(seed, uint64(i)))
}

// render makes item i of condition c of the plan.
func render(half Half, c, i int) Item {
	p := plan[c]
	rng := seeded(half, string(p.Condition), i)
	rate := rates[(c+i)%len(rates)]
	name := fmt.Sprintf("%s %d", p.Condition, i+1)
	if p.Nobody() {
		return nobody(rng, half, p.Condition, name, rate, i, int(p.seconds*float64(rate)))
	}
	s := newSinger(rng, rate, synth.VoiceType((c+i+int(half))%5))
	switch p.Condition {
	case Clean:
		s = newSinger(rng, rate, synth.VoiceType(i%5))
	case Breathy, SilenceBreathy:
		s.breath = 5 + 9*rng.Float64()
	case Creaky, SilenceCreaky:
		s = newSinger(rng, rate, synth.VoiceType(i%3))
		s = s.within(s.low, s.low*2)
		s.creak, s.jitter, s.shimmer = 0.15+0.25*rng.Float64(), 10+15*rng.Float64(), 0.8
	case Bright:
		s = newSinger(rng, rate, synth.Alto+synth.VoiceType(i%2)).within(330, 660)
		s.bright = true
	case High:
		s = newSinger(rng, rate, synth.Soprano+synth.VoiceType(i%2)).within(660, 1300)
	case Fast:
		s.fast = true
	}
	shutter, shuts := p.shutter(half, i)
	s.apart = shuts
	t := s.melody(p.seconds)
	n := len(t.x)
	x := append([]float64(nil), t.x...)
	var known []float64
	// Noise in the shape of the voice's own vowel and, in every second item, of
	// air alone.
	breath := func() []float64 {
		if i%2 == 1 {
			return testkit.Breath(n, rate, rng.Uint64())
		}
		return synth.Voice{SampleRate: rate, Type: s.voice}.Breath(n, rng.Uint64())
	}
	switch p.Condition {
	case Noise40:
		synth.AddAt(x, breath(), 40)
	case Noise20:
		synth.AddAt(x, breath(), 20)
	case Noise10:
		synth.AddAt(x, breath(), 10)
	case Noise0:
		synth.AddAt(x, breath(), 0)
	case Hum:
		synth.AddAt(x, mains(rng, n, rate, i), 15+10*rng.Float64())
	case Reverb:
		x = synth.Room{RT60: 0.6, DirectDB: 3 + 3*rng.Float64()}.Reverb(x, rate, rng.Uint64())[:n]
	case SmallMic, SilenceMic:
		synth.SmallMicrophone(x, rate)
	case Quiet, SilenceQuiet:
		testkit.Scale(x, math.Pow(10, -28./20))
	case Drone:
		root := s.tonic
		for root > 220 {
			root /= 2
		}
		chord := synth.Phrase{}
		for _, hz := range []float64{root, root * math.Exp2(7./12)} {
			chord = append(chord, synth.Sound{Hz: hz, Duration: float64(n)/float64(rate) + 1, Steady: true})
		}
		synth.AddAt(x, synth.NewKeyboard(rate).Render(chord)[:n], 18)
		known = partials(chord, rate)
	}
	floor := -78.0
	if shuts && p.Condition != SilenceQuiet {
		floor += 25 * rng.Float64()
	}
	add(x, synth.Pink(n, rng.Uint64()), floor)
	if shuts {
		t.shut(rng, shutter, x, rate)
	}
	it := t.item(p.Condition, name, rate, x)
	it.Known = known
	return it
}

// mains is hum of 50 Hz in even items and 60 Hz in odd ones, a little off as
// mains are.
func mains(rng *rand.Rand, n, rate, i int) []float64 {
	return synth.Hum(n, rate, float64(50+10*(i%2))*(1+0.0004*rng.NormFloat64()))
}

// nobody renders n samples in which nobody sings, in a quiet room.
func nobody(rng *rand.Rand, half Half, c Condition, name string, rate, i, n int) Item {
	t := take{x: make([]float64, n), f0: make([]float64, n)}
	x := make([]float64, n)
	var known []float64
	floor := -62 + 6*rng.Float64()
	switch c {
	case NobodyRoom:
		floor = -50 // a fan
	case NobodyHum:
		add(x, mains(rng, n, rate, i), -36-8*rng.Float64())
	case NobodyBreath:
		// Breathing in and out beside the microphone.
		b := synth.Voice{SampleRate: rate, Type: synth.Alto}.Breath(n, rng.Uint64())
		for i := range x {
			swell := math.Sin(2 * math.Pi * float64(i) / float64(rate) / 3.2)
			x[i] = 0.02 * swell * swell * b[i]
		}
	case NobodyTyping:
		for at := 0.2; at < float64(n)/float64(rate)-0.3; at += 0.07 + 0.3*rng.Float64() {
			click(x[int(at*float64(rate)):], rng, rate)
		}
	case NobodyPrompt:
		// The prompt's notes come back from the room.
		var p synth.Phrase
		for at := 0.3; at < float64(n)/float64(rate)-1.4; at += 1.2 {
			p = append(p, synth.Sound{Hz: 131 * math.Exp2(float64(rng.IntN(25))/12), Start: at, Duration: 0.9})
		}
		y := synth.Room{RT60: 0.5, DirectDB: 0}.Reverb(synth.NewKeyboard(rate).Render(p), rate, rng.Uint64())
		y = append(y, make([]float64, n)...)[:n]
		add(x, y, -38-6*rng.Float64())
		known = partials(p, rate)
	case NobodyGate:
		add(x, mains(rng, n, rate, i), -50-8*rng.Float64())
		b := synth.Voice{SampleRate: rate, Type: synth.Tenor}.Breath(n, rng.Uint64())
		for at := 0.3; at < float64(n)/float64(rate)-0.6; at += 0.5 + 0.6*rng.Float64() {
			from, size := int(at*float64(rate)), int((0.1+0.3*rng.Float64())*float64(rate))
			for i := range min(size, n-from) {
				x[from+i] += 0.02 * math.Sin(math.Pi*float64(i)/float64(size)) * b[from+i]
			}
			click(x[min(n-1, from+2*size):], rng, rate)
		}
	case NobodyTalker:
		y := synth.Room{RT60: 0.7, DirectDB: -6}.Reverb(talk(rng, rate, n), rate, rng.Uint64())[:n]
		synth.SmallMicrophone(y, rate)
		add(x, y, -50)
	}
	add(x, synth.Pink(n, rng.Uint64()), floor)
	if s, ok := c.shutter(half, i); ok {
		t.shut(rng, s, x, rate)
	}
	it := t.item(c, name, rate, x)
	it.Known = known
	return it
}

// click adds one stroke of a key: the snap and the thump of the key going down,
// and the softer snap when it comes up.
func click(x []float64, rng *rand.Rand, rate int) {
	up := 0.05 + 0.04*rng.Float64()
	ring, thump := 1500+2500*rng.Float64(), 120+150*rng.Float64()
	loud := 0.03 + 0.12*rng.Float64()
	for _, k := range []struct{ at, size float64 }{{0, loud}, {up, loud / 3}} {
		from := int(k.at * float64(rate))
		for i := from; i < min(len(x), from+rate/15); i++ {
			t := float64(i-from) / float64(rate)
			x[i] += k.size * (0.6*math.Exp(-t/0.002)*rng.NormFloat64() +
				0.5*math.Exp(-t/0.005)*math.Sin(2*math.Pi*ring*t) + 0.4*math.Exp(-t/0.012)*math.Sin(2*math.Pi*thump*t))
		}
	}
}

// talk is n samples of something like speech: short syllables whose pitch
// always moves.
func talk(rng *rand.Rand, rate, n int) []float64 {
	v := synth.Voice{SampleRate: rate, Type: synth.Tenor}
	base := 105 + 60*rng.Float64()
	if rng.IntN(2) == 0 {
		v.Type, base = synth.Alto, 1.8*base
	}
	var notes []synth.Sung
	for total := 0.0; total < float64(n)/float64(rate); {
		s := synth.NewSung(base*math.Exp2(0.25*rng.NormFloat64()), 0.1+0.15*rng.Float64())
		s.Vowel, s.Consonant = synth.Vowel(rng.IntN(5)), synth.Consonant(rng.IntN(4))
		s.VibratoCents, s.JitterCents = 0, 15
		s.ScoopCents, s.ScoopSeconds = 400*rng.NormFloat64(), s.Duration
		notes = append(notes, s)
		pause := 0.02
		if rng.IntN(6) == 0 {
			pause = 0.4
		}
		notes = append(notes, synth.Rest(pause))
		total += s.Duration + pause
	}
	x, _ := v.Sing(notes, rng.Uint64())
	return append(x, make([]float64, n)...)[:n]
}

// SNRs of the Grid in dB; +Inf is clean.
var SNRs = []float64{math.Inf(1), 20, 10, 0}

// gridNotes is how many frequencies the grid has.
const gridNotes = 25

// Grid renders the steady notes at one of the SNRs: 0.6 s of an exactly
// periodic vowel that starts within 5 ms, a little
// before 0.25 s (see its Notes), in white noise, at
// frequencies spread evenly over 65 to 1050 Hz on a logarithmic scale, every
// step-th of them. The SNR is that of the sounding note over the whole band of
// 22 kHz.
func Grid(half Half, snr float64, step int) iter.Seq[Item] {
	return func(yield func(Item) bool) {
		for i := 0; i < gridNotes; i += step {
			if !yield(steady(half, snr, i)) {
				return
			}
		}
	}
}

func steady(half Half, snr float64, i int) Item {
	const rate, seconds, after = 44100, 0.6, 0.15
	rng := seeded(half, "steady", i) // the same note at every SNR
	hz := 65 * math.Pow(1050./65, (float64(i)+rng.Float64())/gridNotes)
	f := vowels[rng.IntN(len(vowels))]
	amps := testkit.Vowel(hz, min(60, int(9000/hz)), max(hz, 1.1*f[0]), max(hz+200, 1.1*f[1]), 1.1*f[2])
	var t take
	// A start anywhere within a hop of 10 ms.
	t.rest(0.25-0.01*rng.Float64(), rate)
	onset := len(t.x)
	x := testkit.Tone(rate, seconds, testkit.Steady(hz), amps)
	for i := range x {
		x[i] *= rise(float64(i)/(0.005*rate)) * rise(float64(len(x)-1-i)/(0.005*rate))
		t.x, t.f0 = append(t.x, x[i]), append(t.f0, hz)
	}
	t.notes = []Note{{float64(onset) / rate, float64(len(t.x)) / rate, hz}}
	t.rest(after, rate)
	y := append([]float64(nil), t.x...)
	if !math.IsInf(snr, 1) {
		add(y, testkit.White(len(y), rng.Uint64()), -20-snr) // Tone is at −20 dBFS
	}
	return t.item(Steady, fmt.Sprintf("%.1f Hz", hz), rate, y)
}
