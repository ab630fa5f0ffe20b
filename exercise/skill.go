package exercise

import (
	"fmt"
	"strconv"
	"strings"

	"singback/theory"
)

// Kind is a kind of skill.
type Kind int8

// The kinds.
const (
	DegreeSkill    Kind = iota // to sing a degree of the key's scale after the key has been set
	PairSkill                  // to sing a degree from another one, up or down
	KeySkill                   // to be at home in a key
	ChromaticSkill             // to sing a degree outside the key's scale
	BassSkill                  // to tell which degree the bass has
	QualitySkill               // to tell the quality of a chord
	MelodySkill                // to sing melodies of a level
	RootSkill                  // to tell on which degree a chord of a progression stands
	InversionSkill             // to tell which tone of a chord of a progression is in the bass
	HandSkill                  // to strike the degree that was sung
)

// Heard tells that a skill of this kind is to tell something of chords that are heard.
func (k Kind) Heard() bool {
	return k == BassSkill || k == QualitySkill || k == RootSkill || k == InversionSkill
}

var kindNames = [...]string{"degree", "pair", "key", "chromatic", "bass", "quality", "melody", "root", "inversion", "hand"}

// String returns the name: "degree", "pair", …
func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("Kind(%d)", int8(k))
	}
	return kindNames[k]
}

// Skill is one thing that can be practised. Skills are values and compare with
// ==; fields that the kind does not name are zero. A degree is meant as counted
// from the tonic, in every key.
type Skill struct {
	Kind   Kind
	Degree theory.Degree // of a degree, chromatic, bass, root or hand skill; the end of a pair
	From   theory.Degree // the start of a pair
	Way    Direction     // of a pair: Up or Down
	Key    theory.Key    // of a key skill
	Chord  string        // of a quality skill: the chord's symbol without its root
	Level  int           // of a melody skill, 1 …; of an inversion skill, 0 … 3, or 4 where the bass is no tone of the chord
}

// String writes the skill as the record keeps it: "degree 6", "pair 4-6 up",
// "key Ab major", "chromatic #4", "bass 4", "quality m7b5", "melody 3",
// "root 4", "inversion 1", "hand 6".
func (s Skill) String() string {
	name := s.Kind.String() + " "
	switch s.Kind {
	case PairSkill:
		return name + s.From.ASCII() + "-" + s.Degree.ASCII() + " " + s.Way.String()
	case KeySkill:
		return name + s.Key.ASCII()
	case QualitySkill:
		return name + s.Chord
	case MelodySkill, InversionSkill:
		return name + strconv.Itoa(s.Level)
	}
	return name + s.Degree.ASCII()
}

// NoInversion is the level of an inversion skill where the bass is no tone of the chord.
const NoInversion = 4

// maxLevel is the highest level of a melody that ParseSkill reads.
const maxLevel = 99

// ParseSkill reads what String writes.
func ParseSkill(text string) (Skill, error) {
	kind, rest, _ := strings.Cut(text, " ")
	s := Skill{Kind: -1}
	for k, name := range kindNames {
		if name == kind {
			s.Kind = Kind(k)
		}
	}
	ok := false
	switch s.Kind {
	case -1:
		return Skill{}, fmt.Errorf("no skill %.40q: want one that begins with %s", text, strings.Join(kindNames[:], ", "))
	case PairSkill:
		pair, way, _ := strings.Cut(rest, " ")
		from, to, _ := strings.Cut(pair, "-")
		s.Way = map[string]Direction{"up": Up, "down": Down}[way]
		var a, b bool
		s.From, a = readDegree(from)
		s.Degree, b = readDegree(to)
		ok = a && b && s.Way != Within
	case KeySkill:
		var err error
		s.Key, err = theory.ParseModalKey(rest)
		ok = err == nil
	case QualitySkill:
		s.Chord = rest
		ok = len(rest) <= 16 && !strings.ContainsFunc(rest, func(r rune) bool { return r <= ' ' || r > '~' })
	case MelodySkill:
		var err error
		s.Level, err = strconv.Atoi(rest)
		ok = err == nil && s.Level >= 1 && s.Level <= maxLevel
	case InversionSkill:
		var err error
		s.Level, err = strconv.Atoi(rest)
		ok = err == nil && s.Level >= 0 && s.Level <= NoInversion && len(rest) == 1
	default:
		s.Degree, ok = readDegree(rest)
	}
	if !ok {
		return Skill{}, fmt.Errorf("no skill %.40q: want one like \"degree 6\", \"pair 4-b6 up\", \"key Ab major\", \"chromatic #4\", \"bass 4\", \"quality m7b5\", \"melody 3\", \"root 4\", \"inversion 1\" or \"hand 6\"", text)
	}
	return s, nil
}

// readDegree reads a degree as Degree.ASCII writes it: "6", "b3", "##4".
func readDegree(s string) (theory.Degree, bool) {
	digit := strings.TrimLeft(s, "b#")
	signs := s[:len(s)-len(digit)]
	if len(digit) != 1 || digit[0] < '1' || digit[0] > '7' || len(signs) > 2 {
		return theory.Degree{}, false
	}
	d := theory.Degree{Step: int(digit[0] - '0'), Alter: strings.Count(signs, "#") - strings.Count(signs, "b")}
	return d, d.ASCII() == s
}

// ParseDegree reads a degree as theory.Degree.ASCII writes it, counted from the
// major scale: "6", "b3", "#4".
func ParseDegree(s string) (theory.Degree, error) {
	d, ok := readDegree(s)
	if !ok {
		return d, fmt.Errorf("%w: %.20q; want 1 to 7 with b or # before it, like b3", theory.ErrDegree, s)
	}
	return d, nil
}

// inScale reports whether d belongs to the scale of k, the harmonic and melodic
// forms of minor included.
func inScale(k theory.Key, d theory.Degree) bool {
	for _, own := range k.ScaleDegrees() {
		if own == d {
			return true
		}
	}
	return k.Mode == theory.Minor && (d == theory.Degree{Step: 6} || d == theory.Degree{Step: 7})
}

// DegreeSkillOf is the skill of singing one degree of a key.
func DegreeSkillOf(k theory.Key, d theory.Degree) Skill {
	if inScale(k, d) {
		return Skill{Kind: DegreeSkill, Degree: d}
	}
	return Skill{Kind: ChromaticSkill, Degree: d}
}

// Skill returns what an item asks for: the pair if it has a From, else the
// degree.
func (it Item) Skill() Skill {
	if way := it.Direction(); way != Within {
		return Skill{Kind: PairSkill, From: *it.From, Degree: it.Asked, Way: way}
	}
	return DegreeSkillOf(it.Key, it.Asked)
}

// Ask returns base, with its key, as the question for a skill; false for skills
// that are no single sung degree.
func (s Skill) Ask(base Item) (Item, bool) {
	base.Asked, base.From, base.Move = s.Degree, nil, Within
	switch s.Kind {
	case DegreeSkill, ChromaticSkill:
		return base, true
	case PairSkill:
		base.From, base.Move = &s.From, s.Way
		return base, true
	}
	return Item{}, false
}
