package cli

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// table reads CSV into rows by name.
func tableOf(t *testing.T, text string) []map[string]float64 {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]float64
	for _, record := range records[1:] {
		row := map[string]float64{}
		for i, name := range records[0] {
			row[name] = number(t, record[i])
		}
		rows = append(rows, row)
	}
	return rows
}

// The notes of the project's own recordings against the truth beside them.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		name   string
		within float64 // cents
	}{{"flat-40", 5}, {"vibrato-70", 5}, {"scoop-200", 5}, {"te-eb-minor-bass", 5}, {"soprano-a5", 5}} {
		tr := recordingNamed(t, c.name)
		out, stderr := call{}.must(t, "notes", tr.path)
		if header, _, _ := strings.Cut(out, "\n"); header != "onset_s,offset_s,f0_hz,cents_se,spread_cents,vibrato_hz,vibrato_cents,scoop_cents,settle_s" {
			t.Errorf("header %q", header)
		}
		if stderr != "" {
			t.Errorf("standard error has %q", stderr)
		}
		rows := tableOf(t, out)
		if len(rows) != 1 {
			t.Errorf("%s: %d notes, want 1:\n%s", c.name, len(rows), out)
			continue
		}
		words := strings.Fields(tr.says["f0"]) // "202.935 Hz from 0.550 to 1.600 s"
		hz, from := number(t, words[0]), number(t, words[3])
		n := rows[0]
		if off := 1200 * math.Log2(n["f0_hz"]/hz); math.Abs(off) > c.within {
			t.Errorf("%s: %.3f Hz, %.1f cents from the truth of %g Hz", c.name, n["f0_hz"], off, hz)
		}
		if !(n["onset_s"] < from && n["onset_s"] > from-0.4 && n["offset_s"] > n["onset_s"]+0.5) {
			t.Errorf("%s: from %.3f to %.3f s; the steady part begins at %.3f", c.name, n["onset_s"], n["offset_s"], from)
		}
		js, _ := call{}.must(t, "notes", "--format", "json", tr.path)
		var objects []map[string]float64
		if err := json.Unmarshal([]byte(js), &objects); err != nil {
			t.Fatal(err)
		}
		if len(objects) != 1 || objects[0]["f0_hz"] != n["f0_hz"] || len(objects[0]) != len(n) {
			t.Errorf("%s: JSON %v, CSV %v", c.name, objects, n)
		}
	}
}

func TestNotesOfNothing(t *testing.T) {
	for _, name := range []string{"silence", "pink-noise"} {
		out, _ := call{}.must(t, "notes", recordingNamed(t, name).path)
		if strings.Count(out, "\n") != 1 {
			t.Errorf("%s: notes in %q", name, out)
		}
		js, _ := call{}.must(t, "notes", "--format", "json", recordingNamed(t, name).path)
		var objects []any
		if err := json.Unmarshal([]byte(js), &objects); err != nil || len(objects) != 0 {
			t.Errorf("%s: %q, %v", name, js, err)
		}
	}
}

// A live row says how much had been heard when it was decided: not before its
// centre, and at most 75 ms after it.
func TestTraceLive(t *testing.T) {
	tr := recordingNamed(t, "vibrato-70")
	live, _ := call{}.must(t, "trace", "--live", tr.path)
	if header, _, _ := strings.Cut(live, "\n"); header != "time_s,f0_hz,voiced,confidence,level_dbfs,available_s" {
		t.Errorf("header %q", header)
	}
	off, _ := call{}.must(t, "trace", tr.path)
	rows, offline := tableOf(t, live), tableOf(t, off)
	if len(rows) != len(offline) {
		t.Fatalf("%d rows live, %d offline", len(rows), len(offline))
	}
	end := offline[len(offline)-1]["time_s"]
	agree, voiced := 0, 0
	for i, r := range rows {
		late := r["available_s"] - r["time_s"]
		if late < -0.0001 || late > 0.075 {
			t.Fatalf("row at %v s: decided when %v s had been heard (of %v)", r["time_s"], r["available_s"], end)
		}
		if i > 0 && r["available_s"] < rows[i-1]["available_s"] {
			t.Fatalf("row at %v s: decided before the one before it", r["time_s"])
		}
		if r["voiced"] == 1 && offline[i]["voiced"] == 1 {
			voiced++
			if math.Abs(1200*math.Log2(r["f0_hz"]/offline[i]["f0_hz"])) < 50 {
				agree++
			}
		}
	}
	if voiced < 100 || agree < voiced*97/100 {
		t.Errorf("%d of %d voiced rows within 50 cents of the offline reading", agree, voiced)
	}
}

// Several recordings get a file each; a broken one is told, and the rest go on.
func TestOut(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "tracks")
	flat, scoop := recordingNamed(t, "flat-40").path, recordingNamed(t, "scoop-200").path
	broken := filepath.Join(t.TempDir(), "broken.wav")
	if err := os.WriteFile(broken, []byte("not sound"), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][]string{{"trace"}, {"trace", "--live", "--format", "json"}, {"notes"}} {
		stdout, stderr := call{}.must(t, append(c, "--force", "--out", dir, flat, scoop)...)
		if stdout != "" || stderr != "" {
			t.Errorf("%q: prints %q and %q", c, stdout, stderr)
		}
		extension := ".csv"
		if len(c) > 1 {
			extension = ".json"
		}
		for _, path := range []string{flat, scoop} {
			alone, _ := call{}.must(t, append(c, path)...)
			name := strings.TrimSuffix(filepath.Base(path), ".wav") + extension
			if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(got) != alone {
				t.Errorf("%q: %s is not what standard output gets (%v)", c, name, err)
			}
		}
	}
	os.Remove(filepath.Join(dir, "scoop-200.csv"))
	_, stderr, code := call{}.run(t, "trace", "--out", dir, broken, scoop)
	if code != exitFailed || strings.Count(stderr, "\n") != 1 || !strings.Contains(stderr, "broken.wav") {
		t.Errorf("a broken recording: exit %d, %q", code, stderr)
	}
	if _, err := os.Stat(filepath.Join(dir, "scoop-200.csv")); err != nil {
		t.Errorf("the recording after a broken one: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".singback-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
