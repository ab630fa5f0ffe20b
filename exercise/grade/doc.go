// Package grade compares a take of a line of notes with the line: [Align] pairs
// sung with written notes, and [Of] says of each written note whether it was
// right, and what the take is worth.
//
// Everything here is pure, as in package exercise: no microphone, screen, disk or
// clock. Time is in seconds of the take, pitch in cents.
package grade
