package drill

import (
	"errors"
	"fmt"
)

// Wrong is a mistake in the options of a drill: what was wrong, of which option, and
// what would be right.
type Wrong struct{ error }

// Unwrap returns the cause.
func (w Wrong) Unwrap() error { return w.error }

func wrongf(format string, args ...any) error { return Wrong{fmt.Errorf(format, args...)} }

// wrong marks an error as one of an option; nil stays nil.
func wrong(err error) error {
	if err == nil {
		return nil
	}
	return Wrong{err}
}

// ErrEnough ends a drill tidily: the singer has had enough.
var ErrEnough = errors.New("the singer has had enough")
