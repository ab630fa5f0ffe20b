//go:build race

package listen

const raceDetector = true
