//go:build race

package class

// raceDetector: everything takes ten times as long, and nothing here runs at the
// same time, so that less of it does.
const raceDetector = true
