package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
)

// Kept is what a person may change of a site or a tank beside its tank file.
type Kept struct {
	Name     string `json:"name" minLength:"1" maxLength:"120" pattern:"\\S" patternDescription:"more than blanks"`
	Archived bool   `json:"archived" doc:"not monitored, and not among Rounds; what devices report is kept, and nobody is alarmed"`
}

// Archive is what is archived; a site with all its tanks.
type Archive struct {
	Sites []ArchivedSite `json:"sites"`
	Tanks []ArchivedTank `json:"tanks" doc:"those of sites that are not archived"`
}

// ArchivedSite is a site that is not watched.
type ArchivedSite struct {
	ID    string    `json:"id"`
	Name  string    `json:"name"`
	Since time.Time `json:"since"`
}

// ArchivedTank is a tank that is not watched.
type ArchivedTank struct {
	TankRef
	Since time.Time `json:"since"`
}

type keepTankIn struct {
	TankIn
	Body Kept
}

type keepSiteIn struct {
	Site string `path:"site" maxLength:"64"`
	Body Kept
}

// siteOfTank is where a tank stands, also an archived one.
func (a *API) siteOfTank(ctx context.Context, id string) (siteID string, known bool) {
	if siteID, known = a.monitor.SiteOfTank(id); known {
		return siteID, known
	}
	t, err := a.store.Tank(ctx, id)
	return t.SiteID, err == nil
}

// siteOfSite says whether a site is known, also an archived one; it is its own site.
func (a *API) siteOfSite(ctx context.Context, id string) (siteID string, known bool) {
	if a.monitor.SiteName(id) != "" {
		return id, true
	}
	_, err := a.store.Site(ctx, id)
	return id, err == nil
}

// archived refuses to change anything of what is archived, but to bring it back.
func (a *API) archived(ctx huma.Context) error {
	op := ctx.Operation()
	if op.Method == http.MethodGet || op.OperationID == "keepTank" || op.OperationID == "keepSite" {
		return nil
	}
	if id := ctx.Param("tank"); id != "" {
		if _, watched := a.monitor.SiteOfTank(id); !watched {
			return refused(http.StatusConflict, "tank", id, "is archived", "bring it back first, on the design page")
		}
	}
	if id := ctx.Param("site"); id != "" && a.monitor.SiteName(id) == "" {
		return refused(http.StatusConflict, "site", id, "is archived", "bring it back first, on the design page")
	}
	return nil
}

func (a *API) keepTank(ctx context.Context, in *keepTankIn) (*struct{}, error) {
	e, b := a.edit(ctx), &in.Body
	v, watched := a.monitor.Tank(in.Tank)
	defer a.shown.change() // whoever looks on sees it
	switch {
	case !watched && b.Archived:
		return nil, nil
	case !watched:
		if err := a.monitor.RestoreTank(ctx, e, in.Tank); err != nil {
			return nil, err
		}
		v, _ = a.monitor.Tank(in.Tank)
	}
	if v.Name != b.Name {
		if err := a.monitor.RenameTank(ctx, e, in.Tank, b.Name); err != nil {
			return nil, err
		}
	}
	if b.Archived {
		return nil, a.monitor.ArchiveTank(ctx, e, in.Tank)
	}
	return nil, nil
}

func (a *API) keepSite(ctx context.Context, in *keepSiteIn) (*struct{}, error) {
	e, b := a.edit(ctx), &in.Body
	s, err := a.store.Site(ctx, in.Site)
	if err != nil {
		return nil, err
	}
	defer a.shown.change()
	if s.Name != b.Name {
		if err := a.monitor.RenameSite(ctx, e, in.Site, b.Name); err != nil {
			return nil, err
		}
	}
	switch {
	case b.Archived && s.Archived.IsZero():
		return nil, a.monitor.ArchiveSite(ctx, e, in.Site)
	case !b.Archived && !s.Archived.IsZero():
		return nil, a.monitor.RestoreSite(ctx, e, in.Site)
	}
	return nil, nil
}

func (a *API) archive(ctx context.Context, _ *struct{}) (*reply[Archive], error) {
	out := &reply[Archive]{Body: Archive{Sites: []ArchivedSite{}, Tanks: []ArchivedTank{}}}
	person := personOf(ctx)
	sites, err := a.store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	used := map[string]string{}
	for _, s := range sites {
		if !person.sees(s.ID) {
			continue
		}
		if s.Archived.IsZero() {
			used[s.ID] = s.Name
		} else {
			out.Body.Sites = append(out.Body.Sites, ArchivedSite{ID: s.ID, Name: s.Name, Since: s.Archived})
		}
	}
	const everySite = ""
	tanks, err := a.store.Tanks(ctx, everySite)
	if err != nil {
		return nil, err
	}
	for _, t := range tanks {
		if site, ok := used[t.SiteID]; ok && !t.Archived.IsZero() {
			out.Body.Tanks = append(out.Body.Tanks, ArchivedTank{TankRef{ID: t.ID, Name: t.Name, SiteID: t.SiteID, SiteName: site}, t.Archived})
		}
	}
	return out, nil
}
