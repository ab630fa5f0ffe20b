package drill

import (
	"fmt"
	"math"
	"time"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// The events of a drill as programs read them, one object each; the fields are
// documented in the handbook. Each begins with its name.
type (
	keyEvent struct {
		Event   string  `json:"event"` // "key"
		Schema  int     `json:"schema"`
		Key     string  `json:"key"`
		Tonic   string  `json:"tonic"`
		TonicHz float64 `json:"tonic_hz"`
		A4Hz    float64 `json:"a4_hz"`
		Tuning  string  `json:"tuning"`
		Setting string  `json:"setting"`
		Again   bool    `json:"again"`
		Names   string  `json:"names"`
		Seed    uint64  `json:"seed"`

		// What is there only with a profile, a voice that sounds, or --key best.
		Singer  string   `json:"singer,omitempty"`
		Sound   string   `json:"sound,omitempty"`   // "voice", with --sound voice
		Octaves int      `json:"octaves,omitempty"` // by which what sounds lies away from tonic
		Fit     *fitPart `json:"fit,omitempty"`
	}
	fitPart struct {
		Degrees        int      `json:"degrees"`
		Folded         int      `json:"folded"`
		ShiftSemitones float64  `json:"shift_semitones"`
		Among          []string `json:"among"`
	}
	restEvent struct {
		Event string  `json:"event"` // "rest"
		SungS float64 `json:"sung_s"`
	}
	promptEvent struct {
		Event   string `json:"event"` // "prompt"
		Index   int    `json:"index"`
		Of      int    `json:"of"`
		Attempt int    `json:"attempt"`
		report.Prompt
		Part  int `json:"part,omitempty"`  // its place in a series of the course that is sung whole
		Parts int `json:"parts,omitempty"` // and how many it has
	}
	listeningEvent struct {
		Event string `json:"event"` // "listening"
		Index int    `json:"index"`
	}
	verdictEvent struct {
		Event   string `json:"event"` // "verdict"
		Index   int    `json:"index"`
		Attempt int    `json:"attempt"`
		Counts  bool   `json:"counts"` // in the summary
		report.Verdict
		Feedback string  `json:"feedback"` // what the singer is told: full, second_shown, second_hidden, outside, blind
		Hidden   bool    `json:"hidden"`   // the singer was not told this verdict
		Guess    *string `json:"guess"`    // flat, in_tune or sharp, as the singer took it; null: no guess
		innerPart
	}
	// innerPart is what an answer tells of inner hearing.
	innerPart struct {
		WaitBeats  int      `json:"wait_beats,omitempty"`  // of silence before it
		DriftCents *float64 `json:"drift_cents,omitempty"` // of do in the silence
		FromKey    string   `json:"from_key,omitempty"`    // a passage led away from
		OldKey     bool     `json:"old_key,omitempty"`     // it was sung as if that were still the key
	}
	modulationEvent struct {
		Event  string `json:"event"` // "modulation"
		Index  int    `json:"index"`
		From   string `json:"from"`
		To     string `json:"to"`
		Chords string `json:"chords"` // as numerals of one key and of the other
		Pivot  string `json:"pivot"`  // the chord that is in both; "": none is
	}
	tooLoudEvent struct {
		Event string  `json:"event"` // "too_loud"
		Index int     `json:"index"`
		Own   float64 `json:"own_dbfs"`  // as loud as the microphone hears what sounds
		Most  float64 `json:"most_dbfs"` // as loud as it may be
	}
	summaryEvent struct {
		Event string `json:"event"` // "summary"
		Key   string `json:"key"`
		Seed  uint64 `json:"seed"`
		report.Summary
	}
	dictationEvent struct {
		Event  string `json:"event"` // "dictation"
		Index  int    `json:"index"`
		Of     int    `json:"of"`   // 0 in today
		Kind   string `json:"kind"` // "bass" or "quality"
		Key    string `json:"key"`
		Chords int    `json:"chords"`         // that are heard
		Again  bool   `json:"again"`          // played once more
		Step   int    `json:"step,omitempty"` // of a progression: 1 bass, 2 qualities, 3 chords
	}
	namedEvent struct {
		Event    string   `json:"event"` // "named"
		Index    int      `json:"index"`
		Kind     string   `json:"kind"`
		Key      string   `json:"key"`
		Chords   string   `json:"chords"` // as Roman numerals
		Asked    []string `json:"asked"`  // degrees counted from the major scale, or qualities
		Named    []string `json:"named"`  // empty: given up
		Right    []bool   `json:"right"`
		AnswerS  float64  `json:"answer_s"` // from the end of the sound to the names
		Again    bool     `json:"again"`    // it was heard more than once
		Feedback string   `json:"feedback"`
		Hidden   bool     `json:"hidden"`
		By       string   `json:"by"`      // "name", "sing" or "play"
		Outcome  []string `json:"outcome"` // of each chord

		Sung   *report.SungBack    `json:"sung,omitempty"`   // where it was sung
		Played []report.PlayedPart `json:"played,omitempty"` // where it was played on a keyboard: each strike
		Struck *report.SungBack    `json:"struck,omitempty"` // where an instrument was heard
		Told   []string            `json:"told,omitempty"`   // of the chords of a progression: what they were told to be
	}
	lineEvent struct {
		Event    string        `json:"event"` // "line"
		Index    int           `json:"index"`
		Of       int           `json:"of"`
		TempoBPM float64       `json:"tempo_bpm"`
		Free     bool          `json:"free"`
		Echo     bool          `json:"echo"`
		Line     report.Melody `json:"line"`

		SilentBars []int `json:"silent_bars,omitempty"` // that are to be heard inwardly
	}
	linesEvent struct {
		Event        string `json:"event"` // "summary"
		Schema       int    `json:"schema"`
		Seed         uint64 `json:"seed"`
		Level        int    `json:"level"`
		Lines        int    `json:"lines"` // sung and measured
		NotesRight   int    `json:"notes_right"`
		NotesWritten int    `json:"notes_written"`
		Points       int    `json:"points"`
		PointsOf     int    `json:"points_of"`

		Hand report.Score `json:"hand,omitzero"` // notes struck once they had been sung
	}
	todayEvent struct {
		Event  string   `json:"event"` // "today"
		Schema int      `json:"schema"`
		Course string   `json:"course"`
		Stage  int      `json:"stage"` // from 1
		Stages int      `json:"stages"`
		Keys   []string `json:"keys"`
		New    int      `json:"new"`   // skills met for the first time
		Ended  string   `json:"ended"` // "": interrupted
		Record string   `json:"record"`
		Singer string   `json:"singer"` // who sings

		Review []report.Review `json:"review"`
		Noted  int             `json:"noted"`  // answers of which the singer was not told
		Missed []report.Missed `json:"missed"` // of them those that were not right
	}
)

// EventRecord returns an event as programs read it; nil for what they are not told.
func (r *Run) EventRecord(e session.Event) any {
	names := r.Plan.Naming
	switch e := e.(type) {
	case session.KeySet:
		if r.Plan.sings() {
			return nil
		}
		return r.keyRecord(e)
	case session.Rest:
		return restEvent{"rest", math.Round(e.Sung*100) / 100}
	case session.Prompted:
		return promptEvent{"prompt", e.Index, e.Of, e.Attempt, report.NewPrompt(e.Item, names), e.Part, e.Parts}
	case session.Modulating:
		ev := modulationEvent{Event: "modulation", Index: e.Index, From: e.From.ASCII(), To: e.To.ASCII(), Chords: e.Material()}
		if e.Pivot {
			ev.Pivot = e.Chords[e.Home].Chord.ASCII()
		}
		return ev
	case session.Overheard:
		return tooLoudEvent{"too_loud", e.Index, math.Round(10*e.Own) / 10, math.Round(10*e.Most) / 10}
	case session.Listening:
		return listeningEvent{"listening", e.Index}
	case session.DictationAsked:
		return dictationEvent{"dictation", e.Index, e.Of, e.Dictation.Of.String(), e.Dictation.Key.ASCII(), len(e.Dictation.Chords), e.Again, e.Step}
	case session.Named:
		return namedRecord(e)
	case session.Reasoned:
		return r.Style.NewReasoned(reasonedOf(e))
	case *session.HandAsked:
		return handEvent{"hand", e.Index, handBy(e.Keyed)}
	case *session.HandStruck:
		return struckRecord(e)
	case session.LinePrompted:
		ev := lineEvent{"line", e.Index, e.Of, e.Tempo, e.Free, e.Echo, melodyRecord(e.Melody, names, r.Labels(e.Feedback)), nil}
		if e.Silent != nil {
			ev.SilentBars = e.SilentBars
		}
		return ev
	case session.LineSung:
		return r.Sung(e)
	case session.Judged:
		v := verdictEvent{
			"verdict", e.Index, e.Attempt, e.Counts,
			report.NewVerdict(e.Item, e.Verdict, e.Tolerance, names), e.Feedback.String(), e.Hidden, nil, innerRecord(&e),
		}
		if e.Guess != exercise.NotMeasured {
			name := e.Guess.String()
			v.Guess = &name
		}
		return v
	case session.Finished:
		if l, ok := r.Plan.asker.(*lines); ok {
			return linesEvent{"summary", report.Schema, r.Plan.Seed, l.series.Level, l.Sums.Sung, l.Right, l.Written, l.Points, l.Of, report.Score{Right: e.Tally.Hand.Right, Of: e.Tally.Hand.Of}}
		}
		sum := report.NewSummary(r.Plan.Item.Key, e.Tally, names, e.Interrupted)
		if r.Plan.reasons {
			sum.Bass, sum.Quality, sum.Balanced = report.Score{}, report.Score{}, r.Style.NewBalanced(r.Plan.Item.Key, &e.Tally)
		}
		return summaryEvent{"summary", r.Plan.Item.Key.ASCII(), r.Plan.Seed, sum}
	}
	return nil
}

// innerRecord is what an answer tells of inner hearing, as programs read it.
func innerRecord(j *session.Judged) innerPart {
	p := innerPart{WaitBeats: j.Silence.Beats, OldKey: j.Old()}
	if cents, ok := j.Drift(); ok {
		cents = math.Round(10*cents)/10 + 0
		p.DriftCents = &cents
	}
	if j.Away != nil {
		p.FromKey = j.Away.From.ASCII()
	}
	return p
}

// sings reports whether whole lines are all that is asked.
func (p *Plan) sings() bool { _, ok := p.asker.(*lines); return ok }

func (r *Run) keyRecord(e session.KeySet) keyEvent {
	key := keyEvent{
		Event: "key", Schema: report.Schema, Key: e.Key.ASCII(),
		Tonic: e.Tonic.ASCII(), TonicHz: report.Hz(e.Tuning.Hz(e.Tonic)),
		A4Hz: e.Tuning.A4, Tuning: e.Tuning.String(), Setting: e.Setting.String(), Again: e.Again,
		Names: r.Plan.Naming.String(), Seed: r.Plan.Seed, Singer: r.Singer, Octaves: e.Octaves,
	}
	if r.Plan.Config.Model != nil {
		key.Sound = ByVoice
	}
	if b := r.Plan.Best; b != nil {
		key.Fit = &fitPart{Degrees: b.Degrees, Folded: b.Folded, ShiftSemitones: b.Shift}
		for _, k := range b.Among {
			key.Fit.Among = append(key.Fit.Among, k.ASCII())
		}
	}
	return key
}

func namedRecord(e session.Named) namedEvent {
	ev := namedEvent{
		"named", e.Index, e.Dictation.Of.String(), e.Dictation.Key.ASCII(), e.Dictation.Material(), []string{}, []string{}, e.Right,
		float64(time.Duration(e.Answer*float64(time.Second)).Round(10*time.Millisecond)) / float64(time.Second), e.Again, e.Feedback.String(), e.Hidden, ByName, nil, nil, nil, nil, nil,
	}
	for _, o := range e.Outcomes() {
		ev.Outcome = append(ev.Outcome, o.String())
	}
	if e.Sung != nil {
		ev.By, ev.Sung = BySinging, report.NewSungBack(Answered(e))
	}
	for _, s := range e.Dictation.Skills() {
		ev.Asked = append(ev.Asked, nameOf(s))
	}
	switch {
	case e.Played == nil:
	case e.Played.Take != nil:
		ev.By, ev.Struck = ByPlaying, report.NewSungBack(Answered(e))
	default:
		ev.By, ev.Played = ByPlaying, report.NewPlayedBack(e.Played.Strikes, e.Played.Held)
	}
	for _, c := range e.Chords {
		name := ""
		if c != (theory.Roman{}) {
			name = c.ASCII()
		}
		ev.Told = append(ev.Told, name)
	}
	for i := range e.Names {
		name := ""
		if s, ok := e.Name(i); ok {
			name = nameOf(s)
		}
		ev.Named = append(ev.Named, name)
	}
	return ev
}

// Sung returns what became of a line, as programs read it.
func (r *Run) Sung(s session.LineSung) report.LineSung {
	name := r.name
	if name == "" {
		name = fmt.Sprint(s.Index)
	}
	names := r.Plan.Naming
	ev := report.LineSung{
		Event: "sung", Index: s.Index, Heard: s.Heard(), Lost: s.Take.Lost,
		Grade: report.NewGrade(name, s.Model, s.Sung, s.Grade, names), Masked: s.Masked,
	}
	for i := range s.Gaps {
		ev.Gaps = append(ev.Gaps, gapRecord(&s.Gaps[i], names, &s.Model))
	}
	if pace := s.Grade.Pace; pace > 0 {
		beat := 1.0
		if m := s.Melody.Score.Meter; m.Valid() {
			beat = m.Pulse().Float()
		}
		bpm := float64(int(600/(pace*beat)+0.5)) / 10
		ev.SungTempoBPM = &bpm
	}
	if entry, ok := s.Entry(); ok {
		entry = float64(int(entry*1000)) / 1000
		ev.EntryS = &entry
	}
	if pair, ok := s.Weakest(); ok { // WeakestAddress has it for the page
		command := fmt.Sprintf("singback sing --key %q --from %s --degrees %s", s.Melody.Score.Key.ASCII(),
			names.NameASCII(s.Model.Key, pair[0]), names.NameASCII(s.Model.Key, pair[1]))
		ev.Practise = &command
	}
	return ev
}

// WeakestAddress is the address that practises the weakest interval of a line; "" if
// there is none.
func (r *Run) WeakestAddress(s session.LineSung) string {
	pair, ok := s.Weakest()
	if !ok {
		return ""
	}
	names, said := r.Plan.Naming, ""
	if names != theory.Movable {
		said = names.String()
	}
	return WriteAddress("sing", "key", s.Melody.Score.Key.ASCII(), "names", said,
		"from", names.NameASCII(s.Model.Key, pair[0]), "degrees", names.NameASCII(s.Model.Key, pair[1]))
}

// TodayRecord returns where a sitting ended, as programs read it; kept says what was
// recorded, and singer who sings.
func TodayRecord(s Sat, kept, singer string) any {
	standing := report.NewStanding(s.Course, s.Standing)
	ev := todayEvent{
		Event: "today", Schema: report.Schema, Course: standing.Course, Stage: standing.Stage, Stages: standing.Stages, Keys: []string{},
		New: len(s.New), Ended: report.EndText(s.Ended), Record: kept, Singer: singer,
		Review: standing.Review, Noted: s.Noted, Missed: append([]report.Missed{}, s.Missed...),
	}
	for _, k := range s.Keys {
		ev.Keys = append(ev.Keys, k.ASCII())
	}
	return ev
}

// melodyRecord is the record of a line: one that was read has no level.
func melodyRecord(m compose.SightMelody, n theory.Naming, names bool) report.Melody {
	if m.Level > 0 {
		return report.NewMadeMelody(m.Score, m, n, names)
	}
	r := report.NewMelody[string](m.Score, nil)
	if names {
		r = r.Named(m.Score, n)
	}
	return r
}
