package cli

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/session"
	"singback/pitch"
)

// The headers of the track in CSV.
const (
	traceHeader = "time_s,f0_hz,voiced,confidence,level_dbfs"
	liveHeader  = traceHeader + ",available_s"
)

func newTrace(e *env) *cobra.Command {
	var t takes
	var who singer
	var live bool
	f := newFormat("csv", "json")
	cmd := &cobra.Command{
		Use:   "trace TAKE.wav ...",
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

Several recordings, or a folder of them, need --out FOLDER. With --profile
the singer's range says where pitches are expected, and what lies below the noise
gate is not voiced.`,
		Example: `  singback trace take.wav >track.csv
  singback trace --live --format json take.wav
  singback trace --out tracks take1.wav take2.wav`,
		Args: manyArgs("a recording TAKE.wav"),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, err := who.named(e)
			if err != nil {
				return err
			}
			return t.run(cmd.Context(), e, args, f.value, func(ctx context.Context, w io.Writer, src audio.Source) error {
				return writeTrace(ctx, w, src, h, f.value == "json", live)
			})
		},
	}
	t.addFlags(cmd)
	who.addFlag(cmd)
	cmd.Flags().BoolVar(&live, "live", false, "decide each row as early as possible, and say when that was")
	addFormat(cmd, f)
	return cmd
}

// writeTrace writes the track of a source, row by row as it is found. What was
// found before an error is written too.
func writeTrace(ctx context.Context, w io.Writer, src audio.Source, h session.Hearing, asJSON, live bool) error {
	rate := float64(src.SampleRate())
	table := newTable(w, asJSON)
	header := traceHeader
	reading := pitch.Offline
	if live {
		header, reading = liveHeader, pitch.Live
	}
	table.header(header)
	row := make([]field, 0, 6)
	err := track(ctx, src, h, reading, func(points []pitch.Point, heard int64) {
		for _, p := range points {
			voiced := 0
			if p.Voiced {
				voiced = 1
			}
			row := append(row[:0],
				field{"time_s", float64(p.Index) / rate, 6},
				field{"f0_hz", p.F0, 4},
				field{"voiced", float64(voiced), 0},
				field{"confidence", p.Confidence, 3},
				field{"level_dbfs", p.Level, 2},
			)
			if live {
				row = append(row, field{"available_s", float64(heard) / rate, 6})
			}
			table.row(row)
		}
	})
	return errors.Join(err, table.close())
}
