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

	progressions string // the file that the questions are read from
	chords       chordFlags
}

func newDictation(e *env) *cobra.Command {
	o := &dictationOptions{}
	cmd := &cobra.Command{
		Use:   "dictation [RECORDING.wav ... | FILE]",
		Short: "Hear chords: tell their bass, their quality, or reason out a progression",
		Long: `Dictation sets a key, plays some chords in it, and asks for the degree in the bass
of each, or with --of quality for the quality of each. Type the names, in the
naming of --names or as numbers, and Enter: "do fa sol" or "1 4 5"; "maj m7".
An empty line plays it once more, ? gives up. Then it says what it was and plays
it again. How many chords there are says --length.

The bass lines are made of chords that stand on those degrees in songs, and
follow each other as there. Degrees that sound the same are the same: fi is se.
The qualities are maj, min, dim, aug, 7, maj7, m7, m7b5, dim7, sus4, sus2, 6 and
mMaj7, each where it is at home in the key, with its root in the bass.

With --of progression a progression is told step by step: its bass, the qualities of
its chords, then the chords, as numerals (I IV6 V7), numbers (1 4/6 57) or symbols.
Bass, quality, degree and inversion are marked apart; then it says which chords were
possible over the bass, which was likeliest in the style (--style), and what to have
listened for. --answer may have a way for each step: sing,name,play. The progressions
are drawn from the counts of the style; with --progressions, or a FILE of music as
argument, they are read: a line each, or chord symbols.

With --answer sing you sing the bass back, each degree in any octave, on any
syllable or vowel, in your own time; a pause of four seconds ends it. Each note is
told by its degree and its cents against the key; one that is wrong shifts no
other. Where nothing is heard it is played once more. Without a microphone a
simulated singer answers; with recordings, the n-th answers the n-th question.

With --answer play you play on a MIDI keyboard: the bass, a note for each chord, or
with --of quality the chords, each held for a moment; what you held is named with
its root, its inversion and how it lies. Where nothing is struck it is played once
more. The keyboard is found by itself, on Linux, or named with --keys.

Without a keyboard, or with --input mic, the microphone hears the bass of an
instrument: piano, organ, guitar, bass, flute, from A0 to G6, one note at a time in
any octave. Cents are told against equal temperament on --a4, or on that of the
instrument in your profile. Chords are heard of a MIDI keyboard alone.

With --answer sing --then play you sing the bass, then play it; both are judged.

Names that are typed, and what is sung, go into the practice record where there is
one, or with --record; singback today asks for them as the course says. Without a terminal the
names are read from standard input, a line for each question; --input simulated
shows how it goes. With --format json standard output has one object a line: the
events key, dictation, named, reasoned and summary.

Playback starts quiet: set your headphones, then raise --loudness if you must.`,
		Example: `  singback dictation --key Eb --length 3 --count 2 --input simulated
  singback dictation --of quality --qualities "maj min 7 m7" --count 4 --input simulated
  singback dictation --of progression --style pop --count 2 --input simulated
  singback dictation --answer sing --length 3 --count 2 --input simulated
  singback dictation --answer play --length 3 --input take1.wav take2.wav
  singback dictation --answer play --of quality --qualities "maj min 7" --input simulated
  echo "do" | singback dictation --key G --degrees do --count 1 --output none`,
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.addDrill(cmd, &o.Music, o)
	o.addSung(cmd)
	cmd.Flag("input").Usage = "what answers: typed or simulated; sung or played mic, simulated, or recordings `FILE.wav ...`; played keys, too"
	o.addKeys(cmd)
	oldName(cmd, "level", "loudness")
	o.chords.add(cmd, false)
	cmd.Flags().StringVar(&o.progressions, "progressions", "", "the questions: a `FILE` of progressions, a line each, or of music with chord symbols")
	must(cmd.MarkFlagFilename("progressions"))
	complete(cmd, map[string][]string{
		"key": keyNames(true), "of": {"bass", "quality", drill.OfProgression}, "qualities": compose.Qualities(),
		"answer": {drill.ByName, drill.BySinging, drill.ByPlaying, "sing,name,play"}, "style": styleNames(),
	})
	completed(cmd, "degrees", o.music.completeDegrees("all", "chromatic"))
	return cmd
}

func (o *dictationOptions) run(cmd *cobra.Command, e *env, args []string) error {
	args, err := o.takeMusic(args)
	if err != nil {
		return err
	}
	kind, recordings, err := o.answers(args)
	if err != nil {
		return err
	}
	if err := o.begin(cmd, e, &o.Seed); err != nil {
		return err
	}
	o.Manner.Keyed = o.keys != ""
	o.Recordings, o.OwnProfile = len(recordings), o.music.profile != ""
	if err := o.readGiven(e); err != nil {
		return err
	}
	plan, err := o.Plan()
	if err != nil {
		return err
	}
	person := kind == inputTyped || kind == inputKeys || kind == inputMic || kind == ""
	if person && o.output == outputNone && e.terminal(e.stdin) {
		return usagef("--output none: chords that nobody hears cannot be named; want speaker or a FILE.wav, or --input simulated to see how it goes")
	}
	style := report.Style{Names: plan.Naming, ASCII: e.ascii()}
	return o.perform(cmd, e, &performance{
		plan: plan, kind: kind, recordings: recordings, style: style, start: e.clock(), note: plan.Note,
	})
}

// takeMusic takes a file of music from the arguments: its chords are the questions.
func (o *dictationOptions) takeMusic(args []string) (rest []string, err error) {
	for _, arg := range args {
		music, err := holdsMusic(arg)
		switch {
		case err != nil:
			return nil, err
		case music && o.progressions != "":
			return nil, usagef("%s: the questions are those of %s already; want one file", short(arg), short(o.progressions))
		case music:
			o.progressions = arg
		default:
			rest = append(rest, arg)
		}
	}
	return rest, nil
}

// answers sorts out what answers: what is named is typed, and never heard.
func (o *dictationOptions) answers(args []string) (kind string, recordings []string, err error) {
	words := append(append([]string{}, o.input...), args...)
	if o.keys != "" && !o.Plays() && o.Manner.Then == "" {
		return "", nil, usagef("--keys: no keyboard is played; want it with --answer play, or with --answer sing --then play")
	}
	switch {
	case o.Plays() && o.Sings():
		if kind, recordings, err = o.inputs(args); err == nil && kind == inputSimulated && o.keys != "" {
			err = usagef("--keys: a simulated singer plays, too; want it without --input simulated")
		}
		o.hands = true
		return kind, recordings, err
	case o.Plays():
		return o.played(args)
	case o.Sings():
		if len(words) == 1 && words[0] == inputTyped {
			return "", nil, usagef("--input typed: what is sung is not typed; want mic, simulated or recordings, or --answer name")
		}
		return o.inputs(args)
	case len(words) == 0:
		return inputTyped, nil, nil
	case len(words) > 1 || len(args) > 0:
		return "", nil, usagef("%s: a recording does not name what is heard; with --answer sing it sings the bass", short(words[len(words)-1]))
	}
	by, err := drill.ReadKind(words[0], drill.ByTyping, drill.BySimulation)
	return string(by), nil, err
}
