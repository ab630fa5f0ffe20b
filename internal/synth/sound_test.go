package synth

import (
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"
	"singback/theory"
)

var instruments = []Instrument{Piano, Organ, ElectricPiano}

// What is played at the default has −23 LUFS (EBU R 128; 0.5 LU is its tolerance of 2014) and
// stays under −1 dBTP, however many notes there are, on every instrument, in every register.
func TestLoudness(t *testing.T) {
	const rate = 48000
	k := Keyboard{SampleRate: rate, Level: DefaultLevel}
	c := key(t, "C")
	chord := func(n int) (p Phrase) {
		for i := range n {
			p = append(p, Sound{Hz: 110 * float64(i+2), Duration: 1.5})
		}
		return p
	}
	for _, k.Instrument = range instruments {
		for name, p := range map[string]Phrase{
			"cadence": Cadence(c, a440, 4), "scale": Scale(c, a440, 4), "tonic": Tonic(c, a440, 4), "drone": Drone(c, a440, 4),
			"low": One(41.2), "one": One(220), "high": One(1046.5), "two": chord(2), "eight": chord(8),
			"line": PhraseOf(Line(score(t), a440, 0.5)),
		} {
			x := k.Render(p)
			got, top := lufs(x, rate), truePeak(x)
			if math.Abs(got+23) > 0.1 || top > -1 {
				t.Errorf("%v, %s: %.2f LUFS, %.2f dBTP, want -23 and at most -1", k.Instrument, name, got, top)
			}
			if name == "cadence" || name == "one" {
				theirs, peak := ffmpegs(t, x, rate)
				t.Logf("%v, %s: %.2f LUFS, %.2f dBTP here, %.1f and %.1f by ffmpeg", k.Instrument, name, got, top, theirs, peak)
				if math.Abs(theirs+23) > 0.15 || peak > -1 || math.Abs(peak-top) > 0.2 {
					t.Errorf("%v, %s: ffmpeg reads %.1f LUFS and %.1f dBTP, here %.2f and %.2f", k.Instrument, name, theirs, peak, got, top)
				}
			}
		}
	}
	for _, k.Instrument = range instruments { // as loud as it goes, at the rate with the least above its partials
		k.Level = 0
		for _, rate := range []int{16000, rate} {
			k.SampleRate = rate
			for _, hz := range []float64{65.4, 262, 1046.5} {
				if top := truePeak(k.Render(Phrase{{Hz: hz, Duration: 0.4}, {Hz: 1.5 * hz, Duration: 0.4}})); top > -1 || top < -3 {
					t.Errorf("%v, %.0f Hz: %.2f dBTP, want at most -1", k.Instrument, hz, top)
				}
			}
		}
	}
	// Other rates, another level; what goes on under a singer is no other case.
	for _, rate := range []int{16000, 44100} {
		k := Keyboard{SampleRate: rate, Level: -30}
		if got := lufs(k.Render(Tonic(c, a440, 3)), rate); math.Abs(got+30) > 0.15 {
			t.Errorf("%d Hz: %.2f LUFS, want -30", rate, got)
		}
	}
	k = NewKeyboard(rate)
	voices := Under{Chords: [][]float64{{131, 262, 327.5, 393}}}
	for name, u := range map[string]Under{"drone": NewDrone(c, a440, 3, true), "chord": voices} {
		u.Keyboard = k
		x := make([]float64, 3*rate)
		u.Fill(x, 0)
		if got := lufs(x[rate/10:], rate); math.Abs(got+23) > 0.2 {
			t.Errorf("%s: %.2f LUFS, want -23", name, got)
		}
	}
}

// Nothing exceeds −2.5 dBFS whatever is played however loud, and all ends in silence.
func TestCeiling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sound := rapid.Custom(func(t *rapid.T) Sound {
			return Sound{
				Hz:       rapid.Float64Range(30, 3000).Draw(t, "hz"),
				Start:    rapid.Float64Range(0, 0.3).Draw(t, "start"),
				Duration: rapid.Float64Range(0, 0.2).Draw(t, "duration"),
				Steady:   rapid.Bool().Draw(t, "steady"),
			}
		})
		p := Phrase(rapid.SliceOfN(sound, 1, 6).Draw(t, "phrase"))
		k := Keyboard{SampleRate: 8000, Level: rapid.Float64Range(-20, 0).Draw(t, "level"), Instrument: rapid.SampledFrom(instruments).Draw(t, "instrument")}
		x := k.Render(p)
		if got := peak(x); got > fromDB(-2.5)*(1+1e-12) || x[len(x)-1] != 0 || math.IsNaN(got) {
			t.Fatalf("peak %.2f dBFS, the end at %g", toDB(got), x[len(x)-1])
		}
	})
}

// The fundamental of every note is within 0.2 cents of what is stated, in every tuning, on
// every instrument, from the hammer's noise to the end; so are the partials beside it.
func TestPitchIsExact(t *testing.T) {
	const rate = 48000
	worst := 0.0
	for _, name := range []string{"equal", "just", "just re=10/9", "pythagorean"} {
		tuning, err := theory.ParseTuning(name, 443)
		if err != nil {
			t.Fatal(err)
		}
		k := key(t, "Ab")
		for _, octave := range []int{2, 3, 4, 5} {
			for _, degree := range []int{0, 2, 6} {
				hz := Scale(k, tuning, octave)[degree].Hz
				for _, in := range instruments {
					x := Keyboard{SampleRate: rate, Level: DefaultLevel, Instrument: in}.Render(Phrase{{Hz: hz, Duration: 0.9}})
					for n := 1.0; n <= 4; n++ {
						e := cents(measureHz(x[rate/25:], rate, rate/4, rate/2, n*hz), n*hz)
						if worst = max(worst, math.Abs(e)); math.Abs(e) > 0.2 {
							t.Errorf("%v, %s, %.2f Hz: partial %g is off by %.3f cents", in, name, hz, n, e)
						}
					}
				}
			}
		}
	}
	t.Logf("worst partial: %.4f cents", worst)
}

// After a high-pass of the fourth order at 300 Hz, a laptop's loudspeaker, the bass from E1 to
// C3 keeps three partials in a row within 20 dB of the strongest.
func TestBassOnSmallLoudspeakers(t *testing.T) {
	const rate = 48000
	for _, in := range instruments {
		for midi := 28; midi <= 48; midi += 2 {
			hz := 440 * math.Exp2(float64(midi-69)/12)
			x := Keyboard{SampleRate: rate, Level: DefaultLevel, Instrument: in}.Render(One(hz))
			var left [16]float64
			top := 0.0
			for n := range left {
				f := hz * float64(n+1)
				butterworth := 1 / math.Sqrt(1+math.Pow(300/f, 8))
				left[n] = butterworth * cmplx.Abs(tone(x[rate/20:rate/20+rate/2], rate, f))
				top = max(top, left[n])
			}
			best, row := 0, 0
			for _, a := range left {
				if row++; toDB(a/top) < -20 {
					row = 0
				}
				best = max(best, row)
			}
			if best < 3 {
				t.Errorf("%v, note %d: %d partials in a row, want 3", in, midi, best)
			}
		}
	}
}

// level returns the level in dB of a band of the note between two times, against the whole
// note's RMS.
func bandLevel(x []float64, rate, from, n int, low, high float64) float64 {
	p := spectrum(x[from : from+n])
	weight := 0.2580 * float64(n) * float64(n) / 2 // of the window, and of one half of the spectrum
	return 10 * math.Log10(band(p, n, rate, low, high)/weight)
}

// A piano: partials get weaker upward more steeply in the treble, there is something above
// 4 kHz, a harder blow is brighter, the sound decays in two stages, faster in the treble, and
// begins with noise that ends.
func TestPianoIsOne(t *testing.T) {
	const rate = 48000
	k := NewKeyboard(rate)
	render := func(k Keyboard, hz float64) []float64 { return k.Render(Phrase{{Hz: hz, Duration: 6}}) }
	centroid := func(x []float64, hz float64) float64 {
		sum, moment := 0.0, 0.0
		for n := 1.0; n <= 20 && n*hz < 20000; n++ {
			a := cmplx.Abs(tone(x[rate/20:rate/4], rate, n*hz))
			sum, moment = sum+a*a, moment+a*a*n
		}
		return moment / sum
	}
	bass, middle, treble := render(k, 65.41), render(k, 261.63), render(k, 1046.5)
	if a, b, c := centroid(bass, 65.41), centroid(middle, 261.63), centroid(treble, 1046.5); !(a > 1.5*b && b > c && c > 1) {
		t.Errorf("the centre of the partials' power lies at partial %.2f, %.2f, %.2f", a, b, c)
	}
	soft, hard := k, k
	soft.Level, hard.Level = -38, -16
	if a, b, c := centroid(render(soft, 261.63), 261.63), centroid(middle, 261.63), centroid(render(hard, 261.63), 261.63); !(a+0.1 < b && b+0.1 < c) {
		t.Errorf("soft, usual and loud: %.2f, %.2f, %.2f", a, b, c)
	}
	// From C4 up something of every note lies above 4 kHz, more of the higher and of the harder
	// struck; from -35 to -14 LUFS that changes by less than 12 dB.
	above := func(level, hz float64) float64 {
		x := render(Keyboard{SampleRate: rate, Level: level}, hz)
		return bandLevel(x, rate, rate/50, 8192, 4000, 12000) - bandLevel(x, rate, rate/50, 8192, 20, 24000)
	}
	last := -50.0
	for _, hz := range []float64{261.63, 523.25, 1046.5} {
		soft, usual, hard := above(-35, hz), above(-23, hz), above(-14, hz)
		t.Logf("%.0f Hz above 4 kHz: %.1f, %.1f, %.1f dB at -35, -23, -14 LUFS", hz, soft, usual, hard)
		if !(usual > last && soft < usual && usual < hard && hard-soft < 12 && usual < -10) {
			t.Errorf("%.0f Hz: above 4 kHz there are %.1f, %.1f, %.1f dB of a soft, a usual and a hard blow", hz, soft, usual, hard)
		}
		last = usual + 6
	}
	// Decay in dB a second, early and late. Cheng 2015, Weinreich 1977; the rates of fallOf's
	// comment. The fundamental of C4: 60 dB in 4.6 s, then a quarter of that.
	for _, c := range []struct {
		hz          float64
		x           []float64
		early, late float64
	}{{261.63, middle, 13, 3.3}, {1046.5, treble, 39, 9.9}} {
		at := func(s float64) float64 {
			from := int(s * rate)
			return toDB(cmplx.Abs(tone(c.x[from:from+rate/5], rate, c.hz)))
		}
		early, late := (at(0.02)-at(0.22))/0.2, at(4.5)-at(5.5)
		if math.Abs(early/c.early-1) > 0.15 || late > 0.6*early || late < 0.9*c.late {
			t.Errorf("%.0f Hz falls by %.1f, later by %.1f dB a second, want %.1f and %.1f or a little more", c.hz, early, late, c.early, c.late)
		}
	}
	// Between the partials of C5, where only noise is.
	x := render(k, 523.25)
	early, later := bandLevel(x, rate, 0, 2048, 680, 900), bandLevel(x, rate, rate/4, 2048, 680, 900)
	if ref := toDB(rms(x[:rate])); early-ref < -55 || early-ref > -20 || later > early-25 {
		t.Errorf("noise between the partials: %.1f dB at the blow, %.1f dB later", early-ref, later-ref)
	}
	y := render(k, 523.25)
	for i := range x {
		if x[i] != y[i] {
			t.Fatal("the same note differs")
		}
	}
}

// Nowhere in a note, at its start, its end or between, is there anything above 14 kHz that is
// louder than 60 dB under the note: a click has all frequencies alike. A cut is heard.
func TestNoClicks(t *testing.T) {
	const rate, n = 48000, 512
	loudest := func(x []float64) float64 {
		worst := math.Inf(-1)
		for at := 0; at+n <= len(x); at += n / 2 {
			worst = max(worst, bandLevel(x, rate, at, n, 14000, 24000))
		}
		return worst
	}
	for _, in := range instruments {
		for midi := 28; midi <= 84; midi += 4 {
			hz := 440 * math.Exp2(float64(midi-69)/12)
			x := Keyboard{SampleRate: rate, Level: DefaultLevel, Instrument: in}.Render(Phrase{{Hz: hz, Duration: 0.5}})
			note := toDB(rms(x[:rate/2]))
			x = append(make([]float64, n), append(x, make([]float64, n)...)...)
			if got := loudest(x) - note; got > -60 {
				t.Errorf("%v, note %d: a click of %.1f dB", in, midi, got)
			}
			at := rate / 4
			for i := at; i < at+rate/30; i++ {
				if math.Abs(x[i]) > math.Abs(x[at]) {
					at = i
				}
			}
			clear(x[at:])
			if got := loudest(x) - note; got < -50 {
				t.Errorf("%v, note %d: cut off it has only %.1f dB", in, midi, got)
			}
		}
	}
}

func TestParseInstrument(t *testing.T) {
	for i, name := range InstrumentNames() {
		if got, err := ParseInstrument(" " + name); err != nil || got != Instrument(i) || got.String() != name {
			t.Errorf("%q is read as %v, %v", name, got, err)
		}
	}
	if _, err := ParseInstrument("lute"); err == nil {
		t.Error("a lute is an instrument")
	}
}
