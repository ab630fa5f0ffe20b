package theory_test

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	. "singback/theory"

	"pgregory.net/rapid"
)

// show writes the tones of a melody: degree, octave and length, a dash for a
// rest, the old degree of a bridge before a slash.
func show(m Melody) string {
	var words []string
	for _, t := range m.Tones {
		w := "-"
		if !t.Rest {
			w = t.Degree.ASCII()
			if t.Octave != 0 {
				w += fmt.Sprintf("(%+d)", t.Octave)
			}
		}
		if t.Bridge != (Degree{}) {
			w = fmt.Sprintf("%s(%+d)/%s", t.Bridge.ASCII(), t.BridgeOctave, w)
		}
		if t.Slur {
			w += "_"
		}
		words = append(words, w+":"+t.Length.String())
	}
	return strings.Join(words, " ")
}

// The signs of tonic sol-fa: R. Stevens, The Curwen Method (2017). The first is
// its plainest kind of line: do re mi fa of one pulse, sol of four, in bars of
// two.
func TestCurwenNotation(t *testing.T) {
	for _, c := range []struct {
		rule, text, key string
		tones           string
		canonical       string // where it is not the text
	}{
		{"pulses and holds", "| d :r | m :f | s :– | – :– ||", "G", "1:1 2:1 3:1 4:1 5:4", ""},
		{"upbeat", ":s₁ | d :r ||", "G", "5(-1):1 1:1 2:1", ""},
		{"medium pulse", "| d :r ! m :f ||", "G", "1:1 2:1 3:1 4:1", ""},
		{"medium pulse, other sign", "| d :r ;m :f ||", "G", "1:1 2:1 3:1 4:1", "| d :r ! m :f ||"},
		{"halves", "| d .r :m .f ||", "G", "1:1/2 2:1/2 3:1/2 4:1/2", ""},
		{"quarters", "| d ,r .m ,f ||", "G", "1:1/4 2:1/4 3:1/4 4:1/4", ""},
		{"half and quarters", "| d .r ,m :f ,s .l ||", "G", "1:1/2 2:1/4 3:1/4 4:1/4 5:1/4 6:1/2", ""},
		{"three quarters", "| d .,r ||", "G", "1:3/4 2:1/4", ""},
		{"three quarters, held", "| d .– ,r ||", "G", "1:3/4 2:1/4", "| d .,r ||"},
		{"quarter and three quarters", "| d ,r .– ||", "G", "1:1/4 2:3/4", ""},
		{"quarter, half, quarter", "| d ,r .,m ||", "G", "1:1/4 2:1/2 3:1/4", ""},
		{"thirds", "| d ‘r ‘m ||", "G", "1:1/3 2:1/3 3:1/3", ""},
		{"thirds, held and rested", "| d ‘– ‘r :m ‘ ‘f ||", "G", "1:2/3 2:1/3 3:1/3 -:1/3 4:1/3", ""},
		{"held into the next pulse", "| d .r :– .m ||", "G", "1:1/2 2:1 3:1/2", ""},
		{"rests", "| d : ! .r : ||", "G", "1:1 -:3/2 2:1/2 -:1", ""},
		{"rests of quarters", "| d . ,r : ,m . ,f ||", "G", "1:1/2 -:1/4 2:1/4 -:1/4 3:1/4 -:1/4 4:1/4", ""},
		{"octaves", "| d¹ :t | d₁ :s₂ ||", "G", "1(+1):1 7:1 1(-1):1 5(-2):1", ""},
		{"octaves, typed", "| d' :t | d, :s,, ||", "G", "1(+1):1 7:1 1(-1):1 5(-2):1", "| d¹ :t | d₁ :s₂ ||"},
		{"chromatic", "| d :de | ta :fe ||", "G", "1:1 #1:1 b7:1 #4:1", ""},
		{"slur", "| d_ .r :m_ ||", "G", "1_:1/2 2:1/2 3_:1", ""},
		{"bridge to the dominant", "| d :s | ˢd :t₁ ||", "G", "1:1 5:1 5(+0)/1:1 7(-1):1", ""},
		{"bridge, typed, with octaves", "| s,/d' :r ||", "G", "5(-1)/1(+1):1 2:1", "| ˢ₁d¹ :r ||"},
		{"a minor melody from its tonic", "| l₁ :t₁ | d :r | m :ba | se :l ||", "Em", "1:1 2:1 b3:1 4:1 5:1 6:1 7:1 1(+1):1", ""},
		{"bar line at the end", "| d :r |", "G", "1:1 2:1", "| d :r ||"},
		{"a double bar within", "| d :r || m :f ||", "G", "1:1 2:1 3:1 4:1", "| d :r | m :f ||"},
		{"a rest at the end", "| d :r | ||", "G", "1:1 2:1 -:1", ""},
		{"capitals and lines", "| D :R\n| M :F ||", "G", "1:1 2:1 3:1 4:1", "| d :r | m :f ||"},
	} {
		m, err := ParseMelody(c.text, mustKey(t, c.key), Curwen)
		if err != nil {
			t.Errorf("%s: %q: %v", c.rule, c.text, err)
			continue
		}
		if got := show(m); got != c.tones {
			t.Errorf("%s: %q is %s, want %s", c.rule, c.text, got, c.tones)
		}
		canonical := c.canonical
		if canonical == "" {
			canonical = c.text
		}
		if got, err := m.Text(Curwen, false); got != canonical || err != nil {
			t.Errorf("%s: %q is written %q, %v; want %q", c.rule, c.text, got, err, canonical)
		}
	}
	m, err := ParseMelody("| d :r ! m :f | s :– ! – : ||", Key{}, Curwen)
	if want := Metre(4, 0, 8); err != nil || !reflect.DeepEqual(m.Accents, want) {
		t.Errorf("accents %v, %v; want %v", m.Accents, err, want)
	}
	for _, c := range []struct {
		pulses, pickup, n int
		want              string
	}{{2, 0, 4, "|:|:"}, {3, 1, 5, ":|::|"}, {4, 0, 5, "|:!:|"}, {6, 2, 8, "::|::!::"}} {
		var got strings.Builder
		for _, a := range Metre(c.pulses, c.pickup, c.n) {
			got.WriteByte(":!|"[a])
		}
		if got.String() != c.want {
			t.Errorf("Metre(%d, %d, %d) = %s, want %s", c.pulses, c.pickup, c.n, got.String(), c.want)
		}
	}
}

func TestMelodyHeading(t *testing.T) {
	for _, c := range []struct{ heading, key string }{
		{"Key G", "G major"}, {"Key Bb", "Bb major"}, {"Key C, Lah is A", "A minor"}, {"Key E, Lah is C#", "C# minor"},
		{"Key C, Ray is D", "D dorian"}, {"Key C, Te is B", "B locrian"},
	} {
		for _, end := range []string{". ", ".", "\n", " "} {
			m, err := ParseMelody(c.heading+end+"| d :r ||", mustKey(t, "F# major"), Curwen)
			if err != nil || m.Key.ASCII() != c.key || m.Heading() != c.heading {
				t.Errorf("%q: key %v, heading %q, %v; want %s", c.heading+end, m.Key.ASCII(), m.Heading(), err, c.key)
			}
		}
	}
	if m, err := ParseMelody("key eb. do re", Key{}, Movable); err != nil || m.Key != mustKey(t, "Eb") || len(m.Tones) != 2 {
		t.Errorf("a heading before a list: %v %v, %v", m.Key, show(m), err)
	}
}

// One melody in every naming: what a player of each calls it.
func TestMelodyInNamings(t *testing.T) {
	for _, c := range []struct {
		key, list string // movable
		naming    Naming
		want      string
	}{
		{"G", "do mi sol ti", Fixed, "sol si re fa♯"},
		{"G", "do mi sol ti", FixedChromatic, "sol ti re fi"},
		{"G", "do mi sol ti", Letters, "G B D F♯"},
		{"G", "do mi sol ti", Numbers, "1 3 5 7"},
		{"G", "do mi sol ti", Curwen, "d m s t"},
		{"Ab", "sol, do – me do'", Letters, "E♭₁ A♭ – C♭ A♭¹"},
		{"Am", "sol, do re me do'", LaBased, "mi₁ la₁ ti₁ do la"},
		{"Am", "sol, do re me do'", Curwen, "m₁ l₁ t₁ d l"},
		{"Am", "do' te le", Fixed, "la¹ sol fa"},
	} {
		m, err := ParseMelody(c.list, mustKey(t, c.key), Movable)
		if err != nil {
			t.Fatal(err)
		}
		got, err := m.Text(c.naming, false)
		if got != c.want || err != nil {
			t.Errorf("%s of %s in %v: %s, %v; want %s", c.list, c.key, c.naming, got, err, c.want)
		}
		if back, err := ParseMelody(got, m.Key, c.naming); err != nil || !reflect.DeepEqual(back, m) {
			t.Errorf("%s read back: %s, %v; want %s", got, show(back), err, show(m))
		}
	}
	// The same in another key is the same melody.
	m, _ := ParseMelody("do re mi fi sol", mustKey(t, "G"), Movable)
	d, err := m.In(mustKey(t, "D"))
	if got, _ := d.Text(Letters, true); got != "D E F# G# A" || err != nil {
		t.Errorf("in D: %s, %v", got, err)
	}
	// A bridge keeps the pitch: from C to its dominant, then ti do there.
	m, err = ParseMelody("| d :s | ˢd :t₁ | d :s₁ ||", Key{}, Curwen)
	if got := fmt.Sprint(m.Pitches(4)); got != "[C4 G4 G4 F♯4 G4 D4]" || err != nil {
		t.Errorf("pitches over a bridge: %s, %v", got, err)
	}
	if got, err := m.Text(Letters, true); got != "| C :G | G :F# | G :D ||" || err != nil {
		t.Errorf("a bridge in letters: %s, %v", got, err)
	}
}

// An error names the place and the sign.
func TestMelodyErrors(t *testing.T) {
	const names = `; want a number 1 to 7 or a letter name, either with # or b, or one of: `
	const curwen = "d de ra r re ma m f fe sa s se la l le ta t"
	for _, c := range []struct {
		text   string
		naming Naming
		want   string
	}{
		{"", Movable, `column 1: it has no notes; want names like "do"`},
		{"| : ||", Curwen, `column 7: it has no notes; want names like "d"`},
		{"| d :x ||", Curwen, `column 6: not a degree of C major: "x"` + names + curwen},
		{"| d :r\n| m :q ||", Curwen, `line 2, column 6: not a degree of C major: "q"` + names + curwen},
		{"d :r ||", Curwen, `column 1: 'd' stands before the first pulse; want a pulse sign | : or ! before it`},
		{"| d r ||", Curwen, `column 5: 'r' follows without a rhythm sign; want | : ! . or , before it (a comma that is no octave mark has a space before it)`},
		{"| d,r ||", Curwen, `column 5: 'r' follows without a rhythm sign; want | : ! . or , before it (a comma that is no octave mark has a space before it)`},
		{"| – :r ||", Curwen, `column 1: the hold after '|' has no note before it`},
		{"| d : | – ||", Curwen, `column 7: the hold after '|' has no note before it`},
		{"| d .r .m ||", Curwen, `column 8: '.' is one division too many; a pulse has one half . with a quarter , on either side of it, or two thirds ‘`},
		{"| d ,r ,m ||", Curwen, `column 8: ',' is one division too many; a pulse has one half . with a quarter , on either side of it, or two thirds ‘`},
		{"| d .r ‘m ||", Curwen, `column 8: '‘' is one division too many; a pulse has one half . with a quarter , on either side of it, or two thirds ‘`},
		{"| d ‘r ||", Curwen, `column 5: '‘' is the only third in its pulse; want two`},
		{". d | r", Curwen, `column 1: '.' divides no pulse; want a pulse sign | : or ! before it`},
		{"| d''''' ||", Curwen, `column 8: '\'' moves "d" by more than 4 octaves`},
		{"| d ? ||", Curwen, `column 5: '?' follows without a rhythm sign; want | : ! . or , before it (a comma that is no octave mark has a space before it)`},
		{"| ? ||", Curwen, `column 3: '?' is no name and no sign; want names like ` + curwen},
		{"| s/", Curwen, `column 5: a name is missing at the end`},
		{"| G/C ||", Letters, `column 3: "G" is a bridge note, and letters names the same notes in every key; want names counted from the tonic`},
		{"| ˢd | ˢd | ˢd | ˢd | ˢd | ˢd | ˢd | ˢd ||", Curwen, `column 38: the bridge note leads to G# major, which has 8 sharps or flats and a key has at most 7`},
		{"Key H. | d ||", Curwen, `column 1: the heading "Key H": not a note name: " H"; want a letter A to G with at most two # or b, like Ab`},
		{"Key C, Lah is B. | d ||", Curwen, `column 1: the heading "Key C, Lah is B": Lah of key C is A`},
		{"Key C, Lo is A. | d ||", Curwen, `column 1: the heading "Key C, Lo is A"; want it like "Key C, Lah is A"`},
		{"Key G#. | d ||", Curwen, `column 1: the heading "Key G#": a key has at most 7 sharps or flats`},
		{"do re lu", Movable, `column 7: not a degree of C major: "lu"` + names + "do di ra re ri me mi fa fi se sol si le la li te ti"},
		{"do're", Movable, `column 4: 'r' follows without a space; want a space between names, or a pulse sign | : ! before each`},
		{"– do", Movable, `column 1: '–' has no note before it to hold`},
	} {
		_, err := ParseMelody(c.text, Key{}, c.naming)
		switch {
		case err == nil:
			t.Errorf("%q: no error, want %s", c.text, c.want)
		case err.Error() != "not a melody: "+c.want:
			t.Errorf("%q\ngot  %s\nwant not a melody: %s", c.text, err, c.want)
		case !errors.Is(err, ErrMelody):
			t.Errorf("%q: %v does not wrap ErrMelody", c.text, err)
		}
	}
	one := NewFraction(1, 1)
	tone := Tone{Degree: Degree{1, 0}, Length: one}
	for _, c := range []struct {
		m    Melody
		want string
	}{
		{Melody{Tones: []Tone{{Degree: Degree{1, 0}, Length: NewFraction(1, 8)}}, Accents: Metre(2, 0, 1)}, "tone 1 lasts 1/8 pulses"},
		{Melody{Tones: []Tone{{Degree: Degree{1, 0}, Length: NewFraction(5, 12)}, {Degree: Degree{1, 0}, Length: NewFraction(7, 12)}}, Accents: Metre(2, 0, 1)}, "pulse 1 is divided into lengths that have no sign"},
		{Melody{Tones: []Tone{tone}, Accents: Metre(2, 0, 2)}, "the tones end before pulse 2 of 2 does"},
		{Melody{Tones: []Tone{tone, tone}, Accents: Metre(2, 0, 1)}, "the tones last longer than the 1 pulses"},
		{Melody{Tones: []Tone{{Degree: Degree{1, 0}, Octave: 5, Length: one}}}, "lies 5 octaves away and at most 4"},
		{Melody{Tones: []Tone{{Rest: true, Length: one}}}, "tone 1 needs a metre"},
	} {
		if _, err := c.m.Text(Curwen, false); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s is written, %v; want %q", show(c.m), err, c.want)
		}
	}
	m, _ := ParseMelody("| d :s | ˢd ||", mustKey(t, "G"), Curwen)
	if _, err := m.In(mustKey(t, "C# major")); err == nil || !strings.Contains(err.Error(), "it would modulate to G# major") {
		t.Errorf("moved to C sharp: %v", err)
	}
	if _, err := m.In(mustKey(t, "Em")); err == nil || !strings.Contains(err.Error(), "want a major key") {
		t.Errorf("moved to minor: %v", err)
	}
}

// drawMelody draws a melody that has signs for everything. Bridges lead to keys
// only.
func drawMelody(t *rapid.T, bridges bool) Melody {
	k := rapid.SampledFrom(modalKeys()).Draw(t, "key")
	m := Melody{Key: k}
	now := k
	add := func(twelfths int) {
		length := NewFraction(twelfths, 12)
		last := len(m.Tones) - 1
		kind := rapid.IntRange(0, 5).Draw(t, "kind")
		switch {
		case kind == 0 && last >= 0 && !m.Tones[last].Rest || kind == 1 && last >= 0 && m.Tones[last].Rest:
			m.Tones[last].Length = m.Tones[last].Length.Plus(length)
		case kind == 1:
			m.Tones = append(m.Tones, Tone{Rest: true, Length: length})
		default:
			tone := Tone{
				Degree: Degree{rapid.IntRange(1, 7).Draw(t, "step"), rapid.IntRange(-1, 1).Draw(t, "alter")},
				Octave: rapid.IntRange(-3, 3).Draw(t, "octave"), Length: length, Slur: rapid.Bool().Draw(t, "slur"),
			}
			if bridges && rapid.IntRange(0, 4).Draw(t, "bridge") == 0 {
				old := Degree{rapid.IntRange(1, 7).Draw(t, "old"), 0}
				to := Key{now.Note(old), now.Mode}
				up := tone.Degree.Interval()
				to.Tonic = to.Tonic.Up(Interval{-up.Steps, -up.Semitones})
				if to.Valid() {
					tone.Bridge, tone.BridgeOctave, now = old, rapid.IntRange(-2, 2).Draw(t, "old octave"), to
				}
			}
			m.Tones = append(m.Tones, tone)
		}
	}
	m.Tones = append(m.Tones, Tone{Degree: Degree{1, 0}, Length: NewFraction(1, 1)})
	m.Accents = append(m.Accents, Strong)
	for range rapid.IntRange(0, 6).Draw(t, "pulses") {
		m.Accents = append(m.Accents, Accent(rapid.IntRange(0, 2).Draw(t, "accent")))
		for _, part := range rapid.SampledFrom([][]int{{12}, {6, 6}, {9, 3}, {3, 9}, {3, 3, 6}, {6, 3, 3}, {3, 6, 3}, {3, 3, 3, 3}, {4, 4, 4}, {8, 4}, {4, 8}}).Draw(t, "parts") {
			add(part)
		}
	}
	return m
}

// What is written is read back as itself: every naming, in both scripts.
func TestMelodyRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.SampledFrom(Namings()).Draw(t, "naming")
		m := drawMelody(t, n != Fixed && n != FixedChromatic && n != Letters)
		for _, ascii := range []bool{false, true} {
			text, err := m.Text(n, ascii)
			if err != nil {
				t.Fatalf("%s in %v: %v", show(m), n, err)
			}
			back, err := ParseMelody(text, m.Key, n)
			if err != nil || !reflect.DeepEqual(back, m) {
				t.Fatalf("%s of %v in %v is %q, read back %s, %v", show(m), m.Key, n, text, show(back), err)
			}
			back, err = ParseMelody(m.Heading()+".\n"+text, Key{}, n)
			if m.Key.Valid() && (err != nil || !reflect.DeepEqual(back, m)) {
				t.Fatalf("%s of %v with its heading is %v %s, %v", show(m), m.Key, back.Key, show(back), err)
			}
		}
	})
}

// Transposing the key transposes every pitch, over bridges too, and leaves the
// names counted from the tonic.
func TestTransposingCommutesWithMelodies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMelody(t, true)
		keys := modalKeys()
		k := rapid.SampledFrom(keys).Draw(t, "to").WithMode(m.Key.Mode)
		moved, err := m.In(k)
		if err != nil {
			t.SkipNow()
		}
		i := Pitch{m.Key.Tonic, 4}.IntervalTo(Pitch{k.Tonic, 4})
		pitches, up := m.Pitches(4), moved.Pitches(4)
		for j, p := range pitches {
			if up[j] != p.Up(i) {
				t.Fatalf("%s from %v to %v: %v is %v, want %v", show(m), m.Key, k, p, up[j], p.Up(i))
			}
		}
		for _, n := range []Naming{Movable, LaBased, Numbers, Curwen, Kodaly} {
			a, errA := m.Text(n, false)
			b, errB := moved.Text(n, false)
			if a != b || errA != nil || errB != nil {
				t.Fatalf("%v: %q in %v, %q in %v; %v %v", n, a, m.Key, b, k, errA, errB)
			}
		}
		// In one key the melody sounds the same, spelled alike.
		if one := m.InOneKey().Pitches(4); !reflect.DeepEqual(one, pitches) {
			t.Fatalf("%s in one key: %v, want %v", show(m), one, pitches)
		}
		// And so does its histogram.
		h, turned := m.Histogram(), moved.Histogram()
		for pc := range h {
			if at := (((pc + i.Semitones) % 12) + 12) % 12; turned[at] != h[pc] {
				t.Fatalf("histogram %v, turned by %d %v", h, i.Semitones, turned)
			}
		}
	})
}

func TestFraction(t *testing.T) {
	for _, c := range []struct {
		a, b Fraction
		want string
	}{
		{NewFraction(1, 2), NewFraction(1, 3), "5/6"}, {NewFraction(3, 4), NewFraction(1, 4), "1"},
		{NewFraction(2, -4), NewFraction(1, 1), "1/2"}, {NewFraction(0, 5), NewFraction(3, 1), "3"},
	} {
		if got := c.a.Plus(c.b); got.String() != c.want || got != NewFraction(got.Num*7, got.Den*7) {
			t.Errorf("%v + %v = %v, want %s", c.a, c.b, got, c.want)
		}
	}
	if got := NewFraction(-6, 8); got != (Fraction{-3, 4}) || got.Float() != -0.75 {
		t.Errorf("-6/8 = %v", got)
	}
}

func FuzzParseMelody(f *testing.F) {
	for i, s := range []string{
		"| d :r | m :f | s :– | – :– ||", ":s, | d .,r :m ,f .s | l ‘t ‘d' :ˢd ||", "Key C, Lah is A. | l, :t, | d :r |",
		"do mi sol, ti¹ –", "| d . ,r : ,m . ,f ||", "| s/d' :m/l, ! ba_ :se ||", "‘ . , | :", "♭3 #4 n7", "Key", "\xff|",
	} {
		f.Add(s, uint8(i), uint8(i))
		f.Add(s, uint8(1), uint8(6))
	}
	f.Fuzz(func(t *testing.T, s string, key, naming uint8) {
		keys := modalKeys()
		k, n := keys[int(key)%len(keys)], Namings()[int(naming)%len(Namings())]
		m, err := ParseMelody(s, k, n)
		if err != nil {
			if !errors.Is(err, ErrMelody) || len(err.Error()) > longestMessage+100 {
				t.Errorf("%q: %v (%d bytes)", s, err, len(err.Error()))
			}
			return
		}
		for _, ascii := range []bool{false, true} {
			text, err := m.Text(n, ascii)
			if err != nil {
				t.Fatalf("%q in %v, %v is %s, not written: %v", s, k, n, show(m), err)
			}
			if back, err := ParseMelody(text, m.Key, n); err != nil || !reflect.DeepEqual(back, m) {
				t.Fatalf("%q in %v, %v is %s; written %q, read back %s, %v", s, k, n, show(m), text, show(back), err)
			}
		}
		m.Histogram()
		m.Pitches(4)
		for _, other := range Namings() {
			_, _ = m.Text(other, true)
		}
	})
}
