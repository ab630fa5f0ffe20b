package notation

import (
	"fmt"
	"slices"

	"singback/theory"
)

var zero = theory.Fraction{Num: 0, Den: 1}

// bar is a bar as a file has it.
type bar struct {
	name        string // for messages: its number, or line and number
	key         theory.Key
	meter       theory.Meter
	notes       []note
	repeatStart bool
	repeatEnd   int   // how often it is played until here; 0: no repeat
	endings     []int // the passes it is played in; nil: all
}

// note is a note of a bar, tied to the next note or not.
type note struct {
	theory.Written
	tied bool
}

func (b bar) length() theory.Fraction {
	sum := zero
	for _, n := range b.notes {
		sum = sum.Plus(n.Length)
	}
	return sum
}

// maxBars bounds what repeats may make of a file.
const maxBars = 10_000

// unroll writes repeats and endings out.
func unroll(bars []bar) ([]bar, error) {
	var out []bar
	start, pass := 0, 1
	for i := 0; i < len(bars); {
		b := bars[i]
		if b.repeatStart && i != start {
			start, pass = i, 1
		}
		play := len(b.endings) == 0 || slices.Contains(b.endings, pass)
		if play {
			if out = append(out, b); len(out) > maxBars {
				return nil, fmt.Errorf("%w: with its repeats it has more than %d bars", ErrNotation, maxBars)
			}
		}
		if b.repeatEnd > 0 && play {
			if pass < b.repeatEnd || slices.Contains(b.endings, pass+1) || len(b.endings) > 0 && laterEnding(bars[i+1:], pass+1) {
				pass++
				i = start
				continue
			}
			start, pass = i+1, 1
		}
		// After the last ending a new section begins.
		if i++; i < len(bars) && len(b.endings) > 0 && len(bars[i].endings) == 0 {
			start, pass = i, 1
		}
	}
	return out, nil
}

// laterEnding reports whether an ending for a pass follows before the section
// ends.
func laterEnding(bars []bar, pass int) bool {
	for _, b := range bars {
		if len(b.endings) == 0 {
			return false
		}
		if slices.Contains(b.endings, pass) {
			return true
		}
	}
	return false
}

// line makes the score from bars: repeats are written out, ties merged, and
// halves of a bar on either side of a repeat joined.
func (r *reading) line(s theory.Score, bars []bar) (theory.Score, error) {
	bars, err := unroll(bars)
	if err != nil {
		return s, err
	}
	kept := bars[:0]
	for _, b := range bars {
		if len(b.notes) == 0 {
			continue
		}
		if n := len(kept); n > 0 && b.meter.Valid() && kept[n-1].meter == b.meter && kept[n-1].key == b.key {
			if a, l := kept[n-1].length(), b.length(); a.Less(b.meter.Bar()) && a.Plus(l) == b.meter.Bar() {
				kept[n-1].notes = append(append([]note(nil), kept[n-1].notes...), b.notes...)
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
