//go:build !windows

package store

import (
	"errors"
	"syscall"
)

// isTooLarge: a limit of the account (RLIMIT_FSIZE), or a disk whose format ends at 4 GB.
func isTooLarge(err error) bool { return errors.Is(err, syscall.EFBIG) }

func isFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
