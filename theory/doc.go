// Package theory holds the music that a prompted degree stands on: spelled
// notes and pitches, intervals, the 30 keys, modes and scales, degrees, the
// naming systems, melodies in tonic sol-fa, tunings in cents and hertz, key
// finding, and harmony: chords and their symbols, Roman numerals, voice leading
// in four parts, passing chords, and what chords a bass line can carry.
//
// The two calls most users need are [Key.Note], which spells a degree in a
// key, and [ParseDegree], which reads a degree as a musician writes it: "6",
// "♭3", "la" or "E♭". [Naming.Name] is the way back to a name, [Tuning.HzIn] the
// way to sound. [ParseMelody] and [Melody.Text] read and write whole lines.
// [ParseChord] and [ParseRoman] read chords, [Texture.Voice] sets them in four
// parts, [PassingAnywhere] finds what may stand between two, [Deduce] what may
// stand on a bass.
//
// The invariant: a degree is a step and an alteration, and a name is a view of
// it. The naming systems clash (se, le, re and la each mean two pitches), so
// nothing stores a syllable; a name is made where it is shown and read where
// it is typed. E♭ and D♯ stay different until they become hertz. A chord is
// likewise a root, tones on letters and a bass; its symbol and its numeral are
// views.
//
// Left out on purpose: signals, and every temperament but equal, 5-limit just
// and Pythagorean.
package theory
