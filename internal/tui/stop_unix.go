//go:build unix

package tui

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	tea "charm.land/bubbletea/v2"
)

// stopJob stops the job that the program is in, as the terminal does. Where nobody
// would wake it (an orphaned process group, POSIX 2.4.3) the system takes no
// notice. The signal is not caught anywhere: once it were, it would not stop the
// program any more.
func stopJob() error {
	if signal.Ignored(syscall.SIGTSTP) {
		return nil // as a shell wants it that has no jobs
	}
	return syscall.Kill(0, syscall.SIGTSTP)
}

// watchStops tells the program when it goes on after a stop.
func watchStops(ctx context.Context, p *tea.Program) {
	goingOn := make(chan os.Signal, 1)
	signal.Notify(goingOn, syscall.SIGCONT)
	defer signal.Stop(goingOn)
	for {
		select {
		case <-ctx.Done():
			return
		case <-goingOn:
			p.Send(wentOn{})
		}
	}
}
