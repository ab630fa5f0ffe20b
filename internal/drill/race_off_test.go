//go:build !race

package drill

const raceDetector = false
