package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/calib"
	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/calibrate"
	"singback/internal/drill"
	"singback/internal/fold"
	"singback/internal/kept"
	"singback/internal/report"
	"singback/internal/session"
	"singback/internal/store"
	"singback/theory"
)

// calibrateCommand holds the flags of calibrate. on are those that it shares
// with sing: where it runs.
type calibrateCommand struct {
	env        *env
	on         stageOptions
	seed       uint64
	lufs       float64 // --loudness
	skip, only []string
	also       []string
	voice      string
	span       string
	name       string
	growing    bool
	widen      bool
	note       string
	profile    string
	yes        bool
}

func newCalibrate(e *env) *cobra.Command {
	c := &calibrateCommand{env: e, on: stageOptions{format: newFormat("text", "json")}}
	o := &c.on
	cmd := &cobra.Command{
		Use:   "calibrate [RECORDING.wav ...]",
		Short: "Measure room, microphone, voice and instrument once, and fit the drill to them",
		Long: `Calibrate takes some three minutes, once, and measures one after the other

  room        the noise when nobody sings, mains hum, fans
  level       how you reach the microphone, singing at ease
  leak        whether the microphone hears the loudspeaker, and how late
  voice       the lowest and the highest comfortable note, softly
  instrument  how your keyboard is tuned (asked for in a terminal, else with
              --also instrument)

In a terminal each part waits for Enter and can be left out; after each note you
say whether it was comfortable. In a pipe, or with --yes, what is heard decides.
The voice can be stated instead: --voice "I am a tenor", --range C3-G4.

What was measured is kept for the drill (see singback profile), all at once at the
end: interrupted earlier, the old profile stays as it was. Parts that were not
measured keep their old values. Without a microphone a simulated singer answers,
and nothing is kept unless --profile FILE is given. With recordings, each answers
one part, in the order above; that of the voice goes down and up as far as is
comfortable.

` + fold.Text(calib.RangeCaution, 78),
		Example: `  singback calibrate
  singback calibrate --voice "I am a tenor" --skip leak
  singback calibrate --input simulated --skip voice --format json`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: c.run,
	}
	o.rec.addFlags(cmd)
	f := cmd.Flags()
	f.StringSliceVar(&c.skip, "skip", nil, "leave out these `PARTS`: room, level, leak, voice, instrument")
	f.StringSliceVar(&c.only, "only", nil, "measure only these `PARTS`")
	f.StringVar(&c.voice, "voice", "", "the `VOICE`, stated instead: like tenor, or a sentence; of the simulated singer too")
	f.StringVar(&c.span, "range", "", "the lowest and the highest note, like `C3-G4`, stated instead")
	f.StringVar(&c.name, "singer", "", singerHelp+" (else whose profile is in use, or me)")
	oldName(cmd, "name", "singer")
	f.BoolVar(&c.growing, "growing", false, "a child's or changing voice: a shorter test, to be repeated")
	f.BoolVar(&c.widen, "widen", false, "keep the notes too that an earlier test found")
	f.StringSliceVar(&c.also, "also", nil, "measure these `PARTS` too, which are left out else: instrument, in a pipe")
	c.oldInstrument(cmd)
	f.StringVar(&c.note, "note", "", "which `NOTE` is played first, for an instrument far from 440 Hz, like A")
	f.StringVar(&c.profile, "profile", "", "the profile of a singer, by `NAME`, in a file, or none: where it is kept")
	f.BoolVar(&c.yes, "yes", false, "do not ask; what is heard decides")
	f.Uint64Var(&c.seed, "seed", 1, "number that draws what the simulated singer does")
	o.soundFlags.addInput(cmd)
	o.soundFlags.addOutput(cmd)
	drill.AddLoudness(f, &c.lufs)
	oldName(cmd, "level", "loudness")
	addFormat(cmd, o.format)
	parts := make([]string, len(session.Parts))
	for i, p := range session.Parts {
		parts[i] = p.String()
	}
	completed(cmd, "skip", fixed(parts...))
	completed(cmd, "only", fixed(parts...))
	completed(cmd, "also", fixed(parts...))
	completed(cmd, "voice", fixed(exercise.Voices()...))
	completed(cmd, "singer", e.completeSingers)
	completed(cmd, "profile", e.completeSingers)
	return cmd
}

// oldInstrument has --instrument, without a value, work as --also instrument for one
// release more.
func (c *calibrateCommand) oldInstrument(cmd *cobra.Command) {
	const name = "instrument"
	f := cmd.Flags()
	f.Var(&oldFlag{
		kind: "bool",
		set: func(s string) error {
			on, err := strconv.ParseBool(s)
			if err != nil {
				return errors.New("want --also instrument")
			}
			if on {
				c.also = append(c.also, session.InstrumentPart.String())
			}
			return nil
		},
		note: func() {
			fmt.Fprintln(cmd.ErrOrStderr(), "Note: --instrument is now --also instrument; the old spelling goes with the next release.")
		},
	}, name, f.Lookup("also").Usage)
	f.Lookup(name).NoOptDefVal = "true"
	must(f.MarkHidden(name))
}

// parts reads --only, --also and --skip.
func (c *calibrateCommand) parts(stated, asking, recordings bool) ([]session.Part, error) {
	only, err := calibrate.ParseParts(c.only)
	if err != nil {
		return nil, usage(fmt.Errorf("--only: %w", err))
	}
	skip, err := calibrate.ParseParts(c.skip)
	if err != nil {
		return nil, usage(fmt.Errorf("--skip: %w", err))
	}
	also, err := calibrate.ParseParts(c.also)
	if err != nil {
		return nil, usage(fmt.Errorf("--also: %w", err))
	}
	return calibrate.Choice{Only: only, Skip: skip, Also: also, Stated: stated, Asking: asking, Recordings: recordings}.Parts(), nil
}

// keeping is where the profile goes, and what was known before.
type keeping struct {
	singers *store.Singers // nil where a file or nothing is written
	file    string
	before  calib.Profile
}

// keep finds out where to keep the profile. What cannot be read is refused, or
// has been moved aside, before anything is measured.
func (c *calibrateCommand) keep() (k keeping, err error) {
	if c.name != "" {
		if err := kept.CheckName(c.name); err != nil {
			return k, usage(fmt.Errorf("--singer: %w", err))
		}
	}
	k.before = calib.Profile{Version: calib.Version, Name: cmp.Or(c.name, store.DefaultName)}
	if c.profile == store.Nobody {
		return k, nil
	}
	if isFile(c.profile) {
		k.file = c.profile
		p, err := store.ReadFile(k.file)
		switch {
		case err == nil:
			k.before = p
			k.before.Name = cmp.Or(c.name, p.Name)
		case !errors.Is(err, fs.ErrNotExist):
			return k, fmt.Errorf("--profile: it is left alone: %w", err)
		}
		return k, nil
	}
	if c.profile != "" {
		if err := kept.CheckName(c.profile); err != nil {
			return k, usage(fmt.Errorf("--profile: %w", err))
		}
		if c.name != "" && !strings.EqualFold(c.name, c.profile) {
			return k, usagef("--singer %s and --profile %s: want one singer", c.name, c.profile)
		}
	}
	k.singers = c.env.singers()
	name, there, err := k.singers.Chosen(cmp.Or(c.name, c.profile))
	if err != nil {
		return k, err
	}
	k.file, k.before.Name = k.singers.Path(name), name
	if !there {
		return k, nil
	}
	p, err := k.singers.Load(name)
	switch {
	case errors.Is(err, store.ErrDamaged), errors.Is(err, store.ErrNewer):
		fmt.Fprintf(c.env.stderr, "%v\n", err)
	case err != nil:
		return k, err
	default:
		k.before = p
	}
	return k, nil
}

// calibration is what the flags ask for.
type calibration struct {
	session.Calibration
	kind       string // what answers
	recordings []string
	asking     bool         // the singer is asked
	stated     *calib.Voice // instead of the voice
	simulated  *calib.Voice // of the simulated singer
	keep       keeping
}

// plan reads the flags.
func (c *calibrateCommand) plan(cmd *cobra.Command, args []string) (p calibration, err error) {
	e, o := c.env, &c.on
	if p.kind, p.recordings, err = o.inputs(args); err != nil {
		return p, err
	}
	p.On = e.today()
	if p.stated, err = statedVoice(c.voice, c.span, cmd.Flags().Changed("range"), p.On); err != nil {
		return p, err
	}
	if p.stated != nil && c.growing {
		p.stated.Growing = true
	}
	p.simulated = p.stated
	if p.kind == inputSimulated && slices.Contains(c.only, session.VoicePart.String()) {
		p.stated = nil // it is what there is to find
	}
	p.asking = !c.yes && o.format.value == "text" && p.kind != inputFiles && e.terminal(e.stdin)
	if p.Parts, err = c.parts(p.stated != nil, p.asking, p.kind == inputFiles); err != nil {
		return p, err
	}
	switch {
	case len(p.Parts) == 0 && p.stated == nil:
		return p, usagef("nothing is left to measure: --only and --skip leave out every part")
	case p.kind == inputFiles && len(p.recordings) != len(p.Parts):
		names := make([]string, len(p.Parts))
		for i, part := range p.Parts {
			names[i] = part.String()
		}
		return p, usagef("%d recordings given, want one for each part: %s", len(p.recordings), strings.Join(names, ", "))
	}
	if err := cmp.Or(drill.CheckLoudness(c.lufs), o.soundFlags.check(p.kind)); err != nil {
		return p, err
	}
	if c.note != "" {
		n, err := theory.ParseNote(c.note)
		if err != nil {
			return p, usage(fmt.Errorf("--note: %w", err))
		}
		p.First = &n
	}
	if p.keep, err = c.keep(); err != nil {
		return p, err
	}
	before := p.keep.before
	p.Level, p.Growing, p.Tuning = c.lufs, c.growing, theory.Tuning{A4: theory.DefaultA4}
	if v := before.Voice; v != nil && v.Growing && p.stated == nil {
		p.Growing = true
	}
	if i := before.Instrument; i != nil {
		p.Tuning.A4 = i.A4
	}
	if r := before.Room; r != nil {
		p.Gate, p.Delay = r.Gate, r.Delay
	}
	return p, nil
}

func (c *calibrateCommand) run(cmd *cobra.Command, args []string) error {
	e, o := c.env, &c.on
	p, err := c.plan(cmd, args)
	if err != nil {
		return err
	}
	onlyStated := calibrate.Result{Before: p.keep.before, Stated: p.stated, On: p.On}
	if len(p.Parts) == 0 {
		return c.finish(p.keep, onlyStated)
	}
	ctx, stop := e.interruptible(cmd.Context())
	defer stop()
	stage, err := o.openStage(ctx, e, p.kind, p.recordings, &drill.Plan{Seed: c.seed})
	if err != nil {
		return err
	}
	defer stage.close()
	who, err := c.subject(ctx, stage, p)
	if err != nil {
		return err
	}
	result := calibrate.Result{Before: p.keep.before, Stated: p.stated, Widen: c.widen, Outcomes: calibrate.Outcomes{}, On: p.On, Simulated: who.Simulated != nil}
	measured := p.Calibration
	_, live := stage.answers.(drill.Microphone)
	silent := live && !stage.speaker && slices.Contains(p.Parts, session.LeakPart)
	if silent {
		measured.Parts = slices.DeleteFunc(slices.Clone(p.Parts), func(p session.Part) bool { return p == session.LeakPart })
	}
	stage.tell(e.stderr)
	result.Found, err = session.Calibrate(ctx, measured, who, stage.out, func(ev session.Event) {
		if words := calibrate.Words(ev); words != "" {
			fmt.Fprintln(e.stderr, words)
		}
		result.Outcomes.Tell(ev)
	})
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		return errors.New("interrupted: nothing was kept, and what was known before is as it was")
	}
	if err == nil {
		err = stage.close()
	}
	if err != nil {
		return err
	}
	if silent {
		result.Outcomes.Tell(session.Missed{Part: session.LeakPart, Err: errors.New("the sound goes to no loudspeaker")})
	}
	if result.Simulated && p.kind == "" && p.stated != nil && p.keep.singers != nil {
		// What was stated holds whoever sang, and is all that is kept.
		return c.finish(p.keep, onlyStated)
	}
	return c.finish(p.keep, result)
}

// finish keeps what was found and says it. Of a simulated singer nothing is kept
// but in a file.
func (c *calibrateCommand) finish(k keeping, r calibrate.Result) error {
	nobody := r.Simulated && k.singers != nil
	if nobody {
		r.Before = calib.Profile{Version: calib.Version, Name: store.DefaultName}
	}
	p, record := r.Profile(), r.Record()
	current, file := false, ""
	if r.Something() && k.file != "" && !nobody {
		var err error
		if k.singers == nil {
			err = store.WriteFile(k.file, p)
		} else {
			current, err = c.env.settle(p)
		}
		if err != nil {
			return err
		}
		file, record.Saved = k.file, &k.file
	}
	record.Profile = report.NewProfile(p, file, current)
	var err error
	if c.on.format.value == "json" {
		err = c.env.printIndented(record)
	} else {
		err = c.env.print(c.env.style(theory.Movable).Calibration(record))
	}
	if err == nil && !r.Something() {
		err = errors.New("nothing could be measured, and nothing was kept")
	}
	return err
}

// subject is the singer at the microphone, in recordings, or simulated.
func (c *calibrateCommand) subject(ctx context.Context, stage *stage, p calibration) (*calibrate.Subject, error) {
	e := c.env
	s := &calibrate.Subject{Conversation: calibrate.Conversation{
		Growing: p.Growing,
		Say:     func(text string) { fmt.Fprintln(e.stderr, fold.Text(text, 79)) },
		Prompt:  func(text string) { fmt.Fprint(e.stderr, text) },
	}}
	switch a := stage.answers.(type) {
	case drill.Microphone:
		if s.Live = a.Live; p.asking {
			s.Lines = e.typed(ctx)
		}
	case *drill.Recordings:
		s.Recording = func(part session.Part) (audio.Source, error) {
			return c.on.rec.open(e, p.recordings[slices.Index(p.Parts, part)])
		}
	default:
		var err error
		if s.Simulated, err = calibrate.NewSinger(p.simulated, p.Growing, sampleRate, p.Tuning.A4, c.seed); err != nil {
			return nil, err
		}
		if stage.screen {
			s.Pace = e.wait
		}
	}
	return s, nil
}
