package api

import (
	"cmp"
	"context"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"isohaline/internal/server/monitor"
)

// access is who may use a route.
type access uint8

const (
	// open routes need nobody to be signed in.
	open access = iota
	// byDevice routes are for devices, which name themselves with each request.
	byDevice
	// viewers are all who are signed in.
	viewers
	// staff are technicians and operators.
	staff
	// operators alone.
	operators
)

// Roles of people.
const (
	RoleOperator   = "operator"
	RoleTechnician = "technician"
	RoleClient     = "client"
)

// admits says whether a role may use routes of this access.
func (who access) admits(role string) bool {
	switch role {
	case RoleOperator:
		return true
	case RoleTechnician:
		return who <= staff
	case RoleClient:
		return who <= viewers
	}
	return false
}

// sees says whether a person may know of a site.
func (p *Person) sees(siteID string) bool {
	return p.Role == RoleOperator || slices.Contains(p.SiteIDs, siteID)
}

// guarded puts the guard before a route, and then the limit of its body.
func (a *API) guarded(op huma.Operation, who access) huma.Operation {
	if who >= viewers {
		op.Security = []map[string][]string{{sessionScheme: {}}}
		op.Middlewares = append(op.Middlewares, func(ctx huma.Context, next func(huma.Context)) { a.guard(ctx, who, next) })
	}
	return a.bounded(op, who)
}

type personKey struct{}

// guard is the one place that decides who may do what: the role against the
// route, and what the path or the query names against the sites that the person may see: a tank
// elsewhere does not exist to them.
func (a *API) guard(ctx huma.Context, who access, next func(huma.Context)) {
	person, err := a.signedIn(ctx.Context())
	switch {
	case err != nil:
		a.refuse(ctx, err)
		return
	case person == nil:
		a.refuse(ctx, refused(http.StatusUnauthorized, "", "", "nobody is signed in", "sign in"))
		return
	case !who.admits(person.Role):
		a.refuse(ctx, refused(http.StatusForbidden, "role", person.Role, "may not do this", "ask an operator"))
		return
	}
	for name, siteOf := range map[string]func(string) (string, bool){
		"tank": func(id string) (string, bool) { return a.siteOfTank(ctx.Context(), id) }, "device": a.siteOfDevice, "alarm": a.siteOfAlarm, "site": func(id string) (string, bool) { return a.siteOfSite(ctx.Context(), id) },
	} {
		id := cmp.Or(ctx.Param(name), ctx.Query(name))
		if id == "" {
			continue
		}
		if siteID, known := siteOf(id); !known || !person.sees(siteID) {
			a.refuse(ctx, notFound(name, id))
			return
		}
		if name == "tank" && a.monitor.Waiting(id) {
			ctx.SetHeader("Retry-After", "1")
			a.refuse(ctx, a.notYet(id))
			return
		}
	}
	if err := a.archived(ctx); err != nil {
		a.refuse(ctx, err)
		return
	}
	next(huma.WithValue(ctx, personKey{}, person))
}

// refuse writes an error instead of an answer.
func (a *API) refuse(ctx huma.Context, err error) {
	p := a.problem(ctx.Context(), err)
	_ = huma.WriteErr(a.huma, ctx, p.Status, p.Detail, asErrors(p.Errors)...)
}

// personOf is who makes a request that has passed the guard.
func personOf(ctx context.Context) *Person {
	p, _ := ctx.Value(personKey{}).(*Person)
	return p
}

// view is a tank as it is believed to be now, or why there is no such thing.
func (a *API) view(id string) (monitor.View, error) {
	v, ok := a.monitor.Tank(id)
	switch {
	case !ok:
		return v, notFound("tank", id)
	case v.Problem != nil:
		return v, refused(http.StatusServiceUnavailable, "tank", id, "is without an account, only its contacts are heard: "+v.Problem.Error(), "mend its tank file and save it")
	}
	return v, nil
}

// notYet says that a tank is there and not monitored yet.
func (a *API) notYet(id string) error {
	return refused(http.StatusServiceUnavailable, "tank", id, "is not taken up yet: the service has just begun, and is "+a.monitor.Progress().String(), "try again in a few seconds")
}
