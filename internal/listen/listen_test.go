package listen

import (
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"singback/exercise"
	"singback/internal/audio"
	"singback/internal/testkit"
	"singback/internal/testkit/makewav/truth"
	"singback/pitch"
	"singback/theory"
)

// take is one recording of testdata/wav and what is known of it.
type take struct {
	path  string
	truth truth.Truth
	item  exercise.Item
	tol   exercise.Tolerance
}

func takes(t *testing.T) []take {
	t.Helper()
	paths, err := filepath.Glob("../../testdata/wav/*.wav")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no recordings in testdata/wav: %v", err)
	}
	var out []take
	for _, path := range paths {
		known, err := truth.Read(strings.TrimSuffix(path, ".wav") + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		k := key(t, known.Key)
		out = append(out, take{path, known, exercise.Item{
			Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: known.TonicOctave},
			Asked: degree(t, known.Asked, k),
		}, exercise.Tolerance{Cents: known.Tolerance}})
	}
	return out
}

func key(t testing.TB, name string) theory.Key {
	t.Helper()
	k, err := theory.ParseKey(name)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func degree(t testing.TB, name string, k theory.Key) theory.Degree {
	t.Helper()
	d, err := theory.ParseDegree(name, k, theory.Movable)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// asked asks for a degree of A major, with do on A3.
func asked(t testing.TB, name string) exercise.Item {
	t.Helper()
	k := key(t, "A major")
	return exercise.Item{Key: k, Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}, Asked: degree(t, name, k)}
}

// listen hears one answer.
func listen(t *testing.T, src audio.Source, w exercise.Window) exercise.Take {
	t.Helper()
	ear, err := New(src, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	heard, err := ear.Note(t.Context(), w, nil)
	if err != nil {
		t.Fatal(err)
	}
	return heard
}

func samplesOf(t *testing.T, path string) (rate int, samples []float64) {
	t.Helper()
	src, err := audio.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	block := make([]float64, 4096)
	for {
		n, _, err := src.Read(t.Context(), block)
		samples = append(samples, block[:n]...)
		if err == io.EOF {
			return src.SampleRate(), samples
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// Every recording gets the verdict that the text beside it expects, and live
// and file give the same verdict for the same samples, to the bit: a device
// delivers odd chunks, and goes on after the recording has ended.
func TestRecordings(t *testing.T) {
	for i, r := range takes(t) {
		t.Run(filepath.Base(r.path), func(t *testing.T) {
			t.Parallel()
			src, err := audio.OpenWAV(r.path)
			if err != nil {
				t.Fatal(err)
			}
			defer src.Close()
			file := listen(t, src, exercise.DefaultWindow().Recorded())
			want := exercise.Judge(r.item, file, r.tol)
			expect(t, r, want)

			rate, samples := samplesOf(t, r.path)
			random := rand.New(rand.NewPCG(uint64(i), 8))
			chunk := func() int { return 1 + random.IntN(4096) }
			ear, err := New(&testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: samples}}, Chunk: chunk}, Hearing{})
			if err != nil {
				t.Fatal(err)
			}
			ear.block = make([]float64, 4096) // room for the largest chunk
			heard, err := ear.Note(t.Context(), exercise.DefaultWindow().Recorded(), nil)
			if err != nil || !reflect.DeepEqual(heard, file) {
				t.Fatalf("in chunks of 1 to 4096: %+v, %v; from the file %+v", heard, err, file)
			}
			if v := exercise.Judge(r.item, heard, r.tol); v != want {
				t.Fatalf("in chunks of 1 to 4096: %+v; from the file %+v", v, want)
			}

			live := exercise.Judge(r.item, listen(t, &testkit.Source{
				Rate: rate, Cues: []testkit.Cue{{Samples: samples}}, Forever: true, Chunk: chunk,
			}, exercise.DefaultWindow()), r.tol)
			if live.Outcome != want.Outcome || live.Reason != want.Reason || live.Sung != want.Sung ||
				live.HasSung != want.HasSung || live.OctaveShift != want.OctaveShift || math.Abs(live.Cents-want.Cents) > 0.01 {
				t.Errorf("live, with silence after it: %+v; from the file %+v", live, want)
			}
		})
	}
}

// expect compares a verdict with what is known of the recording.
func expect(t *testing.T, r take, v exercise.Verdict) {
	t.Helper()
	if v.Outcome.String() != r.truth.Outcome || v.Reason.String() != r.truth.Reason {
		t.Errorf("%v %v, want %s %s; %+v", v.Outcome, v.Reason, r.truth.Outcome, r.truth.Reason, v)
	}
	if v.HasSung != (r.truth.Note != nil) {
		t.Fatalf("names a degree: %v, want %v", v.HasSung, r.truth.Note != nil)
	}
	if n := r.truth.Note; n != nil {
		if want := degree(t, n.Degree, r.item.Key); v.Sung != want || v.OctaveShift != n.OctaveShift {
			t.Errorf("sung %v, %+d octaves; want %v, %+d", v.Sung, v.OctaveShift, want, n.OctaveShift)
		}
		if math.Abs(v.Cents-n.Cents) > n.Within {
			t.Errorf("%.2f cents, want %.2f within %g", v.Cents, n.Cents, n.Within)
		}
	}
}

// tone sings hz for so many seconds at 48 kHz.
func tone(seconds, hz float64) []float64 {
	return testkit.Tone(rate, seconds, testkit.Steady(hz), testkit.Harmonics(8, 9))
}

func silence(seconds float64) []float64 { return testkit.Silence(int(seconds * rate)) }

const rate = 48000

func TestNoteLostSamples(t *testing.T) {
	it := exercise.Item{Key: key(t, "A major"), Tuning: theory.Tuning{A4: 440}, Register: exercise.Register{TonicOctave: 3}, Asked: theory.Degree{Step: 1}}
	for _, c := range []struct {
		name string
		cues []testkit.Cue
		want exercise.Outcome
		why  exercise.Reason
	}{
		{"none", []testkit.Cue{{Samples: silence(0.7)}, {Samples: tone(1, 220)}, {Samples: silence(1)}}, exercise.InTune, exercise.NoReason},
		{"well before the note", []testkit.Cue{{Lost: 100, Samples: silence(0.7)}, {Samples: tone(1, 220)}}, exercise.InTune, exercise.NoReason},
		{"one inside the note", []testkit.Cue{{Samples: silence(0.7)}, {Samples: tone(0.5, 220)}, {Lost: 1, Samples: tone(0.5, 220)}}, exercise.NotMeasured, exercise.LostSamples},
		{"a stretch that cuts it in two", []testkit.Cue{{Samples: silence(0.7)}, {Samples: tone(0.5, 220)}, {Lost: rate / 5, Samples: tone(0.8, 220)}}, exercise.NotMeasured, exercise.LostSamples},
		{"all but a scoop", []testkit.Cue{{Samples: silence(0.7)}, {Samples: tone(0.3, 207)}, {Lost: rate, Samples: silence(1)}}, exercise.NotMeasured, exercise.LostSamples},
		{"some, and nobody sang", []testkit.Cue{{Samples: silence(0.7)}, {Lost: 5, Samples: silence(1)}}, exercise.NotMeasured, exercise.LostSamples},
	} {
		v := exercise.Judge(it, listen(t, &testkit.Source{Rate: rate, Cues: c.cues}, exercise.DefaultWindow().Recorded()), exercise.Tolerance{Cents: 35})
		if v.Outcome != c.want || v.Reason != c.why {
			t.Errorf("lost %s: %v %v, want %v %v", c.name, v.Outcome, v.Reason, c.want, c.why)
		}
	}
}

// An error comes with what was heard before it.
func TestNoteErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		err  error
	}{{"stalled", audio.ErrStalled}, {"unplugged", errors.New("the device has gone")}, {"cancelled", context.Canceled}} {
		ear, err := New(&testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: tone(1, 220)}, {Err: c.err}}}, Hearing{})
		if err != nil {
			t.Fatal(err)
		}
		heard, err := ear.Note(t.Context(), exercise.DefaultWindow(), nil)
		if !errors.Is(err, c.err) || !heard.Found {
			t.Errorf("%s: %v, found a note: %v; want the error and the note before it", c.name, err, heard.Found)
		}
	}
	if _, err := New(&testkit.Source{Rate: 4000}, Hearing{}); err == nil {
		t.Error("a source of 4000 Hz was accepted")
	}
}

func TestNoteTellsWhatItHears(t *testing.T) {
	ear, err := New(&testkit.Source{Rate: rate, Cues: []testkit.Cue{{Samples: silence(1)}, {Samples: tone(1.5, 220)}}}, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	var all []State
	if _, err := ear.Note(t.Context(), exercise.DefaultWindow(), func(h State) { all = append(all, h) }); err != nil {
		t.Fatal(err)
	}
	if n := len(all); n < 23 || n > 25 {
		t.Errorf("%d reports in 2.5 s, want about 25", n)
	}
	for i, h := range all {
		if h.Singing != (h.Held > 0) || h.Held > 1.51 || i < 9 && (h.Singing || h.Level > -100) || i > 12 && i < 24 && (!h.Singing || math.Abs(h.Level+20) > 1) {
			t.Errorf("report %d: %+v", i, h)
		}
	}
	if last := all[len(all)-1]; last.Held < 1.2 {
		t.Errorf("held %g s at the end, want about 1.5", last.Held)
	}
}

// The audio path does not allocate: a window costs the same number of
// allocations however long it lasts.
func TestNoteDoesNotAllocatePerBlock(t *testing.T) {
	noise := testkit.Scale(testkit.White(4*rate, 3), 0.02)
	src := &testkit.Source{Rate: rate}
	ear, err := New(src, Hearing{})
	if err != nil {
		t.Fatal(err)
	}
	cues := make([]testkit.Cue, 1)
	window := exercise.DefaultWindow().Recorded()
	report := func(State) {}
	// The counter is the whole program's, and now and then the runtime adds one
	// of its own: the least of several runs is what Note does.
	allocations := func(seconds int) float64 {
		least := math.Inf(1)
		for range 5 {
			least = min(least, testing.AllocsPerRun(1, func() {
				cues[0] = testkit.Cue{Samples: noise[:seconds*rate]}
				src.Cues = cues
				if _, err := ear.Note(t.Context(), window, report); err != nil {
					t.Fatal(err)
				}
			}))
		}
		return least
	}
	const seconds = 4
	short, long := allocations(1), allocations(seconds)
	if short != long || long > 20 {
		t.Errorf("%g allocations in a window of 1 s, %g in one of %d s; want the same few", short, long, seconds)
	}
}

// The curve has the points of the window up to the one that closed it, however the
// samples come, and at least the last half minute of a window of any length.
func TestCurve(t *testing.T) {
	hop := int64(pitch.DefaultConfig(rate).Hop)
	for _, before := range []float64{2, 70} { // seconds of silence
		x := slices.Concat(silence(before), testkit.Scale(tone(2, 220), 0.3), silence(2))
		var first []pitch.Point
		for _, chunk := range []int{100, 256} {
			ear, err := New(&testkit.Source{Rate: rate, Chunk: func() int { return chunk }, Cues: []testkit.Cue{{Samples: x}}}, Hearing{})
			if err != nil {
				t.Fatal(err)
			}
			take, err := ear.Note(t.Context(), exercise.DefaultWindow().Recorded(), nil)
			if err != nil {
				t.Fatal(err)
			}
			c := ear.Curve()
			begins, ends := c[0].Index, c[len(c)-1].Index+hop
			if ends != take.Heard || int64(len(c)) != (ends-begins)/hop || len(c) < min(3000, int(take.Heard/hop)) || len(c) > 100*curveSeconds {
				t.Errorf("after %g s: %d points from %d to %d, heard %d", before, len(c), begins, ends, take.Heard)
			}
			if first == nil {
				first = slices.Clone(c)
			} else if !reflect.DeepEqual(first, c) {
				t.Errorf("after %g s, in blocks of %d: another curve", before, chunk)
			}
			if _, err := ear.Note(t.Context(), exercise.DefaultWindow().Recorded(), nil); err != nil {
				t.Fatal(err)
			}
			if again := ear.Curve(); len(again) == 0 || again[0].Index != 0 {
				t.Errorf("the next window has %d points", len(again))
			}
		}
	}
}

// A point belongs to a hop, whatever the rate.
func TestEarAtEveryRate(t *testing.T) {
	for _, hz := range []int{8000, 11025, 22050, 44100, 96000, 192000} {
		x := testkit.Tone(hz, 1, testkit.Steady(220), testkit.Harmonics(6, 9))
		heard := listen(t, audio.NewSamples(hz, x), exercise.DefaultWindow().Recorded())
		if !heard.Found || math.Abs(1200*math.Log2(heard.Note.F0/220)) > 1 || heard.SampleRate != hz {
			t.Errorf("%d Hz: found %v, %g Hz, want 220 to 1 cent", hz, heard.Found, heard.Note.F0)
		}
		if hop := pitch.DefaultConfig(hz).Hop; math.Abs(float64(heard.Heard)-float64(hz)) > float64(hop) {
			t.Errorf("%d Hz: heard %d samples, want %d to one hop", hz, heard.Heard, hz)
		}
	}
}
