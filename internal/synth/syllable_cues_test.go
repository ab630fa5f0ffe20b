package synth

import (
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"singback/internal/audio"
	"singback/internal/testkit"
)

// F1 and F2 of every vowel lie between the singers' and the speakers' of the published
// tables, within 8 % or a quarter of F0 (the scatter of an estimate from partials that lie
// F0 apart), where F0 lies under seven tenths of F1, or a fifth of F2: higher up no estimate sees them.
func TestVowelFormants(t *testing.T) {
	for v := Bass; v <= Child; v++ {
		m := Model{SampleRate: syllableRate, Type: v, Level: DefaultLevel}
		poles := []int{12, 12, 12, 12, 10}[v]
		for _, hz := range pitchesOf[v][:4] {
			for i, s := range []string{"la", "re", "mi", "do"} {
				h := hearSyllable(singing(t, m, s, hz, 0.45), syllableRate, 70, 800)
				if math.Abs(1200*math.Log2(h.hz/hz)) > 5 {
					t.Fatalf("%v %s: F0 %.1f, want %.1f", v, s, h.hz, hz)
				}
				f := formantsOf(decimated(h.vowel, 2), syllableRate/2, h.hz, poles)
				for n := range 2 {
					low, high := sungFormants[v][i][n], spokenFormants[v][i][n]
					if low > high {
						low, high = high, low
					}
					if n == 0 && hz > 0.7*low || hz > 0.2*low && n == 1 {
						continue
					}
					room := max(0.08*high, hz/4)
					if len(f) < 2 || f[n] < low-room || f[n] > high+room {
						t.Errorf("%v at %.0f Hz, %s: F%d in %.0f, want %.0f to %.0f within %.0f", v, hz, s, n+1, f, low, high, room)
					}
				}
			}
		}
	}
}

// levelIn returns the level in dB of x between two frequencies, per hertz.
func levelIn(x []float64, rate int, from, to float64) float64 {
	return 10 * math.Log10(band(spectrum(x), len(x), rate, from, to)/float64(len(x))/(to-from)+1e-20)
}

// The cues of TRADE's table of consonants (Klatt 1980, second-hand; times by common
// practice), in every voice.
func TestConsonantCues(t *testing.T) {
	const rate = 48000
	for v := Bass; v <= Child; v++ {
		m := Model{SampleRate: rate, Type: v, Level: DefaultLevel}
		hz := pitchesOf[v][1]
		heard := map[string]heardSyllable{}
		for _, s := range []string{"do", "re", "mi", "fa", "sol", "la", "ti"} {
			heard[s] = hearSyllable(singing(t, m, s, hz, 0.45), rate, 70, 800)
		}
		check := func(ok bool, format string, args ...any) {
			t.Helper()
			if !ok {
				t.Errorf("%v: %s", v, fmt.Sprintf(format, args...))
			}
		}
		for _, s := range []string{"re", "mi", "la"} { // pitch starts with the consonant
			h := heard[s]
			ms := 1000 * float64(h.onset) / rate
			check(h.sonorant != nil && ms >= 50 && ms <= 130 && h.noiseMS <= 8, "%s: voiced %v, %.0f ms, noise %.0f ms; want a voice of 60 to 120 ms", s, h.sonorant != nil, ms, h.noiseMS)
		}
		// m: a murmur. Under 1.2 times F0, or 300 Hz, lies five sixths of it.
		x, edge := heard["mi"].sonorant, max(300, 1.2*hz)
		power := spectrum(x)
		rest := band(power, len(x), rate, edge+50, 5000) / band(power, len(x), rate, 0, edge+50)
		check(rest < 0.15, "mi: %.3f of the murmur lies above %.0f Hz", rest, edge)
		// r: F3 under 2 kHz, l: far above. Measured at the voice's low pitches.
		low := pitchesOf[v][0]
		for _, s := range []string{"re", "la"} {
			h := hearSyllable(singing(t, m, s, low, 0.45), rate, 70, 800)
			f := formantsOf(decimated(h.sonorant, 4), rate/4, h.hz*0.985, 10)
			check(len(f) > 2 && (f[2] < 2000) == (s == "re"), "%s: formants in the consonant %.0f", s, f)
		}
		// d: its burst is at most 10 ms (here with 8 ms of the window), its pitch starts at
		// or before it, and the vowel follows within 20 ms.
		h := heard["do"]
		check(h.beforeVoiced && h.closed >= 20 && h.closed <= 90 && h.noiseMS <= 28, "do: closed %.0f ms, voiced %v, noise %.0f ms", h.closed, h.beforeVoiced, h.noiseMS)
		// t: silence, burst, voice-onset time of 60 to 80 ms: the pitch starts late.
		h = heard["ti"]
		check(!h.beforeVoiced && h.noiseMS >= 50 && h.noiseMS <= 85, "ti: voiced before %v, noise %.0f ms", h.beforeVoiced, h.noiseMS)
		s, f := heard["sol"], heard["fa"]
		check(!s.beforeVoiced && s.noiseMS >= 100 && s.noiseMS <= 180, "sol: %.0f ms of noise", s.noiseMS)
		check(!f.beforeVoiced && f.noiseMS >= 80 && f.noiseMS <= 130, "fa: %.0f ms of noise", f.noiseMS)
		check(math.Abs(s.noiseDB-f.noiseDB-20) < 3, "s is %.1f dB louder than f, want about 20", s.noiseDB-f.noiseDB)
		// s has its peak in 4 to 8 kHz; f is flat: in bands of 1 kHz.
		peak, most, least, loudest := 0.0, -300.0, 300.0, -300.0
		for k := 1000.0; k < 12000; k += 500 {
			if db := levelIn(s.noise, rate, k, k+1000); db > loudest {
				loudest, peak = db, k+500
			}
			db := levelIn(f.noise, rate, k, k+1000)
			most, least = max(most, db), min(least, db)
		}
		check(peak >= 4000 && peak <= 8000, "s has its peak at %.0f Hz", peak)
		check(most-least < 6, "f is flat within %.1f dB", most-least)
	}
}

// The second formant comes to the vowel from its consonant's locus, and is there after 60 ms:
// from the partials of stretches of 30 ms, every 10 ms.
func TestFormantsMove(t *testing.T) {
	const hz = 130.0
	m := Model{SampleRate: syllableRate, Type: Tenor, Level: DefaultLevel}
	for s, begins := range map[string][2]float64{
		"do": {1000, 1650}, // alveolar locus 1800 of which .45 is the vowel's, whose F2 is 850
		"ra": {950, 1250},  // r 1060
		"mi": {1500, 2000}, // labial locus 720 of which .87 is the vowel's 2080
		"le": {1000, 1450}, // l 1050, the vowel 1750
	} {
		x := singing(t, m, s, hz, 0.45)
		h := hearSyllable(x, syllableRate, 70, 800)
		second := func(at float64) float64 { // around so many seconds after the vowel's onset
			from := h.onset + int((at-0.015)*syllableRate)
			f := formantsOf(decimated(x[from:from+int(0.030*syllableRate)], 2), syllableRate/2, hz, 10)
			f = slices.DeleteFunc(f, func(hz float64) bool { return hz < 620 })
			return append(f, 0)[0]
		}
		first, last := second(0.012), second(0.2)
		var way []float64
		for at := 0.0; at < 0.1; at += 0.01 {
			way = append(way, second(at))
		}
		t.Logf("%s: %.0f … %.0f", s, way, last)
		if first < begins[0] || first > begins[1] {
			t.Errorf("%s: F2 begins at %.0f Hz, want %.0f", s, first, begins)
		}
		if at := second(0.075); math.Abs(at-last) > 0.08*last {
			t.Errorf("%s: F2 is at %.0f Hz after 75 ms, and ends at %.0f", s, at, last)
		}
	}
}

// Vowels of other programs, taken apart by the same estimator: each of ours lies nearest to
// the same vowel of theirs, and how far is said.
func TestVowelsOfOtherPrograms(t *testing.T) {
	for _, p := range []struct {
		name   string
		vowels [4]string // of a e i o, as the program writes them
		say    func(vowel, file string) *exec.Cmd
	}{
		{"espeak-ng", [4]string{"a:", "E:", "i:", "o:"}, func(vowel, file string) *exec.Cmd {
			return exec.Command("espeak-ng", "-v", "it", "-s", "80", "-w", file, "[["+vowel+"]]")
		}},
		{"festival", [4]string{"aa", "eh", "iy", "ow"}, func(vowel, file string) *exec.Cmd {
			c := exec.Command("festival", "--pipe")
			c.Stdin = strings.NewReader(fmt.Sprintf("(utt.save.wave (utt.synth (Utterance Phones (pau %s pau))) %q)\n", vowel, file))
			return c
		}},
	} {
		t.Run(p.name, func(t *testing.T) {
			testkit.Tool(t, p.name)
			var theirs [4][]float64
			for i, vowel := range p.vowels {
				file := filepath.Join(t.TempDir(), "v.wav")
				if out, err := p.say(vowel, file).CombinedOutput(); err != nil {
					t.Fatalf("%s: %v: %s", p.name, err, out)
				}
				theirs[i] = vowelIn(t, file)
			}
			for _, v := range []VoiceType{Bass, Tenor} { // both programs speak as men
				m := Model{SampleRate: syllableRate, Type: v, Level: DefaultLevel}
				far := 0.0
				for i, s := range []string{"la", "re", "mi", "do"} {
					h := hearSyllable(singing(t, m, s, 123.5, 0.45), syllableRate, 70, 800)
					ours := formantsOf(decimated(h.vowel, 2), syllableRate/2, h.hz, 12)
					distance := func(f []float64) float64 {
						return math.Hypot(math.Log2(ours[0]/f[0]), math.Log2(ours[1]/f[1]))
					}
					nearest := 0
					for j := range theirs {
						if distance(theirs[j]) < distance(theirs[nearest]) {
							nearest = j
						}
					}
					t.Logf("%v %s: ours %.0f, theirs %.0f: %.2f octaves", v, s, ours[:2], theirs[i][:2], distance(theirs[i]))
					far += distance(theirs[i]) / 4
					if nearest != i {
						t.Errorf("%v %s: ours %.0f lies nearer to %s than to %s: %.0f", v, s, ours[:2], p.vowels[nearest], p.vowels[i], theirs)
					}
				}
				t.Logf("%v: on average %.2f octaves from %s", v, far, p.name)
				if far > 0.35 {
					t.Errorf("%v: %.2f octaves from %s on average", v, far, p.name)
				}
			}
		})
	}
}

// vowelIn returns the formants of the vowel that a file holds, from its loudest stretch.
func vowelIn(t *testing.T, file string) []float64 {
	w, err := audio.OpenWAV(file)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	rate := w.SampleRate()
	x := make([]float64, 5*rate)
	n := 0
	for n < len(x) {
		k, _, err := w.Read(t.Context(), x[n:])
		n += k
		if err != nil {
			break
		}
	}
	x = x[:n]
	length := int(0.08 * float64(rate))
	best, at := 0.0, 0
	for from := 0; from+length < len(x); from += length / 4 {
		sum := 0.0
		for _, v := range x[from : from+length] {
			sum += v * v
		}
		if sum > best {
			best, at = sum, from
		}
	}
	if best == 0 {
		t.Fatalf("%s is silent", file)
	}
	x = x[at : at+length]
	hz := float64(rate) / longPeriod(x, float64(rate), 60, 300)
	by := 1
	if rate > 20000 {
		by = 2
	}
	f := formantsOf(decimated(x, by), float64(rate/by), hz, 2+rate/by/1000)
	t.Logf("%s at %d Hz: F0 %.0f, formants %.0f", filepath.Base(file), rate, hz, f)
	if len(f) < 2 {
		t.Fatal("no formants")
	}
	return f
}
