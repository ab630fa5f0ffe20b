package testkit

import (
	"errors"
	"io"
	"slices"
	"testing"
)

func TestSourceFollowsItsCues(t *testing.T) {
	broken := errors.New("broken")
	for _, c := range []struct {
		name string
		src  Source
		got  []float64
		lost []int64 // in the order of the reads
		err  error
	}{
		{"ends", Source{Cues: []Cue{{Samples: []float64{1, 2, 3}}}}, []float64{1, 2, 3}, []int64{0, 0}, io.EOF},
		{"loses samples right before the next", Source{Cues: []Cue{{Samples: []float64{1}}, {Lost: 7, Samples: []float64{2, 3, 4}}}}, []float64{1, 2, 3, 4}, []int64{0, 7, 0}, io.EOF},
		{"breaks", Source{Cues: []Cue{{Samples: []float64{1}}, {Err: broken}, {Samples: []float64{2}}}}, []float64{1}, []int64{0}, broken},
		{"comes in odd chunks", Source{Cues: []Cue{{Samples: []float64{1, 2}}}, Chunk: func() int { return 1 }}, []float64{1, 2}, []int64{0, 0}, io.EOF},
	} {
		var got []float64
		var lost []int64
		block := make([]float64, 2)
		for {
			n, l, err := c.src.Read(t.Context(), block)
			if err != nil {
				if _, _, again := c.src.Read(t.Context(), block); again != err || n != 0 || l != 0 || err != c.err {
					t.Errorf("%s: %d samples, %d lost, %v, then %v; want nothing and %v twice", c.name, n, l, err, again, c.err)
				}
				break
			}
			got, lost = append(got, block[:n]...), append(lost, l)
		}
		if !slices.Equal(got, c.got) || !slices.Equal(lost, c.lost) {
			t.Errorf("%s: %v, lost %v; want %v, %v", c.name, got, lost, c.got, c.lost)
		}
	}
	endless := Source{Forever: true}
	if n, _, err := endless.Read(t.Context(), make([]float64, 5)); n != 5 || err != nil {
		t.Errorf("an endless source gave %d samples, %v", n, err)
	}
}
