package corpus

import (
	"fmt"
	"slices"
	"time"

	"isohaline/internal/account"
	"isohaline/reliability"
)

// Verdict is what was made of a history.
type Verdict struct {
	// False are findings that nothing in the truth stands behind, while nothing
	// was wrong.
	False []account.Finding
	// Wrong are such findings after the onset: something was wrong, but not that.
	Wrong []account.Finding
	// FoundAfter is when the fault was first noticed, ToldAfter when it was
	// first named, since the onset; negative: never.
	FoundAfter, ToldAfter time.Duration
	// Misnamed says that another cause was named before the right one.
	Misnamed bool
	// Years is how long nothing was wrong.
	Years float64
}

const never = time.Duration(-1)

// Replay runs the account through a history and returns every finding as it
// began.
func Replay(h *History) ([]account.Finding, error) {
	a, err := account.New(h.Drawn, h.Settings)
	if err != nil {
		return nil, err
	}
	s := a.Begin(h.Began)
	var all []account.Finding
	keep := func(fs []account.Finding) {
		for _, f := range fs {
			if f.Ended.IsZero() {
				all = append(all, f)
			}
		}
	}
	next := h.Began
	for _, o := range h.Observations {
		// A server asks every ten minutes what did not come.
		for ; next.Before(o.At); next = next.Add(10 * time.Minute) {
			keep(a.Advance(&s, next))
		}
		fs, err := a.Observe(&s, o)
		if err != nil {
			return nil, fmt.Errorf("seed %d: %w", h.Seed, err)
		}
		keep(fs)
	}
	keep(a.Advance(&s, h.Ended.Add(account.ReorderWindow)))
	return all, nil
}

// Judge compares findings with the truth.
func (h *History) Judge(found []account.Finding) Verdict {
	v := Verdict{FoundAfter: never, ToldAfter: never, Years: h.Onset.Sub(h.Began).Hours() / reliability.HoursPerYear}
	var wants []account.Code
	if h.Fault != nil {
		wants = h.Fault.Wants(h.Kit)
	}
	named := false
	for _, f := range found {
		after := f.Found.Sub(h.Onset)
		switch {
		case f.Code == account.ReservoirEmptyBy && h.runsDry(f.Found):
			// True, whatever else is the matter.
			if slices.Contains(wants, f.Code) && after >= 0 {
				v.told(after, &named)
			}
		case f.Code == account.TopOffOverdue && !h.LatchedAt.IsZero() && !f.Found.Before(h.LatchedAt):
			// True: a latched controller fills no more.
			if after >= 0 && slices.Contains(wants, f.Code) {
				v.told(after, &named)
			}
		case h.Fault == nil || after < 0:
			v.False = append(v.False, f)
		case slices.Contains(wants, f.Code):
			v.told(after, &named)
		case slices.Contains(h.Fault.Follows, f.Code):
			v.notice(after)
		case !f.Found.Before(h.Over) && f.Code == account.EvaporationChanged && slices.Contains(wants, f.Code):
		default:
			v.Wrong = append(v.Wrong, f)
			v.notice(after)
			v.Misnamed = v.Misnamed || !named
		}
	}
	return v
}

func (v *Verdict) notice(after time.Duration) {
	if v.FoundAfter < 0 {
		v.FoundAfter = after
	}
}

func (v *Verdict) told(after time.Duration, named *bool) {
	v.notice(after)
	if v.ToldAfter < 0 {
		v.ToldAfter = after
	}
	*named = true
}

// runsDry says whether the reservoir, at the use of the day around it, would be
// empty before the next visit that came, or a day later.
func (h *History) runsDry(at time.Time) bool {
	visit := h.Ended
	for _, t := range h.visits {
		if t.After(at) {
			visit = t
			break
		}
	}
	if !h.EmptyAt.IsZero() && h.EmptyAt.After(at.Add(-day)) && h.EmptyAt.Before(visit.Add(day)) {
		return true
	}
	before, after := h.reservoirL(at.Add(-day)), h.reservoirL(at)
	if before < after { // filled within the day: use the day's other end
		before, after = h.reservoirL(at), h.reservoirL(at.Add(day/2))
		before = after + 2*(before-after)
	}
	use := before - after
	return use > 0 && after-use*(visit.Add(day).Sub(at).Hours()/24) <= 0
}

func (h *History) reservoirL(at time.Time) float64 {
	since := at.Sub(h.Began)
	i, _ := slices.BinarySearchFunc(h.truth, since, func(s sample, t time.Duration) int {
		if s.at < t {
			return -1
		}
		return 1
	})
	if i >= len(h.truth) {
		i = len(h.truth) - 1
	}
	if i < 0 {
		return 0
	}
	return h.truth[i].reservoirL
}
