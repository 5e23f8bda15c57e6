package odds

import "math/bits"

// maxFaults is how many faults a tank can have here: they are bits of a set.
const maxFaults = 64

// set is a set of faults, by index into world.faults.
type set uint64

func (s set) has(i int) bool      { return s>>i&1 == 1 }
func (s set) with(i int) set      { return s | 1<<i }
func (s set) size() int           { return bits.OnesCount64(uint64(s)) }
func (s set) contains(t set) bool { return s&t == t }
func (s set) disjoint(t set) bool { return s&t == 0 }
func (s set) each(visit func(int)) { // ascending
	for rest := uint64(s); rest != 0; rest &= rest - 1 {
		visit(bits.TrailingZeros64(rest))
	}
}

func setOf(i int) set { return 1 << i }
