package api

import (
	"cmp"
	"context"
	"net/http"
	"time"

	"isohaline/internal/store"
)

type newPersonIn struct {
	Body struct {
		Name     string   `json:"name" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9._-]*$" patternDescription:"small letters, digits, . _ -"`
		Password string   `json:"password" minLength:"12" maxLength:"256"`
		Mail     string   `json:"mail,omitempty" format:"email" maxLength:"254"`
		Role     string   `json:"role" enum:"operator,technician,client"`
		SiteIDs  []string `json:"siteIds,omitempty" doc:"the sites to see; operators see all"`
	}
}

type peopleOut struct {
	Body struct {
		People []Person `json:"people"`
	}
}

// AuditLine is one change that somebody made.
type AuditLine struct {
	ID   int64     `json:"id"`
	At   time.Time `json:"at"`
	By   string    `json:"by"`
	Did  string    `json:"did" example:"revoke device"`
	To   string    `json:"to" example:"device/k3f9x2ab"`
	More string    `json:"more,omitempty" doc:"what changed, as JSON"`
}

type auditOut struct {
	Body struct {
		Lines []AuditLine `json:"lines" doc:"newest first"`
	}
}

type auditIn struct {
	Limit   int    `query:"limit" default:"200" minimum:"1" maximum:"1000"`
	Before  int64  `query:"before" minimum:"0" doc:"a line's id: only older ones"`
	Subject string `query:"subject" maxLength:"256" example:"device/k3f9x2ab" doc:"only what was done to this"`
	By      string `query:"by" maxLength:"64" doc:"only what this person did"`
}

type PersonIn struct {
	Person string `path:"person" maxLength:"64" example:"ada"`
}

type editPersonIn struct {
	PersonIn
	Body struct {
		Mail     string   `json:"mail,omitempty" format:"email" maxLength:"254" doc:"absent: none"`
		Role     string   `json:"role" enum:"operator,technician,client"`
		SiteIDs  []string `json:"siteIds,omitempty" doc:"the sites to see; operators see all"`
		Disabled bool     `json:"disabled,omitempty" doc:"may not sign in, and is signed out at once"`
	}
}

type personPasswordIn struct {
	PersonIn
	Body struct {
		Password string `json:"password" minLength:"12" maxLength:"256"`
	}
}

func (a *API) people(ctx context.Context, _ *struct{}) (*peopleOut, error) {
	list, err := a.store.Users(ctx)
	if err != nil {
		return nil, err
	}
	out := &peopleOut{}
	out.Body.People = listed(list, func(u *store.User) Person { return *showPerson(u) })
	return out, nil
}

func (a *API) newPerson(ctx context.Context, in *newPersonIn) (*reply[Person], error) {
	u := a.newUser(in.Body.Name, in.Body.Mail, in.Body.Password)
	u.Role, u.Sites = store.Role(in.Body.Role), in.Body.SiteIDs
	if err := a.edit(ctx).CreateUser(ctx, u); err != nil {
		return nil, err
	}
	return &reply[Person]{Body: *showPerson(&u)}, nil
}

func (a *API) editPerson(ctx context.Context, in *editPersonIn) (*reply[Person], error) {
	u, err := a.store.User(ctx, in.Person)
	if err != nil {
		return nil, err
	}
	b := &in.Body
	u.Mail, u.Role, u.Sites, u.Disabled = cmp.Or(b.Mail, u.ID), store.Role(b.Role), b.SiteIDs, b.Disabled
	if err := a.edit(ctx).UpdateUser(ctx, u); err != nil {
		return nil, err
	}
	a.shown.change()
	u, err = a.store.User(ctx, in.Person)
	return &reply[Person]{Body: *showPerson(&u)}, err
}

func (a *API) setPersonPassword(ctx context.Context, in *personPasswordIn) (*struct{}, error) {
	if in.Person == personOf(ctx).Name {
		return nil, refused(http.StatusConflict, "person", in.Person, "is you", "change your own password, which asks for the old one")
	}
	err := a.edit(ctx).SetPassword(ctx, in.Person, a.hash(in.Body.Password))
	a.shown.change()
	return nil, err
}

func (a *API) audit(ctx context.Context, in *auditIn) (*auditOut, error) {
	entries, err := a.store.Audit(ctx, store.AuditQuery{Subject: in.Subject, Who: in.By, Before: in.Before, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &auditOut{}
	out.Body.Lines = listed(entries, func(e *store.Entry) AuditLine {
		return AuditLine{ID: e.ID, At: e.At, By: e.Who, Did: e.Action, To: e.Subject, More: e.Detail}
	})
	return out, nil
}

// edit makes changes in the name of who is signed in; each leaves its line in
// the audit log.
func (a *API) edit(ctx context.Context) *store.Editor {
	return a.store.Edit(personOf(ctx).Name, a.now())
}
