// Package practice knows what a singer can and what comes next: an [Answer] is what
// the record has of one, a [Trial] is one
// answer as the schedule sees it, [Practice] is what all trials say of each skill,
// a [Course] holds the skills in stages, a [Sitting] chooses today's questions, and
// [Progress] sums up all answers.
//
// All of it is worked out from the answers anew and kept nowhere. Everything here
// is pure, as in package exercise: the time is given by the caller.
//
// # What an answer is worth
//
// A move has a way. Any octave counts for the degree. Whether la was sung above or
// below do is seen from the octave of most of the singer's latest answers, since
// some answer everything an octave lower; a move sung the other way is worth its
// degree and not the move ([Practice.Turned]), in the schedule and in the statistics
// alike. A name is an answer to its own skill; a melody to its level: its notes
// credit no degrees.
//
// # What is asked
//
// A series of a course is sung whole once all of its moves were met, each note asked
// and judged by itself with the one before sounded first. So no note is judged by one
// that was sung wrong, and no new thing comes in a heap.
//
// A sitting plans in seconds of each shape: a sung note, a name, a melody take
// differently long; what would not end in time is not begun. Two names do not follow
// each other, nor two melodies within eight questions, if there is anything else.
// Where nobody can type, names are not asked, and stages open without them.
//
// A stage once reached stays open ([Course.Standing], from all answers, 3 ms for
// 100 000): its goal was met at any time, or a sitting began something new in it and
// half of what comes before was met, which holds when a course is changed or more can
// be asked than before; what was sung by choice opens nothing that way. A goal met by
// luck counts: simulated singers who are right in 60 % of the answers climb, slowly,
// and are held by "not while five things are weak". What has slipped is 0.3 more
// urgent.
//
// # The schedule
//
// It is worked out anew from all answers each time, 0.7 s for 100 000 of them with
// reading; so it can never disagree with them, and another algorithm or tolerance
// needs no migration.
//
// FSRS knows whole reviews. Memory.review takes a share as a part of the way to a
// whole one. py-fsrs lowers the stability after a hard answer on the same day, go-fsrs
// (and ts-fsrs) does not; Memory.review sets it by the formula of py-fsrs. A skill is
// due in its stability, rounded to days, where go-fsrs would put good a day behind
// hard. 400 random histories agree with the formulas written out in the tests, 300
// without a same-day hard with ts-fsrs 5.4.2 (twelve are kept). What still differs
// from py-fsrs: a day is a date of the singer's calendar, not 24 hours, and hard in
// the learning steps waits a whole number of minutes, 6 at each step.
//
// # Progress claims little
//
// Shares have Wilson's interval, differences Newcombe's, widened by Bonferroni for the
// skills compared, medians that of the sign test. First and latest answers are judged
// anew with one tolerance, since a course narrows it; skills are not thrown together,
// since what comes later is harder; drift is a slope within skill and session. Below
// ten answers nothing is said.
package practice
