package api

import (
	"context"
	"time"

	"isohaline/internal/server/hub"
)

// Hub is how the service itself stands.
type Hub struct {
	CatchingUp *CatchingUp  `json:"catchingUp,omitempty" doc:"absent once every tank is taken up"`
	Findings   []HubFinding `json:"findings" doc:"what is wrong with the service itself, the most urgent first; clients are told of their own tanks alone"`
}

// CatchingUp is how far the start is: tanks that are not taken up yet are in no
// list, and each of them answers with 503.
type CatchingUp struct {
	Done  int    `json:"done"`
	Total int    `json:"total"`
	Words string `json:"words" example:"catching up, 3 of 12 tanks"`
}

// HubFinding is something that is wrong with the service itself.
type HubFinding struct {
	Code     string    `json:"code" example:"store-fails"`
	Urgency  string    `json:"urgency" enum:"now,today,in time" doc:"now: people may not be told of what goes wrong at a tank"`
	TankID   string    `json:"tankId,omitempty" doc:"the tank that it is about"`
	Since    time.Time `json:"since"`
	Sentence string    `json:"sentence"`
	Do       string    `json:"do" doc:"what to do about it"`
}

func (a *API) hub(ctx context.Context, _ *struct{}) (*reply[Hub], error) {
	out := &reply[Hub]{Body: Hub{CatchingUp: a.catchingUp(), Findings: []HubFinding{}}}
	person := personOf(ctx)
	mends := staff.admits(person.Role)
	for _, f := range a.ownFindings() {
		if f.SiteID == "" && !mends || f.SiteID != "" && !person.sees(f.SiteID) {
			continue
		}
		if !mends {
			f.Do = "Tell whoever looks after the service."
		}
		out.Body.Findings = append(out.Body.Findings, showHubFinding(&f))
	}
	return out, nil
}

func showHubFinding(f *hub.Finding) HubFinding {
	return HubFinding{Code: string(f.Code), Urgency: string(f.Urgency), TankID: f.TankID, Since: f.Since, Sentence: f.Sentence, Do: f.Do}
}

// catchingUp is how far the start is, nil once it is over.
func (a *API) catchingUp() *CatchingUp {
	p := a.monitor.Progress()
	if p.Ready() {
		return nil
	}
	return &CatchingUp{Done: p.Done, Total: p.Total, Words: p.String()}
}
