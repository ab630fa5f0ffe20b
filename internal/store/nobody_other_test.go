//go:build !unix

package store

import "testing"

// asNobody: there is no root on this system.
func asNobody(*testing.T) (done bool) { return false }
