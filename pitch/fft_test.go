package pitch

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

func TestTransformAgainstGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{16, 32, 512, 1024, 2048} {
		f := newTransform(n)
		x := make([]float64, n)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		got := make([]complex128, n/2+1)
		f.forward(got, x)
		want := fourier.NewFFT(n).Coefficients(nil, x)
		for k := range want {
			if cmplx.Abs(got[k]-want[k]) > 1e-10*float64(n) {
				t.Fatalf("n %d, coefficient %d: got %v, want %v", n, k, got[k], want[k])
			}
		}
		c := make([]float64, n/2+1)
		for i := range c {
			c[i] = r.NormFloat64()
		}
		d := make([]float64, n/2)
		f.even(d, c)
		for j := range d {
			w := c[0] + c[n/2]*math.Cos(math.Pi*float64(j))
			for k := 1; k < n/2; k++ {
				w += 2 * c[k] * math.Cos(2*math.Pi*float64(j*k)/float64(n))
			}
			if math.Abs(w-d[j]) > 1e-9*float64(n) {
				t.Fatalf("n %d, even %d: got %v, want %v", n, j, d[j], w)
			}
		}
	}
}

// One transform of a frame, ours and gonum's, in one run: why the tracker has
// its own.
func BenchmarkForward(b *testing.B) {
	x := make([]float64, 1024)
	for i := range x {
		x[i] = float64(i % 17)
	}
	c := make([]complex128, 513)
	b.Run("ours", func(b *testing.B) {
		f := newTransform(1024)
		for b.Loop() {
			f.forward(c, x)
		}
	})
	b.Run("gonum", func(b *testing.B) {
		f := fourier.NewFFT(1024)
		for b.Loop() {
			f.Coefficients(c, x)
		}
	})
}

// The autocorrelation from a power spectrum: half the transform of an even
// sequence against a whole complex one.
func BenchmarkEven(b *testing.B) {
	x := make([]float64, 513)
	for i := range x {
		x[i] = float64(i % 17)
	}
	b.Run("ours", func(b *testing.B) {
		f := newTransform(1024)
		d := make([]float64, 512)
		for b.Loop() {
			f.even(d, x)
		}
	})
	b.Run("gonum", func(b *testing.B) {
		f := fourier.NewFFT(1024)
		c := make([]complex128, 513)
		for i, v := range x {
			c[i] = complex(v, 0)
		}
		d := make([]float64, 1024)
		for b.Loop() {
			f.Sequence(d, c)
		}
	})
}
