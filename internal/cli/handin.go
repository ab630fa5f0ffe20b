package cli

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"singback/internal/handin"
	"singback/internal/newfile"
	"singback/internal/report"
	"singback/internal/store"
)

// handInOptions are the flags of hand-in.
type handInOptions struct {
	record   recordOptions
	way      wayOptions
	practice bool
	as       string
	yes      bool
	format   *format
}

// wayOptions are the flags about a folder on a server, and who enters it.
type wayOptions struct {
	user         string
	passwordFile string
	withoutTLS   bool
}

func (o *wayOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.user, "user", "", "enter the folder by this `NAME`")
	f.StringVar(&o.passwordFile, "password-file", "", "the password is the first line of this `FILE`")
	f.BoolVar(&o.withoutTLS, "without-tls", false, "speak http to another computer, where anybody on the way can read it all")
	completed(cmd, "user", fixed())
}

// refused is the error of an address that is none; it names the flag that lets it be, where
// there is one.
func (o *wayOptions) refused(flag, address string, err error) error {
	if !o.withoutTLS {
		if _, with := handin.ParseAddress(address, true); with == nil {
			return usagef("%s: %w (--without-tls is for a network of your own)", flag, err)
		}
	}
	return usagef("%s: %w", flag, err)
}

// passwordVariable is the variable of the environment that may hold the password.
const passwordVariable = "SINGBACK_PASSWORD"

func newHandIn(e *env) *cobra.Command {
	o := &handInOptions{format: newFormat("text", "json")}
	var address string
	cmd := &cobra.Command{
		Use:   "hand-in [FILE ...]",
		Short: "Send takes, or your record of practice, to your teacher's folder",
		Long: `Hand-in sends files to a folder on a server that your teacher names: a WebDAV
folder, as schools' clouds have them. It says what it will send, how much of it and
where to, and asks first; --yes answers for you. Without an address nothing leaves
this computer, and none is kept.

With --practice your record of practice is sent, as singback record export writes it:
your own answers, nobody else's.

Your teacher's program knows whose a file is, and for which task, by words in its name:
--as "Anna scale 2" puts them before each name there.

What has arrived is not sent again: if the connection breaks, or you stop it, give
the same command once more. A file of the same name and other content stays as it
is there; yours gets a number. A large file lies there in pieces, which
singback class collect joins.

The password is asked for, and not shown; or it is in SINGBACK_PASSWORD, or the
first line of --password-file. It is never in an address, and kept nowhere.

Send only what is yours, or what all who are heard, and the parents of minors, have
agreed to. The rules of your school come first. See singback help handin.`,
		Example: `  singback hand-in take.wav --address https://example.org/dav/class/ --yes
  singback hand-in --practice --singer Anna --address https://example.org/dav/class/ --yes`,
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, address, args) },
	}
	cmd.Flags().StringVar(&address, "address", "", "the `URL` of the folder")
	cmd.Flags().BoolVar(&o.practice, "practice", false, "send your record of practice")
	cmd.Flags().StringVar(&o.as, "as", "", "begin each name there with these `WORDS`: who you are, which task it is")
	cmd.Flags().BoolVar(&o.yes, "yes", false, "do not ask")
	o.way.addFlags(cmd)
	o.record.addFile(cmd)
	o.record.addSinger(cmd, "")
	addFormat(cmd, o.format)
	completed(cmd, "address", fixed())
	return cmd
}

// handed is a file that is handed in.
type handed struct {
	path string // as the user named it
	name string // in the folder
	what string // "" or what it is
	file *os.File
	size int64
}

func (o *handInOptions) run(cmd *cobra.Command, e *env, address string, args []string) error {
	if err := o.check(cmd, e, address, args); err != nil {
		return err
	}
	to, err := handin.ParseAddress(address, o.way.withoutTLS)
	if err != nil {
		return o.way.refused("--address", address, err)
	}
	files, err := o.files(cmd, e, args)
	defer func() {
		for _, f := range files {
			f.file.Close()
		}
	}()
	if err != nil {
		return err
	}
	if err := o.ask(e, to, files); err != nil {
		return err
	}
	ctx, stop := e.interruptible(cmd.Context())
	defer stop()
	folder, err := o.way.enter(ctx, e, to)
	if err != nil {
		return stopped(err)
	}
	for i, f := range files {
		got, err := folder.Send(ctx, f.name, f.file, f.size, e.progress())
		if err != nil {
			if left := len(files) - i - 1; left > 0 {
				return fmt.Errorf("%s: %w; %s not sent", short(f.path), stopped(err), many(left, "more file"))
			}
			return fmt.Errorf("%s: %w", short(f.path), stopped(err))
		}
		r := report.HandedIn{Schema: report.Schema, File: f.path, Name: got.Name, Size: got.Size, Pieces: got.Pieces, There: got.There, Compared: got.Read}
		if o.format.value == "json" {
			err = e.printJSON(r)
		} else {
			err = e.print(r.Text())
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// stopped is an error that says what was interrupted, and not only that it was.
func stopped(err error) error {
	var part *handin.Interrupted
	switch {
	case errors.Is(err, context.Canceled) && errors.As(err, &part):
		return errors.New(part.Error())
	case errors.Is(err, context.Canceled):
		return errors.New("stopped; the same again goes on from there")
	}
	return err
}

func (o *handInOptions) check(cmd *cobra.Command, e *env, address string, args []string) error {
	changed := cmd.Flags().Changed
	switch {
	case address == "":
		return usagef("--address: want the URL of the folder that your teacher has named, like https://example.org/dav/class/")
	case len(args) == 0 && !o.practice:
		return usagef("want files to send, or --practice for your record of practice")
	case !o.practice && (changed("singer") || changed("record")):
		return usagef("--singer, --record: they say whose practice is sent, with --practice")
	case !o.yes && !e.terminal(e.stdin):
		return usagef("nobody can be asked here: --yes sends what is named")
	}
	return nil
}

// files opens what is sent, before anything is.
func (o *handInOptions) files(cmd *cobra.Command, e *env, args []string) (list []handed, err error) {
	if o.practice {
		f, err := o.exported(cmd, e)
		if err != nil {
			return nil, err
		}
		list = append(list, f)
	}
	for _, path := range args {
		f, err := os.Open(path)
		if err != nil {
			return list, newfile.PathError(path, err)
		}
		list = append(list, handed{path: path, name: o.name(filepath.Base(path)), file: f})
		info, err := f.Stat()
		switch {
		case err != nil:
			return list, newfile.PathError(path, err)
		case info.IsDir():
			return list, fmt.Errorf("%s: it is a folder; want its files, like %s", path, filepath.Join(path, "*.wav"))
		case !info.Mode().IsRegular():
			return list, fmt.Errorf("%s: it is no file on disk; want one", path)
		}
		list[len(list)-1].size = info.Size()
	}
	return list, nil
}

// name is what a file is called in the folder.
func (o *handInOptions) name(file string) string {
	file = handin.SafeName(file)
	if words := strings.Join(strings.Fields(o.as), " "); words != "" {
		file = handin.SafeName(strings.NewReplacer("/", "-", `\`, "-").Replace(words) + " " + file)
	}
	return file
}

// exported is the record of practice of one singer as a file that goes with the program.
func (o *handInOptions) exported(cmd *cobra.Command, e *env) (handed, error) {
	if err := o.record.whose(cmd, e); err != nil {
		return handed{}, err
	}
	from, _, err := o.record.source(cmd, e, false)
	if err != nil {
		return handed{}, err
	}
	defer from.Close()
	f, err := os.CreateTemp("", "singback-*.csv") // for its owner alone
	if err != nil {
		return handed{}, err
	}
	// Gone when it is closed, also where the program is killed; not on every system.
	name := f.Name()
	if runtime.GOOS != "windows" {
		os.Remove(name)
	}
	n, err := from.Export(cmd.Context(), f, store.CSV, o.record.singer)
	info, bad := f.Stat()
	if err = errors.Join(err, bad); err != nil {
		f.Close()
		return handed{}, err
	}
	return handed{
		path: "record of practice", name: o.name(fmt.Sprintf("practice-%s-%s.csv", o.record.singer, e.clock().Format(time.DateOnly))),
		what: fmt.Sprintf(", %s of %s", many(n, "answer"), short(o.record.singer)), file: f, size: info.Size(),
	}, nil
}

// ask says what is sent and where to, and asks whether it may.
func (o *handInOptions) ask(e *env, to handin.Address, files []handed) error {
	var b strings.Builder
	fmt.Fprintf(&b, "To %s go:\n", to)
	for _, f := range files {
		fmt.Fprintf(&b, "  %s (%s%s)\n", short(f.name), report.Bytes(f.size), f.what)
	}
	fmt.Fprint(e.stderr, b.String())
	if o.yes {
		return nil
	}
	answer, err := e.answer("Send it? y/n ")
	switch {
	case err != nil:
		return err
	case !strings.EqualFold(answer, "y") && !strings.EqualFold(answer, "yes"):
		return errors.New("nothing was sent")
	}
	return nil
}

// enter finds out who enters the folder, and sees that it lets one in. A password is
// asked for only where somebody can answer.
func (o *wayOptions) enter(ctx context.Context, e *env, to handin.Address) (*handin.Folder, error) {
	to.User = cmp.Or(o.user, to.User)
	password, given, err := o.password(e)
	if err != nil {
		return nil, err
	}
	to.Password = password
	if to.User != "" && !given {
		if to.Password, err = e.hidden(ctx, fmt.Sprintf("Password of %s at %s: ", short(to.User), to.Host())); err != nil {
			return nil, err
		}
	}
	folder := handin.Through(to, e.way)
	err = folder.Check(ctx)
	var t *handin.Trouble
	if to.User == "" && errors.As(err, &t) && t.Kind == handin.Password {
		if !e.terminal(e.stdin) {
			return nil, fmt.Errorf("%w: --user says by which name, %s or --password-file has the password", err, passwordVariable)
		}
		if to.User, err = e.shown(ctx, fmt.Sprintf("Name at %s: ", to.Host())); err != nil || to.User == "" {
			return nil, cmp.Or(err, errors.New("nothing was sent"))
		}
		if !given {
			if to.Password, err = e.hidden(ctx, "Password: "); err != nil {
				return nil, err
			}
		}
		folder = handin.Through(to, e.way)
		err = folder.Check(ctx)
	}
	return folder, err
}

// password reads the password where it was not asked for.
func (o *wayOptions) password(e *env) (password string, given bool, err error) {
	if o.passwordFile == "" {
		password = e.getenv(passwordVariable)
		return password, password != "", nil
	}
	b, err := e.readUpTo(o.passwordFile, 1<<20, "a password in its first line")
	if err != nil {
		return "", false, fmt.Errorf("--password-file: %w", err)
	}
	if info, err := os.Stat(o.passwordFile); err == nil && info.Mode().IsRegular() && info.Mode().Perm()&0o044 != 0 && runtime.GOOS != "windows" {
		fmt.Fprintf(e.stderr, "Note: others on this computer can read %s; chmod 600 makes it yours alone.\n", short(o.passwordFile))
	}
	line, _ := bufio.NewReader(bytes.NewReader(b)).ReadString('\n')
	if password = strings.TrimRight(line, "\r\n"); password == "" {
		return "", false, fmt.Errorf("--password-file: %s: its first line is empty", short(o.passwordFile))
	}
	return password, true, nil
}

// shown asks for what is typed, unless it is interrupted.
func (e *env) shown(ctx context.Context, question string) (string, error) {
	return typedOr(ctx, func() (string, error) { return e.answer(question) })
}

// hidden asks for what is typed and not shown. The terminal is as it was in the end, also
// where it is interrupted.
func (e *env) hidden(ctx context.Context, question string) (string, error) {
	f, ok := e.stdin.(*os.File)
	if !ok || !e.terminal(e.stdin) {
		return "", fmt.Errorf("nobody can be asked for the password here: %s or --password-file has it", passwordVariable)
	}
	before, err := term.GetState(int(f.Fd()))
	if err != nil {
		return "", err
	}
	fmt.Fprint(e.stderr, question)
	text, err := typedOr(ctx, func() (string, error) {
		text, err := term.ReadPassword(int(f.Fd()))
		return string(text), err
	})
	_ = term.Restore(int(f.Fd()), before)
	fmt.Fprintln(e.stderr)
	if errors.Is(err, io.EOF) {
		err = errors.New("no password was typed: nothing was sent")
	}
	return text, err
}

// typedOr waits for what is typed, or for an interrupt.
func typedOr(ctx context.Context, read func() (string, error)) (string, error) {
	type typed struct {
		text string
		err  error
	}
	done := make(chan typed, 1)
	go func() {
		text, err := read()
		done <- typed{text, err}
	}()
	select {
	case got := <-done:
		return got.text, got.err
	case <-ctx.Done():
		return "", errors.New("stopped: nothing was sent")
	}
}

// progress says on standard error how a file fares: what is waited for, and, on a
// terminal, each tenth of a large one.
func (e *env) progress() func(handin.Progress) {
	const large = 4 << 20
	last := map[string]int64{}
	return func(p handin.Progress) {
		if p.Err != nil {
			fmt.Fprintf(e.stderr, "%v; again in %v.\n", p.Err, p.Wait)
			return
		}
		if p.Total <= large || !e.terminal(e.stderr) {
			return
		}
		if tenth := p.Done * 10 / p.Total; tenth > last[p.Name] {
			last[p.Name] = tenth
			fmt.Fprintf(e.stderr, "%s: %s of %s\n", short(p.Name), report.Bytes(p.Done), report.Bytes(p.Total))
		}
	}
}
