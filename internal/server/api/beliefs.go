package api

import "context"

// Beliefs is what a tank's account believed, hour by hour or coarser, as columns
// of equal length.
type Beliefs struct {
	StepS                 float64   `json:"stepS" doc:"width of a point in seconds; 0: as it was noted, each hour"`
	T                     []float64 `json:"t" doc:"seconds since 1970, UTC; the start of each point"`
	SalinityPSU           []float64 `json:"salinityPSU"`
	SalinitySD            []float64 `json:"salinitySD" doc:"standard deviation of the salinity"`
	PumpLitresMin         []float64 `json:"pumpLitresMin" doc:"flow of the top-off pump"`
	PumpSD                []float64 `json:"pumpSD" doc:"standard deviation of the flow"`
	ExpectedLitresDay     []float64 `json:"expectedLitresDay" doc:"what a day's top-off was expected to be"`
	ExpectedLitresDayLow  []float64 `json:"expectedLitresDayLow" doc:"nine days in ten lie between low and high"`
	ExpectedLitresDayHigh []float64 `json:"expectedLitresDayHigh"`
}

type beliefsOut struct{ Body Beliefs }

func (a *API) beliefs(ctx context.Context, in *rangeIn) (*beliefsOut, error) {
	return nil, later()
}
