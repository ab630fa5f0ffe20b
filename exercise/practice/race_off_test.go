//go:build !race

package practice

const raceDetector = false
