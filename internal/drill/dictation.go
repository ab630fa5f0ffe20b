package drill

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/plain"
	"singback/internal/session"
	"singback/theory"
)

// Dictation is a drill of hearing: chords are played, and something of them is named.
type Dictation struct {
	Music     *Music
	Manner    Manner
	Of        string // "bass" or "quality"
	Degrees   string // that the bass may have
	Qualities string // that chords may have
	Length    int    // chords in one question
	Count     int
	KeyEvery  int
	Seed      uint64
}

// Plan reads the options. Every mistake in them is a [Wrong].
func (o *Dictation) Plan() (*Plan, error) {
	p := &Plan{Command: "dictation", Seed: o.Seed, music: o.Music}
	var err error
	if p.Item, p.Naming, err = o.Music.Base(func() uint64 { return p.Seed }); err != nil {
		return p, err
	}
	key := p.Item.Key
	skills, err := o.skills(key, p.Naming)
	if err != nil {
		return p, err
	}
	switch {
	case key.Mode > theory.Minor:
		return p, wrongf("--key %s: its chords are not known; want a major or minor key", key.ASCII())
	case o.Length < 1 || o.Length > compose.MaxDictation:
		return p, wrongf("--length: %d is out of range: want 1 to %d", o.Length, compose.MaxDictation)
	case o.Count < 1 || o.Count > exercise.MaxCount:
		return p, wrongf("--count: %d is out of range: want 1 to %d", o.Count, exercise.MaxCount)
	case o.KeyEvery < 0:
		return p, wrongf("--set-every: %d is out of range: want 0 or more", o.KeyEvery)
	}
	if err := o.Manner.read(p); err != nil {
		return p, err
	}
	p.Item.Asked = theory.Degree{Step: 1}
	questions, err := o.questions(p, skills)
	if err != nil {
		return p, wrong(err)
	}
	p.Config.Count = len(questions)
	n := &namer{known: skills}
	p.asker = &listed{tasks: func(r *Run, i int) session.Task {
		if i >= len(questions) {
			return nil
		}
		n.run = r
		return session.Dictation{
			Item: p.Item, Dictation: questions[i], Credit: questions[i].Skills()[0], Namer: n,
			SetKey: i == 0 || o.KeyEvery > 0 && i%o.KeyEvery == 0,
		}
	}}
	return p, nil
}

// skills reads what is to be named.
func (o *Dictation) skills(k theory.Key, n theory.Naming) ([]exercise.Skill, error) {
	var out []exercise.Skill
	switch o.Of {
	case "bass":
		degrees, err := theory.ParseDegrees(o.Degrees, k, n)
		if err != nil {
			return nil, wrong(fmt.Errorf("--degrees: %w", err))
		}
		for _, d := range degrees {
			out = append(out, exercise.Skill{Kind: exercise.BassSkill, Degree: d})
		}
	case "quality":
		for _, word := range strings.FieldsFunc(o.Qualities, func(r rune) bool { return r == ' ' || r == ',' }) {
			q, err := compose.ParseQuality(word)
			if err != nil {
				return nil, wrong(fmt.Errorf("--qualities: %w", err))
			}
			out = append(out, exercise.Skill{Kind: exercise.QualitySkill, Chord: q})
		}
		if len(out) == 0 {
			return nil, wrong(errors.New("--qualities: it is empty; want some of " + strings.Join(compose.Qualities(), ", ")))
		}
	default:
		return nil, wrongf("--of: %q: want bass or quality", plain.Short(o.Of))
	}
	return out, nil
}

// questions draws the questions: each skill in turn, in shuffled rounds, among the
// others.
func (o *Dictation) questions(p *Plan, skills []exercise.Skill) ([]compose.Dictation, error) {
	rng := rand.New(rand.NewPCG(p.Seed, 0x6463746e))
	var out []compose.Dictation
	var round []int
	for len(out) < o.Count {
		if len(round) == 0 {
			round = rng.Perm(len(skills))
		}
		d, err := compose.NewDictation(compose.DictationOrder{
			Skill: skills[round[0]], Known: skills, Key: p.Item.Key, Length: o.Length, Seed: rng.Uint64(),
		})
		if err != nil {
			return nil, err
		}
		out, round = append(out, d), round[1:]
	}
	return out, nil
}
