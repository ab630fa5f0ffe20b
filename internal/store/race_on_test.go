//go:build race

package store

// raceDetector: a file takes twenty times as long to read, so that fewer are.
const raceDetector = true
