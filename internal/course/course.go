// Package course reads courses: plain TOML files, with comments, that a teacher
// writes. [Read] turns one into an [practice.Course] or says at which line and
// word it is wrong; [BuiltIn] is the course that comes along, and the example of
// how to write one.
package course

import (
	_ "embed"
	"errors"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/internal/plain"
	"singback/theory"
)

// Text is the file of the built-in course.
//
//go:embed builtin.toml
var Text []byte

// BuiltIn returns the course that comes along.
func BuiltIn() practice.Course {
	c, err := Read(Text)
	if err != nil {
		panic("course: " + err.Error()) // a test reads it
	}
	return c
}

// MaxSize is the size of the largest file that is read, in bytes.
const MaxSize = 1 << 20

// The limits of a course, so that a hostile file costs little.
const (
	maxStages = 200
	maxSkills = 5000
)

// Error says what is wrong in a file, and where.
type Error struct {
	Line, Column int    // from 1; in characters
	Word         string // what stands there; "" where something is missing
	Problem      string
}

func (e *Error) Error() string {
	at := fmt.Sprintf("line %d, column %d", e.Line, e.Column)
	if e.Word == "" {
		return at + ": " + e.Problem
	}
	return fmt.Sprintf("%s, %s: %s", at, quote(e.Word), e.Problem)
}

// quote puts a word of the file into a message.
func quote(s string) string {
	if r := []rune(s); len(r) > 30 {
		s = string(r[:30]) + "…"
	}
	return strconv.Quote(s)
}

// Read reads the text of a course. Every error is an [Error].
func Read(data []byte) (practice.Course, error) {
	r := &reader{data: data}
	if len(data) > MaxSize {
		return practice.Course{}, r.errorAt(0, "", "the file is larger than %d bytes", MaxSize)
	}
	// The library checks the whole of the syntax, keys that come twice included.
	var any map[string]any
	var decode *toml.DecodeError
	if err := toml.Unmarshal(data, &any); errors.As(err, &decode) {
		line, column := decode.Position()
		return practice.Course{}, &Error{line, max(1, column), "", strings.TrimPrefix(oneLine(decode.Error()), "toml: ")}
	} else if err != nil {
		return practice.Course{}, r.errorAt(0, "", "%s", strings.TrimPrefix(oneLine(err.Error()), "toml: "))
	}
	root, stages, err := r.tables()
	if err != nil {
		return practice.Course{}, err
	}
	return r.course(root, stages)
}

func (r *reader) course(root *table, stages []*table) (c practice.Course, err error) {
	if err := r.only(root, "name", "minutes", "new"); err != nil {
		return c, err
	}
	name, err := r.text(root, "name")
	if err != nil {
		return c, err
	}
	c.Name = oneLine(plain.Line(name.data))
	if c.Minutes, err = r.number(root, "minutes", 8, practice.MinMinutes, practice.MaxMinutes, false); err != nil {
		return c, err
	}
	fresh, err := r.number(root, "new", 3, 0, practice.MaxNew, true)
	if err != nil {
		return c, err
	}
	c.New = int(fresh)
	if len(stages) == 0 {
		return c, r.errorAt(len(r.data), "", "there is no [[stage]]")
	}
	for _, t := range stages {
		s, err := r.stage(t)
		if err != nil {
			return c, err
		}
		c.Stages = append(c.Stages, s)
	}
	if err := c.Validate(); err != nil { // unreachable: each value was checked
		return c, r.errorAt(0, "", "%s", err)
	}
	return c, nil
}

func (r *reader) stage(t *table) (s practice.Stage, err error) {
	if err := r.only(t, "name", "keys", "degrees", "among", "moves", "series", "melodies", "bass", "qualities", "tolerance", "set_every"); err != nil {
		return s, err
	}
	name, err := r.text(t, "name")
	if err != nil {
		return s, err
	}
	s.Name = oneLine(plain.Line(name.data))
	if s.Keys, err = r.keys(t); err != nil {
		return s, err
	}
	if err = r.skillsOf(t, &s); err != nil {
		return s, err
	}
	if s.Tolerance, err = r.number(t, "tolerance", exercise.DefaultTolerance, exercise.MinTolerance, exercise.MaxTolerance, false); err != nil {
		return s, err
	}
	series, err := r.number(t, "set_every", 8, 1, practice.MaxSeries, true)
	if err != nil {
		return s, err
	}
	s.Series = int(series)
	s.Goal, err = r.goal(t.goal, len(s.Keys))
	return s, err
}

func (r *reader) goal(t *table, keys int) (g practice.Goal, err error) {
	if t == nil {
		t = newTable("goal", 0)
	}
	if err := r.only(t, "right", "of", "days", "keys"); err != nil {
		return g, err
	}
	right, err := r.number(t, "right", 80, 1, 100, false)
	if err != nil {
		return g, err
	}
	g.Share = right / 100
	for _, f := range []struct {
		key      string
		to       *int
		or, high int
	}{{"of", &g.Of, practice.MasteryOf, practice.MasteryOf}, {"days", &g.Days, 2, practice.MasteryOf}, {"keys", &g.Keys, min(2, keys), min(keys, practice.MasteryOf)}} {
		x, err := r.number(t, f.key, float64(f.or), 1, float64(f.high), true)
		if err != nil {
			return g, err
		}
		*f.to = int(x)
	}
	for _, f := range []struct {
		key string
		n   *int
	}{{"days", &g.Days}, {"keys", &g.Keys}} {
		if *f.n <= g.Of {
			continue
		}
		if v, stated := t.values[f.key]; stated {
			return g, r.bad(v, "more %s than the %d answers of the goal", f.key, g.Of)
		}
		*f.n = g.Of
	}
	return g, nil
}

// The twelve keys of a mode, each sound once.
func twelve(m theory.Mode) []theory.Key {
	var out []theory.Key
	for _, k := range theory.Keys() {
		if s := k.Signature(); k.Mode == m && s >= -6 && s <= 5 {
			out = append(out, k)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return size(out[i])-size(out[j]) < 0 })
	return out
}

// size orders keys by the signs that they have, sharps before flats.
func size(k theory.Key) int {
	if s := k.Signature(); s >= 0 {
		return 2 * s
	} else {
		return -2*s + 1
	}
}

func (r *reader) keys(t *table) ([]theory.Key, error) {
	v, ok := t.values["keys"]
	if !ok {
		return twelve(theory.Major), nil
	}
	list := v.items
	if v.kind == unstable.String {
		list = []value{v}
	} else if v.kind != unstable.Array {
		return nil, r.bad(v, "keys wants \"all major\", \"all minor\", or a list like [\"C major\", \"Ab major\"]")
	}
	var out []theory.Key
	add := func(k theory.Key) {
		if !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	for _, item := range list {
		if item.kind != unstable.String {
			return nil, r.bad(item, "a key wants a text in quotes, like \"Ab major\"")
		}
		switch strings.ToLower(oneLine(item.data)) {
		case "all major":
			for _, k := range twelve(theory.Major) {
				add(k)
			}
		case "all minor":
			for _, k := range twelve(theory.Minor) {
				add(k)
			}
		default:
			k, err := theory.ParseKey(item.data)
			if err != nil {
				return nil, r.bad(item, "%s; or \"all major\", \"all minor\"", reason(err, theory.ErrKey))
			}
			add(k)
		}
	}
	if len(out) == 0 {
		return nil, r.bad(v, "keys is empty: want at least one key")
	}
	return out, nil
}

// reason is the text of an error without what the place says already.
func reason(err, about error) string {
	return oneLine(strings.TrimPrefix(err.Error(), about.Error()+": "))
}

func (r *reader) degrees(t *table, key string, k theory.Key) ([]theory.Degree, error) {
	v, err := r.text(t, key)
	if err != nil {
		return nil, err
	}
	var out []theory.Degree
	for _, w := range v.words() {
		ds, err := theory.ParseDegrees(w.text, k, theory.Movable)
		if err != nil {
			return nil, r.errorAt(w.at, w.text, "%s", reason(err, theory.ErrDegree))
		}
		for _, d := range ds {
			if !slices.Contains(out, d) {
				out = append(out, d)
			}
		}
	}
	return out, nil
}

// skillsOf lists what a stage asks for: the degrees, the moves, the series, what
// is heard, the melodies.
func (r *reader) skillsOf(t *table, stage *practice.Stage) error {
	k := stage.Keys[0]
	seen := map[exercise.Skill]bool{}
	add := func(s exercise.Skill) {
		if !seen[s] {
			seen[s] = true
			stage.Skills = append(stage.Skills, s)
		}
	}
	degrees, err := r.degrees(t, "degrees", k)
	if err != nil {
		return err
	}
	for _, d := range degrees {
		add(exercise.Item{Key: k, Asked: d}.Skill())
	}
	among := degrees
	if _, ok := t.values["among"]; ok {
		if among, err = r.degrees(t, "among", k); err != nil {
			return err
		}
	}
	moves, err := r.text(t, "moves")
	if err != nil {
		return err
	}
	for _, w := range moves.words() {
		m, err := practice.MovesNamed(w.text)
		if err != nil {
			return r.errorAt(w.at, w.text, "no such moves: want steps, triad, chords, any")
		}
		for _, s := range m.Between(among) {
			add(s)
		}
	}
	v, ok := t.values["series"]
	if ok && v.kind != unstable.Array {
		return r.bad(v, "series wants a list like [\"do re mi\", \"do ti, do\"]")
	}
	for _, item := range v.items {
		if item.kind != unstable.String {
			return r.bad(item, "a series wants a text in quotes, like \"do re mi\"")
		}
		skills, err := series(item.data, k)
		if err != nil {
			return r.bad(item, "%s", oneLine(err.Error()))
		}
		for _, s := range skills {
			add(s)
		}
		if len(skills) > practice.MaxSeries {
			return r.bad(item, "a series of %d degrees is too long: want at most %d", len(skills), practice.MaxSeries)
		}
		if len(skills) > 1 {
			stage.Chains = append(stage.Chains, skills)
		}
	}
	bass, err := r.degrees(t, "bass", k)
	if err != nil {
		return err
	}
	for _, d := range bass {
		add(exercise.Skill{Kind: exercise.BassSkill, Degree: d})
	}
	qualities, err := r.text(t, "qualities")
	if err != nil {
		return err
	}
	for _, w := range qualities.words() {
		q, err := compose.ParseQuality(w.text)
		if err != nil {
			return r.errorAt(w.at, w.text, "%s", oneLine(err.Error()))
		}
		add(exercise.Skill{Kind: exercise.QualitySkill, Chord: q})
	}
	levels, err := r.levels(t)
	if err != nil {
		return err
	}
	for _, n := range levels {
		add(exercise.Skill{Kind: exercise.MelodySkill, Level: n})
	}
	if len(stage.Skills) == 0 {
		return r.errorAt(t.at, "stage", "there is nothing to practise in it: want degrees, moves, series, melodies, bass or qualities")
	}
	if r.skills += len(stage.Skills); r.skills > maxSkills {
		return r.errorAt(t.at, "stage", "more than %d things to practise in the course", maxSkills)
	}
	return nil
}

// levels reads the levels of melodies: a number, or a list of numbers.
func (r *reader) levels(t *table) ([]int, error) {
	v, ok := t.values["melodies"]
	if !ok {
		return nil, nil
	}
	list := v.items
	if v.kind != unstable.Array {
		list = []value{v}
	}
	var out []int
	for _, item := range list {
		n, err := strconv.Atoi(item.data)
		if item.kind != unstable.Integer || err != nil || n < 1 || n > compose.Levels {
			return nil, r.bad(item, "a level of melodies wants a whole number from 1 to %d", compose.Levels)
		}
		out = append(out, n)
	}
	return out, nil
}

// series reads a series of degrees, each sung from the one before, as the moves
// in it. Octaves are marked as in tonic sol-fa: sol, is below, do' above.
func series(text string, k theory.Key) ([]exercise.Skill, error) {
	m, err := theory.ParseMelody(text, k, theory.Movable)
	if err != nil {
		return nil, err
	}
	var out []exercise.Skill
	var last *theory.Tone
	height := func(t *theory.Tone) int { return t.Degree.Interval().Semitones + 12*t.Octave }
	for i := range m.Tones {
		tone := &m.Tones[i]
		if tone.Rest {
			continue
		}
		switch before := last; {
		case before == nil:
			out = append(out, exercise.Item{Key: k, Asked: tone.Degree}.Skill())
		case before.Degree == tone.Degree:
			// the same again, or its octave: no move
		default:
			away := height(tone) - height(before)
			if away > 12 || away < -12 {
				return nil, fmt.Errorf("from %s to %s is more than an octave", theory.Movable.NameASCII(k, before.Degree), theory.Movable.NameASCII(k, tone.Degree))
			}
			s := exercise.Skill{Kind: exercise.PairSkill, From: before.Degree, Degree: tone.Degree, Way: exercise.Up}
			if away < 0 {
				s.Way = exercise.Down
			}
			if away != 0 {
				out = append(out, s)
			}
		}
		last = tone
	}
	return out, nil
}
