// Package compose makes what is to be sung or heard: melodies to read at sight in
// seven levels ([NewMelodies]), phrases to sing back ([NewEchoes]), and chords to
// name ([NewDictation]).
//
// The same order and seed give the same notes, in every version that does not say
// otherwise. Everything here is pure, as in package exercise.
package compose
