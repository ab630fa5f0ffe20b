package theory_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	. "singback/theory"
)

// checkHands asserts from the spelled notes what BandTexture promises of a chord:
// nothing of the search is used.
func checkHands(t *testing.T, texture BandTexture, r Roman, h Hands) {
	t.Helper()
	fail := func(format string, args ...any) {
		t.Helper()
		t.Errorf("%s in %v, left %v, right %v: "+format, append([]any{r, r.Key, h.Left, h.Right}, args...)...)
	}
	notes := h.Notes()
	if len(notes) != texture.Parts || len(h.Left) > 2 || len(h.Right) < 3 || len(h.Right) > 4 {
		fail("%d notes, want %d", len(notes), texture.Parts)
		return
	}
	span := func(hand []Pitch) int { return hand[len(hand)-1].MIDI() - hand[0].MIDI() }
	if span(h.Left) > texture.Left || span(h.Right) > texture.Right {
		fail("a hand spans too much")
	}
	chord := r.Chord
	if notes[0].Note != chord.Bass || !texture.Bass.Contains(notes[0]) {
		fail("the bass is not %v, or out of range", chord.Bass)
	}
	third, hasThird := chord.Quality.Tone(3)
	_, hasSeventh := chord.Quality.Tone(7)
	times := map[Note]int{}
	for i, n := range notes {
		times[n.Note]++
		if i > 0 && (n.MIDI() <= notes[i-1].MIDI() || !texture.Upper.Contains(n)) {
			fail("%v is out of order or range", n)
		}
		if !slices.Contains(chord.Notes(), n.Note) {
			fail("%v is none of the chord's", n)
		}
		for _, low := range notes[:i] {
			d := n.MIDI() - low.MIDI()
			// No minor third below C3, no major third below B♭2, no fifth below B♭1
			// (Lowell and Pullig, Arranging for Large Jazz Ensemble, and common practice).
			if d == 3 && low.MIDI() < 48 || d == 4 && low.MIDI() < 46 || d == 7 && low.MIDI() < 34 || (d == 1 || d == 2) && low.MIDI() < 51 {
				fail("%v and %v are too low for %d semitones", low, n, d)
			}
			ninth, _ := chord.Tone(n.Note)
			dominant := low.Note == chord.Root && ninth == Degree{2, -1} && hasThird && third.Alter == 0 && hasSeventh
			if (d == 13 || d == 25 || d == 37) && !dominant {
				fail("a minor ninth between %v and %v", low, n)
			}
		}
	}
	for _, d := range chord.Quality.Tones() {
		n := chord.Note(d)
		guide := d.Step == 3 || d.Step == 7 || d.Step == 4 && !hasThird
		jars := d.Step == 3 && d.Alter == 0 && chord.Quality != MajorTriad && slices.Contains(chord.Notes(), chord.Note(Degree{4, 0}))
		if guide && !jars && times[n] == 0 && n != chord.Bass {
			fail("the guide tone %v is missing", n)
		}
		if (d.Step == 7 || d.Step == 2 || d.Step == 4 && hasThird || d.Step == 6 && hasSeventh) && times[n] > 1 {
			fail("%v is doubled", n)
		}
	}
}

// Chords with ninths and more in two hands, with the tones that teachers of keyboard
// harmony give them (left – right hand, common practice; the extensions of each chord
// as Terefenko, Jazz Theory, 2014, lists them): the fifth is left out first.
func TestBandTones(t *testing.T) {
	for _, c := range []struct{ chord, tones string }{
		{"Cmaj9", "C E B D G"}, {"Dm9", "D F C E A"}, {"Dm11", "D F C E G"}, {"G9", "G F A B D"}, {"G13", "G F A B E"},
		{"G9sus4", "G F A C D"}, {"F/G", "G F A C"}, {"Cmaj7", "C E G B"}, {"C13sus4", "C F Bb D A"}, {"C6/9", "C E A D G"},
	} {
		// A chord by itself may have doubled tones; what matters is which tones sound.
		hands, _, err := NewBandTexture(5).Voice(mustProgression(t, c.chord, mustKey(t, "C")))
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, n := range hands[0].Notes() {
			if name := n.Note.ASCII(); !slices.Contains(got, name) {
				got = append(got, name)
			}
		}
		want := strings.Fields(c.tones)
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s has the tones %v, want %v", c.chord, got, want)
		}
	}
	four, _, err := NewBandTexture(4).Voice(mustProgression(t, "E7#9 G13", mustKey(t, "C")))
	if err != nil || spelledSet(four[0]) != "D E F## G#" || spelledSet(four[1]) != "B E F G" {
		t.Errorf("in four notes: %v, %v", four, err)
	}
}

func spelledSet(h Hands) string {
	var names []string
	for _, n := range h.Notes() {
		names = append(names, n.Note.ASCII())
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// In ii–V–I the guide tones stay or fall by step: the seventh of each chord falls a
// semitone or tone to the third of the next, and the third stays as its seventh
// (Terefenko, Jazz Theory, 2014); so in every key, with four, five and six notes.
func TestBandGuideTones(t *testing.T) {
	for parts := MinBandParts; parts <= MaxBandParts; parts++ {
		for _, k := range Keys() {
			if k.Mode != Major {
				continue
			}
			p := mustProgression(t, "iim9 V13 Imaj9", k)
			hands, _, err := NewBandTexture(parts).Voice(p)
			if err != nil {
				t.Errorf("%v with %d notes: %v", k, parts, err)
				continue
			}
			for i := range p {
				checkHands(t, NewBandTexture(parts), p[i], hands[i])
			}
			for i := range 2 {
				third, _ := p[i].Chord.Quality.Tone(3)
				seventh, _ := p[i].Chord.Quality.Tone(7)
				for _, n := range hands[i].Notes()[1:] {
					least := 99
					for _, m := range hands[i+1].Notes()[1:] {
						least = min(least, max(m.MIDI()-n.MIDI(), n.MIDI()-m.MIDI()))
					}
					if n.Note == p[i].Chord.Note(third) && least != 0 || n.Note == p[i].Chord.Note(seventh) && least > 2 {
						t.Errorf("%v with %d notes: from %v to %v the guide tone %v moves by %d", k, parts, hands[i], hands[i+1], n, least)
					}
				}
			}
		}
	}
}

// Random progressions of plain and of extended chords, in all keys: what is promised of
// every chord holds, and the same call gives the same.
func TestBandRandom(t *testing.T) {
	symbols := strings.Fields("maj9 maj7 6/9 m7 m9 m11 7 9 13 7b9 7#9 7alt 9sus4 13sus4 11 m7b5 dim7 m6 m(maj7) 7#5 maj7#11 13#11 7b9#9 add9 sus4 sus2 m + dim 6")
	rng := rand.New(rand.NewPCG(15, 10))
	set, refused := 0, 0
	for _, k := range Keys() {
		numerals := drawnNumeral(k.Mode)
		for range 8 {
			var p []Roman
			for range 2 + rng.IntN(4) {
				if rng.IntN(3) == 0 {
					p = append(p, mustRoman(t, numerals.Example(int(rng.Uint32())), k))
					continue
				}
				root := k.Note(k.ChromaticDegrees()[rng.IntN(12)])
				c, err := ParseChord(root.ASCII() + symbols[rng.IntN(len(symbols))])
				if err != nil {
					t.Fatal(err)
				}
				p = append(p, k.Roman(c))
			}
			for parts := MinBandParts; parts <= MaxBandParts; parts++ {
				texture := NewBandTexture(parts)
				hands, cost, err := texture.Voice(p)
				if err != nil {
					refused++
					t.Logf("%s with %d notes: %v", written(p), parts, err)
					continue
				}
				set++
				for i := range p {
					checkHands(t, texture, p[i], hands[i])
				}
				if again, twice, err := texture.Voice(p); err != nil || twice != cost || len(again) != len(hands) || spelledSet(again[0]) != spelledSet(hands[0]) {
					t.Errorf("%s is set twice as %v and %v", written(p), hands, again)
				}
			}
		}
	}
	t.Logf("%d set, %d refused", set, refused)
	if set < 650 || refused*50 > set {
		t.Errorf("%d progressions are set, %d refused: want nearly all", set, refused)
	}
}

// What is shifted lies higher, and what cannot be set is told.
func TestBandErrors(t *testing.T) {
	p := mustProgression(t, "Dm9 G13 Cmaj9", mustKey(t, "C"))
	plain, _, _ := NewBandTexture(5).Voice(p)
	texture := NewBandTexture(5).Shift(12)
	shifted, _, err := texture.Voice(p)
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range shifted {
		checkHands(t, texture, p[i], h)
		if top, was := h.Right[3].MIDI(), plain[i].Right[3].MIDI(); top < was+5 {
			t.Errorf("chord %d: the top is %d, an octave lower it was %d", i, top, was)
		}
	}
	if _, _, err := NewBandTexture(6).Voice(mustProgression(t, "G7 C5", mustKey(t, "C"))); err == nil || !strings.Contains(err.Error(), "chord 2, I(no3), does not fit into two hands with 6 notes") {
		t.Errorf("a power chord with six notes: %v", err)
	}
	if _, _, err := NewBandTexture(5).Voice(nil); err == nil {
		t.Error("no chord is set")
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("seven notes do not panic")
			}
		}()
		NewBandTexture(7)
	}()
}
