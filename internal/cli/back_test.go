package cli

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"
)

// A device that has gone is looked for at once and then every second, until it is there,
// the singer has enough, or ten minutes are over.
func TestComesBack(t *testing.T) {
	gone := errors.New("no sound device: nobody answers")
	for _, c := range []struct {
		what  string
		there int // the look that finds it; 0: none does
		ends  int // the look after which the singer ends it; 0: none
		want  error
		looks int
	}{
		{"at once, as after sleep", 1, 0, nil, 1},
		{"after a while", 30, 0, nil, 30},
		{"never", 0, 0, gone, looksFor},
		{"the singer has enough", 0, 5, context.Canceled, 5},
	} {
		ctx, end := context.WithCancel(t.Context())
		defer end()
		looks, waited := 0, time.Duration(0)
		err := comesBack(ctx, func(ctx context.Context, d time.Duration) error { waited += d; return ctx.Err() }, func(context.Context) error {
			if looks++; looks == c.ends {
				end()
			}
			if looks == c.there {
				return nil
			}
			return gone
		})
		if !errors.Is(err, c.want) || looks != c.looks || waited != time.Duration(looks-1)*time.Second {
			t.Errorf("%s: %v after %d looks in %v, want %v after %d", c.what, err, looks, waited, c.want, c.looks)
		}
		if c.want == gone && !strings.Contains(err.Error(), "within 10 minutes") {
			t.Errorf("%s: %q", c.what, err)
		}
	}
}
