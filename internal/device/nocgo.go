//go:build !cgo

package device

// PortAudio tells whether this build can use sound devices.
const PortAudio = false

// newBackend returns none: PortAudio needs cgo.
func newBackend() backend { return nil }
