package theory

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Fraction is an exact length in pulses, in lowest terms with Den > 0. Make one
// with NewFraction; the zero Fraction is none.
type Fraction struct{ Num, Den int }

// NewFraction returns num/den in lowest terms. den must not be 0.
func NewFraction(num, den int) Fraction {
	a, b := abs(num), abs(den)
	for b != 0 {
		a, b = b, a%b
	}
	if den < 0 {
		a = -a
	}
	return Fraction{num / a, den / a}
}

// Plus returns f + g.
func (f Fraction) Plus(g Fraction) Fraction {
	return NewFraction(f.Num*g.Den+g.Num*f.Den, f.Den*g.Den)
}

// Float returns the fraction as a number.
func (f Fraction) Float() float64 { return float64(f.Num) / float64(f.Den) }

// String writes "3" or "3/4".
func (f Fraction) String() string {
	if f.Den == 1 {
		return strconv.Itoa(f.Num)
	}
	return fmt.Sprintf("%d/%d", f.Num, f.Den)
}

// Tone is a note or a rest of a Melody.
type Tone struct {
	Degree Degree   // of the key the melody is in by now; no degree in a rest
	Octave int      // 0: from the tonic up to the seventh; 1 an octave above
	Length Fraction // in pulses, above 0
	Rest   bool
	Slur   bool // joined to the next tone on one syllable of the words

	// Bridge is what the tone would be called in the key before it, where the
	// melody modulates: from this tone on its Degree counts in the new key. It is
	// no degree elsewhere. BridgeOctave belongs to it as Octave to Degree.
	Bridge       Degree
	BridgeOctave int
}

// bridges reports whether the melody modulates at this tone.
func (t Tone) bridges() bool { return t.Bridge != Degree{} }

// Accent is the weight of a pulse.
type Accent int8

// The accents.
const (
	Weak   Accent = iota
	Medium        // the middle of a bar of four or six
	Strong        // the first of a bar
)

// Melody is a line of tones in degrees of a key. Nothing in it is a pitch or a
// syllable: both are views, so that a melody in another key is the same melody
// with another Key.
type Melody struct {
	Key   Key // at the start
	Tones []Tone
	// Accents has one value for each pulse, and the tones fill the pulses; nil
	// where the melody has no metre, as a bare list of names.
	Accents []Accent
}

// ErrMelody is wrapped by every error about a melody that could not be read.
var ErrMelody = errors.New("not a melody")

// keys calls visit for each tone with the key that it counts in, and with the
// pitch of that key's tonic where the first tonic stands in octave 0.
func (m Melody) keys(visit func(i int, k Key, tonic Pitch) error) error {
	k := m.Key
	tonic := Pitch{Note: k.Tonic}
	for i, t := range m.Tones {
		if t.bridges() {
			k, tonic = t.modulate(k, tonic)
		}
		if err := visit(i, k, tonic); err != nil {
			return err
		}
	}
	return nil
}

// modulate returns the key and tonic after a bridge tone.
func (t Tone) modulate(k Key, tonic Pitch) (Key, Pitch) {
	sounding := tonic.Up(t.Bridge.Interval())
	sounding.Octave += t.BridgeOctave
	up := t.Degree.Interval()
	tonic = sounding.Up(Interval{-up.Steps, -up.Semitones})
	tonic.Octave -= t.Octave
	return Key{tonic.Note, k.Mode}, tonic
}

// Pitches returns the pitches of the tones, the rests left out, where the tonic
// of the first key stands in the octave given.
func (m Melody) Pitches(tonicOctave int) []Pitch {
	var ps []Pitch
	_ = m.keys(func(i int, _ Key, tonic Pitch) error {
		t := m.Tones[i]
		if t.Rest {
			return nil
		}
		p := tonic.Up(t.Degree.Interval())
		p.Octave += t.Octave + tonicOctave
		ps = append(ps, p)
		return nil
	})
	return ps
}

// In returns the melody in another key of the same mode, its octaves counted
// from the tonic of that key. It fails where the modes differ, and where a modulation of the melody would lead to a key with
// more than seven sharps or flats. The tones are shared, not copied.
func (m Melody) In(k Key) (Melody, error) {
	if k.Mode != m.Key.Mode {
		return Melody{}, fmt.Errorf("a melody in %s cannot be moved to %s: want a %s key", m.Key.ASCII(), k.ASCII(), m.Key.Mode)
	}
	m.Key = k
	return m, m.keys(func(_ int, now Key, _ Pitch) error {
		if !now.Valid() {
			return fmt.Errorf("the melody cannot be moved to %s: it would modulate to %s, which has %d sharps or flats and a key has at most 7",
				k.ASCII(), now.ASCII(), abs(now.Signature()))
		}
		return nil
	})
}

// InOneKey returns the same pitches as degrees of the first key, without bridge
// tones.
func (m Melody) InOneKey() Melody {
	home := Pitch{Note: m.Key.Tonic}
	out := m
	out.Tones = make([]Tone, len(m.Tones))
	_ = m.keys(func(i int, _ Key, tonic Pitch) error {
		t := m.Tones[i]
		if !t.Rest {
			p := tonic.Up(t.Degree.Interval())
			p.Octave += t.Octave
			up := home.IntervalTo(p)
			t.Degree, t.Octave = degreeAt(up), floorDiv(up.Steps, 7)
			t.Bridge, t.BridgeOctave = Degree{}, 0
		}
		out.Tones[i] = t
		return nil
	})
	return out
}

// Metre returns the accents of n pulses in bars of so many, the first pulse of
// a bar strong, and medium ones in the middle of a bar of four or six (common
// practice). pickup pulses stand before the first bar.
func Metre(pulses, pickup, n int) []Accent {
	as := make([]Accent, n)
	for i := range as {
		switch at := mod(i-pickup, pulses); {
		case at == 0:
			as[i] = Strong
		case pulses == 4 && at == 2, pulses == 6 && at == 3:
			as[i] = Medium
		}
	}
	return as
}

// Octaves of names. A name without a mark lies in the octave from the tonic up
// or, in the relative namings, in the octave from do up: so a minor melody
// from its tonic reads l₁ t₁ d r m, as it is printed. The tonic of octave 0 is
// the one nearest to that do.

// shiftOf returns how many octaves a tone's mark in n differs from its Octave.
func (n Naming) shiftOf(k Key, d Degree) int {
	if !systems[n].relative {
		return 0
	}
	above := k.Mode.aboveRelative().Steps
	shift := 0
	if above > 3 {
		shift-- // the tonic below do is the nearer one
	}
	return shift + (above+d.Step-1)/7
}

// written reports whether a naming names the written note, whatever the key.
func (n Naming) written() bool { return n == Fixed || n == FixedChromatic || n == Letters }

// The marks of octaves and rhythm.
const (
	superscripts = "⁰¹²³⁴"
	subscripts   = "₀₁₂₃₄"
	maxMark      = 4   // octaves that a name can be marked away
	hold         = "–" // the note before goes on
)

// octaveMark writes an octave: digits above or below, or ticks and commas.
func octaveMark(octave int, ascii bool) string {
	n := abs(octave)
	switch {
	case ascii && octave > 0:
		return strings.Repeat("'", n)
	case ascii:
		return strings.Repeat(",", n)
	case octave > 0:
		return string([]rune(superscripts)[n])
	case octave < 0:
		return string([]rune(subscripts)[n])
	}
	return ""
}

// smallLetters are the raised letters of bridge notes.
var smallLetters = map[rune]rune{
	'ᵃ': 'a', 'ᵇ': 'b', 'ᵈ': 'd', 'ᵉ': 'e', 'ᶠ': 'f', 'ˡ': 'l', 'ᵐ': 'm', 'ʳ': 'r', 'ˢ': 's', 'ᵗ': 't',
}

// raise writes a name in small letters where there are such for all of it.
func raise(name string) (string, bool) {
	var b strings.Builder
next:
	for _, r := range name {
		for small, plain := range smallLetters {
			if plain == r {
				b.WriteRune(small)
				continue next
			}
		}
		return "", false
	}
	return b.String(), true
}

// nameTone writes the name of a tone with its octave mark, and its old name
// before it where it is a bridge.
func (t Tone) name(n Naming, before, k Key, ascii bool) (string, error) {
	one := func(k Key, d Degree, octave int) (name, mark string, err error) {
		octave += n.shiftOf(k, d)
		if abs(octave) > maxMark {
			return "", "", fmt.Errorf("the melody cannot be written: %s lies %d octaves away and at most %d can be marked", d.ASCII(), abs(octave), maxMark)
		}
		if ascii {
			return n.NameASCII(k, d), octaveMark(octave, true), nil
		}
		return n.Name(k, d), octaveMark(octave, false), nil
	}
	name, mark, err := one(k, t.Degree, t.Octave)
	if err != nil || !t.bridges() {
		return name + mark, err
	}
	old, oldMark, err := one(before, t.Bridge, t.BridgeOctave)
	if small, ok := raise(old); ok && !ascii {
		return small + oldMark + name + mark, err
	}
	return old + oldMark + "/" + name + mark, err
}

// Heading writes the key in the words of tonic sol-fa: "Key G"; for other modes
// than major the key of do and the tonic in it: "Key C, Lah is A".
func (m Melody) Heading() string {
	s := "Key " + m.Key.relative().Tonic.ASCII()
	if m.Key.Mode != Major {
		s += fmt.Sprintf(", %s is %s", solfa[modes[m.Key.Mode].home-1], m.Key.Tonic.ASCII())
	}
	return s
}

// solfa holds the spoken names of the degrees in tonic sol-fa.
var solfa = [7]string{"Doh", "Ray", "Me", "Fah", "Soh", "Lah", "Te"}

// Text writes the melody in a naming, with musical signs or in ASCII, without
// its heading. A melody with accents gets the rhythm signs of tonic sol-fa, with
// Curwen's letters or any other names:
//
//   - | strong pulse, ! medium pulse, : weak pulse, || the end
//   - . half, "," quarter, ‘ third of a pulse; .,  three quarters; – held; a
//     blank rests
//   - d¹ d₁ an octave up and down (d' d, in ASCII), _ slurred to the next
//   - ˢd (s/d in ASCII) a bridge note: the old name and the new one
//
// Without accents it is a list of names one pulse apart. Fixed, FixedChromatic
// and Letters name the written notes: they show no bridge and stay in the first
// key. ParseMelody reads the text back. It fails where a length or an octave has
// no sign.
func (m Melody) Text(n Naming, ascii bool) (string, error) {
	if n.written() {
		m = m.InOneKey()
	}
	names := make([]string, len(m.Tones))
	before := m.Key
	err := m.keys(func(i int, k Key, _ Pitch) (err error) {
		if t := m.Tones[i]; !t.Rest {
			if names[i], err = t.name(n, before, k, ascii); t.Slur {
				names[i] += "_"
			}
		}
		before = k
		return err
	})
	if err != nil {
		return "", err
	}
	var text string
	if m.Accents == nil {
		text, err = m.list(names)
	} else {
		text, err = m.pulses(names)
	}
	if ascii {
		text = strings.NewReplacer(hold, "-", "‘", "`").Replace(text)
	}
	return text, err
}

// list writes a melody without metre.
func (m Melody) list(names []string) (string, error) {
	var words []string
	for i, t := range m.Tones {
		if t.Rest || t.Length.Den != 1 || t.Length.Num < 1 {
			return "", fmt.Errorf("the melody cannot be written: tone %d needs a metre; without one there are only notes of whole pulses", i+1)
		}
		words = append(words, names[i])
		for range t.Length.Num - 1 {
			words = append(words, hold)
		}
	}
	return strings.Join(words, " "), nil
}

// grid divides a pulse finely enough for every sign.
const grid = 12

// pulses writes a melody with rhythm signs.
func (m Melody) pulses(names []string) (string, error) {
	var b strings.Builder
	i, left := -1, 0 // the tone that sounds, and how much of it is left
	for p, accent := range m.Accents {
		// What begins at each point of the pulse, in twelfths: a tone, or one
		// held from the pulse before.
		var at [grid]string
		var begins [grid]bool
		rest := false // before the first division
		for now := 0; now < grid; {
			if left == 0 {
				if i++; i == len(m.Tones) {
					return "", fmt.Errorf("the melody cannot be written: the tones end before pulse %d of %d does", p+1, len(m.Accents))
				}
				t := m.Tones[i]
				if t.Length.Num < 1 || t.Length.Den < 1 || grid%t.Length.Den != 0 {
					return "", fmt.Errorf("the melody cannot be written: tone %d lasts %v pulses; want halves, quarters or thirds", i+1, t.Length)
				}
				left = t.Length.Num * (grid / t.Length.Den)
				at[now] = names[i]
			} else if !m.Tones[i].Rest {
				at[now] = hold
			}
			begins[now] = true
			if now == 0 {
				rest = m.Tones[i].Rest
			}
			part := min(left, grid-now)
			now, left = now+part, left-part
		}
		b.WriteString([...]string{Weak: ":", Medium: "!", Strong: "|"}[accent])
		if accent != Weak && at[0] != "" {
			b.WriteString(" ")
		}
		content, ok := pulse(at, begins, rest)
		if !ok {
			return "", fmt.Errorf("the melody cannot be written: pulse %d is divided into lengths that have no sign; want halves, quarters or thirds", p+1)
		}
		b.WriteString(content)
		b.WriteString(" ")
	}
	if left != 0 || i != len(m.Tones)-1 {
		return "", fmt.Errorf("the melody cannot be written: the tones last longer than the %d pulses", len(m.Accents))
	}
	return b.String() + "||", nil
}

// pulse writes what happens within a pulse; ok is false where no sign stands
// for a division.
func pulse(at [grid]string, begins [grid]bool, rest bool) (s string, ok bool) {
	quarters, thirds := true, true
	divided := false
	for i, b := range begins {
		if b && i > 0 {
			divided = true
			quarters, thirds = quarters && i%3 == 0, thirds && i%4 == 0
		}
	}
	switch {
	case !divided:
		return at[0], true
	case thirds:
		second := goesOn(at[4], begins[4], rest)
		return at[0] + " ‘" + second + " ‘" + goesOn(at[8], begins[8], second == ""), true
	case !quarters:
		return "", false
	}
	s = at[0]
	if begins[3] {
		s += " ," + at[3]
		rest = at[3] == ""
	}
	switch {
	case begins[6]:
		s += " ." + at[6]
	case begins[9] && !rest:
		return s + " .," + at[9], true
	case begins[9]:
		s += " ."
	case begins[3]:
		s += " ." + goesOn("", false, rest)
	}
	if begins[9] {
		s += " ," + at[9]
	}
	return s, true
}

// goesOn is what stands at a division: what begins there, else the sign for what
// goes on.
func goesOn(name string, begins, rest bool) string {
	if begins || rest {
		return name
	}
	return hold
}
