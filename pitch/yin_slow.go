package pitch

// differenceDirect is YIN's difference function as the paper writes it (eq. 6):
// d[τ] = Σ_{j<window} (x[j] − x[j+τ])² for every τ < len(d). It is the
// reference that the fast one is compared with. x must have at least
// window+len(d)−1 samples.
func differenceDirect(d, x []float64, window int) {
	for lag := range d {
		sum := 0.0
		for j := 0; j < window; j++ {
			v := x[j] - x[j+lag]
			sum += v * v
		}
		d[lag] = sum
	}
}
