package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/report"
	"singback/theory"
)

func newBetween(e *env) *cobra.Command {
	h := harmony{texture: "keyboard"}
	var key string
	var file chordFlags
	var voices bool
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "between FROM TO | FILE",
		Short: "What may stand between two chords, and the rule that allows it",
		Long: `Between lists the passing chords of church and gospel playing that may stand
between two chords: secondary dominants, ii-V, chains of two and three, tritone
substitutes, passing and common-tone diminished chords, plagal and borrowed
chords, the back door, turnarounds from a chord to itself, IV or ii over the
bass of the dominant, suspensions and colours, chords between two inversions,
bass runs, walk-ups and walk-downs of a bass in steps, the pedal. Each comes with its rule. What was counted
most often in published collections comes first, with the share of such moves
that go on so; the others follow.

Chords are symbols (C, Dm7, F#m7b5, C/G); with --key Roman numerals and numbers
of a chart too (I V7/V, 1 57, 6- 4/1). Without
--key the rules are applied in every key that both chords belong to, and the
key is named.

FILE is music with chord symbols (ABC, MusicXML, MXL): then each pair of neighbours
gets its passing chords, in the key of the file or --key, the first few of each.`,
		Example: `  singback between C F
  singback between Dm7 G7 --key C --voices
  singback between C C --key C
  singback between I IV --key "Gb major" --format json
  singback between hymn.abc`,
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		chords, err := file.read(e, args, key)
		if err != nil {
			return err
		}
		if chords != nil {
			return h.betweenAll(e, chords, voices, f.value)
		}
		args, err = theory.CutChords(strings.Join(args, " "))
		if err != nil {
			return usage(err)
		}
		if len(args) != 2 {
			return usagef("chords given: %d; want two, like C F", len(args))
		}
		tuning, texture, style, err := h.readAll(e)
		if err != nil {
			return err
		}
		ways, err := readBetween(args, key)
		if err != nil {
			return err
		}
		ways.Strict = h.strict
		if f.value == "json" {
			return e.printIndented(report.NewBetween(ways, texture, tuning))
		}
		if !voices {
			return e.print(style.Between(ways, nil))
		}
		return e.print(style.Between(ways, &texture))
	}
	fl := cmd.Flags()
	fl.StringVar(&key, "key", "", "the `KEY`, like \"Ab major\" or f#m (else any)")
	fl.BoolVar(&voices, "voices", false, "write each in four parts, for keyboard")
	file.add(cmd, false)
	h.addTuning(cmd)
	h.addStrict(cmd)
	h.chords.addFlag(cmd)
	addFormat(cmd, f)
	completed(cmd, "key", fixed(keyNames(false)...))
	return cmd
}

// betweenFew is how many passing chords each pair of a file gets in text.
const betweenFew = 3

// readAll reads what says how chords are set and named.
func (h *harmony) readAll(e *env) (tuning theory.Tuning, texture theory.Texture, style report.Style, err error) {
	if tuning, err = h.readTuning(e); err != nil {
		return tuning, texture, style, err
	}
	if texture, err = h.readTexture(); err != nil {
		return tuning, texture, style, err
	}
	style, err = h.chords.style(e, theory.Movable)
	return tuning, texture, style, err
}

// betweenAll lists what may stand between the neighbours of a file, each pair once.
func (h *harmony) betweenAll(e *env, f *chordFile, voices bool, format string) error {
	tuning, texture, style, err := h.readAll(e)
	if err != nil {
		return err
	}
	type pair struct {
		from, to theory.Chord
		key      theory.Key
	}
	times := map[pair]int{}
	var pairs []pair
	for i := 1; i < len(f.chords); i++ {
		if f.keys[i-1] != f.keys[i] {
			continue // the chord before a change of key leads into another
		}
		p := pair{f.chords[i-1].Chord, f.chords[i].Chord, f.keys[i]}
		if times[p]++; times[p] == 1 {
			pairs = append(pairs, p)
		}
	}
	if len(pairs) == 0 {
		return fmt.Errorf("%s: it has no two chords one after the other", f.path)
	}
	var records []report.Between
	for n, p := range pairs {
		ways := report.Ways{From: p.from, To: p.to, Keys: []theory.Key{p.key}, Passing: theory.PassingChords(p.from, p.to, p.key), Strict: h.strict}
		if format == "json" {
			records = append(records, report.NewBetween(ways, texture, tuning))
			continue
		}
		all := len(ways.Passing)
		ways.Passing = ways.Passing[:min(all, betweenFew)]
		text := style.Between(ways, nil)
		if voices {
			text = style.Between(ways, &texture)
		}
		if n > 0 {
			text = "\n" + text
		}
		if times[p] > 1 {
			text += fmt.Sprintf("%d times in the file.\n", times[p])
		}
		if all > betweenFew {
			text += fmt.Sprintf("%d more: singback between %s %s --key %q\n", all-betweenFew, p.from.ASCII(), p.to.ASCII(), p.key.ASCII())
		}
		if err := e.print(text); err != nil {
			return err
		}
	}
	if format == "json" {
		return e.printIndented(records)
	}
	return nil
}

// readBetween reads the two chords and applies the rules.
func readBetween(args []string, keyName string) (report.Ways, error) {
	var w report.Ways
	var key theory.Key // a symbol is the same in any
	if keyName != "" {
		k, err := theory.ParseKey(keyName)
		if err != nil {
			return w, usage(fmt.Errorf("--key: %w", err))
		}
		key, w.Keys = k, []theory.Key{k}
	}
	chords, err := theory.ParseSymbols(args, key)
	if err != nil {
		return w, usage(err)
	}
	w.From, w.To = chords[0].Chord, chords[1].Chord
	for i := range args {
		if _, number := theory.ParseNumber(args[i], key); keyName == "" && number == nil {
			return w, usagef("%q is a number: in which key? --key is missing", short(args[i]))
		}
		if _, numeral := theory.ParseRoman(args[i], key); keyName == "" && numeral == nil {
			return w, usagef("%q is a Roman numeral: in which key? --key is missing", short(args[i]))
		}
	}
	if keyName != "" {
		w.Passing = theory.PassingChords(w.From, w.To, key)
	} else {
		w.Keys = theory.PassingKeys(w.From, w.To)
		w.Passing = theory.PassingAnywhere(w.From, w.To)
	}
	return w, nil
}
