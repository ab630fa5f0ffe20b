package cli

import (
	"context"
	"fmt"
	"time"
)

// A sound device that has gone silent is looked for this often, and this many times: for
// some ten minutes, in which a cable is found and a sound server started, and not for
// ever, since nobody may be there.
const (
	looksEvery = time.Second
	looksFor   = 600
)

// comesBack waits until reopen succeeds. The first look is at once: a busy machine, or
// one that slept, has its device all along.
func comesBack(ctx context.Context, wait func(context.Context, time.Duration) error, reopen func(context.Context) error) error {
	for look := 1; ; look++ {
		err := reopen(ctx)
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case look == looksFor:
			return fmt.Errorf("it did not come back within %.0f minutes: %w", (looksFor * looksEvery).Minutes(), err)
		}
		if err := wait(ctx, looksEvery); err != nil {
			return err
		}
	}
}
