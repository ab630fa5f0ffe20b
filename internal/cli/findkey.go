package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/internal/session"
	"singback/pitch"
	"singback/theory"
)

// keyProposals is what findkey prints with --format json.
type keyProposals struct {
	Schema      int           `json:"schema"`
	Profile     string        `json:"profile"`
	Notes       int           `json:"notes"`
	OffsetCents *float64      `json:"offset_cents"` // of a recording, above A4 as given; null for names
	Agreement   *float64      `json:"agreement"`    // of its notes about that, 0 to 1
	A4Hz        *float64      `json:"a4_hz"`
	Proposals   []keyProposal `json:"proposals"` // the best first; the singer decides
}

type keyProposal struct {
	Key   string  `json:"key"`
	Score float64 `json:"score"` // Pearson's r
}

func newFindKey(e *env) *cobra.Command {
	var rec recording
	var names, profile string
	var count int
	var a4 float64
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "findkey NAMES | FILE | TAKE.wav | -",
		Short: "Propose the key of a melody",
		Long: `Findkey proposes keys for a melody: names of notes, a text file of them, a line
in ABC, MusicXML or MIDI, or a recording that was sung or played; - is standard
input, with any of these. Names are in fixed do (do is C) or letters, with or
without the rhythm signs of singback rename; longer notes weigh more.

The duration of each note is compared with a key profile. The score is a
correlation, 1 at best. That is a guess: often a fifth away, or the relative key,
is nearly as good. So findkey asks; it never grades, and no other command takes
its guess for granted. The profiles, by what they were made from:

` + profileSources() + `
Their old names, by author, are still read.`,
		Example: `  singback findkey "do re mi fa sol"
  singback findkey --names letters "| G :B | D :G ||"
  singback findkey take.wav --format json`,
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveDefault
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			naming, err := theory.ParseNaming(names)
			if err != nil {
				return usage(fmt.Errorf("--names: %w", err))
			}
			p, err := theory.ParseProfile(profile)
			if err != nil {
				return usage(fmt.Errorf("--key-profile: %w", err))
			}
			if _, err := theory.NewTuning(a4); err != nil {
				return usage(fmt.Errorf("--a4: %w", err))
			}
			if count < 1 || count > 24 {
				return usagef("--count: %d is out of range: want 1 to 24", count)
			}
			if !strings.EqualFold(strings.TrimSpace(profile), p.Name) {
				fmt.Fprintf(e.stderr, "--key-profile: %s is called %s now\n", strings.TrimSpace(profile), p.Name)
			}
			out := keyProposals{Schema: report.Schema, Profile: p.Name}
			var h [12]float64
			m, err := findMelody(e, args)
			if err != nil {
				return err
			}
			defer m.close()
			if m.recorded {
				src, err := rec.open(m.env, m.path)
				if err != nil {
					return err
				}
				defer src.Close()
				notes, err := sungNotes(cmd.Context(), src)
				if err != nil {
					return err
				}
				rec.warn(e, m.path, src)
				if len(notes) == 0 {
					return fmt.Errorf("%s: no sung or played note was found", m.name)
				}
				var offset, agreement float64
				h, offset, agreement = sungHistogram(notes, src.SampleRate(), a4)
				offset, agreement = math.Round(offset*10)/10, math.Round(agreement*100)/100
				out.Notes, out.OffsetCents, out.Agreement, out.A4Hz = len(notes), &offset, &agreement, &a4
			} else if h, out.Notes, err = m.histogram(naming); err != nil {
				return err
			}
			scores, err := theory.FindKeys(h, p)
			if err != nil {
				return err
			}
			return proposeKeys(e, f.value == "json", out, scores[:count])
		},
	}
	var profiles []string
	for _, p := range theory.Profiles() {
		profiles = append(profiles, p.Name)
	}
	rec.addFlags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&names, "names", theory.Fixed.String(), "what degrees are called, a `NAMING`: fixed, fixed-chromatic or letters; others count from C")
	fl.StringVar(&profile, "key-profile", profiles[0], "what keys are known by, a `PROFILE`: "+strings.Join(profiles, ", "))
	oldName(cmd, "profile", "key-profile")
	fl.IntVar(&count, "count", 3, "how many keys to propose, 1 to 24")
	fl.Float64Var(&a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, for a recording, within a quarter tone")
	addFormat(cmd, f)
	must(cmd.RegisterFlagCompletionFunc("names", fixed(namingNames()...)))
	must(cmd.RegisterFlagCompletionFunc("key-profile", fixed(profiles...)))
	return cmd
}

// profileSources lists the profiles with their sources, in lines that fit.
func profileSources() string {
	var b strings.Builder
	for _, p := range theory.Profiles() {
		b.WriteString(report.Hang("  "+p.Name, p.Source, 17))
		b.WriteByte('\n')
	}
	return b.String()
}

// foundMelody is what findkey is asked about: names, a file or standard input.
type foundMelody struct {
	env      *env
	path     string // "-" is standard input of env
	name     string // of the file; "" where names were typed
	recorded bool   // it is a recording
	text     string // else
	close    func() error
}

// findMelody finds out what the arguments are: a recording, other music in a file or
// on standard input, or names of notes.
func findMelody(e *env, args []string) (*foundMelody, error) {
	m := &foundMelody{env: e, text: strings.Join(args, " "), close: func() error { return nil }}
	var in io.Reader
	switch {
	case len(args) != 1:
	case args[0] == "-":
		m.path, m.name, in = "-", "standard input", e.stdin
	default:
		info, err := os.Stat(args[0])
		if ext := strings.ToLower(filepath.Ext(args[0])); err != nil && (ext == ".txt" || ext == ".wav") {
			return nil, err
		}
		if _, known := notation.ByName(args[0]); err != nil && known {
			return nil, err
		}
		if err == nil && info.IsDir() {
			return nil, fmt.Errorf("%s is a folder: want a file", short(args[0]))
		}
		if err == nil {
			file, err := os.Open(args[0])
			if err != nil {
				return nil, err
			}
			m.path, m.name, m.close, in = args[0], args[0], file.Close, file
		}
	}
	if in == nil {
		if strings.TrimSpace(m.text) == "" {
			return nil, usagef(`a melody is missing, like "do re mi fa sol", or a recording TAKE.wav`)
		}
		return m, nil
	}
	// What it holds says what it is.
	data := bufio.NewReader(in)
	head, err := data.Peek(len("RIFF....WAVE"))
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, errors.Join(fmt.Errorf("read %s: %w", m.name, err), m.close())
	}
	if isWAV := len(head) == 12 && string(head[:4]) == "RIFF" && string(head[8:]) == "WAVE"; isWAV || strings.EqualFold(filepath.Ext(m.name), ".wav") {
		own := *e
		own.stdin = data
		m.recorded, m.env = true, &own
		return m, nil
	}
	b, err := io.ReadAll(io.LimitReader(data, notation.MaxFile+1))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("read %s: %w", m.name, err), m.close())
	}
	m.text = string(b)
	return m, nil
}

// histogram returns how long each pitch class sounds, and how many notes there are.
func (m *foundMelody) histogram(n theory.Naming) (h [12]float64, notes int, err error) {
	if m.name != "" && !notation.HoldsNames(m.name, []byte(m.text)) {
		score, warnings, err := notation.Parse(m.name, []byte(m.text), notation.Options{})
		if err != nil {
			return h, 0, fmt.Errorf("%s: %w", m.name, err)
		}
		for _, w := range warnings {
			fmt.Fprintf(m.env.stderr, "%s: %s\n", m.name, w)
		}
		for _, note := range score.Notes {
			if !note.Rest {
				h[(note.Pitch.MIDI()%12+12)%12] += note.Length.Float()
				notes++
			}
		}
		return h, notes, nil
	}
	if m.name != "" && len(m.text) > maxText {
		return h, 0, fmt.Errorf("%s holds more than 1 MiB: want a melody", m.name)
	}
	melody, err := theory.ParseMelody(m.text, theory.Key{}, n)
	switch {
	case err == nil:
	case m.name != "":
		return h, 0, fmt.Errorf("%s: %w", m.name, err)
	default:
		return h, 0, usage(err)
	}
	return melody.Histogram(), len(melody.Pitches(4)), nil
}

// sungNotes finds the notes of a whole recording.
func sungNotes(ctx context.Context, src audio.Source) ([]pitch.Note, error) {
	var notes []pitch.Note
	err := melody(ctx, src, session.Hearing{}, func(found []pitch.Note) { notes = append(notes, found...) })
	return notes, err
}

// sungHistogram returns how long each pitch class sounds, in seconds, after
// taking out by how many cents the notes lie away from the semitones of A4 as a
// whole.
func sungHistogram(notes []pitch.Note, rate int, a4 float64) (h [12]float64, offset, agreement float64) {
	var cents, seconds []float64
	for _, n := range notes {
		cents = append(cents, theory.CentsBetween(n.F0, a4))
		seconds = append(seconds, float64(n.Offset-n.Onset)/float64(rate))
	}
	offset, agreement = theory.Offset(cents, seconds)
	for i, c := range cents {
		semitone := 9 + int(math.Round((c-offset)/100)) // A is 9
		h[(semitone%12+12)%12] += seconds[i]
	}
	return h, offset, agreement
}

// vague is the agreement below which the notes stand on no common semitones:
// notes spread evenly over ±25 cents have 0.64, at random about 1/√n.
const vague = 0.5

// proposeKeys prints the proposals, and asks.
func proposeKeys(e *env, asJSON bool, out keyProposals, scores []theory.KeyScore) error {
	for _, s := range scores {
		out.Proposals = append(out.Proposals, keyProposal{s.Key.ASCII(), math.Round(s.Score*1e4)/1e4 + 0})
	}
	if asJSON {
		return json.NewEncoder(e.stdout).Encode(out)
	}
	style := report.Style{ASCII: e.ascii()}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	for i, s := range scores {
		fmt.Fprintf(w, "%d\t%s\t%.4f\n", i+1, style.Key(s.Key), s.Score)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if out.OffsetCents != nil {
		fmt.Fprintf(e.stderr, "%s, as a whole %+.0f cents from A4 = %g Hz.\n", many(out.Notes, "note"), *out.OffsetCents, *out.A4Hz)
		if *out.Agreement < vague {
			fmt.Fprintln(e.stderr, "The notes do not agree about where the semitones lie; take the keys with doubt.")
		}
	}
	if !e.terminal(e.stdin) || !e.terminal(e.stdout) {
		fmt.Fprintf(e.stderr, "Which is it? Sing the tonic and decide, then tell the other commands, like --key %q.\n", scores[0].Key.ASCII())
		return nil
	}
	fmt.Fprintf(e.stderr, "Which is it? Sing the tonic and decide (1 to %d, or Enter for none): ", len(scores))
	line, err := bufio.NewReader(e.stdin).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	answer := strings.TrimSpace(line)
	if answer == "" {
		return nil
	}
	n, err := strconv.Atoi(answer)
	if err != nil || n < 1 || n > len(scores) {
		return fmt.Errorf("%q is none of the keys: want a number 1 to %d", short(answer), len(scores))
	}
	_, err = fmt.Fprintf(e.stdout, "key %s\n", style.Key(scores[n-1].Key))
	return err
}
