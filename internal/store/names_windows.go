package store

import (
	"io/fs"
	"os"
	"syscall"
)

// names returns how many names (hard links) a file has.
func names(path string, _ fs.FileInfo) (uint64, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	var info syscall.ByHandleFileInformation
	err = syscall.GetFileInformationByHandle(syscall.Handle(f.Fd()), &info)
	return uint64(info.NumberOfLinks), err
}

// roomErrors are what the system says where a file cannot grow:
// ERROR_HANDLE_DISK_FULL, ERROR_DISK_FULL, ERROR_DISK_QUOTA_EXCEEDED.
var roomErrors = []error{syscall.Errno(39), syscall.Errno(112), syscall.Errno(1295), syscall.ENOSPC}
