package synth

import (
	"math"
	"math/cmplx"
	"testing"

	"singback/theory"
)

// Each chord sounds in its turn and no longer, its bass not lost under the
// other voices, and the whole as loud as the level says.
func TestChords(t *testing.T) {
	const rate, seconds = 11025, 1.2
	k := key(t, "Ab major")
	chords, err := theory.ParseProgression("I ii65 V7 I6", k)
	if err != nil {
		t.Fatal(err)
	}
	voices, _, err := theory.KeyboardTexture().Voice(chords)
	if err != nil {
		t.Fatal(err)
	}
	p := Chords(k, a440, voices, seconds)
	if got, want := p.Length(), 4.5*seconds; math.Abs(got-want) > 1e-9 {
		t.Errorf("%d chords take %g s, want %g", len(voices), got, want)
	}
	x := Keyboard{SampleRate: rate, Level: -24}.Render(p)
	if got := lufs(x, rate); math.Abs(got+24) > 0.2 {
		t.Errorf("they have %.2f LUFS, want -24", got)
	}
	for i, v := range voices {
		from := int(float64(i) * seconds * rate)
		middle := x[from+rate/10 : from+rate]
		level := func(p theory.Pitch) float64 { return cmplx.Abs(tone(middle, rate, a440.HzIn(k, p))) }
		for _, other := range v[1:] {
			if got := toDB(level(v[0]) / level(other)); got < -12 { // a soundboard radiates little of its fundamental
				t.Errorf("chord %d: the bass %v is %.1f dB under %v", i+1, v[0], -got, other)
			}
		}
		for _, before := range voices[max(0, i-1)][:] {
			heard := false
			for _, own := range v {
				if own.MIDI()%12 == before.MIDI()%12 || (own.MIDI()-before.MIDI())%12 == 7 || (own.MIDI()-before.MIDI())%12 == -5 || own.MIDI() < before.MIDI() {
					heard = true // its partials may be there
				}
			}
			if got := toDB(level(before) / level(v[0])); !heard && got > -30 {
				t.Errorf("chord %d: %v of the chord before still sounds, %.1f dB under the bass", i+1, before, -got)
			}
		}
	}
	// No step at the end of a chord that the held tones do not have.
	held := bend(x[rate/2 : rate])
	for i := 1; i <= len(voices); i++ {
		at := int(float64(i)*seconds*rate) - rate/20
		if i == len(voices) {
			at += rate * 6 / 10
		}
		if got := bend(x[at:min(len(x), at+rate/20)]); got > 2.5*held {
			t.Errorf("the end of chord %d bends %.1f times as much as the first chord", i, got/held)
		}
	}
}
