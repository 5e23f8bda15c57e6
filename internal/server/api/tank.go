package api

import "time"

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
	LeakLitresDay        Estimate  `json:"leakLitresDay"`
	SalinityPSU          Estimate  `json:"salinityPSU"`
	PumpLitresMin        Estimate  `json:"pumpLitresMin"`
	ReservoirLitres      *Estimate `json:"reservoirLitres,omitempty"`
	ReservoirDays        *Band     `json:"reservoirDays,omitempty"`
}

type tankIn struct {
	Tank string `path:"tank" maxLength:"64" example:"lobby-reef"`
}

type tankOut struct{ Body Tank }

type sectionIn struct {
	tankIn
	Format string `query:"format" enum:"wide,narrow" default:"wide"`
}

type svgOut struct {
	ContentType  string `header:"Content-Type"`
	CacheControl string `header:"Cache-Control"`
	Body         []byte
}
