//go:build race

package review

// raceDetector: everything takes ten times as long, and but for Each nothing here
// runs at the same time, so that less of it does.
const raceDetector = true
