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

// notesHeader is the header of the sung notes in CSV.
const notesHeader = "onset_s,offset_s,f0_hz,cents_se,spread_cents,vibrato_hz,vibrato_cents,scoop_cents,settle_s"

func newNotes(e *env) *cobra.Command {
	var t takes
	var who singer
	f := newFormat("csv", "json")
	cmd := &cobra.Command{
		Use:   "notes TAKE.wav ...",
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
Several recordings, or a folder of them, need --out FOLDER, which gets a file for
each. With --profile the singer's range says where pitches are expected, and what
lies below the noise gate is not voiced.`,
		Example: `  singback notes take.wav
  singback notes --format json take.wav
  singback notes --out notes take1.wav take2.wav`,
		Args: manyArgs("a recording TAKE.wav"),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, err := who.named(e)
			if err != nil {
				return err
			}
			return t.run(cmd.Context(), e, args, f.value, func(ctx context.Context, w io.Writer, src audio.Source) error {
				return writeNotes(ctx, w, src, h, f.value == "json")
			})
		},
	}
	t.addFlags(cmd)
	who.addFlag(cmd)
	addFormat(cmd, f)
	return cmd
}

// writeNotes writes the sung notes of a source as they end.
func writeNotes(ctx context.Context, w io.Writer, src audio.Source, h session.Hearing, asJSON bool) error {
	rate := float64(src.SampleRate())
	table := newTable(w, asJSON)
	table.header(notesHeader)
	row := make([]field, 0, 9)
	write := func(notes []pitch.Note) {
		for _, n := range notes {
			row = append(row[:0],
				field{"onset_s", float64(n.Onset) / rate, 4},
				field{"offset_s", float64(n.Offset) / rate, 4},
				field{"f0_hz", n.F0, 4},
				field{"cents_se", n.SE, 2},
				field{"spread_cents", n.Spread, 2},
				field{"vibrato_hz", n.VibratoHz, 2},
				field{"vibrato_cents", n.VibratoCents, 1},
				field{"scoop_cents", n.Scoop, 1},
				field{"settle_s", n.Settle, 3},
			)
			table.row(row)
		}
	}
	err := melody(ctx, src, h, write)
	return errors.Join(err, table.close())
}

// melody finds the sung notes of a whole recording and hands them on as they
// end; found keeps no reference to them.
func melody(ctx context.Context, src audio.Source, h session.Hearing, found func([]pitch.Note)) error {
	seg, err := pitch.NewMelodySegmenter(h.Config(src.SampleRate()))
	if err != nil {
		return err
	}
	notes := make([]pitch.Note, 0, 16)
	err = track(ctx, src, h, pitch.Offline, func(points []pitch.Point, _ int64) {
		notes = seg.Push(notes[:0], points)
		found(notes)
	})
	found(seg.Flush(notes[:0]))
	return err
}
