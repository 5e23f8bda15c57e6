package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"

	"isohaline/internal/server/auth"
	"isohaline/internal/store"
)

// Person is who is signed in.
type Person struct {
	Name     string   `json:"name" example:"ada"`
	Mail     string   `json:"mail,omitempty" doc:"absent: none, they sign in by name"`
	Role     string   `json:"role" enum:"operator,technician,client"`
	Units    string   `json:"units" enum:"metric,us"`
	SiteIDs  []string `json:"siteIds" doc:"the sites to see; empty for operators, who see all"`
	Disabled bool     `json:"disabled,omitempty" doc:"may not sign in"`
}

type signInIn struct {
	Body struct {
		Name     string `json:"name" minLength:"1" maxLength:"254" doc:"or the mail address"`
		Password string `json:"password" minLength:"1" maxLength:"256"`
	}
}

type passwordIn struct {
	Body struct {
		Old string `json:"old" minLength:"1" maxLength:"256"`
		New string `json:"new" minLength:"12" maxLength:"256"`
	}
}

type unitsIn struct {
	Body struct {
		Units string `json:"units" enum:"metric,us"`
	}
}

// FirstRun says whether the first account has still to be made.
type FirstRun struct {
	Needed bool `json:"needed"`
}

type setUpIn struct {
	Body struct {
		Token    string `json:"token" doc:"the one-time token that the program printed when it started" maxLength:"128"`
		Name     string `json:"name" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9._-]*$" patternDescription:"small letters, digits, . _ -"`
		Mail     string `json:"mail,omitempty" format:"email" maxLength:"254"`
		Password string `json:"password" minLength:"12" maxLength:"256"`
	}
}

// PersonKey is where a session keeps the name of who it belongs to, passwordKey
// a digest of the password's hash that it was begun with.
const (
	PersonKey   = "person"
	passwordKey = "password"
)

// signedIn is who a request's session belongs to, nil for nobody. It asks the
// store each time, so a changed role, a closed account or a new password counts
// at once, also against a session that was being saved in that moment.
func (a *API) signedIn(ctx context.Context) (*Person, error) {
	name := a.sessions.GetString(ctx, PersonKey)
	if name == "" {
		return nil, nil
	}
	u, err := a.store.User(ctx, name)
	switch {
	case errors.Is(err, store.ErrNotFound) || u.Disabled:
		return nil, nil
	case err != nil:
		return nil, err
	case !auth.SecretMatches(a.sessions.GetString(ctx, passwordKey), u.PasswordHash):
		return nil, nil
	}
	return showPerson(&u), nil
}

func (a *API) firstRun(ctx context.Context, _ *struct{}) (*reply[FirstRun], error) {
	people, err := a.store.Users(ctx)
	return &reply[FirstRun]{Body: FirstRun{Needed: len(people) == 0}}, err
}

// firstRunName is what tries at the first run are counted under; no person may
// be called so.
const firstRunName = " first run"

// setUp makes the first account. The token is on the console of the machine, so
// whoever has it may decide who the operator is.
func (a *API) setUp(ctx context.Context, in *setUpIn) (*reply[Person], error) {
	if err := a.allowTry(ctx, firstRunName); err != nil {
		return nil, err
	}
	if a.token == "" || !auth.SecretMatches(auth.SecretHash(a.token), in.Body.Token) {
		return nil, refused(http.StatusForbidden, "token", "", "is not the one on the console", "copy it from where the program was started")
	}
	a.firstRunLock.Lock()
	defer a.firstRunLock.Unlock()
	people, err := a.store.Users(ctx)
	if err != nil {
		return nil, err
	}
	if len(people) > 0 {
		return nil, refused(http.StatusConflict, "", "", "the first account is there already", "sign in")
	}
	u := a.newUser(in.Body.Name, in.Body.Mail, in.Body.Password)
	u.Role = store.Operator
	if err := a.store.Edit(u.ID, a.now()).CreateUser(ctx, u); err != nil {
		return nil, err
	}
	return a.begin(ctx, &u)
}

// signIn is slow on purpose (see auth.Cost) and says the same for a wrong name
// as for a wrong password, in the same time.
func (a *API) signIn(ctx context.Context, in *signInIn) (*reply[Person], error) {
	if err := a.allowTry(ctx, in.Body.Name); err != nil {
		return nil, err
	}
	u, err := a.store.User(ctx, in.Body.Name)
	if errors.Is(err, store.ErrNotFound) {
		u, err = a.store.UserByMail(ctx, in.Body.Name)
	}
	switch {
	case errors.Is(err, store.ErrNotFound):
		u.PasswordHash = a.nobody
	case err != nil:
		return nil, err
	}
	if !a.matches(ctx, u.PasswordHash, in.Body.Password) || u.ID == "" || u.Disabled {
		return nil, refused(http.StatusUnauthorized, "", "", "no such name and password", "check both")
	}
	a.names.Forget(in.Body.Name)
	return a.begin(ctx, &u)
}

// matches checks a password; only so many at once, since each takes memory.
func (a *API) matches(ctx context.Context, hash, password string) bool {
	select {
	case a.hashing <- struct{}{}:
		defer func() { <-a.hashing }()
		return auth.Matches(hash, password)
	case <-ctx.Done():
		return false
	}
}

// hash is the hash of a new password; only so many at once, too.
func (a *API) hash(password string) string {
	a.hashing <- struct{}{}
	defer func() { <-a.hashing }()
	return a.cost.Hash(password)
}

// begin makes a request's session that of a person, under a new token, so that
// one planted before is worth nothing.
func (a *API) begin(ctx context.Context, u *store.User) (*reply[Person], error) {
	if err := a.sessions.RenewToken(ctx); err != nil {
		return nil, err
	}
	a.sessions.Put(ctx, PersonKey, u.ID)
	a.sessions.Put(ctx, passwordKey, auth.SecretHash(u.PasswordHash))
	return &reply[Person]{Body: *showPerson(u)}, nil
}

// allowTry counts a try to get in, for a name and for the address it comes from.
func (a *API) allowTry(ctx context.Context, key string) error {
	wait, ok := a.addresses.Try(addressOf(ctx), a.now())
	if ok {
		wait, ok = a.names.Try(key, a.now())
	}
	if ok {
		return nil
	}
	return refused(http.StatusTooManyRequests, "", "", "too many tries",
		fmt.Sprintf("wait %.0f s", math.Ceil(wait.Seconds())))
}

func (a *API) me(ctx context.Context, _ *struct{}) (*reply[Person], error) {
	return &reply[Person]{Body: *personOf(ctx)}, nil
}

func (a *API) signOut(ctx context.Context, _ *struct{}) (*struct{}, error) {
	return nil, a.sessions.Destroy(ctx)
}

func (a *API) setPassword(ctx context.Context, in *passwordIn) (*struct{}, error) {
	name := personOf(ctx).Name
	if err := a.allowTry(ctx, name); err != nil {
		return nil, err
	}
	u, err := a.store.User(ctx, name)
	if err != nil {
		return nil, err
	}
	if !a.matches(ctx, u.PasswordHash, in.Body.Old) {
		return nil, refused(http.StatusUnprocessableEntity, "body.old", "", "is not your password", "check it")
	}
	a.names.Forget(name)
	u.PasswordHash = a.hash(in.Body.New)
	if err := a.edit(ctx).SetPassword(ctx, name, u.PasswordHash); err != nil {
		return nil, err
	}
	a.shown.change()
	_, err = a.begin(ctx, &u) // this browser goes on
	return nil, err
}

func (a *API) setUnits(ctx context.Context, in *unitsIn) (*reply[Person], error) {
	name := personOf(ctx).Name
	if err := a.edit(ctx).SetUnits(ctx, name, store.Units(in.Body.Units)); err != nil {
		return nil, err
	}
	u, err := a.store.User(ctx, name)
	return &reply[Person]{Body: *showPerson(&u)}, err
}

func showPerson(u *store.User) *Person {
	p := &Person{Name: u.ID, Role: string(u.Role), Units: string(u.Units), SiteIDs: append([]string{}, u.Sites...), Disabled: u.Disabled}
	if u.Mail != u.ID {
		p.Mail = u.Mail
	}
	return p
}

// newUser is an account before it is stored. Who gives no mail address signs in
// by name alone.
func (a *API) newUser(name, mail, password string) store.User {
	return store.User{ID: name, Name: name, Mail: cmp.Or(mail, name), PasswordHash: a.hash(password), Units: store.Metric}
}
