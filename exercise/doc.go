// Package exercise knows what is asked of a singer and what an answer is
// worth. An [Item] is one question: a degree of a key, alone or from another
// degree sounded first. An [Attempt] follows the pitch track of one listening
// window until the answer is complete. [Judge] turns the measured answer into
// a [Verdict], and a [Tally] sums verdicts up by degree and by from-to pair.
//
// The two calls most users need are [NewSeries], which makes a reproducible
// series of items, and [Judge].
//
// Everything here is pure: no microphone, screen, disk or clock, and no
// randomness but a seed that the caller gives. Time is counted in samples of
// the recording.
package exercise
