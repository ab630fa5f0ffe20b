package exercise

// When a singer is told to rest, in seconds of singing (common practice: a
// pause after a quarter of an hour, and sooner for voices that are growing).
const (
	RestAfter        = 15 * 60.0
	RestAfterGrowing = 10 * 60.0
)

// Stint counts how long somebody has sung in one session. The zero Stint never
// calls for a rest.
type Stint struct {
	RestAfter float64 // seconds of singing after which to rest; 0: never
	Sung      float64 // seconds of voiced sound so far
}

// Add counts so many seconds of voiced sound and reports whether it
// is time to say that a rest is due: once in a session.
func (s *Stint) Add(seconds float64) (rest bool) {
	before := s.Sung
	s.Sung += seconds
	return s.RestAfter > 0 && before < s.RestAfter && s.Sung >= s.RestAfter
}
