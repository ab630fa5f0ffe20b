package synth

import (
	"math"
	"testing"

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

func TestKeyboardDoesNotClick(t *testing.T) {
	const rate = 44100
	ms := rate / 1000
	for _, steady := range []bool{false, true} {
		for midi := lowestMIDI; midi <= highestMIDI; midi++ {
			hz := 440 * math.Exp2(float64(midi-69)/12)
			x := NewKeyboard(rate).Render(Phrase{{Hz: hz, Duration: 0.4, Steady: steady}})
			// 40 … 120 ms hold every phase of the lowest note five times.
			held := bend(x[40*ms : 120*ms])
			// A struck note is brightest at its start, where its upper partials are not yet gone.
			if b := bend(x[:40*ms]); b > 2*held || steady && b > 1.3*held {
				t.Errorf("note %d, steady %v: second difference %.2f times that of the held tone at its start, want at most 2, steady 1.3", midi, steady, b/held)
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

func TestKeyboardLeavesOutWhatWouldAlias(t *testing.T) {
	const rate, n = 8000, 8192
	hz := 1046.5022612023945 // C6
	x := Keyboard{SampleRate: rate, Level: 0}.Render(Phrase{{Hz: hz, Duration: 1.2, Steady: true}})
	p := spectrum(x[400 : 400+n])
	all := band(p, n, rate, 0, 4000)
	rest := all
	for k := 1.0; k <= 3; k++ {
		rest -= band(p, n, rate, k*hz-10, k*hz+10)
	}
	if db := 10 * math.Log10(rest/all); db > -80 {
		t.Errorf("%.1f dB outside the three partials below 3600 Hz, want at most -80", db)
	}
	if x := (Keyboard{SampleRate: rate, Level: 0}).Render(Phrase{{Hz: 3700, Duration: 0.1}}); peak(x) != 0 {
		t.Errorf("a note above 0.45 of the rate sounds with peak %g, want silence", peak(x))
	}
}

func TestPhraseLength(t *testing.T) {
	p := Phrase{{Hz: 200, Start: 1, Duration: 0.5}, {Hz: 300, Start: 0.2, Duration: 0.5}}
	if got := p.Length(); got != 1.5 {
		t.Errorf("Length = %g, want 1.5", got)
	}
	// 1.5 s, the release, which is 80 ms of an organ and longer of a string, and the last zero.
	for in, want := range map[Instrument]int{Piano: 1760, Organ: 1581} {
		if got := len(Keyboard{SampleRate: 1000, Level: 0, Instrument: in}.Render(p)); got != want {
			t.Errorf("%v: rendered %d samples, want %d", in, got, want)
		}
	}
	if got := (Keyboard{SampleRate: 44100, Level: 0}).Render(nil); len(got) != 0 {
		t.Errorf("an empty phrase has %d samples, want none", len(got))
	}
}
