package api

import (
	"context"

	"isohaline/internal/chart"
	"isohaline/internal/odds"
	"isohaline/internal/report"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// Odds is how likely the harm is: estimates from generic rates, never a
// certificate.
type Odds struct {
	Refused        string      `json:"refused,omitempty" doc:"why there is no answer; then everything else is empty"`
	Lead           []string    `json:"lead" doc:"what the figures are; to be read before any of them"`
	Safe           string      `json:"safe,omitempty" doc:"what no fault can do, however likely it is"`
	Harms          []OddsHarm  `json:"harms"`
	Dominating     []OddsCause `json:"dominating" doc:"what leads to serious harm most often"`
	Testing        string      `json:"testing" doc:"what the proof test buys, in a sentence"`
	IntervalDays   float64     `json:"intervalDays" doc:"between two proof tests now"`
	KneeDays       float64     `json:"kneeDays" doc:"testing more often than this buys less than half"`
	FloorPerYear   float64     `json:"floorPerYear" doc:"serious harm that no testing can take away"`
	SkipFactor     float64     `json:"skipFactor" doc:"how many times as likely one skipped test makes serious harm until the next"`
	Curve          []OddsPoint `json:"curve" doc:"serious harm against the time between tests"`
	DrawingWide    string      `json:"drawingWide" doc:"the curve as SVG; empty where there is none"`
	DrawingNarrow  string      `json:"drawingNarrow" doc:"the same for a narrow page"`
	Notes          []string    `json:"notes" doc:"how far to trust it"`
	InherentlySafe bool        `json:"inherentlySafe"`
}

// OddsHarm is one harm with its frequency and band.
type OddsHarm struct {
	Name        string  `json:"name"`
	Expected    string  `json:"expected" example:"once in 59 years"`
	Band        string  `json:"band" example:"28 to 210 years" doc:"90 % of what is believed; empty where no combination leads there"`
	Ways        string  `json:"ways"`
	PerYear     float64 `json:"perYear"`
	LowPerYear  float64 `json:"lowPerYear"`
	HighPerYear float64 `json:"highPerYear"`
}

// OddsCause is a combination of faults.
type OddsCause struct {
	Share string `json:"share" example:"30 %"`
	Harm  string `json:"harm"`
	Why   string `json:"why"`
}

// OddsPoint is one interval between tests.
type OddsPoint struct {
	Days        float64 `json:"days"`
	PerYear     float64 `json:"perYear"`
	LowPerYear  float64 `json:"lowPerYear"`
	HighPerYear float64 `json:"highPerYear"`
}

// draftOdds tries the pairs, too, which takes seconds: so it is a question of
// its own, and only one is worked on at a time, because the service works beside it.
func (a *API) draftOdds(ctx context.Context, in *DraftIn) (*reply[Odds], error) {
	s, _, err := tankfile.Read(draftName, []byte(in.Body.Text))
	if err != nil {
		return nil, err
	}
	body, err := a.odds.answer(in.Body.Text, func() (Odds, error) { return a.workOutOdds(ctx, s) })
	return &reply[Odds]{Body: body}, err
}

func (a *API) workOutOdds(ctx context.Context, s *tankfile.Tank) (Odds, error) {
	select {
	case a.reckoning <- struct{}{}:
		defer func() { <-a.reckoning }()
	case <-ctx.Done():
		return Odds{}, ctx.Err()
	}
	r, err := verify.Check(ctx, s, verify.Options{})
	if err != nil {
		return Odds{}, err
	}
	likely := &report.Odds{}
	if likely.Answer, err = odds.Estimate(ctx, r, odds.Options{}); err != nil {
		if ctx.Err() != nil {
			return Odds{}, err
		}
		likely = report.NoOdds(err)
	}
	return showOdds(r, likely)
}

func showOdds(r *verify.Report, likely *report.Odds) (Odds, error) {
	words := report.LikelyOf(r, likely)
	out := Odds{Refused: words.Refused, Lead: append([]string{}, words.Lead...), Safe: words.Safe, InherentlySafe: words.Safe != "",
		Testing: words.Testing, Notes: append([]string{}, words.Notes...),
		Dominating: listed(words.Dominating, func(c *report.DominantLine) OddsCause { return OddsCause(*c) }),
		Harms:      []OddsHarm{}, Curve: []OddsPoint{}}
	a := likely.Answer
	if a == nil {
		return out, nil
	}
	for i, h := range words.Harms {
		f := a.Harms[i]
		out.Harms = append(out.Harms, OddsHarm{Name: h.Name, Expected: h.Expected, Band: h.Band, Ways: h.Ways,
			PerYear: finite(f.PerYear), LowPerYear: finite(f.Low), HighPerYear: finite(f.High)})
	}
	t := &a.Testing
	out.IntervalDays, out.KneeDays = finite(t.IntervalDays), finite(t.KneeDays)
	out.FloorPerYear, out.SkipFactor = finite(t.FloorPerYear), finite(t.SkipFactor)
	out.Curve = listed(t.Curve, func(p *odds.Point) OddsPoint {
		return OddsPoint{Days: p.Days, PerYear: finite(p.PerYear[odds.Danger]), LowPerYear: finite(p.Low), HighPerYear: finite(p.High)}
	})
	drawing := report.Testing(a)
	if drawing == nil {
		return out, nil
	}
	for _, d := range []struct {
		as   chart.Format
		into *string
	}{{chart.Wide, &out.DrawingWide}, {chart.Narrow, &out.DrawingNarrow}} {
		svg, err := drawing.SVG(d.as)
		if err != nil {
			return out, err
		}
		*d.into = string(svg)
	}
	return out, nil
}
