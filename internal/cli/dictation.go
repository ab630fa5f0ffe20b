package cli

import (
	"github.com/spf13/cobra"

	"singback/exercise/compose"
	"singback/internal/drill"
	"singback/internal/report"
)

// inputTyped is the word of --input for a person who types.
const inputTyped = "typed"

// dictationOptions are the flags of dictation.
type dictationOptions struct {
	stageOptions
	drill.Dictation

	input string
}

func newDictation(e *env) *cobra.Command {
	o := &dictationOptions{}
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
	o.addDrill(cmd, &o.Music, o)
	cmd.Flags().StringVar(&o.input, "input", inputTyped, "what answers: `WORDS` typed, or simulated")
	oldName(cmd, "level", "loudness")
	complete(cmd, map[string][]string{
		"key": keyNames(true), "of": {"bass", "quality"}, "qualities": compose.Qualities(), "input": {inputTyped, inputSimulated},
	})
	must(cmd.RegisterFlagCompletionFunc("degrees", o.music.completeDegrees("all", "chromatic")))
	return cmd
}

func (o *dictationOptions) run(cmd *cobra.Command, e *env) error {
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	plan, err := o.Plan()
	if err != nil {
		return err
	}
	by, err := drill.ReadKind(o.input, drill.ByTyping, drill.BySimulation)
	switch {
	case err != nil:
		return err
	case by == drill.ByTyping && o.output == outputNone && e.terminal(e.stdin):
		return usagef("--output none: chords that nobody hears cannot be named; want speaker or a FILE.wav, or --input simulated to see how it goes")
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	return o.perform(cmd, e, &performance{
		plan: plan, kind: o.input, style: style, start: e.clock(),
	})
}
