package alarm

import "strings"

// Reason says why an alarm changed its state, or why what a person asked was
// refused. The screen, the log and the audit show the same words.
type Reason string

// Why a state changed.
const (
	Occurred             Reason = "the condition lasted for its on-delay"
	CameAgain            Reason = "the condition came back before it was settled"
	Worsened             Reason = "the priority rose"
	Returned             Reason = "the condition stayed away for its off-delay"
	ReturnedLatched      Reason = "the condition is gone, the alarm stays until it is reset"
	AcknowledgedByPerson Reason = "acknowledged by a person"
	ResetByPerson        Reason = "reset by a person"
	ShelvedByPerson      Reason = "shelved by a person"
	ShelvedShorter       Reason = "shelved by a person, for the longest time its priority allows"
	ShelfEnded           Reason = "the shelving came to its end"
	ShelfOutranked       Reason = "the priority rose above what was shelved"
	UnshelvedByPerson    Reason = "taken off the shelf by a person"
	CauseUp              Reason = "its cause is an alarm itself"
	CauseGone            Reason = "its cause is gone or less urgent"
	TakenOut             Reason = "taken out of service by a person"
	PutBack              Reason = "put back into service by a person"
	Forgotten            Reason = "its kind is no longer declared"
	Unwatched            Reason = "its tank is no longer watched"
)

// Why a request was refused: the state is as it was.
const (
	RefusedUnknownKind      Reason = "refused: no such kind of alarm"
	RefusedGathered         Reason = "refused: this alarm stands for others, raise those"
	RefusedNoAlarm          Reason = "refused: no such alarm here"
	RefusedNoPerson         Reason = "refused: say who asks"
	RefusedNormal           Reason = "refused: there is nothing to acknowledge"
	RefusedAcknowledged     Reason = "refused: already acknowledged"
	RefusedAcknowledgeFirst Reason = "refused: acknowledge it first"
	RefusedStillActive      Reason = "refused: the condition is still there"
	RefusedNotLatched       Reason = "refused: it is not latched"
	RefusedHidden           Reason = "refused: it is shelved, suppressed or out of service"
	RefusedNotShelved       Reason = "refused: it is not shelved"
	RefusedNoDuration       Reason = "refused: say for how long, more than nothing"
	RefusedInService        Reason = "refused: it is in service"
	RefusedOutOfService     Reason = "refused: it is out of service"
	RefusedUnknownAction    Reason = "refused: no such request"
)

// Refused says whether the reason is a refusal.
func (r Reason) Refused() bool { return strings.HasPrefix(string(r), "refused: ") }
