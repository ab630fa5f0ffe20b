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
//
// # What is judged
//
// Any octave counts unless strict; the verdict always says which it was. The window
// closes on the points of the track alone, so live and recorded sound agree to the
// byte.
//
// A struck note is not a voice: a tone whose level falls along a straight line in
// decibels and whose pitch is stiller than any voice is own sound. A steady tone
// that does not decay is judged, so that test tones work. A chord is not a voice
// either: of one voice all strong partials are multiples of one pitch (several, in
// judge.go). A voice over weaker tones is judged; a pitch too still for a voice over
// any is not.
//
// # Where it is asked
//
// The working range keeps an octave where it can: two semitones off each end of the
// comfortable one, less where the voice is narrow. A degree without a place is put
// as near as it comes, and is folded and Outside. The best key has the fewest folded
// degrees, then the smallest shift of the tessitura (Herbst et al. 2012); the seed
// draws among those within two semitones of it, so that one voice is not always sent
// to one key. The key is set in the nearest octave, down before up, where none of
// its tones is at an asked pitch, else where the fewest are.
package exercise
