//go:build race

package pitch

const raceDetector = true
