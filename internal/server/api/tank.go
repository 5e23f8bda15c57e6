package api

import (
	"context"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/chart"
	"isohaline/internal/live"
	"isohaline/internal/server/monitor"
	"isohaline/internal/units"
)

// Tank is everything its page shows at once.
type Tank struct {
	TankRef
	Place        string     `json:"place"`
	SystemLitres float64    `json:"systemLitres" doc:"water in display and sump as running"`
	TargetPSU    float64    `json:"targetPSU"`
	TargetTempC  float64    `json:"targetTempC"`
	HasSump      bool       `json:"hasSump"`
	Bounded      bool       `json:"bounded" doc:"the top-off comes from a reservoir, not from a line without end"`
	Live         Live       `json:"live"`
	Account      *Account   `json:"account,omitempty" doc:"absent until the account has heard anything"`
	Findings     []Finding  `json:"findings" doc:"what goes on now, worst first"`
	LastHeard    *time.Time `json:"lastHeard,omitempty"`
}

// Live is what the sensors said last. An absent contact has not been heard of.
type Live struct {
	LevelMM    *Reading `json:"levelMM,omitempty" doc:"in the return chamber above its floor"`
	TempC      *Reading `json:"tempC,omitempty"`
	Watch      *Contact `json:"watch,omitempty"`
	Ceiling    *Contact `json:"ceiling,omitempty"`
	Floor      *Contact `json:"floor,omitempty"`
	Reservoir  *Contact `json:"reservoir,omitempty" doc:"the low sensor of the reservoir"`
	ReturnPump *Contact `json:"returnPump,omitempty"`
	TopOffPump *Contact `json:"topOffPump,omitempty"`
}

// Reading is a number at a time.
type Reading struct {
	Value float64   `json:"value"`
	At    time.Time `json:"at"`
}

// Contact is a two-state input: on is wet for a sensor, running for a pump.
type Contact struct {
	On bool      `json:"on"`
	At time.Time `json:"at" doc:"when it was last said"`
}

// Account is what the water account and the salt account believe now.
type Account struct {
	At                   time.Time `json:"at"`
	EvaporationLitresDay Estimate  `json:"evaporationLitresDay"`
	ExpectedLitresDay    Band      `json:"expectedLitresDay" doc:"what a day's top-off is expected to be"`
	LeakLitresDay        Estimate  `json:"leakLitresDay"`
	SalinityPSU          Estimate  `json:"salinityPSU"`
	PumpLitresMin        Estimate  `json:"pumpLitresMin"`
	ReservoirLitres      *float64  `json:"reservoirLitres,omitempty"`
	ReservoirDays        *Band     `json:"reservoirDays,omitempty"`
}

type TankIn struct {
	Tank string `path:"tank" maxLength:"64" example:"lobby-reef"`
}

type sectionIn struct {
	TankIn
	Format string `query:"format" enum:"wide,narrow" default:"wide"`
}

type svgOut struct {
	ContentType  string `header:"Content-Type"`
	CacheControl string `header:"Cache-Control"`
	Body         []byte
}

func (a *API) tank(ctx context.Context, in *TankIn) (*reply[Tank], error) {
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	return &reply[Tank]{Body: a.showTank(&v)}, nil
}

const (
	litresPerM3 = 1000
	mmPerM      = 1000
)

func (a *API) showTank(v *monitor.View) Tank {
	s, g := v.Sheet.Tank, &v.Sheet.Report.Geometry
	return Tank{
		TankRef: a.refOf(v), Place: s.Place, SystemLitres: g.SystemM3 * litresPerM3,
		TargetPSU: s.Water.SalinityPSU, TargetTempC: s.Water.TempC,
		HasSump: s.HasSump(), Bounded: s.TopOff.Reservoir != nil && s.TopOff.Reservoir.Refill == nil,
		Live: liveNow(v.Lasts), Account: heard(v), Findings: showFindings(v.Findings, a.now()), LastHeard: known(v.LastHeard),
	}
}

// heard is what the account believes, nil while nothing has been heard of the
// tank.
func heard(v *monitor.View) *Account {
	if v.LastHeard.IsZero() {
		return nil
	}
	b := believed(v)
	return &b
}

func liveNow(lasts live.Lasts) Live {
	reading := func(name string, scale float64) *Reading {
		last, ok := lasts[name]
		if !ok {
			return nil
		}
		return &Reading{Value: last.Value * scale, At: last.At}
	}
	contact := func(name string) *Contact {
		last, ok := lasts[name]
		if !ok {
			return nil
		}
		return &Contact{On: last.Value != 0, At: last.At}
	}
	return Live{
		LevelMM: reading(channel.Level, mmPerM), TempC: reading(channel.WaterTemp, 1),
		Watch: contact(channel.WatchLevel), Ceiling: contact(channel.CeilingLevel), Floor: contact(channel.Floor),
		Reservoir: contact(channel.Reservoir), ReturnPump: contact(channel.ReturnPump), TopOffPump: contact(channel.TopOffPump),
	}
}

func (a *API) tankSection(ctx context.Context, in *sectionIn) (*svgOut, error) {
	v, err := a.view(in.Tank)
	if err != nil {
		return nil, err
	}
	return drawn(section(ctx, v.Sheet, v.Lasts, in.Format))
}

func drawn(svg []byte, err error) (*svgOut, error) {
	if err != nil {
		return nil, err
	}
	return &svgOut{ContentType: "image/svg+xml", CacheControl: "no-store", Body: svg}, nil
}

func formatOf(word string) chart.Format {
	if word == "narrow" {
		return chart.Narrow
	}
	return chart.Wide
}

func systemOf(p *Person) units.System {
	if p.Units == "us" {
		return units.US
	}
	return units.Metric
}
