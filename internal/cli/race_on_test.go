//go:build race

package cli

// raceDetector: a simulated singer takes ten times as long, so that fewer of them
// sing.
const raceDetector = true
