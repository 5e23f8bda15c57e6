package main

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"time"

	"isohaline/internal/odds"
	"isohaline/internal/tankfile"
)

// tallyFormat names the version of the file.
const tallyFormat = "isohaline-tally/1"

// tallyFile keeps what was lived, with what it was lived under: years of another
// tank or by other rates must not be added.
type tallyFile struct {
	Format  string            `json:"format"`
	Program string            `json:"program"`
	Tank    string            `json:"site_sha256"`
	Rates   map[string]string `json:"rates"`
	Seed    uint64            `json:"seed"`
	Bias    float64           `json:"bias"`
	Tally   odds.Tally        `json:"tally"`

	name   string
	keptAt time.Time
}

// openTally reads the file, or begins one.
func openTally(name string, s *tankfile.Tank, o *odds.Simulation) (*tallyFile, error) {
	written, err := tankfile.Write(s)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(written)
	file := &tallyFile{Format: tallyFormat, Program: version(), Tank: hex.EncodeToString(sum[:]), Rates: o.Rates, Seed: o.Seed, Bias: o.Bias, name: name}
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return file, file.keep(odds.Tally{}) // now, rather than hours later, if it cannot be written
	}
	if err != nil {
		return nil, fmt.Errorf("--tally: %w", err)
	}
	var before tallyFile
	if err := json.Unmarshal(data, &before); err != nil || before.Format != tallyFormat {
		return nil, fmt.Errorf("--tally: %s is not such a file; give the name of another", name)
	}
	if other := file.differsFrom(&before); other != "" {
		return nil, fmt.Errorf("--tally: %s was lived %s; give the name of another file, or delete it", name, other)
	}
	file.Tally = before.Tally
	return file, nil
}

// differsFrom says what is not as it was; empty: nothing.
func (f *tallyFile) differsFrom(before *tallyFile) string {
	switch {
	case f.Tank != before.Tank:
		return "on another tank file"
	case !maps.Equal(f.Rates, before.Rates):
		return "with other rates"
	case f.Seed != before.Seed:
		return fmt.Sprintf("with --seed %d", before.Seed)
	case f.Program != before.Program || f.Bias != before.Bias:
		return "by another version of the program"
	case before.Tally.Blocks < 0:
		return "and then changed by hand"
	}
	return ""
}

// keepEvery is how much lived time a power cut may cost.
const keepEvery = 5 * time.Second

func (f *tallyFile) keepNowAndThen(t odds.Tally) error {
	if time.Since(f.keptAt) < keepEvery {
		return nil
	}
	return f.keep(t)
}

// keep writes the file beside the old one and then in its place, so that there
// is always a whole one.
func (f *tallyFile) keep(t odds.Tally) error {
	f.Tally, f.keptAt = t, time.Now()
	data, err := json.MarshalIndent(f, "", " ")
	if err != nil {
		return err
	}
	fresh, err := os.CreateTemp(filepath.Dir(f.name), filepath.Base(f.name)+".*")
	if err != nil {
		return fmt.Errorf("--tally: %w", err)
	}
	_, err = fresh.Write(append(data, '\n'))
	err = errors.Join(err, fresh.Sync(), fresh.Close())
	if err == nil {
		err = os.Rename(fresh.Name(), f.name)
	}
	if err != nil {
		os.Remove(fresh.Name())
		return fmt.Errorf("--tally: %w", err)
	}
	return nil
}
