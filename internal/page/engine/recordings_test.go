package engine

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/drill"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit/makewav/truth"
	"singback/theory"
)

var update = flag.Bool("update", false, "write testdata/verdicts.golden, and what stands in for the engine, anew")

// recording is one of testdata/wav.
type recording struct {
	name    string
	truth   truth.Truth
	samples []float64
	rate    int
}

func recordings(t *testing.T) (out []recording) {
	t.Helper()
	paths, err := filepath.Glob("../../../testdata/wav/*.wav")
	if err != nil || len(paths) < 20 {
		t.Fatalf("%d recordings, %v", len(paths), err)
	}
	for _, path := range paths {
		text, err := os.ReadFile(strings.TrimSuffix(path, ".wav") + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		r := recording{name: filepath.Base(path)}
		if r.truth, err = truth.Parse(string(text)); err != nil {
			t.Fatal(err)
		}
		src, err := audio.OpenWAV(path)
		if err != nil {
			t.Fatal(err)
		}
		r.rate = src.SampleRate()
		if r.samples, err = listen.Record(t.Context(), src, 60); err != nil {
			t.Fatal(err)
		}
		src.Close()
		out = append(out, r)
	}
	return out
}

// sung plays a recording into the microphone of a page when its window opens; it
// returns the verdict.
func sung(t *testing.T, r recording) map[string]any {
	t.Helper()
	address := drill.WriteAddress("sing", "key", r.truth.Key, "degrees", r.truth.Asked, "count", "1", "seed", "1", "retry", "never",
		"octave", fmt.Sprint(r.truth.TonicOctave), "tolerance", fmt.Sprint(r.truth.Tolerance), "compare", "false")
	s, m := heard(t, r, address)
	if len(m.lines) != 1 {
		t.Errorf("%s: %d answers kept", r.name, len(m.lines))
	}
	v := s.events("verdict")
	if len(v) != 1 {
		t.Fatalf("%s: %d verdicts", r.name, len(v))
	}
	return v[0]
}

// heard runs the drill of an address, and plays a recording into the microphone when
// its window opens, in blocks as a browser sends them, and silence after it.
func heard(t *testing.T, r recording, address string) (*stage, *memory) {
	t.Helper()
	e, s, m := opened(t)
	mic := NewMic(r.rate)
	e.Connect(Sound{Mic: mic, Speaker: audio.Null{Rate: r.rate}})
	var mu sync.Mutex
	at, sounding := int64(0), false
	push := func(x []float64) {
		for len(x) > 0 {
			n := min(len(x), 1024)
			mic.Push(at, floats(x[:n]))
			at, x = at+int64(n), x[n:]
		}
	}
	// Until the window opens the room is heard.
	over := make(chan struct{})
	defer close(over)
	go func() {
		quiet := make([]float64, r.rate/10)
		for {
			select {
			case <-over:
				return
			default:
			}
			mu.Lock()
			if !sounding && mic.waiting() == 0 {
				push(quiet)
			}
			mu.Unlock()
			runtime.Gosched()
		}
	}()
	s.on = func(msg map[string]any) {
		if d, ok := msg["detail"].(map[string]any); ok && d["event"] == "listening" {
			mu.Lock()
			defer mu.Unlock()
			sounding = true
			mic.Skip()
			push(r.samples)
			push(make([]float64, 12*r.rate))
		}
	}
	if end := run(t, e, s, address); end["ok"] != true {
		t.Fatalf("%s: %v", address, end)
	}
	return s, m
}

// The bass of a dictation is sung into the page's microphone, in another octave and two
// notes in a row: the page tells where the singer is, each note, and keeps both answers.
func TestDictationIsSungBack(t *testing.T) {
	voice := synth.Voice{SampleRate: rate, Type: synth.Tenor}
	note := func(hz float64) synth.Sung { return synth.NewSung(hz, 0.9) }
	r := recording{name: "do do", rate: rate}
	r.samples, _ = voice.Sing([]synth.Sung{synth.Rest(0.4), note(155.56), synth.Rest(0.3), note(155.56 * math.Exp2(0.1/12))}, 3) // Eb3
	s, m := heard(t, r, "dictation?answer=sing&key=Eb&degrees=do&length=2&count=1&seed=1&compare=false")
	n := s.events("named")
	if len(n) != 1 || n[0]["by"] != "sing" || fmt.Sprint(n[0]["right"]) != "[true true]" || fmt.Sprint(n[0]["named"]) != "[1 1]" {
		t.Errorf("named %v", n)
	}
	var names []string
	for _, msg := range s.messages("state") {
		names = append(names, msg["name"].(string))
	}
	if got := strings.Join(names, " "); got != "key hear wait line idle" {
		t.Errorf("states %q", got)
	}
	for _, msg := range s.messages("event") {
		if d := msg["detail"].(map[string]any); d["event"] != "named" {
			continue
		}
		said := msg["said"].(map[string]any)
		if text := fmt.Sprint(said["details"]); said["mark"] != "right" || !strings.Contains(text, "Sung do ") || !strings.Contains(text, "cents") {
			t.Errorf("said %v", said)
		}
	}
	for _, l := range m.lines {
		if l.Number < 1 || len(m.lines) != 2 {
			t.Errorf("kept %v", m.lines)
		}
	}
	// Without a microphone one line says so.
	e, s, _ := opened(t)
	if end := run(t, e, s, "dictation?answer=sing&count=1"); end["ok"] == true || !strings.Contains(fmt.Sprint(end["text"]), "no microphone") {
		t.Errorf("without a microphone: %v", end)
	}
}

// Every recording that is played into the page's microphone gets the verdict that its
// truth states (the text beside it), and that of judge to a hundredth of a cent: what
// differs is that a window at a microphone does not know where the sound ends. The
// verdicts are kept, so that the same test, run as js/wasm (make wasm-check), shows that
// the engine of the page hears there what it hears here, to the last digit.
func TestRecordings(t *testing.T) {
	golden := filepath.Join("testdata", "verdicts.golden")
	var all strings.Builder
	list := recordings(t)
	if raceDetector { // what happens at once is the same with each
		list = list[:2]
	}
	for _, r := range list {
		v := sung(t, r)
		line, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&all, "%s %s\n", r.name, line)
		if v["outcome"] != r.truth.Outcome {
			t.Errorf("%s: %v, want %s", r.name, v["outcome"], r.truth.Outcome)
			continue
		}
		if v["reason"] != nil && v["reason"] != r.truth.Reason {
			t.Errorf("%s: %v, want %s", r.name, v["reason"], r.truth.Reason)
		}
		if n := r.truth.Note; n != nil && v["sung"] != nil {
			got, cents := v["sung"].(map[string]any), v["cents"].(float64)
			if got["syllable"] != n.Degree || int(got["octave_shift"].(float64)) != n.OctaveShift || math.Abs(cents-n.Cents) > n.Within {
				t.Errorf("%s: %v %v, %.2f cents; want %s %d, %.1f within %.1f", r.name, got["syllable"], got["octave_shift"], cents, n.Degree, n.OctaveShift, n.Cents, n.Within)
			}
			if judged := judge(t, r); math.Abs(judged.Cents-cents) > 0.5 {
				t.Errorf("%s: %.2f cents, judge says %.2f", r.name, cents, judged.Cents)
			}
		}
	}
	if raceDetector {
		return
	}
	if *update {
		if err := os.WriteFile(golden, []byte(all.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if all.String() != string(want) {
		here, there := strings.Split(all.String(), "\n"), strings.Split(string(want), "\n")
		for i := range min(len(here), len(there)) {
			if here[i] != there[i] {
				t.Fatalf("%s\nis kept as\n%s\n(go test -update writes it anew)", here[i], there[i])
			}
		}
		t.Fatalf("%d lines, %d are kept", len(here), len(there))
	}
}

// waiting is how many samples have not been read.
func (m *Mic) waiting() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return int(m.head - m.tail)
}

// judge hears a recording as the command of that name does.
func judge(t *testing.T, r recording) exercise.Verdict {
	t.Helper()
	key, err := theory.ParseModalKey(r.truth.Key)
	if err != nil {
		t.Fatal(err)
	}
	degrees, err := theory.ParseDegrees(r.truth.Asked, key, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	ear, err := listen.New(audio.NewSamples(r.rate, r.samples), listen.Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	take, err := ear.Note(t.Context(), exercise.DefaultWindow().Recorded(), nil)
	if err != nil {
		t.Fatal(err)
	}
	item := exercise.Item{Key: key, Tuning: theory.Tuning{A4: theory.DefaultA4}, Register: exercise.Register{TonicOctave: r.truth.TonicOctave}, Asked: degrees[0]}
	return exercise.Judge(item, take, exercise.Tolerance{Cents: r.truth.Tolerance})
}
