//go:build unix

package store

import (
	"io/fs"
	"syscall"
)

// names returns how many names (hard links) a file has.
func names(_ string, info fs.FileInfo) (uint64, error) {
	return uint64(info.Sys().(*syscall.Stat_t).Nlink), nil
}

// roomErrors are what the system says where a file cannot grow.
var roomErrors = []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}
