package guard

import (
	"iter"
	"strings"
)

// Reason says why the guard answers as it does. The same reason goes to the
// screen, the log and the audit. A device stores it by number, so a new one is
// added at the end and none is ever taken out.
type Reason uint8

const (
	NoReason           Reason = iota // nothing latched; Step never answers it
	WatchWet                         // resting
	ConfirmingDry                    // confirming
	FillingToWatch                   // filling
	MinimumOff                       // settling: the pause between fills
	RestartSettle                    // settling: after power-up or a return-pump restart
	ReturnStopped                    // settling: the return pump is known to stand still
	CeilingWet                       // settling, then latched
	FloorWet                         // latched
	RunLimit                         // latched
	LevelNotAnswering                // latched
	CeilingWetWatchDry               // latched
	BudgetSpent                      // settling or confirming
	ReservoirEmpty                   // settling
	InputFault                       // settling
	HeldByPerson                     // held
	ClockFault                       // settling
	WatchWetTooLong                  // an alarm only
	GivingMeasure                    // filling
	ValveShut                        // held
	GiveTooMuch                      // a refusal only
	ClearOnSite                      // a refusal only
)

// reasonWords is what a person reads.
var reasonWords = [...]string{
	NoReason:           "no reason",
	WatchWet:           "watch level wet, nothing to do",
	ConfirmingDry:      "watch level dry, making certain",
	FillingToWatch:     "filling to the watch level",
	MinimumOff:         "pause between fills",
	RestartSettle:      "level settling after a restart",
	ReturnStopped:      "return pump stopped",
	CeilingWet:         "ceiling level wet",
	FloorWet:           "water on the floor",
	RunLimit:           "fill ran to its time limit",
	LevelNotAnswering:  "pump ran, level did not rise",
	CeilingWetWatchDry: "ceiling wet while watch is dry",
	BudgetSpent:        "daily pump time spent",
	ReservoirEmpty:     "reservoir empty",
	InputFault:         "an input cannot be read",
	HeldByPerson:       "held by a person",
	ClockFault:         "clock stood still or ran backwards",
	WatchWetTooLong:    "watch level wet for too long",
	GivingMeasure:      "giving a measured amount",
	ValveShut:          "valve shut by a person",
	GiveTooMuch:        "more than may be given now",
	ClearOnSite:        "a fault is cleared on site only",
}

// String is the reason in words; an unknown one is its number.
func (r Reason) String() string { return word(r, reasonWords[:]...) }

// Alarms is the set of reasons that need a person now, one bit each.
type Alarms uint32

// alarm is the set of one.
func alarm(r Reason) Alarms { return 1 << r }

// Has says whether the set holds a reason.
func (a Alarms) Has(r Reason) bool { return a&alarm(r) != 0 }

// All yields the reasons in the set, in the order of their numbers.
func (a Alarms) All() iter.Seq[Reason] {
	return func(yield func(Reason) bool) {
		for r := range Reason(len(reasonWords)) {
			if a.Has(r) && !yield(r) {
				return
			}
		}
	}
}

// String is the reasons in words, "none" for an empty set.
func (a Alarms) String() string {
	var words []string
	for r := range a.All() {
		words = append(words, r.String())
	}
	if len(words) == 0 {
		return "none"
	}
	return strings.Join(words, "; ")
}
