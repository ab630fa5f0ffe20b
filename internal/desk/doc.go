// Package desk is what a teacher does with a class, without a terminal and without a
// page: takes are found, measured once and marked, by new rules without listening
// again.
//
// It prints nothing. [Find] tells what is in folders and zips, [Sort] whose it is,
// [Collector] takes it into the class, [Marker] marks. Results come in the order of
// what was given, however many are worked on at once, so that a run that was
// interrupted and gone on with, or done in parts, leaves the same.
package desk
