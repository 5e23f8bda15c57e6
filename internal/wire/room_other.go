//go:build !linux

package wire

// roomBytes is how much is free on the disk of a folder; -1: the system is not
// asked here.
func roomBytes(string) int64 { return -1 }
