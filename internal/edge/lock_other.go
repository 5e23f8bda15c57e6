//go:build !unix || solaris || aix

package edge

import (
	"os"
	"path/filepath"
)

// lock only keeps the file open: this system has no lock that the standard library
// knows. Two agents on one folder are not told apart here.
func lock(dir string) (*os.File, error) {
	return os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR|os.O_CREATE, 0o600)
}
