package soak

import (
	"fmt"
	"time"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
	"isohaline/internal/plant"
)

// monitor watches what is switched, without a look at what was decided.
type monitor struct {
	settings *guard.Settings
	past     time.Duration

	ran            time.Duration // this run of the pump so far
	ceiling, floor time.Duration // how long each has been wet with the pump on
	window         []stretch     // runs of the last day
	inWindow       time.Duration
}

// stretch is a time that the pump was on.
type stretch struct{ from, to time.Duration }

// allowance is what a lease and two turns of the agent may add.
const allowance = lease.Usual + 2*agentEvery

// pass takes in a stretch of time in which nothing was switched. It says what limit
// is passed, "" if none.
func (m *monitor) pass(from, by time.Duration, out plant.Outputs, in guard.Inputs) string {
	m.forget(from + by - guard.Day)
	if !out.Pump {
		m.ran, m.ceiling, m.floor = 0, 0, 0
		return ""
	}
	m.ran += by
	m.window = append(m.window, stretch{from, from + by})
	m.inWindow += by
	grow(&m.ceiling, in.Ceiling, m.settings.CeilingFitted, by)
	grow(&m.floor, in.Floor, m.settings.FloorFitted, by)
	for _, limit := range []struct {
		what       string
		used, most time.Duration
	}{
		{"on without a break", m.ran, m.settings.HardCap + allowance},
		// A pump that may run from a full bucket and refills it as it goes.
		{"on within a day", m.inWindow, 2*m.settings.DailyBudget + allowance},
		{"on with the ceiling wet", m.ceiling, allowance},
		{"on with the floor wet", m.floor, allowance},
	} {
		if limit.used > limit.most {
			m.past += limit.used - limit.most
			return fmt.Sprintf("the pump was %s for %v; the limit is %v", limit.what, limit.used, limit.most)
		}
	}
	return ""
}

// grow counts how long a contact has been wet.
func grow(d *time.Duration, c guard.Contact, fitted bool, by time.Duration) {
	if !fitted || c != guard.Wet {
		*d = 0
		return
	}
	*d += by
}

// forget drops what is older than a day.
func (m *monitor) forget(before time.Duration) {
	for len(m.window) > 0 && m.window[0].to <= before {
		m.inWindow -= m.window[0].to - m.window[0].from
		m.window = m.window[1:]
	}
	if len(m.window) > 0 && m.window[0].from < before {
		m.inWindow -= before - m.window[0].from
		m.window[0].from = before
	}
}
