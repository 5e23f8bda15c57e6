package monitor

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/alarm"
	"isohaline/internal/store"
)

// View is a tank as it is believed to be now. It is a copy.
type View struct {
	ID, SiteID string
	Sheet      *Sheet
	Lasts      Lasts
	Findings   []account.Finding // open ones, worst first
	LastHeard  time.Time         // zero: never
	Estimate   account.Estimate
}

// Tank is one tank, false if it is not under watch.
func (m *Monitor) Tank(id string) (View, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	t := m.tanks[id]
	if t == nil {
		return View{}, false
	}
	return t.view(), true
}

// Tanks are all tanks, by id.
func (m *Monitor) Tanks() []View {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := make([]View, 0, len(m.tanks))
	for _, t := range m.tanks {
		out = append(out, t.view())
	}
	slices.SortFunc(out, func(a, b View) int { return cmp.Compare(a.ID, b.ID) })
	return out
}

func (t *tank) view() View {
	v := View{ID: t.id, SiteID: t.siteID, Sheet: t.sheet, Lasts: Lasts{},
		Findings: t.account.Findings(&t.state), Estimate: t.account.Estimate(&t.state)}
	for channel, last := range t.lasts {
		v.Lasts[channel] = last
		if last.At.After(v.LastHeard) {
			v.LastHeard = last.At
		}
	}
	for code, f := range t.plain {
		if !slices.ContainsFunc(v.Findings, func(g account.Finding) bool { return g.Code == code }) {
			v.Findings = append(v.Findings, f)
		}
	}
	slices.SortStableFunc(v.Findings, func(a, b account.Finding) int { return Worse(&a, &b) })
	return v
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

// SiteOfTank is where a tank stands.
func (m *Monitor) SiteOfTank(id string) (siteID string, known bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if t := m.tanks[id]; t != nil {
		return t.siteID, true
	}
	return "", false
}

// Alarms are all alarms that are not normal, the most urgent first.
func (m *Monitor) Alarms() []store.SiteAlarm {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []store.SiteAlarm
	for _, p := range m.places {
		for _, a := range p.alarms.Alarms {
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
	m.mu.Lock()
	defer m.mu.Unlock()
	if s := m.places[siteID]; s != nil {
		if a := s.alarms.Find(key); a != nil {
			return *a, true
		}
	}
	return alarm.Alarm{}, false
}

// SiteName is what people call a site.
func (m *Monitor) SiteName(id string) string {
	m.mu.Lock()
	defer m.mu.Unlock()
	if s := m.places[id]; s != nil {
		return s.name
	}
	return ""
}

// SiteRef is a site by id and name.
type SiteRef struct{ ID, Name string }

// Sites are all sites, by name.
func (m *Monitor) Sites() []SiteRef {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := make([]SiteRef, 0, len(m.places))
	for _, p := range m.places {
		out = append(out, SiteRef{p.id, p.name})
	}
	slices.SortFunc(out, func(a, b SiteRef) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	return out
}

// Channels are the channels that said something, by name.
func (l Lasts) Channels() []string { return slices.Sorted(maps.Keys(l)) }

// KindOf is the kind of an alarm, nil for one that is not in the catalogue.
func KindOf(code account.Code) *alarm.Kind {
	for i := range kinds {
		if kinds[i].Code == code {
			return &kinds[i]
		}
	}
	return nil
}
