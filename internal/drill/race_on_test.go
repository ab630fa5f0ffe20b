//go:build race

package drill

// raceDetector: everything takes ten times as long, and nothing here runs at the
// same time, so that less of it does.
const raceDetector = true
