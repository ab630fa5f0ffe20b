// Package review listens to many recordings as a lesson listens to one, and
// judges them in parallel, in a stable order. [Reader.Read] makes a performance
// of a recording or of a pitch curve in a file, and [Each] runs over many.
//
// It prints nothing and keeps nothing: at any time only so many takes are in
// memory as there are workers, and a few results that wait for their turn.
package review
