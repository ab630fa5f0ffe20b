package drill

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
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
	Of        string              // "bass", "quality" or OfProgression
	Degrees   string              // that the bass may have
	Qualities string              // that chords may have
	Answer    string              // how it is answered: ByName, BySinging or ByPlaying, of a progression one for each step; "": ByName
	Style     string              // that progressions are drawn from, and explained in; "": that of the singer, or the usual one
	Given     []compose.Dictation // the questions, where they were read; none: they are drawn
	Length    int                 // chords in one question
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

// Plays reports whether it, or a step of it, is played back.
func (o *Dictation) Plays() bool { w, _ := o.ways(); return slices.Contains(w[:], ByPlaying) }

// Sings reports whether it, or the bass of a progression, is sung back.
func (o *Dictation) Sings() bool { w, _ := o.ways(); return w[0] == BySinging }

// Types reports whether anything of it is named.
func (o *Dictation) Types() bool { w, _ := o.ways(); return slices.Contains(w[:], ByName) }

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
	o.begin(p)
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
	p.sung, p.played, p.chords = o.Sings(), o.Plays(), o.PlaysChords()
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
	style, err := o.style(p)
	if err != nil {
		return p, err
	}
	questions, err := o.questions(p, skills, style)
	if err != nil {
		return p, wrong(err)
	}
	p.Config.Count = len(questions)
	if o.Of == OfProgression {
		p.reasons = true
		p.asker = o.reasoning(p, questions, style)
		return p, nil
	}
	n := &namer{known: skills}
	p.asker = &listed{tasks: func(r *Run, i int) session.Task {
		if i >= len(questions) {
			return nil
		}
		n.run = r
		d := session.Dictation{
			Item: o.item(p, questions[i].Key), Dictation: questions[i], Credit: questions[i].Skills()[0], Namer: n,
			SetKey: o.setsKey(questions, i),
		}
		switch {
		case o.Sings():
			d.Singer, d.Hand = r, r.hands()
		case o.Plays():
			d.Player, d.Instrument = r.player()
		}
		return d
	}}
	return p, nil
}

// PlaysChords reports whether chords are played, for which there must be a keyboard.
func (o *Dictation) PlaysChords() bool {
	w, _ := o.ways()
	return o.Of == "quality" && w[0] == ByPlaying || o.Of == OfProgression && slices.Contains(w[1:], ByPlaying)
}

// SungBack reports whether the plan is a dictation that is sung back.
func (p *Plan) SungBack() bool { return p.sung }

// answers reads how it is answered.
func (o *Dictation) answers() error {
	_, wrongWay := o.ways()
	switch {
	case wrongWay != nil:
		return wrongWay
	case o.Sings() && o.Of == "quality":
		return wrongf("--answer sing: one voice sings no chord; name the quality, or sing the bass with --of bass")
	}
	n, err := o.Manner.questions(o.Recordings)
	if err != nil {
		return err
	}
	if n > 0 && o.PlaysChords() {
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
	case OfProgression:
		if !o.Music.said("degrees") {
			break
		}
		degrees, err := theory.ParseDegrees(o.Degrees, k, n)
		if err != nil {
			return nil, wrong(fmt.Errorf("--degrees: %w", err))
		}
		for _, d := range degrees {
			out = append(out, exercise.Skill{Kind: exercise.RootSkill, Degree: d})
		}
	default:
		return nil, wrongf("--of: %q: want bass, quality or progression", plain.Short(o.Of))
	}
	return out, nil
}

// questions draws the questions: each skill in turn, in shuffled rounds, among the
// others.
func (o *Dictation) questions(p *Plan, skills []exercise.Skill, style theory.Style) ([]compose.Dictation, error) {
	switch {
	case len(o.Given) > 0:
		return o.given(), nil
	case o.Of == OfProgression:
		return o.progressions(p, skills, style)
	}
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
