package tui

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	tea "charm.land/bubbletea/v2"

	"singback/exercise"
	"singback/internal/session"
	"singback/theory"
)

// press makes the message of a key.
func press(name string) tea.KeyPressMsg {
	switch name {
	case "ctrl+c":
		return tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl}
	case "space":
		return tea.KeyPressMsg{Code: tea.KeySpace, Text: " "}
	case "enter":
		return tea.KeyPressMsg{Code: tea.KeyEnter}
	case "up":
		return tea.KeyPressMsg{Code: tea.KeyUp}
	case "down":
		return tea.KeyPressMsg{Code: tea.KeyDown}
	}
	return tea.KeyPressMsg{Code: rune(name[0]), Text: name}
}

func TestKeysEndTheDrill(t *testing.T) {
	for _, name := range []string{"q", "ctrl+c"} {
		ended := false
		m := &model{cancel: func() { ended = true }}
		if _, cmd := m.Update(press(name)); cmd != nil || !ended || !m.view.Ending {
			t.Errorf("%s: cancelled %v, says so %v; the program itself must wait for the drill", name, ended, m.view.Ending)
		}
	}
}

func TestKeysChangeTheLevel(t *testing.T) {
	level := -24.0
	m := &model{louder: func(dB float64) float64 { level += dB; return level }}
	for _, c := range []struct {
		key  string
		want float64
	}{{"up", -21}, {"+", -18}, {"down", -21}, {"-", -24}} {
		if m.Update(press(c.key)); m.view.Level != c.want {
			t.Errorf("after %s the level shown is %g, want %g", c.key, m.view.Level, c.want)
		}
	}
}

func TestOfferIsAnsweredOnce(t *testing.T) {
	for _, c := range []struct {
		msg  func(chan bool) tea.Msg
		name string
		want bool
	}{
		{func(chan bool) tea.Msg { return press("r") }, "r", true},
		{func(chan bool) tea.Msg { return press("space") }, "space", false},
		{func(chan bool) tea.Msg { return press("enter") }, "enter", false},
		{func(chan bool) tea.Msg { return press("n") }, "n", false},
		{func(a chan bool) tea.Msg { return expired{a} }, "nobody", false},
	} {
		m, answer := &model{}, make(chan bool, 1)
		if _, cmd := m.Update(offer{answer}); cmd == nil || !m.view.Offered {
			t.Errorf("%s: an offer that does not expire, or is not shown", c.name)
		}
		m.Update(c.msg(answer))
		select {
		case got := <-answer:
			if got != c.want {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
			}
		default:
			t.Fatalf("%s: no answer", c.name)
		}
		// Neither another key nor the clock answers again, or a later offer.
		m.Update(press("r"))
		m.Update(expired{answer})
		later := make(chan bool, 1)
		m.Update(offer{later})
		m.Update(expired{answer})
		if len(answer) != 0 || len(later) != 0 || !m.view.Offered {
			t.Errorf("%s: answered a second time", c.name)
		}
	}
}

// Letters go into the line, whatever they do elsewhere; what is refused stays to
// be changed.
func TestTyping(t *testing.T) {
	cancelled := false
	m := &model{cancel: func() { cancelled = true }, louder: func(float64) float64 { t.Error("louder"); return 0 }}
	answer := make(chan string, 1)
	m.Update(&entry{"type it", func(s string) error {
		if s != "qr+" {
			return errors.New("want qr+")
		}
		return nil
	}, answer})
	for _, name := range []string{"q", "r", "x", "enter"} {
		m.Update(press(name))
	}
	if ty := m.view.Typing; ty == nil || ty.Ask != "type it" || ty.Text != "qrx" || ty.Problem != "want qr+" || len(answer) > 0 || cancelled {
		t.Fatalf("typed %+v, %d answers, cancelled %v", ty, len(answer), cancelled)
	}
	m.Update(tea.KeyPressMsg{Code: tea.KeyBackspace})
	m.Update(press("+"))
	m.Update(press("enter"))
	if got := <-answer; got != "qr+" || m.view.Typing != nil {
		t.Errorf("answer %q, still typing %v", got, m.view.Typing)
	}
	m.Update(&entry{"type it", func(string) error { return nil }, answer})
	for range 100 {
		m.Update(press("x"))
	}
	m.Update(tea.KeyPressMsg{Code: tea.KeyEscape})
	m.Update(press("enter"))
	if got := <-answer; got != "" {
		t.Errorf("Esc leaves %q", got)
	}
	m.Update(&entry{"type it", func(string) error { return nil }, answer})
	m.Update(press("ctrl+c"))
	if !cancelled {
		t.Error("Ctrl-C does not end the drill while a line is typed")
	}
}

// The line can be emptied, and what gives up stands by itself, whatever was typed.
func TestTypingIsClearedAndGivenUp(t *testing.T) {
	for _, c := range []struct {
		keys []tea.KeyPressMsg
		want string
	}{
		{[]tea.KeyPressMsg{press("d"), press("o"), press("?")}, "?"},
		{[]tea.KeyPressMsg{press("d"), press("?"), press("f")}, "f"},
		{[]tea.KeyPressMsg{press("?"), press("?")}, "?"},
		{[]tea.KeyPressMsg{press("d"), {Code: tea.KeyEscape}}, ""},
		{[]tea.KeyPressMsg{press("d"), press("space"), press("f"), {Code: 'u', Mod: tea.ModCtrl}}, ""},
		{[]tea.KeyPressMsg{press("d"), press("space"), press("f"), {Code: 'w', Mod: tea.ModCtrl}}, "d "},
		{[]tea.KeyPressMsg{press("d"), {Code: 'w', Mod: tea.ModCtrl}}, ""},
	} {
		m := &model{}
		m.Update(&entry{"type it", func(string) error { return nil }, make(chan string, 1)})
		for _, k := range c.keys {
			m.Update(k)
		}
		if got := m.view.Typing.Text; got != c.want {
			t.Errorf("%v leave %q, want %q", c.keys, got, c.want)
		}
	}
}

// A pause ends with a key or by itself, once.
func TestPause(t *testing.T) {
	for _, end := range []func(m *model, answer chan struct{}){
		func(m *model, _ chan struct{}) { m.Update(press("enter")) },
		func(m *model, _ chan struct{}) { m.Update(press("space")) },
		func(m *model, answer chan struct{}) { m.Update(paused{answer}) },
	} {
		m, answer := &model{}, make(chan struct{}, 1)
		if _, cmd := m.Update(pause{"read it", 20, answer}); cmd == nil || m.view.Pause != "read it" {
			t.Error("a pause that does not end, or is not shown")
		}
		end(m, answer)
		if len(answer) != 1 || m.view.Pause != "" {
			t.Errorf("ended %d times, still shown: %q", len(answer), m.view.Pause)
		}
		m.Update(press("enter"))
		m.Update(paused{answer})
		if len(answer) != 1 {
			t.Error("ended twice")
		}
	}
}

// screen is a writer that can be read while it is written.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func options(in io.Reader, out io.Writer) Options {
	return Options{In: in, Out: out, Environ: []string{"TERM=xterm", "NO_COLOR=1"}, Louder: func(float64) float64 { return -24 }}
}

func TestRunEndsWithTheDrill(t *testing.T) {
	broken := errors.New("the device has gone")
	for _, want := range []error{nil, broken} {
		in, keep := io.Pipe()
		out := new(screen)
		err := Run(t.Context(), options(in, out), func(_ context.Context, emit func(session.Event), _ func(context.Context, session.Judged) (bool, error)) error {
			states := asking(t, false)
			emit(session.KeySet{Key: states.Key, Tuning: states.Tuning})
			emit(session.Finished{Tally: exercise.Tally{}})
			return want
		})
		keep.Close()
		if err != want {
			t.Errorf("Run returned %v, want the drill's %v", err, want)
		}
		if !strings.Contains(out.String(), "\x1b[?1049l") {
			t.Error("the screen was not given back")
		}
	}
}

// keys typed by a person reach the drill, and q ends it tidily.
func TestRunPassesKeys(t *testing.T) {
	in, keyboard := io.Pipe()
	defer keyboard.Close()
	var again bool
	err := Run(t.Context(), options(in, new(screen)), func(ctx context.Context, emit func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error {
		typing := make(chan struct{})
		go func() {
			// A key typed before the offer is shown answers nothing, so it is
			// typed until it is taken.
			for !closed(typing) {
				keyboard.Write([]byte("r"))
			}
		}()
		var err error
		if again, err = retry(ctx, session.Judged{}); err != nil {
			return err
		}
		close(typing)
		go keyboard.Write([]byte("q"))
		<-ctx.Done()
		return ctx.Err()
	})
	if !again || !errors.Is(err, context.Canceled) {
		t.Errorf("once more: %v, error %v; want true and context.Canceled", again, err)
	}
}

func closed(c chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// A screen that fails ends the drill, and is what Run tells about.
func TestRunTellsThatTheScreenFailed(t *testing.T) {
	gone := errors.New("the terminal has gone")
	err := Run(t.Context(), options(iotest.ErrReader(gone), new(screen)), func(ctx context.Context, _ func(session.Event), _ func(context.Context, session.Judged) (bool, error)) error {
		<-ctx.Done()
		return ctx.Err()
	})
	if !errors.Is(err, gone) {
		t.Errorf("%v, want one that wraps %v", err, gone)
	}
}

func TestRunIsCancelledFromOutside(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	in, keep := io.Pipe()
	defer keep.Close()
	err := Run(ctx, options(in, new(screen)), func(ctx context.Context, _ func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error {
		cancel()
		_, err := retry(ctx, session.Judged{})
		return err
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want context.Canceled", err)
	}
}

// "Flat, right or sharp?" is answered by one key, or by nobody, once.
func TestGuessIsAnsweredOnce(t *testing.T) {
	for _, c := range []struct {
		msg  func(chan exercise.Outcome) tea.Msg
		name string
		want exercise.Outcome
	}{
		{func(chan exercise.Outcome) tea.Msg { return press("f") }, "f", exercise.Flat},
		{func(chan exercise.Outcome) tea.Msg { return press("r") }, "r", exercise.InTune},
		{func(chan exercise.Outcome) tea.Msg { return press("s") }, "s", exercise.Sharp},
		{func(chan exercise.Outcome) tea.Msg { return press("space") }, "space", exercise.NotMeasured},
		{func(a chan exercise.Outcome) tea.Msg { return unguessed{a} }, "nobody", exercise.NotMeasured},
	} {
		m, answer := &model{}, make(chan exercise.Outcome, 1)
		m.Update(session.Guessing{})
		if _, cmd := m.Update(guess{answer}); cmd == nil || !strings.Contains(m.view.Render(), "f flat   r right   s sharp") {
			t.Errorf("%s: a guess that does not expire, or is not asked for", c.name)
		}
		m.Update(press("x"))
		m.Update(c.msg(answer))
		select {
		case got := <-answer:
			if got != c.want {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
			}
		default:
			t.Fatalf("%s: no answer", c.name)
		}
		m.Update(press("f"))
		m.Update(unguessed{answer})
		if len(answer) != 0 {
			t.Errorf("%s: answered a second time", c.name)
		}
	}
}

// The rest lasts until Enter, however long that takes; what says that it is due
// goes then. Other keys do not end it, but q ends the drill.
func TestRestLastsUntilEnter(t *testing.T) {
	ended := false
	m, rested := &model{cancel: func() { ended = true }}, make(chan struct{})
	m.Update(session.Rest{Sung: 901})
	if _, cmd := m.Update(resting{rested}); cmd != nil {
		t.Error("the rest expires")
	}
	shown := m.view.Render()
	if !strings.Contains(shown, "rest now") || !strings.Contains(shown, "Enter goes on") || !strings.Contains(shown, "sung for 15 minutes") {
		t.Errorf("the screen does not say that it waits:\n%s", shown)
	}
	for _, key := range []string{"space", "r", "n", "f"} {
		if m.Update(press(key)); closed(rested) || !m.view.Paused {
			t.Errorf("%s ends the rest", key)
		}
	}
	if m.Update(press("q")); closed(rested) || !ended {
		t.Error("q does not end the drill, or goes on with it")
	}
	if m.Update(press("enter")); !closed(rested) || m.view.Paused {
		t.Error("Enter does not end the rest")
	}
	if shown := m.view.Render(); strings.Contains(shown, "rest") {
		t.Errorf("a rest that has been taken is still due:\n%s", shown)
	}
	m.Update(press("enter")) // goes on only once
}

// The drill waits for the singer through Asker.Rest.
func TestRunRests(t *testing.T) {
	for _, key := range []string{"\r", "q"} {
		in, keyboard := io.Pipe()
		o := options(in, new(screen))
		var rest func(context.Context) error
		o.Asks = func(ask Asker) { rest = ask.Rest }
		typing := make(chan struct{})
		err := Run(t.Context(), o, func(ctx context.Context, emit func(session.Event), _ func(context.Context, session.Judged) (bool, error)) error {
			emit(session.Rest{Sung: 901})
			go func() {
				for !closed(typing) { // as in TestRunPassesKeys
					keyboard.Write([]byte(key))
				}
			}()
			return rest(ctx)
		})
		close(typing)
		keyboard.Close()
		if key == "q" && !errors.Is(err, context.Canceled) || key != "q" && err != nil {
			t.Errorf("%q ends the rest with %v", key, err)
		}
	}
}

// A verdict that is not told is nowhere on the screen: not in words, not in the
// score, not after the next question has begun. A notice takes the place of the
// note.
func TestHiddenVerdictIsNotShown(t *testing.T) {
	k, err := theory.ParseKey("C major")
	if err != nil {
		t.Fatal(err)
	}
	it := exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.MiddleRegister(k), Asked: theory.Degree{Step: 3}}
	verdict := exercise.Verdict{Outcome: exercise.Flat, Sung: it.Asked, HasSung: true, Cents: -42, FromAsked: -42}
	var v View
	v.Event(session.KeySet{Key: k})
	v.Event(session.Prompted{Index: 1, Attempt: 1, Item: it})
	v.Event(session.Judged{Index: 1, Attempt: 1, Item: it, Verdict: verdict, Counts: true, Hidden: true})
	shown := v.Render()
	v.Event(session.Prompted{Index: 2, Attempt: 1, Item: it})
	shown += v.Render()
	for _, no := range []string{"42", "low", "flat", "right so far", "in the octave"} {
		if strings.Contains(shown, no) {
			t.Errorf("%q is on the screen:\n%s", no, shown)
		}
	}
	if !strings.Contains(shown, "noted: told at the end") || !strings.Contains(shown, "question 2") {
		t.Errorf("the screen does not say that the answer was noted:\n%s", shown)
	}
	v.Event(session.Judged{Index: 2, Attempt: 1, Item: it, Verdict: verdict, Counts: true, Guess: exercise.Sharp})
	v.Event(session.Notice{Text: "the disk is full"})
	if shown := v.Render(); !strings.Contains(shown, "you took it for sharp") || !strings.Contains(shown, "right so far: 0 of 1") || !strings.Contains(shown, "the disk is full") {
		t.Errorf("a guess, and a notice:\n%s", shown)
	}
}
