//go:build !unix

package teacher

import "io/fs"

// fileID tells one file of a name from another, as far as its size does.
func fileID(info fs.FileInfo) string { return "" }
