package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/listen"
	"singback/internal/report"
	"singback/theory"
)

func newJudge(e *env) *cobra.Command {
	var m music
	var rec recording
	var degree string
	tol := exercise.Tolerance{}
	window := exercise.DefaultWindow()
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "judge --key KEY --degree DEGREE TAKE",
		Short: "Judge a recording of one sung degree",
		Long: `Judge listens to a recording as the drill listens to the microphone, and says
whether the degree asked was sung, in which octave, how many cents off, how
steady, and how soon it settled. The same samples get the same verdict.

The answer is the longest note of the first phrase. The verdict of a note that
was held long enough (--hold) does not wait for its end.

With a profile (see singback profile) the tuning is that of the instrument, and
the singer's range says where the note is expected. The noise gate was measured
with one microphone in one room, so a recording gets it only with --profile.`,
		Example: `  singback judge --key "Ab major" --degree la take.wav
  singback judge --key f#m --degree me --tolerance 25 --format json take.wav`,
		Args: oneArg("a recording TAKE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if m.Key == "" {
				return usagef(`--key is missing: in which key was it sung? like "Ab major" or f#m`)
			}
			if err := m.know(e); err != nil {
				return err
			}
			item, naming, err := m.base(nil)
			if err != nil {
				return err
			}
			if degree == "" {
				return usagef("--degree is missing: which degree was asked? like la, 6 or %s", item.Key.Note(theory.Degree{Step: 6}).ASCII())
			}
			if item.Asked, err = theory.ParseDegree(degree, item.Key, naming); err != nil {
				return usage(fmt.Errorf("--degree: %w", err))
			}
			if err := tol.Validate(); err != nil {
				return usage(fmt.Errorf("--tolerance: %w", err))
			}
			if err := window.Validate(); err != nil {
				return usage(fmt.Errorf("--hold: %w", err))
			}
			src, err := rec.open(e, args[0])
			if err != nil {
				return err
			}
			defer src.Close()
			ear, err := listen.New(src, m.hearing(item.Tuning.A4, m.profile != ""))
			if err != nil {
				return err
			}
			take, err := ear.Note(cmd.Context(), window.Recorded(), nil)
			if err != nil {
				return err
			}
			rec.warn(e, args[0], src)
			verdict := exercise.Judge(item, take, tol)
			if f.value == "json" {
				return e.printJSON(report.Judgement{Schema: report.Schema, Take: args[0], Verdict: report.NewVerdict(item, verdict, tol, naming)})
			}
			return e.print(e.style(naming).Judgement(item, verdict, tol))
		},
	}
	m.addKeyFlag(cmd, "", "the `KEY`, like \"Ab major\", f#m or \"D dorian\"")
	m.addFlags(cmd)
	rec.addFlags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&degree, "degree", "", "the `DEGREE` asked for, like la, 6 or F")
	fl.Float64Var(&tol.Cents, "tolerance", exercise.DefaultTolerance, "how many `CENTS` off are still right, 5 to 50")
	fl.BoolVar(&tol.StrictOctave, "strict-octave", false, "only the octave asked for is right (see --voice, --octave)")
	fl.Float64Var(&window.Hold, "hold", window.Hold, "`SECONDS` after which a held note is an answer")
	addFormat(cmd, f)
	completed(cmd, "degree", m.completeDegrees())
	return cmd
}
