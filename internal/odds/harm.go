package odds

import (
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// harm is which of the three harms a row reached, as bits.
type harm uint8

// Harm is what is counted.
type Harm uint8

const (
	WetFloor Harm = iota // the tank's class 3 limit of water on the floor
	Danger               // class 3 or worse: a wet floor or animals at risk
	Loss                 // class 4: the tank lost or the building flooded
	harmCount
)

func (h Harm) String() string {
	return [...]string{"a wet floor", "animals at risk or a wet floor", "loss of the tank or a flooded building"}[h]
}

func (h harm) has(k Harm) bool { return h>>k&1 == 1 }

func harmOf(s *tankfile.Tank, row *verify.Row) harm {
	var h harm
	if row.Outcome.FloorTotalM3() >= s.Limits.FloorM3[plant.Danger-1] {
		h |= 1 << WetFloor
	}
	if row.Class >= plant.Danger {
		h |= 1 << Danger
	}
	if row.Class >= plant.Loss {
		h |= 1 << Loss
	}
	return h
}
