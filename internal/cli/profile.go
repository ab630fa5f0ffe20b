package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"singback/calib"
	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/kept"
	"singback/internal/newfile"
	"singback/internal/report"
	"singback/internal/store"
	"singback/theory"
)

// profileCommand holds the flags of profile and of the commands below it.
type profileCommand struct {
	env    *env
	which  string
	format *format
}

func newProfile(e *env) *cobra.Command {
	p := &profileCommand{env: e, format: newFormat("text", "json")}
	cmd := &cobra.Command{
		Use:   "profile",
		Short: "Show, state, move or forget what is known of a singer",
		Long: `Profile shows what is known of the singer: the voice, the room and microphone,
the instrument. It is measured with calibrate, or stated with profile set. It is
kept in one readable file a singer, which never leaves the machine; the five
versions before are kept too. There may be several singers. What is sung is
recorded of the one whose profile is in use, unless --singer names another.

The drill then asks within the working range (the comfortable range, two
semitones inwards), in the tuning of the instrument, and hears the microphone with
the noise gate of the room. Flags of a command come before the profile, and
--profile none leaves it out.

A file that cannot be read is moved aside, never overwritten or deleted.`,
		Example: `  singback profile
  singback profile --format json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.show() },

		SuggestionsMinimumDistance: 2,
	}
	cmd.PersistentFlags().StringVar(&p.which, "profile", "", "the profile of a singer, by `NAME`, or in a file to show or export")
	cmd.PersistentFlags().Var(p.format, "format", "results as text or json")
	completed(cmd, "profile", e.completeSingers)
	completed(cmd, "format", p.format.complete)
	cmd.AddCommand(p.newShow(), p.newSet(), p.newList(), p.newUse(), p.newExport(), p.newImport(), p.newForget())
	return cmd
}

// completeSingers offers the singers there are.
func (e *env) completeSingers(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	names, _ := e.singers().Names()
	return names, cobra.ShellCompDirectiveNoFileComp
}

// read reads the profile that --profile names, or the current one; found is
// false where there is none and none was named.
func (p *profileCommand) read() (profile calib.Profile, file string, current, found bool, err error) {
	singers := p.env.singers()
	if isFile(p.which) {
		profile, err = store.ReadFile(p.which)
		return profile, p.which, false, true, err
	}
	now, err := singers.Current()
	if err != nil {
		return profile, "", false, false, err
	}
	name := p.which
	if name == "" {
		name = now
	}
	if name == "" || name == store.Nobody {
		return profile, "", false, false, nil
	}
	if profile, err = singers.Load(name); err != nil {
		return profile, "", false, false, err
	}
	return profile, singers.Path(profile.Name), profile.Name == now, true, nil
}

func (p *profileCommand) newShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show",
		Short: "Show what is known of the singer",
		Long:  "Show is the same as profile by itself: what is known of the current singer, or of\nthe one that --profile names.",
		Example: `  singback profile show
  singback profile show --format json`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return p.show() },
	}
}

func (p *profileCommand) show() error {
	profile, file, current, found, err := p.read()
	if err != nil {
		return err
	}
	if !found {
		if p.format.value == "json" {
			return p.env.printJSON(nil)
		}
		names, err := p.env.singers().Names()
		if err != nil {
			return err
		}
		hint := `Measure it: singback calibrate. Or say it: singback profile set --range C3-G4`
		if len(names) > 0 {
			hint = "Choose one with singback profile use: " + strings.Join(names, ", ")
		}
		return p.env.print("No profile is in use: safe defaults hold.\n" + hint + "\n")
	}
	return p.write(profile, file, current)
}

// write shows a profile.
func (p *profileCommand) write(profile calib.Profile, file string, current bool) error {
	record := report.NewProfile(profile, file, current)
	if p.format.value == "json" {
		return p.env.printIndented(record)
	}
	return p.env.print(fmt.Sprintf("%s\nfile        %s\n", p.env.style(theory.Movable).Profile(record), file))
}

func (p *profileCommand) newSet() *cobra.Command {
	var voice, span, style string
	var a4 float64
	cmd := &cobra.Command{
		Use:   "set",
		Short: "State the voice, the tuning or the style, without measuring",
		Long: `Set writes down what you say of your voice, your instrument and the style of the
harmony you play and hear, and marks it as stated, not measured. deduce and dictation
--of progression take the style where no --style says another. What you do not name stays as it is. A new singer gets a
profile, called me unless --profile gives another name, and is then the current
one.`,
		Example: `  singback profile set --range C3-G4 --a4 442
  singback profile set --voice alto --profile Wilma
  singback profile set --style gospel`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			changed := cmd.Flags().Changed
			if !changed("voice") && !changed("range") && !changed("a4") && !changed("style") {
				return usagef("nothing is stated: give --voice tenor, --range C3-G4, --a4 442 or --style hymn")
			}
			if changed("style") {
				s, err := theory.ParseStyle(style)
				if err != nil {
					return usage(fmt.Errorf("--style: %w", err))
				}
				style = s.String()
			}
			return p.set(voice, span, style, a4, changed("range"), changed("a4"))
		},
	}
	f := cmd.Flags()
	f.StringVar(&voice, "voice", "", drill.VoiceHelp())
	f.StringVar(&span, "range", "", "the lowest and the highest note, like `C3-G4`, that are comfortable")
	f.Float64Var(&a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, of the instrument")
	f.StringVar(&style, "style", "", "the `STYLE` of the harmony: "+strings.Join(styleNames(), ", "))
	complete(cmd, map[string][]string{"voice": exercise.Voices(), "style": styleNames()})
	return cmd
}

func (p *profileCommand) set(voice, span, style string, a4 float64, hasSpan, hasA4 bool) error {
	if isFile(p.which) {
		return usagef("--profile: %q is a file: want the name of a singer", short(p.which))
	}
	day := p.env.today()
	stated, err := statedVoice(voice, span, hasSpan, day)
	if err != nil {
		return err
	}
	var instrument *calib.Instrument
	if hasA4 {
		if _, err := theory.NewTuning(a4); err != nil {
			return usage(fmt.Errorf("--a4: %w", err))
		}
		instrument = &calib.Instrument{Date: day, A4: a4}
	}
	singers := p.env.singers()
	if p.which != "" {
		if err := kept.CheckName(p.which); err != nil {
			return usage(fmt.Errorf("--profile: %w", err))
		}
	}
	name, there, err := singers.Chosen(p.which)
	if err != nil {
		return err
	}
	profile := calib.Profile{Version: calib.Version, Name: name}
	if there {
		if profile, err = singers.Load(name); err != nil {
			return err
		}
	}
	profile.Made = day
	if stated != nil {
		profile.Voice = stated
	}
	if instrument != nil {
		profile.Instrument = instrument
	}
	if style != "" {
		profile.Style = style
	}
	current, err := p.env.settle(profile)
	if err != nil {
		return err
	}
	return p.write(profile, singers.Path(name), current)
}

// settle keeps a profile, and says who is singing from now on, where that has
// changed; current tells that it is the profile's singer.
func (e *env) settle(p calib.Profile) (current bool, err error) {
	singers := e.singers()
	before, err := singers.Current()
	if err != nil {
		return false, err
	}
	if err := singers.Settle(p); err != nil {
		return false, err
	}
	e.sings(before)
	now, err := singers.Current()
	return now == p.Name, err
}

// sings says who is singing from now on, where that is not who did before.
func (e *env) sings(before string) {
	now, err := e.singers().Current()
	switch {
	case err != nil || now == before:
	case now == "" || now == store.Nobody:
		fmt.Fprintf(e.stderr, "Nobody's profile is in use from now on; what is sung is recorded of %s.\n", store.DefaultName)
	case before == "" || before == store.Nobody:
		fmt.Fprintf(e.stderr, "%s is singing from now on.\n", now)
	default:
		fmt.Fprintf(e.stderr, "%s is singing from now on, and no longer %s (singback profile use %q).\n", now, before, before)
	}
}

// statedVoice reads --voice and --range; nil where neither was given. Each may
// hold both: "I am a tenor", "my range is C3 to G4".
func statedVoice(voice, span string, hasSpan bool, on calib.Date) (*calib.Voice, error) {
	read := func(flag, text string) (calib.Voice, error) {
		v, err := calib.ParseVoice(text, voiceRange, on)
		if err != nil {
			return v, usage(fmt.Errorf("--%s: %w", flag, err))
		}
		return v, nil
	}
	if voice == "" && !hasSpan {
		return nil, nil
	}
	if voice == "" {
		v, err := read("range", span)
		return &v, err
	}
	v, err := read("voice", voice)
	if err != nil || !hasSpan {
		return &v, err
	}
	r, err := read("range", span)
	v.Comfortable, v.Tessitura = r.Comfortable, r.Tessitura
	return &v, err
}

// voiceRange is the usual range of a kind of voice.
func voiceRange(kind string) (theory.Range, error) {
	v, err := exercise.VoiceNamed(kind)
	return v.Range, err
}

// today is the day by the clock of the machine.
func (e *env) today() calib.Date {
	y, m, d := e.clock().Date()
	return calib.Date{Year: y, Month: int(m), Day: d}
}

func (p *profileCommand) newList() *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the singers on this machine",
		Long:  "List names the singers of whom there is a profile; * marks the current one.",
		Example: `  singback profile list
  singback profile list --format json`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return p.list() },
	}
}

func (p *profileCommand) list() error {
	singers := p.env.singers()
	names, err := singers.Names()
	if err != nil {
		return err
	}
	now, err := singers.Current()
	if err != nil {
		return err
	}
	record := report.Singers{Schema: report.Schema, Folder: p.env.dataDir(), Singers: []report.Singer{}}
	if now != "" && now != store.Nobody {
		record.Current = &now
	}
	for _, name := range names {
		s := report.Singer{Name: name, File: singers.Path(name)}
		if profile, err := singers.Peek(name); err != nil {
			why := err.Error()
			s.Problem = &why
		} else {
			made := profile.Made.String()
			s.Made = &made
		}
		record.Singers = append(record.Singers, s)
	}
	if p.format.value == "json" {
		return p.env.printIndented(record)
	}
	return p.env.print(record.Text(now == store.Nobody))
}

func (p *profileCommand) newUse() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "use NAME",
		Short: "Choose the singer that everything is fitted to",
		Long: `Use makes a singer the current one. The name none leaves all profiles out, and
the drill does not offer the calibration any more.`,
		Example: `  singback profile use none
  singback profile set --voice bass --profile Otto && singback profile use Otto`,
		Args: oneArg("the NAME of a singer (or none)"),
		RunE: func(_ *cobra.Command, args []string) error {
			singers := p.env.singers()
			if err := singers.Use(args[0]); err != nil {
				return err
			}
			name, err := singers.Current()
			if err != nil {
				return err
			}
			if name == store.Nobody {
				fmt.Fprintln(p.env.stderr, "No profile is used from now on.")
				return nil
			}
			fmt.Fprintf(p.env.stderr, "%s is singing from now on.\n", name)
			return nil
		},
	}
	cmd.ValidArgsFunction = p.completeName(store.Nobody)
	return cmd
}

// completeName completes one name of a singer, and the words.
func (p *profileCommand) completeName(words ...string) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, s string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		names, d := p.env.completeSingers(cmd, args, s)
		return append(names, words...), d
	}
}

func (p *profileCommand) newExport() *cobra.Command {
	var out string
	var force bool
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the profile to a file that another machine can import",
		Long: `Export writes the profile of the current singer, or of the one that --profile
names, to standard output or with --out to a file.`,
		Example: `  singback profile set --voice tenor --profile Otto && singback profile export --profile Otto
  singback profile set --voice tenor --profile Otto && singback profile export --profile Otto --out otto.toml`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			profile, _, _, found, err := p.read()
			if err != nil {
				return err
			}
			if !found {
				return errors.New("there is no profile to export; singback profile list shows who has one")
			}
			data, err := kept.EncodeProfile(profile)
			if err != nil {
				return err
			}
			if out == "" {
				_, err = p.env.data().Write(data)
				return err
			}
			if err := p.env.writeFile(out, force, newfile.ForOwner, func(w io.Writer) error { _, err := w.Write(data); return err }); err != nil {
				return fmt.Errorf("--out: %w", err)
			}
			return nil
		},
	}
	addOut(cmd, &out, &force, "FILE", "")
	return cmd
}

func (p *profileCommand) newImport() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Take over a profile that was exported",
		Long: `Import reads a profile and keeps it under the name in it, or the one that
--profile gives. A profile that was there before is kept among the older ones.`,
		Example: `  singback profile set --voice tenor --profile Otto && singback profile export --profile Otto --out move.toml && singback profile import move.toml`,
		Args:    oneArg("the FILE to import"),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"toml"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(_ *cobra.Command, args []string) error {
			profile, err := store.ReadFile(args[0])
			if err != nil {
				return err
			}
			if p.which != "" {
				if err := kept.CheckName(p.which); err != nil {
					return usage(fmt.Errorf("--profile: %w", err))
				}
				profile.Name = p.which
			}
			singers := p.env.singers()
			before, err := singers.Current()
			if err != nil {
				return err
			}
			name, there, changed, err := singers.Adopt(profile)
			if err != nil {
				return err
			}
			what := "is new here"
			switch {
			case there && changed:
				what = "has this profile now; the one before is kept"
			case there:
				what = "had this profile before"
			}
			fmt.Fprintf(p.env.stderr, "%s %s: %s\n", name, what, singers.Path(name))
			if now, err := singers.Current(); err != nil || now != name {
				fmt.Fprintf(p.env.stderr, "To sing with it: singback profile use %q\n", name)
			}
			p.env.sings(before)
			return nil
		},
	}
	return cmd
}

func (p *profileCommand) newForget() *cobra.Command {
	var yes bool
	cmd := &cobra.Command{
		Use:   "forget NAME",
		Short: "Delete everything that is kept of a singer's profile",
		Long: `Forget deletes the profile of a singer, the older versions of it and what was
moved aside, for good, and says which files those were. It asks first, unless
--yes is given. Files that you exported are not touched.`,
		Example: `  singback profile set --voice bass --profile Otto && singback profile forget Otto --yes`,
		Args:    oneArg("the NAME of a singer"),
		RunE: func(_ *cobra.Command, args []string) error {
			singers := p.env.singers()
			files, err := singers.Files(args[0])
			if err != nil {
				return usage(err)
			}
			if len(files) > 0 && !yes {
				if !p.env.terminal(p.env.stdin) {
					return usagef("what is kept of %s (files: %d) would be deleted for good: say --yes", args[0], len(files))
				}
				for _, f := range files {
					fmt.Fprintln(p.env.stderr, f)
				}
				answer, _ := p.env.answer("Delete this for good? (yes or no) ")
				if a := strings.ToLower(answer); a != "y" && a != "yes" {
					return errors.New("nothing was deleted")
				}
			}
			before, _ := singers.Current()
			deleted, err := singers.Forget(args[0])
			for _, f := range deleted {
				fmt.Fprintf(p.env.stdout, "deleted %s\n", f)
			}
			p.env.sings(before)
			return err
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask")
	cmd.ValidArgsFunction = p.completeName()
	return cmd
}
