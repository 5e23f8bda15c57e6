package monitor

import (
	"fmt"
	"time"
)

// Progress is how many tanks of how many are live since the start.
type Progress struct{ Done, Total int }

// Ready says whether every tank that is to be has been taken up.
func (p Progress) Ready() bool { return p.Done >= p.Total }

// String says it in words, empty once it is over.
func (p Progress) String() string {
	if p.Ready() {
		return ""
	}
	return fmt.Sprintf("catching up, %d of %d tanks", p.Done, p.Total)
}

// Progress is how far the start has come. It waits for nothing.
func (m *Monitor) Progress() Progress {
	done := int(m.progress.done.Load()) // first: it never gets ahead of the total
	return Progress{Done: done, Total: int(m.progress.total.Load())}
}

// Expect says that more tanks are being made ready, for Progress: call Arrived for
// each once it is.
func (m *Monitor) Expect(tanks int) { m.progress.total.Add(int64(tanks)) }

// Arrived says that one of the tanks that were expected is ready.
func (m *Monitor) Arrived() { m.progress.done.Add(1) }

// Waiting says whether a tank is still to be taken up.
func (m *Monitor) Waiting(tankID string) bool {
	t := m.tank(tankID)
	return t != nil && t.spec.Load() == nil
}

// Failure is a tank whose description cannot be read: only its contacts are heard.
type Failure struct {
	TankID, SiteID, Name string
	Why                  string
	Since                time.Time
}

// Failures are the tanks that are without an account, by site.
func (m *Monitor) Failures() []Failure {
	var out []Failure
	for _, p := range m.sites() {
		for _, t := range p.all() {
			if s := t.spec.Load(); s != nil && s.problem != nil {
				out = append(out, Failure{TankID: t.id, SiteID: t.siteID, Name: s.live.Name, Why: s.problem.Error(), Since: s.since})
			}
		}
	}
	return out
}
