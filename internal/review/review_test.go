package review

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"singback/exercise/grade"
	"singback/internal/audio"
)

func TestReadCurve(t *testing.T) {
	for _, test := range []struct {
		rule, in string
		points   int
		voiced   int
	}{
		{"as documented", "time_s,f0_hz\n0,0\n0.01,440\n0.02,441.5\n", 3, 2},
		{"without a header", "0,0\n0.01,440\n", 2, 1},
		{"columns by name, others beside them", "voiced,f0_hz,time_s\n1,440,0\n0,0,0.01\n", 2, 1},
		{"irregular times, comments, empty is no pitch", "# a comment\ntime_s,f0_hz\n0,440\n\n0.5,\n0.51,-1\n0.6,220", 4, 2},
		{"line ends of other systems, a byte order mark", "\ufefftime_s,f0_hz\r\n0,440\r\n1,0\r\n", 2, 1},
	} {
		curve, err := ReadCurve(strings.NewReader(test.in))
		if err != nil {
			t.Errorf("%s: %v", test.rule, err)
			continue
		}
		voiced := 0
		for _, m := range curve {
			if m.Voiced {
				voiced++
			}
		}
		if len(curve) != test.points || voiced != test.voiced {
			t.Errorf("%s: %d points, %d voiced; want %d, %d", test.rule, len(curve), voiced, test.points, test.voiced)
		}
	}
	curve, err := ReadCurve(strings.NewReader("time_s,f0_hz\n0,440\n0.1,261.6256\n"))
	if err != nil || curve[0].Cents != 6900 || math.Abs(curve[1].Cents-6000) > 0.01 {
		t.Errorf("A4 and C4: %v, %v; want 6900 and 6000 cents (MIDI 69 and 60)", curve, err)
	}
}

func TestReadCurveErrors(t *testing.T) {
	for in, want := range map[string]string{
		"":                               "no rows",
		"time_s,f0_hz\n":                 "no rows",
		"time,pitch\n0,1\n":              "line 1 has no columns time_s and f0_hz",
		"time_s,f0_hz\n0,440\n0,441\n":   "line 3: the time 0 s is not after 0 s",
		"time_s,f0_hz\n0,abc\n":          `line 2: "abc" is not a frequency`,
		"time_s,f0_hz\n0,1e9\n":          `line 2: "1e9" is not a frequency`,
		"time_s,f0_hz\n0,1e-300\n":       `line 2: "1e-300" is not a frequency in hertz; want 10 to 20000`,
		"time_s,f0_hz\nx,440\n":          `line 2: "x" is not a time`,
		"time_s,f0_hz\nNaN,440\n":        `line 2: "NaN" is not a time`,
		"time_s,f0_hz\n0\n":              "line 2: want a time in column 1",
		"time_s,f0_hz\n0,440\n1e8,440\n": "line 3: longer than 6 hours",
		strings.Repeat("1", maxRow+1):    "longer than 65536 bytes",
	} {
		_, err := ReadCurve(strings.NewReader(in))
		if !errors.Is(err, ErrCurve) || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%.40q: %v; want one line with %q", in, err, want)
		}
	}
}

func FuzzReadCurve(f *testing.F) {
	f.Add([]byte("time_s,f0_hz\n0,0\n0.002902,261.6\n0.005805,261.7\n"))
	f.Add([]byte("time_s,f0_hz,voiced,confidence,level_dbfs\n0.000000,0.0000,0,0.999,-55.27\n"))
	f.Add([]byte("0.5,440\n0.6,0\n"))
	f.Add([]byte("\ufefff0_hz,time_s\r\n440,1e3\r\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		curve, err := ReadCurve(bytes.NewReader(b))
		if err != nil {
			return
		}
		last := math.Inf(-1)
		for _, m := range curve {
			if !(m.At > last) || math.IsNaN(m.Cents) || math.IsInf(m.Cents, 0) {
				t.Fatalf("%v after %g s", m, last)
			}
			last = m.At
		}
		if len(curve) > 2000 || last-curve[0].At > 60 {
			return
		}
		p := OfCurve(curve)
		line := grade.Line{Timed: true, Notes: []grade.Due{{Cents: 6000, Onset: 0, Length: 1}, {Cents: 6200, Onset: 1, Length: 1}}}
		g, err := grade.Of(line, p, grade.DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if !(g.Score >= 0 && g.Score <= 1 && g.Pass >= 0 && g.Pass <= 1) {
			t.Fatalf("score %g, pass %g", g.Score, g.Pass)
		}
	})
}

// tune is a curve of notes of MIDI pitches, each for so many seconds, in steps.
func tune(step, each float64, midi ...float64) []grade.Moment {
	var c []grade.Moment
	n := int(each*float64(len(midi))/step + 0.5)
	for k := range n {
		at := float64(k) * step
		v := midi[min(len(midi)-1, int(at/each))]
		if v == 0 {
			c = append(c, grade.Moment{At: at})
			continue
		}
		c = append(c, grade.Moment{At: at, Cents: 100*v + 4*math.Sin(40*at), Voiced: true})
	}
	return c
}

func TestOfCurve(t *testing.T) {
	for _, step := range []float64{0.0029, 0.010, 0.0232, 0.05} {
		p := OfCurve(tune(step, 0.3, 60, 62, 64, 62, 0, 62, 67.3))
		want := []float64{60, 62, 64, 62, 62, 67.3}
		if len(p.Notes) != len(want) {
			t.Errorf("step %g: %d notes, want %d: %v", step, len(p.Notes), len(want), p.Notes)
			continue
		}
		for i, n := range p.Notes {
			if math.Abs(n.Cents-100*want[i]) > 10 || n.Offset-n.Onset < 0.2 {
				t.Errorf("step %g: note %d at %.0f cents, %.2f to %.2f s; want %.0f", step, i, n.Cents, n.Onset, n.Offset, 100*want[i])
			}
		}
	}
}

// A sparse curve of six hours, over all that is read as a pitch, is read in
// bounded memory.
func TestOfCurveSparse(t *testing.T) {
	last := "21599"
	if raceDetector {
		last = "2159"
	}
	curve, err := ReadCurve(strings.NewReader("time_s,f0_hz\n0,10\n0.01,20000\n" + last + ",440\n"))
	if err != nil {
		t.Fatal(err)
	}
	if p := OfCurve(curve); len(p.Notes) > 3 {
		t.Errorf("%d notes of three points", len(p.Notes))
	}
}

// source hands out samples in blocks of one size.
type source struct {
	samples []float64
	rate    int
	block   int
}

func (s *source) SampleRate() int { return s.rate }
func (s *source) Close() error    { return nil }
func (s *source) Read(_ context.Context, dst []float64) (int, int64, error) {
	if len(s.samples) == 0 {
		return 0, 0, io.EOF
	}
	n := copy(dst[:min(len(dst), s.block)], s.samples)
	s.samples = s.samples[n:]
	return n, 0, nil
}

// The split of the sound into blocks changes neither notes nor score.
func TestListenInAnyBlocks(t *testing.T) {
	const rate = 16000
	var samples []float64
	phase := 0.0
	for _, midi := range []float64{60, 62, 64, 65, 67} {
		hz := 220 * math.Exp2((midi-57)/12)
		for k := range rate / 2 {
			fade := min(1, float64(k)/400, float64(rate/2-k)/800)
			phase += 2 * math.Pi * hz / rate
			v := 0.0
			for h := 1.0; h <= 6; h++ {
				v += math.Sin(h*phase) / h
			}
			samples = append(samples, 0.1*fade*v)
		}
	}
	line := grade.Line{Timed: true}
	for i, c := range []float64{6000, 6200, 6400, 6500, 6700} {
		line.Notes = append(line.Notes, grade.Due{Cents: c, Onset: float64(i), Length: 1})
	}
	var first grade.Grading
	for i, block := range []int{4096, 1, 160, 777} {
		p, err := Listen(t.Context(), &source{samples: samples, rate: rate, block: block})
		if err != nil {
			t.Fatal(err)
		}
		g, err := grade.Of(line, p, grade.DefaultRules())
		if err != nil {
			t.Fatal(err)
		}
		if g.Right != 5 || g.Pass < 0.8 {
			t.Errorf("blocks of %d: %d of 5 right, pass %g: %v", block, g.Right, g.Pass, g.Faults)
		}
		if i == 0 {
			first = g
		} else if g.Score != first.Score {
			t.Errorf("blocks of %d: score %v, was %v", block, g.Score, first.Score)
		}
	}
}

func TestEachKeepsTheOrder(t *testing.T) {
	var got []int
	err := Each(t.Context(), 200, func(_ context.Context, i int) (int, error) {
		if i%7 == 3 {
			return 0, fmt.Errorf("%d is broken", i)
		}
		return i * i, nil
	}, func(i int, v int, err error) error {
		if (err != nil) != (i%7 == 3) || err == nil && v != i*i {
			t.Errorf("%d: %d, %v", i, v, err)
		}
		got = append(got, i)
		return nil
	})
	if err != nil || len(got) != 200 {
		t.Fatalf("%d results, %v", len(got), err)
	}
	for i, v := range got {
		if v != i {
			t.Fatalf("result %d came at place %d", v, i)
		}
	}
}

func TestEachStops(t *testing.T) {
	stop := errors.New("enough")
	var worked atomic.Int64
	err := Each(t.Context(), 10_000, func(context.Context, int) (int, error) {
		worked.Add(1)
		return 0, nil
	}, func(i int, _ int, _ error) error {
		if i == 5 {
			return stop
		}
		return nil
	})
	if !errors.Is(err, stop) || worked.Load() > 1000 {
		t.Errorf("%v after %d", err, worked.Load())
	}
	ctx, cancel := context.WithCancel(t.Context())
	last := -1
	err = Each(ctx, 1000, func(ctx context.Context, i int) (int, error) {
		if i == 20 {
			cancel()
		}
		return i, ctx.Err()
	}, func(i int, _ int, err error) error {
		if err != nil || i != last+1 {
			t.Errorf("%d after %d, %v", i, last, err)
		}
		last = i
		return nil
	})
	if !errors.Is(err, context.Canceled) || last > 100 {
		t.Errorf("%v after %d", err, last)
	}
}

// A curve is read from a file by its name, and from standard input by how it
// begins.
func TestReaderRead(t *testing.T) {
	const text = "time_s,f0_hz\n0,440\n0.01,440\n"
	path := filepath.Join(t.TempDir(), "take.CSV")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, r := range []struct {
		Reader
		path string
	}{{Reader{}, path}, {Reader{Stdin: strings.NewReader(text)}, "-"}} {
		p, err := r.Read(t.Context(), r.path)
		if err != nil || len(p.Curve) != 2 {
			t.Errorf("%s: %d points, %v", r.path, len(p.Curve), err)
		}
	}
	if _, err := (Reader{}).Read(t.Context(), filepath.Join(t.TempDir(), "none.wav")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a file that is not there: %v", err)
	}
	var _ audio.Source = &source{}
}

// The time for a take of the same length does not depend on how many went
// before: nothing is kept between them.
func BenchmarkGradeCurve(b *testing.B) {
	for _, seconds := range []int{10, 60, 600} {
		b.Run(fmt.Sprintf("%ds", seconds), func(b *testing.B) {
			var midi []float64
			line := grade.Line{Timed: true}
			for k := range 2 * seconds {
				v := 60 + float64([]int{0, 2, 4, 5, 7, 5, 4, 2}[k%8])
				midi = append(midi, v)
				line.Notes = append(line.Notes, grade.Due{Cents: 100 * v, Onset: float64(k), Length: 1})
			}
			curve := tune(0.01, 0.5, midi...)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := grade.Of(line, OfCurve(curve), grade.DefaultRules()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
