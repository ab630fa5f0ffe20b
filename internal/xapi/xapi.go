// Package xapi writes answers as statements of IEEE 9274.1.1 (xAPI 2.0), the open
// standard of learning records. [NewWriter] is the call that is needed.
//
// A statement says: somebody answered, about a skill, with this result, then. Its
// form is the part on which 2.0 and 1.0.3 agree, so that either reads it: no version
// is stated (4.2.4.10 of 1.0.3 leaves that to whoever stores it), times are RFC 3339
// with the zone, the verb is "answered" of the vocabulary that comes with the standard,
// the object an interaction of the type "other", as singing is none of its types. What the
// standard has no place for stands in extensions, whose names begin with
// [Extension]; they have the columns of the practice record.
//
// Who answers is an account: a name of the user's choosing, and who gave it out. No mail
// address is written, nor the singer's own name where another was chosen. A statement has
// the same ID whenever the same answer is written for the same account (a UUID of
// version 5, RFC 9562, 5.5), so that whoever stores it twice has it once.
//
// Numbers of sections are those of xAPI 1.0.3, part two (statements), which 9274.1.1 takes
// over under other numbers; they are from memory, as are the rules.
package xapi

import (
	"bufio"
	"crypto/sha1"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/url"
	"strconv"
	"strings"

	"singback/exercise"
	"singback/internal/kept"
)

// The names that are ours begin so.
const (
	Extension = "urn:singback:record:"
	skills    = "urn:singback:skill:"
	// HomePage is who gives out names where nobody is named.
	HomePage = "urn:singback:singers"
)

// Account is who answers.
type Account struct {
	HomePage string `json:"homePage"` // who gives out the names, as an IRI
	Name     string `json:"name"`
}

// Check says what is wrong with an account.
func (a Account) Check() error {
	if u, err := url.Parse(a.HomePage); err != nil || u.Scheme == "" || u.User != nil || u.Opaque == "" && u.Host == "" || strings.ContainsFunc(a.HomePage, func(r rune) bool { return r <= ' ' || r == 0x7f }) {
		return fmt.Errorf("%.60q is no address: want one like https://example.org/ or urn:example:choir", a.HomePage)
	}
	return nil
}

// Statement is one of them (4.1), as far as it is used.
type Statement struct {
	ID        string   `json:"id"`
	Actor     actor    `json:"actor"`
	Verb      verb     `json:"verb"`
	Object    activity `json:"object"`
	Result    result   `json:"result"`
	Context   context  `json:"context"`
	Timestamp string   `json:"timestamp"`
}

type actor struct {
	Type    string  `json:"objectType"`
	Account Account `json:"account"`
}

type verb struct {
	ID      string            `json:"id"`
	Display map[string]string `json:"display"`
}

type activity struct {
	Type       string     `json:"objectType"`
	ID         string     `json:"id"`
	Definition definition `json:"definition"`
}

type definition struct {
	Name            map[string]string `json:"name"`
	Description     map[string]string `json:"description"`
	Type            string            `json:"type"`
	InteractionType string            `json:"interactionType"`
}

type result struct {
	Score      *score         `json:"score,omitempty"`
	Success    *bool          `json:"success,omitempty"`
	Completion bool           `json:"completion"`
	Response   *string        `json:"response,omitempty"`
	Duration   string         `json:"duration,omitempty"`
	Extensions map[string]any `json:"extensions"`
}

type score struct {
	Scaled float64 `json:"scaled"`
	Raw    int64   `json:"raw"`
	Min    int64   `json:"min"`
	Max    int64   `json:"max"`
}

type context struct {
	Registration string         `json:"registration"`
	Platform     string         `json:"platform"`
	Extensions   map[string]any `json:"extensions"`
}

// namespace is that of the IDs: the version 5 of "urn:singback" among URLs.
var namespace = uuid5([16]byte{0x6b, 0xa7, 0xb8, 0x11, 0x9d, 0xad, 0x11, 0xd1, 0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8}, "urn:singback")

// uuid5 is the UUID of a name (RFC 9562, 5.5).
func uuid5(space [16]byte, name string) (u [16]byte) {
	h := sha1.New()
	h.Write(space[:])
	io.WriteString(h, name)
	copy(u[:], h.Sum(nil))
	u[6] = u[6]&0x0f | 0x50
	u[8] = u[8]&0x3f | 0x80
	return u
}

func text(u [16]byte) string {
	s := hex.EncodeToString(u[:])
	return s[:8] + "-" + s[8:12] + "-" + s[12:16] + "-" + s[16:20] + "-" + s[20:]
}

// Of is the statement of an answer. by says who answers; without a name it is the
// singer of the record, without a home page [HomePage].
func Of(r *kept.Row, by Account) (Statement, error) {
	skill, err := exercise.ParseSkill(r.Skill)
	if err != nil {
		return Statement{}, err
	}
	if by.Name == "" {
		by.Name = r.Singer
	}
	if by.HomePage == "" {
		by.HomePage = HomePage
	}
	s := Statement{
		ID:        text(uuid5(namespace, fmt.Sprintf("answer\n%s\n%s\n%s\n%d", by.HomePage, by.Name, r.Session, r.Number))),
		Actor:     actor{"Agent", by},
		Verb:      verb{"http://adlnet.gov/expapi/verbs/answered", map[string]string{"en": "answered"}},
		Object:    activity{Type: "Activity", ID: idOf(skill), Definition: definitionOf(skill)},
		Result:    resultOf(r, skill),
		Timestamp: r.At,
	}
	s.Context = context{
		Registration: text(uuid5(namespace, "session\n"+r.Session)),
		Platform:     "singback",
		Extensions: extensions(map[string]any{
			"command": r.Command, "source": r.Source, "estimator": r.Estimator, "number": r.Number, "item": r.Item, "attempt": r.Attempt,
			"skill": r.Skill, "key": r.Key, "tuning": r.Tuning, "a4_hz": r.A4Hz, "tolerance_cents": r.ToleranceCents, "strict_octave": r.StrictOctave,
			"degree": r.Degree, "from_degree": value(r.FromDegree), "target_midi": r.TargetMIDI, "counts": r.Counts, "again": r.Again,
			"feedback": r.Feedback, "material": value(r.Material),
		}),
	}
	return s, nil
}

// idOf is the IRI of a skill: its words behind colons, as the record has them.
func idOf(s exercise.Skill) string {
	words := strings.Fields(s.String())
	for i, w := range words {
		words[i] = url.QueryEscape(w)
	}
	return skills + strings.Join(words, ":")
}

// definitionOf says what is asked (4.1.4.1 and the interaction activities there).
func definitionOf(s exercise.Skill) definition {
	_, of, _ := strings.Cut(s.String(), " ")
	name, about := "", ""
	switch s.Kind {
	case exercise.DegreeSkill, exercise.ChromaticSkill:
		name, about = "Sing degree "+of, "After a key has been set by sound, sing degree "+of+" of it, as counted from the tonic."
	case exercise.PairSkill:
		name, about = "Sing from degree to degree: "+of, "After a key has been set and a first degree was sounded, sing the second: "+of+"."
	case exercise.KeySkill:
		name, about = "Be at home in "+of, "Sing degrees of "+of+" after it has been set by sound."
	case exercise.BassSkill:
		name, about = "Hear degree "+of+" in the bass", "Say which degree of the key a chord has in its bass."
	case exercise.QualitySkill:
		name, about = "Hear the quality of a chord: "+of, "Say of what quality a chord is that is heard."
	case exercise.RootSkill:
		name, about = "Hear a chord on degree "+of, "Say on which degree of the key a chord of a progression stands."
	case exercise.InversionSkill:
		name, about = "Hear the inversion of a chord: "+of, "Say which tone of a chord of a progression is in the bass."
	case exercise.MelodySkill:
		name, about = "Sing a melody of level "+of, "Read a melody of this level at sight and sing it."
	case exercise.HandSkill:
		name, about = "Strike degree "+of, "Strike the degree that was sung."
	}
	if name == "" || strings.HasSuffix(name, ": ") {
		name += "a major triad" // the symbol of which is empty
	}
	return definition{
		Name: map[string]string{"en": name}, Description: map[string]string{"en": about},
		Type: "http://adlnet.gov/expapi/activities/cmi.interaction", InteractionType: "other",
	}
}

// resultOf says how it was answered (4.1.5). What was not measured, or was ambiguous, is
// neither a success nor none.
func resultOf(r *kept.Row, skill exercise.Skill) (out result) {
	yes := func(b bool) *bool { return &b }
	switch r.Outcome {
	case exercise.InTune.String(), exercise.RightAnswer.String():
		out.Success = yes(true)
	case exercise.Flat.String(), exercise.Sharp.String(), exercise.OtherDegree.String(), exercise.WrongAnswer.String():
		out.Success = yes(false)
	}
	out.Completion = r.Outcome != exercise.NotMeasured.String()
	out.Response = r.Sung
	if skill.Kind.Heard() || skill.Kind == exercise.HandSkill {
		out.Response = r.Named
	}
	if r.Notes != nil && r.NotesRight != nil && *r.Notes > 0 {
		out.Score = &score{Raw: *r.NotesRight, Max: *r.Notes, Scaled: float64(*r.NotesRight) / float64(*r.Notes)}
	}
	if r.AnswerS != nil && *r.AnswerS >= 0 {
		out.Duration = Duration(*r.AnswerS)
	}
	out.Extensions = extensions(map[string]any{
		"outcome": r.Outcome, "reason": value(r.Reason), "octave_shift": value(r.OctaveShift), "cents": value(r.Cents),
		"cents_from_asked": value(r.CentsFromAsked), "cents_se": value(r.CentsSE), "f0_hz": value(r.F0Hz), "spread_cents": value(r.SpreadCents),
		"held_s": value(r.HeldS), "settle_s": value(r.SettleS), "guess": value(r.Guess),
	})
	return out
}

// value is what a pointer points to; nil is nothing.
func value[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// extensions gives each its IRI (4.1.7), and leaves out what is nothing.
func extensions(of map[string]any) map[string]any {
	out := make(map[string]any, len(of))
	for name, v := range of {
		if v != nil {
			out[Extension+name] = v
		}
	}
	return out
}

// Duration is a time in seconds as ISO 8601 has it, to the hundredth (4.6): PT1.24S.
func Duration(s float64) string {
	return "PT" + strconv.FormatFloat(math.Round(s*100)/100, 'f', -1, 64) + "S"
}

// Writer writes statements as an array of JSON, one a line.
type Writer struct {
	out *bufio.Writer
	by  Account
	n   int
}

// NewWriter returns a writer of what by answered; see [Of]. Close ends the array.
func NewWriter(w io.Writer, by Account) *Writer { return &Writer{out: bufio.NewWriter(w), by: by} }

// Add writes the statement of an answer.
func (w *Writer) Add(r *kept.Row) error {
	s, err := Of(r, w.by)
	if err != nil {
		return err
	}
	line, err := json.Marshal(s)
	if err != nil {
		return err
	}
	before := ",\n"
	if w.n == 0 {
		before = "[\n"
	}
	w.n++
	w.out.WriteString(before) // an error stays, and the last call has it
	_, err = w.out.Write(line)
	return err
}

// Close ends the array and says how many statements are in it. It closes nothing below.
func (w *Writer) Close() (n int, err error) {
	if w.n == 0 {
		w.out.WriteString("[")
	}
	w.out.WriteString("\n]\n")
	return w.n, w.out.Flush()
}
