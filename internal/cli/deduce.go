package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/report"
	"singback/theory"
)

// maxProgressions bounds --count of deduce.
const maxProgressions = 100

func newDeduce(e *env) *cobra.Command {
	var m music
	styleName := theory.Hymn.String()
	count := 3
	var chords chordNames
	f := newFormat("text", "json")
	var styles []string
	for _, s := range theory.Styles() {
		styles = append(styles, s.String())
	}
	cmd := &cobra.Command{
		Use:   "deduce --key KEY BASS",
		Short: "What the chords over a bass line can be, and what to listen for",
		Long: `Deduce takes a bass line and what was heard above it, and says what each chord
can be, with probabilities: why this chord, what else it could be, which one
more thing to listen for decides. Then come the most probable progressions.

BASS is a list of degrees. Behind each, after a colon, may stand what was heard:

  fa:min   a triad: maj min dim aug sus, as in chord symbols also m, -, o, +
  fa:min7  a chord with its seventh: 7 maj7 min7 hdim7 (m7b5) dim7
  fa:no7   no seventh; 7th some seventh; together, fa:min:no7
  fa:+re   re sounds above it; fa:-re it does not

The quality is that of the chord, whatever is in the bass. The probabilities
come from counts in collections of pop songs, rock songs, congregational hymns
and chorales (--style): which chords stand on each bass, and which root, or in
hymns which chord, follows which. The numbers of gospel are judgement. Nothing
is certain, and nothing that can be heard is impossible.`,
		Example: `  singback deduce --key G --style hymn "do fa:min sol do"
  singback deduce --key "C minor" --style pop "do le te do:min7"
  singback deduce --key Ab --names numbers --chords numbers "1 4:+2 5:7 6" --format json`,
		ValidArgsFunction: m.completeDegrees(),
		RunE: func(cmd *cobra.Command, args []string) error {
			if m.Key == "" {
				return usagef(`--key is missing: like "Ab major" or f#m`)
			}
			key, err := theory.ParseKey(m.Key)
			if err != nil {
				return usage(fmt.Errorf("--key: %w", err))
			}
			style, err := theory.ParseStyle(styleName)
			if err != nil {
				return usage(fmt.Errorf("--style: %w", err))
			}
			naming, err := theory.ParseNaming(m.Names)
			if err != nil {
				return usage(fmt.Errorf("--names: %w", err))
			}
			words, err := chords.style(e, naming)
			if err != nil {
				return err
			}
			if count < 1 || count > maxProgressions {
				return usagef("--count: %d is out of range: want 1 to %d", count, maxProgressions)
			}
			text := strings.Join(args, " ")
			if strings.TrimSpace(text) == "" {
				return usagef(`the bass line is missing: degrees like "do fa:min sol do"`)
			}
			line, err := theory.ParseBassLine(text, key, naming)
			if err != nil {
				return usage(err)
			}
			if len(line) > maxChords {
				return usagef("%d bass notes are too many: want at most %d", len(line), maxChords)
			}
			d, err := theory.Deduce(key, style, line, count)
			if err != nil {
				return err
			}
			if f.value == "json" {
				return e.printIndented(report.NewDeduction(d, naming))
			}
			return e.print(words.Deduction(d))
		},
	}
	m.addKeyFlag(cmd, "", "the `KEY`, like \"Ab major\" or f#m")
	fl := cmd.Flags()
	fl.StringVar(&styleName, "style", styleName, "the `STYLE` whose chords they are: "+strings.Join(styles, ", "))
	fl.StringVar(&m.Names, "names", theory.Movable.String(), drill.NamesHelp())
	fl.IntVar(&count, "count", count, "how many progressions, 1 to 100")
	chords.addFlag(cmd)
	addFormat(cmd, f)
	must(cmd.RegisterFlagCompletionFunc("style", fixed(styles...)))
	must(cmd.RegisterFlagCompletionFunc("names", fixed(namingNames()...)))
	return cmd
}
