package cli

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/report"
	"singback/pitch"
)

func newTrace(e *env) *cobra.Command {
	var t takes
	var who singer
	var estimates, live bool
	f := newFormat("csv", "json")
	cmd := &cobra.Command{
		Use:   "trace TAKE ...",
		Short: "Print the pitch track of a recording",
		Long: `Trace prints the fundamental frequency of a recording, one row a hop of 10 ms:

  time_s      centre of the frame, seconds from the start
  f0_hz       fundamental frequency; 0 where nothing voiced was found
  voiced      1 or 0
  confidence  0 to 1: of the frames given 0.9, about 90 % are right
  level_dbfs  RMS level of the frame; a sine at full scale is -3.01

With --format json the rows are objects of one array, with the same names.

The track is the best path through the whole recording. With --live each row is
decided as early as it can be, as if the sound were coming in now, and one more
column says when:

  available_s  how much of the recording had been heard, in seconds

With --estimates one more column gives the pitch whatever the voicing, as the raw
pitch accuracy of the field's evaluations asks for:

  estimate_hz  f0_hz where voiced is 1; where it is 0, the likeliest pitch; 0 if none

Several recordings, or a folder or zip of them, need --out FOLDER. With --profile
the singer's range says where pitches are expected, and what lies below the noise
gate is not voiced.`,
		Example: `  singback trace take.wav >track.csv
  singback trace --live --format json take.wav
  singback trace --estimates take.wav >estimates.csv
  singback trace --out tracks take1.wav take2.wav`,
		Args: manyArgs("a recording TAKE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, err := who.named(e)
			if err != nil {
				return err
			}
			return t.run(cmd.Context(), e, args, f.value, func(ctx context.Context, w io.Writer, src audio.Source) error {
				reading := pitch.Offline
				if live {
					reading = pitch.Live
				}
				h := h
				h.Estimates = estimates
				track := report.NewTrack(w, src.SampleRate(), f.value == "json", estimates, live)
				err := listen.Track(ctx, src, h, reading, nil, track.Add)
				return errors.Join(err, track.Close()) // what was found before an error is written too
			})
		},
	}
	t.addFlags(cmd)
	who.addFlag(cmd)
	cmd.Flags().BoolVar(&estimates, "estimates", false, "give the likeliest pitch of rows that are not voiced, too")
	cmd.Flags().BoolVar(&live, "live", false, "decide each row as early as possible, and say when that was")
	addFormat(cmd, f)
	return cmd
}
