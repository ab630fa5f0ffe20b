package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// values are a row's numbers of the programs that ran.
func (r *results) values(w row) map[string]float64 {
	out := map[string]float64{}
	for _, c := range r.columns {
		if c.err == nil {
			out[c.name] = w.value(c)
		}
	}
	return out
}

// written is a number as the table has it.
func written(v float64, digits int) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case math.IsInf(v, 0):
		return "never"
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

func (r *results) text(w io.Writer) error {
	b := &strings.Builder{}
	fmt.Fprintf(b, "Hard set, %s: %.1f minutes. Real singing: %.1f minutes, %d single notes.\n", r.half, r.seconds/60, r.singing/60, r.singles)
	if r.quick {
		fmt.Fprintln(b, "Quick: few sounds, a hint only.")
	}
	for _, c := range r.columns {
		switch {
		case c.err != nil:
			fmt.Fprintf(b, "%s: %v\n", c.name, c.err)
		case c.note != "":
			fmt.Fprintf(b, "%s: %s\n", c.name, c.note)
		}
	}
	fmt.Fprintf(b, "\n%-58s %-11s %6s %4s", "", "", "goal", "met")
	for _, c := range r.columns {
		fmt.Fprintf(b, " %13s", c.name)
	}
	fmt.Fprintf(b, "  better than ours\n")
	for _, row := range rows() {
		values := r.values(row)
		met, behind := row.met(values)
		fmt.Fprintf(b, "%-58s %-11s %6s %4s", row.name, row.unit, row.goalWritten(values), met)
		for _, c := range r.columns {
			fmt.Fprintf(b, " %13s", c.cell(row, values))
		}
		fmt.Fprintf(b, "  %s\n", behind)
	}
	fmt.Fprintln(b, "\nDifferences of less than 0.3 points on half a minute of sound mean nothing, and do not count as better.")
	for _, c := range r.columns {
		if c.name != "ours" || c.err != nil {
			continue
		}
		fmt.Fprintf(b, "\nConfidence of ours, voiced frames of the hard set:\n%-12s %8s %12s %14s\n", "given", "frames", "mean given", "within 50 c")
		for _, bin := range metrics.Calibration(c.all(), 10, 50) {
			if bin.Frames > 0 {
				fmt.Fprintf(b, "%.1f to %.1f   %8d %11.1f%% %13.1f%%\n", bin.From, bin.To, bin.Frames, 100*bin.Confidence, 100*bin.Right)
			}
		}
	}
	if r.verbose {
		for _, c := range r.columns {
			if c.err == nil {
				c.conditions(b)
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// conditions writes a row for each condition.
func (c *column) conditions(b *strings.Builder) {
	fmt.Fprintf(b, "\n%-24s %7s %7s %6s %6s %6s %6s %6s %7s %7s %7s %7s\n", c.name, "frames", "overall", "50 c", "25 c", "10 c", "5 c", "recall", "f.alarm", "octave", "gross", "onset F")
	line := func(name string, f []metrics.Frame, onset float64) {
		fmt.Fprintf(b, "%-24s %7d", name, len(f))
		for _, v := range perCondition(f) {
			fmt.Fprintf(b, " %6.2f", 100*v)
		}
		fmt.Fprintf(b, " %7s\n", written(onset, 3))
	}
	for _, k := range hardset.Conditions() {
		onset := math.NaN()
		if n, ok := c.notes[k]; ok {
			onset = n[0].F()
		}
		line(string(k), c.frames[k], onset)
	}
	line("all", c.all(), math.NaN())
	for _, snr := range hardset.SNRs {
		e := c.steady[snr]
		fmt.Fprintf(b, "steady, SNR %4g dB: %d readings, median %s, 95th percentile %s cents\n", snr, len(e), written(median(e), 4), written(quantile(e, 0.95), 4))
	}
	for _, l := range c.latency {
		fmt.Fprintf(b, "live %6.1f Hz: %s ms\n", l.hz, written(l.ms, 1))
	}
	if c.sight != nil {
		fmt.Fprintf(b, "sight-singing, onset: precision %.3f, recall %.3f; single notes wrong: %v\n", c.sight[0].Precision(), c.sight[0].Recall(), c.wrong)
	}
}

// finite is nil for what JSON cannot say.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func (r *results) json(w io.Writer) error {
	type jsonRow struct {
		Name   string              `json:"name"`
		Unit   string              `json:"unit"`
		Goal   *float64            `json:"goal"`
		Lower  bool                `json:"lower_is_better"`
		Met    string              `json:"met"`
		Behind string              `json:"better_than_ours"`
		Values map[string]*float64 `json:"values"`
	}
	type jsonColumn struct {
		Name        string                        `json:"name"`
		Note        string                        `json:"note,omitempty"`
		Error       string                        `json:"error,omitempty"`
		Conditions  map[string]map[string]float64 `json:"conditions,omitempty"`
		Calibration []metrics.Bin                 `json:"calibration,omitempty"`
	}
	out := struct {
		Half    string       `json:"half"`
		Quick   bool         `json:"quick"`
		Seconds float64      `json:"hard_set_seconds"`
		Rows    []jsonRow    `json:"rows"`
		Columns []jsonColumn `json:"columns"`
	}{Half: r.half, Quick: r.quick, Seconds: r.seconds}
	for _, row := range rows() {
		values := r.values(row)
		j := jsonRow{Name: row.name, Unit: row.unit, Goal: finite(row.target(values)), Lower: row.lower, Values: map[string]*float64{}}
		j.Met, j.Behind = row.met(values)
		for k, v := range values {
			j.Values[k] = finite(v)
		}
		out.Rows = append(out.Rows, j)
	}
	for _, c := range r.columns {
		j := jsonColumn{Name: c.name, Note: c.note}
		if c.err != nil {
			j.Error = c.err.Error()
		} else {
			j.Conditions = map[string]map[string]float64{}
			for k, f := range c.frames {
				j.Conditions[string(k)] = map[string]float64{
					"frames": float64(len(f)), "overall": metrics.Overall(f, 50), "within_50": metrics.RawPitch(f, 50),
					"within_25": metrics.RawPitch(f, 25), "within_10": metrics.RawPitch(f, 10), "within_5": metrics.RawPitch(f, 5),
					"chroma": metrics.RawChroma(f, 50), "recall": metrics.VoicingRecall(f), "false_alarm": metrics.VoicingFalseAlarm(f),
					"octave": metrics.OctaveErrors(f), "gross": metrics.GrossErrors(f),
				}
			}
			if c.name == "ours" {
				j.Calibration = metrics.Calibration(c.all(), 10, 50)
			}
		}
		out.Columns = append(out.Columns, j)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

func (r *results) csv(w io.Writer) error {
	c := csv.NewWriter(w)
	head := []string{"row", "unit", "goal", "met", "better_than_ours"}
	for _, column := range r.columns {
		head = append(head, column.name)
	}
	c.Write(head)
	for _, row := range rows() {
		values := r.values(row)
		met, behind := row.met(values)
		line := []string{row.name, row.unit, "", met, behind}
		if goal := row.target(values); !math.IsNaN(goal) {
			line[2] = written(goal, 4)
		}
		for _, column := range r.columns {
			v, ok := values[column.name]
			if !ok {
				line = append(line, "")
				continue
			}
			line = append(line, strings.TrimSuffix(written(v, 4), "-"))
		}
		c.Write(line)
	}
	c.Flush()
	return c.Error()
}
