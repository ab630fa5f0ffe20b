package main

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

var updateFloors = flag.Bool("update-floors", false, "renew testdata/floors.txt with what the tracker reaches now")

// figure is one number that must not get worse.
type figure struct {
	name   string
	lower  bool // the lower the better
	margin float64
	value  float64 // NaN: not measured here
}

// noFloor are the rows of the table that have none in the quick test, and why.
var noFloor = map[string]string{
	"speed, one core, 10 ms hop":                  "depends on the machine",
	"live session: allocations a push":            "pitch has a test of it",
	"live session: growth after the first minute": "pitch has a test of the allocations",
	"voicing false alarm, where somebody sings":   "each condition has one",
	"called sung when nobody sings":               "each condition has one",
}

// margins by the unit of a row: a change of weights that is no loss on the
// whole half moves the few sounds of a quick run by less.
var margins = map[string]float64{"%": 0.5, "cents": 0.02, "ms": 3, "F": 0.02, "notes": 0, "Hz": 0.02}

// figures are the rows of the table and, of each condition, what its own table
// shows.
func (c *column) figures(t *testing.T) (out []figure) {
	for _, row := range rows() {
		if noFloor[row.name] != "" {
			continue
		}
		margin, ok := margins[row.unit]
		if !ok {
			t.Errorf("row %q is in %q, which has no margin", row.name, row.unit)
		}
		f := figure{row.name, row.lower, margin, row.value(c)}
		switch {
		case strings.HasPrefix(row.name, "confidence"):
			f.lower = true
		case strings.HasPrefix(row.name, "standard error"): // 68.3 is the best, both ways
			f.name, f.lower, f.margin, f.value = "standard error: distance from 68.3", true, 3, math.Abs(f.value-68.3)
		case strings.Contains(row.name, "talks far away"):
			f.margin = 3
		case strings.HasPrefix(row.name, "error bars, notes"): // of a few notes
			f.margin = 20
		case strings.HasPrefix(row.name, "error bars"), strings.HasPrefix(row.name, "third voices, vibrato: notes"), strings.HasPrefix(row.name, "third voices, vibrato: found"):
			f.margin = 8
		case row.unit == "ms" && !strings.HasPrefix(row.name, "live") && !strings.HasPrefix(row.name, "third"):
			f.margin = 10
		case row.unit == "cents": // 0.02 is much of the least of them
			f.margin = max(0.002, 0.1*f.value)
		}
		out = append(out, f)
	}
	for _, k := range hardset.Conditions() {
		f, name := c.frames[k], "condition "+string(k)
		out = append(out, figure{name + ": overall", false, 0.5, 100 * metrics.Overall(f, 50)})
		if k.Nobody() {
			continue
		}
		out = append(out,
			figure{name + ": within 50 cents", false, 0.5, 100 * metrics.RawPitch(f, 50)},
			figure{name + ": within 10 cents", false, 1, 100 * metrics.RawPitch(f, 10)},
			figure{name + ": false alarm", true, 1, 100 * metrics.VoicingFalseAlarm(f)},
			figure{name + ": onset F", false, 0.03, c.notes[k][0].F()})
	}
	return out
}

// Every row of the table and every condition is as good as when
// testdata/floors.txt was written, on one item of each condition and a sixth of
// the grid, within a margin that each line states. The reference data add the
// rows of real singing.
func TestTrackerHoldsItsAccuracy(t *testing.T) {
	if raceDetector {
		t.Skip("one goroutine, much to compute: skipped under the race detector")
	}
	reference := os.Getenv("SINGBACK_REFERENCE")
	dir := t.TempDir()
	s, err := render(options{halves: []hardset.Half{hardset.Dev}, quick: true, reference: reference}, dir)
	if err != nil {
		t.Fatal(err)
	}
	c := &column{name: "ours"}
	if err := c.accuracy(ours{}, s, dir); err != nil {
		t.Fatal(err)
	}
	figures := c.figures(t)
	path := filepath.Join("testdata", "floors.txt")
	if *updateFloors {
		if reference == "" {
			t.Fatal("the floors of real singing need SINGBACK_REFERENCE")
		}
		if err := os.WriteFile(path, writeFloors(figures), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	floors, err := readFloors(path)
	if err != nil {
		t.Fatal(err)
	}
	left := 0
	for _, f := range figures {
		floor, ok := floors[f.name]
		delete(floors, f.name)
		switch {
		case !ok:
			t.Errorf("%s: %.4g, has no floor", f.name, f.value)
		case math.IsNaN(f.value) && reference == "":
			left++
		case f.worse(floor):
			t.Errorf("%s: %.4g, was %.4g when the floor was set, margin %g", f.name, f.value, floor.value, floor.margin)
		}
	}
	for name := range floors {
		t.Errorf("testdata/floors.txt has %q, which nothing measures", name)
	}
	if left > 0 {
		t.Logf("SINGBACK_REFERENCE is not set: %d rows of real singing are left out", left)
	}
}

// worse tells that f is worse than its floor; what is not a number is.
func (f figure) worse(floor figure) bool {
	if f.lower {
		return !(f.value <= floor.value+floor.margin)
	}
	return !(f.value >= floor.value-floor.margin)
}

func writeFloors(figures []figure) []byte {
	var b bytes.Buffer
	fmt.Fprintln(&b, "# What the tracker reaches on the sounds of a quick run, and how much worse it may get.")
	fmt.Fprintln(&b, "# Written by: go test ./internal/testkit/evaluate -run TestTrackerHoldsItsAccuracy -update-floors")
	for _, f := range figures {
		fmt.Fprintf(&b, "%s\t%.4g\t%.2g\n", f.name, f.value, f.margin)
	}
	return b.Bytes()
}

func readFloors(path string) (map[string]figure, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	out := map[string]figure{}
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		cells := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if len(cells) != 3 {
			return nil, fmt.Errorf("%s: %q has no three cells", path, line)
		}
		value, err := strconv.ParseFloat(cells[1], 64)
		if err != nil {
			return nil, err
		}
		margin, err := strconv.ParseFloat(cells[2], 64)
		if err != nil {
			return nil, err
		}
		out[cells[0]] = figure{name: cells[0], value: value, margin: margin}
	}
	return out, nil
}

// Every row has a floor, or a reason why not; and a figure that is worse by more
// than its margin, or is none, is told.
func TestFloors(t *testing.T) {
	floors, err := readFloors(filepath.Join("testdata", "floors.txt"))
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for _, row := range rows() {
		known[row.name] = true
		_, has := floors[row.name]
		if strings.HasPrefix(row.name, "standard error") {
			_, has = floors["standard error: distance from 68.3"]
		}
		if has == (noFloor[row.name] != "") {
			t.Errorf("row %q: floor %v, and the reason for none is %q", row.name, has, noFloor[row.name])
		}
	}
	for name := range noFloor {
		if !known[name] {
			t.Errorf("no row is called %q", name)
		}
	}
	for _, k := range hardset.Conditions() {
		if _, ok := floors["condition "+string(k)+": overall"]; !ok {
			t.Errorf("condition %q has no floor", k)
		}
	}
	floor := figure{value: 99, margin: 0.5}
	for _, c := range []struct {
		value        float64
		lower, worse bool
	}{
		{98.5, false, false}, {98.49, false, true}, {math.NaN(), false, true}, {100, false, false},
		{99.5, true, false}, {99.51, true, true}, {math.NaN(), true, true}, {0, true, false},
	} {
		if got := (figure{value: c.value, lower: c.lower}).worse(floor); got != c.worse {
			t.Errorf("%g against 99 and 0.5, lower is better %v: worse %v, want %v", c.value, c.lower, got, c.worse)
		}
	}
}
