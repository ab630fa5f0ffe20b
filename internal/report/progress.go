package report

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"strconv"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/exercise/practice"
	"singback/theory"
)

// Progress is the record of a singer's progress.
type Progress struct {
	Schema         int         `json:"schema"`
	Singer         string      `json:"singer"`
	Since          *string     `json:"since"` // null: from the first answer
	Key            *string     `json:"key"`   // null: every key
	First          string      `json:"first"` // day of the first answer
	Last           string      `json:"last"`
	Sessions       int         `json:"sessions"`
	Skipped        int         `json:"skipped"`         // answers that could not be read
	Simulated      int         `json:"simulated"`       // answers that a simulated singer gave
	ToleranceCents [2]float64  `json:"tolerance_cents"` // the smallest and the largest
	Confidence     float64     `json:"confidence"`      // of every interval
	Total          Stats       `json:"total"`
	ByDegree       []Stats     `json:"by_degree"`
	ByPair         []Stats     `json:"by_pair"`
	ByKey          []Stats     `json:"by_key"`
	ByDay          []Stats     `json:"by_day"`
	ByRegister     []Stats     `json:"by_register"`
	ByQuestion     []Stats     `json:"by_question"`
	ByBass         []Stats     `json:"by_bass"`    // degrees in the bass that were named
	ByQuality      []Stats     `json:"by_quality"` // chord qualities that were named
	ByHand         []Stats     `json:"by_hand"`    // degrees that were struck once they had been sung
	VoiceHand      *VoiceHand  `json:"voice_hand"` // null: nothing was both sung and struck
	ByLevel        []Stats     `json:"by_level"`   // melodies, passed or not
	Confusion      []Confusion `json:"confusion"`
	Named          []Named     `json:"named"`
	Weak           []Weak      `json:"weak"`  // skills that go worse than the others of their kind
	Drift          *Drift      `json:"drift"` // null: not enough data
	Changes        []Change    `json:"changes"`
	Course         *Standing   `json:"course"` // null: no course was practised

	asked, sung []theory.Degree // of the confusion matrix
	taken       []Matrix        // of the names
	all         int             // answers of every kind
	compared    int             // skills that were compared with the others
	standing    []string        // where the singer stands in the course
	style       Style
	key         theory.Key // in which degrees are named
}

// Stats is the record of some answers. With fewer than ten, and where nothing was
// measured, the numbers are null.
type Stats struct {
	Name        string   `json:"name"` // "6", "4-b6 up", "Ab major", "2026-11-25", "C4-F4", "1-10"
	Answers     int      `json:"answers"`
	Right       int      `json:"right"`
	Share       *float64 `json:"share"` // of right answers, 0 … 1
	ShareLow    *float64 `json:"share_low"`
	ShareHigh   *float64 `json:"share_high"`
	OnDegree    int      `json:"on_degree"` // answers on the degree asked, in tune or not; the cents are theirs
	MedianCents *float64 `json:"median_cents"`
	MedianLow   *float64 `json:"median_low"`
	MedianHigh  *float64 `json:"median_high"`
	SDCents     *float64 `json:"sd_cents"`
	AnswerS     *float64 `json:"answer_s"`
	Notes       *int     `json:"notes,omitempty"` // of melodies: all notes, and those that were right
	NotesRight  *int     `json:"notes_right,omitempty"`

	Shown string `json:"-"` // the name for people
}

// Named is the record of how often what was heard was given a name.
type Named struct {
	Kind    string  `json:"kind"` // "bass" or "quality"
	Asked   string  `json:"asked"`
	Named   *string `json:"named"` // null: none was given
	Answers int     `json:"answers"`
}

// Weak is the record of a skill that goes worse than the others of its kind.
type Weak struct {
	Skill    string  `json:"skill"`
	Answers  int     `json:"answers"`
	Share    float64 `json:"share"`
	Others   float64 `json:"others"` // share right of all others of its kind
	Fall     float64 `json:"fall"`   // from others to share
	FallLow  float64 `json:"fall_low"`
	FallHigh float64 `json:"fall_high"`

	shown string
}

// Confusion is the record of one cell of the matrix.
type Confusion struct {
	Asked   string `json:"asked"`
	Sung    string `json:"sung"`
	Answers int    `json:"answers"`
}

// Drift is the record of how the pitch moves within a session.
type Drift struct {
	Answers int     `json:"answers"`
	Cents   float64 `json:"cents_per_10_questions"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
}

// Change is the record of one comparison of the first answers with the latest.
type Change struct {
	Skill          string  `json:"skill"`
	Verdict        string  `json:"verdict"` // "better", "worse", "unclear": the interval of the rise holds 0
	Answers        int     `json:"answers"` // on each side
	ToleranceCents float64 `json:"tolerance_cents"`
	Before         float64 `json:"before"`
	After          float64 `json:"after"`
	Rise           float64 `json:"rise"`
	RiseLow        float64 `json:"rise_low"`
	RiseHigh       float64 `json:"rise_high"`
	Since          string  `json:"since"` // day of the last of the first answers
	From           string  `json:"from"`  // day of the first of the latest

	shown string
}

// ProgressOf says whose progress it is, and of which answers.
type ProgressOf struct {
	Singer    string
	Since     string      // a day like 2026-11-25; "": from the first answer
	Key       *theory.Key // nil: every key
	Skipped   int         // answers that could not be read
	Simulated int         // answers of a simulated singer among them

	Course   *practice.Course // that was practised; nil: none
	Standing practice.Standing
}

// NewProgress makes the record of a singer's progress, of at least one answer.
// The style is for what people read: in several keys only namings that count from
// the tonic make sense.
func NewProgress(of ProgressOf, p *practice.Progress, s Style) Progress {
	first, last, _ := p.Span()
	out := Progress{
		Schema: Schema, Singer: of.Singer, First: first.Format(time.DateOnly), Last: last.Format(time.DateOnly),
		Sessions: p.Sessions(), Skipped: of.Skipped, Simulated: of.Simulated, Confidence: practice.Confidence,
		Total: newStats("", "all", p.Total()), Confusion: []Confusion{}, Changes: []Change{}, Named: []Named{}, Weak: []Weak{},
		all: p.Answers(), style: s, key: theory.Key{Tonic: theory.Note{Letter: theory.C}, Mode: theory.Major},
	}
	out.ToleranceCents[0], out.ToleranceCents[1] = p.Tolerances()
	if of.Since != "" {
		out.Since = &of.Since
	}
	if of.Key != nil {
		name := of.Key.ASCII()
		out.Key, out.key = &name, *of.Key
	}
	if of.Course != nil {
		standing := NewStanding(*of.Course, of.Standing)
		out.Course, out.standing = &standing, s.Standing(*of.Course, of.Standing, "")
	}
	out.ByDegree = statsOf(p.ByDegree(), func(d theory.Degree) (string, string) { return d.ASCII(), s.Degree(out.key, d) })
	out.ByPair = statsOf(p.ByPair(), func(k exercise.Skill) (string, string) { return k.String()[len("pair "):], out.skill(k) })
	out.ByKey = statsOf(p.ByKey(), func(k theory.Key) (string, string) { return k.ASCII(), s.Key(k) })
	out.ByDay = statsOf(p.ByDay(), func(d string) (string, string) { return d, d })
	out.ByRegister = statsOf(p.ByRegister(), func(r int) (string, string) { return register(r, true), register(r, s.ASCII) })
	out.ByQuestion = statsOf(p.ByQuestion(), func(b int) (string, string) {
		name := fmt.Sprintf("%d-%d", b*practice.QuestionBlock+1, (b+1)*practice.QuestionBlock)
		return name, name
	})
	out.hear(p)
	weak, compared := p.Weakest()
	out.compared = compared
	for _, w := range weak {
		out.Weak = append(out.Weak, Weak{
			w.Skill.String(), w.Answers, round(w.Share, 4), round(w.Others, 4), round(w.Fall.Value, 4), round(w.Fall.Low, 4), round(w.Fall.High, 4), out.skill(w.Skill),
		})
	}
	for c, n := range p.Confused() {
		out.asked, out.sung = append(out.asked, c.Asked), append(out.sung, c.Sung)
		out.Confusion = append(out.Confusion, Confusion{c.Asked.ASCII(), c.Sung.ASCII(), n})
	}
	out.asked, out.sung = degrees(out.asked), degrees(out.sung)
	place := func(name string, list []theory.Degree) int {
		return slices.IndexFunc(list, func(d theory.Degree) bool { return d.ASCII() == name })
	}
	compare := func(a, b Confusion) int {
		return cmp.Or(place(a.Asked, out.asked)-place(b.Asked, out.asked), place(a.Sung, out.sung)-place(b.Sung, out.sung))
	}
	sort.SliceStable(out.Confusion, func(i, j int) bool { return compare(out.Confusion[i], out.Confusion[j]) < 0 })
	if d, n, ok := p.Drift(); ok {
		const per = 10
		out.Drift = &Drift{n, round(per*d.Value, 2), round(per*d.Low, 2), round(per*d.High, 2)}
	}
	for _, c := range p.Changes() {
		verdict := "unclear"
		switch {
		case c.Better():
			verdict = "better"
		case c.Worse():
			verdict = "worse"
		}
		out.Changes = append(out.Changes, Change{
			Skill: c.Skill.String(), Verdict: verdict, Answers: c.Answers, ToleranceCents: c.Tolerance,
			Before: round(c.Before, 4), After: round(c.After, 4), Rise: round(c.Rise.Value, 4), RiseLow: round(c.Rise.Low, 4), RiseHigh: round(c.Rise.High, 4),
			Since: c.Since.Format(time.DateOnly), From: c.From.Format(time.DateOnly), shown: out.skill(c.Skill),
		})
	}
	return out
}

// hear fills in what was named, and the melodies.
func (p *Progress) hear(from *practice.Progress) {
	bare := func(k exercise.Skill) (string, string) {
		if k.Kind == exercise.QualitySkill {
			return k.Chord, k.Chord
		}
		return k.Degree.ASCII(), p.style.Degree(p.key, k.Degree)
	}
	p.ByBass = statsOf(from.ByName(exercise.BassSkill), bare)
	p.ByQuality = statsOf(inOrder(from.ByName(exercise.QualitySkill)), bare)
	p.ByHand = statsOf(from.ByName(exercise.HandSkill), bare)
	if v := VoiceHand(from.VoiceHand()); v != (VoiceHand{}) {
		p.VoiceHand = &v
	}
	p.ByLevel = []Stats{}
	for _, l := range from.ByLevel() {
		name := strconv.Itoa(l.Level)
		s := newStats(name, name, l.Stats)
		s.AnswerS, s.Notes, s.NotesRight = nil, &l.Notes, &l.NotesRight
		p.ByLevel = append(p.ByLevel, s)
	}
	for _, part := range []struct {
		kind    exercise.Kind
		heading string
		rows    []Stats
	}{
		{exercise.BassSkill, "Bass degrees: heard (rows) and named (columns)", p.ByBass}, {exercise.QualitySkill, "Chord qualities: heard (rows) and named (columns)", p.ByQuality},
		{exercise.HandSkill, "Sung, then played: asked (rows) and struck (columns)", p.ByHand},
	} {
		if len(part.rows) == 0 {
			continue
		}
		g := Matrix{Field: part.kind.String(), Heading: part.heading, X: "named", Y: "heard"}
		if part.kind == exercise.HandSkill {
			g.X, g.Y = "struck", "asked"
		}
		rows, columns := map[string]int{}, map[string]int{}
		add := func(stable, shown string) {
			if _, ok := columns[stable]; !ok {
				columns[stable] = len(g.Columns)
				g.Columns = append(g.Columns, shown)
			}
		}
		for i, s := range part.rows {
			rows[s.Name] = i
			g.Rows = append(g.Rows, s.Shown)
			add(s.Name, s.Shown)
		}
		taken := from.Taken()
		var all []practice.Taken
		for t := range taken {
			if t.Skill.Kind == part.kind {
				all = append(all, t)
			}
		}
		compare := func(a, b practice.Taken) int {
			return cmp.Or(rows[first(bare(a.Skill))]-rows[first(bare(b.Skill))], cmp.Compare(a.Named, b.Named))
		}
		sort.SliceStable(all, func(i, j int) bool { return compare(all[i], all[j]) < 0 })
		for _, t := range all {
			if t.Named != "" {
				shown := t.Named
				if part.kind != exercise.QualitySkill {
					if d, err := exercise.ParseDegree(t.Named); err == nil {
						shown = p.style.Degree(p.key, d)
					}
				}
				add(t.Named, shown)
			}
		}
		g.Cells = make([][]int, len(g.Rows))
		for i := range g.Cells {
			g.Cells[i] = make([]int, len(g.Columns)+1)
		}
		for _, t := range all {
			name := first(bare(t.Skill))
			cell, column := Named{Kind: part.kind.String(), Asked: name, Answers: taken[t]}, len(g.Columns)
			if t.Named != "" {
				cell.Named, column = &t.Named, columns[t.Named]
			}
			g.Cells[rows[name]][column] += taken[t]
			p.Named = append(p.Named, cell)
		}
		p.taken = append(p.taken, g.trim())
	}
}

func first(stable, _ string) string { return stable }

// inOrder sorts qualities as they are taught.
func inOrder(parts []practice.Part[exercise.Skill]) []practice.Part[exercise.Skill] {
	order := compose.Qualities()
	compare := func(a, b practice.Part[exercise.Skill]) int {
		return slices.Index(order, a.Of.Chord) - slices.Index(order, b.Of.Chord)
	}
	sort.SliceStable(parts, func(i, j int) bool { return compare(parts[i], parts[j]) < 0 })
	return parts
}

// Matrix is a matrix of confusions, with names for people.
type Matrix struct {
	Field, Heading string // Field is "confusion", "bass" or "quality"
	X, Y           string // what the columns and the rows are
	Rows, Columns  []string
	Cells          [][]int // answers, by row and column
}

// trim gives the last column of the cells, which is for what was given no name and
// has none itself yet, a name, or leaves it out where it is empty.
func (g Matrix) trim() Matrix {
	none := 0
	for _, row := range g.Cells {
		none += row[len(g.Columns)]
	}
	if none > 0 {
		g.Columns = append(g.Columns, "none")
		return g
	}
	for i, row := range g.Cells {
		g.Cells[i] = row[:len(g.Columns)]
	}
	return g
}

// skill names a skill for people: "la", "fa - la up", "bass fa", "m7b5", "melodies
// of level 2".
func (p *Progress) skill(k exercise.Skill) string {
	return p.style.Practised(p.key, k)
}

// degrees sorts degrees by pitch and leaves out repeated ones.
func degrees(list []theory.Degree) []theory.Degree {
	sort.SliceStable(list, func(i, j int) bool {
		return cmp.Or(list[i].Semitones()-list[j].Semitones(), list[i].Step-list[j].Step) < 0
	})
	return slices.Compact(list)
}

// register names a half octave by its lowest and highest note: "C4-F4".
func register(r int, ascii bool) string {
	octave := int(math.Floor(float64(r)/2)) - 1
	if r%2 == 0 {
		return fmt.Sprintf("C%d-F%d", octave, octave)
	}
	sharp := "♯"
	if ascii {
		sharp = "#"
	}
	return fmt.Sprintf("F%s%d-B%d", sharp, octave, octave)
}

func statsOf[K any](parts []practice.Part[K], name func(K) (stable, shown string)) []Stats {
	out := make([]Stats, len(parts))
	for i, p := range parts {
		stable, shown := name(p.Of)
		out[i] = newStats(stable, shown, p.Stats)
	}
	return out
}

func newStats(name, shown string, s practice.Stats) Stats {
	out := Stats{Name: name, Answers: s.Answers, Right: s.Right, OnDegree: s.OnDegree, Shown: shown}
	if s.Enough() {
		out.Share, out.ShareLow, out.ShareHigh = number(s.Share.Value, 4), number(s.Share.Low, 4), number(s.Share.High, 4)
		out.AnswerS = number(s.Seconds, 3)
	}
	if s.Tuned() {
		out.MedianCents, out.MedianLow, out.MedianHigh = number(s.Cents.Value, 2), number(s.Cents.Low, 2), number(s.Cents.High, 2)
		out.SDCents = number(s.Spread, 2)
	}
	return out
}

// table is one group of rows with its names.
type statsTable struct {
	field, heading, first string
	rows                  []Stats
}

// tables lists the groups in the order in which they are shown.
func (p *Progress) tables() []statsTable {
	return []statsTable{
		{"degree", "Degrees", "degree", p.ByDegree},
		{"pair", "From one degree to another", "from - to", p.ByPair},
		{"key", "Keys", "key", p.ByKey},
		{"register", "Registers, by the note asked in the octave it was answered in", "register", p.ByRegister},
		{"question", "Place in the session", "question", p.ByQuestion},
		{"day", "Days", "day", p.ByDay},
		{"bass", "Degrees heard in the bass, and named", "bass", p.ByBass},
		{"quality", "Chord qualities heard, and named", "quality", p.ByQuality},
		{"hand", "Degrees struck once they had been sung", "hand", p.ByHand},
		{"level", "Melodies by level, passed with four notes in five", "level", p.ByLevel},
	}
}

// heard tells whether the rows of a table are of something that has no cents.
func (t statsTable) heard() bool {
	return t.field == "bass" || t.field == "quality" || t.field == "hand"
}

// VoiceHand counts what was sung and then struck by who took the degree that was asked.
type VoiceHand struct {
	Both    int `json:"both"`
	Voice   int `json:"voice"` // only the voice
	Hand    int `json:"hand"`  // only the hand
	Neither int `json:"neither"`
}

// CSV writes every group as rows of one table; what is null is empty.
func (p *Progress) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.Write([]string{"group", "name", "answers", "right", "share", "share_low", "share_high",
		"on_degree", "median_cents", "median_low", "median_high", "sd_cents", "answer_s", "notes", "notes_right"})
	count := func(n *int) string {
		if n == nil {
			return ""
		}
		return strconv.Itoa(*n)
	}
	row := func(group string, s Stats) {
		text := func(x *float64) string {
			if x == nil {
				return ""
			}
			return strconv.FormatFloat(*x, 'f', -1, 64)
		}
		out.Write([]string{group, s.Name, strconv.Itoa(s.Answers), strconv.Itoa(s.Right), text(s.Share), text(s.ShareLow), text(s.ShareHigh),
			strconv.Itoa(s.OnDegree), text(s.MedianCents), text(s.MedianLow), text(s.MedianHigh), text(s.SDCents), text(s.AnswerS), count(s.Notes), count(s.NotesRight)})
	}
	row("total", p.Total)
	for _, t := range p.tables() {
		for _, s := range t.rows {
			row(t.field, s)
		}
	}
	out.Flush()
	return out.Error()
}
