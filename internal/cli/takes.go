package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/newfile"
	"singback/internal/review"
)

// takes runs a command that turns each recording into a file of its own: to
// standard output for one recording, beside each other into a folder for
// several.
type takes struct {
	rec recording
	out string

	force bool
}

func (t *takes) addFlags(cmd *cobra.Command) {
	t.rec.addFlags(cmd)
	addOut(cmd, &t.out, &t.force, "FOLDER", ", a file for each recording")
}

// manyArgs wants at least one argument, called what.
func manyArgs(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return usagef("%s is missing", what)
		}
		return nil
	}
}

// run calls write for every recording, those in a folder in the order of their
// names. With a folder, as many at once as there
// are processors; a recording that fails is reported on its own line, the rest
// go on, and the command fails in the end. A file appears in the folder only
// when it is complete.
func (t *takes) run(ctx context.Context, e *env, paths []string, extension string, write func(context.Context, io.Writer, audio.Source) error) error {
	paths, err := spread(e, paths)
	if err != nil {
		return err
	}
	if t.out == "" {
		if len(paths) > 1 {
			return usagef("%d recordings given: say with --out FOLDER where their files should go", len(paths))
		}
		w := bufio.NewWriterSize(e.stdout, 1<<16)
		err := t.one(ctx, e, w, paths[0], write)
		return errors.Join(err, w.Flush())
	}
	names := map[string]string{}
	for _, path := range paths {
		name := t.name(path, extension)
		if other, taken := names[name]; taken {
			return usagef("%s and %s would both be written to %s: give one of them another name", other, path, name)
		}
		names[name] = path
	}
	if err := os.MkdirAll(t.out, 0o777); err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	for _, path := range paths {
		if err := newfile.Check(filepath.Join(t.out, t.name(path, extension)), t.force); err != nil {
			return fmt.Errorf("--out: %w", err)
		}
	}
	var failed []error
	err = review.Each(ctx, len(paths), func(ctx context.Context, i int) (struct{}, error) {
		return struct{}{}, t.file(ctx, e, paths[i], filepath.Join(t.out, t.name(paths[i], extension)), write)
	}, func(_ int, _ struct{}, err error) error {
		if err != nil {
			failed = append(failed, err)
		}
		return nil
	})
	switch {
	case err != nil:
		return err
	case len(failed) <= 1:
		return errors.Join(failed...)
	}
	for _, err := range failed {
		fmt.Fprintln(e.stderr, err)
	}
	return fmt.Errorf("%d of %d recordings could not be read", len(failed), len(paths))
}

// name is what the file of a recording is called.
func (t *takes) name(path, extension string) string {
	if path == "-" {
		return "stdin." + extension
	}
	base := filepath.Base(path)
	return strings.TrimSuffix(base, filepath.Ext(base)) + "." + extension
}

// file writes the file of one recording.
func (t *takes) file(ctx context.Context, e *env, path, to string, write func(context.Context, io.Writer, audio.Source) error) error {
	return e.writeFile(to, t.force, newfile.ForAll, func(f io.Writer) error {
		w := bufio.NewWriterSize(f, 1<<16)
		return errors.Join(t.one(ctx, e, w, path, write), w.Flush())
	})
}

// one writes what one recording comes to.
func (t *takes) one(ctx context.Context, e *env, w io.Writer, path string, write func(context.Context, io.Writer, audio.Source) error) error {
	src, err := t.rec.open(e, path)
	if err != nil {
		return err
	}
	defer src.Close()
	if err := write(ctx, w, src); err != nil {
		return err
	}
	t.rec.warn(e, path, src)
	return nil
}

// spread replaces folders and zips among paths by the recordings in them: see
// [review.Spread].
func spread(e *env, paths []string, but ...string) ([]string, error) {
	return review.Spread(paths, func(folder string, names []string) {
		fmt.Fprintf(e.stderr, "%s: passed over %s.\n", folder, listed(names))
	}, but...)
}

// listed names some things, and says how many more there are.
func listed(names []string) string {
	const most = 5
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}
