package engine

import (
	"cmp"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"singback/calib"
	"singback/exercise/practice"
	"singback/internal/audio"
	"singback/internal/calibrate"
	"singback/internal/kept"
	"singback/internal/session"
	"singback/internal/testkit"
	"singback/internal/testkit/invented"
)

// clock is the time of every test.
var clock = time.Date(2026, 11, 25, 18, 30, 0, 0, time.UTC)

// stage is a page in memory: it takes down what the engine posts, and may answer.
type stage struct {
	mu   sync.Mutex
	all  []map[string]any
	on   func(m map[string]any) // called with each message, before Post returns
	ends chan map[string]any
	ids  byte
}

func (s *stage) Post(m any) {
	text, err := json.Marshal(m)
	if err != nil {
		panic(err)
	}
	var got map[string]any
	if err := json.Unmarshal(text, &got); err != nil {
		panic(err)
	}
	s.mu.Lock()
	s.all = append(s.all, got)
	s.mu.Unlock()
	if s.on != nil {
		s.on(got)
	}
	switch got["is"] {
	case "end", "wrong", "reply":
		s.ends <- got
	}
}

func (s *stage) Clock() time.Time { return clock }
func (s *stage) Seed() uint64     { return 42 }
func (s *stage) ID() [16]byte {
	s.ids++
	return [16]byte{15: s.ids}
}

// messages are those of a kind so far.
func (s *stage) messages(is string) (out []map[string]any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range s.all {
		if m["is"] == is {
			out = append(out, m)
		}
	}
	return out
}

// events are the details of the events of a name so far.
func (s *stage) events(name string) (out []map[string]any) {
	for _, m := range s.messages("event") {
		if d := m["detail"].(map[string]any); d["event"] == name {
			out = append(out, d)
		}
	}
	return out
}

// memory is a browser's database in memory.
type memory struct {
	mu     sync.Mutex
	lines  map[string]Line
	things map[string]string
	fail   error // of what is put
}

func newMemory() *memory { return &memory{lines: map[string]Line{}, things: map[string]string{}} }

func (m *memory) AddLines(_ context.Context, lines []Line) (added int, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return 0, m.fail
	}
	for _, l := range lines {
		key := fmt.Sprintf("%s %06d", l.Session, l.Number)
		if _, there := m.lines[key]; !there {
			m.lines[key] = l
			added++
		}
	}
	return added, nil
}

func (m *memory) Lines(context.Context) ([]Line, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := []Line{}
	for _, l := range m.lines {
		out = append(out, l)
	}
	slices.SortFunc(out, func(a, b Line) int { return cmp.Or(strings.Compare(a.Session, b.Session), a.Number-b.Number) })
	return out, nil
}

func (m *memory) Get(_ context.Context, name string) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.things[name], nil
}

func (m *memory) Put(_ context.Context, name, value string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return m.fail
	}
	m.things[name] = value
	return nil
}

func (m *memory) Clear(context.Context) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	clear(m.lines)
	clear(m.things)
	return nil
}

// opened is an engine on a stage, whose store is a database in memory. It sounds in
// silence and waits for nobody.
func opened(t *testing.T) (*Engine, *stage, *memory) {
	t.Helper()
	s, m := &stage{ends: make(chan map[string]any, 16)}, newMemory()
	e := New(s, &BrowserStore{DB: m}, "test")
	e.Pace = func(ctx context.Context, _ time.Duration) error { return ctx.Err() }
	e.Start(t.Context())
	e.Connect(Sound{Speaker: audio.Null{Rate: rate}})
	t.Cleanup(e.Wait)
	return e, s, m
}

const rate = 48000

// run runs the drill of an address and returns how it ended.
func run(t *testing.T, e *Engine, s *stage, address string) map[string]any {
	t.Helper()
	e.Do(Command{Do: "drill", Address: address, Touch: true})
	return <-s.ends
}

// called asks what belongs to no drill.
func called(t *testing.T, e *Engine, s *stage, what string, with any) (value map[string]any, problem string) {
	t.Helper()
	text, err := json.Marshal(with)
	if err != nil {
		t.Fatal(err)
	}
	e.Do(Command{Do: "call", ID: 7, What: what, With: text})
	m := <-s.ends
	if m["is"] != "reply" || m["id"] != 7.0 {
		t.Fatalf("%s: answered by %v", what, m)
	}
	problem, _ = m["error"].(string)
	value, _ = m["value"].(map[string]any)
	return value, problem
}

func TestReady(t *testing.T) {
	_, s, _ := opened(t)
	ready := s.messages("ready")
	if len(ready) != 1 || ready[0]["home"] != "browser" || ready[0]["known"].(map[string]any)["singer"] != "me" {
		t.Errorf("%v", ready)
	}
}

// A drill with the simulated singer tells programs what the command line tells them, in
// its order, and records nothing.
func TestSimulatedDrill(t *testing.T) {
	e, s, m := opened(t)
	end := run(t, e, s, "sing?key=Ab&degrees=do+mi+sol&count=4&seed=3&input=simulated&retry=never")
	if end["ok"] != true || len(m.lines) != 0 {
		t.Fatalf("%v, %d answers kept", end, len(m.lines))
	}
	if kept := end["kept"].(string); !strings.Contains(kept, "simulated") {
		t.Errorf("kept %q", kept)
	}
	var names []string
	for _, m := range s.messages("event") {
		names = append(names, m["detail"].(map[string]any)["event"].(string))
	}
	one := []string{"prompt", "listening", "verdict"}
	if want := slices.Concat([]string{"key"}, one, one, one, one, []string{"summary"}); !slices.Equal(names, want) {
		t.Errorf("events %v, want %v", names, want)
	}
	for _, m := range s.messages("event") {
		d, said := m["detail"].(map[string]any), m["said"]
		if d["event"] == "verdict" {
			picture, ok := m["picture"].(map[string]any)
			if !ok || len(picture["points"].([]any)) < 50 || len(picture["degrees"].([]any)) < 2 || picture["measured"] == nil {
				t.Errorf("the picture of %v: %v", d["asked"], picture)
				continue
			}
			said := said.(map[string]any)
			if said["headline"] == "" || (d["outcome"] == "in_tune") != (said["mark"] == "right") {
				t.Errorf("%v said as %v", d["outcome"], said)
			}
			// What was measured lies on the curve that is drawn.
			at := picture["measured"].([]any)
			near := false
			for _, p := range picture["points"].([]any) {
				if p, ok := p.([]any); ok && p[0].(float64) >= at[0].(float64) && p[0].(float64) <= at[1].(float64) {
					near = near || math.Abs(p[1].(float64)-picture["pitch"].(float64)) < 30
				}
			}
			if !near {
				t.Errorf("no point of the measured part is near %v", picture["pitch"])
			}
		}
	}
}

// A mistake in an address is said as the command line says it, and nothing runs.
func TestWrongAddress(t *testing.T) {
	for address, want := range map[string]string{
		"sing?key=H":                            "--key",
		"sing?degrees=xi":                       "--degrees",
		"sing?count=0":                          "--count: 0 is out of range",
		"sing?colour=red":                       "there is no flag --colour",
		"sing?keep=x":                           "the page has no --keep",
		"sang?key=C":                            "did you mean sing?",
		"progress":                              "there is no command",
		"calibrate?only=foo":                    "want room, level, leak, voice or instrument",
		"dictation?of=colour":                   "--of",
		"today?minutes=99":                      "--minutes: 99 is out of range",
		"series?level=9":                        "level",
		"sing?key=" + strings.Repeat("C", 3000): "the address has",
	} {
		e, s, _ := opened(t)
		got := run(t, e, s, address)
		if got["is"] != "wrong" || !strings.Contains(got["text"].(string), want) {
			t.Errorf("%.40s: %v, want %q", address, got, want)
		}
		if n := len(s.messages("event")); n > 0 {
			t.Errorf("%.40s: %d events", address, n)
		}
	}
}

// Who sings cannot be heard without a microphone, and is told so.
func TestNoMicrophone(t *testing.T) {
	e, s, _ := opened(t)
	if end := run(t, e, s, "sing?count=1"); end["ok"] != false || !strings.Contains(end["text"].(string), "microphone") {
		t.Errorf("%v", end)
	}
}

// Chords are named by tapping; each answer is in the database before it is told, and
// the record of the page is that of the command line.
func TestDictationIsKeptBeforeItIsTold(t *testing.T) {
	e, s, m := opened(t)
	s.on = func(msg map[string]any) {
		switch msg["is"] {
		case "ask":
			if len(msg["words"].([]any)) == 0 {
				t.Errorf("no words to tap: %v", msg)
			}
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"do do"`)})
		case "event":
			if d := msg["detail"].(map[string]any); d["event"] == "named" {
				m.mu.Lock()
				n := len(m.lines)
				m.mu.Unlock()
				if want := 2 * int(d["index"].(float64)); n != want {
					t.Errorf("told of answer %v with %d kept, want %d", d["index"], n, want)
				}
			}
		}
	}
	end := run(t, e, s, "dictation?key=Eb&length=2&count=3&seed=5")
	if end["ok"] != true || end["kept"] != "6 answers recorded in this browser." {
		t.Fatalf("%v", end)
	}
	got, problem := called(t, e, s, "export", struct{}{})
	if problem != "" || got["name"] != "singback-me-2026-11-25.csv" {
		t.Fatalf("%v %s", got["name"], problem)
	}
	n := 0
	for a, err := range kept.ReadExport(strings.NewReader(got["text"].(string))) {
		if err != nil || a.Session.Command != "dictation" || a.Session.Source != "typed" || a.Number != n+1 {
			t.Errorf("answer %d: %+v, %v", n, a.Session, err)
		}
		n++
	}
	if n != 6 {
		t.Errorf("%d answers exported", n)
	}
}

// A name that cannot be read is not taken, and why is told.
func TestProblemOfAnAnswer(t *testing.T) {
	e, s, _ := opened(t)
	tried := false
	s.on = func(msg map[string]any) {
		switch {
		case msg["is"] == "ask" && !tried:
			tried = true
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"xyz"`)})
		case msg["is"] == "problem":
			e.Do(Command{Do: "answer", ID: 99, Value: json.RawMessage(`"do"`)}) // nobody's
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"?"`)})
		}
	}
	run(t, e, s, "dictation?count=1&degrees=do&seed=1")
	if p := s.messages("problem"); len(p) != 1 || !strings.Contains(p[0]["text"].(string), "xyz") {
		t.Errorf("problems %v", p)
	}
}

// Where the browser keeps nothing the drill goes on, says so once, and what waited is
// kept as soon as it can be.
func TestStorageFull(t *testing.T) {
	e, s, m := opened(t)
	m.fail = errors.New("there is no space left in this browser")
	s.on = func(msg map[string]any) {
		switch msg["is"] {
		case "ask":
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"do"`)})
		case "event":
			if d := msg["detail"].(map[string]any); d["event"] == "named" && d["index"] == 2.0 {
				m.mu.Lock()
				m.fail = nil
				m.mu.Unlock()
			}
		}
	}
	end := run(t, e, s, "dictation?count=3&seed=5")
	if end["kept"] != "3 answers recorded in this browser." || len(m.lines) != 3 {
		t.Errorf("%v; %d kept", end, len(m.lines))
	}
	var said []string
	for _, n := range s.messages("notice") {
		said = append(said, n["text"].(string))
	}
	if len(said) != 2 || !strings.Contains(said[0], "no space left") || said[1] != "Recording again: nothing was lost." {
		t.Errorf("said %q", said)
	}
}

// Stopped in the middle a drill ends tidily; a new one waits for the end of the old.
func TestStopAndBeginAgain(t *testing.T) {
	e, s, _ := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "stop"})
		}
	}
	if end := run(t, e, s, "dictation?count=5&seed=5"); end["ok"] != true {
		t.Errorf("stopped: %v", end)
	}
	if sum := s.events("summary"); len(sum) != 1 || sum[0]["interrupted"] != true {
		t.Errorf("summary %v", sum)
	}
	s.on = nil
	for range 3 {
		e.Do(Command{Do: "drill", Address: "sing?count=2&seed=3&input=simulated&retry=never", Touch: true})
	}
	for range 3 {
		<-s.ends
	}
	// Two were stopped by the one that came after; the last has asked everything.
	all := s.events("summary")
	if last := all[len(all)-1]; last["interrupted"] != false || last["total"].(map[string]any)["asked"] != 2.0 {
		t.Errorf("the last: %v", last)
	}
}

// Melodies are drawn, and after they were sung each note of theirs is marked.
func TestSeriesIsMarked(t *testing.T) {
	e, s, _ := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`""`)})
		}
	}
	end := run(t, e, s, "series?key=Eb&level=2&count=2&seed=8&input=simulated")
	if end["ok"] != true {
		t.Fatalf("%v", end)
	}
	read, sung := 0, 0
	for _, m := range s.messages("event") {
		d := m["detail"].(map[string]any)
		svg, _ := m["svg"].(string)
		switch d["event"] {
		case "line":
			read++
			if !strings.HasPrefix(svg, "<svg") || strings.Contains(svg, `class="mark`) {
				t.Errorf("line %v: %.60s", d["index"], svg)
			}
		case "sung":
			sung++
			notes := len(d["grade"].(map[string]any)["notes"].([]any))
			if got := strings.Count(svg, `class="mark `); got != notes {
				t.Errorf("line %v has %d notes and %d marks", d["index"], notes, got)
			}
		}
	}
	if read != 2 || sung != 2 {
		t.Errorf("%d read, %d sung", read, sung)
	}
}

// Today asks what the course wants, and says at the end where the singer stands.
func TestToday(t *testing.T) {
	e, s, _ := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`""`)})
		}
	}
	end := run(t, e, s, "today?minutes=1&seed=1&input=simulated")
	today := s.events("today")
	if end["ok"] != true || len(today) != 1 || today[0]["singer"] != "me" || today[0]["stage"] != 1.0 {
		t.Fatalf("%v, %v", end, today)
	}
	if len(s.messages("standing")) == 0 || len(s.events("verdict")) < 3 {
		t.Errorf("%d standings, %d verdicts", len(s.messages("standing")), len(s.events("verdict")))
	}
}

// The simulated singer is calibrated part by part, and nothing of it is kept.
func TestCalibrateSimulated(t *testing.T) {
	e, s, m := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"begin"`)})
		}
	}
	end := run(t, e, s, "calibrate?input=simulated&skip=leak")
	if end["ok"] != true || len(m.things) != 0 {
		t.Fatalf("%v; kept %v", end, m.things)
	}
	found := map[string]bool{}
	for _, c := range s.messages("calibration") {
		if c["name"] == "found" {
			found[c["part"].(string)] = true
		}
	}
	for _, part := range []string{"room", "level", "voice", "instrument"} {
		if !found[part] {
			t.Errorf("%s was not measured: %v", part, s.messages("calibration"))
		}
	}
}

// A calibration that is stopped keeps nothing.
func TestCalibrateStopped(t *testing.T) {
	e, s, m := opened(t)
	s.on = func(msg map[string]any) {
		if msg["is"] == "ask" {
			e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`"stop"`)})
		}
	}
	if end := run(t, e, s, "calibrate?input=simulated"); end["ok"] != true || len(m.things) != 0 {
		t.Errorf("%v; kept %v", end, m.things)
	}
}

// filled is an engine whose database has so many answers of Anna, an invented singer.
func filled(t *testing.T, n int) (*Engine, *stage, *memory, string) {
	t.Helper()
	e, s, m := opened(t)
	session := practice.Session{
		ID: strings.Repeat("0a", 16), Singer: "Anna", Started: clock, Command: "today", Source: "mic", Seed: 1, Estimator: "pitch 3",
	}
	var text strings.Builder
	answers := invented.Answers(session, n)
	if _, err := kept.WriteExport(&text, kept.CSV, func(yield func(practice.Answer, error) bool) {
		for i, a := range answers {
			a.Number = i + 1
			if !yield(a, nil) {
				return
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	if _, problem := called(t, e, s, "singer", map[string]string{"name": "Anna"}); problem != "" {
		t.Fatal(problem)
	}
	got, problem := called(t, e, s, "import", map[string]string{"text": text.String()})
	if problem != "" || got["added"] != float64(n) {
		t.Fatalf("import: %v %s", got, problem)
	}
	return e, s, m, text.String()
}

// What is imported is exported as it was, and twice is as good as once.
func TestImportExport(t *testing.T) {
	e, s, m, text := filled(t, 200)
	again, problem := called(t, e, s, "import", map[string]string{"text": text})
	if problem != "" || again["read"] != 200.0 || again["added"] != 0.0 {
		t.Errorf("again: %v %s", again, problem)
	}
	got, problem := called(t, e, s, "export", struct{}{})
	if problem != "" || got["text"] != text {
		t.Errorf("the export differs from the import (%s)", problem)
	}
	for _, bad := range []string{"", "no record", text + "torn,line", strings.Replace(text, "today", "toDay", 1)} {
		if _, problem := called(t, e, s, "import", map[string]string{"text": bad}); !strings.HasPrefix(problem, "nothing was imported: ") || len(m.lines) != 200 {
			t.Errorf("%.20q: %q, %d kept", bad, problem, len(m.lines))
		}
	}
	// A line that was changed in the database is left out, and told.
	for k, l := range m.lines {
		l.Line = strings.Replace(l.Line, `"Anna"`, `"Anne"`, 1)
		m.lines[k] = l
		break
	}
	standing, problem := called(t, e, s, "standing", struct{}{})
	if problem != "" || standing["skipped"] != 0.0 && standing["skipped"] != 1.0 {
		t.Errorf("%v %s", standing["skipped"], problem)
	}
}

// Progress is that of the command line, with what to practise next as addresses that
// can be started.
func TestProgress(t *testing.T) {
	e, s, _, _ := filled(t, 400)
	got, problem := called(t, e, s, "progress", map[string]string{})
	if problem != "" || got["singer"] != "Anna" {
		t.Fatalf("%v %s", got["singer"], problem)
	}
	said := got["said"].(map[string]any)
	next := said["next"].([]any)
	if len(next) == 0 {
		t.Fatal("nothing to practise next")
	}
	for _, n := range next {
		address := n.(map[string]any)["address"].(string)
		if _, err := e.readAddress(address, Known{}); err != nil {
			t.Errorf("%s: %v", address, err)
		}
	}
	if len(said["ladder"].([]any)) == 0 || len(said["sections"].([]any)) == 0 {
		t.Errorf("no ladder or sections: %v", said)
	}
	if _, problem := called(t, e, s, "progress", map[string]string{"since": "yesterday"}); !strings.Contains(problem, "--since") {
		t.Errorf("since yesterday: %q", problem)
	}
}

// Progress of nobody says that there is nothing yet.
func TestProgressOfNothing(t *testing.T) {
	e, s, _ := opened(t)
	if _, problem := called(t, e, s, "progress", struct{}{}); !strings.Contains(problem, "no answer of me yet") {
		t.Errorf("%q", problem)
	}
	if _, problem := called(t, e, s, "export", struct{}{}); !strings.Contains(problem, "nothing to export") {
		t.Errorf("%q", problem)
	}
}

// A profile in the database fits the drill to the singer; forgetting deletes it all.
func TestProfileAndForget(t *testing.T) {
	e, s, m := opened(t)
	p := invented.Profile()
	if _, err := (&BrowserStore{DB: m}).SaveProfile(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	if err := e.refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	if e.whatIsKnown().Profile != p {
		if got := e.whatIsKnown().Profile; got.Name != p.Name || (got.Voice == nil) != (p.Voice == nil) {
			t.Errorf("%+v, want %+v", got, p)
		}
	}
	if _, problem := called(t, e, s, "forget", struct{}{}); problem != "" || e.whatIsKnown().Profile != (calib.Profile{}) {
		t.Errorf("%s %+v", problem, e.whatIsKnown().Profile)
	}
}

// Everything that can be looked up is shown, and a mistake is one line.
func TestLook(t *testing.T) {
	e, s, _ := opened(t)
	for _, c := range []struct{ what, address string }{
		{"melody", "melody?level=3&key=Eb&seed=7"}, {"melody", "melody?sound=voice&voice=tenor&seed=7"}, {"key", "key?key=F%23+minor"}, {"key", "key?key=D+dorian"}, {"chords", "chords?key=Ab"},
		{"chords", "chords?key=C&progression=I+vi+ii65+V7+I&texture=choir"},
	} {
		got, problem := called(t, e, s, c.what, c.address)
		if problem != "" || got["title"] == "" || c.what == "melody" && !strings.HasPrefix(got["svg"].(string), "<svg") ||
			c.what != "melody" && len(got["sections"].([]any)[0].(map[string]any)["rows"].([]any)) < 3 {
			t.Errorf("%s: %v %s", c.address, got, problem)
		}
		if _, problem := called(t, e, s, "play", c.address); problem != "" {
			t.Errorf("play %s: %s", c.address, problem)
		}
	}
	for address, want := range map[string]string{
		"melody?level=9": "9", "melody?sound=organ": "--sound", "key?key=H": "--key", "chords?progression=Q": "Q", "chords?texture=loud": "--texture", "sing?key=C": "there is no command",
	} {
		if _, problem := called(t, e, s, "melody", address); !strings.Contains(problem, want) || strings.Contains(problem, "\n") {
			t.Errorf("%s: %q, want %q", address, problem, want)
		}
	}
}

// Every command has its options for a form, and those that a form sends are read.
func TestOptions(t *testing.T) {
	e, s, _ := opened(t)
	for _, command := range []string{"sing", "series", "echo", "dictation", "today", "calibrate", "melody", "key", "chords", "progress"} {
		got, problem := called(t, e, s, "options", map[string]string{"command": command})
		if problem != "" {
			t.Errorf("%s: %s", command, problem)
			continue
		}
		for _, o := range got["options"].([]any) {
			o := o.(map[string]any)
			if o["help"] == "" || strings.Contains(o["help"].(string), "`") {
				t.Errorf("%s --%s: %q", command, o["name"], o["help"])
			}
		}
	}
	if _, problem := called(t, e, s, "options", map[string]string{"command": "help"}); problem == "" {
		t.Error("help has options")
	}
}

// floats are samples as a browser has them.
func floats(x []float64) []byte {
	b := make([]byte, 4*len(x))
	for i, v := range x {
		binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(float32(v)))
	}
	return b
}

// With both hands at the keyboard a note that is held goes on; a cough and silence do
// not.
func TestSungNoteGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		e, s, _ := opened(t)
		mic := NewMic(16000)
		e.Connect(Sound{Mic: mic, Speaker: audio.Null{Rate: 16000}})
		tone := testkit.Scale(testkit.Tone(16000, 0.8, testkit.Steady(220), testkit.Harmonics(6, 9)), 0.2)
		cough := testkit.Scale(testkit.Tone(16000, 0.2, testkit.Steady(220), testkit.Harmonics(6, 9)), 0.2)
		silence := func(seconds float64) []float64 { return make([]float64, int(16000*seconds)) }
		at := int64(0)
		push := func(x []float64) {
			for len(x) > 0 {
				n := min(len(x), 512)
				mic.Push(at, floats(x[:n]))
				at, x = at+int64(n), x[n:]
				time.Sleep(time.Duration(n) * time.Second / 16000)
			}
		}
		went := make(chan struct{})
		stop := e.await(t.Context(), func() { close(went) })
		push(slices.Concat(tone, silence(1), cough, silence(1)))
		select {
		case <-went:
			t.Fatal("what was sung before, or a cough, goes on")
		default:
		}
		push(slices.Concat(tone, silence(0.3)))
		<-went
		stop()
		_ = s
		mic.Close()
	})
}

// What comes back later than from headphones with a wire is told with what to do.
func TestLateHeadphones(t *testing.T) {
	for delay, want := range map[float64]int{0.02: 0, 0.15: 0, 0.18: 1} {
		r := calibrate.Result{Found: session.Measured{Echo: &calib.Echo{Heard: true, Delay: delay}}}
		if got := lateLines(r); len(got) != want || want > 0 && !strings.Contains(got[0], "180 ms") {
			t.Errorf("%g s: %q", delay, got)
		}
	}
	if got := lateLines(calibrate.Result{Found: session.Measured{Echo: &calib.Echo{Delay: 1}}}); got != nil {
		t.Errorf("not heard: %q", got)
	}
}

// With cursor the meter of a line says where the voice is above the tonic, without it
// nothing of that.
func TestCursor(t *testing.T) {
	for _, cursor := range []bool{false, true} {
		e, s, _ := opened(t)
		s.on = func(msg map[string]any) {
			if msg["is"] == "ask" {
				e.Do(Command{Do: "answer", ID: int(msg["id"].(float64)), Value: json.RawMessage(`""`)})
			}
		}
		address := "series?key=Eb&level=2&count=1&seed=8&input=simulated"
		if cursor {
			address += "&cursor"
		}
		if end := run(t, e, s, address); end["ok"] != true {
			t.Fatalf("%v", end)
		}
		said := 0
		for _, m := range s.messages("meter") {
			if m["cents"] != nil {
				said++
			}
		}
		if said > 0 != cursor {
			t.Errorf("cursor %v: %d cents", cursor, said)
		}
	}
}
