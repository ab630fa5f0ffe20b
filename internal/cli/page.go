package cli

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"

	"github.com/spf13/cobra"

	"singback/calib"
	"singback/internal/classfile"
	"singback/internal/course"
	"singback/internal/drill"
	"singback/internal/handin"
	"singback/internal/kept"
	"singback/internal/page"
	"singback/internal/page/engine"
	"singback/internal/store"
)

// pageOptions are the flags of page.
type pageOptions struct {
	record recordOptions
	singer singer
	course string
	noOpen bool
	port   int
	out    string
	force  bool
	class  string
	handIn string
	bare   bool
	to     handin.Address // of handIn
}

func newPage(e *env) *cobra.Command {
	o := &pageOptions{}
	cmd := &cobra.Command{
		Use:   "page [ADDRESS]",
		Short: "The same ear in a browser: open the page, or write it as files",
		Long: `Page opens singback in the browser, with the profile, the record and the course of
the terminal: an answer that is given there is in the same record before its
verdict is shown. Only this computer can reach it, at the address that is printed,
which has a key in it. No sound leaves the browser. Ctrl-C ends it.

ADDRESS is where it begins: the word of a drill or a screen, and its flags, like
"sing?key=Eb&count=5" or "today?minutes=5". Without it the page shows what is due.

With --out it is written into a folder instead, for a web server with HTTPS, or a
phone. There the record lives in the browser; Export and import, on the page, move
it. With --force an older page in that folder is replaced, and nothing else.

With --class FILE the teacher's desk stands beside it, at the address that is printed:
the table of the class, takes by doubt, what a mark rests on to be seen and heard, and
the keys for a verdict. See singback help desk.

With --hand-in the Record screen has a part that sends takes, or the record, to that
folder on a server, after asking; without it nothing leaves the machine. See singback
help handin.

While the page is open the terminal can record too, one of them at a time. See
singback help page.`,
		Example: `  singback page
  singback page "sing?key=Eb&degrees=la&count=5" --no-open
  singback page --out choir-page`,
		Args: upToOneArg("where the page begins, like \"sing?key=Eb\""),
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return slices.Concat(drill.Commands(), engine.Places), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.record.addFile(cmd)
	o.record.addSinger(cmd, "")
	o.singer.addFlag(cmd)
	f := cmd.Flags()
	f.StringVar(&o.course, "course", "", "the course in this `FILE` (else the built-in one; see singback course)")
	f.BoolVar(&o.noOpen, "no-open", false, "open no browser: print the address, and wait")
	f.IntVar(&o.port, "port", 0, "the `PORT` of this computer (else a free one)")
	f.StringVar(&o.class, "class", "", "the class is this `FILE`: open the teacher's desk of it")
	f.StringVar(&o.handIn, "hand-in", "", "the page hands in to the folder at this `URL`, when it is told to")
	f.BoolVar(&o.bare, "without-tls", false, "speak http to another computer, where anybody on the way can read it all")
	addOut(cmd, &o.out, &o.force, "FOLDER", ", as files for a web server")
	completed(cmd, "hand-in", fixed())
	must(cmd.MarkFlagFilename("course", "toml"))
	must(cmd.MarkFlagFilename("class", strings.TrimPrefix(classfile.Extension, ".")))
	completed(cmd, "profile", e.completeSingers)
	completed(cmd, "port", fixed())
	return cmd
}

func (o *pageOptions) run(cmd *cobra.Command, e *env, args []string) error {
	place := ""
	if len(args) > 0 {
		place = args[0]
	}
	if err := o.check(cmd, place); err != nil {
		return err
	}
	site, err := e.site()
	if err != nil {
		return err
	}
	if cmd.Flags().Changed("out") {
		return o.write(e, site)
	}
	home, err := o.home(cmd, e)
	if err != nil {
		return err
	}
	opened := home.page()
	if cmd.Flags().Changed("class") {
		if opened.Desk, err = deskOf(e, o.class); err != nil {
			return err
		}
	}
	return o.serve(cmd.Context(), e, site, opened, place)
}

// check refuses what cannot be meant.
func (o *pageOptions) check(cmd *cobra.Command, place string) error {
	changed := cmd.Flags().Changed
	if err := o.handingIn(changed); err != nil {
		return err
	}
	if changed("out") {
		for _, name := range []string{"no-open", "port", "singer", "profile", "record", "course", "class"} {
			if changed(name) {
				return usagef("--%s: it is for the page on this computer, and --out writes files for any", name)
			}
		}
		switch {
		case place != "":
			return usagef("%q: --out writes the whole page; an address is for the browser that opens it", short(place))
		case o.out == "" || o.out == "-":
			return usagef("--out: want the name of a folder")
		}
		return nil
	}
	if o.force {
		return usagef("--force: it is for --out FOLDER")
	}
	if o.port < 0 || o.port > 65535 {
		return usagef("--port: %d: want 1 to 65535, or 0 for a free one", o.port)
	}
	_, err := drill.ReadAddress(place, engine.Places...)
	return err
}

// handingIn settles where the page hands in.
func (o *pageOptions) handingIn(changed func(string) bool) (err error) {
	switch {
	case !changed("hand-in") && o.bare:
		return usagef("--without-tls: it is for --hand-in URL")
	case !changed("hand-in"):
		return nil
	}
	if o.to, err = handin.ParseAddress(o.handIn, o.bare); err != nil {
		return (&wayOptions{withoutTLS: o.bare}).refused("--hand-in", o.handIn, err)
	}
	if o.to.User != "" {
		return usagef("--hand-in: the page asks each one for a name; want an address without one")
	}
	return nil
}

// write writes the page into a folder.
func (o *pageOptions) write(e *env, site *page.Site) error {
	if o.to.Host() != "" {
		site = site.HandingIn(o.to.String(), o.to.Origin(), false)
		fmt.Fprintf(e.stderr, "The page hands in to %s, if that server lets pages of yours in: see singback help handin.\n", o.to)
	}
	done, err := site.WriteFolder(o.out, o.force)
	if err != nil {
		return fmt.Errorf("--out: %w", err)
	}
	if len(done.Left) > 0 {
		fmt.Fprintf(e.stderr, "Left alone, of an older page: %s.\n", strings.Join(done.Left, ", "))
	}
	if err := e.print(fmt.Sprintf("%s written to %s: %d bytes over the wire at the first visit.\n", many(done.Files, "file"), o.out, done.Bytes)); err != nil {
		return err
	}
	fmt.Fprintln(e.stderr, "The server needs HTTPS, for the microphone; on localhost it works without.")
	return nil
}

// serve opens the page on this computer, until it is interrupted.
func (o *pageOptions) serve(ctx context.Context, e *env, site *page.Site, home page.Home, place string) error {
	ctx, stop := e.interruptible(ctx)
	defer stop()
	l, port, err := page.Listen(o.port)
	if err != nil {
		if o.port != 0 {
			return fmt.Errorf("--port: %d: %w; without --port it is a free one", o.port, err)
		}
		return err
	}
	defer l.Close()
	home.HandIn, home.Way = o.to, e.way
	server := page.NewServer(site, home, port, e.stderr)
	address, err := server.Address(place)
	if err != nil {
		return usagef("%q is no address of the page; want one like \"sing?key=Eb&count=5\"", short(place))
	}
	if home.Desk != nil && place == "" {
		address = server.DeskAddress()
	}
	fmt.Fprintln(e.stderr, "The page is open to this computer alone; Ctrl-C ends it.")
	if err := e.print(address + "\n"); err != nil {
		return err
	}
	if !o.noOpen {
		go func() {
			if err := e.browse(address); err != nil && ctx.Err() == nil {
				fmt.Fprintf(e.stderr, "No browser could be opened (%v): open the address by hand.\n", err)
			}
		}()
	}
	err = server.Serve(ctx, l)
	if n := server.Added(); n > 0 {
		fmt.Fprintf(e.stderr, "%s added to %s.\n", many(n, "answer"), home.Record)
	}
	return err
}

// pageHome is what the page knows of the singer. Who that is, is settled when the page
// is opened; the profile is read anew each time, for the terminal may change it.
type pageHome struct {
	env     *env
	options recordOptions
	profile string // as --profile says
	record  string
	course  string      // TOML; "" is the built-in one
	nobody  atomic.Bool // the user wanted no profile when the page was opened
}

func (o *pageOptions) home(cmd *cobra.Command, e *env) (*pageHome, error) {
	if err := o.record.who(cmd, e, &o.singer); err != nil {
		return nil, err
	}
	h := &pageHome{env: e, options: o.record, profile: o.singer.profile}
	var err error
	if h.record, err = o.record.path(e); err != nil {
		return nil, err
	}
	if o.record.implied && h.profile == "" {
		name, err := e.singers().Current()
		h.nobody.Store(err == nil && name == kept.Nobody)
	}
	if o.course == "" {
		return h, nil
	}
	text, err := courseText(o.course)
	if err != nil {
		return nil, err
	}
	if _, err := course.Read(text); err != nil {
		return nil, fmt.Errorf("%s: %w", o.course, err)
	}
	h.course = string(text)
	return h, nil
}

// page is what the page may see and change.
func (h *pageHome) page() page.Home {
	return page.Home{Record: h.record, Singer: h.options.singer, Known: h.known, Keep: h.keep, Now: h.env.clock}
}

// known is what is known of the singer now.
func (h *pageHome) known() (k page.Known, err error) {
	var notes bytes.Buffer
	e := *h.env
	e.stderr = &notes
	s := singer{profile: h.profile, asked: h.options.singer}
	if h.nobody.Load() {
		s.profile = kept.Nobody
	}
	if err := s.know(&e); err != nil {
		return k, err
	}
	_, missing := os.Stat(h.record)
	k = page.Known{Singer: h.options.singer, ProfileName: s.known.Name, Course: h.course, Record: h.record, There: missing == nil}
	if s.known.Name != "" {
		text, err := kept.EncodeProfile(s.known)
		if err != nil {
			return k, err
		}
		k.Profile = string(text)
	}
	for note := range strings.Lines(notes.String()) {
		k.Notes = append(k.Notes, strings.TrimSpace(note))
	}
	if note := h.unnamed(); note != "" {
		k.Notes = append(k.Notes, note)
	}
	return k, nil
}

// unnamed says that the record has answers without a name and none of the singer's.
func (h *pageHome) unnamed() string {
	if !h.options.implied || h.options.singer == kept.DefaultName {
		return "" // nobody could be meant
	}
	r, err := store.ReadRecord(h.record)
	if err != nil {
		return "" // of which the record itself says so
	}
	defer r.Close()
	singers, err := r.Singers(context.Background())
	if err != nil || slices.ContainsFunc(singers, func(s store.SingerCount) bool { return s.Name == h.options.singer }) {
		return ""
	}
	return h.options.unnamed(singers)
}

// keep keeps what was measured as calibrate does, under the singer's name.
func (h *pageHome) keep(p calib.Profile) (path string, err error) {
	switch {
	case h.profile == kept.Nobody:
		return "", nil
	case isFile(h.profile):
		before, err := store.ReadFile(h.profile)
		if err != nil {
			return "", fmt.Errorf("it is left alone: %w", err)
		}
		p.Name = before.Name
		return h.profile, store.WriteFile(h.profile, p)
	}
	singers := h.env.singers()
	name := cmp.Or(h.profile, h.options.singer)
	if err := kept.CheckName(name); err != nil {
		return "", err
	}
	if p.Name, _, err = singers.Chosen(name); err != nil {
		return "", err
	}
	if _, err := h.env.settle(p); err != nil {
		return "", err
	}
	h.nobody.Store(false)
	return singers.Path(p.Name), nil
}

// browse opens an address in the user's browser, by the means of the system, and
// returns when that has done so; it may go on as long as the browser does.
func browse(address string) error {
	command := []string{"xdg-open", address}
	switch runtime.GOOS {
	case "darwin":
		command[0] = "open"
	case "windows":
		command = []string{"rundll32", "url.dll,FileProtocolHandler", address}
	}
	cmd := exec.Command(command[0], command[1:]...)
	apart(cmd)
	err := cmd.Run()
	if errors.Is(err, exec.ErrNotFound) {
		return fmt.Errorf("%s is not here", command[0])
	}
	if err != nil {
		return fmt.Errorf("%s: %w", command[0], err)
	}
	return nil
}
