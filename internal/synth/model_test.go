package synth

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
	"singback/pitch"
	"singback/theory"
)

// sungLine is one octave, with chromatic notes, of a model in its range.
func sungLine(t testing.TB, m Model, tuning string, each float64) []Timed {
	t.Helper()
	tune, err := theory.ParseTuning(tuning, 441)
	if err != nil {
		t.Fatal(err)
	}
	key := theory.Key{Tonic: theory.Note{Letter: theory.G}}
	octave := []int{2, 3, 3, 4, 4}[m.Type]
	var line []Timed
	for i, s := range syllables {
		d, err := theory.ParseDegree(s, key, theory.Movable)
		if err != nil {
			t.Fatal(err)
		}
		p := key.Pitch(d, octave)
		line = append(line, Timed{Hz: tune.HzIn(key, p), Start: float64(i) * each, Duration: each, Key: key, Pitch: p})
	}
	return line
}

// Every note of a legato line has its pitch within 0.2 cents as the mean of what is held, by
// the project's tracker, by the autocorrelation of this test, and by Praat's; in all
// tunings and voices.
func TestModelIsInTune(t *testing.T) {
	const rate, each = 16000, 1.2
	var worst [3]float64
	for v := Bass; v <= Child; v++ {
		m := Model{SampleRate: rate, Type: v, Level: DefaultLevel}
		for i, tuning := range []string{"equal", "just", "pythagorean"} {
			if testing.Short() && int(v)%3 != i {
				continue
			}
			line := sungLine(t, m, tuning, each)[3*i : 3*i+5] // other notes in each tuning
			x := m.Render(line)
			lead := max(0, phoneOf(m.syllable(line[0]).Consonant).seconds-line[0].Start)
			var theirs []float64
			if i == 1 {
				theirs = praatMeans(t, x, rate, line, lead)
			}
			tracker, err := pitch.NewTracker(pitch.DefaultConfig(rate))
			if err != nil {
				t.Fatal(err)
			}
			points := tracker.Flush(tracker.Push(nil, x))
			for j, n := range line {
				// The vibrato takes whole cycles from 0.4 s on: all of them are inside.
				from, to := lead+n.Start+0.10, lead+n.Start+each-0.2
				// The autocorrelation at the tracker's frames, every other one.
				var sum, own, count, frames float64
				for k, p := range points {
					s := float64(p.Index) / rate
					if s < from || s >= to || k%2 == 1 {
						continue
					}
					frames++
					at := int(p.Index)
					c := 1200 * math.Log2(rate/longPeriod(x[at-int(0.02*rate):at+int(0.02*rate)], rate, n.Hz*0.8, n.Hz*1.3)/n.Hz)
					sum += c
					// Where a frame's period is a whole number of samples, and there is no noise, the
					// tracker may stay at it: such a frame is left out, few are.
					if cents := 1200 * math.Log2(p.F0/n.Hz); p.Voiced && math.Abs(cents-c) < 15 {
						own, count = own+cents-c, count+1
					}
				}
				heard := sum / frames
				own = own/count + heard
				if math.Abs(heard) > 0.2 {
					t.Errorf("%v, %s, note %d: the autocorrelation's mean is %.2f cents off", v, tuning, j, heard)
				}
				if math.Abs(own) > 0.2 || count < frames-3 {
					t.Errorf("%v, %s, note %d: the tracker's mean is %.2f cents off, of %.0f of %.0f frames", v, tuning, j, own, count, frames)
				}
				worst = [3]float64{max(worst[0], math.Abs(own)), max(worst[1], math.Abs(heard)), worst[2]}
				if theirs != nil {
					worst[2] = max(worst[2], math.Abs(theirs[j]))
				}
				if theirs != nil && math.Abs(theirs[j]) > 0.2 {
					t.Errorf("%v, %s, note %d: Praat's mean is %.2f cents off", v, tuning, j, theirs[j])
				}
			}
		}
	}
	t.Logf("at most off, cents: tracker %.2f, autocorrelation %.2f, Praat %.2f", worst[0], worst[1], worst[2])
}

// praatMeans returns how far the notes of a line are from their pitches, in cents, by Praat
// ("To Pitch (ac)", very accurate); nil where it is not installed.
func praatMeans(t *testing.T, x []float64, rate int, line []Timed, lead float64) []float64 {
	if _, err := exec.LookPath("praat"); err != nil && os.Getenv("SINGBACK_REQUIRE_TOOLS") != "1" {
		t.Log("praat is not installed: not compared with it")
		return nil
	}
	program := testkit.Tool(t, "praat")
	dir := t.TempDir()
	var b bytes.Buffer
	if err := audio.WriteWAV(&b, rate, x); err != nil {
		t.Fatal(err)
	}
	wav, script := filepath.Join(dir, "x.wav"), filepath.Join(dir, "x.praat")
	if err := os.WriteFile(wav, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	var s strings.Builder
	fmt.Fprintf(&s, "Read from file: %q\nTo Pitch (ac): 0.005, 60, 15, \"yes\", 0.03, 0.45, 0.05, 0.35, 0.14, 900\n", wav)
	for _, n := range line {
		from, to := lead+n.Start+0.10, lead+n.Start+n.Duration-0.2
		fmt.Fprintf(&s, "x = Get mean: %.6f, %.6f, \"semitones re 440 Hz\"\nwriteInfoLine: \"\"\nappendFileLine: %q, fixed$(x, 6)\n", from, to, script+".txt")
	}
	if err := os.WriteFile(script, []byte(s.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(program, "--run", script).CombinedOutput(); err != nil {
		t.Fatalf("praat: %v: %s", err, out)
	}
	text, err := os.ReadFile(script + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	var off []float64
	for i, word := range strings.Fields(string(text)) {
		semitones, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		off = append(off, 100*semitones-1200*math.Log2(line[i].Hz/440))
	}
	return off
}

// Whatever is sung is as loud as its level says, under −1 dBTP: one note or a line, every
// voice, by this package's tests' own meter.
func TestModelIsAsLoudAsItsLevel(t *testing.T) {
	const rate = 48000
	for v := Bass; v <= Child; v++ {
		m := Model{SampleRate: rate, Type: v, Level: DefaultLevel}
		line := sungLine(t, m, "equal", 0.4)[:7]
		for _, c := range []struct {
			what string
			x    []float64
		}{
			{"do", m.Render([]Timed{{Hz: line[0].Hz, Duration: 1.2, Key: line[0].Key, Pitch: line[0].Pitch}})},
			{"ti", m.Render([]Timed{{Hz: line[6].Hz, Duration: 1.2, Key: line[6].Key, Pitch: line[6].Pitch}})},
			{"a line", m.Render(line)},
		} {
			if got := lufs(c.x, rate); math.Abs(got-DefaultLevel) > 0.2 {
				t.Errorf("%v, %s: %.2f LUFS", v, c.what, got)
			}
			if got := truePeak(c.x); got > -1 {
				t.Errorf("%v, %s: %.1f dBTP", v, c.what, got)
			}
		}
	}
	m := Model{SampleRate: rate, Type: Bass, Level: -14}
	if got := truePeak(m.Render(sungLine(t, m, "equal", 0.4)[:7])); got > -1 {
		t.Errorf("at -14 LUFS: %.1f dBTP", got)
	}
}

// Nothing clicks: above the highest partial there is breath alone in syllables without a
// burst or a hiss, and the sound begins and ends at rest. The same line gives the same samples.
func TestModelBeginsAndEndsAtRest(t *testing.T) {
	const rate = 48000
	for v := Bass; v <= Child; v++ {
		m := Model{SampleRate: rate, Type: v, Level: DefaultLevel}
		for _, s := range []string{"re", "mi", "la"} {
			x := singing(t, m, s, pitchesOf[v][2], 0.7)
			level := band(spectrum(x[rate/3:rate/3+4096]), 4096, rate, 50, 24000)
			for at := 0; at+512 <= len(x); at += 256 {
				if db := 10 * math.Log10(8*band(spectrum(x[at:at+512]), 512, rate, 11500, 24000)/level); db > -50 {
					t.Errorf("%v %s: %.0f dB above 11.5 kHz at %.3f s", v, s, db, float64(at)/rate)
				}
			}
			if p := peak(x); math.Abs(x[0]) > p/1000 || math.Abs(x[len(x)-1]) > p/1000 {
				t.Errorf("%v %s begins with %g and ends with %g", v, s, x[0], x[len(x)-1])
			}
			again := singing(t, m, s, pitchesOf[v][2], 0.7)
			for i := range x {
				if x[i] != again[i] {
					t.Fatal("the same line gave other samples")
				}
			}
		}
	}
}

// The table of names: what the namings call a degree is what is sung. Curwen's signs are
// from memory.
func TestSyllableOf(t *testing.T) {
	minor := theory.Key{Tonic: theory.Note{Letter: theory.A}, Mode: theory.Minor}
	for _, c := range []struct {
		naming theory.Naming
		key    theory.Key
		degree string // in movable do
		want   Syllable
	}{
		{theory.Movable, cMajor, "do", Syllable{'d', O, false}},
		{theory.Movable, cMajor, "sol", Syllable{'s', O, true}},
		{theory.Movable, cMajor, "fi", Syllable{'f', I, false}},
		{theory.Movable, cMajor, "ra", Syllable{'r', A, false}},
		{theory.Movable, cMajor, "te", Syllable{'t', E, false}},
		{theory.LaBased, minor, "do", Syllable{'l', A, false}},
		{theory.Fixed, minor, "do", Syllable{'l', A, false}},
		{theory.Fixed, cMajor, "ti", Syllable{'s', I, false}},
		{theory.Fixed, cMajor, "le", Syllable{'l', A, false}}, // la♭: the sign is not sung
		{theory.FixedChromatic, cMajor, "le", Syllable{'l', E, false}},
		{theory.Kodaly, cMajor, "te", Syllable{'t', A, false}},
		{theory.Curwen, cMajor, "do", Syllable{'d', O, false}},
		{theory.Curwen, cMajor, "mi", Syllable{'m', I, false}},
		{theory.Curwen, cMajor, "fi", Syllable{'f', I, false}}, // fe
		{theory.Curwen, cMajor, "te", Syllable{'t', O, false}}, // ta, as in law
		{theory.Numbers, cMajor, "mi", Syllable{'m', A, false}},
		{theory.Letters, cMajor, "sol", Syllable{'m', A, false}},
	} {
		d, err := theory.ParseDegree(c.degree, c.key, theory.Movable)
		if err != nil {
			t.Fatal(err)
		}
		if got := SyllableOf(c.naming, c.key, d); got != c.want {
			t.Errorf("%v, %v, %s (%s): %c%c, want %c%c", c.naming, c.key, c.degree, c.naming.Name(c.key, d), got.Consonant, "aeiou"[got.Vowel], c.want.Consonant, "aeiou"[c.want.Vowel])
		}
	}
	// Every degree of every naming has one.
	for _, n := range theory.Namings() {
		for _, k := range theory.Keys() {
			for step := 1; step <= 7; step++ {
				for alter := -2; alter <= 2; alter++ {
					s := SyllableOf(n, k, theory.Degree{Step: step, Alter: alter})
					if !strings.ContainsRune("drmfsltb", rune(s.Consonant)) || s.Vowel < A || s.Vowel > U {
						t.Fatalf("%v, %v, %d %d: %v", n, k, step, alter, s)
					}
				}
			}
		}
	}
}

// Lines of all kinds, notes shorter than their consonants, rests, notes beyond every range,
// give samples that are finite, and as loud as asked where anything sounds.
func TestModelSingsAnything(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 40 {
		m := Model{SampleRate: []int{8000, 16000, 44100}[i%3], Type: VoiceType(i % 5), Level: DefaultLevel, Names: theory.Namings()[i%8]}
		var line []Timed
		at := 0.0
		for range rng.IntN(6) {
			n := Timed{Hz: 30 * math.Exp2(7*rng.Float64()), Start: at, Duration: math.Exp2(-6 * rng.Float64()), Key: cMajor}
			n.Pitch = cMajor.Pitch(cMajor.ChromaticDegrees()[rng.IntN(12)], 4)
			if at += n.Duration; rng.IntN(4) == 0 {
				n.Hz = 0
			}
			line = append(line, n)
		}
		for _, x := range [][]float64{m.Render(line), m.renderAfter(line, 0)} {
			for j, v := range x {
				if math.IsNaN(v) || math.Abs(v) > fromDB(ceiling)+1e-9 {
					t.Fatalf("line %d, %+v: sample %d is %g", i, line, j, v)
				}
			}
		}
	}
	if (Model{SampleRate: 48000}).Render(nil) != nil {
		t.Error("nothing sounds")
	}
}

// Names of choirs' voices, and where a range lies.
func TestModelType(t *testing.T) {
	for _, c := range []struct {
		name      string
		low, high int
		want      VoiceType
	}{
		{"soprano", 0, 0, Soprano}, {"mezzo", 0, 0, Soprano}, {"alto", 0, 0, Alto}, {"tenor", 0, 0, Tenor}, {"baritone", 0, 0, Bass}, {"bass", 0, 0, Bass}, {"child", 0, 0, Child},
		{"", 41, 64, Bass}, {"", 45, 65, Bass}, {"", 48, 69, Tenor}, {"", 53, 74, Alto}, {"", 57, 77, Soprano}, {"", 60, 81, Soprano},
	} {
		if got := ModelType(c.name, c.low, c.high); got != c.want {
			t.Errorf("%q, %d to %d: %v, want %v", c.name, c.low, c.high, got, c.want)
		}
	}
}
