// Package tui shows a running drill in a terminal: what is asked, in letters
// that can be read at arm's length from a keyboard, whether it listens, how
// loud the singer is, and the verdict.
//
// [Run] runs a drill under the view. [View.Render] is the whole picture as a
// pure function of what has happened, and is what the tests look at. The
// package knows no device and judges nothing: it renders session events.
package tui

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"singback/exercise"
	"singback/internal/plain"
	"singback/internal/report"
	"singback/internal/session"
	"singback/theory"
)

// Options say where and how the view is shown.
type Options struct {
	In      io.Reader
	Out     io.Writer
	Environ []string // decides about colour: NO_COLOR, TERM
	Style   report.Style
	Alert   string // what must be known first, like what answers instead of a microphone
	Note    string // lines that stay on the screen

	// Louder changes the playback level by so many dB and returns the new one,
	// in dBFS.
	Louder func(dB float64) float64

	// Asks, where it is not nil, is handed what asks the singer, before the drill
	// begins.
	Asks func(Asker)
	// Staff draws a line of music in so many columns and rows, one string a row. Nil
	// draws none.
	Staff func(s theory.Score, width, height int) []string
}

// Asker asks the singer something on the screen. All wait for the answer, or end
// with the context's error.
type Asker struct {
	// Guess asks for a guess, for session.Config.Guess.
	Guess func(context.Context) (exercise.Outcome, error)
	// Type asks for a line of text. What check refuses is not taken, and why is
	// shown.
	Type func(ctx context.Context, ask string, check func(string) error) (string, error)
	// Wait waits so many seconds, or until the singer goes on.
	Wait func(ctx context.Context, say string, seconds float64) error
	// Rest waits until the singer has rested, for session.Config.Pause.
	Rest func(context.Context) error
}

// Drill runs a session: it reports through emit and asks through retry whether
// a missed item is to be sung once more.
type Drill func(ctx context.Context, emit func(session.Event), retry func(context.Context, session.Judged) (bool, error)) error

// offerTime is how long the offer of a second attempt stands.
const offerTime = 6 * time.Second

// Run shows the view until the drill has ended, and returns its error, or that
// of the screen. Ctrl-C and q cancel the drill's context and wait for it to end
// tidily.
func Run(ctx context.Context, o Options, drill Drill) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	m := newModel(o, cancel)
	p := tea.NewProgram(m, tea.WithInput(o.In), tea.WithOutput(o.Out), tea.WithEnvironment(o.Environ), tea.WithoutSignalHandler())
	if o.Asks != nil {
		o.Asks(Asker{
			Guess: func(ctx context.Context) (exercise.Outcome, error) {
				return await(ctx, p, func(answer chan exercise.Outcome) tea.Msg { return guess{answer} })
			},
			Type: func(ctx context.Context, ask string, check func(string) error) (string, error) {
				return await(ctx, p, func(answer chan string) tea.Msg { return &entry{ask, check, answer} })
			},
			Wait: func(ctx context.Context, say string, seconds float64) error {
				_, err := await(ctx, p, func(answer chan struct{}) tea.Msg { return pause{say, seconds, answer} })
				return err
			},
			Rest: func(ctx context.Context) error {
				_, err := await(ctx, p, func(answer chan struct{}) tea.Msg { return resting{answer} })
				return err
			},
		})
	}
	running, end := context.WithCancel(context.Background())
	go watchStops(running, p)
	done := make(chan error, 1)
	go func() {
		err := drill(ctx,
			func(e session.Event) { p.Send(e) },
			func(ctx context.Context, j session.Judged) (bool, error) {
				answer := make(chan bool, 1)
				p.Send(offer{answer})
				select {
				case again := <-answer:
					return again, nil
				case <-ctx.Done():
					return false, ctx.Err()
				}
			})
		done <- err
		p.Send(ended{})
	}()
	_, err := p.Run()
	end()
	cancel()
	drillErr := <-done
	if err != nil {
		// The drill ended because the screen did.
		return fmt.Errorf("screen: %w", err)
	}
	return drillErr
}

// await sends a message with a channel for the answer, and waits for it.
func await[T any](ctx context.Context, p *tea.Program, ask func(chan T) tea.Msg) (T, error) {
	answer := make(chan T, 1)
	p.Send(ask(answer))
	select {
	case a := <-answer:
		return a, nil
	case <-ctx.Done():
		var none T
		return none, ctx.Err()
	}
}

// Messages of the view's own.
type (
	offer   struct{ answer chan bool } // a second attempt is offered
	ended   struct{}                   // the drill has ended
	expired struct{ answer chan bool } // nobody took the offer

	guess     struct{ answer chan exercise.Outcome } // a guess is asked for
	unguessed struct{ answer chan exercise.Outcome } // nobody made one

	entry struct { // a line is to be typed
		ask    string
		check  func(string) error
		answer chan string
	}
	pause struct { // the singer may go on, or time passes
		say     string
		seconds float64
		answer  chan struct{}
	}
	paused  struct{ answer chan struct{} } // time has passed
	resting struct{ rested chan struct{} } // the singer rests
)

type model struct {
	view   View
	louder func(float64) float64
	cancel context.CancelFunc
	offer  chan bool             // nil where no second attempt is offered
	guess  chan exercise.Outcome // nil where no guess is asked for
	entry  *entry                // nil where nothing is typed
	pause  chan struct{}         // nil where nothing is waited for
	rested chan struct{}         // nil while the singer does not rest
}

func newModel(o Options, cancel context.CancelFunc) *model {
	return &model{view: View{Style: o.Style, Alert: plain.Shown(o.Alert), Note: plain.Shown(o.Note), Level: o.Louder(0), Staff: o.Staff}, louder: o.Louder, cancel: cancel}
}

func (m *model) Init() tea.Cmd { return nil }

func (m *model) View() tea.View {
	v := tea.NewView(m.view.Render())
	v.AltScreen = true
	return v
}

func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.view.Width, m.view.Height = msg.Width, msg.Height
	case tea.KeyPressMsg:
		return m, m.key(msg.String(), msg.Text)
	case offer:
		m.offer, m.view.Offered = msg.answer, true
		return m, tea.Tick(offerTime, func(time.Time) tea.Msg { return expired(msg) })
	case expired:
		if m.offer == msg.answer {
			m.reply(false)
		}
	case guess:
		m.guess = msg.answer
		return m, tea.Tick(offerTime, func(time.Time) tea.Msg { return unguessed(msg) })
	case unguessed:
		if m.guess == msg.answer {
			m.guessed(exercise.NotMeasured)
		}
	case *entry:
		m.entry, m.view.Typing = msg, &Typing{Ask: plain.Shown(msg.ask)}
	case pause:
		m.pause, m.view.Pause = msg.answer, plain.Shown(msg.say)
		return m, tea.Tick(time.Duration(msg.seconds*float64(time.Second)), func(time.Time) tea.Msg { return paused{msg.answer} })
	case paused:
		if m.pause == msg.answer {
			m.goOn()
		}
	case resting:
		m.rested, m.view.Paused = msg.rested, true
	case wentOn:
		return m, giveBack(func() error { return nil })
	case ended:
		return m, tea.Quit
	case session.Event:
		m.view.Event(msg)
	}
	return m, nil
}

func (m *model) key(name, text string) tea.Cmd {
	if name == "ctrl+z" {
		return giveBack(stopJob)
	}
	if m.entry != nil && name != "ctrl+c" {
		m.typed(name, text)
		return nil
	}
	if m.guess != nil {
		switch name {
		case "f":
			m.guessed(exercise.Flat)
		case "r":
			m.guessed(exercise.InTune)
		case "s":
			m.guessed(exercise.Sharp)
		case "space", "enter", "n":
			m.guessed(exercise.NotMeasured)
		}
	}
	if m.rested != nil && name == "enter" {
		close(m.rested)
		m.rested, m.view.Paused, m.view.rest = nil, false, nil
		return nil
	}
	switch name {
	case "ctrl+c", "q":
		m.view.Ending = true
		m.cancel()
	case "r":
		m.reply(true)
	case "space", "enter", "n":
		m.reply(false)
		m.goOn()
	case "up", "+":
		m.view.Level = m.louder(3)
	case "down", "-":
		m.view.Level = m.louder(-3)
	}
	return nil
}

// giveUp is typed in place of an answer.
const giveUp = "?"

// maxTyped is how many letters can be typed.
const maxTyped = 60

// typed deals with a key while a line is typed.
func (m *model) typed(name, text string) {
	t := m.view.Typing
	line := []rune(t.Text)
	text = plain.Line(text)
	switch {
	case name == "enter":
		if err := m.entry.check(t.Text); err != nil {
			t.Problem = plain.Shown(err.Error())
			return
		}
		m.entry.answer <- t.Text
		m.entry, m.view.Typing = nil, nil
	case name == "backspace" && len(line) > 0:
		t.Text = string(line[:len(line)-1])
	case name == "esc", name == "ctrl+u":
		t.Text = ""
	case name == "ctrl+w":
		t.Text = strings.TrimRight(t.Text, " ")
		t.Text = t.Text[:strings.LastIndex(t.Text, " ")+1]
	case text == giveUp:
		t.Text = giveUp // whatever stood there
	case t.Text == giveUp && text != "":
		t.Text = text
	case text != "" && len(line)+len([]rune(text)) <= maxTyped:
		t.Text += text
	}
}

// goOn ends a pause; without one it does nothing.
func (m *model) goOn() {
	if m.pause == nil {
		return
	}
	m.pause <- struct{}{}
	m.pause, m.view.Pause = nil, ""
}

// guessed hands on a guess; NotMeasured is none.
func (m *model) guessed(o exercise.Outcome) {
	m.guess <- o
	m.guess = nil
}

// reply answers a pending offer; without one it does nothing.
func (m *model) reply(again bool) {
	if m.offer == nil {
		return
	}
	m.offer <- again
	m.offer, m.view.Offered = nil, false
}
