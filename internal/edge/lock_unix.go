//go:build unix && !solaris && !aix

package edge

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
)

// lock takes a folder for this process alone until the file is closed: two agents
// on one state would undo each other's latches. It ends with the process.
func lock(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("edge: another agent uses %s: end it, or name another folder", dir)
	}
	return f, nil
}
