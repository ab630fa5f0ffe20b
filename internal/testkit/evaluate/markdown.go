package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"singback/internal/testkit"
	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// chosen tells what was chosen on which of the sounds.
const chosen = `What was chosen on what: the weights were fitted on sounds of their own, by another synthesiser; features and
constants on those and on the development half of the hard set, the thresholds of the other programs on that half too.
The onset weights were fitted on the sight-singing recordings, so their rows are not held out. The third voices are a
third synthesiser's; what they showed decided which conditions the hard set and the training have (silence, gates,
comfort noise), and the edges of notes and the live readings of creak and out of silence were chosen looking at them, so
their rows are not unseen either. The constants of error bars were chosen on the development half, at the SNRs of the
rows. Truth to the edge: beside what is cut to silence, and in the third voices, a frame counts as sung
if its centre sounds; elsewhere the first and last milliseconds of a note do not count.
`

// result is the run as it is kept.
func (r *results) result() testkit.Result {
	b := &strings.Builder{}
	fmt.Fprintf(b, "Hard set, %s half: %.1f minutes, another synthesiser than the training's. Real singing: %.1f minutes, %d single notes.\n\n", r.half, r.seconds/60, r.singing/60, r.singles)
	for _, c := range r.columns {
		switch {
		case c.err != nil:
			fmt.Fprintf(b, "- %s: %v\n", c.name, c.err)
		case c.note != "":
			fmt.Fprintf(b, "- %s: %s\n", c.name, c.note)
		default:
			fmt.Fprintf(b, "- %s: the tracker with its defaults\n", c.name)
		}
	}
	b.WriteString("\nDifferences of less than 0.3 points mean nothing. Speed is of the machine it was measured on, notes included for ours.\n\n" + chosen + "\n| row | unit | goal | met |")
	for _, c := range r.columns {
		fmt.Fprintf(b, " %s |", c.name)
	}
	b.WriteString(" better than ours |\n|" + strings.Repeat(" --- |", len(r.columns)+5) + "\n")
	for _, row := range rows() {
		values := r.values(row)
		met, behind := row.met(values)
		fmt.Fprintf(b, "| %s | %s | %s | %s |", row.name, row.unit, row.goalWritten(values), met)
		for _, c := range r.columns {
			fmt.Fprintf(b, " %s |", c.cell(row, values))
		}
		fmt.Fprintf(b, " %s |\n", behind)
	}
	for _, c := range r.columns {
		if c.name == "ours" && c.err == nil {
			c.markdown(b)
		}
	}
	return testkit.Result{Name: "pitch-" + r.half, Title: "The pitch tracker beside others, " + r.half + " half", Make: "make evaluate HALF=" + r.half, Text: b.String()}
}

// cell is a row's number of the column, or why there is none.
func (c *column) cell(row row, values map[string]float64) string {
	v, ok := values[c.name]
	switch {
	case ok:
		return written(v, row.digits)
	case errors.Is(c.err, errNotInstalled):
		return "not installed"
	}
	return "failed"
}

// goalWritten is the goal as the table has it.
func (r row) goalWritten(values map[string]float64) string {
	switch target := r.target(values); {
	case !math.IsNaN(r.goal):
		return strconv.FormatFloat(r.goal, 'f', -1, 64)
	case !math.IsNaN(target):
		return written(target, r.digits)
	}
	return "-"
}

// markdown writes a row for each condition, and how honest the confidence is.
func (c *column) markdown(b *strings.Builder) {
	fmt.Fprintf(b, "\n## %s, by condition, %%\n\n| condition | frames | overall | 50 c | 25 c | 10 c | 5 c | recall | false alarm | octave | gross | onset F |\n|"+strings.Repeat(" --- |", 12)+"\n", c.name)
	for _, k := range hardset.Conditions() {
		f, onset := c.frames[k], math.NaN()
		if n, ok := c.notes[k]; ok {
			onset = n[0].F()
		}
		fmt.Fprintf(b, "| %s | %d |", k, len(f))
		for _, v := range perCondition(f) {
			fmt.Fprintf(b, " %.2f |", 100*v)
		}
		fmt.Fprintf(b, " %s |\n", written(onset, 3))
	}
	fmt.Fprintf(b, "\n## Confidence of %s, voiced frames of the hard set\n\n| given | frames | mean given, %% | within 50 c, %% |\n| --- | --- | --- | --- |\n", c.name)
	for _, bin := range metrics.Calibration(c.all(), 10, 50) {
		if bin.Frames > 0 {
			fmt.Fprintf(b, "| %.1f to %.1f | %d | %.1f | %.1f |\n", bin.From, bin.To, bin.Frames, 100*bin.Confidence, 100*bin.Right)
		}
	}
}

// perCondition are the shares that the tables of conditions show.
func perCondition(f []metrics.Frame) []float64 {
	return []float64{
		metrics.Overall(f, 50), metrics.RawPitch(f, 50), metrics.RawPitch(f, 25), metrics.RawPitch(f, 10), metrics.RawPitch(f, 5),
		metrics.VoicingRecall(f), metrics.VoicingFalseAlarm(f), metrics.OctaveErrors(f), metrics.GrossErrors(f),
	}
}
