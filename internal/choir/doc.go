// Package choir works on music in several parts: what each voice needs, the key that
// suits them all, how they sound together, where a note lies in the chord that sounds,
// and the files that each part practises with.
//
// The calls most users need are [New], [Choir.Moves] and [Choir.Sound]; [Choir.Chords]
// says what stands around each note of a part, and [Practice] what files there are. It
// prints nothing, and package notation has read the file.
package choir

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"singback/exercise"
	"singback/internal/notation"
	"singback/theory"
)

// Part is one part with the voice that is to sing it.
type Part struct {
	notation.Part
	Voice    exercise.Voice
	Supposed bool // by where it lies, since its name says none
	Reach    Reach
}

// Choir is a piece in parts, from the first to the last of the file.
type Choir struct {
	Parts []Part
	// Said is what was done to the parts, a line each.
	Said []string
}

// hymnMedians are the time-weighted medians of the four voices of 104 hymns, as MIDI
// numbers: A4, E flat 4, A3, D3 (counted in the tests from the open hymn data).
var hymnMedians = []struct {
	voice  string
	median float64
}{{"soprano", 69}, {"alto", 63}, {"tenor", 57}, {"bass", 50}}

// New returns parts with their voices. Parts without words or chord symbols get those of
// the first that has them: words where notes begin together.
func New(parts []notation.Part) (Choir, error) {
	var c Choir
	for _, p := range parts {
		part := Part{Part: p, Reach: reachOf(p.Score)}
		if name, _ := notation.VoiceWord(p.Name); name != "" {
			part.Voice, _ = exercise.VoiceNamed(name)
		} else {
			best := slices.MinFunc(hymnMedians, func(a, b struct {
				voice  string
				median float64
			}) int {
				return cmp.Compare(math.Abs(a.median-part.Reach.Median), math.Abs(b.median-part.Reach.Median))
			})
			part.Voice, _ = exercise.VoiceNamed(best.voice)
			part.Supposed = true
		}
		c.Parts = append(c.Parts, part)
	}
	if len(c.Parts) == 0 {
		return c, fmt.Errorf("there is no part with notes")
	}
	c.lendSymbols()
	c.lendWords()
	for _, p := range c.Parts[1:] {
		if a, b := c.Parts[0].Score.Length(), p.Score.Length(); math.Abs(a.Minus(b).Float()) >= uneven {
			c.say("%s lasts %s quarter notes, %s %s: they are begun together", c.Parts[0].Name, a, p.Name, b)
		}
	}
	return c, nil
}

// uneven is by how many quarter notes parts differ in length that is worth a word: what
// plays a file lets the last notes go early.
const uneven = 3

func (c *Choir) say(format string, args ...any) {
	c.Said = append(c.Said, fmt.Sprintf(format, args...))
}

// Title is that of the first part that has one.
func (c Choir) Title() string {
	for _, p := range c.Parts {
		if p.Score.Title != "" {
			return p.Score.Title
		}
	}
	return ""
}

// Key is that of the first part.
func (c Choir) Key() theory.Key { return c.Parts[0].Score.Key }

// lendSymbols gives the chord symbols of the first part that has any to those without.
func (c *Choir) lendSymbols() {
	from := slices.IndexFunc(c.Parts, func(p Part) bool { return p.Score.Symbols != nil })
	if from < 0 {
		return
	}
	for i := range c.Parts {
		s := &c.Parts[i].Score
		if s.Symbols != nil {
			continue
		}
		end := s.Length()
		for _, symbol := range c.Parts[from].Score.Symbols {
			if symbol.At.Less(end) {
				s.Symbols = append(s.Symbols, symbol)
			}
		}
	}
}

// lendWords gives the words of the first part that has any to those without: each
// syllable to the note that begins with its note.
func (c *Choir) lendWords() {
	worded := func(p Part) bool {
		return slices.ContainsFunc(p.Score.Notes, func(n theory.Written) bool { return n.Words != "" && !n.Rest })
	}
	from := slices.IndexFunc(c.Parts, worded)
	if from < 0 {
		return
	}
	words := map[theory.Fraction]string{}
	at := theory.NewFraction(0, 1)
	for _, n := range c.Parts[from].Score.Notes {
		if !n.Rest {
			words[at] = n.Words
		}
		at = at.Plus(n.Length)
	}
	var lent []string
	for i := range c.Parts {
		if worded(c.Parts[i]) {
			continue
		}
		s := &c.Parts[i].Score
		s.Notes = slices.Clone(s.Notes)
		at, any := theory.NewFraction(0, 1), false
		for k := range s.Notes {
			if n := &s.Notes[k]; !n.Rest {
				n.Words = words[at]
				any = any || n.Words != ""
			}
			at = at.Plus(s.Notes[k].Length)
		}
		if any {
			lent = append(lent, c.Parts[i].Name)
		}
	}
	if lent != nil {
		c.say("%s: the words are those of %s, where notes begin together", strings.Join(lent, ", "), c.Parts[from].Name)
	}
}

// Find returns the index of a part by what it is called.
func (c Choir) Find(want string) (int, error) {
	parts := make([]notation.Part, len(c.Parts))
	for i, p := range c.Parts {
		parts[i] = p.Part
	}
	return notation.FindPart(parts, want)
}
