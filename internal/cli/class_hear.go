package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"singback/internal/audio"
	"singback/internal/classfile"
	"singback/internal/desk"
	"singback/internal/drill"
	"singback/internal/newfile"
	"singback/internal/sheet"
	"singback/internal/synth"
)

// hearing is what the flags of class hear say.
type hearing struct {
	c         *classFlags
	sound     soundFlags
	lufs      float64
	plays     string // --instrument
	at, until string
	what      string
	take      int64
}

func newClassHear(e *env, c *classFlags) *cobra.Command {
	o := hearing{c: c}
	cmd := &cobra.Command{
		Use:   "hear STUDENT TASK",
		Short: "Hear a take, the model in its key and tempo, or both",
		Long: `Hear plays the take that counts of a student for a task. With --at a place, as sheets
and marks name it, it begins one bar before, or two seconds where the model has no
bars, and ends with --until, or after four seconds.

--what model plays the line as it was to be sung, in the key and the tempo of the
take; --what both plays them together. The recording is read from where it lies,
unless the class has a copy; one that is gone, or that is another one now, is said.`,
		Example: `  singback class hear Ana "week 1" --at 0:03
  singback class hear Ana "week 1" --at 0:03 --what model --output place.wav`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usagef(`want a STUDENT and a TASK, each as one word: "week 1" in quotes`)
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd.Context(), e, args[0], args[1]) },
	}
	fl := cmd.Flags()
	fl.StringVar(&o.at, "at", "", "one bar before this `PLACE` of the recording, like 0:07.2, in minutes and seconds")
	fl.StringVar(&o.until, "until", "", "up to this `PLACE` of the recording (else 4 seconds after --at, or its end)")
	fl.StringVar(&o.what, "what", desk.HearTake.String(), "`WHAT` is heard: take, model or both")
	fl.Int64Var(&o.take, "take", 0, "the take of this `NUMBER`, as class table --format json has it (else the one that counts)")
	o.sound.addOutput(cmd)
	drill.AddLoudness(fl, &o.lufs)
	drill.AddInstrument(fl, &o.plays, synth.Piano)
	completed(cmd, "instrument", fixed(synth.InstrumentNames()...))
	completed(cmd, "what", fixed("take", "model", "both"))
	return cmd
}

func (o *hearing) run(ctx context.Context, e *env, student, task string) error {
	what, ok := desk.WhatNamed(strings.ToLower(o.what))
	if !ok {
		return usagef("--what: %q: want take, model or both", short(o.what))
	}
	at, err := readPlace("--at", o.at)
	if err != nil {
		return err
	}
	until, err := readPlace("--until", o.until)
	if err != nil {
		return err
	}
	if err := errors.Join(drill.CheckLoudness(o.lufs), o.sound.check("")); err != nil {
		return err
	}
	played, err := drill.ReadInstrument(o.plays)
	if err != nil {
		return err
	}
	ctx, stop := e.interruptible(ctx)
	defer stop()
	var heard desk.Sound
	err = o.c.with(false, func(f *classfile.File) error {
		id, err := o.which(f, student, task)
		if err != nil {
			return err
		}
		m, err := desk.Explain(f, id)
		if err != nil {
			return err
		}
		m.Instrument = played
		if o.at != "" {
			if until == 0 {
				until = min(at+4, m.End())
			}
			at = m.Before(at)
		}
		heard, err = m.Sound(ctx, f, what, at, until, o.lufs)
		if err == nil {
			fmt.Fprintf(e.stderr, "%s, %s: %s from %s to %s\n", m.StudentName, m.TaskName, what, sheet.Clock(heard.From), sheet.Clock(heard.To))
		}
		return err
	})
	if err != nil {
		return err
	}
	return o.play(ctx, e, heard)
}

// which is the take that is meant.
func (o *hearing) which(f *classfile.File, student, task string) (int64, error) {
	s, err := f.Student(student)
	if err != nil {
		return 0, err
	}
	t, err := f.Task(task)
	if err != nil {
		return 0, err
	}
	if o.take != 0 {
		row, err := f.Take(o.take)
		if err == nil && (row.Student != s.ID || row.Task != t.ID) {
			err = fmt.Errorf("--take: %d is a take of %s for %s", o.take, row.StudentName, row.TaskName)
		}
		return o.take, err
	}
	id := int64(0)
	for row, err := range f.Takes(classfile.Query{Student: s.ID, Task: t.ID, Counting: true}) {
		if err != nil {
			return 0, err
		}
		id = row.ID
	}
	if id == 0 {
		return 0, fmt.Errorf("%s handed nothing in for %s", s.Name, t.Name)
	}
	return id, nil
}

// play brings a sound to the loudspeaker, or into a file as it was recorded.
func (o *hearing) play(ctx context.Context, e *env, heard desk.Sound) error {
	if strings.EqualFold(filepath.Ext(o.sound.output), ".wav") {
		err := e.writeFile(o.sound.output, o.sound.force, 0o600, func(w io.Writer) error { return audio.WriteWAV(w, heard.Rate, heard.Samples) })
		if errors.Is(err, newfile.ErrThere) {
			return fmt.Errorf("--output: %s: it is there already: --force replaces it, or name another file", o.sound.output)
		}
		return err
	}
	var s stage
	defer s.close()
	where := stageOptions{soundFlags: o.sound}
	where.output = cmp.Or(where.output, outputSpeaker)
	if err := where.openOutput(ctx, e, &s, "", nil); err != nil {
		return err
	}
	if err := s.out.Write(ctx, heard.AtRate(s.out.SampleRate()).Samples); err != nil {
		return err
	}
	return errors.Join(s.out.Drain(ctx), s.close())
}

// readPlace reads a place in a recording: 0:07.2 or 7.2; "" is 0.
func readPlace(flag, s string) (float64, error) {
	if s == "" {
		return 0, nil
	}
	minutes, rest, parted := strings.Cut(s, ":")
	if !parted {
		minutes, rest = "0", s
	}
	m, err := strconv.ParseUint(minutes, 10, 16)
	seconds, err2 := strconv.ParseFloat(rest, 64)
	if err != nil || err2 != nil || !(seconds >= 0 && seconds < 1e6) || parted && seconds >= 60 {
		return 0, usagef("%s: %q is no place in a recording: want minutes and seconds, like 0:07.2", flag, short(s))
	}
	return 60*float64(m) + seconds, nil
}
