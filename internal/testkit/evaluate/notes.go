package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"

	"singback/internal/testkit"
	"singback/internal/testkit/metrics"
)

// sungNotes are the notes of a clip: those of package pitch for ours, and for
// every other program those of a plain segmenter on its track.
func sungNotes(t tool, c clip, track []reading) ([]metrics.Note, error) {
	if _, own := t.(ours); !own {
		return plainNotes(track), nil
	}
	found, err := c.notes()
	if err != nil {
		return nil, err
	}
	rate := float64(c.rate)
	var out []metrics.Note
	for _, n := range found {
		out = append(out, metrics.Note{Onset: float64(n.Onset) / rate, Offset: float64(n.Offset) / rate, Hz: n.F0})
	}
	return out, nil
}

// plainNotes cuts a track into notes: a note is at least 80 ms of voiced
// readings, with gaps of at most 30 ms, and a new one begins where three
// readings in a row lie more than 70 cents from the median of the last 100 ms.
// Its pitch is the median of its middle 60 %. Common practice: it uses nothing
// but the pitch track.
func plainNotes(track []reading) []metrics.Note {
	const (
		shortest, gap = 0.080, 0.030
		away, recent  = 70.0, 10
	)
	var out []metrics.Note
	var note []reading
	finish := func() {
		if n := len(note); n > 0 && note[n-1].at-note[0].at >= shortest {
			hz := middle(note)
			out = append(out, metrics.Note{Onset: note[0].at, Offset: note[n-1].at + step, Hz: hz})
		}
		note = note[:0]
	}
	for i, r := range track {
		if !r.voiced {
			continue
		}
		if n := len(note); n > 0 && r.at-note[n-1].at > gap+step {
			finish()
		}
		if n := len(note); n >= 4 {
			var last []float64
			for _, p := range note[max(0, n-recent):] {
				last = append(last, metrics.Cents(p.hz))
			}
			held := median(last)
			leaves := true
			for k := i; k < i+3; k++ {
				leaves = leaves && k < len(track) && track[k].voiced && math.Abs(metrics.Cents(track[k].hz)-held) > away
			}
			if leaves {
				finish()
			}
		}
		note = append(note, r)
	}
	finish()
	return out
}

// middle is the median pitch in hertz of the middle 60 % of the readings.
func middle(track []reading) float64 {
	var cents []float64
	for _, r := range track[len(track)/5 : len(track)-len(track)/5] {
		cents = append(cents, metrics.Cents(r.hz))
	}
	return 10 * math.Exp2(median(cents)/1200)
}

// median returns NaN for nothing.
func median(x []float64) float64 { return quantile(x, 0.5) }

// quantile is the q-th of the sorted values, without interpolation but for the
// median of an even number; NaN for nothing.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(x))
	if q == 0.5 {
		return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
	}
	return s[min(len(s)-1, int(math.Ceil(q*float64(len(s))))-1)]
}

// melody is one recording of real singing with its notes as people annotated
// them.
type melody struct {
	clip
	notes []metrics.Note
}

// sightSinging reads the sight-singing recordings of the reference data, at
// most limit if that is above 0. The pitch truth is the annotation less the
// recording's own offset, the median of how far the annotators lie above what
// trackers measure (15 to 35 cents): that keeps the people's choice of note and
// octave, which no tracker had a hand in.
func sightSinging(dir string, limit int) ([]melody, error) {
	recordings, err := testkit.Table(filepath.Join(dir, "sight-singing", "recordings.csv"))
	if err != nil {
		return nil, err
	}
	rows, err := testkit.Table(filepath.Join(dir, "sight-singing", "notes.csv"))
	if err != nil {
		return nil, err
	}
	var out []melody
	for _, r := range recordings {
		if limit > 0 && len(out) == limit {
			break
		}
		offset, err := number(r, "annotation_minus_measured_cents")
		if err != nil {
			return nil, err
		}
		m := melody{clip: clip{path: filepath.Join(dir, "sight-singing", filepath.FromSlash(r["audio"]))}}
		for _, n := range rows {
			if n["recording"] != r["recording"] {
				continue
			}
			var v [3]float64
			for i, column := range []string{"onset", "offset", "annotated_midi"} {
				if v[i], err = number(n, column); err != nil {
					return nil, err
				}
			}
			m.notes = append(m.notes, metrics.Note{Onset: v[0], Offset: v[1], Hz: 440 * math.Exp2((v[2]-69-offset/100)/12)})
		}
		out = append(out, m)
	}
	return out, nil
}

// single is one recording of one held note.
type single struct {
	clip
	midi         float64
	cents        float64 // measured by three agreeing trackers, from midi
	agree        bool    // they do: within 10 cents
	voicedFrom   float64
	voicedTo     float64
	nominalCents float64 // above 10 Hz
}

func singleNotes(dir string) ([]single, error) {
	rows, err := testkit.Table(filepath.Join(dir, "sung-notes", "notes.csv"))
	if err != nil {
		return nil, err
	}
	var out []single
	for _, r := range rows {
		s := single{clip: clip{path: filepath.Join(dir, "sung-notes", "wav", filepath.Base(r["file"]))}}
		var spread float64
		for column, v := range map[string]*float64{
			"nominal_midi": &s.midi, "measured_minus_nominal_cents": &s.cents, "tracker_spread_cents": &spread,
			"voiced_from": &s.voicedFrom, "voiced_to": &s.voicedTo,
		} {
			if *v, err = number(r, column); err != nil {
				return nil, err
			}
		}
		s.agree = spread <= 10
		s.nominalCents = metrics.Cents(440) + 100*(s.midi-69)
		out = append(out, s)
	}
	return out, nil
}

// answer is how far, in cents from the nominal pitch, a program finds the held
// note; ok is false if it finds none. Ours is its longest note; of any other,
// the median of what is voiced in the middle 60 % of the note, which is how the
// truth was made.
func (s single) answer(t tool, track []reading) (cents float64, ok bool, err error) {
	if _, own := t.(ours); own {
		notes, err := sungNotes(t, s.clip, track)
		longest := metrics.Note{}
		for _, n := range notes {
			if n.Offset-n.Onset > longest.Offset-longest.Onset {
				longest = n
			}
		}
		return metrics.Cents(longest.Hz) - s.nominalCents, longest.Hz > 0, err
	}
	cut := (s.voicedTo - s.voicedFrom) / 5
	var inside []float64
	for _, r := range track {
		if r.voiced && r.at >= s.voicedFrom+cut && r.at <= s.voicedTo-cut {
			inside = append(inside, metrics.Cents(r.hz))
		}
	}
	return median(inside) - s.nominalCents, len(inside) > 0, nil
}

func number(row map[string]string, column string) (float64, error) {
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		return 0, fmt.Errorf("column %s: %w", column, err)
	}
	return v, nil
}
