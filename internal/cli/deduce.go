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

// deduceOptions are the flags of deduce.
type deduceOptions struct {
	music  music
	style  string
	count  int
	names  chordNames
	file   chordFlags
	format *format
}

func newDeduce(e *env) *cobra.Command {
	o := &deduceOptions{format: newFormat("text", "json")}
	cmd := &cobra.Command{
		Use:   "deduce --key KEY BASS | FILE",
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
is certain, and nothing that can be heard is impossible.

FILE is music with chord symbols (ABC, MusicXML, MXL). The bass of its symbols is
deduced as if nothing else had been heard, and beside what is likeliest stands what
is written. Its key is that of the file, or --key.

Without --style it is the style of the profile in use (singback profile set --style
gospel), or else hymn.`,
		Example: `  singback deduce --key G --style hymn "do fa:min sol do"
  singback deduce --key "C minor" --style pop "do le te do:min7"
  singback deduce --key Ab --names numbers --chords numbers "1 4:+2 5:7 6" --format json
  singback deduce hymn.abc --style hymn`,
		ValidArgsFunction: o.music.completeDegrees(),
		RunE:              func(cmd *cobra.Command, args []string) error { return o.run(cmd, e, args) },
	}
	o.music.addKeyFlag(cmd, "", "the `KEY`, like \"Ab major\" or f#m")
	o.music.singer.addFlag(cmd)
	fl := cmd.Flags()
	fl.StringVar(&o.style, "style", "", drill.StyleHelp())
	fl.StringVar(&o.music.Names, "names", theory.Movable.String(), drill.NamesHelp())
	fl.IntVar(&o.count, "count", 3, "how many progressions, 1 to 100")
	o.names.addFlag(cmd)
	o.file.add(cmd, false)
	addFormat(cmd, o.format)
	completed(cmd, "style", fixed(styleNames()...))
	completed(cmd, "names", fixed(namingNames()...))
	return cmd
}

// styleNames are the words of --style.
func styleNames() (names []string) {
	for _, s := range theory.Styles() {
		names = append(names, s.String())
	}
	return names
}

func (o *deduceOptions) run(cmd *cobra.Command, e *env, args []string) error {
	m := &o.music
	chords, err := o.file.read(e, args, m.Key)
	if err != nil {
		return err
	}
	if m.Key == "" && chords == nil {
		return usagef(`--key is missing: like "Ab major" or f#m`)
	}
	naming, err := theory.ParseNaming(m.Names)
	if err != nil {
		return usage(fmt.Errorf("--names: %w", err))
	}
	words, err := o.names.style(e, naming)
	if err != nil {
		return err
	}
	if o.count < 1 || o.count > maxProgressions {
		return usagef("--count: %d is out of range: want 1 to %d", o.count, maxProgressions)
	}
	style, err := o.music.style(e, o.style)
	if err != nil {
		return err
	}
	if chords != nil {
		return o.compare(e, chords, style, words)
	}
	key, err := theory.ParseKey(m.Key)
	if err != nil {
		return usage(fmt.Errorf("--key: %w", err))
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
	d, err := theory.Deduce(key, style, line, o.count)
	if err != nil {
		return err
	}
	if o.format.value == "json" {
		return e.printIndented(report.NewDeduction(d, naming))
	}
	return e.print(words.Deduction(d))
}

// compare deduces the bass of chords that are written, and says where they are what is
// likeliest.
func (o *deduceOptions) compare(e *env, f *chordFile, style theory.Style, words report.Style) error {
	if len(f.chords) > maxChords {
		fmt.Fprintf(e.stderr, "%s: of its %d chords the first %d are taken.\n", f.path, len(f.chords), maxChords)
		f.chords, f.keys = f.chords[:maxChords], f.keys[:maxChords]
	}
	key := f.oneKey(e)
	line := make([]theory.Bass, len(f.chords))
	for i, c := range f.chords {
		line[i].Degree = key.Degree(c.Chord.Bass)
	}
	d, err := theory.Deduce(key, style, line, o.count)
	if err != nil {
		return err
	}
	if o.format.value == "json" {
		return e.printIndented(report.NewCompared(d, f.chords, words.Names))
	}
	return e.print(words.Compared(d, f.chords))
}
