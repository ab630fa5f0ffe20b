package cli

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"singback/exercise/practice"
	"singback/internal/kept"
	"singback/internal/store"
	"singback/internal/xapi"
)

// accountOptions are the flags that say by which account statements are written.
type accountOptions struct{ by xapi.Account }

func (o *accountOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.by.Name, "actor", "", "who answers in statements, by this `NAME` (else the singer's)")
	f.StringVar(&o.by.HomePage, "home-page", "", "who gave out the names in statements, as a `URL` (else "+xapi.HomePage+")")
	completed(cmd, "actor", fixed())
	completed(cmd, "home-page", fixed())
}

// check refuses what cannot be meant of them; asked tells that statements are.
func (o *accountOptions) check(cmd *cobra.Command, asked bool) error {
	for _, name := range []string{"actor", "home-page"} {
		switch {
		case cmd.Flags().Changed(name) && !asked:
			return usagef("--%s: it is for --format xapi", name)
		case cmd.Flags().Changed(name) && cmd.Flags().Lookup(name).Value.String() == "":
			return usagef("--%s: want one, or leave it out", name)
		}
	}
	if o.by.HomePage != "" {
		if err := o.by.Check(); err != nil {
			return usagef("--home-page: %w", err)
		}
	}
	return nil
}

// statements is a record that is exported as statements.
type statements struct {
	exporter
	by xapi.Account
}

// Export writes the answers of a singer as statements; the format is of no matter.
func (s statements) Export(ctx context.Context, w io.Writer, _ store.Format, singer string) (n int, err error) {
	out, in := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		_, err := s.exporter.Export(ctx, in, store.JSONLines, singer)
		in.CloseWithError(err)
		ended <- err
	}()
	to := xapi.NewWriter(w, s.by)
	none := &firstByte{in: out}
	err = kept.ReadRows(none, func(r *kept.Row, _ practice.Answer) error { return to.Add(r) })
	if !none.any && none.ended {
		err = nil // of no answers there is nothing to read
	}
	out.CloseWithError(err)
	if failed := <-ended; failed != nil && !errors.Is(failed, io.ErrClosedPipe) && failed != err {
		return 0, failed
	}
	if err != nil {
		return 0, err
	}
	return to.Close()
}

// firstByte tells whether anything was read, and whether it ended well.
type firstByte struct {
	in         io.Reader
	any, ended bool
}

func (f *firstByte) Read(p []byte) (int, error) {
	n, err := f.in.Read(p)
	f.any = f.any || n > 0
	f.ended = f.ended || errors.Is(err, io.EOF)
	return n, err
}
