package compose

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"singback/exercise"
	"singback/theory"
)

// ProgressionOrder tells how a progression is drawn.
type ProgressionOrder struct {
	Key    theory.Key // major or minor
	Style  theory.Style
	Length int            // chords, 1 … MaxDictation
	Root   *theory.Degree // on which a chord of it stands, where that can be; nil: on any
	Seed   uint64
}

// How often a progression is drawn anew: until the strict rules of voice leading can be
// kept, and until it has the root that is wanted.
const (
	drawnForVoices = 12
	drawnForRoot   = 60
)

// NewProgression draws a progression to be told: its bass, and with Step what else is
// asked of it. It is drawn by theory.Style.Draw and voiced for a keyboard by the rules
// of voice leading, with licences where no draw keeps them.
func NewProgression(o ProgressionOrder) (Dictation, error) {
	d := Dictation{Of: exercise.BassSkill, Key: o.Key, Seed: o.Seed}
	if o.Length < 1 || o.Length > MaxDictation {
		return d, fmt.Errorf("a progression of %d chords is not possible: want 1 to %d", o.Length, MaxDictation)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x70726f67))
	has := func(chords []theory.Roman) bool {
		return o.Root == nil || slices.ContainsFunc(chords, func(r theory.Roman) bool {
			return o.Key.Degree(r.Chord.Root).Semitones() == o.Root.Semitones()
		})
	}
	voiced := 0
	for i := 0; ; i++ {
		chords, err := o.Style.Draw(o.Key, o.Length, rng.Float64)
		if err != nil {
			return d, err
		}
		if !has(chords) && i < drawnForRoot {
			continue
		}
		voices, _, err := theory.KeyboardTexture().Voice(chords)
		if voiced++; err != nil && voiced < drawnForVoices && i < drawnForRoot {
			continue
		}
		if d.Chords, d.Voices = chords, voices; err != nil {
			d.voiceFreely()
		}
		return d, nil
	}
}

// GivenProgression makes a dictation of chords that somebody has chosen, of which the
// bass is asked; it is voiced with licences where the strict rules cannot be kept. Every
// chord must have a quality that can be asked.
func GivenProgression(k theory.Key, chords []theory.Roman) (Dictation, error) {
	d := Dictation{Of: exercise.BassSkill, Key: k, Chords: chords}
	if len(chords) < 1 || len(chords) > MaxDictation {
		return d, fmt.Errorf("%d chords: want 1 to %d in one question", len(chords), MaxDictation)
	}
	for i, c := range chords {
		if QualityOf(c.Chord.Quality) == "" {
			return d, fmt.Errorf("chord %d: %s has neither a third nor a suspension, and no quality that can be asked", i+1, c.Chord.ASCII())
		}
	}
	d.voiceFreely()
	return d, nil
}

// voiceFreely voices the chords with licences, or where even that cannot be each by
// itself.
func (d *Dictation) voiceFreely() {
	var err error
	if d.Voices, _, _, err = theory.KeyboardTexture().VoiceFreely(d.Chords); err == nil {
		return
	}
	d.Voices = nil
	for _, c := range d.Chords {
		d.Voices = append(d.Voices, closed(c.Chord, c.Chord.Bass, 0))
	}
}

// Step is what else is asked of the chords: their bass, qualities, roots or inversions.
func (d Dictation) Step(of exercise.Kind) Dictation {
	d.Of, d.asked = of, nil
	return d
}

// told is what is to be told of a chord.
func told(of exercise.Kind, k theory.Key, c theory.Roman) exercise.Skill {
	s := exercise.Skill{Kind: of}
	switch of {
	case exercise.QualitySkill:
		s.Chord = QualityOf(c.Chord.Quality)
	case exercise.RootSkill:
		s.Degree = k.Degree(c.Chord.Root)
	case exercise.InversionSkill:
		if s.Level = c.Chord.Inversion(); s.Level < 0 || s.Level > exercise.NoInversion {
			s.Level = exercise.NoInversion
		}
	default:
		s.Degree = k.Degree(c.Chord.Bass)
	}
	return s
}

// QualityOf returns the name among Qualities that a chord has to the ear: its own, or
// that of its triad with its seventh, without what stands above: C9 is a 7, C7sus4 a
// sus4. "" is none, of a chord with neither a third nor a suspension.
func QualityOf(q theory.Quality) string {
	if name, ok := nameOfQuality(q); ok {
		return name
	}
	sevenths := map[theory.Triad][3]string{ // with none, a minor or a major one
		theory.MajorHeard:      {"maj", "7", "maj7"},
		theory.MinorHeard:      {"min", "m7", "mMaj7"},
		theory.DiminishedHeard: {"dim", "m7b5", "dim"},
		theory.AugmentedHeard:  {"aug", "aug", "aug"},
	}
	if names, ok := sevenths[q.Triad()]; ok {
		switch _, six := q.Tone(6); q.Seventh() {
		case theory.NoSeventh:
			if six && q.Triad() == theory.MajorHeard {
				return "6"
			}
			return names[0]
		case theory.MinorSeventh:
			return names[1]
		case theory.DiminishedSeventh:
			return "dim7"
		}
		return names[2]
	}
	if _, four := q.Tone(4); four {
		return "sus4"
	}
	if _, two := q.Tone(2); two {
		return "sus2"
	}
	return ""
}

// ReadChords reads chords that somebody has told, one for each: numerals, numbers of a
// chart or chord symbols; see theory.ParseProgression.
func (d Dictation) ReadChords(text string) ([]theory.Roman, error) {
	chords, err := theory.ParseProgression(text, d.Key)
	if err == nil && len(chords) != len(d.Chords) {
		err = fmt.Errorf("%d given: want %d chords", len(chords), len(d.Chords))
	}
	return chords, err
}

// Told returns what chords that were named say of each of one kind; the zero Skill where
// one is missing, which a zero Roman is. What sounds the same over the same bass is the
// same: it is taken for the chord that sounded.
func (d Dictation) Told(of exercise.Kind, named []theory.Roman) []exercise.Skill {
	if len(named) == 0 {
		return nil
	}
	out := make([]exercise.Skill, len(d.Chords))
	for i, c := range d.Chords {
		if i >= len(named) || named[i] == (theory.Roman{}) {
			continue
		}
		if soundsAs(named[i].Chord, c.Chord) {
			out[i] = told(of, d.Key, c)
			continue
		}
		out[i] = told(of, d.Key, named[i])
	}
	return out
}

// soundsAs reports whether two chords are the same keys over the same key.
func soundsAs(a, b theory.Chord) bool {
	set := func(c theory.Chord) (s uint16) {
		for _, n := range c.Notes() {
			s |= 1 << pitchClass(n)
		}
		return s
	}
	return pitchClass(a.Bass) == pitchClass(b.Bass) && set(a) == set(b)
}

// Mark is what was told right of one chord of a progression: its bass, its quality, the
// degree on which it stands, its inversion, and all of it, as it was named last.
type Mark struct{ Bass, Quality, Root, Inversion, Chord bool }

// Marks marks the chords that were named, and what was told of bass and quality before.
func (d Dictation) Marks(bass, quality []bool, named []theory.Roman) []Mark {
	right := func(of exercise.Kind) []bool { return d.Step(of).Right(d.Told(of, named)) }
	roots, inversions, qualities := right(exercise.RootSkill), right(exercise.InversionSkill), right(exercise.QualitySkill)
	out := make([]Mark, len(d.Chords))
	for i := range out {
		out[i] = Mark{bass[i], quality[i], roots[i], inversions[i], roots[i] && inversions[i] && qualities[i]}
	}
	return out
}
