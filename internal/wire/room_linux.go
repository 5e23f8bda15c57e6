package wire

import "syscall"

// roomBytes is how much is free on the disk of a folder, for this program; -1 where
// the system does not say.
func roomBytes(dir string) int64 {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return -1
	}
	return int64(s.Bavail) * int64(s.Bsize)
}
