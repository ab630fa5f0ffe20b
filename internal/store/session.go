package store

import (
	"crypto/rand"
	"time"

	"singback/exercise/practice"
	"singback/internal/kept"
)

// NewSession returns a session with an ID of its own.
func NewSession(singer, command, source string, seed uint64, estimator string, started time.Time) practice.Session {
	var id [16]byte
	rand.Read(id[:]) // never fails
	return kept.NewSession(id, singer, command, source, seed, estimator, started)
}
