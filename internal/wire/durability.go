package wire

import (
	"fmt"
	"time"
)

// Durability is what an acknowledged reading survives.
type Durability uint8

const (
	// SurvivesKill: the operating system has the reading. A killed process loses
	// nothing; a power cut may lose the last syncEvery.
	SurvivesKill Durability = iota
	// SurvivesPowerCut: the disk has the reading, as far as the disk tells the
	// truth. Readings on their way together share one sync.
	SurvivesPowerCut
)

// syncEvery is how often SurvivesKill writes to the disk what the operating
// system holds: what a power cut can cost.
const syncEvery = 10 * time.Second

// String is the durability as ParseDurability reads it.
func (d Durability) String() string {
	switch d {
	case SurvivesKill:
		return "killed-process"
	case SurvivesPowerCut:
		return "power-cut"
	}
	return fmt.Sprintf("durability %d", uint8(d))
}

// ParseDurability reads a durability in words: what is survived.
func ParseDurability(s string) (Durability, error) {
	for _, d := range []Durability{SurvivesKill, SurvivesPowerCut} {
		if s == d.String() {
			return d, nil
		}
	}
	return 0, fmt.Errorf("durability: %q is not known; say %q or %q: what acknowledged readings survive", s, SurvivesKill, SurvivesPowerCut)
}
