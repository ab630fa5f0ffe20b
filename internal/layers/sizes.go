package layers

// The longest file and the longest function that a reader is asked to take in at
// once, in lines; tests may be longer. A function that has to be longer, like one
// that is a table, says so in its comment, in a sentence that begins with "Long:".
const (
	maxFile     = 600
	maxFunction = 100
)

// tooLong is what is longer than it should be and waits to be taken apart: files,
// and functions as file and name. Nothing is added here, and what is no longer too
// long goes.
const tooLong = ``
