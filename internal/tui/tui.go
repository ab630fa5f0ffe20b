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
	"time"

	tea "charm.land/bubbletea/v2"

	"singback/exercise"
	"singback/internal/report"
	"singback/internal/session"
)

// Options say where and how the view is shown.
type Options struct {
	In      io.Reader
	Out     io.Writer
	Environ []string // decides about colour: NO_COLOR, TERM
	Style   report.Style
	Note    string // one line that stays on the screen, like what answers instead of a microphone

	// Louder changes the playback level by so many dB and returns the new one,
	// in dBFS.
	Louder func(dB float64) float64

	// Asks, where it is not nil, is handed the function that asks the singer for
	// a guess, before the drill begins; it belongs into session.Config.Guess.
	Asks func(guess func(context.Context) (exercise.Outcome, error))
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
	m := &model{view: View{Style: o.Style, Note: o.Note, Level: o.Louder(0)}, louder: o.Louder, cancel: cancel}
	p := tea.NewProgram(m, tea.WithInput(o.In), tea.WithOutput(o.Out), tea.WithEnvironment(o.Environ), tea.WithoutSignalHandler())
	if o.Asks != nil {
		o.Asks(func(ctx context.Context) (exercise.Outcome, error) {
			answer := make(chan exercise.Outcome, 1)
			p.Send(guess{answer})
			select {
			case o := <-answer:
				return o, nil
			case <-ctx.Done():
				return exercise.NotMeasured, ctx.Err()
			}
		})
	}
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
	cancel()
	drillErr := <-done
	if err != nil {
		// The drill ended because the screen did.
		return fmt.Errorf("screen: %w", err)
	}
	return drillErr
}

// Messages of the view's own.
type (
	offer   struct{ answer chan bool } // a second attempt is offered
	ended   struct{}                   // the drill has ended
	expired struct{ answer chan bool } // nobody took the offer

	guess     struct{ answer chan exercise.Outcome } // a guess is asked for
	unguessed struct{ answer chan exercise.Outcome } // nobody made one
)

type model struct {
	view   View
	louder func(float64) float64
	cancel context.CancelFunc
	offer  chan bool             // nil where no second attempt is offered
	guess  chan exercise.Outcome // nil where no guess is asked for
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
		return m, m.key(msg.String())
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
	case ended:
		return m, tea.Quit
	case session.Event:
		m.view.Event(msg)
	}
	return m, nil
}

func (m *model) key(name string) tea.Cmd {
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
	switch name {
	case "ctrl+c", "q":
		m.view.Ending = true
		m.cancel()
	case "r":
		m.reply(true)
	case "space", "enter", "n":
		m.reply(false)
	case "up", "+":
		m.view.Level = m.louder(3)
	case "down", "-":
		m.view.Level = m.louder(-3)
	}
	return nil
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
