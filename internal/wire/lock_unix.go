//go:build unix && !solaris && !aix

package wire

import (
	"os"
	"syscall"
)

// lockFile takes a file for this process alone until it is closed. Two servers on
// one folder would write over each other, and NATS does not prevent it. The lock
// ends with the process, however that ends.
func lockFile(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}
