// Package class is a class without a file, a screen or a clock: who is in it, what
// is to be sung, what was handed in, what that is worth and how sure that is.
//
// A [Task] is a line to be sung, or an exercise to be practised. A [Take] is what a
// student handed in for a line: the recording is listened to once, and what was
// measured (see [Pack]) is kept, so that [Rubric.Mark] can mark it again by other
// rules without listening. A [Mark] is the machine's and advises; a [Review] is the
// teacher's and decides. Both stay beside each other, and [Agree] tells how often
// they are the same.
//
// Everything here is pure. The file of a class is the business of
// internal/classfile; what is done with it, of internal/desk.
package class
