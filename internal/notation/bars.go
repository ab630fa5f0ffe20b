package notation

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"singback/internal/engrave"
	"singback/theory"
)

// Some lengths in quarter notes, or in other units.
var (
	zero = theory.Fraction{Num: 0, Den: 1}
	one  = theory.Fraction{Num: 1, Den: 1}
	four = theory.Fraction{Num: 4, Den: 1}
)

// bar is a bar as a file has it.
type bar struct {
	name        string // for messages: its number, or line and number
	key         theory.Key
	meter       theory.Meter
	notes       []note
	symbols     []theory.ChordSymbol // counted from the bar's beginning
	repeatStart bool
	unwritten   bool  // nothing of the voice stands in it
	fresh       bool  // after a double bar line, to which a repeat without a start goes back
	repeatEnd   int   // how often it is played until here; 0: no repeat
	endings     []int // the passes it is played in; nil: all
}

// note is a note of a bar, tied to the next note or not.
type note struct {
	theory.Written
	tied bool
	also []tone // the other notes of a chord, where all are kept
}

func (b bar) length() theory.Fraction {
	sum := zero
	for _, n := range b.notes {
		sum = sum.Plus(n.Length)
	}
	return sum
}

// sings reports whether the bar has a note.
func (b bar) sings() bool {
	return slices.ContainsFunc(b.notes, func(n note) bool { return !n.Rest })
}

// heard reports whether a bar has what is wanted: a note, or a chord symbol.
func (o *Options) heard(b bar) bool { return b.sings() || o.Chords && len(b.symbols) > 0 }

// maxBars bounds what repeats may make of a file, and maxPasses how often a part
// is played.
const (
	maxBars   = engrave.MaxBars
	maxPasses = 99
)

// passes reads the passes that an ending is for: "1", "1,3", "1-3", "1.", "2nd
// time".
func passes(text string) ([]int, error) {
	var out []int
	fields := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || unicode.IsSpace(r) })
	for _, field := range fields {
		from, to, isRange := strings.Cut(strings.TrimRight(field, ".:"), "-")
		a, err := strconv.Atoi(strings.TrimRight(from, ".stndrh"))
		if err != nil {
			if len(out) > 0 && !isDigit(rune(from[0])) {
				continue // "time"
			}
			return nil, fmt.Errorf("an ending %s; want its passes, like 1,3 or 1-3", quote(text))
		}
		b := a
		if isRange {
			if b, err = strconv.Atoi(strings.TrimRight(to, ".stndrh")); err != nil {
				return nil, fmt.Errorf("an ending %s; want its passes, like 1,3 or 1-3", quote(text))
			}
		}
		if a < 1 || b > maxPasses || b < a {
			return nil, fmt.Errorf("an ending for passes %d to %d; want 1 to %d", a, b, maxPasses)
		}
		for ; a <= b; a++ {
			out = append(out, a)
		}
		if len(out) > maxPasses {
			return nil, fmt.Errorf("an ending for more than %d passes", maxPasses)
		}
	}
	if out == nil {
		return nil, fmt.Errorf("an ending %s; want its passes, like 1,3 or 1-3", quote(text))
	}
	return out, nil
}

// jumps reports whether words or a sign send the player to another place, or
// end the piece there: D.C., D.S., segno, coda, fine, in all their spellings.
func jumps(text string) bool {
	if strings.ContainsAny(text, "𝄋𝄌") {
		return true
	}
	letters := strings.ToLower(strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return r
		}
		return -1
	}, text))
	for _, start := range []string{"dacapo", "dalsegno", "dcal", "dsal", "dcsenza", "dssenza", "tocoda", "alcoda"} {
		if strings.HasPrefix(letters, start) {
			return true
		}
	}
	return slices.Contains([]string{"dc", "ds", "segno", "coda", "dacoda", "fine", "alfine"}, letters)
}

// unroll writes repeats and endings out.
func (r *reading) unroll(bars []bar) ([]bar, error) {
	var out []bar
	notes := 0
	play := func(bars []bar) error {
		for _, b := range bars {
			if notes += len(b.notes) + len(b.symbols); len(out) >= maxBars || notes > maxNotes {
				return fmt.Errorf("%w: with its repeats it has more than %d bars or %d notes and rests", ErrNotation, maxBars, maxNotes)
			}
			out = append(out, b)
		}
		return nil
	}
	start, signed := 0, false // where a repeat goes back to, and whether a sign says so
	for i := 0; i < len(bars); {
		b := bars[i]
		if b.repeatStart || b.fresh && !signed {
			start, signed = i, b.repeatStart
		}
		body, group := bars[start:i], bars[i:i+1]
		if len(b.endings) == 0 {
			body, group = bars[start:i+1], nil
			if err := play(bars[i : i+1]); err != nil {
				return nil, err
			}
			i++
			for range b.repeatEnd - 1 {
				if err := play(body); err != nil {
					return nil, err
				}
			}
			if b.repeatEnd > 0 {
				start, signed = i, false
			}
			continue
		}
		// The endings that follow each other say how many passes there are.
		for i++; i < len(bars) && len(bars[i].endings) > 0 && !bars[i].repeatStart; i++ {
			group = group[:len(group)+1]
		}
		last := 1
		for _, b := range group {
			last = max(last, b.repeatEnd, slices.Max(b.endings))
		}
		for pass := 1; pass <= last; pass++ {
			if pass > 1 {
				if err := play(body); err != nil {
					return nil, err
				}
			}
			found := false
			for k := range group {
				if slices.Contains(group[k].endings, pass) {
					found = true
					if err := play(group[k : k+1]); err != nil {
						return nil, err
					}
				}
			}
			if !found && pass < last {
				r.warn("%s: no ending is for pass %d of %d", b.name, pass, last)
			}
		}
		start, signed = i, false
	}
	return out, nil
}

// line makes the score from bars: repeats are written out, ties merged, and
// halves of a bar on either side of a repeat joined.
func (r *reading) line(s theory.Score, bars []bar) (theory.Score, error) {
	bars, err := r.unroll(bars)
	if err != nil {
		return s, err
	}
	kept := bars[:0]
	var waiting []theory.ChordSymbol // of a bar without notes
	for _, b := range bars {
		if len(b.notes) == 0 {
			waiting = append(waiting, b.symbols...)
			continue
		}
		if waiting != nil {
			b.symbols, waiting = slices.Concat(waiting, b.symbols), nil
		}
		if n := len(kept); n > 0 && b.meter.Valid() && kept[n-1].meter == b.meter && kept[n-1].key == b.key {
			if a, l := kept[n-1].length(), b.length(); a.Less(b.meter.Bar()) && a.Plus(l) == b.meter.Bar() {
				kept[n-1].notes = append(append([]note(nil), kept[n-1].notes...), b.notes...)
				kept[n-1].symbols = append(slices.Clone(kept[n-1].symbols), moved(b.symbols, a)...)
				continue
			}
		}
		kept = append(kept, b)
	}
	if bars = kept; len(bars) == 0 {
		return s, fmt.Errorf("%w: it has no notes", ErrNotation)
	}
	s.Key, s.Meter = bars[0].key, bars[0].meter
	now := theory.Change{Key: s.Key, Meter: s.Meter}
	at := zero
	tied := false
	for i, b := range bars {
		length := b.length()
		meter := b.meter
		switch full := meter.Valid() && length == meter.Bar(); {
		case !meter.Valid() || full:
		case i == 0 && length.Less(meter.Bar()) && len(bars) > 1:
			s.Start = length
		case i == len(bars)-1 && length.Less(meter.Bar()):
		default:
			m, ok := meterOf(length)
			if !ok {
				return s, fmt.Errorf("%w: %s lasts %s quarter notes, and a bar of %s lasts %s", ErrNotation, b.name, length, meter, meter.Bar())
			}
			r.warn("%s lasts %s quarter notes, not the %s of %s: read as a bar of %s", b.name, length, meter.Bar(), meter, m)
			if meter = m; i == 0 {
				s.Meter, now.Meter = m, m
			}
		}
		if b.key != now.Key || meter != now.Meter {
			now = theory.Change{At: at, Key: b.key, Meter: meter}
			s.Changes = append(s.Changes, now)
		}
		s.Symbols = append(s.Symbols, moved(b.symbols, at)...)
		for _, n := range b.notes {
			last := len(s.Notes) - 1
			switch {
			case tied && !n.Rest && s.Notes[last].Pitch == n.Pitch, n.Rest && last >= 0 && s.Notes[last].Rest:
				s.Notes[last].Length = s.Notes[last].Length.Plus(n.Length)
				s.Notes[last].Slur = n.Slur
			default:
				if tied {
					r.warn("%s: a tie to another pitch is read as a slur", b.name)
					s.Notes[last].Slur = true
				}
				s.Notes = append(s.Notes, n.Written)
			}
			if tied = n.tied && !n.Rest; len(s.Notes) > theory.MaxScoreNotes {
				return s, fmt.Errorf("%w: more than %d notes", ErrNotation, theory.MaxScoreNotes)
			}
		}
		at = at.Plus(length)
	}
	s.Symbols = r.symbolsOf(s.Symbols, at)
	r.rekey(&s)
	// A slur needs a note to go to.
	for i := range s.Notes {
		if n := &s.Notes[i]; n.Slur && (n.Rest || i+1 == len(s.Notes) || s.Notes[i+1].Rest) {
			n.Slur = false
		}
	}
	return s, nil
}

// meterOf returns a time signature whose bars have a length.
func meterOf(length theory.Fraction) (theory.Meter, bool) {
	for _, unit := range []int{4, 8, 16, 32} {
		if beats := length.Times(theory.NewFraction(unit, 4)); beats.Den == 1 {
			m := theory.Meter{Beats: beats.Num, Unit: unit}
			return m, m.Valid()
		}
	}
	return theory.Meter{}, false
}
