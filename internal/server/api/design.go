package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"isohaline/internal/live"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/verify"
)

// SiteRef is a place with one or more tanks.
type SiteRef struct {
	ID    string    `json:"id"`
	Name  string    `json:"name"`
	Tanks []TankRef `json:"tanks"`
}

type sitesOut struct {
	Body struct {
		Sites      []SiteRef   `json:"sites"`
		CatchingUp *CatchingUp `json:"catchingUp,omitempty" doc:"tanks are still missing here; absent once every one is taken up"`
	}
}

type newTankIn struct {
	Body struct {
		SiteID   string `json:"siteId" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9-]*$" patternDescription:"small letters, digits, -"`
		SiteName string `json:"siteName,omitempty" maxLength:"120" doc:"for a site that is new"`
		TankID   string `json:"tankId" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9-]*$" patternDescription:"small letters, digits, -"`
		File     string `json:"file" maxLength:"262144" doc:"the tank file"`
	}
}

// TankFile is one saved version of a tank's description.
type TankFile struct {
	Version int       `json:"version"`
	At      time.Time `json:"at"`
	By      string    `json:"by"`
	Note    string    `json:"note" doc:"why, in the words of who saved it"`
	Text    string    `json:"text" doc:"the tank file, byte for byte as it was saved"`
}

// Version is a saved version without its text.
type Version struct {
	Version int       `json:"version"`
	At      time.Time `json:"at"`
	By      string    `json:"by"`
	Note    string    `json:"note" doc:"why, in the words of who saved it"`
}

type versionsOut struct {
	Body struct {
		Versions []Version `json:"versions" doc:"newest first"`
	}
}

type versionIn struct {
	TankIn
	Version int `path:"version" minimum:"1"`
}

type saveFileIn struct {
	TankIn
	Body struct {
		Text string `json:"text" maxLength:"262144"`
		Note string `json:"note,omitempty" maxLength:"500"`
		Base int    `json:"base" minimum:"0" doc:"the version that was edited; another one saved meanwhile is a conflict"`
	}
}

type DraftIn struct {
	Body struct {
		Text string `json:"text" maxLength:"262144"`
	}
}

type draftSectionIn struct {
	Format string `query:"format" enum:"wide,narrow" default:"wide"`
	DraftIn
}

// Fault is one line of a check: a fault, what it does and what stops it.
type Fault struct {
	ID         string `json:"id"`
	Sentence   string `json:"sentence"`
	Class      int    `json:"class"`
	Unattended int    `json:"unattended" doc:"the class reached if nobody came"`
	StoppedBy  string `json:"stoppedBy"`
	Season     string `json:"season"`
}

// Change is one thing to do, and what it buys.
type Change struct {
	Words string   `json:"words"`
	Buys  []string `json:"buys"`
}

// Setting is one line of the commissioning sheet.
type Setting struct {
	Name   string `json:"name"`
	Value  string `json:"value"`
	Given  bool   `json:"given" doc:"the tank file sets it"`
	Reason string `json:"reason"`
}

// Check is the design check's answer, the same as the command line gives.
type Check struct {
	Accepted        bool      `json:"accepted"`
	Because         string    `json:"because"`
	Failing         int       `json:"failing" doc:"single faults at class 3 or worse"`
	Faults          []Fault   `json:"faults" doc:"every single fault, worst first"`
	Changes         []Change  `json:"changes"`
	Settings        []Setting `json:"settings"`
	Problems        []string  `json:"problems" doc:"about the geometry"`
	MarginLitres    float64   `json:"marginLitres" doc:"from the highest level after drain-down to the rim; negative: it spills"`
	DrainDownLitres float64   `json:"drainDownLitres"`
	DumpSafeLitres  float64   `json:"dumpSafeLitres" doc:"the most fresh water that may run in at once"`
	TankYears       float64   `json:"tankYears" doc:"simulated time behind the answer"`
}

func (a *API) sites(ctx context.Context, _ *struct{}) (*sitesOut, error) {
	out := &sitesOut{}
	out.Body.CatchingUp = a.catchingUp()
	out.Body.Sites = []SiteRef{}
	person := personOf(ctx)
	tanks := a.monitor.Tanks()
	for _, s := range a.monitor.Sites() {
		if !person.sees(s.ID) {
			continue
		}
		ref := SiteRef{ID: s.ID, Name: s.Name, Tanks: []TankRef{}}
		for i := range tanks {
			if tanks[i].SiteID == s.ID {
				ref.Tanks = append(ref.Tanks, a.refOf(&tanks[i]))
			}
		}
		out.Body.Sites = append(out.Body.Sites, ref)
	}
	return out, nil
}

func (a *API) newTank(ctx context.Context, in *newTankIn) (*reply[Tank], error) {
	b := &in.Body
	person := personOf(ctx)
	if person.Role != RoleOperator && !person.sees(b.SiteID) {
		return nil, refused(http.StatusForbidden, "body.siteId", b.SiteID, "is not one of your sites", "ask an operator")
	}
	err := a.monitor.AddTank(ctx, monitor.NewTank{SiteID: b.SiteID, SiteName: b.SiteName, TankID: b.TankID, File: b.File, By: person.Name})
	if err != nil {
		return nil, err
	}
	v, _ := a.monitor.Tank(b.TankID)
	a.tellTank(&v)
	return &reply[Tank]{Body: a.showTank(&v)}, nil
}

func (a *API) tankFile(ctx context.Context, in *TankIn) (*reply[TankFile], error) {
	const newest = 0
	d, err := a.store.Description(ctx, in.Tank, newest)
	return showFile(&d), err
}

func (a *API) version(ctx context.Context, in *versionIn) (*reply[TankFile], error) {
	d, err := a.store.Description(ctx, in.Tank, int64(in.Version))
	return showFile(&d), err
}

func (a *API) versions(ctx context.Context, in *TankIn) (*versionsOut, error) {
	list, err := a.store.Descriptions(ctx, in.Tank)
	if err != nil {
		return nil, err
	}
	out := &versionsOut{}
	out.Body.Versions = listed(list, func(d *store.Description) Version {
		return Version{Version: int(d.Version), At: d.Saved, By: d.SavedBy, Note: d.Note}
	})
	return out, nil
}

func (a *API) saveTankFile(ctx context.Context, in *saveFileIn) (*reply[TankFile], error) {
	b := &in.Body
	d, err := a.monitor.Redescribe(ctx, a.edit(ctx), in.Tank, monitor.Draft{Text: b.Text, Note: b.Note, Base: int64(b.Base)})
	if err != nil {
		return nil, err
	}
	if v, known := a.monitor.Tank(in.Tank); known {
		a.tellTank(&v) // by its new name
	}
	return showFile(&d), nil
}

func showFile(d *store.Description) *reply[TankFile] {
	return &reply[TankFile]{Body: TankFile{Version: int(d.Version), At: d.Saved, By: d.SavedBy, Note: d.Note, Text: d.YAML}}
}

// draftName is what problems call a file that is not saved.
const draftName = "draft"

func (a *API) checkDraft(ctx context.Context, in *DraftIn) (*reply[Check], error) {
	sheet, err := live.Read(draftName, in.Body.Text)
	if err != nil {
		return nil, err
	}
	check, err := a.check(ctx, in.Body.Text, sheet.Tank)
	return &reply[Check]{Body: check}, err
}

// check tries every single fault on the tank of a text, once.
func (a *API) check(ctx context.Context, text string, tank *tankfile.Tank) (Check, error) {
	return a.checks.answer(text, func() (Check, error) {
		r, err := verify.Check(ctx, tank, verify.Options{SinglesOnly: true})
		if err != nil {
			return Check{}, fmt.Errorf("checking a draft: %w", err)
		}
		return showCheck(r), nil
	})
}

func (a *API) draftSection(ctx context.Context, in *draftSectionIn) (*svgOut, error) {
	sheet, err := live.Read(draftName, in.Body.Text)
	if err != nil {
		return nil, err
	}
	return drawn(section(ctx, sheet, nil, in.Format))
}

func showCheck(r *verify.Report) Check {
	g := &r.Geometry
	return Check{
		Accepted: r.Verdict.Accepted, Because: r.Verdict.Because, Failing: r.Verdict.Failing,
		Problems:     append([]string{}, g.Problems...),
		MarginLitres: finite(g.MarginM3 * litresPerM3), DrainDownLitres: finite(g.DrainDownM3() * litresPerM3),
		DumpSafeLitres: finite(g.DumpSafeM3 * litresPerM3), TankYears: r.TankYears,
		Faults: listed(r.Singles, func(row *verify.Row) Fault {
			return Fault{ID: row.ID(), Sentence: row.Sentence, Class: int(row.Class),
				Unattended: int(row.Unattended), StoppedBy: string(row.StoppedBy), Season: row.Season}
		}),
		Changes: listed(r.Changes, func(c *verify.Change) Change {
			return Change{Words: c.Words, Buys: append([]string{}, c.Buys...)}
		}),
		Settings: listed(r.Settings.Items, func(s *verify.Setting) Setting {
			return Setting{Name: s.Name, Value: s.Value, Given: s.Given, Reason: s.Reason}
		}),
	}
}
