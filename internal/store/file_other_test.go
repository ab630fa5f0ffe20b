//go:build !unix

package store

import "testing"

func mkfifo(t *testing.T, _ string) { t.Skip("no such pipes on this system") }

func withUmask(t *testing.T, _ int) { t.Skip("no modes of files on this system") }
