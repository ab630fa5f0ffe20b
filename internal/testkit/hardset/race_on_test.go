//go:build race

package hardset

const raceDetector = true
