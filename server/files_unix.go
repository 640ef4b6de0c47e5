//go:build unix

package main

import "syscall"

// usualConnections is how many connections the machine's own limit of open files allows.
func usualConnections() int {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		return 0
	}
	return max(spareFiles, int(min(uint64(limit.Cur), 1<<20))-spareFiles)
}
