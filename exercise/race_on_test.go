//go:build race

package exercise_test

const raceDetector = true
