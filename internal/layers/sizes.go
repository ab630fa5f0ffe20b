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
const tooLong = `
exercise/grade/align.go
exercise/grade/curve.go path
internal/cli/calibrate.go
internal/cli/calibrate.go run
internal/cli/lines.go
internal/cli/melody.go
internal/cli/melody.go run
internal/cli/rename.go newRename
internal/cli/sing.go perform
internal/cli/view.go event
internal/review/curve.go OfCurve
internal/testkit/evaluate/rows.go rows
internal/testkit/jury/sight.go sightSinging
internal/testkit/training/training.go
internal/testkit/training/training.go Make
internal/testkit/training/training.go melody
internal/testkit/training/training.go sing
pitch/evidence.go
pitch/evidence.go analyse
pitch/evidence.go score
pitch/measure.go
`
