package api

import (
	"context"

	"isohaline/internal/store"
)

// Beliefs is what a tank's account believed, hour by hour or coarser, as columns
// of equal length.
type Beliefs struct {
	StepS                 float64    `json:"stepS" doc:"width of a point in seconds; 0: as it was noted, each hour"`
	T                     []float64  `json:"t" doc:"seconds since 1970, UTC; the start of each point"`
	SalinityPSU           []float64  `json:"salinityPSU"`
	SalinitySD            []float64  `json:"salinitySD" doc:"standard deviation of the salinity"`
	PumpLitresMin         []float64  `json:"pumpLitresMin" doc:"flow of the top-off pump"`
	PumpSD                []float64  `json:"pumpSD" doc:"standard deviation of the flow"`
	ExpectedLitresDay     []float64  `json:"expectedLitresDay" doc:"what a day's top-off was expected to be"`
	ExpectedLitresDayLow  []float64  `json:"expectedLitresDayLow" doc:"nine days in ten lie between low and high"`
	ExpectedLitresDayHigh []float64  `json:"expectedLitresDayHigh"`
	ReservoirDays         []*float64 `json:"reservoirDays" doc:"how long the reservoir was to last; null where nobody knew what was in it"`
	ReservoirDaysLow      []*float64 `json:"reservoirDaysLow" doc:"nine cases in ten lie between low and high"`
	ReservoirDaysHigh     []*float64 `json:"reservoirDaysHigh"`
}

func (a *API) beliefs(ctx context.Context, in *rangeIn) (*reply[Beliefs], error) {
	if err := between(in.From, in.To); err != nil {
		return nil, err
	}
	step, list, err := a.store.Beliefs(ctx, in.Tank, in.From, in.To)
	if err != nil {
		return nil, err
	}
	n := len(list)
	column := func(value func(*store.Belief) float64) []float64 {
		out := make([]float64, n)
		for i := range list {
			out[i] = value(&list[i])
		}
		return out
	}
	out := &reply[Beliefs]{Body: Beliefs{
		StepS:                 step.Seconds(),
		T:                     column(func(b *store.Belief) float64 { return seconds(b.At) }),
		SalinityPSU:           column(func(b *store.Belief) float64 { return b.SalinityPSU }),
		SalinitySD:            column(func(b *store.Belief) float64 { return b.SalinitySD }),
		PumpLitresMin:         column(func(b *store.Belief) float64 { return b.FlowLMin }),
		PumpSD:                column(func(b *store.Belief) float64 { return b.FlowSD }),
		ExpectedLitresDay:     column(func(b *store.Belief) float64 { return b.ExpectedLDay }),
		ExpectedLitresDayLow:  column(func(b *store.Belief) float64 { return b.ExpectedLowL }),
		ExpectedLitresDayHigh: column(func(b *store.Belief) float64 { return b.ExpectedHighL }),
		ReservoirDays:         make([]*float64, n),
		ReservoirDaysLow:      make([]*float64, n),
		ReservoirDaysHigh:     make([]*float64, n),
	}}
	for i, b := range list {
		if b.DaysLeft != nil {
			out.Body.ReservoirDays[i] = &b.DaysLeft.Middle
			out.Body.ReservoirDaysLow[i], out.Body.ReservoirDaysHigh[i] = &b.DaysLeft.Low, &b.DaysLeft.High
		}
	}
	return out, nil
}
