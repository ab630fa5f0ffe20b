package drill

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Dictation is a drill of hearing: chords are played, and something of them is named, or
// sung back.
type Dictation struct {
	Music     *Music
	Manner    Manner
	Of        string // "bass" or "quality"
	Degrees   string // that the bass may have
	Qualities string // that chords may have
	Answer    string // how it is answered: ByName, BySinging or ByPlaying; "": ByName
	Length    int    // chords in one question
	Count     int
	KeyEvery  int
	Seed      uint64

	Recordings int  // that answer
	OwnProfile bool // the profile was asked for
}

// The ways to answer a dictation.
const (
	ByName    = "name"
	BySinging = "sing"
	ByPlaying = "play"
)

// Plays reports whether it is played back.
func (o *Dictation) Plays() bool { return o.Answer == ByPlaying }

// Sings reports whether it is sung back.
func (o *Dictation) Sings() bool { return o.Answer == BySinging }

// Plan reads the options. Every mistake in them is a [Wrong].
func (o *Dictation) Plan() (*Plan, error) {
	p := &Plan{Command: "dictation", Seed: o.Seed, Recordings: o.Recordings, music: o.Music}
	if err := o.answers(); err != nil {
		return p, err
	}
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
	p.sung, p.played, p.chords = o.Sings(), o.Plays(), o.Of == "quality"
	if p.hand && !o.Sings() {
		return p, wrongf("--then play: nothing is sung before it; want it with --answer sing")
	}
	switch {
	case o.Sings():
		p.suit(o.OwnProfile)
	case o.Plays():
		p.suit(o.OwnProfile)
		p.Config.RestAfter = 0 // nobody sings
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
		d := session.Dictation{
			Item: p.Item, Dictation: questions[i], Credit: questions[i].Skills()[0], Namer: n,
			SetKey: i == 0 || o.KeyEvery > 0 && i%o.KeyEvery == 0,
		}
		switch {
		case o.Sings():
			d.Singer, d.Hand = r, r.hands()
		case o.Plays():
			if _, ok := r.Answers.(session.BackPlayer); ok {
				d.Player = r
			} else {
				d.Instrument = r
			}
		}
		return d
	}}
	return p, nil
}

// SungBack reports whether the plan is a dictation that is sung back.
func (p *Plan) SungBack() bool { return p.sung }

// answers reads how it is answered.
func (o *Dictation) answers() error {
	switch {
	case o.Answer != "" && o.Answer != ByName && o.Answer != BySinging && o.Answer != ByPlaying:
		return wrongf("--answer: %q: want name, sing or play", plain.Short(o.Answer))
	case o.Sings() && o.Of == "quality":
		return wrongf("--answer sing: one voice sings no chord; name the quality, or sing the bass with --of bass")
	}
	n, err := o.Manner.questions(o.Recordings)
	if err != nil {
		return err
	}
	if n > 0 && o.Plays() && o.Of == "quality" {
		return wrong(ErrNoChords)
	}
	if n > 0 && !o.Music.said("count") {
		o.Count = n
	}
	if n > 0 && o.Count > n {
		return wrongf("--count: %s want %s, %d given", report.Many(o.Count, "question"), report.Many(o.Count, "recording"), n)
	}
	return nil
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
