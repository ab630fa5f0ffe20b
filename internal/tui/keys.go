package tui

import (
	"context"
	"io"
	"strings"
	"sync"

	"singback/internal/drill"
)

// Keys gives what is typed: whole lines, or single keys, which a terminal gives
// without Enter.
type Keys struct {
	once  sync.Once
	in    io.Reader
	raw   func() (undo func()) // makes keys come as they are typed, until undo; nil where they do not
	bytes chan byte
	after bool // the last key was a carriage return, which a line feed may follow
}

// Enter is the key of that name.
const Enter = "\n"

// What Ctrl-C and Ctrl-D send where the terminal does not act on them.
const (
	interrupt = 3
	endOfText = 4
)

// NewKeys returns what is typed into in. Raw, where it is not nil, makes keys come as
// they are typed, until undo is called; undo is nil where that cannot be.
func NewKeys(in io.Reader, raw func() (undo func())) *Keys {
	return &Keys{in: in, raw: raw, bytes: make(chan byte)}
}

// next returns the next byte that was typed.
func (k *Keys) next(ctx context.Context) (byte, error) {
	k.once.Do(func() {
		go func() {
			defer close(k.bytes)
			buf := make([]byte, 256)
			for {
				n, err := k.in.Read(buf)
				for _, b := range buf[:n] {
					k.bytes <- b
				}
				if err != nil {
					return
				}
			}
		}()
	})
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case b, ok := <-k.bytes:
		if !ok {
			return 0, drill.ErrEnough // the input has ended
		}
		return b, nil
	}
}

// Key returns the next key, in lower case; what is no letter, mark or Enter is
// passed over. Where keys do not come as they are typed it is the first of the next
// line, or Enter. Otherwise Ctrl-C and Ctrl-D end the run.
func (k *Keys) Key(ctx context.Context) (string, error) {
	var undo func()
	if k.raw != nil {
		undo = k.raw()
	}
	if undo == nil {
		line, err := k.Line(ctx)
		return strings.ToLower(line[:min(1, len(line))]) + Enter[min(1, len(line)):], err
	}
	defer undo()
	for {
		b, err := k.next(ctx)
		if err != nil {
			return "", err
		}
		after := k.after
		k.after = b == '\r'
		switch {
		case b == interrupt:
			return "", context.Canceled
		case b == endOfText:
			return "", drill.ErrEnough
		case b == '\r', b == '\n' && !after:
			return Enter, nil
		case b > ' ' && b < 127:
			return strings.ToLower(string(rune(b))), nil
		}
	}
}

// Line returns the next line without blanks around it.
func (k *Keys) Line(ctx context.Context) (string, error) {
	var line []byte
	for {
		b, err := k.next(ctx)
		if err != nil && (len(line) == 0 || ctx.Err() != nil) {
			return "", err
		}
		if err != nil || b == '\n' { // the last line may lack its end
			return strings.TrimSpace(string(line)), nil
		}
		if len(line) < maxKeyLine {
			line = append(line, b)
		}
	}
}

// maxKeyLine is how much of a typed line is read.
const maxKeyLine = 1 << 12
