package calib_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"singback/calib"
	"singback/internal/synth"
	"singback/internal/testkit"
	"singback/pitch"
)

// hall is the rate of the simulated singers' microphone.
const hall = 16000

// A simulated singer: a model voice with a comfortable range, that does
// something else outside of it.
type simulated struct {
	name    string
	voice   synth.VoiceType
	low     int // comfortable, MIDI
	high    int
	start   int
	brk     int // a note at which the voice breaks; 0
	growing bool
	level   float64 // dBFS, at ease
}

var singers = []simulated{
	{"bass", synth.Bass, 40, 60, 48, 0, false, -20},
	{"tenor", synth.Tenor, 48, 67, 55, 62, false, -20},
	{"alto", synth.Alto, 54, 72, 60, 0, false, -20},
	{"soprano", synth.Soprano, 60, 79, 67, 0, false, -20},
	{"child", synth.Child, 59, 73, 64, 0, true, -20},
}

// outside is what the voice does beyond its range; below and above differ.
type outside int

const (
	strain outside = iota // sings it, and says that it strains
	fry                   // fry below, whistle above
	jump                  // the voice jumps
	octave                // an octave off
)

// sing sings one ask, in the singer's way: on ah, as range profiles are taken
// (Schneider-Stickler 2016, from memory), and off by 15 cents.
func (s simulated) sing(a calib.RangeAsk, out outside, rng *rand.Rand) (x []float64, word calib.Word) {
	midi := float64(a.Pitch)
	if a.Step == calib.AtEase {
		midi = float64(s.start)
	}
	n := synth.NewSung(equal(0, 440)*math.Exp2((midi+.15*rng.NormFloat64())/12), .7)
	n.Level = s.level - 3
	notes := []synth.Sung{synth.Rest(.2), n, synth.Rest(.1)}
	below, above := midi < float64(s.low), midi > float64(s.high)
	switch {
	case !below && !above && a.Pitch != s.brk || a.Pitch == 0:
	case a.Pitch == s.brk || out == jump:
		notes[1].Duration = .5
		up := n
		up.Hz *= math.Exp2(5.0 / 12)
		up.Duration = .4
		notes = slices.Insert(notes, 2, up)
	case out == strain:
		word = calib.Strain
	case out == octave && below:
		notes[1].Hz *= 2
	case out == octave:
		notes[1].Hz /= 2
	case below: // fry: irregular, every second cycle weaker
		notes[1].Hz, notes[1].Creak, notes[1].JitterCents, notes[1].ShimmerDB, notes[1].Level = 45+20*rng.Float64(), .8, 250, 3, n.Level-10
	default: // whistle: nearly a sine
		notes[1].Hz, notes[1].Level = 1150+200*rng.Float64(), n.Level-6
	}
	x, _ = synth.Voice{SampleRate: hall, Type: s.voice}.Sing(notes, rng.Uint64())
	return x, word
}

// A room, and what must be said of it.
type place struct {
	name   string
	floor  float64 // of pink noise, dBFS
	hum    float64 // mains
	humAt  float64 // dBFS
	gain   float64 // dB before the converter, which clips
	leak   float64 // dB against what is played; 0 for headphones
	small  bool
	advice []calib.Advice
}

var places = []place{
	{name: "clean", floor: -78},
	{name: "a small microphone", floor: -75, small: true},
	{name: "noise 30 dB below the voice", floor: -50},
	{name: "noise 20 dB below", floor: -40, advice: []calib.Advice{calib.Fan}},
	{name: "noise 13 dB below, 10 below soft singing", floor: -33, advice: []calib.Advice{calib.QuieterRoom, calib.Nearer, calib.Fan}},
	{name: "50 Hz, 20 dB below", floor: -75, hum: 50, humAt: -40, advice: []calib.Advice{calib.Hum}},
	{name: "60 Hz, 20 dB below", floor: -75, hum: 60, humAt: -40, advice: []calib.Advice{calib.Hum}},
	{name: "clipping", floor: -75, gain: 20, advice: []calib.Advice{calib.TurnDown}},
	{name: "leak", floor: -75, leak: -25, advice: []calib.Advice{calib.Headphones}},
	{name: "faint", floor: -85, gain: -32, advice: []calib.Advice{calib.TurnUp}},
}

// heard is x as the microphone in that place gives it.
func (p place) heard(x []float64, rng *rand.Rand) []float64 {
	x = plus(x, at(p.floor, synth.Pink(len(x), rng.Uint64())), at(-82, testkit.White(len(x), rng.Uint64())))
	if p.hum != 0 {
		// The mains are in another phase each time.
		x = plus(x, at(p.humAt, synth.Hum(len(x)+hall/50, hall, p.hum))[rng.IntN(hall/50):])
	}
	if p.small {
		synth.SmallMicrophone(x, hall)
	}
	synth.Clip(x, p.gain)
	return x
}

// follow is a tracker and a segmenter as the drill has them, with the gate and
// what is expected.
func follow(t testing.TB, x []float64, gate, low, high float64) []pitch.Note {
	t.Helper()
	cfg := pitch.DefaultConfig(hall)
	cfg.MinLevel, cfg.Low, cfg.High = gate, low, high
	tr, err := pitch.NewTracker(cfg)
	if err != nil {
		t.Fatal(err)
	}
	seg, err := pitch.NewSegmenter(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return seg.Flush(seg.Push(nil, tr.Flush(tr.Push(nil, x))))
}

// inspect measures a place with a singer in it.
func (p place) inspect(t testing.TB, s simulated, rng *rand.Rand) calib.Room {
	t.Helper()
	noise, err := calib.MeasureNoise(p.heard(make([]float64, 2*hall), rng), hall)
	if err != nil {
		t.Fatal(err)
	}
	n := synth.NewSung(equal(s.start, 440), 1.4)
	n.Level = s.level
	x, _ := synth.Voice{SampleRate: hall, Type: s.voice}.Sing([]synth.Sung{synth.Rest(.2), n, synth.Rest(.2)}, rng.Uint64())
	ease, err := calib.MeasureEase(p.heard(x, rng), hall)
	if err != nil {
		t.Fatalf("%s, %s: %v", s.name, p.name, err)
	}
	played := make([]float64, 3*hall/2)
	if p.leak != 0 {
		played = echoed(played, hall, .08, p.leak)
	}
	echo, err := calib.FindEcho(p.heard(played, rng), hall, probeLevel)
	if err != nil {
		t.Fatal(err)
	}
	if p.leak != 0 && (!echo.Heard || math.Abs(echo.Delay-.08) > .005 || math.Abs(echo.Level-p.leak-p.gain) > 2) {
		t.Errorf("%s, %s: %+v", s.name, p.name, echo)
	}
	if noise.Talked() {
		t.Errorf("%s, %s: %.2f of the empty room is called voiced", s.name, p.name, noise.Voiced)
	}
	return calib.NewRoom(today, &noise, &ease, &echo)
}

// Bass to child, in every place: the room is recognised, and advice given where
// it is due and nowhere else; the range is found within a semitone by the notes
// of the real tracker; the keyboard's tuning within 2 cents.
func TestSimulatedSingers(t *testing.T) {
	t.Parallel()
	worst, asks, tests := 0.0, 0, 0
	for i, s := range singers {
		for j, p := range places {
			if (i+j)%3 != 0 { // one or two singers a place, three or four places a singer
				continue
			}
			if raceDetector && (i+j)%9 != 0 {
				continue
			}
			name := s.name + ", " + p.name
			rng := rand.New(rand.NewPCG(uint64(i), uint64(j)))
			room := p.inspect(t, s, rng)
			if got := calib.Advise(room); !slices.Equal(got, p.advice) || room.Hum != p.hum || room.Clipped != (p.gain > 0) || room.Leaks != (p.leak != 0) {
				t.Errorf("%s: %v, want %v; %+v", name, got, p.advice, room)
			}

			test := calib.NewRangeTest(concert, s.growing)
			out := outside((i + j/3) % 4)
			asked := take(t, test, func(a calib.RangeAsk) calib.RangeReply {
				x, word := s.sing(a, out, rng)
				low, high := test.Expect(a)
				return calib.RangeReply{Notes: follow(t, p.heard(x, rng), room.Gate, low, high), Rate: hall, Word: word}
			})
			asks += len(asked)
			tests++
			safe(t, name, asked, s.growing)
			v, ok := test.Voice(today)
			if c := v.Comfortable; !ok || abs(c.Low-s.low) > 1 || abs(c.High-s.high) > 1 {
				t.Errorf("%s (%d): found %v, want %d–%d: %s", name, out, c, s.low, s.high, script(asked))
			}
			if v.Error > 25 || v.Spread > 20 {
				t.Errorf("%s: error %.1f, spread %.1f; sung with 15 and some 8", name, v.Error, v.Spread)
			}

			a4 := []float64{440, 442, 432.4, 445.2}[(i+j)/3%4]
			var phrase synth.Phrase
			for k, midi := range []int{69, 60, 64, 67} {
				phrase = append(phrase, synth.Sound{Hz: equal(midi, a4), Start: .2 + .7*float64(k), Duration: .55})
			}
			x := p.heard(synth.Keyboard{SampleRate: hall, Level: -6}.Render(phrase), rng)
			tuned, err := calib.FindTuning(x, hall, nil)
			d := math.Abs(off(tuned.A4, a4))
			worst = max(worst, d)
			if err != nil || d > 2 || d > 3*tuned.SE+.2 {
				t.Errorf("%s: %+v, want %g: %v", name, tuned, a4, err)
			}
			p := calib.Profile{Version: calib.Version, Name: "Ada", Made: today, Voice: &v, Room: &room}
			if i := tuned.Instrument(today); err == nil {
				p.Instrument = &i
			}
			if err := p.Validate(); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	t.Logf("%d range tests, %d notes; tuning at worst %.3f cents off", tests, asks, worst)
}

// tried is how many seeds of so many are tried: a third with the race detector.
func tried(seeds uint64) uint64 {
	if raceDetector {
		return (seeds + 2) / 3
	}
	return seeds
}

// No false alarm in a clean room, and none missed where there is something: over
// many singers, levels and floors.
func TestNoFalseAlarm(t *testing.T) {
	t.Parallel()
	for seed := range tried(24) {
		rng := rand.New(rand.NewPCG(seed, 6))
		s := singers[seed%5]
		s.start += rng.IntN(9) - 4
		s.level = -34 + 20*rng.Float64()
		clean := place{name: "clean", floor: -80 + 15*rng.Float64(), small: seed%2 == 1}
		if got := calib.Advise(clean.inspect(t, s, rng)); got != nil {
			t.Errorf("seed %d, %s at %.0f dBFS, floor %.0f: %v", seed, s.name, s.level, clean.floor, got)
		}
		bad := clean
		bad.leak, bad.gain = -40+30*rng.Float64(), 6-s.level
		if got := bad.inspect(t, s, rng); !got.Clipped || !got.Leaks {
			t.Errorf("seed %d, %s: clipping %v, leak %v (%.1f dB)", seed, s.name, got.Clipped, got.Leaks, bad.leak)
		}
	}
}
