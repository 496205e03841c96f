package main

import "golang.org/x/sys/windows"

// freeBytes is the room that this user has left on the disk of a folder.
func freeBytes(dir string) (free uint64, err error) {
	p, err := windows.UTF16PtrFromString(dir)
	if err == nil {
		err = windows.GetDiskFreeSpaceEx(p, &free, nil, nil)
	}
	return free, err
}
