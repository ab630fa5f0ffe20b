//go:build !race

package calib_test

const raceDetector = false
