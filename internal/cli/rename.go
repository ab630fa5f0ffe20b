package cli

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/internal/drill"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/internal/takedown"
	"singback/theory"
)

// maxText is the longest melody that is read, in bytes.
const maxText = 1 << 20

// renameLong is what help says of rename.
const renameLong = `Rename reads a melody as a list of names or in tonic sol-fa notation, and writes
it in another naming (--names), another key (--to-key) or all twelve (--all-keys;
--all-keys=15 for every spelling). A MELODY of - is read from standard input; of
a file of music (see singback melody) the chord symbols are written below, bar by
bar, and move too.

A name has its octave right behind it: do' or do¹ above, sol, or sol₁ below. In
the relative namings (la-based, curwen, kodaly) octaves count from do, else from
the tonic: a minor melody from its tonic is  la, ti, do re.

Notation has the signs of tonic sol-fa, with any names: | strong, ! medium and :
weak pulse, . half, a comma after a space quarter, ‘ (or a backquote) third of a
pulse, - held, a blank rests, _ slurs, s/d a bridge note, || the end. "Key G."
before it states the key.`

func newRename(e *env) *cobra.Command {
	var m music
	var from, to, toKey, allKeys, tune string
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "rename MELODY | FILE",
		Short: "Turn a melody from one naming into another, and into other keys",
		Long:  renameLong,
		Example: `  singback rename --names fixed --key G "do mi sol ti"
  singback rename --names letters --key G --all-keys "sol, do re mi"
  singback rename --read-as curwen --key G "| d :r | m .,f :s | l :- ||"
  singback rename hymn.abc --to-key F
  singback rename --names relative --key D --scale dorian "do re me fa"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			source, err := theory.ParseNaming(from)
			if err != nil {
				return usage(fmt.Errorf("--read-as: %w", err))
			}
			target, err := theory.ParseNaming(to)
			if err != nil {
				return usage(fmt.Errorf("--names: %w", err))
			}
			key, err := m.readKey("--key", nil)
			if err != nil {
				return err
			}
			melody, score, err := renamed(e, args, key, cmd.Flags().Changed("key"), source, tune)
			if err != nil {
				return err
			}
			keys, err := targetKeys(&m, melody.Key, toKey, allKeys)
			if err != nil {
				return err
			}
			record := report.Renaming{Schema: report.Schema, From: source.String(), To: target.String(), Key: melody.Key.ASCII()}
			style := e.style(target)
			var lines []string
			for _, k := range keys {
				moved, err := melody.In(k)
				if err != nil {
					return usage(err)
				}
				text, err := moved.Text(target, style.ASCII)
				if err != nil {
					return usage(err)
				}
				if target == theory.Curwen && moved.Accents != nil {
					text = moved.Heading() + ". " + text
				}
				lines = append(lines, text)
				chords, err := score.In(k)
				if err != nil {
					return usage(err)
				}
				if text := style.Chords(chords); text != "" {
					lines[len(lines)-1] += "\n" + text
				}
				one, err := report.NewRenamed(moved, target)
				if err != nil {
					return usage(err)
				}
				record.Melodies = append(record.Melodies, one.WithChords(chords))
			}
			if f.value == "json" {
				return e.printJSON(record)
			}
			if allKeys == "" {
				return e.print(lines[0] + "\n")
			}
			w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
			for i, k := range keys {
				fmt.Fprintf(w, "%s\t%s\n", style.Key(k), lines[i])
			}
			return w.Flush()
		},
	}
	m.addKeyFlag(cmd, "C major", "the `KEY`, like \"Ab major\" or f#m; a heading in MELODY goes before it")
	m.addScaleFlag(cmd)
	fl := cmd.Flags()
	addTune(cmd, &tune)
	fl.StringVar(&from, "read-as", theory.Movable.String(), readAsHelp())
	fl.StringVar(&to, "names", theory.Movable.String(), drill.NamesHelp())
	oldName(cmd, "from", "read-as")
	oldName(cmd, "to", "names")
	fl.StringVar(&toKey, "to-key", "", "move it to this `KEY` of the same mode")
	fl.StringVar(&allKeys, "all-keys", "", "in all keys of the mode, 12, or with all spellings 15")
	fl.Lookup("all-keys").NoOptDefVal = "12"
	addFormat(cmd, f)
	completed(cmd, "read-as", fixed(namingNames()...))
	completed(cmd, "names", fixed(namingNames()...))
	completed(cmd, "to-key", fixed(keyNames(false)...))
	completed(cmd, "all-keys", fixed("12", "15"))
	return cmd
}

// renamed reads the melody that the arguments are, or that a file of music holds:
// then the line has its chord symbols, else only its key.
func renamed(e *env, args []string, key theory.Key, asked bool, n theory.Naming, tune string) (theory.Melody, theory.Score, error) {
	if len(args) == 1 && args[0] != "-" {
		m, err := e.openMelody(args)
		if err != nil {
			return theory.Melody{}, theory.Score{}, err
		}
		defer m.close()
		if m.in != nil {
			if head, _ := m.in.Peek(m.in.Size()); takedown.IsChart(string(head)) {
				return theory.Melody{}, theory.Score{}, usagef("%s is a chart: singback follow %s --to-key KEY moves it", short(m.name), short(m.name))
			}
			score, warnings, err := notation.Read(m.name, m.in, notation.Options{Tune: tune, Key: key, KeyAsked: asked, Naming: n, Octave: middleOctave})
			if err != nil {
				return theory.Melody{}, score, err
			}
			if text := notation.Unmoved(score); text != "" {
				warnings = append(warnings, notation.Warning(text))
			}
			for _, w := range warnings {
				fmt.Fprintf(e.stderr, "%s: %s\n", m.name, w)
			}
			melody, _, err := score.Melody()
			if err != nil {
				err = fmt.Errorf("%s: %w", m.name, err)
			}
			return melody, score, err
		}
	}
	text, err := melodyText(e, args)
	if err != nil {
		return theory.Melody{}, theory.Score{}, err
	}
	melody, err := theory.ParseMelody(text, key, n)
	return melody, theory.Score{Key: melody.Key}, usage(err)
}

// melodyText is the melody that the arguments are, or name.
func melodyText(e *env, args []string) (string, error) {
	text := strings.Join(args, " ")
	if text == "-" {
		b, err := e.readUpTo(text, maxText, "a melody as text")
		return string(b), err
	}
	if strings.TrimSpace(text) == "" {
		return "", usagef(`a melody is missing, like "do mi sol ti"`)
	}
	return text, nil
}

// targetKeys returns the keys to move a melody in k to.
func targetKeys(m *music, k theory.Key, toKey, allKeys string) ([]theory.Key, error) {
	switch {
	case toKey != "" && allKeys != "":
		return nil, usagef("--to-key and --all-keys exclude each other")
	case allKeys == "12":
		twelve := theory.TwelveKeys(k.Mode)
		return twelve[:], nil
	case allKeys == "15":
		var keys []theory.Key
		for _, other := range theory.Keys() {
			if other.Mode == theory.Major {
				keys = append(keys, other.WithMode(k.Mode))
			}
		}
		return keys, nil
	case allKeys != "":
		return nil, usagef("--all-keys: %q: want 12 or 15", short(allKeys))
	case toKey == "":
		return []theory.Key{k}, nil
	}
	to := *m
	to.Key = toKey
	target, err := to.readKey("--to-key", nil)
	return []theory.Key{target}, err
}
