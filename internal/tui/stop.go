package tui

import (
	"io"
	"time"

	tea "charm.land/bubbletea/v2"
)

// wentOn says that the program goes on after a stop: the terminal is not what the
// screen left there.
type wentOn struct{}

// away is what happens while the terminal is given back, as a command is run.
type away func() error

func (a away) Run() error        { return a() }
func (away) SetStdin(io.Reader)  {}
func (away) SetStdout(io.Writer) {}
func (away) SetStderr(io.Writer) {}

// settle is how long the terminal is away at least. The library's renderer stops
// its ticker beside what goes on: begun anew before that, it would stand still.
// It is also how long a stop may take to be in force.
const settle = 50 * time.Millisecond

// giveBack gives the terminal back while something happens, and draws the screen
// anew.
func giveBack(what func() error) tea.Cmd {
	return tea.Exec(away(func() error {
		err := what()
		time.Sleep(settle)
		return err
	}), nil)
}
