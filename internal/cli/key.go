package cli

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/exercise"
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
			m.key = strings.Join(args, " ")
			if err := m.know(e); err != nil {
				return err
			}
			item, naming, err := m.base(e.seed)
			if err != nil {
				return err
			}
			if m.voice == "" {
				item.Register.Range = theory.Range{} // a scale rises, whoever sings
			}
			style := report.Style{Names: naming, ASCII: e.ascii()}
			title := style.Key(item.Key)
			var scale theory.Scale
			switch {
			case m.scale != "":
				scale, _ = theory.ParseScale(m.scale) // base has read it
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
			case m.scale == "" && item.Key.Mode == theory.Minor:
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
				enc := json.NewEncoder(e.stdout)
				enc.SetIndent("", "  ")
				return enc.Encode(table)
			case "csv":
				return writeKeyCSV(e, table)
			}
			if err := writeKeyText(e, title, item, table); err != nil {
				return err
			}
			if chromatic || scale == theory.MelodicMinor {
				var down []string
				for _, d := range falling {
					down = append(down, style.Degree(item.Key, d))
				}
				fmt.Fprintf(e.stdout, "\nfalling: %s\n", strings.Join(down, " "))
			}
			return nil
		},
	}
	m.addFlags(cmd)
	m.addScaleFlag(cmd)
	cmd.Flags().BoolVar(&chromatic, "chromatic", false, "all twelve degrees")
	addFormat(cmd, f)
	return cmd
}

func writeKeyCSV(e *env, t report.KeyTable) error {
	w := csv.NewWriter(e.stdout)
	header := []string{"degree", "note", "semitones"}
	for _, n := range theory.Namings() {
		header = append(header, report.Field(n))
	}
	w.Write(append(header, "hz", "cents", "ratio"))
	for i, row := range t.Degrees {
		record := []string{row.Degree.Degree, row.Note, strconv.Itoa(row.Semitones)}
		for _, n := range theory.Namings() {
			record = append(record, row.Names[report.Field(n)])
		}
		w.Write(append(record, strconv.FormatFloat(row.Hz, 'f', 3, 64), strconv.FormatFloat(row.Cents, 'f', 3, 64), t.Rows[i].Ratio))
	}
	w.Flush()
	return w.Error()
}

func writeKeyText(e *env, title string, it exercise.Item, t report.KeyTable) error {
	style := report.Style{ASCII: e.ascii()}
	fmt.Fprintf(e.stdout, "%s, %s, %s\n\n", title, signature(it.Key), tuningWords(it.Tuning))
	// All in one table would be wider than a terminal: first what a singer of
	// movable do reads, then the other namings.
	degree := func(d theory.Degree) string {
		if style.ASCII {
			return d.ASCII()
		}
		return d.String()
	}
	name := func(n theory.Naming, row report.KeyRow) string {
		return report.Style{Names: n, ASCII: style.ASCII}.Degree(it.Key, row.Degree)
	}
	before := []theory.Naming{theory.Movable, theory.LaBased, theory.Numbers}
	ratios := it.Tuning.System != theory.Equal
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprint(w, "degree\tnote\t")
	for _, n := range before {
		fmt.Fprintf(w, "%s\t", n)
	}
	if ratios {
		fmt.Fprint(w, "ratio\tcents\t")
	}
	fmt.Fprintln(w, "Hz")
	for _, row := range t.Rows {
		fmt.Fprintf(w, "%s\t%s\t", degree(row.Degree), style.Pitch(row.Pitch))
		for _, n := range before {
			fmt.Fprintf(w, "%s\t", name(n, row))
		}
		if ratios {
			fmt.Fprintf(w, "%s\t%.1f\t", row.Ratio, row.Cents)
		}
		fmt.Fprintf(w, "%.2f\n", row.Hz)
	}
	w.Flush()
	fmt.Fprint(w, "\ndegree")
	for _, n := range theory.Namings() {
		if !slices.Contains(before, n) {
			fmt.Fprintf(w, "\t%s", n)
		}
	}
	for _, row := range t.Rows {
		fmt.Fprintf(w, "\n%s", degree(row.Degree))
		for _, n := range theory.Namings() {
			if !slices.Contains(before, n) {
				fmt.Fprintf(w, "\t%s", name(n, row))
			}
		}
	}
	fmt.Fprintln(w)
	return w.Flush()
}

// signature says the key signature in words.
func signature(k theory.Key) string {
	n, sign := k.Signature(), "sharp"
	if n < 0 {
		n, sign = -n, "flat"
	}
	switch n {
	case 0:
		return "no sharps or flats"
	case 1:
		return "1 " + sign
	}
	return fmt.Sprintf("%d %ss", n, sign)
}
