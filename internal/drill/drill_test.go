package drill

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"singback/calib"
	"singback/exercise"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/course"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/synth"
	"singback/theory"
)

var began = time.Date(2026, 11, 14, 9, 30, 0, 0, time.UTC)

func music(key string) *Music {
	return &Music{Key: key, A4: 440, Tuning: "equal", Names: "movable"}
}

func manner() Manner {
	return Manner{Setting: "cadence", Window: exercise.DefaultWindow(), Loudness: -23, Compare: true, Retry: "ask"}
}

// memory is a record in memory, which fails while it is told to.
type memory struct {
	answers []practice.Answer
	full    bool
}

func (m *memory) Add(a practice.Answer) error {
	if m.full {
		return errors.New("no room")
	}
	m.answers = append(m.answers, a)
	return nil
}
func (*memory) Path() string { return "memory" }
func (*memory) Close() error { return nil }

// run is a drill with a simulated singer, in silence, that keeps its answers.
func run(p *Plan, record Record) (*Run, *[]session.Event) {
	events := &[]session.Event{}
	return &Run{
		Plan: p, Style: report.Style{Names: p.Naming, ASCII: true}, Answers: NewSimulated(p, 16000), Out: audio.Null{Rate: 16000},
		Level: func() float64 { return -24 }, Person: Nobody{}, Keeper: &Keeper{Record: record, Session: practice.Session{Singer: "Anna"}},
		Show:  func(e session.Event) { *events = append(*events, e) },
		Start: began, Clock: func() time.Time { return began }, Silent: true,
		NotRecorded: func(err error) string { return "not recorded: " + err.Error() },
	}, events
}

func judged(index int, o exercise.Outcome) session.Judged {
	j := session.Judged{
		Index: index, Attempt: 1, Counts: o != exercise.NotMeasured, Tolerance: exercise.Tolerance{Cents: 35},
		Item:    exercise.Item{Tuning: theory.Tuning{A4: 440}, Asked: theory.Degree{Step: 6}},
		Verdict: exercise.Verdict{Outcome: o, Reason: exercise.TooQuiet},
	}
	if o != exercise.NotMeasured {
		j.Verdict = exercise.Verdict{Outcome: o, Sung: theory.Degree{Step: 6}, HasSung: true}
	}
	return j
}

// What cannot be written is told once, kept, and written as soon as it can be.
func TestKeeperGoesOn(t *testing.T) {
	var record memory
	r, events := run(&Plan{}, &record)
	k := r.Keeper
	notices := func() (out []string) {
		for _, e := range *events {
			out = append(out, e.(session.Notice).Text)
		}
		return out
	}
	k.keep(judged(1, exercise.InTune), r)
	record.full = true
	k.keep(judged(2, exercise.InTune), r)
	k.keep(judged(3, exercise.NotMeasured), r)
	if got := notices(); !slices.Equal(got, []string{"not recorded: no room"}) {
		t.Errorf("notices %q, want one", got)
	}
	record.full = false
	k.keep(judged(4, exercise.InTune), r)
	if got := notices(); len(got) != 2 || got[1] != "Recording again: nothing was lost." {
		t.Errorf("notices %q", got)
	}
	var order []int
	for _, a := range record.answers {
		order = append(order, a.Index)
	}
	if !slices.Equal(order, []int{1, 2, 3, 4}) {
		t.Errorf("answers %v are kept, want 1 to 4 in their order", order)
	}
	if got := k.End(); got != "4 answers recorded in memory; 1 not measured and not counted." {
		t.Errorf("at the end: %q", got)
	}
}

// What could be written at the end is written then, and what could not is told.
func TestKeeperAtTheEnd(t *testing.T) {
	for _, room := range []bool{true, false} {
		record := &memory{full: true}
		r, _ := run(&Plan{}, record)
		r.Keeper.keep(judged(1, exercise.InTune), r)
		record.full = !room
		want := "1 of 1 answers could not be recorded, and are lost: no room."
		if room {
			want = "1 answer recorded in memory."
		}
		if got := r.Keeper.End(); got != want {
			t.Errorf("room %v: %q, want %q", room, got, want)
		}
	}
}

// What is recorded is what a singer does, and only today begins a record.
func TestKeeping(t *testing.T) {
	for _, c := range []struct {
		what Keeping
		may  bool
		says string
	}{
		{Keeping{Command: "today", Source: ByMicrophone}, true, ""},
		{Keeping{Command: "sing", Source: ByMicrophone}, false, "there is no practice record yet"},
		{Keeping{Command: "sing", Source: ByMicrophone, There: true}, true, ""},
		{Keeping{Command: "sing", Source: BySimulation}, false, ""},
		{Keeping{Command: "sing", Source: BySimulation, There: true}, false, "a simulated singer answers"},
		{Keeping{Command: "today", Source: ByRecording}, false, "recordings answer"},
		{Keeping{Command: "sing", Source: ByRecording, Asked: true}, true, ""},
		{Keeping{Command: "dictation", Source: ByTyping, There: true}, true, ""},
		{Keeping{Command: "dictation", Source: ByTyping, There: true, Silent: true}, false, "nobody heard the chords"},
		{Keeping{Command: "today", Source: ByMicrophone, There: true, None: true}, false, "--no-record"},
	} {
		var k Keeper
		may, says := k.May(c.what), k.Trouble+k.Ending
		if may != c.may || c.says == "" && says != "" || !strings.Contains(says, c.says) {
			t.Errorf("%+v: %v %q, want %v and %q", c.what, may, says, c.may, c.says)
		}
	}
}

// Bass degrees and qualities are asked for only where somebody names them, and hears
// them unless that is simulated.
func TestTodayAsksForWhatIsHeard(t *testing.T) {
	bass, sung := exercise.Skill{Kind: exercise.BassSkill}, exercise.Skill{Kind: exercise.DegreeSkill}
	for _, c := range []struct {
		name          string
		typed, silent bool
		answers       Answers
		want          bool
	}{
		{"with sound, at a keyboard", true, false, Typing{}, true},
		{"with sound, at no keyboard", false, false, Typing{}, false},
		{"in silence, at a keyboard", true, true, Typing{}, false},
		{"in silence, simulated", true, true, &Simulated{}, true},
	} {
		s := &sitting{options: &Today{Typed: c.typed}, run: &Run{Silent: c.silent, Answers: c.answers}}
		if s.asks(bass) != c.want || !s.asks(sung) {
			t.Errorf("%s: asks for a bass degree %v, for a sung one %v", c.name, s.asks(bass), s.asks(sung))
		}
	}
}

func today(t *testing.T) *Today {
	t.Helper()
	return &Today{
		Music: music(""), Manner: manner(), Singing: practice.DefaultSung, Feedback: "fading", Seed: 1,
		Course: course.BuiltIn(), Practice: &practice.Practice{}, Start: began, Typed: true,
	}
}

// A sitting of all kinds of tasks runs without a terminal, keeps every verdict before
// it is shown, under the skill that was asked for, and each event that programs read
// is one object with its name.
func TestADrillWithoutATerminal(t *testing.T) {
	o := today(t)
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	var record memory
	r, events := run(p, &record)
	names := map[string]int{}
	r.Show = func(e session.Event) {
		*events = append(*events, e)
		switch e.(type) {
		case session.Judged, session.Named, session.LineSung:
			if len(record.answers) == 0 || record.answers[len(record.answers)-1].Index != r.asked() {
				t.Fatalf("%T was shown before it was kept", e)
			}
		}
		if rec := r.EventRecord(e); rec != nil {
			text, err := json.Marshal(rec)
			var named struct{ Event string }
			if err != nil || json.Unmarshal(text, &named) != nil || named.Event == "" {
				t.Fatalf("%T: %s, %v", e, text, err)
			}
			names[named.Event]++
		}
	}
	tally, err := r.Do(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	sat, ok := p.Sat()
	if !ok || tally.All.Asked == 0 || len(record.answers) < tally.All.Asked || sat.Ended == practice.GoingOn {
		t.Errorf("%+v, %d answers, %+v", tally.All, len(record.answers), sat.Ended)
	}
	if names["prompt"] != names["verdict"] || names["listening"] != names["verdict"]+names["sung"] || names["prompt"] == 0 || names["summary"] != 1 {
		t.Errorf("events %v", names)
	}
	for _, a := range record.answers {
		if a.Session.Singer != "Anna" || a.At.Before(began) {
			t.Errorf("%+v", a)
		}
	}
}

func (r *Run) asked() int { return r.Plan.asker.(*sitting).asked }

// A series is summed up as its lines were graded, and the weakest interval of a line
// is practised without being kept.
func TestSeries(t *testing.T) {
	o := &Series{Music: music("G"), Level: 2, Count: 2, Study: 30, Setting: "tonic", Loudness: -23, Tolerance: 45, Seed: 4}
	p, err := o.Plan()
	if err != nil {
		t.Fatal(err)
	}
	var record memory
	r, events := run(p, &record)
	aside := 0
	r.Aside = func(e session.Event) {
		if _, ok := e.(session.Judged); ok {
			aside++
		}
	}
	practised := false
	r.Person = asked{sung: func(weak bool) Way {
		if weak && !practised {
			practised = true
			return Practise
		}
		return GoOn
	}}
	if _, err := r.Do(t.Context()); err != nil {
		t.Fatal(err)
	}
	right, lines := 0, 0
	for _, e := range *events {
		if s, ok := e.(session.LineSung); ok {
			lines++
			right += s.Grade.Right
		}
	}
	sums := p.Sums()
	if lines != 2 || sums.Sung != 2 || sums.Right != right || len(record.answers) != 2 {
		t.Errorf("%d lines, %+v, %d right, %d kept", lines, sums, right, len(record.answers))
	}
	if practised && aside != 3 {
		t.Errorf("the interval was practised %d times, want 3", aside)
	}
}

type asked struct {
	Nobody
	sung func(weak bool) Way
}

func (a asked) Sung(_ context.Context, _ session.LineSung, weak bool) (Way, error) {
	return a.sung(weak), nil
}

// A rest is due sooner for a growing voice, and not for recordings, which were sung
// before.
func TestRestIsDue(t *testing.T) {
	for _, c := range []struct {
		growing    bool
		recordings int
		want       float64
	}{{false, 0, exercise.RestAfter}, {true, 0, exercise.RestAfterGrowing}, {false, 1, 0}} {
		o := &Sing{Music: music("C"), Manner: manner(), Degrees: "all", Count: 1, Tolerance: exercise.Tolerance{Cents: 35}, Recordings: c.recordings}
		o.Music.Known.Voice = &calib.Voice{Growing: c.growing, Comfortable: theory.Range{Low: 50, High: 70}}
		p, err := o.Plan()
		if err != nil || p.Config.RestAfter != c.want {
			t.Errorf("%+v: %g, %v", c, p.Config.RestAfter, err)
		}
	}
	r, _ := run(&Plan{}, nil)
	got, err := json.Marshal(r.EventRecord(session.Rest{Sung: 900.004}))
	if err != nil || string(got) != `{"event":"rest","sung_s":900}` {
		t.Errorf("%s, %v", got, err)
	}
}

// Mistakes name the option by the word of the command line, and say what would be
// right.
func TestWrongOptions(t *testing.T) {
	sing := func(change func(*Sing)) func() (*Plan, error) {
		o := &Sing{Music: music("C"), Manner: manner(), Degrees: "all", Count: 1, Tolerance: exercise.Tolerance{Cents: 35}}
		change(o)
		return o.Plan
	}
	series := func(change func(*Series)) func() (*Plan, error) {
		o := &Series{Music: music("G"), Level: 1, Count: 1, Setting: "tonic", Loudness: -23, Tolerance: 45}
		change(o)
		return o.Plan
	}
	day := func(change func(*Today)) func() (*Plan, error) {
		o := today(t)
		change(o)
		return o.Plan
	}
	for want, plan := range map[string]func() (*Plan, error){
		"--key":         sing(func(o *Sing) { o.Music.Key = "H" }),
		"--a4":          sing(func(o *Sing) { o.Music.A4 = 4400 }),
		"--names":       sing(func(o *Sing) { o.Music.Names = "klingon" }),
		"--degrees":     sing(func(o *Sing) { o.Degrees = "zz" }),
		"--from":        sing(func(o *Sing) { o.From = "zz" }),
		"--count":       sing(func(o *Sing) { o.Count = 0 }),
		"--think":       sing(func(o *Sing) { o.Manner.Think = 31 }),
		"--loudness":    sing(func(o *Sing) { o.Manner.Loudness = 0 }),
		"--retry":       sing(func(o *Sing) { o.Manner.Retry = "no" }),
		"--set":         sing(func(o *Sing) { o.Manner.Setting = "x" }),
		"--set-every":   sing(func(o *Sing) { o.KeyEvery = -1 }),
		"--tolerance":   sing(func(o *Sing) { o.Tolerance.Cents = 4 }),
		"--key best":    sing(func(o *Sing) { o.Music.Key = "best" }),
		"--voice":       series(func(o *Series) { o.Music.Voice = "kazoo" }),
		"--tempo":       series(func(o *Series) { o.Tempo = 10 }),
		"--study":       series(func(o *Series) { o.Study = -1 }),
		"--gap":         series(func(o *Series) { o.Gap = 61 }),
		"--click":       series(func(o *Series) { o.Click, o.Free = true, true }),
		"--feedback":    day(func(o *Today) { o.Feedback = "some" }),
		"--singing":     day(func(o *Today) { o.Singing = 0 }),
		"--set cadence": sing(func(o *Sing) { o.Music.Key = "D dorian"; o.Music.Said = func(s string) bool { return s == "set" } }),
	} {
		_, err := plan()
		var w Wrong
		if !errors.As(err, &w) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
	if _, err := Day("yesterday", began); err == nil || !strings.HasPrefix(err.Error(), "--date") {
		t.Error(err)
	}
}

// The simulated listener plays by its seed: names, a wish to hear it again, and how
// long it took.
func TestDictation(t *testing.T) {
	o := &Dictation{Music: music("Eb"), Manner: manner(), Of: "bass", Degrees: "do fa sol", Length: 2, Count: 12, KeyEvery: 5, Seed: 3}
	var first []string
	for range 2 {
		p, err := o.Plan()
		if err != nil {
			t.Fatal(err)
		}
		var record memory
		r, events := run(p, &record)
		tally, err := r.Do(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		sets := 0
		for _, e := range *events {
			switch e := e.(type) {
			case session.Named:
				all = append(all, fmt.Sprint(e.Names, e.Again, e.Answer))
			case session.KeySet:
				sets++
			}
		}
		if tally.Bass.Of != 24 || len(record.answers) != 24 || len(all) != 12 || sets != 3 {
			t.Errorf("%+v, %d kept, %d named, key set %d times", tally.Bass, len(record.answers), len(all), sets)
		}
		if first != nil && !slices.Equal(first, all) {
			t.Errorf("the same seed, other answers: %q and %q", first, all)
		}
		first = all
	}
	if synth.DefaultLevel > MaxLoudness {
		t.Error("the usual level is out of range")
	}
}
