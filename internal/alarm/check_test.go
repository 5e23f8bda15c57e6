package alarm

import (
	"fmt"
	"slices"
	"time"

	"isohaline/internal/account"
)

// The limits of a catalogue. Common practice, no source.
const (
	maxOnDelay  = 24 * time.Hour
	maxOffDelay = 24 * time.Hour
)

// CheckKinds says what is wrong with a catalogue, nil if nothing. Beside the
// plain limits, causes must not go in a circle, and the delays must let a cause
// be first: it becomes an alarm no later than what it explains, and is over no
// earlier.
func CheckKinds(kinds []Kind) error {
	for i := range kinds {
		k := &kinds[i]
		switch {
		case k.Code == "":
			return fmt.Errorf("kind %d: code is empty, give it one", i)
		case find(kinds, k.Code) != k:
			return fmt.Errorf("kind %s: declared twice, drop one", k.Code)
		case k.Title == "":
			return fmt.Errorf("kind %s: title is empty, give it one", k.Code)
		case k.OnDelay < 0 || k.OnDelay > maxOnDelay:
			return fmt.Errorf("kind %s: on-delay %v, use 0 to %v", k.Code, k.OnDelay, maxOnDelay)
		case k.OffDelay < 0 || k.OffDelay > maxOffDelay:
			return fmt.Errorf("kind %s: off-delay %v, use 0 to %v", k.Code, k.OffDelay, maxOffDelay)
		}
		if k.Gathers != "" {
			gathered := find(kinds, k.Gathers)
			switch {
			case gathered == nil:
				return fmt.Errorf("kind %s: gathers %s, which is not declared", k.Code, k.Gathers)
			case gathered.Gathers != "":
				return fmt.Errorf("kind %s: gathers %s, which gathers itself, name what that one gathers", k.Code, k.Gathers)
			}
		}
		for _, code := range k.SilencedBy {
			cause := find(kinds, code)
			switch {
			case cause == nil:
				return fmt.Errorf("kind %s: silenced by %s, which is not declared", k.Code, code)
			case cause.OnDelay > k.OnDelay:
				return fmt.Errorf("kind %s: on-delay %v is shorter than that of its cause %s, use at least %v", k.Code, k.OnDelay, code, cause.OnDelay)
			case cause.OffDelay < k.OffDelay:
				return fmt.Errorf("kind %s: off-delay %v is longer than that of its cause %s, use at most %v", k.Code, k.OffDelay, code, cause.OffDelay)
			}
		}
	}
	if left := circle(kinds); len(left) > 0 {
		return fmt.Errorf("kind %s: silences itself through its causes %v, break the circle", left[0].Code, left[0].SilencedBy)
	}
	return nil
}

// circle is what is left of a catalogue when every kind is taken away whose
// causes have all been taken away: nothing, unless causes go in a circle.
func circle(kinds []Kind) []Kind {
	left := slices.Clone(kinds)
	for before := len(left) + 1; len(left) < before; {
		before = len(left)
		left = slices.DeleteFunc(left, func(k Kind) bool {
			return !slices.ContainsFunc(k.SilencedBy, func(c account.Code) bool { return find(left, c) != nil })
		})
	}
	return left
}

// Letter is the state's letter in the standards' diagram, A to I.
func (s State) Letter() string { return string(rune('A' + s)) }
