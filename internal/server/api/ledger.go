package api

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"isohaline/internal/store"
)

// LedgerDay is what went in on one day against what was expected to.
type LedgerDay struct {
	Day      string  `json:"day" format:"date" doc:"UTC"`
	Litres   float64 `json:"litres" doc:"topped up"`
	Fills    int     `json:"fills"`
	Expected *Band   `json:"expected,omitempty" doc:"what the air takes, from the physics and what the tank has shown, as it was believed on that day; nine days in ten. Absent if nothing was believed then"`
}

type ledgerOut struct {
	Body struct {
		Days []LedgerDay `json:"days" doc:"oldest first, from the day of the first reading on; days without a fill are there too"`
	}
}

// TankEvent is something that happened at a tank.
type TankEvent struct {
	At    time.Time `json:"at"`
	Kind  string    `json:"kind" enum:"fill,contact,finding,hand"`
	Words string    `json:"words" example:"the top-off pump ran for 42 s"`
	By    string    `json:"by,omitempty" doc:"the person"`
}

type eventsOut struct {
	Body struct {
		Events []TankEvent `json:"events" doc:"newest first"`
		More   bool        `json:"more" doc:"there were more in this range; ask for less"`
	}
}

type findingsOut struct {
	Body struct {
		Findings []Finding `json:"findings" doc:"newest first, the ended ones too"`
	}
}

const dayLayout = "2006-01-02"

func (a *API) ledger(ctx context.Context, in *rangeIn) (*ledgerOut, error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	out := &ledgerOut{}
	out.Body.Days = []LedgerDay{}
	first, err := a.monitor.First(ctx, in.Tank)
	if err != nil {
		return nil, err
	}
	from, to := latest(in.From, first).UTC().Truncate(day), in.To
	if now := a.now(); to.After(now) {
		to = now
	}
	if first.IsZero() || !from.Before(to) {
		return out, nil
	}
	fills, err := a.monitor.Fills(ctx, in.Tank, from, to)
	if err != nil {
		return nil, err
	}
	beliefs, err := a.store.BeliefsByDay(ctx, in.Tank, from, to)
	if err != nil {
		return nil, err
	}
	var flows []float64 // of the pump, by day
	for d := from; d.Before(to); d = d.Add(day) {
		line, flow := LedgerDay{Day: d.Format(dayLayout)}, v.Estimate.FlowLMin
		if len(beliefs) > 0 && beliefs[0].At.Equal(d) {
			b := &beliefs[0]
			line.Expected, flow = &Band{b.ExpectedLDay, b.ExpectedLowL, b.ExpectedHighL}, b.FlowLMin
			beliefs = beliefs[1:]
		}
		out.Body.Days, flows = append(out.Body.Days, line), append(flows, flow)
	}
	for _, f := range fills {
		if f.At.Before(from) {
			continue // it ended on the first day
		}
		i := int(f.At.Sub(from) / day)
		out.Body.Days[i].Fills++
		out.Body.Days[i].Litres += f.Ran.Minutes() * flows[i]
	}
	return out, nil
}

// latest is the later of two times.
func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// mostEvents is how many events one answer has.
const mostEvents = 500

func (a *API) events(ctx context.Context, in *rangeIn) (*eventsOut, error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	var all []TankEvent
	fills, err := a.monitor.Fills(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	for _, f := range fills {
		all = append(all, TankEvent{At: f.At, Kind: "fill", Words: fmt.Sprintf("the top-off pump ran for %.0f s", math.Round(f.Ran.Seconds()))})
	}
	turns, err := a.monitor.Turns(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	for _, t := range turns {
		all = append(all, TankEvent{At: t.At, Kind: "contact", Words: t.Words})
	}
	found, err := a.store.Findings(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	for i := range found {
		all = append(all, TankEvent{At: found[i].Found, Kind: "finding", Words: found[i].Sentence})
	}
	hand, err := a.store.HandReadings(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	for i := range hand {
		all = append(all, TankEvent{At: hand[i].At, Kind: "hand", Words: handWords(&hand[i]), By: hand[i].ReadBy})
	}
	slices.SortStableFunc(all, func(x, y TankEvent) int { return y.At.Compare(x.At) })
	out := &eventsOut{}
	out.Body.More = len(all) > mostEvents
	out.Body.Events = append([]TankEvent{}, all[:min(len(all), mostEvents)]...)
	return out, nil
}

func (a *API) findings(ctx context.Context, in *rangeIn) (*findingsOut, error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	list, err := a.store.Findings(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	out := &findingsOut{}
	out.Body.Findings = listed(list, func(f *store.Finding) Finding { return showFinding(&f.Finding, a.now()) })
	return out, nil
}
