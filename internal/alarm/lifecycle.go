package alarm

// State is a state of the alarm life cycle. The words and letters are those of
// the alarm state transition diagram in IEC 62682:2014 and ANSI/ISA-18.2-2016
// (from memory).
type State uint8

const (
	Normal                 State = iota // A: the condition is absent, nothing to do
	Unacknowledged                      // B: the condition is there, nobody has said they know
	Acknowledged                        // C: the condition is there, somebody knows
	ReturnedUnacknowledged              // D: gone before anybody acknowledged it
	LatchedUnacknowledged               // E: gone, but stays until acknowledged and reset
	LatchedAcknowledged                 // F: gone and acknowledged, stays until reset
	Shelved                             // G: put aside by a person, until a time
	SuppressedByDesign                  // H: an alarm that is its cause is up
	OutOfService                        // I: taken out by a person, for work on it
)

var stateWords = []string{
	"normal", "unacknowledged", "acknowledged", "returned to normal unacknowledged",
	"latched unacknowledged", "latched acknowledged",
	"shelved", "suppressed by design", "out of service",
}

// String is the state in the standard's words.
func (s State) String() string { return word(s, stateWords) }

// MarshalText writes the words.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the words.
func (s *State) UnmarshalText(text []byte) error {
	return readWord(s, string(text), stateWords, "alarm state")
}

// Calls says whether the state calls for a person: nobody has acknowledged it,
// and there is still something to do about it.
func (s State) Calls() bool { return s == Unacknowledged || s == LatchedUnacknowledged }

// active says whether the condition is there in a state that nothing hides.
func (s State) active() bool { return s == Unacknowledged || s == Acknowledged }

// occur is the state after the condition came: always one that calls.
func (s State) occur() (State, Reason) {
	if s == Normal {
		return Unacknowledged, Occurred
	}
	return Unacknowledged, CameAgain
}

// goAway is the state after the condition went.
func (s State) goAway(latches bool) (State, Reason) {
	switch {
	case s == Unacknowledged && latches:
		return LatchedUnacknowledged, ReturnedLatched
	case s == Unacknowledged:
		return ReturnedUnacknowledged, Returned
	case s == Acknowledged && latches:
		return LatchedAcknowledged, ReturnedLatched
	case s == Acknowledged:
		return Normal, Returned
	}
	return s, ""
}

// acknowledge is the state after a person said they know.
func (s State) acknowledge() (State, Reason) {
	switch s {
	case Unacknowledged:
		return Acknowledged, AcknowledgedByPerson
	case ReturnedUnacknowledged:
		return Normal, AcknowledgedByPerson
	case LatchedUnacknowledged:
		return LatchedAcknowledged, AcknowledgedByPerson
	case Normal:
		return s, RefusedNormal
	case Acknowledged, LatchedAcknowledged:
		return s, RefusedAcknowledged
	}
	return s, RefusedHidden
}

// reset is the state after a person took a latch back. It needs the
// acknowledgement first, so that no latched alarm goes without one.
func (s State) reset() (State, Reason) {
	switch s {
	case LatchedAcknowledged:
		return Normal, ResetByPerson
	case LatchedUnacknowledged:
		return s, RefusedAcknowledgeFirst
	case Unacknowledged, Acknowledged:
		return s, RefusedStillActive
	case Normal, ReturnedUnacknowledged:
		return s, RefusedNotLatched
	}
	return s, RefusedHidden
}
