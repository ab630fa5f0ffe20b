package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/testkit"
	"singback/internal/testkit/hardset"
	"singback/internal/testkit/metrics"
)

// A reference's readings fall where they belong: on a clean moving voice it is
// as good as anyone, which a shift by one hop would spoil.
func TestReferencesAreAligned(t *testing.T) {
	dir := t.TempDir()
	it := hardset.Item{}
	for it = range hardset.Items(hardset.Dev, 1) {
		break
	}
	c, err := save(dir, "clean", it)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range toolNames()[1:] {
		t.Run(name, func(t *testing.T) {
			tl := newTool(name)
			if _, err := tl.installed(); errors.Is(err, errNotInstalled) {
				testkit.Tool(t, map[bool]string{true: "praat", false: "aubiopitch"}[strings.HasPrefix(name, "praat")])
			}
			tracks, err := tl.tracks(dir, []clip{c}, false)
			if err != nil {
				t.Fatal(err)
			}
			score := func(shift float64) float64 {
				track := slices.Clone(tracks[0])
				for i := range track {
					track[i].at += shift
				}
				return metrics.RawPitch(frames(it, track), 10)
			}
			now, before, after := score(0), score(-0.005), score(0.005)
			t.Logf("within 10 cents %.3f; 5 ms earlier %.3f, later %.3f", now, before, after)
			if now < 0.85 || now < before-0.01 || now < after-0.01 {
				t.Errorf("within 10 cents %.3f, and shifted by 5 ms %.3f and %.3f: want at least 0.85 and the best", now, before, after)
			}
		})
	}
}

func TestFramesAreJudgedAtTheirOwnMoments(t *testing.T) {
	var it hardset.Item
	for it = range hardset.Grid(hardset.Dev, math.Inf(1), 100) {
	}
	n := it.Notes[0]
	// Perfect readings a third of a hop off the grid, but none after the middle.
	var track []reading
	for at := 0.0033; at < (n.Onset+n.Offset)/2; at += step {
		r := reading{at: at, confidence: 1}
		if hz, counts := it.At(at); counts && hz > 0 {
			r.hz, r.voiced = hz, true
		}
		track = append(track, r)
	}
	f := frames(it, track)
	if got := metrics.RawPitch(f, 1e-6); got < 0.45 || got > 0.55 {
		t.Errorf("%.3f right, want about the half that has readings", got)
	}
	if got := metrics.VoicingFalseAlarm(f); got != 0 {
		t.Errorf("%.3f false alarms, want none", got)
	}
	if e, _ := steadyErrors(it, track); median(e[:len(e)/2-1]) > 1e-6 || !math.IsInf(quantile(e, 0.95), 1) {
		t.Errorf("errors of the steady note are %v, want 0 and then +Inf", e)
	}
}

func TestPlainNotes(t *testing.T) {
	var track []reading
	add := func(seconds, hz float64) {
		for range int(math.Round(seconds / step)) {
			track = append(track, reading{at: float64(len(track)) * step, hz: hz, voiced: hz > 0})
		}
	}
	add(0.1, 0)
	add(0.3, 200)
	add(0.02, 0) // a gap within the note
	add(0.2, 200)
	add(0.3, 225) // two semitones up, slurred
	add(0.2, 0)
	add(0.05, 300) // too short
	add(0.2, 0)
	add(0.3, 150)
	got := plainNotes(track)
	want := []metrics.Note{{Onset: 0.1, Offset: 0.62, Hz: 200}, {Onset: 0.62, Offset: 0.92, Hz: 225}, {Onset: 1.37, Offset: 1.67, Hz: 150}}
	if m := metrics.Compare(want, got, metrics.OnsetWithin(0.001), metrics.PitchWithin(0.01), metrics.OffsetWithin(0, 0.001)); m.Notes != 3 || m.Est != 3 {
		t.Errorf("notes %+v, want %+v", got, want)
	}
}

func TestQuantile(t *testing.T) {
	x := []float64{4, 1, 3, 2}
	if median(x) != 2.5 || quantile(x, 0.95) != 4 || quantile(x, 0.25) != 1 || !math.IsNaN(median(nil)) {
		t.Errorf("quantiles %g %g %g %g", median(x), quantile(x, 0.95), quantile(x, 0.25), median(nil))
	}
}

// invented is a run that never was.
func invented() *results {
	f := func(est float64, voiced bool) metrics.Frame {
		return metrics.Frame{Ref: metrics.Cents(200), Sung: true, Est: metrics.Cents(est), Voiced: voiced, Confidence: 0.95}
	}
	frames := map[hardset.Condition][]metrics.Frame{
		hardset.Clean:      {f(200, true), f(200.1, true), f(400, true), f(0, false)},
		hardset.NobodyRoom: {{}, {}},
	}
	nan := math.NaN()
	return &results{
		options: options{half: "dev", format: "text", verbose: true}, seconds: 60,
		columns: []*column{
			{name: "ours", frames: frames, steady: map[float64][]float64{20: {0.1, math.Inf(1)}}, final: 40, speed: 50, allocs: 0, growth: 0, latency: []latency{{100, 30}, {300, math.Inf(1)}}},
			{name: "aubio-yinfast", frames: frames, speed: 200, final: nan, allocs: nan, growth: nan},
			{name: "praat", err: errNotInstalled},
		},
	}
}

func TestReports(t *testing.T) {
	r := invented()
	var text, js, table bytes.Buffer
	for w, write := range map[*bytes.Buffer]func(io.Writer) error{&text: r.text, &js: r.json, &table: r.csv} {
		if err := write(w); err != nil {
			t.Fatal(err)
		}
	}
	line := func(of string) string {
		for l := range strings.Lines(text.String()) {
			if strings.HasPrefix(l, of) {
				return strings.Join(strings.Fields(l), " ")
			}
		}
		return ""
	}
	for of, want := range map[string]string{
		"clean melodies: within 50":   "clean melodies: within 50 cents % 99.9 no 50.0 50.0 not installed",
		"octave errors":               "octave errors among voiced % 0.25 no 33.33 33.33 not installed",
		"called sung when nobody":     "called sung when nobody sings % 0.5 yes 0.00 0.00 not installed",
		"live, 20 dB, under 110 Hz":   "live, 20 dB, under 110 Hz: has it for good after ms 35 yes 30 - not installed",
		"live, 20 dB, over 220 Hz":    "live, 20 dB, over 220 Hz: has it for good after ms 20 no never - not installed",
		"speed, one core":             "speed, one core, 10 ms hop x real time 200 no 50 200 not installed aubio-yinfast",
		"sight-singing: onset F":      "sight-singing: onset F at 50 ms F 0.88 - - - not installed",
		"steady notes, 20 dB: median": "steady notes, 20 dB: median error cents 0.13 no never - not installed",
		"0.9 to 1.0":                  "0.9 to 1.0 3 95.0% 66.7%",
	} {
		if got := line(of); got != want {
			t.Errorf("the row is\n%s\nwant\n%s", got, want)
		}
	}
	var out struct {
		Rows []struct {
			Name   string
			Values map[string]*float64
		}
		Columns []struct{ Name, Error string }
	}
	if err := json.Unmarshal(js.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	if len(out.Rows) != len(rows()) || len(out.Columns) != 3 || out.Columns[2].Error != "not installed" || *out.Rows[1].Values["ours"] != 50 {
		t.Errorf("JSON holds %d rows, columns %+v", len(out.Rows), out.Columns)
	}
	lines, err := csv.NewReader(&table).ReadAll()
	if err != nil || len(lines) != len(rows())+1 || lines[0][5] != "ours" || lines[2][5] != "50.0000" || lines[2][7] != "" {
		t.Errorf("CSV: %v, %d lines, %v", err, len(lines), lines[2])
	}
}

// What is kept has the same numbers as what is printed, and says what was run.
func TestResultIsWholeAndNamed(t *testing.T) {
	r := invented().result()
	if r.Name != "pitch-dev" || r.Make != "make evaluate HALF=dev" {
		t.Errorf("kept as %q, made by %q", r.Name, r.Make)
	}
	for _, want := range []string{
		"Hard set, dev half: 1.0 minutes",
		"| clean melodies: within 50 cents | % | 99.9 | no | 50.0 | 50.0 | not installed |  |\n",
		"| live, 20 dB, over 220 Hz: has it for good after | ms | 20 | no | never | - | not installed |  |\n",
		"| speed, one core, 10 ms hop | x real time | 200 | no | 50 | 200 | not installed | aubio-yinfast |\n",
		"| clean | 4 | 50.00 | 50.00 |",
		"| 0.9 to 1.0 | 3 | 95.0 | 66.7 |\n",
	} {
		if !strings.Contains(r.Text, want) {
			t.Errorf("the file lacks %q:\n%s", want, r.Text)
		}
	}
	// Two lines of head for each table; confidence has one bin.
	if n, want := strings.Count(r.Text, "\n|"), 2+len(rows())+2+len(hardset.Conditions())+2+1; n != want {
		t.Errorf("%d lines of tables, want %d", n, want)
	}
}

func TestNoProgramsNoData(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	for _, name := range []string{"praat", "praat-cc"} {
		if _, err := newTool(name).installed(); !errors.Is(err, errNotInstalled) {
			t.Errorf("%s without a program: %v, want not installed", name, err)
		}
	}
}

func TestWrongFlags(t *testing.T) {
	for _, args := range [][]string{{"-half", "best"}, {"-quick", "-results", "x"}, {"-tools", "ours,sonar"}, {"-format", "pdf"}, {"-nonsense"}} {
		if err := run(args, io.Discard, io.Discard); !errors.Is(err, errUsage) {
			t.Errorf("%v: %v, want a usage error", args, err)
		}
	}
}

// What is timed reads a recording and prints a line a hop.
func TestAnalyseFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.wav")
	if err := saveWAV(path, 44100, testkit.Tone(44100, 0.5, testkit.Steady(220), testkit.Harmonics(10, 6))); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := analyseFile(path, &b); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "\n"); n != 51 || !strings.HasSuffix(b.String(), "1 notes\n") {
		t.Errorf("%d lines, the last %q, want 50 points and one note", n, b.String()[max(0, b.Len()-12):])
	}
	if err := analyseFile(path+"x", io.Discard); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a missing file: %v", err)
	}
}

// The reference data is read whole.
func TestReferenceData(t *testing.T) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE is not set: real singing is skipped")
	}
	real, err := sightSinging(dir, 0)
	if err != nil {
		t.Fatal(err)
	}
	notes := 0
	for _, m := range real {
		notes += len(m.notes)
	}
	single, err := singleNotes(dir)
	if err != nil {
		t.Fatal(err)
	}
	agree := 0
	for _, s := range single {
		if s.agree {
			agree++
		}
	}
	// The counts of the README files.
	if len(real) != 24 || notes != 1240 || len(single) != 36 || agree != 35 {
		t.Errorf("%d recordings, %d notes, %d single notes of which %d agree, want 24, 1240, 36, 35", len(real), notes, len(single), agree)
	}
}
