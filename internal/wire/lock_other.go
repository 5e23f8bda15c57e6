//go:build !unix || solaris || aix

package wire

import "os"

// lockFile only keeps the file open: this system has no lock that the standard
// library knows. Two processes on one folder are not told apart here.
func lockFile(name string) (*os.File, error) {
	return os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
}
