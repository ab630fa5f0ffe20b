package metrics

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// fixtures returns the folder of mir_eval's own test data (see its README), or
// skips.
func fixtures(t *testing.T, kind string) string {
	t.Helper()
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE is not set: the published fixtures are skipped")
	}
	return filepath.Join(dir, "mir-eval-fixtures", kind)
}

// rows reads the numbers of a text file; # starts a comment.
func rows(t *testing.T, path string) [][]float64 {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out [][]float64
	for s := bufio.NewScanner(f); s.Scan(); {
		if strings.HasPrefix(s.Text(), "#") {
			continue
		}
		var row []float64
		for _, w := range strings.FieldsFunc(s.Text(), func(r rune) bool { return r == ' ' || r == '\t' || r == ',' }) {
			v, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			row = append(row, v)
		}
		if len(row) > 0 {
			out = append(out, row)
		}
	}
	return out
}

func readings(rows [][]float64) []Reading {
	var out []Reading
	for _, r := range rows {
		out = append(out, Reading{r[0], r[1]})
	}
	return out
}

func notes(rows [][]float64) []Note {
	var out []Note
	for _, r := range rows {
		out = append(out, Note{r[0], r[1], r[2]})
	}
	return out
}

// melody and transcription give the measures under mir_eval's names.
func melody(ref, est []Reading) map[string]float64 {
	f := Align(ref, est)
	return map[string]float64{
		"Voicing Recall": VoicingRecall(f), "Voicing False Alarm": VoicingFalseAlarm(f),
		"Raw Pitch Accuracy": RawPitch(f, 50), "Raw Chroma Accuracy": RawChroma(f, 50), "Overall Accuracy": Overall(f, 50),
	}
}

func transcription(ref, est []Note) map[string]float64 {
	out := map[string]float64{}
	add := func(before, after string, m Matched) {
		out[before+"Precision"+after], out[before+"Recall"+after], out[before+"F-measure"+after] = m.Precision(), m.Recall(), m.F()
	}
	add("", "", Compare(ref, est, OnsetWithin(0.05), PitchWithin(50), OffsetWithin(0.2, 0.05)))
	add("", "_no_offset", Compare(ref, est, OnsetWithin(0.05), PitchWithin(50)))
	add("Onset_", "", Compare(ref, est, OnsetWithin(0.05)))
	add("Offset_", "", Compare(ref, est, OffsetWithin(0.2, 0.05)))
	return out
}

func compare(t *testing.T, name string, got, want map[string]float64) {
	t.Helper()
	n := 0
	for key, w := range want {
		if strings.HasPrefix(key, "Average_Overlap") {
			continue
		}
		n++
		if g, ok := got[key]; !ok || !(math.Abs(g-w) < 1e-6) {
			t.Errorf("%s: %s is %.8f, want %.8f", name, key, g, w)
		}
	}
	if n != len(got) {
		t.Errorf("%s: %d measures compared, want %d", name, n, len(got))
	}
}

func TestPublishedFixtures(t *testing.T) {
	for _, kind := range []string{"melody", "transcription"} {
		dir := fixtures(t, kind)
		outputs, _ := filepath.Glob(filepath.Join(dir, "output*.json"))
		if len(outputs) != 5 {
			t.Fatalf("%d fixtures of %s, want 5", len(outputs), kind)
		}
		for _, path := range outputs {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			var want map[string]float64
			if err := json.Unmarshal(data, &want); err != nil {
				t.Fatal(err)
			}
			n := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(path), "output"), ".json")
			ref := rows(t, filepath.Join(dir, "ref"+n+".txt"))
			est := rows(t, filepath.Join(dir, "est"+n+".txt"))
			if kind == "melody" {
				compare(t, kind+n, melody(readings(ref), readings(est)), want)
			} else {
				compare(t, kind+n, transcription(notes(ref), notes(est)), want)
			}
		}
	}
}

// The offsets of onsets in mir_eval's onset fixtures fit Compare as well.
func TestPublishedOnsetFixtures(t *testing.T) {
	dir := fixtures(t, "onset")
	for n := range 5 {
		data, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("output%02d.json", n)))
		if err != nil {
			t.Fatal(err)
		}
		var want map[string]float64
		if err := json.Unmarshal(data, &want); err != nil {
			t.Fatal(err)
		}
		read := func(name string) (out []Note) {
			for _, r := range rows(t, filepath.Join(dir, fmt.Sprintf("%s%02d.txt", name, n))) {
				out = append(out, Note{Onset: r[0]})
			}
			return out
		}
		m := Compare(read("ref"), read("est"), OnsetWithin(0.05))
		compare(t, fmt.Sprint("onset", n), map[string]float64{"Precision": m.Precision(), "Recall": m.Recall(), "F-measure": m.F()}, want)
	}
}

// mirEval computes the same with Debian's python3-mir-eval.
const mirEval = `
import json, sys, warnings
warnings.filterwarnings("ignore")
import numpy as np, mir_eval
out = []
for c in json.load(sys.stdin):
    a = [np.array(c[k], dtype=float) for k in ("Ref", "Est")]
    if c["Kind"] == "melody":
        out.append(mir_eval.melody.evaluate(a[0][:, 0], a[0][:, 1], a[1][:, 0], a[1][:, 1]))
    else:
        out.append(mir_eval.transcription.evaluate(a[0][:, :2], a[0][:, 2], a[1][:, :2], a[1][:, 2]))
json.dump([{k: float(v) for k, v in s.items()} for s in out], sys.stdout)
`

func TestAgainstMirEval(t *testing.T) {
	python := "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import mir_eval").Run(); err != nil {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
			t.Fatal("python3-mir-eval is not installed, and SINGBACK_REQUIRE_TOOLS=1 asks for it")
		}
		t.Skip("python3-mir-eval is not installed: its second opinion is skipped")
	}
	type job struct {
		Kind     string
		Ref, Est [][]float64
	}
	var jobs []job
	rng := rand.New(rand.NewPCG(3, 1))
	for range 40 {
		// Tracks that agree, slip by octaves and cents, and pause; some on one
		// grid of times, some on two that neither start nor end together.
		hopRef, hopEst := 0.01, []float64{0.01, 0.0058, 0.0232}[rng.IntN(3)]
		startRef, startEst := 0.0, []float64{0, 0.013}[rng.IntN(2)]
		lengthEst := 2 + rng.Float64() - 0.5
		f := 100 + 300*rng.Float64()
		melodyOf := func(start, hop, length, error float64) (out [][]float64) {
			for i := 0; start+float64(i)*hop < length; i++ {
				t := start + float64(i)*hop
				hz := f * math.Exp2(math.Sin(t*7)/3)
				hz *= math.Exp2(error * rng.NormFloat64() / 1200)
				if error > 0 {
					hz *= math.Exp2(float64(rng.IntN(12)/10 - rng.IntN(12)/11))
				}
				switch v := math.Sin(t*17 + 3*error*rng.NormFloat64()/100); {
				case v < -0.6:
					hz = 0
				case v < -0.4 && error > 0:
					hz = -hz
				}
				out = append(out, []float64{t, hz})
			}
			return out
		}
		jobs = append(jobs, job{"melody", melodyOf(startRef, hopRef, 2, 0), melodyOf(startEst, hopEst, lengthEst, 40)})
	}
	for range 40 {
		var ref, est [][]float64
		at := 0.0
		for range rng.IntN(30) + 1 {
			// On a grid of 10 ms, so that the limits are often met exactly.
			grid := func(x float64) float64 { return math.Round(x*100) / 100 }
			on := grid(at)
			off := grid(on + 0.05 + 0.4*rng.Float64())
			hz := 200 * math.Exp2(rng.Float64())
			ref = append(ref, []float64{on, off, hz})
			for range rng.IntN(3) {
				e := grid(math.Max(0, on+0.03*rng.NormFloat64()))
				est = append(est, []float64{e, math.Max(e+0.01, grid(off+0.05*rng.NormFloat64())), hz * math.Exp2(30*rng.NormFloat64()/1200)})
			}
			at += 0.3 * rng.Float64()
		}
		if est == nil {
			est = ref[:1]
		}
		jobs = append(jobs, job{"transcription", ref, est})
	}
	in, err := json.Marshal(jobs)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", mirEval)
	cmd.Stdin, cmd.Stderr = strings.NewReader(string(in)), os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	var want []map[string]float64
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	for i, j := range jobs {
		name := fmt.Sprintf("%s %d", j.Kind, i)
		if j.Kind == "melody" {
			compare(t, name, melody(readings(j.Ref), readings(j.Est)), want[i])
		} else {
			compare(t, name, transcription(notes(j.Ref), notes(j.Est)), want[i])
		}
	}
}

func TestFramesByHand(t *testing.T) {
	at := func(ref, est float64, voiced bool, confidence float64) Frame {
		return Frame{Ref: Cents(ref), Est: Cents(est), Sung: ref > 0, Voiced: voiced, Confidence: confidence}
	}
	cents := func(c float64) float64 { return 200 * math.Exp2(c/1200) }
	frames := []Frame{
		at(200, cents(49), true, 0.95),    // right
		at(200, cents(-51), true, 0.95),   // out of tune, not gross
		at(200, cents(101), true, 0.75),   // gross
		at(200, cents(1230), true, 0.75),  // an octave up
		at(200, cents(-2400), true, 0.75), // two down
		at(200, cents(1260), true, 0.75),  // gross, but no octave
		at(200, cents(10), false, 0),      // right, not called voiced
		at(200, 0, false, 0),              // missed
		at(0, 300, true, 0.75),            // false alarm
		at(0, 0, false, 0),
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"voicing recall", VoicingRecall(frames), 6. / 8},
		{"voicing false alarm", VoicingFalseAlarm(frames), 1. / 2},
		{"raw pitch", RawPitch(frames, 50), 2. / 8},
		{"raw pitch at 60 cents", RawPitch(frames, 60), 3. / 8},
		{"raw chroma", RawChroma(frames, 50), 4. / 8},
		{"overall", Overall(frames, 50), 2. / 10},
		{"gross", GrossErrors(frames), 4. / 6},
		{"octave", OctaveErrors(frames), 2. / 6},
		{"calibration error", CalibrationError(Calibration(frames, 10, 50)), (2*0.45 + 5*0.75) / 7},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s is %g, want %g", c.name, c.got, c.want)
		}
	}
	b := Calibration(frames, 10, 50)
	if b[9].Frames != 2 || b[9].Right != 0.5 || b[7].Frames != 5 || b[7].Right != 0 || math.Abs(b[7].Confidence-0.75) > 1e-12 {
		t.Errorf("calibration bins 7 and 9 are %+v and %+v", b[7], b[9])
	}
}

func TestNothing(t *testing.T) {
	for name, f := range map[string]func([]Frame) float64{
		"recall": VoicingRecall, "false alarm": VoicingFalseAlarm, "gross": GrossErrors, "octave": OctaveErrors,
		"raw pitch":   func(f []Frame) float64 { return RawPitch(f, 50) },
		"raw chroma":  func(f []Frame) float64 { return RawChroma(f, 50) },
		"overall":     func(f []Frame) float64 { return Overall(f, 50) },
		"calibration": func(f []Frame) float64 { return CalibrationError(Calibration(f, 10, 50)) },
	} {
		if got := f(nil); got != 0 {
			t.Errorf("%s of no frames is %g, want 0", name, got)
		}
	}
	f := Align([]Reading{{0, 0}, {0.01, 200}}, nil)
	if len(f) != 2 || f[1].Voiced || f[1].Est != 0 || Overall(f, 50) != 0.5 {
		t.Errorf("an estimate without readings gives %+v, want nothing voiced", f)
	}
	if got := VoicingRecall(f[:1]); got != 1 {
		t.Errorf("recall where nothing is sung is %g, want 1 as in mir_eval", got)
	}
	m := Compare(nil, nil, OnsetWithin(0.05))
	if m.Precision() != 0 || m.Recall() != 0 || m.F() != 0 {
		t.Errorf("no notes at all give %+v, want 0", m)
	}
}

// A greedy matching would leave the second estimate alone.
func TestMatchingIsTheBest(t *testing.T) {
	ref := []Note{{0, 1, 100}, {0.06, 1, 100}}
	est := []Note{{0.03, 1, 100}, {0, 1, 100}}
	if m := Compare(ref, est, OnsetWithin(0.05)); m.Notes != 2 {
		t.Errorf("%d matched, want 2", m.Notes)
	}
}

func TestRawEstimate(t *testing.T) {
	f := []Frame{
		{Ref: 1200, Est: 1200, Sung: true, Voiced: true},
		{Ref: 1200, Any: 1210, Sung: true},            // asked for, and right
		{Ref: 1200, Any: 2400, Sung: true},            // an octave off
		{Ref: 1200, Est: 2400, Any: 1200, Sung: true}, // Any is what counts
		{Any: 1200},
	}
	if got := RawEstimate(f, 50); got != 0.75 {
		t.Errorf("%g of the sung frames, want 0.75", got)
	}
	if got := RawPitch(f, 50); got != 0.25 {
		t.Errorf("%g without the estimates, want 0.25", got)
	}
}
