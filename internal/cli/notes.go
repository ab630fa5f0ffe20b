package cli

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/report"
)

func newNotes(e *env) *cobra.Command {
	var t takes
	var who singer
	f := newFormat("csv", "json")
	cmd := &cobra.Command{
		Use:   "notes TAKE ...",
		Short: "Print the sung notes of a recording",
		Long: `Notes finds the sung notes of a recording and prints a row for each:

  onset_s, offset_s  where it begins and ends, seconds from the start
  f0_hz              its pitch: the middle of the steady part, vibrato averaged
                     over whole cycles
  cents_se           standard error of that pitch, in cents
  spread_cents       how steady: standard deviation of the steady part
  vibrato_hz         rate of the vibrato; 0 without
  vibrato_cents      its extent to either side
  scoop_cents        where the note starts, against its pitch
  settle_s           how long until the pitch stays within 50 cents

With --format json the rows are objects of one array, with the same names.
Several recordings, or a folder or zip of them, need --out FOLDER, which gets a
file for each. With --profile the singer's range says where pitches are expected, and what
lies below the noise gate is not voiced.`,
		Example: `  singback notes take.wav
  singback notes --format json take.wav
  singback notes --out notes take1.wav take2.wav`,
		Args: manyArgs("a recording TAKE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, err := who.named(e)
			if err != nil {
				return err
			}
			return t.run(cmd.Context(), e, args, f.value, func(ctx context.Context, w io.Writer, src audio.Source) error {
				notes := report.NewSungNotes(w, src.SampleRate(), f.value == "json")
				err := listen.Melody(ctx, src, h, notes.Add)
				return errors.Join(err, notes.Close()) // what was found before an error is written too
			})
		},
	}
	t.addFlags(cmd)
	who.addFlag(cmd)
	addFormat(cmd, f)
	return cmd
}
