package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/report"
	"singback/theory"
)

func newKey(e *env) *cobra.Command {
	var m music
	var chromatic bool
	f := newFormat("text", "json", "csv")
	cmd := &cobra.Command{
		Use:   "key KEY",
		Short: "Show a key or scale: its degrees, notes, syllables and frequencies",
		Long: `Key prints the table of one of the 30 keys: each degree, its note as it is
spelled, its name in every naming, and its frequency in the octave where the
drill would ask for it. Minor keys show the raised sixth and seventh too.

With --scale it prints a scale on any tonic: harmonic or melodic minor, a church
mode, a pentatonic, the blues. With --tuning just or pythagorean the degrees
stand in their ratios above the tonic, which stays where equal temperament has
it; "just re=10/9" and "just te=16/9" choose the smaller re and te.

Degrees are counted from the major scale on the tonic, in minor as well: the
third of a minor key is b3.`,
		Example: `  singback key "Gb major"
  singback key D --scale dorian --tuning just
  singback key f#m --a4 442 --voice tenor --format csv`,
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return keyNames(true), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usagef(`a key is missing, like "Ab major" or f#m`)
			}
			m.Key = strings.Join(args, " ")
			if err := m.know(e); err != nil {
				return err
			}
			item, naming, err := m.base(e.seed)
			if err != nil {
				return err
			}
			if m.Voice == "" {
				item.Register.Range = theory.Range{} // a scale rises, whoever sings
			}
			style := e.style(naming)
			title := style.Key(item.Key)
			var scale theory.Scale
			switch {
			case m.Scale != "":
				scale, _ = theory.ParseScale(m.Scale) // base has read it
				title = strings.TrimSuffix(title, item.Key.Mode.String()) + scale.String()
			case item.Key.Mode == theory.Minor:
				scale = theory.NaturalMinor
			case item.Key.Mode > theory.Minor:
				scale, _ = theory.ParseScale(item.Key.Mode.String()) // every church mode is a scale
			}
			degrees, falling := scale.Rising(), scale.Falling()
			switch {
			case chromatic:
				up, down := item.Key.ChromaticDegrees(), item.Key.ChromaticFalling()
				degrees, falling = up[:], down[:]
			case m.Scale == "" && item.Key.Mode == theory.Minor:
				degrees = append(degrees, theory.Degree{Step: 6}, theory.Degree{Step: 7})
			}
			for _, d := range falling {
				if !chromatic && !slices.Contains(degrees, d) {
					degrees = append(degrees, d)
				}
			}
			table := report.NewKeyTable(item, degrees, naming).WithScale(item.Key, scale, falling, naming)
			switch f.value {
			case "json":
				return e.printIndented(table)
			case "csv":
				return table.CSV(e.stdout)
			}
			if !chromatic && scale != theory.MelodicMinor {
				falling = nil // it is the way up, backwards
			}
			return e.print(style.KeyTable(title, item, table, falling))
		},
	}
	m.addFlags(cmd)
	m.addScaleFlag(cmd)
	cmd.Flags().BoolVar(&chromatic, "chromatic", false, "all twelve degrees")
	addFormat(cmd, f)
	return cmd
}
