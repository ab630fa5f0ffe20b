//go:build !unix

package tui

import (
	"context"

	tea "charm.land/bubbletea/v2"
)

// Nothing is stopped and goes on here.
func stopJob() error { return nil }

func watchStops(context.Context, *tea.Program) {}
