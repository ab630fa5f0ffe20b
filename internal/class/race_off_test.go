//go:build !race

package class

const raceDetector = false
