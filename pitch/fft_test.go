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
	for _, n := range []int{16, 32, 64, 512, 1024, 2048} {
		f := newTransform(n)
		for _, filled := range []int{1, n / 3, n/2 + 1, n - 1, n} {
			x, w, wx := make([]float64, filled), make([]float64, filled), make([]float64, n)
			for i := range x {
				x[i], w[i] = r.NormFloat64(), r.Float64()
				wx[i] = w[i] * x[i]
			}
			want := fourier.NewFFT(n).Coefficients(nil, wx)
			for _, bins := range []int{1, n / 5, n/2 - 3, n / 2} {
				got := make([]float64, bins)
				f.power(got, x, w)
				for k := range got {
					p := cmplx.Abs(want[k]) * cmplx.Abs(want[k])
					if math.Abs(got[k]-p) > 1e-11*float64(n) {
						t.Fatalf("n %d, %d samples, power %d of %d: got %v, want %v", n, filled, k, bins, got[k], p)
					}
				}
			}
		}
		c := make([]float64, n/2+1)
		for i := range c {
			c[i] = r.NormFloat64()
		}
		for _, lags := range []int{1, n / 5, n/4 + 1, n/2 - 1, n / 2} {
			d := make([]float64, lags)
			f.even(d, c)
			for j := range d {
				w := c[0] + c[n/2]*math.Cos(math.Pi*float64(j))
				for k := 1; k < n/2; k++ {
					w += 2 * c[k] * math.Cos(2*math.Pi*float64(j*k)/float64(n))
				}
				if math.Abs(w-d[j]) > 1e-12*float64(n) {
					t.Fatalf("n %d, even %d of %d: got %v, want %v", n, j, lags, d[j], w)
				}
			}
		}
	}
}

// The power spectrum of a frame, ours and gonum's, in one run: why the tracker
// has its own transform.
func BenchmarkPower(b *testing.B) {
	x, w := make([]float64, 551), make([]float64, 551)
	for i := range x {
		x[i], w[i] = float64(i%17), 1
	}
	p := make([]float64, 455)
	b.Run("ours", func(b *testing.B) {
		f := newTransform(1024)
		for b.Loop() {
			f.power(p, x, w)
		}
	})
	b.Run("gonum", func(b *testing.B) {
		f := fourier.NewFFT(1024)
		wx, c := make([]float64, 1024), make([]complex128, 513)
		for b.Loop() {
			for i, v := range x {
				wx[i] = v * w[i]
			}
			f.Coefficients(c, wx)
			for k := range p {
				p[k] = real(c[k])*real(c[k]) + imag(c[k])*imag(c[k])
			}
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
