package cli

import (
	"bufio"
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/report"
	"singback/theory"
)

// judgeRecord is what judge prints with --format json.
type judgeRecord struct {
	Schema int    `json:"schema"`
	Take   string `json:"take"`
	report.Verdict
}

func newJudge(e *env) *cobra.Command {
	var m music
	var rec recording
	var degree string
	tol := exercise.Tolerance{}
	window := exercise.DefaultWindow()
	f := newFormat("text", "json")
	cmd := &cobra.Command{
		Use:   "judge --key KEY --degree DEGREE TAKE.wav",
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
		Args: oneArg("a recording TAKE.wav"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if m.key == "" {
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
			ear, err := m.hearing(item.Tuning.A4, m.profile != "").NewEar(src)
			if err != nil {
				return err
			}
			take, err := ear.Listen(cmd.Context(), window.Recorded(), nil)
			if err != nil {
				return err
			}
			rec.warn(e, args[0], src)
			verdict := exercise.Judge(item, take, tol)
			if f.value == "json" {
				return json.NewEncoder(e.stdout).Encode(judgeRecord{report.Schema, args[0], report.NewVerdict(item, verdict, tol, naming)})
			}
			return writeJudgement(e, report.Style{Names: naming, ASCII: e.ascii()}, item, verdict, tol)
		},
	}
	m.addKeyFlag(cmd, false, "", "the `KEY`, like \"Ab major\", f#m or \"D dorian\"")
	m.addFlags(cmd)
	rec.addFlags(cmd)
	fl := cmd.Flags()
	fl.StringVar(&degree, "degree", "", "the `DEGREE` asked for, like la, 6 or F")
	fl.Float64Var(&tol.Cents, "tolerance", exercise.DefaultTolerance, "how many `CENTS` off are still right, 5 to 50")
	fl.BoolVar(&tol.StrictOctave, "strict-octave", false, "only the octave asked for is right (see --voice, --octave)")
	fl.Float64Var(&window.Hold, "hold", window.Hold, "`SECONDS` after which a held note is an answer")
	addFormat(cmd, f)
	must(cmd.RegisterFlagCompletionFunc("degree", m.completeDegrees()))
	return cmd
}

func writeJudgement(e *env, s report.Style, it exercise.Item, v exercise.Verdict, tol exercise.Tolerance) error {
	w := bufio.NewWriter(e.stdout)
	target, _ := it.Target()
	fmt.Fprintf(w, "asked  %s in %s: %s, %.2f Hz at %s, tolerance %g cents\n",
		s.Degree(it.Key, it.Asked), s.Key(it.Key), s.Pitch(target), it.Hz(target), tuningWords(it.Tuning), tol.Cents)
	fmt.Fprintf(w, "sung   %s\n", s.Headline(it, v))
	for _, line := range s.Details(v) {
		fmt.Fprintf(w, "       %s\n", line)
	}
	if v.Outcome != exercise.NotMeasured {
		plusMinus := "±"
		if s.ASCII {
			plusMinus = "+-"
		}
		fmt.Fprintf(w, "       measured %.2f Hz, %s%.1f cents\n", v.F0, plusMinus, max(0.1, v.SE))
	}
	if note := s.TuningNote([]exercise.Item{it}, tol); note != "" {
		fmt.Fprintf(w, "note   %s\n", note)
	}
	return w.Flush()
}

// recording holds the flags about how a recording is read.
type recording struct {
	channel int
	partial bool
}

func (r *recording) addFlags(cmd *cobra.Command) {
	cmd.Flags().IntVar(&r.channel, "channel", 0, "of a recording read only this channel, a `NUMBER` from 1; 0 mixes all")
	cmd.Flags().BoolVar(&r.partial, "partial", false, "read a recording that is cut short as far as it goes")
}

// options are the flags as options of a reader.
func (r *recording) options() ([]audio.Option, error) {
	var options []audio.Option
	if r.channel < 0 {
		return nil, usagef("--channel: %d is out of range: want 1 or more, or 0 for all", r.channel)
	}
	if r.channel > 0 {
		options = append(options, audio.Channel(r.channel))
	}
	if r.partial {
		options = append(options, audio.Partial())
	}
	return options, nil
}

// open opens a recording; "-" is standard input.
func (r *recording) open(e *env, path string) (*audio.WAV, error) {
	options, err := r.options()
	if err != nil {
		return nil, err
	}
	if path == "-" {
		return audio.NewWAV(e.stdin, "standard input", options...)
	}
	return audio.OpenWAV(path, options...)
}

// warn tells about a recording that was read but may not be what it seems.
func (r *recording) warn(e *env, path string, src *audio.WAV) {
	if src.Cancelled() {
		fmt.Fprintf(e.stderr, "%s: the channels cancel each other when mixed; try --channel 1\n", path)
	}
}
