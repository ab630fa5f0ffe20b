package synth

import (
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"
	"singback/theory"
)

var a440 = theory.Tuning{A4: 440}

func TestKeyboardIsInTune(t *testing.T) {
	worst := 0.0
	for _, rate := range []int{22050, 48000} {
		for midi := lowestMIDI; midi <= highestMIDI; midi += 3 {
			hz := 440 * math.Exp2(float64(midi-69)/12) // the definition of equal temperament
			for _, steady := range []bool{false, true} {
				x := NewKeyboard(rate).Render(Phrase{{Hz: hz, Duration: 1, Steady: steady}})
				got := measureHz(x[rate/20:], rate, rate/4, rate/2, hz)
				worst = max(worst, math.Abs(cents(got, hz)))
				if e := cents(got, hz); math.Abs(e) > 0.01 {
					t.Errorf("note %d at %d Hz, steady %v: %.5f Hz, want %.5f: off by %.4f cents", midi, rate, steady, got, hz, e)
				}
			}
		}
	}
	t.Logf("worst note is off by %.5f cents", worst)
}

// The times in which the fundamental falls to 1/e are those that the comment
// of decayTime states; the amplitudes are those of the table partials.
func TestKeyboardPartialsDecay(t *testing.T) {
	const rate = 48000
	for _, c := range []struct{ hz, want float64 }{{55, 1.35}, {220, 1.2}, {880, 0.6}, {1046.5, 0.55023}} {
		x := NewKeyboard(rate).Render(Phrase{{Hz: c.hz, Duration: 1.5}})
		const window = rate / 5
		const from, to = rate / 20, rate / 2
		last := math.Inf(1)
		for k := 1; k <= 10; k++ {
			f := c.hz * float64(k)
			early, late := cmplx.Abs(tone(x[from:from+window], rate, f)), cmplx.Abs(tone(x[to:to+window], rate, f))
			got := float64(to-from) / rate / math.Log(early/late)
			want := c.want / (1 + 0.4*float64(k-1))
			if math.Abs(got/want-1) > 0.01 {
				t.Errorf("%g Hz, partial %d falls to 1/e in %.4f s, want %.4f", c.hz, k, got, want)
			}
			if !(early < last) || early == 0 {
				t.Errorf("%g Hz, partial %d has amplitude %g, want less than %g and more than nothing", c.hz, k, early, last)
			}
			last = early
		}
	}
}

func TestKeyboardDoesNotClick(t *testing.T) {
	const rate = 44100
	ms := rate / 1000
	for _, steady := range []bool{false, true} {
		for midi := lowestMIDI; midi <= highestMIDI; midi++ {
			hz := 440 * math.Exp2(float64(midi-69)/12)
			x := NewKeyboard(rate).Render(Phrase{{Hz: hz, Duration: 0.4, Steady: steady}})
			// 40 … 120 ms hold every phase of the lowest note five times.
			held := bend(x[40*ms : 120*ms])
			if b := bend(x[:40*ms]); b > 1.3*held {
				t.Errorf("note %d, steady %v: second difference %.2f times that of the held tone at its start, want at most 1.3", midi, steady, b/held)
			}
			if b := bend(x[400*ms:]); b > 1.02*held {
				t.Errorf("note %d, steady %v: second difference %.2f times that of the held tone at its end, want at most 1.02", midi, steady, b/held)
			}
			if x[0] != 0 || x[len(x)-1] != 0 {
				t.Errorf("note %d: starts at %g and ends at %g, want exact zeros", midi, x[0], x[len(x)-1])
			}
			// The measure sees a click: the same tone cut off at its height.
			at := 100 * ms
			for i := at; i < 120*ms; i++ {
				if math.Abs(x[i]) > math.Abs(x[at]) {
					at = i
				}
			}
			if b := bend([]float64{x[at-1], x[at], 0, 0}); b < 1.3*held && midi < 72 {
				t.Errorf("note %d: cutting it off gives only %.2f: the test hears no click", midi, b/held)
			}
		}
	}
}

// Above its tenth partial a note has nothing, not even where it begins: this
// is where a click would be heard.
func TestKeyboardOnsetIsClean(t *testing.T) {
	const rate, n = 44100, 8192
	x := append(make([]float64, n/2), NewKeyboard(rate).Render(Phrase{{Hz: 220, Duration: 0.5}})...)
	onset, held := spectrum(x[:n]), spectrum(x[n:2*n])
	got := 10 * math.Log10(band(onset, n, rate, 4000, 22050)/band(held, n, rate, 0, 22050))
	t.Logf("above 4 kHz at the onset: %.1f dB", got)
	if got > -70 {
		t.Errorf("%.1f dB above 4 kHz at the onset, want at most -70", got)
	}
}

func TestKeyboardLeavesOutWhatWouldAlias(t *testing.T) {
	const rate, n = 8000, 8192
	hz := 1046.5022612023945 // C6
	x := Keyboard{rate, 0}.Render(Phrase{{Hz: hz, Duration: 1.2, Steady: true}})
	p := spectrum(x[400 : 400+n])
	all := band(p, n, rate, 0, 4000)
	rest := all
	for k := 1.0; k <= 3; k++ {
		rest -= band(p, n, rate, k*hz-10, k*hz+10)
	}
	if db := 10 * math.Log10(rest/all); db > -80 {
		t.Errorf("%.1f dB outside the three partials below 3600 Hz, want at most -80", db)
	}
	if x := (Keyboard{rate, 0}).Render(Phrase{{Hz: 3700, Duration: 0.1}}); peak(x) != 0 {
		t.Errorf("a note above 0.45 of the rate sounds with peak %g, want silence", peak(x))
	}
}

func TestPeakStaysBelowLevel(t *testing.T) {
	for _, c := range []struct {
		level float64
		keys  []theory.Key
	}{{0, theory.Keys()}, {-24, theory.Keys()[:4]}, {12, theory.Keys()[:4]}} {
		bound := fromDB(min(c.level, 0)) // above 0 counts as 0
		loudest := 0.0
		for _, k := range c.keys {
			for s := ByCadence; s <= ByDrone; s++ {
				p := peak(Keyboard{11025, c.level}.Render(s.Phrase(k, a440, 4)))
				loudest = max(loudest, p)
				if p > bound {
					t.Errorf("%v of %v at %g dBFS has peak %g, want at most %g", s, k, c.level, p, bound)
				}
			}
		}
		t.Logf("level %g dBFS: the loudest phrase peaks at %.1f dBFS", c.level, toDB(loudest))
		// The bound is no excuse for silence.
		if toDB(loudest/bound) < -12 {
			t.Errorf("level %g dBFS: the loudest phrase peaks %.1f dB below it, want at most 12", c.level, -toDB(loudest/bound))
		}
	}
}

func TestPeakStaysBelowLevelWhateverIsPlayed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sound := rapid.Custom(func(t *rapid.T) Sound {
			return Sound{
				Hz:       rapid.Float64Range(20, 3000).Draw(t, "hz"),
				Start:    rapid.Float64Range(0, 0.3).Draw(t, "start"),
				Duration: rapid.Float64Range(0, 0.4).Draw(t, "duration"),
				Steady:   rapid.Bool().Draw(t, "steady"),
			}
		})
		p := Phrase(rapid.SliceOfN(sound, 1, 40).Draw(t, "phrase"))
		x := Keyboard{8000, -1}.Render(p)
		if got, bound := peak(x), fromDB(-1); got > bound {
			t.Fatalf("peak %g, want at most %g", got, bound)
		}
		if x[len(x)-1] != 0 {
			t.Fatalf("ends at %g, want 0", x[len(x)-1])
		}
	})
	// Forty times the same note adds up to the bound and no further.
	p := make(Phrase, 40)
	for i := range p {
		p[i] = Sound{Hz: 220, Duration: 0.5, Steady: true}
	}
	if got := toDB(peak(Keyboard{22050, 0}.Render(p))); got > 0 || got < -6 {
		t.Errorf("forty notes in unison peak at %.2f dBFS, want -6 to 0", got)
	}
}

// A note is as loud in a chord of four as alone: no gain rides on the music.
func TestChordIsTheSumOfItsNotes(t *testing.T) {
	k := NewKeyboard(22050)
	chord := Phrase{{Hz: 131, Duration: 0.5}, {Hz: 262, Duration: 0.5}, {Hz: 330, Duration: 0.5}, {Hz: 392, Duration: 0.5}}
	got := k.Render(chord)
	for _, s := range chord {
		for i, x := range k.Render(Phrase{s}) {
			got[i] -= x
		}
	}
	if p := peak(got); p > 1e-15 {
		t.Errorf("the chord differs from the sum of its notes by %g, want 0", p)
	}
}

func TestPhraseLength(t *testing.T) {
	p := Phrase{{Hz: 200, Start: 1, Duration: 0.5}, {Hz: 300, Start: 0.2, Duration: 0.5}}
	if got := p.Length(); got != 1.5 {
		t.Errorf("Length = %g, want 1.5", got)
	}
	// 1.5 s, the release of 80 ms, and the last zero.
	if got := len(Keyboard{1000, 0}.Render(p)); got != 1581 {
		t.Errorf("rendered %d samples, want 1581", got)
	}
	if got := (Keyboard{44100, 0}).Render(nil); len(got) != 0 {
		t.Errorf("an empty phrase has %d samples, want none", len(got))
	}
}
