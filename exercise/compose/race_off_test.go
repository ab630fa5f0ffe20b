//go:build !race

package compose_test

const raceDetector = false
