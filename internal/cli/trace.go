package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/pitch"
)

// traceHeader is the header of the track in CSV.
const traceHeader = "time_s,f0_hz,voiced,confidence,level_dbfs"

func newTrace(e *env) *cobra.Command {
	var rec recording
	f := newFormat("csv", "json")
	cmd := &cobra.Command{
		Use:   "trace TAKE.wav",
		Short: "Print the pitch track of a recording",
		Long: `Trace prints the fundamental frequency of a recording, one row a hop of 10 ms:

  time_s      centre of the frame, seconds from the start
  f0_hz       fundamental frequency; 0 where nothing voiced was found
  voiced      1 or 0
  confidence  0 to 1
  level_dbfs  RMS level of the frame; a sine at full scale is -3.01

With --format json the rows are objects of one array, with the same names.`,
		Example: `  singback trace take.wav >track.csv
  singback trace --format json take.wav`,
		Args: oneArg("a recording TAKE.wav"),
		RunE: func(cmd *cobra.Command, args []string) error {
			src, err := rec.open(e, args[0])
			if err != nil {
				return err
			}
			defer src.Close()
			w := bufio.NewWriterSize(e.stdout, 1<<16)
			err = writeTrace(cmd.Context(), w, src, f.value == "json")
			if flushed := w.Flush(); err == nil {
				err = flushed
			}
			if err == nil {
				rec.warn(e, args[0], src)
			}
			return err
		},
	}
	rec.addFlags(cmd)
	cmd.Flags().Var(f, "format", "output: csv or json")
	must(cmd.RegisterFlagCompletionFunc("format", f.complete))
	return cmd
}

// writeTrace writes the track of a source, row by row as it is found. What was
// found before an error is written too.
func writeTrace(ctx context.Context, w io.Writer, src audio.Source, asJSON bool) error {
	tracker, err := pitch.NewTracker(pitch.DefaultConfig(src.SampleRate()))
	if err != nil {
		return err
	}
	rate := float64(src.SampleRate())
	rows := 0
	write := func(points []pitch.Point) error {
		for _, p := range points {
			voiced := 0
			if p.Voiced {
				voiced = 1
			}
			layout := "%.6f,%.4f,%d,%.3f,%.2f\n"
			if asJSON {
				layout = "{\"time_s\":%.6f,\"f0_hz\":%.4f,\"voiced\":%d,\"confidence\":%.3f,\"level_dbfs\":%.2f}"
				if rows > 0 {
					layout = ",\n" + layout
				}
			}
			rows++
			if _, err := fmt.Fprintf(w, layout, float64(p.Index)/rate, p.F0, voiced, p.Confidence, p.Level); err != nil {
				return err
			}
		}
		return nil
	}
	before, after := traceHeader+"\n", ""
	if asJSON {
		before, after = "[\n", "\n]\n"
	}
	if _, err := io.WriteString(w, before); err != nil {
		return err
	}
	block := make([]float64, 4096)
	points := make([]pitch.Point, 0, 64)
	for {
		n, lost, err := src.Read(ctx, block)
		points = points[:0]
		if lost > 0 {
			points = tracker.Lost(points, lost)
		}
		points = tracker.Push(points, block[:n])
		end := errors.Is(err, io.EOF)
		if end {
			points = tracker.Flush(points)
		}
		if werr := write(points); werr != nil {
			return werr
		}
		if end || err != nil {
			if _, werr := io.WriteString(w, after); werr != nil {
				return werr
			}
			if end {
				return nil
			}
			return err
		}
	}
}
