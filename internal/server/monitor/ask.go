package monitor

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/live"
	"isohaline/internal/store"
)

// View is a tank as it is believed to be now. It is a copy.
type View struct {
	ID, SiteID, Name string
	// Sheet is nil where the description cannot be read, as Problem says.
	Sheet     *live.Sheet
	Problem   error
	Lasts     live.Lasts
	Findings  []account.Finding // open ones, worst first
	LastHeard time.Time         // zero: never
	Estimate  account.Estimate
}

// Tank is one tank, false if it is not monitored or has not been taken up yet.
func (m *Monitor) Tank(id string) (View, bool) {
	if t := m.tank(id); t != nil {
		return t.view()
	}
	return View{}, false
}

// Tanks are all tanks that have been taken up, by id.
func (m *Monitor) Tanks() []View {
	m.mu.RLock()
	tanks := slices.Collect(maps.Values(m.tanks))
	m.mu.RUnlock()
	out := make([]View, 0, len(tanks))
	for _, t := range tanks {
		if v, ok := t.view(); ok {
			out = append(out, v)
		}
	}
	slices.SortFunc(out, func(a, b View) int { return cmp.Compare(a.ID, b.ID) })
	return out
}

func (t *tank) view() (View, bool) {
	spec, value := t.spec.Load(), t.value.Load()
	if spec == nil {
		return View{}, false
	}
	v := View{ID: t.id, SiteID: t.siteID, Name: spec.live.Name, Sheet: spec.sheet, Problem: spec.problem, Lasts: value.Last, LastHeard: value.Heard(),
		Findings: spec.live.Findings(value), Estimate: spec.live.Estimate(value)}
	slices.SortStableFunc(v.Findings, func(a, b account.Finding) int { return Worse(&a, &b) })
	return v, true
}

// Worse orders findings: by priority, harm class, and how soon harm comes.
func Worse(a, b *account.Finding) int {
	return cmp.Or(
		cmp.Compare(Priority(b), Priority(a)),
		cmp.Compare(b.Class, a.Class),
		cmp.Compare(harmIn(a), harmIn(b)),
		a.Since.Compare(b.Since),
	)
}

// Priority is a finding's, after its harm class and the time left.
func Priority(f *account.Finding) alarm.Priority { return alarm.PriorityOf(f.Class, harmIn(f)) }

// harmIn is the time left until harm, the longest there is if it never comes.
func harmIn(f *account.Finding) time.Duration {
	if f.HarmIn < 0 {
		return 1<<63 - 1
	}
	return f.HarmIn
}

// NeedsPerson says whether a finding is one that somebody has to do something
// about: harm of any class is, what is harmless is worth a word.
func NeedsPerson(f *account.Finding) bool { return f.Class > 0 }

// SiteOfTank is where a tank stands, also one that is not taken up yet or cannot
// be.
func (m *Monitor) SiteOfTank(id string) (siteID string, known bool) {
	if t := m.tank(id); t != nil {
		return t.siteID, true
	}
	return "", false
}

// Alarms are all alarms that are not normal, the most urgent first.
func (m *Monitor) Alarms() []store.SiteAlarm {
	var out []store.SiteAlarm
	for _, p := range m.sites() {
		for _, a := range p.calls.Load().alarms.Alarms {
			if a.State() != alarm.Normal {
				out = append(out, store.SiteAlarm{SiteID: p.id, Alarm: a})
			}
		}
	}
	slices.SortFunc(out, func(a, b store.SiteAlarm) int {
		return cmp.Or(cmp.Compare(b.Priority, a.Priority), b.Called.Compare(a.Called),
			cmp.Compare(a.SiteID, b.SiteID), cmp.Compare(a.Tank, b.Tank), cmp.Compare(a.Code, b.Code))
	})
	return out
}

// Alarm is one alarm of a site, also a normal one; false if there never was one.
func (m *Monitor) Alarm(siteID string, key alarm.Key) (alarm.Alarm, bool) {
	if p := m.place(siteID); p != nil {
		if a := p.calls.Load().alarms.Find(key); a != nil {
			return *a, true
		}
	}
	return alarm.Alarm{}, false
}

// SiteName is what people call a site.
func (m *Monitor) SiteName(id string) string {
	if p := m.place(id); p != nil {
		return *p.name.Load()
	}
	return ""
}

// SiteRef is a site by id and name.
type SiteRef struct{ ID, Name string }

// Sites are all sites, by name.
func (m *Monitor) Sites() []SiteRef {
	var out []SiteRef
	for _, p := range m.sites() {
		out = append(out, SiteRef{p.id, *p.name.Load()})
	}
	slices.SortFunc(out, func(a, b SiteRef) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	return out
}

// KindOf is the kind of an alarm, nil for one that is not in the catalogue.
func KindOf(code account.Code) *alarm.Kind {
	for i := range kinds {
		if kinds[i].Code == code {
			return &kinds[i]
		}
	}
	return nil
}
