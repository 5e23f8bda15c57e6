package edge

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"isohaline/internal/edge/decide"
)

// stateFile is where the state is kept, in the agent's folder, and lockFile keeps
// another agent out of it.
const (
	stateFile = "state.json"
	lockFile  = "lock"
)

// formatVersion is the format of the file.
const formatVersion = 1

// disk keeps the state: one small file, written again as a whole and put in place
// by renaming, so that after a power cut it is the old one or the new one.
type disk struct{ dir string }

// saved is the file.
type saved struct {
	Version int          `json:"version"`
	At      time.Time    `json:"at"`
	State   decide.State `json:"state"`
}

// damagedError is a file that is there and cannot be understood.
type damagedError struct {
	file string
	err  error
}

func (e *damagedError) Error() string { return fmt.Sprintf("%s: %v", e.file, e.err) }
func (e *damagedError) Unwrap() error { return e.err }

// load is what was saved; nothing where there is no file.
func (d disk) load() (decide.State, error) {
	name := filepath.Join(d.dir, stateFile)
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return decide.State{}, nil
	}
	if err != nil {
		return decide.State{}, err
	}
	var s saved
	if err := json.Unmarshal(data, &s); err != nil {
		return decide.State{}, &damagedError{name, err}
	}
	if s.Version != formatVersion {
		return decide.State{}, &damagedError{name, fmt.Errorf("its version is %d, and this program reads %d", s.Version, formatVersion)}
	}
	return s.State, nil
}

// save returns when the state would survive a power cut.
func (d disk) save(s decide.State, now time.Time) error {
	data, err := json.Marshal(saved{formatVersion, now, s})
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(d.dir, stateFile+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone once it has been renamed
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), filepath.Join(d.dir, stateFile)); err != nil {
		return err
	}
	folder, err := os.Open(d.dir)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
