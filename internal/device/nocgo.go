//go:build !cgo

package device

// newBackend returns none: PortAudio needs cgo.
func newBackend() backend { return nil }
