package tui

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"singback/internal/drill"
)

// A terminal that gives keys as they are typed needs no Enter, and is put back after
// each; elsewhere a key is the first letter of a line.
func TestKeysNeedNoEnter(t *testing.T) {
	for _, c := range []struct {
		name, typed string
		raw         bool
		want        []string
		end         error
	}{
		{"without Enter", "aPq", true, []string{"a", "p", "q"}, drill.ErrEnough},
		{"Enter as a terminal sends it", "\ra\r", true, []string{Enter, "a", Enter}, drill.ErrEnough},
		{"one Enter of two bytes", "\r\na", true, []string{Enter, "a"}, drill.ErrEnough},
		{"an arrow key is its letters, which nothing waits for", "\x1b[A", true, []string{"[", "a"}, drill.ErrEnough},
		{"Ctrl-C", "a\x03", true, []string{"a"}, context.Canceled},
		{"Ctrl-D", "a\x04b", true, []string{"a"}, drill.ErrEnough},
		{"with Enter", "a\n\nP \n", false, []string{"a", Enter, "p"}, drill.ErrEnough},
		{"the last line without its end", "q", false, []string{"q"}, drill.ErrEnough},
	} {
		raw, undone := 0, 0
		var change func() func()
		if c.raw {
			change = func() func() { raw++; return func() { undone++ } }
		}
		k := NewKeys(strings.NewReader(c.typed), change)
		for i, want := range c.want {
			got, err := k.Key(t.Context())
			if got != want || err != nil {
				t.Errorf("%s: key %d is %q, %v; want %q", c.name, i+1, got, err, want)
			}
		}
		if got, err := k.Key(t.Context()); !errors.Is(err, c.end) {
			t.Errorf("%s: after the last key %q, %v; want %v", c.name, got, err, c.end)
		}
		if raw != undone || c.raw && raw != len(c.want)+1 {
			t.Errorf("%s: the terminal was changed %d times and put back %d times", c.name, raw, undone)
		}
	}
	// Waiting ends with its context.
	in, keep := io.Pipe()
	defer keep.Close()
	k := NewKeys(in, func() func() { return func() {} })
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := k.Key(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}
