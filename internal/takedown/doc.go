// Package takedown makes a chart of a line that was sung or played along with a
// song: the notes that were heard become degrees of the home that was sung, the
// degrees a line in bars, the line a chart with the chords that it can carry.
//
// [Read] is the first half: notes in cents and seconds in, degrees out. [Taken.Line]
// lays them into bars where a beat is known, [Chart.Offer] puts chords over them, and
// [ParseChart] reads what [Chart.Text] wrote and somebody has mended. All of it is
// pure: it opens nothing and hears nothing. What was heard comes from package listen.
//
// What is not clear is marked and not guessed: see [Note.Unclear].
package takedown
