package api

import "time"

// TankRef names a tank and the site it stands at.
type TankRef struct {
	ID       string `json:"id" example:"lobby-reef"`
	Name     string `json:"name" example:"Lobby reef"`
	SiteID   string `json:"siteId" example:"harbour-stair"`
	SiteName string `json:"siteName" example:"Harbour Stair Hotel"`
}

// Evidence is one number behind a finding.
type Evidence struct {
	Name     string    `json:"name"`
	Value    float64   `json:"value"`
	Expected float64   `json:"expected"`
	SD       float64   `json:"sd" doc:"standard deviation of the value"`
	Unit     string    `json:"unit"`
	At       time.Time `json:"at"`
}

// RuledOut is an explanation that was considered and dropped.
type RuledOut struct {
	Code string `json:"code"`
	Why  string `json:"why"`
}

// Finding is a change that a tank's account can defend.
type Finding struct {
	Code       string     `json:"code" example:"tank-leak"`
	Sentence   string     `json:"sentence"`
	Since      time.Time  `json:"since" doc:"when it most likely began"`
	Found      time.Time  `json:"found" doc:"when it was certain enough to say"`
	Ended      *time.Time `json:"ended,omitempty" doc:"absent while it goes on"`
	Confidence float64    `json:"confidence" minimum:"0" maximum:"1"`
	Class      int        `json:"class" minimum:"0" maximum:"4" doc:"harm class it leads to if nobody acts"`
	HarmAt     *time.Time `json:"harmAt,omitempty" doc:"when harm begins; absent if it does not lead to class 3"`
	Amount     float64    `json:"amount"`
	AmountSD   float64    `json:"amountSD"`
	AmountUnit string     `json:"amountUnit"`
	Evidence   []Evidence `json:"evidence"`
	RuledOut   []RuledOut `json:"ruledOut"`
}

// Estimate is a value with its standard deviation.
type Estimate struct {
	Value float64 `json:"value"`
	SD    float64 `json:"sd"`
}

// Band is a value with the limits of its 90 % interval.
type Band struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}
