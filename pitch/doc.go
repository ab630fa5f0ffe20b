// Package pitch finds the fundamental frequency of a sung voice.
//
// Most users need two calls: [Tracker.Push], which takes samples and appends a
// [Point] for every hop, and [Segmenter.Push], which takes points and appends a
// [Note] for every sung note that has ended. Both give the same result however
// the signal is cut into calls, and allocate nothing once warm.
//
// The package knows hertz and samples, no music: whether a note is the right
// one is for others to say. It reads no sound, and no clock.
package pitch

// Version names the estimator. It changes whenever the same samples may give
// another note, so that what was kept of an answer says how it was measured.
const Version = "pitch 2"
