// Package cli is the command line: one file per command, and the place where
// the real clock, seed, streams and devices are chosen.
//
// Results go to standard output, prompts and messages to standard error. The
// exit status is 0 when the command did what it was asked to, 1 when it
// failed, 2 when it was called wrongly.
//
// A profile fits the run, flags come first. What is music (range, A4) holds for every
// source; the noise gate is a microphone's, so a recording has it only where --profile
// names the singer. A profile nobody asked for never stops a run. What calibrate found
// is kept in one step at its end and merged with the profile before; without the noise
// of a room there is no room, so level and delay alone are kept only beside an older
// one.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"singback/internal/device"
	"singback/internal/drill"
	"singback/internal/fold"
	"singback/internal/help"
	"singback/internal/page"
	"singback/internal/plain"
	"singback/internal/store"
)

// Main runs the command line and returns the exit status.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if device.ServeProbe(args, stdout) {
		return exitDone
	}
	return run(context.Background(), outside(stdin, stdout, stderr), args)
}

// outside is the real world: the process's environment, the computer's clock.
func outside(stdin io.Reader, stdout, stderr io.Writer) *env {
	e := &env{
		stdin: stdin, stdout: stdout, stderr: stderr,
		getenv:   os.Getenv,
		terminal: isTerminal,
		seed:     func() uint64 { return rand.Uint64N(1_000_000) },
		wait:     wait,
		now:      time.Now,
		raw:      rawKeys,
		columns:  columns(stdout, stderr),
		browse:   browse,
		site:     page.Embedded,

		interruptible: interruptible,
	}
	if isTerminal(stdout) {
		e.folded = fold.NewWriter(stdout, e.columns)
		e.stdout = e.folded
	}
	if isTerminal(stderr) {
		e.stderr = fold.NewWriter(stderr, e.columns)
	}
	return e
}

// interruptible returns a context that an interrupt ends, and whatever else ends
// a program from outside: the terminal is to be as it was, and what was sung kept.
// A second interrupt ends the program at once; a terminal that has gone says so
// more than once.
func interruptible(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(ctx)
	got := make(chan os.Signal, 1)
	for _, s := range []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
		if !signal.Ignored(s) { // as by nohup
			signal.Notify(got, s)
		}
	}
	go func() {
		select {
		case <-got:
			cancel()
		case <-ctx.Done():
		}
		signal.Reset(os.Interrupt, syscall.SIGTERM)
	}()
	return ctx, cancel
}

const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

// env is what commands know of the world outside.
type env struct {
	stdin          io.Reader
	stdout, stderr io.Writer // for text: within run a [plain.Writer] stands before each
	getenv         func(string) string
	terminal       func(any) bool
	seed           func() uint64
	wait           func(context.Context, time.Duration) error
	now            func() time.Time        // nil: the computer's clock
	raw            func(any) (undo func()) // a terminal gives keys as they are typed; nil: with Enter
	columns        func() int              // how wide the terminal is, 0 where that is not known; nil: 80
	folded         *fold.Writer            // stdout, where it is a terminal
	browse         func(address string) error
	site           func() (*page.Site, error) // the page that can be opened
	way            http.RoundTripper          // to other computers; nil: the network

	// interruptible is for commands that have something to say when they are
	// interrupted. The others end at once, even while they wait for a pipe.
	interruptible func(context.Context) (context.Context, context.CancelFunc)
}

// clock returns the time of day.
func (e *env) clock() time.Time {
	if e.now == nil {
		return time.Now()
	}
	return e.now()
}

// usageError is an error in how the program was called.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// usage marks an error as one of usage; nil stays nil.
func usage(err error) error {
	if err == nil {
		return nil
	}
	return usageError{err}
}

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// plain returns the environment in which what is printed is text, whatever names,
// titles and files make of it.
func (e *env) plain() (inside *env, flush func()) {
	own := *e
	stdout, stderr := plain.NewWriter(e.stdout), plain.NewWriter(e.stderr)
	own.stdout, own.stderr = stdout, stderr
	own.terminal = func(stream any) bool {
		if w, ok := stream.(io.Writer); ok {
			stream = plain.Around(w)
		}
		return e.terminal(stream)
	}
	return &own, func() {
		stdout.Flush() // an error was told by what was written before
		stderr.Flush()
	}
}

// data is where goes to standard output what another program reads back to the
// byte. On a terminal it is text like all the rest.
func (e *env) data() io.Writer {
	if e.terminal(e.stdout) {
		return e.stdout
	}
	return plain.Around(e.stdout)
}

func run(ctx context.Context, e *env, args []string) int {
	e, flush := e.plain()
	defer flush()
	if len(args) > 0 && strings.HasPrefix(args[0], cobra.ShellCompRequestCmd) {
		completing.Add(1)
		defer completing.Add(-1)
	}
	root := newRoot(e)
	root.SetArgs(args)
	root.SetIn(e.stdin)
	root.SetOut(e.stdout)
	root.SetErr(e.stderr)
	cmd, err := root.ExecuteContextC(ctx)
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, syscall.EPIPE):
		return exitFailed // whoever read the output has gone; there is nobody to tell
	}
	if !cmd.HasParent() && len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		err = noArgs(cmd, args[:1]) // whatever is wrong with the flags of a command that does not exist
	}
	line := strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; ")
	if errors.Is(err, context.Canceled) {
		line = "interrupted"
	}
	var u usageError
	var w drill.Wrong
	if errors.As(err, &u) || errors.As(err, &w) {
		fmt.Fprintf(e.stderr, "%s: %s (see %s --help)\n", cmd.CommandPath(), line, cmd.CommandPath())
		return exitUsage
	}
	for _, hint := range []string{device.Hint(err, cmd.Name() == "devices"), store.RecordHint(err)} {
		if hint != "" {
			line += "; " + hint
		}
	}
	fmt.Fprintf(e.stderr, "%s: %s\n", cmd.CommandPath(), line)
	return exitFailed
}

func newRoot(e *env) *cobra.Command {
	root := &cobra.Command{
		Use:   "singback",
		Short: "Sing a degree of a key and hear to the cent what you sang",
		Long: `singback sets a key in your ear, asks for a degree of it, listens, and says to
the cent what you sang. Without a command it starts today's practice, like
singback today. It works offline, keeps no sound unless asked, sends nothing by
itself.

Sing at ease: stop if it hurts, feels tight or turns hoarse. Start quiet with
headphones. This is no medical advice; a voice teacher or clinician decides.

The handbook comes with the program: singback help lists its topics.

Exit status: 0 done, 1 failed, 2 wrong usage.`,
		Example: `  singback
  singback sing --key "Ab major" --degrees "do mi sol" --count 6`,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			today := newToday(e)
			today.SetContext(cmd.Context())
			return today.RunE(today, nil)
		},

		SuggestionsMinimumDistance: 2,
	}
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		if name, ok := strings.CutPrefix(err.Error(), "unknown flag: --"); ok {
			return drill.NoFlag(name, shownFlags(cmd))
		}
		return usage(drill.InWords(err))
	})
	root.AddCommand(
		newToday(e), newSing(e), newPage(e), newProgress(e), newRecord(e), newCourse(e), newClass(e), newCalibrate(e), newProfile(e),
		newSeries(e), newEcho(e), newDictation(e), newMelody(e), newParts(e), newGrade(e), newJudge(e), newTrace(e), newNotes(e),
		newKey(e), newRename(e), newFindKey(e), newCadence(e), newBetween(e), newDeduce(e), newFollow(e), newHandIn(e), newDevices(e), newDoctor(e),
	)
	addBuiltIns(root, e)
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) {
		if e.folded != nil {
			e.folded.Off(!isText(cmd))
		}
	}
	width := e.width(e.stdout)
	root.SetUsageTemplate(fmt.Sprintf(usageTemplate, width))
	fitHelp(root, width)
	return root
}

// shownFlags are the flags of a command that its help shows.
func shownFlags(cmd *cobra.Command) (names []string) {
	for _, group := range flagGroups {
		for _, name := range group.names {
			if f := cmd.Flags().Lookup(name); f != nil && !f.Hidden {
				names = append(names, name)
			}
		}
	}
	return names
}

// addBuiltIns adds the commands that cobra brings along, with the manners of
// the others: a worked example, and exit status 2 for wrong usage.
func addBuiltIns(root *cobra.Command, e *env) {
	root.SetOut(e.stdout) // the scripts for completion go where it points to now
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd("completion")
	for _, c := range root.Commands() {
		switch c.Name() {
		case "help":
			addTopics(c, root, e)
		case "completion":
			c.Example = "  source <(singback completion bash)"
			c.Annotations = map[string]string{asData: ""}
			c.Args, c.RunE = noArgs, func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
			c.SuggestionsMinimumDistance = 2
			for _, shell := range c.Commands() {
				shell.Args = noArgs
			}
		}
	}
}

// noArgs refuses arguments, and names the command that may have been meant.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if cmd.HasSubCommands() {
		meant := cmd.SuggestionsFor(args[0])
		if t, ok := help.Find(args[0]); ok && len(meant) == 0 && !cmd.HasParent() {
			return usagef("there is no command %q; there is a topic of that name: singback help %s", short(args[0]), t.Name)
		}
		return drill.NoCommand(args[0], meant...)
	}
	return usagef("%q is one word too many", short(args[0]))
}

// oneArg wants exactly one argument, called what.
func oneArg(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		switch len(args) {
		case 0:
			return usagef("%s is missing", what)
		case 1:
			return nil
		}
		return usagef("%d arguments given, want one: %s", len(args), what)
	}
}

// short cuts what a user typed to a length that fits into a message.
func short(s string) string { return plain.Short(s) }

// format is the value of a --format flag.
type format struct {
	value   string
	allowed []string
}

func newFormat(allowed ...string) *format { return &format{allowed[0], allowed} }

func (f *format) String() string { return f.value }
func (f *format) Type() string   { return strings.Join(f.allowed, "|") }
func (f *format) Set(s string) error {
	for _, a := range f.allowed {
		if s == a {
			f.value = s
			return nil
		}
	}
	return fmt.Errorf("want %s", strings.Join(f.allowed, " or "))
}

func (f *format) complete(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return f.allowed, cobra.ShellCompDirectiveNoFileComp
}

// isTerminal reports whether a stream is a terminal that can move its cursor.
func isTerminal(stream any) bool {
	if w, ok := stream.(io.Writer); ok {
		stream = fold.Under(w)
	}
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// rawKeys has a terminal give keys as they are typed, until undo is called; undo is
// nil where that cannot be.
func rawKeys(stream any) (undo func()) {
	f, ok := stream.(*os.File)
	if !ok {
		return nil
	}
	before, err := term.MakeRaw(int(f.Fd()))
	if err != nil {
		return nil
	}
	return func() { _ = term.Restore(int(f.Fd()), before) }
}

// columns returns what says how many columns the first of the streams that is a
// terminal has; 0 where that is not known.
func columns(streams ...io.Writer) func() int {
	return func() int {
		for _, stream := range streams {
			if f, ok := stream.(*os.File); ok {
				if width, _, err := term.GetSize(int(f.Fd())); err == nil {
					return width
				}
			}
		}
		return 0
	}
}

// width is how many columns may be written to a stream: those of a terminal, else 80.
func (e *env) width(stream any) int {
	if e.columns != nil && e.terminal(stream) {
		if n := e.columns(); n > 0 {
			return n
		}
	}
	return 80
}

// ascii reports whether the user's locale cannot show musical signs.
func (e *env) ascii() bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if v := e.getenv(name); v != "" {
			v = strings.ToLower(v)
			return !strings.Contains(v, "utf-8") && !strings.Contains(v, "utf8")
		}
	}
	return true
}

// wait waits for d, or less if ctx ends.
func wait(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
