package theory_test

import (
	"fmt"

	"singback/theory"
)

func ExampleKey_Note() {
	k, _ := theory.ParseKey("Gb major")
	fmt.Println(k.Note(theory.Degree{Step: 6, Alter: -1}))

	k, _ = theory.ParseKey("g#m")
	leadingTone := theory.Degree{Step: 7} // counted from the major scale, in minor too
	fmt.Println(k.Note(leadingTone), "in", k)
	// Output:
	// E𝄫
	// F𝄪 in G♯ minor
}

func ExampleParseDegree() {
	major, _ := theory.ParseKey("Ab major")
	minor, _ := theory.ParseKey("A minor")
	show := func(s string, k theory.Key, n theory.Naming) {
		d, err := theory.ParseDegree(s, k, n)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s in %v, %v: %v = %v\n", s, k, n, d, k.Note(d))
	}
	show("la", major, theory.Movable)
	show("la", major, theory.Fixed) // the scale's own note on that letter
	show("la", minor, theory.LaBased)
	show("7", minor, theory.Numbers) // the scale's own seventh
	show("#7", minor, theory.Numbers)
	show("D", major, theory.Letters) // letters are exact: not the D♭ of the scale
	show("H", major, theory.Fixed)
	// Output:
	// la in A♭ major, movable: 6 = F
	// la in A♭ major, fixed: 1 = A♭
	// la in A minor, la-based: 1 = A
	// 7 in A minor, numbers: ♭7 = G
	// #7 in A minor, numbers: 7 = G♯
	// D in A♭ major, letters: ♯4 = D
	// not a degree of Ab major: "H"; want a number 1 to 7 or a letter name, either with # or b, or one of: lab sib do reb mib fa sol
}

func ExampleNaming_Name() {
	k, _ := theory.ParseKey("C minor")
	for _, n := range theory.Namings() {
		fmt.Print(n, ":")
		for _, d := range k.ScaleDegrees() {
			fmt.Print(" ", n.Name(k, d))
		}
		fmt.Println("; leading tone", n.Name(k, theory.Degree{Step: 7}))
	}
	// Output:
	// movable: do re me fa sol le te; leading tone ti
	// la-based: la ti do re mi fa sol; leading tone si
	// fixed: do re mi♭ fa sol la♭ si♭; leading tone si♮
	// fixed-chromatic: do re me fa sol le te; leading tone ti
	// numbers: 1 2 ♭3 4 5 ♭6 ♭7; leading tone ♮7
	// letters: C D E♭ F G A♭ B♭; leading tone B
	// curwen: l t d r m f s; leading tone se
	// kodaly: la ti do re mi fa sol; leading tone si
}
