package review

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/listen"
	"singback/internal/synth"
	"singback/internal/testkit"
)

func heard(t *testing.T, rate int, x []float64) grade.Heard {
	t.Helper()
	p, err := listen.Take(t.Context(), audio.NewSamples(rate, x), listen.Hearing{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p.Heard()
}

// Speech is no singing, and silence is nothing; singing is singing, with a wide vibrato too.
func TestHeard(t *testing.T) {
	for seed := range uint64(6) {
		if h := heard(t, 16000, testkit.Speech(16000, 4, 100+seed)); h != grade.Spoken {
			t.Errorf("speech %d is %v", seed, h)
		}
	}
	if h := heard(t, 16000, make([]float64, 48000)); h != grade.Nothing {
		t.Errorf("silence is %v", h)
	}
	if h := heard(t, 16000, testkit.Scale(testkit.White(48000, 3), 0.01)); h != grade.Nothing {
		t.Errorf("noise is %v", h)
	}
	for seed, v := range []synth.Voice{{SampleRate: 16000, Type: synth.Soprano}, {SampleRate: 16000, Type: synth.Bass}} {
		var notes []synth.Sung
		for _, hz := range []float64{220, 247, 262, 294, 330} {
			if v.Type == synth.Bass {
				hz /= 2
			}
			n := synth.NewSung(hz, 0.4)
			notes = append(notes, n)
		}
		x, _ := v.Sing(notes, uint64(seed))
		if h := heard(t, 16000, x); h != grade.Singing {
			t.Errorf("the model voice is %v", h)
		}
	}
	// A vibrato of 120 cents to either side, 5.5 times a second: wider than any that is sung
	// well (common practice: 30 to 100).
	var curve []grade.Moment
	for k := range 300 {
		curve = append(curve, grade.Moment{At: 0.01 * float64(k), Cents: 6000 + 120*float64(k%18-9)/9, Voiced: true})
	}
	if h := (&grade.Performance{Curve: curve}).Heard(); h != grade.Singing {
		t.Errorf("a wide vibrato is %v", h)
	}
}

// Names of notes that a synthesiser says are speech: espeak-ng, where it is installed.
func TestHeardSpeech(t *testing.T) {
	espeak, err := exec.LookPath("espeak-ng")
	if err != nil {
		if os.Getenv("SINGBACK_REQUIRE_TOOLS") == "1" {
			t.Fatal(err)
		}
		t.Skip("espeak-ng is not installed")
	}
	dir := t.TempDir()
	for _, voice := range []string{"en", "de+f2", "it", "fr", "es"} {
		path := filepath.Join(dir, voice+".wav")
		if out, err := exec.CommandContext(t.Context(), espeak, "-v", voice, "-s", "120", "-w", path, "do, re, mi, fa, sol, la, sol, do").CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		p, err := Reader{}.Read(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		if h := p.Heard(); h != grade.Spoken {
			t.Errorf("%s that is spoken is %v", voice, h)
		}
	}
}

// Sight-singing is singing.
func TestHeardSinging(t *testing.T) {
	dir := os.Getenv("SINGBACK_REFERENCE")
	if dir == "" {
		t.Skip("SINGBACK_REFERENCE does not name the reference data")
	}
	for _, name := range []string{"406", "407", "1208"} { // of which least is held
		p, err := Reader{}.Read(t.Context(), filepath.Join(dir, "sight-singing", "audio", name+".wav"))
		if err != nil {
			t.Fatal(err)
		}
		if h := p.Heard(); h != grade.Singing {
			t.Errorf("recording %s is %v", name, h)
		}
	}
}
