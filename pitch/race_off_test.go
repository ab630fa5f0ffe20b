//go:build !race

package pitch

const raceDetector = false
