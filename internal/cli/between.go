package cli

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/internal/report"
	"singback/theory"
)

func newBetween(e *env) *cobra.Command {
	h := harmony{texture: "keyboard"}
	var key string
	var voices bool
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "between FROM TO",
		Short: "What may stand between two chords, and the rule that allows it",
		Long: `Between lists the passing chords of church and gospel playing that may stand
between two chords: secondary dominants, ii-V, passing diminished chords,
plagal and borrowed chords, IV over sol, walk-ups and walk-downs, the pedal, the
augmented dominant, the suspension. Each comes with its rule. What was counted
most often in published collections comes first, with the share of such moves
that go on so; the others follow.

Chords are symbols (C, Dm7, F#m7b5, C/G); with --key Roman numerals too. Without
--key the rules are applied in every key that both chords belong to, and the
key is named.`,
		Example: `  singback between C F
  singback between Dm7 G7 --key C --voices
  singback between I IV --key "Gb major" --format json`,
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		args, err := theory.CutChords(strings.Join(args, " "))
		if err != nil {
			return usage(err)
		}
		if len(args) != 2 {
			return usagef("chords given: %d; want two, like C F", len(args))
		}
		tuning, err := h.readTuning(e)
		if err != nil {
			return err
		}
		texture, err := h.readTexture()
		if err != nil {
			return err
		}
		b, err := readBetween(args, key)
		if err != nil {
			return err
		}
		record := report.Between{Schema: report.Schema, From: b.from.ASCII(), To: b.to.ASCII(), Passing: []report.Passing{}}
		for _, k := range b.keys {
			record.Keys = append(record.Keys, k.Readable().ASCII())
		}
		style := report.Style{ASCII: e.ascii()}
		if f.value == "json" {
			for _, p := range b.passing {
				line := b.line(p)
				v, _, err := texture.Voice(line)
				if err != nil {
					v = nil // said by null
				}
				record.Passing = append(record.Passing, report.NewPassing(p, line, v, tuning))
			}
			enc := json.NewEncoder(e.stdout)
			enc.SetIndent("", "  ")
			return enc.Encode(record)
		}
		return b.write(e, style, texture, voices)
	}
	fl := cmd.Flags()
	fl.StringVar(&key, "key", "", "the `KEY`, like \"Ab major\" or f#m (else any)")
	fl.BoolVar(&voices, "voices", false, "write each in four parts, for keyboard")
	h.addTuning(cmd)
	addFormat(cmd, f)
	must(cmd.RegisterFlagCompletionFunc("key", fixed(keyNames(false)...)))
	return cmd
}

// betweenChords is what between was asked and what it found.
type betweenChords struct {
	from, to theory.Chord
	keys     []theory.Key
	passing  []theory.Passing
}

// readBetween reads the two chords and applies the rules.
func readBetween(args []string, keyName string) (betweenChords, error) {
	var b betweenChords
	if keyName != "" {
		k, err := theory.ParseKey(keyName)
		if err != nil {
			return b, usage(fmt.Errorf("--key: %w", err))
		}
		b.keys = []theory.Key{k}
	}
	for i, s := range args {
		var k theory.Key // a symbol is the same in any
		if keyName != "" {
			k = b.keys[0]
		}
		r, err := theory.ParseSymbol(s, k)
		if keyName == "" && err == nil {
			if _, numeral := theory.ParseRoman(s, k); numeral == nil {
				return b, usagef("%q is a Roman numeral: in which key? --key is missing", short(s))
			}
		}
		c := r.Chord
		if err != nil {
			return b, usage(err)
		}
		if i == 0 {
			b.from = c
		} else {
			b.to = c
		}
	}
	if keyName != "" {
		b.passing = theory.PassingChords(b.from, b.to, b.keys[0])
	} else {
		b.keys = theory.PassingKeys(b.from, b.to)
		b.passing = theory.PassingAnywhere(b.from, b.to)
	}
	return b, nil
}

// line is the way with both chords, in the key in which it was found.
func (b betweenChords) line(p theory.Passing) []theory.Roman {
	line := []theory.Roman{p.Key.Roman(b.from)}
	line = append(line, p.Chords...)
	return append(line, p.Key.Roman(b.to))
}

func (b betweenChords) write(e *env, style report.Style, texture theory.Texture, voices bool) error {
	var names []string
	for _, k := range b.keys {
		names = append(names, style.Key(k.Readable()))
	}
	out := &strings.Builder{}
	fmt.Fprintf(out, "%s to %s, in %s\n\n", style.Chord(b.from), style.Chord(b.to), strings.Join(names, ", "))
	if len(b.passing) == 0 {
		fmt.Fprintln(out, "No rule allows a chord between them.")
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	sources := []string{}
	for _, p := range b.passing {
		var symbols, numerals []string
		for _, r := range p.Chords {
			symbols = append(symbols, style.Chord(r.Chord))
			numerals = append(numerals, style.Roman(r))
		}
		often := ""
		if p.Often.Of != "" {
			n := len(sources)
			for i, s := range sources {
				if s == p.Often.Source {
					n = i
				}
			}
			if n == len(sources) {
				sources = append(sources, p.Often.Source)
			}
			often = style.Words(p.Often.Of)
			if p.Often.Percent > 0 {
				often += fmt.Sprintf(" %d %%", p.Often.Percent)
			}
			often += fmt.Sprintf(" [%d]", n+1)
		}
		fmt.Fprintf(w, "%s\t%s in %s\t%s\t%s\n", strings.Join(symbols, " "), strings.Join(numerals, " "), style.Key(p.Key.Readable()), style.Words(p.Device), often)
	}
	w.Flush()
	fmt.Fprintln(out)
	told := map[string]bool{}
	for _, p := range b.passing {
		if !told[p.Device] {
			told[p.Device] = true
			fmt.Fprintf(out, "%s: %s.\n", style.Words(p.Device), style.Words(p.Rule))
		}
	}
	for i, s := range sources {
		fmt.Fprintf(out, "[%d] %s\n", i+1, s)
	}
	var all []theory.Roman
	for _, p := range b.passing {
		all = append(all, b.line(p)...)
	}
	if notes := style.Respelled(all); notes != "" {
		fmt.Fprintf(out, "\n%s", notes)
	}
	if voices {
		for _, p := range b.passing {
			line := b.line(p)
			v, _, err := texture.Voice(line)
			if err != nil {
				fmt.Fprintf(out, "\n%v\n", err)
				continue
			}
			fmt.Fprintf(out, "\n%s", style.Voicing(line, v))
		}
	}
	lines := strings.Split(out.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	_, err := fmt.Fprint(e.stdout, strings.Join(lines, "\n"))
	return err
}
