package store

import (
	"errors"
	"syscall"
)

// ERROR_FILE_TOO_LARGE of winerror.h.
func isTooLarge(err error) bool { return errors.Is(err, syscall.Errno(223)) }

// ERROR_HANDLE_DISK_FULL and ERROR_DISK_FULL of winerror.h.
func isFull(err error) bool {
	return errors.Is(err, syscall.Errno(39)) || errors.Is(err, syscall.Errno(112))
}
