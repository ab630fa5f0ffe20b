//go:build !unix

package keys

const nonblocking = 0
