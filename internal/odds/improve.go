package odds

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
	"isohaline/reliability"
)

// Improving says how improvements are looked for.
type Improving struct {
	Options
	// Prices of changes by their ID, in whatever money the caller counts.
	Prices map[string]float64
	// Progress, if set, is told how many of how many changes are tried.
	Progress func(done, total int)
}

// Improvement is one change, checked by the twin and reckoned like the tank
// itself.
type Improvement struct {
	ID, Words string
	// PerYear is the frequency with it, Removes what it takes away.
	PerYear, Removes [harmCount]float64
	// Accepted is the check's verdict on the changed tank.
	Accepted bool
	// Price as given, 0 if not; RemovesPerMoney is how much Danger a year one
	// unit of money takes away.
	Price, RemovesPerMoney float64
	Sentence               string
}

// Improve tries every change that the check knows, a few more, and a proof test
// twice as often, each by itself. It lists those that make Danger rarer: the
// priced ones first, by what they take away for their money; then the others by
// what they take away.
func Improve(ctx context.Context, r *verify.Report, o Improving) ([]Improvement, error) {
	proposals := proposalsFor(r)
	if err := checkPrices(o.Prices, proposals); err != nil {
		return nil, err
	}
	before, err := expected(ctx, r, o.Options)
	if err != nil {
		return nil, err
	}
	var out []Improvement
	for n, p := range proposals {
		im := Improvement{ID: p.ID, Words: p.Words, Price: o.Prices[p.ID]}
		better, err := im.try(ctx, p.Tank, r.Units, o.Options, before)
		if err != nil {
			return nil, fmt.Errorf("trying %s: %w", p.ID, err)
		}
		if better {
			out = append(out, im)
		}
		if o.Progress != nil {
			o.Progress(n+1, len(proposals))
		}
	}
	rank(out)
	return out, nil
}

func rank(out []Improvement) {
	slices.SortStableFunc(out, func(a, b Improvement) int {
		return cmp.Or(cmp.Compare(b.RemovesPerMoney, a.RemovesPerMoney), cmp.Compare(b.Removes[Danger], a.Removes[Danger]))
	})
}

// expected are a report's frequencies with every rate at its mean.
func expected(ctx context.Context, r *verify.Report, o Options) ([harmCount]float64, error) {
	f, err := plantForest(ctx, r, o)
	if err != nil {
		return [harmCount]float64{}, err
	}
	means := f.w.means()
	return f.perYear(means, f.w.momentsAt(means, f.w.intervalH))
}

// noticeable is the share of the frequency that a change must take away to be
// worth a line.
const noticeable = 0.01

func (im *Improvement) try(ctx context.Context, s *tankfile.Tank, u units.System, o Options, before [harmCount]float64) (better bool, err error) {
	s, o = withoutImpossible(s, o)
	r, err := verify.Check(ctx, s, verify.Options{Units: u})
	if err != nil {
		return false, err
	}
	im.PerYear, err = expected(ctx, r, o)
	var refused *reliability.InputError
	if errors.As(err, &refused) {
		return false, nil // the changed tank does harm with nothing wrong: no help
	}
	if err != nil {
		return false, err
	}
	im.Accepted = r.Verdict.Accepted
	for kind := range harmCount {
		im.Removes[kind] = before[kind] - im.PerYear[kind]
	}
	if im.Price > 0 {
		im.RemovesPerMoney = im.Removes[Danger] / im.Price
	}
	im.Sentence = im.sentence(before[Danger])
	return im.Removes[Danger] > noticeable*before[Danger], nil
}

// withoutImpossible leaves out what was said of faults that a changed tank can no
// longer have.
func withoutImpossible(s *tankfile.Tank, o Options) (*tankfile.Tank, Options) {
	of := plant.FaultsOf(s)
	gone := func(id string) bool {
		return !slices.ContainsFunc(of, func(f plant.Fault) bool { return f.ID == id })
	}
	o.Rates = maps.Clone(o.Rates)
	maps.DeleteFunc(o.Rates, func(id, _ string) bool { return gone(id) })
	after := *s
	after.Rates = slices.DeleteFunc(slices.Clone(s.Rates), func(r tankfile.Rate) bool { return gone(r.Fault) })
	after.CommonCauses = nil
	for _, c := range s.CommonCauses {
		left := slices.DeleteFunc(c.FaultIDs(), gone)
		if len(left) >= 2 {
			c.Faults = strings.Join(left, ", ")
			after.CommonCauses = append(after.CommonCauses, c)
		}
	}
	return &after, o
}

func (im *Improvement) sentence(before float64) string {
	share := 100 * im.Removes[Danger] / before
	words := fmt.Sprintf("%s: takes away %s %% of the serious harm", capitalised(im.Words), twoDigits(share))
	switch now, then := Once(im.PerYear[Danger]), Once(before); {
	case im.PerYear[Danger] == 0:
		words = capitalised(im.Words) + ": then no combination that was tried does serious harm"
	case now != then:
		words += fmt.Sprintf(" (%s instead of %s)", now, then)
	}
	if im.Price > 0 {
		words += fmt.Sprintf("; at a price of %s that is %s %% of it per unit of money",
			strconv.FormatFloat(im.Price, 'f', -1, 64), twoDigits(share/im.Price))
	}
	return words + "."
}

// A run timer is set so much over the controller's own limit that it never cuts
// into an ordinary fill, and to full steps of its dial. Judgement, no source.
const (
	timerOverCap = 1.2
	timerStepS   = 10
)

// proposalsFor are the check's changes and those that only odds can judge.
func proposalsFor(report *verify.Report) []verify.Proposal {
	s, u := report.Tank, report.Units
	out := verify.Proposals(s, u)
	listed := func(id string) bool {
		return slices.ContainsFunc(out, func(p verify.Proposal) bool { return p.ID == id })
	}
	// The check only shrinks a reservoir that does harm by itself.
	if r := s.TopOff.Reservoir; r != nil && !listed("smaller-reservoir") {
		after, half := *s, *r
		half.FillHeightM = (r.FillHeightM + r.PumpIntakeHeightM) / 2
		if low := r.LowSensor; low != nil {
			half.LowSensor = &tankfile.ReservoirLow{HeightM: min(low.HeightM, (half.FillHeightM+r.PumpIntakeHeightM)/2)}
		}
		after.TopOff.Reservoir = &half
		out = append(out, verify.Proposal{ID: "half-reservoir", Words: "fill the reservoir only half as high above the pump's intake", Tank: &after})
	}
	if w, c := s.TopOff.Watch, s.TopOff.Ceiling; w != nil && c != nil && c.Group != "" && c.Group == w.Group {
		after, other := *s, *c
		other.Kind, other.Group = "float", ""
		if w.Kind == other.Kind {
			other.Kind = "optical"
		}
		after.TopOff.Ceiling = &other
		out = append(out, verify.Proposal{ID: "ceiling-of-another-kind", Words: "replace the ceiling sensor by one of another kind (" + other.Kind + "), so that both do not fail together", Tank: &after})
	}
	if g := report.Settings.Guard; g != nil && s.TopOff.Pump != nil && s.TopOff.RunTimerS == 0 {
		after := *s
		after.TopOff.RunTimerS = math.Ceil(timerOverCap*g.HardCap.Seconds()/timerStepS) * timerStepS
		out = append(out, verify.Proposal{ID: "run-timer", Words: "put a run timer with a relay of its own, set to " + u.Duration(after.TopOff.RunTimerS) + ", into the pump's supply", Tank: &after})
	}
	after := *s
	after.People.ProofTestDays /= 2
	return append(out, verify.Proposal{ID: "test-twice-as-often", Words: "do the proof test twice as often", Tank: &after})
}

func checkPrices(prices map[string]float64, proposals []verify.Proposal) error {
	var known []string
	for _, p := range proposals {
		known = append(known, p.ID)
	}
	for _, id := range slices.Sorted(maps.Keys(prices)) {
		place := "price of " + id
		if !slices.Contains(known, id) {
			return refuse(place, "name one that this tank leaves room for: "+strings.Join(known, ", "), "there is no such change")
		}
		if v := prices[id]; !(v > 0) || math.IsInf(v, 1) {
			return refuse(place, "give an amount of money above 0, or none", "%v is not a price", v)
		}
	}
	return nil
}
