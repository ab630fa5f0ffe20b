// Package theory holds the music that a prompted degree stands on: spelled
// notes and pitches, intervals, the 30 keys, degrees, the naming systems, and
// cents and hertz.
//
// The two calls most users need are [Key.Note], which spells a degree in a
// key, and [ParseDegree], which reads a degree as a musician writes it: "6",
// "♭3", "la" or "E♭". [Naming.Name] is the way back to a name, [Tuning.Hz] the
// way to sound.
//
// The invariant: a degree is a step and an alteration, and a name is a view of
// it. The naming systems clash (se, le, re and la each mean two pitches), so
// nothing stores a syllable; a name is made where it is shown and read where
// it is typed. E♭ and D♯ stay different until they become hertz.
//
// Left out on purpose: signals, rhythm, modes beyond major and minor, and
// every temperament but the equal one.
package theory
