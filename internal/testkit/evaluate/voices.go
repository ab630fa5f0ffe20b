package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"singback/internal/testkit/metrics"
)

// voice is one recording of a third synthesiser, with the exact fundamental beside
// it and digital silence between its notes: the folder voices of the reference data.
type voice struct {
	clip
	kind   string
	f0     []float64 // every step, in hertz; 0 where nothing is sung
	weight []float64 // 0: not scored
	notes  []metrics.Note
}

// Kinds of the voices. What they say live is apart.
const (
	voiceGrid    = "grid"
	voiceMelody  = "melodies"
	voiceBreathy = "breathy"
	voiceCreaky  = "creaky"
	voiceNobody  = "nobody"
	creakyLive   = "creaky live"
)

// kindOf tells the kind by the name of a recording.
func kindOf(name string) string {
	for prefix, kind := range map[string]string{"grid": voiceGrid, "mel_": voiceMelody, "breathy_": voiceBreathy, "creak": voiceCreaky, "nobody": voiceNobody} {
		if strings.HasPrefix(name, prefix) {
			return kind
		}
	}
	return ""
}

// readVoices reads the folder; nothing if there is none.
func readVoices(dir string) ([]voice, error) {
	dir = filepath.Join(dir, "voices")
	paths, err := filepath.Glob(filepath.Join(dir, "*.wav"))
	if err != nil {
		return nil, err
	}
	var out []voice
	for _, path := range paths {
		base := strings.TrimSuffix(path, ".wav")
		v := voice{clip: clip{path: path}, kind: kindOf(filepath.Base(base))}
		if v.kind == "" {
			return nil, fmt.Errorf("%s: no known kind of voice", path)
		}
		rows, err := numbers(base + ".f0.csv")
		if err != nil {
			return nil, err
		}
		for k, r := range rows {
			if math.Abs(r[0]-float64(k)*step) > 1e-6 {
				return nil, fmt.Errorf("%s.f0.csv: line %d is at %g s, want %g", base, k+1, r[0], float64(k)*step)
			}
			v.f0, v.weight = append(v.f0, r[1]), append(v.weight, r[2])
		}
		rows, err = numbers(base + ".notes.csv")
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
		for _, r := range rows {
			v.notes = append(v.notes, metrics.Note{Onset: r[0], Offset: r[1], Hz: r[2]})
		}
		out = append(out, v)
	}
	return out, nil
}

// numbers reads a table of three columns without a header.
func numbers(path string) ([][3]float64, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = 3
	lines, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	out := make([][3]float64, len(lines))
	for i, l := range lines {
		for k, cell := range l {
			if out[i][k], err = strconv.ParseFloat(cell, 64); err != nil {
				return nil, fmt.Errorf("%s: line %d: %w", path, i+1, err)
			}
		}
	}
	return out, nil
}

// truth is the fundamental at a moment at most a step from line k, on which
// something is sung.
func (v *voice) truth(k int, at float64) float64 {
	x := at/step - float64(k)
	n := k + 1
	if x < 0 {
		n = k - 1
	}
	if n < 0 || n >= len(v.f0) || v.f0[n] == 0 {
		return v.f0[k]
	}
	return v.f0[k] * math.Pow(v.f0[n]/v.f0[k], math.Abs(x))
}

// frames compares a track with the truth: each line of it with the nearest reading,
// whose pitch is compared at its own moment. A line counts as sung, or not, to the
// very edge of a note.
func (v *voice) frames(track []reading) []metrics.Frame {
	var out []metrics.Frame
	j := 0
	for k, hz := range v.f0 {
		t := float64(k) * step
		for j+1 < len(track) && math.Abs(track[j+1].at-t) <= math.Abs(track[j].at-t) {
			j++
		}
		var r reading
		at := t
		if j < len(track) && math.Abs(track[j].at-t) < 0.6*step {
			r = track[j]
			at = r.at
		}
		if v.weight[k] == 0 {
			continue
		}
		f := metrics.Frame{Sung: hz > 0, Est: metrics.Cents(r.hz), Any: metrics.Cents(r.estimate), Voiced: r.voiced && r.hz > 0, Confidence: r.confidence}
		if hz > 0 {
			f.Ref = metrics.Cents(v.truth(k, at))
		}
		out = append(out, f)
	}
	return out
}

// thirdVoices measures the third synthesiser's voices, and how soon the notes of
// their grid are known.
func (c *column) thirdVoices(t tool, s *sounds, dir string) error {
	if len(s.voices) == 0 {
		return nil
	}
	var clips, live []clip
	var lives []*voice
	for i := range s.voices {
		v := &s.voices[i]
		clips = append(clips, v.clip)
		if v.kind == voiceCreaky || v.kind == voiceGrid {
			live, lives = append(live, v.clip), append(lives, v)
		}
	}
	tracks, err := t.tracks(dir, clips, false)
	if err != nil {
		return err
	}
	c.voices = map[string][]metrics.Frame{}
	for i := range s.voices {
		v := &s.voices[i]
		c.voices[v.kind] = append(c.voices[v.kind], v.frames(tracks[i])...)
	}
	if _, own := t.(ours); own {
		c.vibrato = &thirdVibrato{}
		for i := range s.voices {
			if s.voices[i].kind != voiceMelody {
				continue
			}
			if err := c.vibrato.vibratos(&s.voices[i]); err != nil {
				return err
			}
		}
	}
	if tracks, err = t.tracks(dir, live, true); err == errNotLive {
		return nil
	}
	if err != nil {
		return err
	}
	for i, v := range lives {
		if v.kind == voiceCreaky {
			c.voices[creakyLive] = append(c.voices[creakyLive], v.frames(tracks[i])...)
			continue
		}
		for _, n := range v.notes {
			var of []reading
			for _, r := range tracks[i] {
				if r.at > n.Onset-inside && r.at < n.Offset {
					of = append(of, r)
				}
			}
			c.locks = append(c.locks, lock(n, of))
		}
	}
	return nil
}

// lock is the time from the start of a note until the program has it for good.
func lock(n metrics.Note, track []reading) latency {
	l := latency{n.Hz, math.Inf(1)}
	for i := len(track) - 1; i >= 0; i-- {
		r := track[i]
		if r.at > n.Offset-0.02 {
			continue
		}
		if !r.voiced || math.Abs(metrics.Cents(r.hz)-metrics.Cents(n.Hz)) >= 50 {
			break
		}
		l.ms = 1000 * (r.ready - n.Onset)
	}
	return l
}
