//go:build !race

package theory_test

const raceDetector = false
