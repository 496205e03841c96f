package store

import (
	"errors"
	"syscall"
)

// ERROR_HANDLE_DISK_FULL and ERROR_DISK_FULL of winerror.h.
func isFull(err error) bool {
	return errors.Is(err, syscall.Errno(39)) || errors.Is(err, syscall.Errno(112))
}
