package cli

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/listen"
	"singback/internal/notation"
	"singback/internal/report"
	"singback/internal/review"
	"singback/pitch"
	"singback/theory"
)

func newFindKey(e *env) *cobra.Command {
	var rec recording
	var names, profile, part, tune string
	var count int
	var a4 float64
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "findkey NAMES | FILE | TAKE | -",
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
			h, out, err := hear(cmd.Context(), e, args, &rec, naming, a4, part, tune)
			if err != nil {
				return err
			}
			scores, err := theory.FindKeys(h, p)
			if err != nil {
				return err
			}
			scores = scores[:count]
			out = out.By(p, scores)
			if f.value == "json" {
				return e.printJSON(out)
			}
			if err := e.print(e.style(theory.Movable).Keys(scores)); err != nil {
				return err
			}
			fmt.Fprint(e.stderr, out.Notice())
			return askKey(e, scores)
		},
	}
	var profiles []string
	for _, p := range theory.Profiles() {
		profiles = append(profiles, p.Name)
	}
	rec.addFlags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&names, "names", theory.Fixed.String(), "what degrees are called, a `NAMING`: fixed, fixed-chromatic or letters; others count from C")
	addPart(cmd, &tune, &part)
	fl.StringVar(&profile, "key-profile", profiles[0], "what keys are known by, a `PROFILE`: "+strings.Join(profiles, ", "))
	oldName(cmd, "profile", "key-profile")
	fl.IntVar(&count, "count", 3, "how many keys to propose, 1 to 24")
	fl.Float64Var(&a4, "a4", theory.DefaultA4, "tuning: A4 in `Hz`, for a recording, within a quarter tone")
	addFormat(cmd, f)
	completed(cmd, "names", fixed(namingNames()...))
	completed(cmd, "key-profile", fixed(profiles...))
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

// hear returns how long each pitch class sounds in what the arguments are: a
// recording, other music in a file or on standard input, or names of notes.
func hear(ctx context.Context, e *env, args []string, rec *recording, n theory.Naming, a4 float64, part, tune string) (h [12]float64, out report.KeyProposals, err error) {
	m, err := e.openMelody(args, ".txt")
	if err != nil {
		return h, out, err
	}
	defer m.close()
	recorded, err := m.recorded()
	if err != nil {
		return h, out, err
	}
	switch {
	case recorded && part != "":
		return h, out, usagef("--part: %s is a recording, which has no parts", short(m.name))
	case recorded && tune != "":
		return h, out, usagef("--tune: %s is a recording, and has one tune", short(m.name))
	}
	if !recorded {
		h, out.Notes, err = readMelody(e, m, n, part, tune)
		return h, out, err
	}
	src, err := rec.of(m.path, m.in)
	if err != nil {
		return h, out, err
	}
	defer src.Close()
	var notes []pitch.Note
	if err := listen.Melody(ctx, src, listen.Hearing{}, func(found []pitch.Note) { notes = append(notes, found...) }); err != nil {
		return h, out, err
	}
	rec.warn(e, m.path, src)
	if len(notes) == 0 {
		return h, out, fmt.Errorf("%s: no sung or played note was found", m.name)
	}
	h, offset, agreement := review.PitchClasses(notes, src.SampleRate(), a4)
	return h, report.KeyProposals{Notes: len(notes)}.Sung(a4, offset, agreement), nil
}

// readMelody returns how long each pitch class sounds in what is no recording, and
// how many notes there are.
func readMelody(e *env, m *melodyInput, n theory.Naming, part, tune string) (h [12]float64, notes int, err error) {
	if m.in == nil {
		if strings.TrimSpace(m.text) == "" {
			return h, 0, usagef(`a melody is missing, like "do re mi fa sol", or a recording TAKE`)
		}
		h, notes, _, err = review.WrittenClasses("", []byte(m.text), n, "", "")
		return h, notes, usage(err)
	}
	b, err := io.ReadAll(io.LimitReader(m.in, notation.MaxFile+1))
	if err != nil {
		return h, 0, fmt.Errorf("read %s: %w", m.name, err)
	}
	h, notes, warnings, err := review.WrittenClasses(m.name, b, n, part, tune)
	for _, w := range warnings {
		fmt.Fprintf(e.stderr, "%s: %s\n", m.name, w)
	}
	return h, notes, err
}

// askKey asks which of the keys it is, for the singer decides.
func askKey(e *env, scores []theory.KeyScore) error {
	if !e.terminal(e.stdin) || !e.terminal(e.stdout) {
		fmt.Fprintf(e.stderr, "Which is it? Sing the tonic and decide, then tell the other commands, like --key %q.\n", scores[0].Key.ASCII())
		return nil
	}
	answer, err := e.answer(fmt.Sprintf("Which is it? Sing the tonic and decide (1 to %d, or Enter for none): ", len(scores)))
	if err != nil || answer == "" {
		return err
	}
	n, err := strconv.Atoi(answer)
	if err != nil || n < 1 || n > len(scores) {
		return fmt.Errorf("%q is none of the keys: want a number 1 to %d", short(answer), len(scores))
	}
	return e.print("key " + e.style(theory.Movable).Key(scores[n-1].Key) + "\n")
}
