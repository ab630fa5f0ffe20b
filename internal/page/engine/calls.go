package engine

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"sort"
	"strings"
	"time"

	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/drill"
	"singback/internal/kept"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/theory"
)

// answerTo answers what the page asks apart from drills.
func (e *Engine) answerTo(ctx context.Context, what string, data json.RawMessage) (any, error) {
	switch what {
	case "progress":
		return e.progress(ctx, data)
	case "standing":
		return e.standing(ctx)
	case "options":
		return optionsOf(data)
	case "melody", "key", "chords", "play":
		address, width, err := lookedFor(data)
		if err != nil {
			return nil, err
		}
		if what == "play" {
			return e.play(ctx, address)
		}
		l, err := e.look(address, width)
		if err != nil {
			return nil, err
		}
		return l.shown, nil
	case "export":
		return e.export(ctx)
	case "import":
		return e.imported(ctx, data)
	case "singer", "course":
		return e.set(ctx, what, data)
	case "forget":
		err := e.store.Forget(ctx)
		if err == nil {
			err = e.refresh(ctx)
		}
		return nil, err
	}
	return nil, fmt.Errorf("the page asks for %.40q, which the engine does not know: load the page again", what)
}

// all yields the answers that are kept, in the order in which they were given.
func (e *Engine) all(ctx context.Context) (answers iter.Seq2[practice.Answer, error], skipped int, err error) {
	list, skipped, fresh, err := e.store.Answers(ctx)
	if err != nil {
		return nil, 0, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if fresh || !e.read {
		e.answers, e.skipped, e.read = list, skipped, true
	}
	list = e.answers
	return func(yield func(practice.Answer, error) bool) {
		for _, a := range list {
			if !yield(a, nil) {
				return
			}
		}
	}, e.skipped, nil
}

// refresh reads again what is known of the singer.
func (e *Engine) refresh(ctx context.Context) error {
	known, err := e.store.Known(ctx)
	if err != nil {
		return err
	}
	e.mu.Lock()
	e.known, e.read, e.answers = known, false, nil
	e.mu.Unlock()
	return nil
}

func (e *Engine) whatIsKnown() Known {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.known
}

// The answers to calls.
type (
	progressReply struct {
		report.Progress
		Said progressSaid `json:"said"`
	}
	progressSaid struct {
		Next          []link          `json:"next"`
		Weak          []string        `json:"weak"`
		ChangeHeading string          `json:"change_heading"`
		Changes       []string        `json:"changes"`
		Intro         []string        `json:"intro"`
		Sections      []sectionOfPage `json:"sections"`
		Ladder        []rowOfLadder   `json:"ladder"`
	}
	link struct {
		Text    string `json:"text"`
		Address string `json:"address"`
	}
	sectionOfPage struct {
		Heading string     `json:"heading"`
		Note    string     `json:"note"`
		Field   string     `json:"field"`
		Head    []string   `json:"head"`
		Rows    [][]string `json:"rows"`
	}
	rowOfLadder struct {
		Name      string   `json:"name"`
		Degree    string   `json:"degree"`
		Semitones int      `json:"semitones"`
		Answers   int      `json:"answers"`
		Share     *float64 `json:"share"` // null: not enough data
		Low       *float64 `json:"low"`
		High      *float64 `json:"high"`
		Cents     *float64 `json:"cents"`
		Text      string   `json:"text"`
		Address   string   `json:"address"` // of a drill of it
	}
	standingReply struct {
		Singer  string        `json:"singer"`
		Home    string        `json:"home"`
		Record  string        `json:"record"`
		Answers int           `json:"answers"`
		Skipped int           `json:"skipped"` // answers that could not be read
		Stage   string        `json:"stage"`
		Lines   []string      `json:"lines"`
		Profile any           `json:"profile"` // null: the voice is not known
		Course  report.Course `json:"course"`
	}
	exportReply struct {
		Name string `json:"name"`
		Text string `json:"text"`
	}
	importReply struct {
		Read  int `json:"read"`
		Added int `json:"added"`
	}
)

// progress works out what the answers say.
func (e *Engine) progress(ctx context.Context, data json.RawMessage) (any, error) {
	var q struct{ Key, Since, Names string }
	if err := with(data, &q); err != nil {
		return nil, err
	}
	known := e.whatIsKnown()
	of := report.ProgressOf{Singer: known.Singer, Since: q.Since}
	if q.Key != "" {
		k, err := theory.ParseKey(q.Key)
		if err != nil {
			return nil, fmt.Errorf("--key: %w", err)
		}
		of.Key = &k
	}
	if q.Since != "" {
		if _, err := time.Parse(time.DateOnly, q.Since); err != nil {
			return nil, fmt.Errorf("--since: %q is no day like 2026-11-25", plain.Short(q.Since))
		}
	}
	style := report.Style{}
	if q.Names == theory.Numbers.String() {
		style.Names = theory.Numbers
	}
	answers, skipped, err := e.all(ctx)
	if err != nil {
		return nil, err
	}
	read, err := kept.ProgressOf(answers, kept.ProgressQuery{Singer: of.Singer, Since: of.Since, Key: of.Key})
	if err != nil {
		return nil, err
	}
	if _, _, ok := read.Progress.Span(); !ok {
		return nil, fmt.Errorf("there is no answer of %s yet that counts: today's practice begins the record", of.Singer)
	}
	of.Skipped, of.Simulated = skipped+read.Skipped, read.Simulated
	if read.Practice.Begun() {
		c, err := courseOf(known)
		if err != nil {
			return nil, err
		}
		of.Course, of.Standing = &c, c.Standing(read.Practice, nil)
	}
	p := report.NewProgress(of, read.Progress, style)
	reply := progressReply{Progress: p, Said: progressSaid{Next: nextOf(&p), Sections: []sectionOfPage{}}}
	page := p.Page(nil)
	reply.Said.Weak, reply.Said.Intro = page.WeakLines, unbroken(page.Intro[1:]) // the first is Next
	reply.Said.ChangeHeading, reply.Said.Changes = strings.Join(strings.Fields(page.ChangeHeading), " "), page.ChangeLines
	reply.Said.Ladder = ladderOf(&p, page)
	for _, s := range page.Sections {
		reply.Said.Sections = append(reply.Said.Sections, sectionOfPage{s.Heading, s.Note, s.Field, s.Head, s.Rows})
	}
	return reply, nil
}

// unbroken joins lines that were broken for a terminal.
func unbroken(lines []string) []string {
	out := []string{}
	for i, line := range lines {
		if i > 0 && !strings.HasSuffix(lines[i-1], ".") {
			out[len(out)-1] += " " + line
			continue
		}
		out = append(out, line)
	}
	return out
}

// ladderOf are the degrees from below.
func ladderOf(p *report.Progress, page report.Page) []rowOfLadder {
	out := []rowOfLadder{}
	texts := map[string]string{}
	for _, s := range page.Sections {
		if s.Field == "degree" {
			for _, row := range s.Rows {
				texts[row[0]] = row[2]
			}
		}
	}
	for _, s := range p.ByDegree {
		skill, err := exercise.ParseSkill("degree " + s.Name)
		if err != nil {
			continue
		}
		out = append(out, rowOfLadder{
			s.Shown, s.Name, skill.Degree.Semitones(), s.Answers, s.Share, s.ShareLow, s.ShareHigh, s.MedianCents, texts[s.Shown], drill.SkillAddress(skill),
		})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Semitones-out[j].Semitones < 0 })
	return out
}

// standing says where the singer stands.
func (e *Engine) standing(ctx context.Context) (any, error) {
	known := e.whatIsKnown()
	c, err := courseOf(known)
	if err != nil {
		return nil, err
	}
	answers, skipped, err := e.all(ctx)
	if err != nil {
		return nil, err
	}
	p, _, err := kept.PracticeOf(answers, known.Singer)
	if err != nil {
		return nil, err
	}
	at := c.Standing(p, nil)
	reply := standingReply{
		Singer: known.Singer, Home: known.Home, Record: known.Record, Skipped: skipped,
		Lines: report.Style{}.Standing(c, at, ""), Course: report.NewCourse(c, &at),
	}
	for range answers {
		reply.Answers++
	}
	reply.Stage = fmt.Sprintf("Stage %d of %d", at.Stage+1, len(c.Stages))
	if name := c.Stages[at.Stage].Name; name != "" {
		reply.Stage += ": " + name
	}
	if known.Profile.Version != 0 {
		reply.Profile = report.NewProfile(known.Profile, "", true)
	}
	return reply, nil
}

// export writes the answers as the record's own CSV.
func (e *Engine) export(ctx context.Context) (any, error) {
	known := e.whatIsKnown()
	var out bytes.Buffer
	n, skipped, err := e.store.Export(ctx, &out)
	if err != nil {
		return nil, err
	}
	if n == 0 {
		return nil, fmt.Errorf("there is nothing to export: no answer of %s is kept yet", known.Singer)
	}
	if skipped > 0 {
		e.post(textMessage{"notice", fmt.Sprintf("%s could not be read and %s not in the file.", report.Many(skipped, "answer"), isAre(skipped))})
	}
	name := fmt.Sprintf("singback-%s-%s.csv", fileWord(known.Singer), e.host.Clock().Format(time.DateOnly))
	return exportReply{name, out.String()}, nil
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// fileWord is a name as a part of a file's name.
func fileWord(name string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|.`, r) || r < ' ' {
			return '-'
		}
		return r
	}, name)
}

// imported adds an export to what is kept.
func (e *Engine) imported(ctx context.Context, data json.RawMessage) (any, error) {
	var file struct{ Text string }
	if err := with(data, &file); err != nil {
		return nil, err
	}
	read, added, err := e.store.Import(ctx, []byte(file.Text))
	if err != nil {
		return nil, fmt.Errorf("nothing was imported: %w", err)
	}
	return importReply{read, added}, e.refresh(ctx)
}

// set keeps who sings, or a course.
func (e *Engine) set(ctx context.Context, what string, data json.RawMessage) (any, error) {
	var given struct {
		Name string  `json:"name"`
		Text *string `json:"text"`
	}
	if err := with(data, &given); err != nil {
		return nil, err
	}
	value := given.Name
	if given.Text != nil {
		value = *given.Text
	}
	if err := e.store.Set(ctx, what, value); err != nil {
		return nil, err
	}
	if err := e.refresh(ctx); err != nil {
		return nil, err
	}
	return e.standing(ctx)
}

// nextOf are the skills to practise next, with the addresses of drills of them.
func nextOf(p *report.Progress) []link {
	out := []link{}
	next, _ := p.Next()
	for _, n := range next {
		out = append(out, link{n.Text, drill.SkillAddress(n.Skill)})
	}
	return append(out, link{"Today's practice", "today"})
}

// lookedFor reads which thing is looked up, and how wide its staff may be.
func lookedFor(data json.RawMessage) (address string, width int, err error) {
	var given struct {
		Address string
		Width   int
	}
	if json.Unmarshal(data, &address) == nil {
		return address, 0, nil
	}
	err = with(data, &given)
	return given.Address, given.Width, err
}
