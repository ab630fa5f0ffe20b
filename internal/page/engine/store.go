package engine

import (
	"context"
	"io"

	"singback/calib"
	"singback/exercise/practice"
)

// Store keeps the record, the profile and what else there is to keep. Its methods may
// be called from any goroutine, and wait until it is done.
type Store interface {
	Known(ctx context.Context) (Known, error)
	// Answers returns the singer's answers in the order in which they were given, and
	// how many could not be read. Fresh is false where they are those of the last
	// call, which then are not returned.
	Answers(ctx context.Context) (answers []practice.Answer, skipped int, fresh bool, err error)
	// Add keeps an answer, which has its number in its session: it is safe when Add
	// returns. An answer that is there already is left as it is.
	Add(ctx context.Context, a practice.Answer) error
	// Export writes the singer's answers as the record's own CSV, and returns how many
	// that are and how many could not be read.
	Export(ctx context.Context, w io.Writer) (n, skipped int, err error)
	// Import adds the answers of an export that are not there yet, all or none.
	Import(ctx context.Context, text []byte) (read, added int, err error)
	// SaveProfile keeps a profile and says where, for people.
	SaveProfile(ctx context.Context, p calib.Profile) (where string, err error)
	// Set keeps a thing of the page's own: "singer", "course". Only a home in the
	// browser has them.
	Set(ctx context.Context, what, value string) error
	// Forget deletes everything, where the home is the browser.
	Forget(ctx context.Context) error
}

// Known is what is known of the singer.
type Known struct {
	Home    string // "browser" or "computer"
	Singer  string
	Profile calib.Profile
	Course  string   // TOML; "": the built-in one
	Record  string   // where the answers are kept, for people
	There   bool     // there is a record
	Notes   []string // that the singer should see
}
