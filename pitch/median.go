package pitch

import "slices"

// Median sorts x and returns its middle value, or the mean of the two in the middle;
// 0 where x is empty. It allocates nothing. The values must be numbers.
func Median(x []float64) float64 {
	slices.Sort(x)
	return middle(x)
}

// middle is the median of sorted values.
func middle(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return 0
	}
	return (x[(n-1)/2] + x[n/2]) / 2
}

// average is the mean of at least one value.
func average(x []float64) float64 {
	t := 0.0
	for _, v := range x {
		t += v
	}
	return t / float64(len(x))
}
