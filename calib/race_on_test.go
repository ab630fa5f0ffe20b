//go:build race

package calib_test

// raceDetector: everything takes ten times as long, and nothing in calib runs at
// once, so that a part of the seeds and singers is enough.
const raceDetector = true
