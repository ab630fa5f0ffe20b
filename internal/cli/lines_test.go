package cli

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/exercise"
	"singback/exercise/compose"
	"singback/internal/audio"
	"singback/internal/synth"
	"singback/theory"
)

// records reads JSON lines.
func records(t *testing.T, out string) []map[string]any {
	t.Helper()
	var rs []map[string]any
	for line := range strings.Lines(out) {
		var r map[string]any
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatalf("%v: %q", err, line)
		}
		rs = append(rs, r)
	}
	return rs
}

// A series has a line and what was sung of it for each melody, and a summary
// that adds them up; the same seed gives the same bytes.
func TestSeriesRecords(t *testing.T) {
	args := []string{"series", "--key", "Eb", "--level", "3", "--count", "2", "--seed", "5", "--input", "simulated", "--format", "json"}
	out, prompts := call{}.must(t, args...)
	if again, _ := (call{}).must(t, args...); again != out {
		t.Error("the same series again has other records")
	}
	rs := records(t, out)
	if len(rs) != 7 {
		t.Fatalf("%d records", len(rs))
	}
	right, written, points := 0.0, 0.0, 0.0
	for i := range 2 {
		line, listening, sung := rs[3*i], rs[3*i+1], rs[3*i+2]
		g, _ := sung["grade"].(map[string]any)
		if line["event"] != "line" || listening["event"] != "listening" || listening["index"] != line["index"] || sung["event"] != "sung" || line["index"] != float64(i+1) || sung["index"] != line["index"] || sung["heard"] != true {
			t.Fatalf("records %v, %v, %v", line, listening, sung)
		}
		notes := line["line"].(map[string]any)
		if notes["key"] != "Eb major" || notes["level"] != 3.0 {
			t.Errorf("line %v", notes)
		}
		sings := 0
		for _, n := range notes["notes"].([]any) {
			if n.(map[string]any)["note"] != nil {
				sings++
			}
		}
		if g["notes_written"] != float64(sings) {
			t.Errorf("%v written, %d in the line", g["notes_written"], sings)
		}
		if bpm, ok := sung["sung_tempo_bpm"].(float64); !ok || bpm < 68 || bpm > 76 { // the simulated singer keeps the tempo of 72
			t.Errorf("tempo %v", sung["sung_tempo_bpm"])
		}
		right, written, points = right+g["notes_right"].(float64), written+g["notes_written"].(float64), points+g["points"].(float64)
	}
	if s := rs[6]; s["event"] != "summary" || s["notes_right"] != right || s["notes_written"] != written || s["points"] != points || right < written/2 {
		t.Errorf("summary %v, added up %g of %g, %g points", s, right, written, points)
	}
	if !strings.Contains(prompts, "beats are counted") || strings.Contains(out, "Sing now") {
		t.Errorf("prompts %q", prompts)
	}
}

// What was sung is kept only where it was asked for, and a kept take gets the
// same grade against the same melody.
func TestSeriesKeepsWhatWasAskedFor(t *testing.T) {
	dir := t.TempDir()
	args := []string{"series", "--key", "G", "--level", "2", "--count", "1", "--seed", "3", "--voice", "tenor", "--input", "simulated", "--free", "--format", "json"}
	out, _ := call{}.must(t, append(args, "--keep", filepath.Join(dir, "takes"))...)
	files, err := os.ReadDir(filepath.Join(dir, "takes"))
	if err != nil || len(files) != 1 {
		t.Fatalf("%v, %v", files, err)
	}
	take := filepath.Join(dir, "takes", files[0].Name())
	model := filepath.Join(dir, "model.abc")
	call{}.must(t, "melody", "--key", "G", "--level", "2", "--seed", "3", "--voice", "tenor", "--out", model)
	graded, _ := call{}.must(t, "grade", "--model", model, "--strict", "--format", "json", take)
	var document struct {
		Takes []map[string]any `json:"takes"`
	}
	if err := json.Unmarshal([]byte(graded), &document); err != nil || len(document.Takes) != 1 {
		t.Fatalf("%v: %s", err, graded)
	}
	g := records(t, out)[2]["grade"].(map[string]any)
	for _, field := range []string{"notes_right", "notes_written", "omitted", "points"} {
		if g[field] != document.Takes[0][field] {
			t.Errorf("%s: %v in the series, %v of the kept take", field, g[field], document.Takes[0][field])
		}
	}
}

// Pure reading shows no names; an echo shows its notes only afterwards.
func TestLinesHideWhatIsToBeHeardInwardly(t *testing.T) {
	_, prompts := call{}.must(t, "series", "--key", "C", "--level", "2", "--count", "1", "--seed", "3", "--names", "none", "--input", "simulated")
	if strings.Contains(prompts, " sol ") || strings.Contains(prompts, " mi ") || !strings.Contains(prompts, "G") {
		t.Errorf("a melody for pure reading:\n%s", prompts)
	}
	out, prompts := call{}.must(t, "echo", "--key", "C", "--level", "2", "--notes", "5", "--count", "1", "--seed", "3", "--input", "simulated")
	if strings.ContainsAny(prompts, "●○─") || !strings.ContainsAny(out, "●○") {
		t.Errorf("an echo:\n%s\n%s", prompts, out)
	}
}

// Silence is nobody's mistake.
func TestSeriesOfSilence(t *testing.T) {
	path := filepath.Join(t.TempDir(), "silence.wav")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(audio.WriteWAV(f, 16000, make([]float64, 32000)), f.Close()); err != nil {
		t.Fatal(err)
	}
	out, _ := call{}.must(t, "series", "--key", "C", "--level", "1", "--seed", "3", path)
	if !strings.Contains(out, "not measured, no sound at all, not even noise") || !strings.Contains(out, "Nothing was sung that could be measured") {
		t.Errorf("%s", out)
	}
}

// A melody sung into the real microphone in its own tempo is graded as sung: a
// choir of one, who leaves nothing out.
func TestVirtualMicSeries(t *testing.T) {
	path := needVirtualMic(t)
	order := []string{"--key", "G", "--level", "2", "--count", "1", "--seed", "3", "--voice", "alto"}
	k := theory.Key{Tonic: theory.Note{Letter: theory.G}}
	alto, err := exercise.VoiceNamed("alto")
	if err != nil {
		t.Fatal(err)
	}
	ms, err := compose.NewMelodies(compose.MelodyOrder{Level: 2, Key: &k, Range: exercise.Working(alto.Range), Count: 1, Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	sung := []synth.Sung{synth.Rest(0.3)}
	for _, n := range synth.Line(ms[0].Score, theory.Tuning{A4: 440}, 0.7) {
		note := synth.NewSung(n.Hz, n.Duration)
		note.Consonant = synth.Nasal
		sung = append(sung, note)
	}
	x, _ := synth.Voice{SampleRate: 48000, Type: synth.Alto}.Sing(append(sung, synth.Rest(0.5)), 1)
	take := filepath.Join(t.TempDir(), "take.wav")
	f, err := os.Create(take)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(audio.WriteWAV(f, 48000, x), f.Close()); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"series", "--free", "--study", "0", "--set", "tonic", "--input", "mic", "--output", "speaker", "--format", "json"}, order...)
	var r *running
	for try := 1; ; try++ {
		r = startProgram(t, nil, path, args...)
		code := -1
		if r.await(t, "Sing now.") {
			play(t, nil, take)
			code = r.end(t)
		}
		if code == exitDone {
			break
		}
		if try == tries || !r.starved(t) {
			t.Fatalf("exit %d: %s", code, &r.stderr)
		}
	}
	rs := records(t, r.stdout.String())
	if len(rs) != 4 {
		t.Fatalf("%d records: %s", len(rs), &r.stdout)
	}
	heard := rs[2]
	g := heard["grade"].(map[string]any)
	t.Logf("%v of %v notes right, %v points, score %v, tempo %v", g["notes_right"], g["notes_written"], g["points"], g["score"], heard["sung_tempo_bpm"])
	if g["omitted"] != 0.0 || g["notes_right"] != g["notes_written"] || g["added"] != 0.0 {
		t.Errorf("%v of %v right, %v left out, %v added", g["notes_right"], g["notes_written"], g["omitted"], g["added"])
	}
	if bpm, _ := heard["sung_tempo_bpm"].(float64); bpm < 83 || bpm > 89 { // 60/0.7
		t.Errorf("tempo %v, want 86", heard["sung_tempo_bpm"])
	}
}
