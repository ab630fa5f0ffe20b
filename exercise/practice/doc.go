// Package practice knows what a singer can and what comes next: an [Answer] is what
// the record has of one, a [Trial] is one
// answer as the schedule sees it, [Practice] is what all trials say of each skill,
// a [Course] holds the skills in stages, a [Sitting] chooses today's questions, and
// [Progress] sums up all answers.
//
// All of it is worked out from the answers anew and kept nowhere. Everything here
// is pure, as in package exercise: the time is given by the caller.
package practice
