package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/synth"
)

// singOptions are the flags of sing.
type singOptions struct {
	music  music
	rec    recording
	format *format

	degrees  string
	from     string
	count    int
	setting  string
	keyEvery int
	think    float64
	compare  bool
	retry    string
	tol      exercise.Tolerance
	window   exercise.Window
	seed     uint64

	soundFlags
	record recordOptions
}

func newSing(e *env) *cobra.Command {
	o := &singOptions{format: newFormat("text", "json"), window: exercise.DefaultWindow()}
	cmd := &cobra.Command{
		Use:   "sing [RECORDING.wav ...]",
		Short: "The drill: hear the key, sing the degree, hear how near you were",
		Long: `Sing sets a key in your ear, asks for a degree, gives you a moment to hear it
inwardly, listens, and says what you sang: the degree first, then how many
cents off, then how steady. Then it sounds the right note. Any octave counts
unless --strict-octave is given. The first answer to each question counts.

In a church mode, as in --key "D dorian", the key is set by its scale, or with
--set tonic or drone; there is no cadence in it.

With --from a degree is sounded first, and you sing from it to the one asked.

With a profile (see singback profile) the questions lie in your working range, in
the tuning of your instrument; the key is set in an octave where it does not sound
the note that is asked; the microphone is heard with your noise gate. Flags come
before the profile. --key best takes one of the keys that fit the voice: fewest
degrees moved by an octave, then most central; --seed draws among those within
two semitones of the most central one.

Without a microphone a simulated singer answers, to show how it goes. With
recordings, the n-th recording answers the n-th question.

With --format json standard output has one object a line: the events key,
prompt, listening, verdict and summary. The same seed gives the same questions,
and with recordings or the simulated singer the same bytes.

Sing at ease; stop if it hurts, feels tight or turns hoarse. Playback starts
quiet: set your headphones, then raise --loudness if you must. This is no medical
advice; a voice teacher or clinician decides.`,
		Example: `  singback sing --key "Ab major" --degrees "do mi sol" --count 6
  singback sing --key f#m --from la --degrees "re mi" --count 4
  singback sing --key C --degrees la --input take1.wav take2.wav --format json`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd, e, args)
		},
	}
	o.music.addKeyFlag(cmd, true, "C major", "the `KEY`, like \"Ab major\", f#m or \"D dorian\"; random, or best for the voice (major, minor)")
	o.addFlags(cmd)
	f := cmd.Flags()
	f.IntVar(&o.keyEvery, "set-every", 5, "set the key again after this `NUMBER` of questions; 0: only at the start")
	f.StringVar(&o.degrees, "degrees", "all", "the `DEGREES` asked for, like \"do mi sol\" or 1-5; all, chromatic, triad")
	f.StringVar(&o.from, "from", "", "sound one of these `DEGREES` first, like la or \"do sol\"; any")
	f.IntVar(&o.count, "count", 10, "how many questions; with recordings, as many as there are")
	f.Float64Var(&o.tol.Cents, "tolerance", exercise.DefaultTolerance, "how many `CENTS` off are still right, 5 to 50")
	f.BoolVar(&o.tol.StrictOctave, "strict-octave", false, "only the octave asked for is right (see --voice, --octave)")
	must(cmd.RegisterFlagCompletionFunc("degrees", o.music.completeDegrees("all", "chromatic", "triad")))
	must(cmd.RegisterFlagCompletionFunc("from", o.music.completeDegrees("any")))
	return cmd
}

// addFlags adds the flags of every live drill: names, voice and tuning, how it is
// asked, what answers and where it sounds, and the record.
func (o *singOptions) addFlags(cmd *cobra.Command) {
	o.music.addFlags(cmd)
	o.rec.addFlags(cmd)
	o.record.addFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.setting, "set", synth.ByCadence.String(), "the `WAY` the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.Float64Var(&o.think, "think", 1, "`SECONDS` to hear the note inwardly before the microphone is heard, 0 to 30")
	f.Float64Var(&o.window.Hold, "hold", o.window.Hold, "`SECONDS` after which a held note is an answer")
	f.Float64Var(&o.window.Timeout, "timeout", o.window.Timeout, "`SECONDS` to wait for an answer from the microphone")
	f.BoolVar(&o.compare, "compare", true, "after each answer sound what was right")
	f.StringVar(&o.retry, "retry", "ask", "`WHEN` there is a second attempt after a miss: ask (in a terminal), always, never")
	f.Uint64Var(&o.seed, "seed", 0, "number that draws the questions; the same number, the same questions")
	o.soundFlags.addFlags(cmd)
	oldName(cmd, "level", "loudness")
	addFormat(cmd, o.format)
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("retry", fixed("ask", "always", "never")))
}

// manner is what the flags say of how it is asked.
func (o *singOptions) manner() drill.Manner {
	return drill.Manner{
		Setting: o.setting, Think: o.think, Window: o.window, Loudness: o.level, Compare: o.compare, Retry: o.retry,
	}
}

// inputs sorts out what answers: the words of --input and, after it, the
// recordings named as arguments.
func (o *singOptions) inputs(args []string) (kind string, recordings []string, err error) {
	words := append(append([]string{}, o.input...), args...)
	switch {
	case len(words) == 0:
		return "", nil, nil
	case len(words) == 1 && (words[0] == inputMic || words[0] == inputSimulated):
		return words[0], nil, nil
	}
	stdin := 0
	for _, w := range words {
		switch w {
		case "":
			return "", nil, usagef("--input: it is empty; want mic, simulated or a recording")
		case inputMic, inputSimulated:
			return "", nil, usagef("--input: %s cannot be mixed with recordings; a recording of that name is ./%s", w, w)
		case "-":
			stdin++
		}
	}
	if stdin > 1 {
		return "", nil, usagef("--input: standard input (-) can be read only once")
	}
	return inputFiles, words, nil
}

func (o *singOptions) run(cmd *cobra.Command, e *env, args []string) error {
	kind, recordings, err := o.inputs(args)
	if err != nil {
		return err
	}
	if err := o.record.who(cmd, e, &o.music.singer); err != nil {
		return err
	}
	options := &drill.Sing{
		Music: o.music.values(), Manner: o.manner(), Degrees: o.degrees, From: o.from, Count: o.count, KeyEvery: o.keyEvery,
		Tolerance: o.tol, Seed: o.seed, Recordings: len(recordings), OwnProfile: o.music.profile != "",
	}
	if !cmd.Flags().Changed("seed") {
		options.Seed = e.seed()
	}
	plan, err := options.Plan()
	if err != nil {
		return err
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	d := &performance{
		plan: plan, kind: kind, recordings: recordings, style: style, start: e.clock(),
	}
	if note := style.TuningNote(options.Items(), o.tol); note != "" {
		d.note = "Note: " + note + "."
	}
	return o.perform(cmd, e, d)
}
