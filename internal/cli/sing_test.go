package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"singback/internal/audio"
)

// event is a line of sing --format json as a reader of it sees it.
type event struct {
	Event     string
	Index, Of int
	Attempt   int
	Key       string
	Setting   string
	Names     string
	Again     bool
	Seed      uint64
	Tonic     string
	TonicHz   float64 `json:"tonic_hz"`
	A4Hz      float64 `json:"a4_hz"`
	Asked     struct{ Degree, Syllable, Name, Note string }
	From      *struct{ Degree, Syllable, Name, Note string }
	TargetHz  float64 `json:"target_hz"`
	Outcome   string
	Reason    *string
	Sung      *struct {
		Degree, Syllable, Name, Note string
		OctaveShift                  int `json:"octave_shift"`
	}
	Cents       *float64
	Counts      bool
	Interrupted bool
	Total       struct{ Asked, Answered, Right int }
	ByDegree    []struct {
		Degree string
		Asked  int
	} `json:"by_degree"`
	ByPair []struct {
		From, To struct{ Degree string }
		Asked    int
	} `json:"by_pair"`
}

func events(t testing.TB, stdout string) []event {
	t.Helper()
	var all []event
	for line := range strings.Lines(stdout) {
		if !strings.HasSuffix(line, "\n") || !strings.HasPrefix(line, `{"event":"`) {
			t.Errorf("line %q is no event", line)
		}
		var e event
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		all = append(all, e)
	}
	return all
}

func named(all []event, name string) []event {
	return slices.DeleteFunc(slices.Clone(all), func(e event) bool { return e.Event != name })
}

// simulate runs the simulated singer and returns the events.
func simulate(t testing.TB, args ...string) []event {
	t.Helper()
	stdout, _ := call{}.must(t, append([]string{"sing", "--input", "simulated", "--format", "json"}, args...)...)
	return events(t, stdout)
}

func TestSingEvents(t *testing.T) {
	all := simulate(t, "--key", "Ab major", "--count", "6", "--seed", "11")
	var order []string
	for _, e := range all {
		order = append(order, e.Event)
	}
	var want []string
	for i := range 6 {
		if i%5 == 0 {
			want = append(want, "key")
		}
		want = append(want, "prompt", "listening", "verdict")
	}
	if want = append(want, "summary"); !slices.Equal(order, want) {
		t.Errorf("events %q, want %q", order, want)
	}
	key := named(all, "key")
	if k := key[0]; k.Key != "Ab major" || k.Setting != "cadence" || k.Names != "movable" || k.Seed != 11 || k.Again || k.A4Hz != 440 || !key[1].Again {
		t.Errorf("keys %+v", key)
	}
	right := 0
	for i, v := range named(all, "verdict") {
		p := named(all, "prompt")[i]
		if l := named(all, "listening")[i]; l.Index != i+1 {
			t.Errorf("the window for question %d opens as %+v", i+1, l)
		}
		if v.Index != i+1 || p.Index != i+1 || p.Of != 6 || p.Attempt != 1 || v.Attempt != 1 || v.Asked != p.Asked || v.TargetHz != p.TargetHz {
			t.Errorf("prompt %+v, verdict %+v", p, v)
		}
		// The target is the asked note in equal temperament.
		if hz := 440 * math.Exp2(float64(midi(t, p.Asked.Note)-69)/12); math.Abs(hz-p.TargetHz) > 0.0006 {
			t.Errorf("%s at %v Hz, want %.3f", p.Asked.Note, p.TargetHz, hz)
		}
		if v.Outcome == "in_tune" {
			right++
		}
	}
	s := all[len(all)-1]
	sum := 0
	for _, d := range s.ByDegree {
		sum += d.Asked
	}
	if s.Key != "Ab major" || s.Seed != 11 || s.Interrupted || s.Total.Asked != 6 || s.Total.Right != right || sum != 6 || len(s.ByPair) != 0 {
		t.Errorf("summary %+v, want 6 asked, %d right", s, right)
	}
}

// The same seed gives the same bytes, on standard output and in the file;
// another seed another series.
func TestSingSameSeedSameBytes(t *testing.T) {
	dir := t.TempDir()
	once := func(file, seed string, more ...string) (string, []byte) {
		t.Helper()
		path := filepath.Join(dir, file)
		args := []string{"sing", "--input", "simulated", "--count", "4", "--format", "json", "--seed", seed, "--output", path}
		stdout, _ := call{}.must(t, append(args, more...)...)
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return stdout, b
	}
	a, fileA := once("a.wav", "5", "--from", "any", "--key", "random")
	b, fileB := once("b.wav", "5", "--from", "any", "--key", "random")
	if a != b || !bytes.Equal(fileA, fileB) {
		t.Errorf("two runs with one seed differ:\n%s\n%s", a, b)
	}
	if c, _ := once("c.wav", "6", "--from", "any", "--key", "random"); a == c {
		t.Error("two seeds gave one series")
	}
	// What is played and where does not change what is judged.
	silent, _ := call{}.must(t, "sing", "--input", "simulated", "--count", "4", "--format", "json", "--seed", "5", "--from", "any", "--key", "random")
	if silent != a {
		t.Errorf("without --output the events differ:\n%s\n%s", silent, a)
	}
	// Without --seed the number drawn is told, and gives the run again.
	stdout, _ := call{}.must(t, "sing", "--input", "simulated", "--count", "2", "--format", "json")
	seed := events(t, stdout)[0].Seed
	again, _ := call{}.must(t, "sing", "--input", "simulated", "--count", "2", "--format", "json", "--seed", fmt.Sprint(seed))
	if again != stdout {
		t.Errorf("seed %d, told by a run, gives another run", seed)
	}
}

func TestSingFlags(t *testing.T) {
	t.Parallel()
	t.Run("names", func(t *testing.T) {
		// La in A-flat major in each naming.
		for names, want := range map[string]string{
			"movable": "la", "la-based": "la", "fixed": "fa", "numbers": "6", "letters": "F", "curwen": "l", "kodaly": "la",
		} {
			all := simulate(t, "--key", "Ab", "--degrees", want, "--names", names, "--count", "1")
			p := named(all, "prompt")[0]
			if p.Asked.Degree != "6" || p.Asked.Name != want || p.Asked.Syllable != "la" || all[0].Names != names {
				t.Errorf("--names %s: %+v", names, p.Asked)
			}
			_, stderr := call{}.must(t, "sing", "--input", "simulated", "--key", "Ab", "--degrees", want, "--names", names, "--count", "1")
			if !strings.Contains(stderr, "1 of 1: sing "+want+", within 35 cents.\n") {
				t.Errorf("--names %s asks %q", names, stderr)
			}
		}
	})
	t.Run("from", func(t *testing.T) {
		all := simulate(t, "--from", "la", "--degrees", "re mi", "--count", "4")
		for _, p := range named(all, "prompt") {
			if p.From == nil || p.From.Syllable != "la" || p.Asked.Syllable != "re" && p.Asked.Syllable != "mi" {
				t.Errorf("prompt %+v", p)
			}
		}
		pairs := all[len(all)-1].ByPair
		if len(pairs) != 2 || pairs[0].Asked != 2 || pairs[1].Asked != 2 || pairs[0].From.Degree != "6" {
			t.Errorf("pairs %+v, want la–re and la–mi twice each", pairs)
		}
		_, stderr := call{}.must(t, "sing", "--input", "simulated", "--from", "la", "--degrees", "re", "--count", "1")
		if !strings.Contains(stderr, "1 of 1: hear la, sing re, within 35 cents.\n") {
			t.Errorf("asks %q", stderr)
		}
	})
	t.Run("retry", func(t *testing.T) {
		missed := 0
		for seed := 11; missed == 0 && seed < 30; seed++ {
			args := []string{"--count", "4", "--seed", fmt.Sprint(seed), "--compare=false"}
			again := 0
			for _, v := range named(simulate(t, append(args, "--retry", "always")...), "verdict") {
				if v.Attempt == 2 {
					again++
					if v.Counts {
						t.Errorf("the second answer to %d counts after a first that was measured", v.Index)
					}
				} else if v.Outcome != "in_tune" {
					missed++
				}
			}
			if again != missed {
				t.Errorf("%d second attempts after %d misses", again, missed)
			}
			for _, retry := range []string{"never", "ask"} { // nobody can be asked without a terminal
				for _, v := range named(simulate(t, append(args, "--retry", retry)...), "verdict") {
					if v.Attempt != 1 {
						t.Errorf("--retry %s: a second attempt", retry)
					}
				}
			}
		}
		if missed == 0 {
			t.Error("no miss to test with")
		}
	})
	t.Run("place", func(t *testing.T) {
		for _, c := range []struct {
			args []string
			hz   float64 // of do in A major
		}{
			{[]string{"--octave", "2"}, 110}, {[]string{"--octave", "4"}, 440}, {[]string{"--a4", "442", "--octave", "4"}, 442},
			{[]string{"--voice", "bass"}, 110}, {[]string{"--voice", "alto"}, 220},
		} {
			all := simulate(t, append(c.args, "--key", "A", "--degrees", "do", "--count", "1")...)
			if got := named(all, "prompt")[0].TargetHz; got != c.hz || all[0].TonicHz != c.hz {
				t.Errorf("%q: do at %v Hz, tonic at %v Hz, want %v", c.args, got, all[0].TonicHz, c.hz)
			}
		}
	})
	t.Run("strict octave", func(t *testing.T) {
		moved := 0
		for seed := 20; moved == 0 && seed < 40; seed++ {
			args := []string{"--count", "3", "--seed", fmt.Sprint(seed), "--compare=false"}
			free, strict := named(simulate(t, args...), "verdict"), named(simulate(t, append(args, "--strict-octave")...), "verdict")
			for i, v := range free {
				if v.Sung == nil || v.Sung.Degree != v.Asked.Degree || v.Sung.OctaveShift == 0 {
					continue
				}
				if moved++; strict[i].Outcome != "other_degree" {
					t.Errorf("answer %d, %d octaves off, is %s with --strict-octave", i+1, v.Sung.OctaveShift, strict[i].Outcome)
				}
			}
		}
		if moved == 0 {
			t.Error("no answer in another octave to test with")
		}
	})
	t.Run("set-every", func(t *testing.T) {
		for every, want := range map[string]int{"0": 1, "1": 4, "3": 2} {
			if n := len(named(simulate(t, "--count", "4", "--set-every", every), "key")); n != want {
				t.Errorf("--set-every %s: the key is set %d times, want %d", every, n, want)
			}
		}
	})
}

func TestSingRecordings(t *testing.T) {
	wav := func(name string) string { return "../../testdata/wav/" + name + ".wav" }
	stdout, _ := call{}.must(t, "sing", "--format", "json", "--input", wav("silence"), wav("flat-40"), wav("pink-noise"), "--key", "A", "--degrees", "ti")
	var got []string
	for _, v := range named(events(t, stdout), "verdict") {
		got = append(got, v.Outcome)
	}
	if want := []string{"not_measured", "flat", "not_measured"}; !slices.Equal(got, want) {
		t.Errorf("the n-th recording answers the n-th question: %q, want %q", got, want)
	}
	s := events(t, stdout)
	if total := s[len(s)-1].Total; total.Asked != 3 || total.Answered != 1 {
		t.Errorf("total %+v, want 1 answered of 3: the singer is not charged for what was not measured", total)
	}
	stdout, _ = call{}.must(t, "sing", "--format", "json", "--count", "1", wav("silence"), wav("flat-40"))
	if n := len(named(events(t, stdout), "verdict")); n != 1 {
		t.Errorf("--count 1 with two recordings: %d verdicts", n)
	}
	// However a pipe delivers it, the same bytes come out.
	b, err := os.ReadFile(wav("flat-40"))
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"sing", "--format", "json", "--key", "A", "--degrees", "ti", "-"}
	whole, _ := call{stdin: bytes.NewReader(b)}.must(t, args...)
	for _, r := range []io.Reader{iotest.OneByteReader(bytes.NewReader(b)), iotest.HalfReader(bytes.NewReader(b)), iotest.DataErrReader(bytes.NewReader(b))} {
		if split, _ := (call{stdin: r}).must(t, args...); split != whole {
			t.Errorf("in other blocks: %s, want %s", split, whole)
		}
	}
	// The recording that ends the run: what was sung so far is summed up.
	stdout, stderr, code := call{stdin: strings.NewReader("no recording")}.run(t, "sing", "--format", "json", wav("silence"), "-")
	all := events(t, stdout)
	last := all[len(all)-1]
	if code != exitFailed || last.Event != "summary" || last.Total.Asked != 1 || !last.Interrupted || !strings.HasSuffix(stderr, "name a recording\n") {
		t.Errorf("exit %d, %+v, %q", code, last, stderr)
	}
}

// strength is the level in dB of the sine of hz in samples, under a Hann
// window: the discrete-time Fourier transform at one frequency.
func strength(samples []float64, rate int, hz float64) float64 {
	var re, im, sum float64
	for i, x := range samples {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(samples)))
		sin, cos := math.Sincos(2 * math.Pi * hz * float64(i) / float64(rate))
		re, im, sum = re+w*x*cos, im+w*x*sin, sum+w
	}
	return 20 * math.Log10(2*math.Hypot(re, im)/sum+1e-12)
}

// The cadence I–IV–V7–I in A-flat major, tonic octave 3, as any textbook of
// harmony leads it: the common tone stays, the leading tone G rises to A-flat,
// the seventh D-flat falls to C.
var cadenceInAFlat = [4][]string{
	{"Ab2", "Ab3", "C4", "Eb4"},
	{"Db3", "Ab3", "Db4", "F4"},
	{"Eb3", "G3", "Db4", "Eb4"},
	{"Ab2", "Ab3", "C4", "Eb4"},
}

// checkCadence looks for the cadence at the start of what sounds in samples:
// the notes of each chord at its time, 72 beats a minute, and none that does
// not belong.
func checkCadence(t *testing.T, samples []float64, rate int) {
	t.Helper()
	onset := slices.IndexFunc(samples, func(x float64) bool { return math.Abs(x) > 1e-4 })
	if onset < 0 {
		t.Fatal("nothing sounds")
	}
	hz := func(m int) float64 { return 440 * math.Exp2(float64(m-69)/12) }
	for i, chord := range cadenceInAFlat {
		from := onset + int((float64(i)*60/72+0.05)*float64(rate))
		part := samples[from : from+rate*6/10]
		belongs := map[int]bool{}
		weakest := math.Inf(1)
		for _, note := range chord {
			m := midi(t, note)
			weakest = min(weakest, strength(part, rate, hz(m)))
			for partial := 1; partial <= 10; partial++ { // the nearest note to each partial, and its neighbours
				at := 12 * math.Log2(float64(partial))
				for _, near := range []float64{math.Floor(at), math.Round(at), math.Ceil(at)} {
					belongs[m+int(near)] = true
				}
			}
		}
		strangers, strongest := 0, math.Inf(-1)
		for m := midi(t, "Ab2"); m <= midi(t, "F4"); m++ {
			if !belongs[m] {
				strangers++
				strongest = max(strongest, strength(part, rate, hz(m)))
			}
		}
		t.Logf("chord %d: weakest of its notes %.1f dBFS, strongest of %d others %.1f dBFS", i+1, weakest, strangers, strongest)
		if weakest < -70 || strangers < 8 || strongest > weakest-20 {
			t.Errorf("chord %d, %q: weakest note %.1f dBFS, strongest stranger %.1f dBFS, want 20 dB between them", i+1, chord, weakest, strongest)
		}
	}
}

func peak(samples []float64) float64 {
	most := 0.0
	for _, x := range samples {
		most = max(most, math.Abs(x))
	}
	return most
}

func TestSingOutputHoldsTheCadence(t *testing.T) {
	path := filepath.Join(t.TempDir(), "out.wav")
	for _, level := range []float64{-23, -17} {
		simulate(t, "--key", "Ab major", "--degrees", "la", "--count", "1", "--loudness", fmt.Sprint(level), "--force", "--output", path)
		rate, samples := readWAV(t, path)
		if rate != 48000 {
			t.Errorf("%d Hz", rate)
		}
		checkCadence(t, samples, rate)
		// The right note is sounded last, for comparison: la, F4, 349.23 Hz.
		last := samples[len(samples)-rate*14/10 : len(samples)-rate*7/10]
		if got := strength(last, rate, 349.228); got < level-30 {
			t.Errorf("the right note has %.1f dBFS", got)
		}
		most := 20 * math.Log10(peak(samples))
		// A cadence of chords peaks some 15 dB over its loudness, and nothing over -2.5 dBFS.
		if most > -2.49 || most < level+10 {
			t.Errorf("--loudness %v: peak at %.2f dBFS", level, most)
		}
		if tail := peak(samples[len(samples)-rate/5:]); tail != 0 {
			t.Errorf("the last 200 ms have a peak of %v, want silence", tail)
		}
		// No click: no step between samples that partials do not make.
		loudest := peak(samples)
		for i := 1; i < len(samples); i++ {
			if step := math.Abs(samples[i] - samples[i-1]); step > 0.5*loudest {
				t.Fatalf("a step of %v at %.4f s", step, float64(i)/float64(rate))
			}
		}
	}
	simulate(t, "--degrees", "la", "--count", "1", "--compare=false", "--force", "--output", path)
	_, without := readWAV(t, path)
	simulate(t, "--degrees", "la", "--count", "1", "--force", "--output", path)
	if _, with := readWAV(t, path); len(with)-len(without) < 48000 {
		t.Errorf("the comparison adds %d samples, want more than a second", len(with)-len(without))
	}
}

// Each way of setting the key sounds its own notes: at A major from octave 3.
func TestSingOutputOfEachSetting(t *testing.T) {
	path := filepath.Join(t.TempDir(), "out.wav")
	const a3, e4, cSharp4 = 220, 329.628, 277.183
	for set, want := range map[string][3]bool{ // A3, E4, C#4 in the first 0.4 s
		"cadence": {true, true, true}, "scale": {true, false, false}, "tonic": {true, false, false}, "drone": {true, true, false},
	} {
		all := simulate(t, "--key", "A", "--octave", "3", "--degrees", "re", "--count", "1", "--set", set, "--force", "--output", path)
		if all[0].Setting != set {
			t.Errorf("--set %s: %+v", set, all[0])
		}
		rate, samples := readWAV(t, path)
		first := samples[:rate*4/10]
		for i, hz := range []float64{a3, e4, cSharp4} {
			if got := strength(first, rate, hz) > strength(first, rate, a3)-26; got != want[i] {
				t.Errorf("--set %s: %v Hz sounds: %v, want %v", set, hz, got, want[i])
			}
		}
	}
}

// ending cancels when the text has come by a number of times.
type ending struct {
	out    bytes.Buffer
	text   string
	times  int
	cancel context.CancelFunc
}

func (e *ending) Write(p []byte) (int, error) {
	if e.times -= strings.Count(string(p), e.text); e.times == 0 {
		e.times--
		e.cancel()
	}
	return e.out.Write(p)
}

// An interrupt ends the drill with the summary so far, and that is no failure.
func TestSingInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	out := &ending{text: `"event":"verdict"`, times: 3, cancel: cancel}
	path := filepath.Join(t.TempDir(), "out.wav")
	_, stderr := call{ctx: ctx, stdout: out}.must(t, "sing", "--input", "simulated", "--count", "1000", "--format", "json", "--output", path)
	all := events(t, out.out.String())
	if s := all[len(all)-1]; s.Event != "summary" || !s.Interrupted || s.Total.Asked != 3 || strings.Contains(stderr, "cancel") {
		t.Errorf("summary %+v, standard error %q", s, stderr)
	}
	if w, err := audio.OpenWAV(path); err != nil || w.Format.Frames <= 0 {
		t.Errorf("the file of an interrupted drill: %v", err)
	}

	ctx, cancel = context.WithCancel(t.Context())
	out = &ending{text: " asked ", times: 2, cancel: cancel}
	call{ctx: ctx, stdout: out}.must(t, "sing", "--input", "simulated", "--count", "1000")
	if !strings.Contains(out.out.String(), " of 2 right in C major.") {
		t.Errorf("standard output %q", out.out.String())
	}

	ctx, cancel = context.WithCancel(t.Context())
	cancel()
	stdout, _ := call{ctx: ctx}.must(t, "sing", "--input", "simulated")
	if stdout != "Nothing was answered.\n" {
		t.Errorf("interrupted at once: %q", stdout)
	}
}

// The same with the real signal and a process of its own.
func TestSingInterruptSignal(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir()) // nobody has a profile
	cmd := exec.CommandContext(t.Context(), "singback", "sing", "--input", "simulated", "--count", "1000", "--format", "json")
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	out := &ending{text: `"event":"verdict"`, times: 2, cancel: func() { cmd.Process.Signal(os.Interrupt) }}
	if _, err := io.Copy(out, pipe); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("%v: %s", err, stderr.String())
	}
	all := events(t, out.out.String())
	if s := all[len(all)-1]; s.Event != "summary" || !s.Interrupted || s.Total.Asked < 2 || s.Total.Asked > 999 {
		t.Errorf("last event %+v", s)
	}
}
