package desk

import (
	"context"
	"errors"
	"io"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
	"singback/internal/classfile"
	"singback/internal/codec"
	"singback/internal/synth"
)

// sungFile is a recording of a take: sines at the pitches of its notes, a hum between.
func sungFile(t testing.TB, p grade.Performance, rate int) string {
	t.Helper()
	end := p.Notes[len(p.Notes)-1].Offset + 0.5
	x := make([]float64, int(end*float64(rate)))
	for _, n := range p.Notes {
		hz := 440 * math.Pow(2, (n.Cents-6900)/1200)
		from, to := int(n.Onset*float64(rate)), int(n.Offset*float64(rate))
		for i := from; i < to; i++ {
			edge := min(1, float64(min(i-from, to-i))/(0.01*float64(rate)))
			x[i] = 0.05 * edge * math.Sin(2*math.Pi*hz*float64(i)/float64(rate))
		}
	}
	path := filepath.Join(t.TempDir(), "take.wav")
	f, err := os.Create(path)
	if err == nil {
		err = errors.Join(audio.WriteWAV(f, rate, x), f.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// sounding is a marked take whose recording is there.
func sounding(t testing.TB) (*classfile.File, Marked, string) {
	t.Helper()
	f, students, tasks := choir(t)
	lamp := named(t, tasks, "The harbour lamp", taskName)
	line, err := LineOf(lamp)
	if err != nil {
		t.Fatal(err)
	}
	p := sungTake(line.Line, -317, map[int]float64{4: -300})
	path := sungFile(t, p, 16000)
	id := hand(t, f, students[0], lamp, p, path, "2026-11-23T10:00:00Z")
	m, err := Explain(f, id)
	if err != nil {
		t.Fatal(err)
	}
	return f, m, path
}

// power is how strong a frequency is in samples, by the sum that defines Fourier's
// transform, under Hann's window; 1 is a sine at full scale.
func power(x []float64, rate int, hz float64) float64 {
	sum := complex(0, 0)
	for i, v := range x {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(len(x)))
		sum += complex(v*w, 0) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(i)/float64(rate)))
	}
	return 4 * cmplx.Abs(sum) / float64(len(x))
}

func (s Sound) part(from, to float64) []float64 {
	return s.Samples[int((from-s.From)*float64(s.Rate)):int((to-s.From)*float64(s.Rate))]
}

// TestModelSoundsWhereTheTakeIs: what is played beside a take lies on its notes in time
// and pitch (hertz by the definition of the cent: 1200 log2), where the note was right.
func TestModelSoundsWhereTheTakeIs(t *testing.T) {
	f, m, _ := sounding(t)
	for _, what := range []What{HearTake, HearModel, HearBoth} {
		s, err := m.Sound(context.Background(), f, what, 0, 0, -30)
		if err != nil {
			t.Fatal(err)
		}
		if off := 20 * math.Log10(synth.Gain(s.Samples, s.Rate, -30)); math.Abs(off) > 0.5 {
			t.Errorf("%s is %.1f dB off the loudness of -30 LUFS", what, off)
		}
		for _, end := range [][]float64{s.Samples[:3], s.Samples[len(s.Samples)-3:]} {
			for _, v := range end {
				if math.Abs(v) > 0.001 {
					t.Errorf("%s clicks at an end: %g", what, v)
				}
			}
		}
		for i, n := range m.Performance.Notes {
			hz := 440 * math.Pow(2, (n.Cents-6900)/1200)
			if what == HearModel && i == 4 {
				hz *= math.Pow(2, 300.0/1200) // what was due there
			}
			here := s.part(n.Onset+0.05, min(n.Onset+0.45, n.Offset-0.05))
			at, semitone := power(here, s.Rate, hz), power(here, s.Rate, hz*math.Pow(2, 100.0/1200))
			if at < 3*semitone {
				t.Errorf("%s, note %d: %.1f dB at %.1f Hz, %.1f a semitone above", what, i+1, audio.DBFS(at), hz, audio.DBFS(semitone))
			}
		}
	}
}

// TestSoundOfAPlace begins a bar before and gives the samples of the recording from there.
func TestSoundOfAPlace(t *testing.T) {
	f, m, path := sounding(t)
	// A bar has four quarter notes of 0.6 s; the line begins at 0.5 s with one more.
	if got := m.Before(7.0); math.Abs(got-(7.0-2.4)) > 0.1 {
		t.Errorf("a bar before 7 s is %.2f, want 4.6", got)
	}
	if got := m.Before(0.3); got != 0 {
		t.Errorf("before the beginning: %g", got)
	}
	s, err := m.Sound(context.Background(), f, HearTake, 4.6, 8, -24)
	if err != nil {
		t.Fatal(err)
	}
	w, err := codec.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var whole []float64
	for buffer := make([]float64, 4096); ; {
		n, _, err := w.Read(context.Background(), buffer)
		whole = append(whole, buffer[:n]...)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	begin := int(4.6 * 16000)
	gain := synth.Gain(whole[begin:8*16000], 16000, -24)
	for i := 400; i < len(s.Samples)-400; i += 97 {
		if math.Abs(s.Samples[i]-gain*whole[begin+i]) > 1e-6 {
			t.Fatalf("sample %d is %g, want %g", i, s.Samples[i], gain*whole[begin+i])
		}
	}
	if n := len(s.Samples); n != int(3.4*16000) && n != int(3.4*16000)-1 && n != int(3.4*16000)+1 {
		t.Errorf("%d samples of 3.4 s", n)
	}
}

// TestGone: a recording that is no more there, or is another one, is one clear line; the
// copy that the class holds is heard all the same.
func TestGone(t *testing.T) {
	f, m, path := sounding(t)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	says := func(want string) {
		t.Helper()
		_, err := m.Sound(context.Background(), f, HearBoth, 0, 0, -24)
		if !errors.Is(err, ErrGone) || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, want %s", err, want)
		}
	}
	if err := os.WriteFile(path, append(data, 0), 0o600); err != nil {
		t.Fatal(err)
	}
	says("another one than was marked")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	says("put it back there")
	if _, err := m.Sound(context.Background(), f, HearModel, 0, 0, -24); err != nil {
		t.Errorf("the model alone: %v", err)
	}
	if err := f.KeepRecording(m.ID, data); err != nil {
		t.Fatal(err)
	}
	if m, err = Explain(f, m.ID); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Sound(context.Background(), f, HearTake, 0, 0, -24); err != nil {
		t.Errorf("the copy: %v", err)
	}
	for _, c := range [][2]float64{{30, 0}, {5, 5}, {100, 2000}} {
		if _, err := m.Sound(context.Background(), f, HearTake, c[0], c[1], -24); err == nil {
			t.Errorf("%v s is heard", c)
		}
	}
}

// TestAtRate: a tone keeps its pitch and its level, and what the new rate cannot hold is
// gone, in place of coming back as another pitch.
func TestAtRate(t *testing.T) {
	for _, c := range []struct {
		from, to int
		hz       float64
		want     float64 // level against the tone
	}{
		{16000, 48000, 1000, 0}, {44100, 48000, 440, 0}, {48000, 44100, 12000, 0}, {8000, 44100, 3000, 0}, {48000, 16000, 1000, 0}, {48000, 16000, 12000, -80},
	} {
		x := make([]float64, c.from/2)
		for i := range x {
			x[i] = 0.5 * math.Sin(2*math.Pi*c.hz*float64(i)/float64(c.from))
		}
		s := Sound{Rate: c.from, Samples: x}.AtRate(c.to)
		middle := s.Samples[c.to/8 : c.to*3/8]
		if c.want == 0 {
			level := audio.DBFS(power(middle, c.to, c.hz)) - audio.DBFS(0.5)
			rest := make([]float64, len(middle))
			for i := range rest {
				rest[i] = middle[i] - 0.5*math.Sin(2*math.Pi*c.hz*float64(i+c.to/8)/float64(c.to))
			}
			if math.Abs(level) > 0.05 || audio.DBFS(rmsOf(rest)/0.35) > -60 {
				t.Errorf("%d to %d Hz: %g Hz by %.2f dB, rest %.0f dB", c.from, c.to, c.hz, level, audio.DBFS(rmsOf(rest)/0.35))
			}
			continue
		}
		if left := audio.DBFS(rmsOf(middle) / 0.35); left > c.want {
			t.Errorf("%d to %d Hz: %g Hz leaves %.0f dB", c.from, c.to, c.hz, left)
		}
	}
}
