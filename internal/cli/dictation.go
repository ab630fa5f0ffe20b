package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/drill"
	"singback/internal/report"
	"singback/internal/synth"
)

// inputTyped is the word of --input for a person who types.
const inputTyped = "typed"

// dictationOptions are the flags of dictation.
type dictationOptions struct {
	sing      singOptions // where it sounds; key, names, tuning; the record
	of        string
	degrees   string
	qualities string
	length    int
	count     int
	keyEvery  int
	input     string
}

func newDictation(e *env) *cobra.Command {
	o := &dictationOptions{}
	o.sing.format, o.sing.window = newFormat("text", "json"), exercise.DefaultWindow()
	o.sing.retry = "never"
	cmd := &cobra.Command{
		Use:   "dictation",
		Short: "Hear chords and name what is in the bass, or of what quality they are",
		Long: `Dictation sets a key, plays some chords in it, and asks for the degree in the bass
of each, or with --of quality for the quality of each. Type the names, in the
naming of --names or as numbers, and Enter: "do fa sol" or "1 4 5"; "maj m7".
An empty line plays it once more, ? gives up. Then it says what it was and plays
it again. How many chords there are says --length.

The bass lines are made of chords that stand on those degrees in songs, and
follow each other as there. Degrees that sound the same are the same: fi is se.
The qualities are maj, min, dim, aug, 7, maj7, m7, m7b5, dim7, sus4, sus2, 6 and
mMaj7, each where it is at home in the key, with its root in the bass.

Names that are typed go into the practice record where there is one, or with
--record; singback today asks for them as the course says. Without a terminal the
names are read from standard input, a line for each question; --input simulated
shows how it goes. With --format json standard output has one object a line: the
events key, dictation, named and summary.

Playback starts quiet: set your headphones, then raise --loudness if you must.`,
		Example: `  singback dictation --key Eb --length 3 --count 2 --input simulated
  singback dictation --of quality --qualities "maj min 7 m7" --count 4 --input simulated
  echo "do" | singback dictation --key G --degrees do --count 1 --output none`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return o.run(cmd, e) },
	}
	s := &o.sing
	s.music.addKeyFlag(cmd, true, "C major", "the `KEY`, like \"Ab major\" or f#m; random")
	s.music.addFlags(cmd)
	must(cmd.Flags().MarkHidden("octave"))
	must(cmd.Flags().MarkHidden("voice"))
	s.record.addFlags(cmd)
	f := cmd.Flags()
	f.StringVar(&o.of, "of", "bass", "`WHAT` is to be named: bass or quality")
	f.StringVar(&o.degrees, "degrees", "do sol fa", "the `DEGREES` asked for, in the bass; all, chromatic")
	f.StringVar(&o.qualities, "qualities", "maj min", "the `QUALITIES` that chords may have")
	f.IntVar(&o.length, "length", 1, fmt.Sprintf("how many chords are heard in one question, 1 to %d", compose.MaxDictation))
	f.IntVar(&o.count, "count", 10, "how many questions")
	f.IntVar(&o.keyEvery, "set-every", 5, "set the key again after this `NUMBER` of questions; 0: only at the start")
	f.StringVar(&s.setting, "set", synth.ByCadence.String(), "the `WAY` the key is set: "+strings.Join(synth.KeySettingNames(), ", "))
	f.BoolVar(&s.compare, "compare", true, "after each answer sound what was right")
	f.Uint64Var(&s.seed, "seed", 0, "number that draws the questions; the same number, the same questions")
	f.StringVar(&o.input, "input", inputTyped, "what answers: `WORDS` typed, or simulated")
	s.soundFlags.addOutput(cmd)
	oldName(cmd, "level", "loudness")
	addFormat(cmd, s.format)
	must(cmd.RegisterFlagCompletionFunc("of", fixed("bass", "quality")))
	must(cmd.RegisterFlagCompletionFunc("degrees", s.music.completeDegrees("all", "chromatic")))
	must(cmd.RegisterFlagCompletionFunc("qualities", fixed(compose.Qualities()...)))
	must(cmd.RegisterFlagCompletionFunc("set", fixed(synth.KeySettingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("input", fixed(inputTyped, inputSimulated)))
	return cmd
}

func (o *dictationOptions) run(cmd *cobra.Command, e *env) error {
	s := &o.sing
	if err := s.record.who(cmd, e, &s.music.singer); err != nil {
		return err
	}
	options := &drill.Dictation{
		Music: s.music.values(), Manner: s.manner(), Of: o.of, Degrees: o.degrees, Qualities: o.qualities,
		Length: o.length, Count: o.count, KeyEvery: o.keyEvery, Seed: s.seed,
	}
	if !cmd.Flags().Changed("seed") {
		options.Seed = e.seed()
	}
	plan, err := options.Plan()
	switch {
	case err != nil:
		return err
	case o.input != inputTyped && o.input != inputSimulated:
		return usagef("--input: %q: want typed or simulated", short(o.input))
	case o.input == inputTyped && s.output == outputNone && e.terminal(e.stdin):
		return usagef("--output none: chords that nobody hears cannot be named; want speaker or a FILE.wav, or --input simulated to see how it goes")
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	return s.perform(cmd, e, &performance{
		plan: plan, kind: o.input, style: style, start: e.clock(),
	})
}
