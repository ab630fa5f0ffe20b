package theory_test

import (
	"fmt"

	"singback/theory"
)

func ExampleParseChord() {
	for _, s := range []string{"F#ø7", "BbΔ7", "F/G", "Eb7(b9,#11)", "G7alt", "G7bad"} {
		c, err := theory.ParseChord(s)
		if err != nil {
			fmt.Println(err)
			continue
		}
		fmt.Println(c, c.Notes())
	}
	// Output:
	// F♯m7♭5 [F♯ A C E]
	// B♭maj7 [B♭ D F A]
	// F/G [G F A C]
	// E♭7♭9♯11 [E♭ G B♭ D♭ F♭ A]
	// G7alt [G B D♭ D♯ F A♭ A♯]
	// not a chord: "G7bad": "bad" behind "G7" is not understood; want something like m, 7, maj7, dim, aug, sus4, 6, 9, add9, b5 or #11
}

func ExampleParseRoman() {
	k, _ := theory.ParseKey("Ab major")
	for _, s := range []string{"V6/5", "viio7/ii", "bVI", "Ger65", "IV/sol"} {
		r, _ := theory.ParseRoman(s, k)
		fmt.Println(r, r.Chord, r.Chord.Notes())
	}
	c, _ := theory.ParseChord("Bb7/D")
	fmt.Println(k.Roman(c))
	// Output:
	// V65 E♭7/G [G B♭ D♭ E♭]
	// vii°7/ii A°7 [A C E♭ G♭]
	// ♭VI F♭ [F♭ A♭ C♭]
	// Ger65 D°7𝄫3/F♭ [F♭ A♭ C♭ D]
	// IV/sol D♭/E♭ [E♭ D♭ F A♭]
	// V65/V
}

func ExampleTexture_Voice() {
	k, _ := theory.ParseKey("F")
	p, _ := theory.ParseProgression("I IV V7 I", k)
	voicing, cost, _ := theory.KeyboardTexture().Voice(p)
	for i, v := range voicing {
		fmt.Println(p[i], v)
	}
	fmt.Println("cost", cost)

	p, _ = theory.ParseProgression("V42 I", k)
	_, _, err := theory.ChoirTexture().Voice(p)
	fmt.Println(err)
	// Output:
	// I [F2 C4 F4 A4]
	// IV [B♭2 D4 F4 B♭4]
	// V7 [C3 C4 E4 B♭4]
	// I [F3 C4 F4 A4]
	// cost 14
	// no voicing keeps the rules: from chord 1, V42, to chord 2, I: every way has a seventh that does not fall by step
}

func ExamplePassingChords() {
	k, _ := theory.ParseKey("C")
	from, _ := theory.ParseChord("C")
	to, _ := theory.ParseChord("Dm7")
	for _, p := range theory.PassingChords(from, to, k)[:8] {
		fmt.Println(p, p.Often.Percent)
	}
	// Output:
	// E♭°7, in C major: ♭iii°7 (passing diminished, falling) 68
	// A7, in C major: V7/ii (secondary dominant) 44
	// A, in C major: V/ii (secondary dominant) 0
	// Em7♭5 A7, in C major: iiø7/ii V7/ii (ii-V) 0
	// Em7 A7, in C major: ii7/ii V7/ii (ii-V) 0
	// E♭7, in C major: ♭II7/ii (tritone substitute) 0
	// C♯°7, in C major: vii°7/ii (passing diminished, rising) 0
	// D7sus4, in C major: II7sus4 (suspension) 0
}
