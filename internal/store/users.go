package store

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/uptrace/bun"
)

// Role is what a person may do.
type Role string

const (
	Operator   Role = "operator"   // everything, at every site
	Technician Role = "technician" // changes at their own sites
	Client     Role = "client"     // looks at their own sites
)

// Units is how a person reads numbers.
type Units string

const (
	Metric Units = "metric"
	US     Units = "us"
)

// User is a person who can log in.
type User struct {
	bun.BaseModel `bun:"table:users"`

	ID   string `bun:",pk"`
	Name string
	// Mail is what they log in with, in lower case.
	Mail string
	// PasswordHash is an argon2id hash in PHC string format, made by the
	// caller. It is in no JSON.
	PasswordHash string `json:"-"`
	Role         Role
	Units        Units
	Disabled     bool
	Created      time.Time
	// Sites are the sites a technician or client may see, in order.
	Sites []string `bun:"-"`
}

// userSite is one site of a person's scope.
type userSite struct {
	bun.BaseModel `bun:"table:user_sites"`

	UserID string `bun:",pk"`
	SiteID string `bun:",pk"`
}

// tidy makes a person as they are stored.
func (u *User) tidy() {
	u.Mail = strings.ToLower(strings.TrimSpace(u.Mail))
	if u.Units == "" {
		u.Units = Metric
	}
	if u.Role == Operator {
		u.Sites = nil // every site
	}
	slices.Sort(u.Sites)
	u.Sites = slices.Compact(u.Sites)
}

// CreateUser adds a person. The mail address must be new.
func (e *Editor) CreateUser(ctx context.Context, u User) error {
	u.Created = e.at
	u.Sites = slices.Clone(u.Sites)
	u.tidy()
	return e.do(ctx, "create user", "user", u.ID, u, func(ctx context.Context, tx bun.Tx) error {
		if _, err := tx.NewInsert().Model(&u).Exec(ctx); err != nil {
			return err
		}
		return setScope(ctx, tx, &u)
	})
}

// UpdateUser saves a person's name, mail, role, units, scope and whether they
// are disabled; not the password. Disabling ends their sessions. The last
// operator stays one: ErrLastOperator.
func (e *Editor) UpdateUser(ctx context.Context, u User) error {
	u.Sites = slices.Clone(u.Sites)
	u.tidy()
	return e.do(ctx, "update user", "user", u.ID, u, func(ctx context.Context, tx bun.Tx) error {
		if u.Role != Operator || u.Disabled {
			if err := e.store.keepAnOperator(ctx, tx, u.ID); err != nil {
				return err
			}
		}
		if err := changed(tx.NewUpdate().Model(&u).Column("name", "mail", "role", "units", "disabled").WherePK().Exec(ctx)); err != nil {
			return err
		}
		if u.Disabled {
			if err := endSessions(ctx, tx, u.ID); err != nil {
				return err
			}
		}
		return setScope(ctx, tx, &u)
	})
}

// keepAnOperator refuses to take the last person away who may do everything. On
// PostgreSQL the rows are held, so that two who demote each other wait.
func (s *Store) keepAnOperator(ctx context.Context, tx bun.Tx, except string) error {
	operators, err := all[User](ctx, tx, func(q *bun.SelectQuery) *bun.SelectQuery {
		if s.pg != nil {
			q = q.For("UPDATE")
		}
		return q.Where("role = ? AND NOT disabled", Operator).Order("id")
	})
	if err == nil && len(operators) == 1 && operators[0].ID == except {
		return ErrLastOperator
	}
	return err
}

// SetUnits saves how a person reads numbers, and nothing else of them.
func (e *Editor) SetUnits(ctx context.Context, userID string, units Units) error {
	return e.do(ctx, "set units", "user", userID, units, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewUpdate().Model((*User)(nil)).Set("units = ?", units).Where("id = ?", userID).Exec(ctx))
	})
}

// setScope writes the sites a person may see.
func setScope(ctx context.Context, tx bun.Tx, u *User) error {
	if _, err := tx.NewDelete().Model((*userSite)(nil)).Where("user_id = ?", u.ID).Exec(ctx); err != nil {
		return err
	}
	for _, site := range u.Sites {
		if _, err := tx.NewInsert().Model(&userSite{UserID: u.ID, SiteID: site}).Exec(ctx); err != nil {
			return wrap(err, "site %q", site)
		}
	}
	return nil
}

// SetPassword saves a new hash and ends the person's sessions.
func (e *Editor) SetPassword(ctx context.Context, userID, hash string) error {
	return e.do(ctx, "set password", "user", userID, nil, func(ctx context.Context, tx bun.Tx) error {
		if err := changed(tx.NewUpdate().Model((*User)(nil)).Set("password_hash = ?", hash).Where("id = ?", userID).Exec(ctx)); err != nil {
			return err
		}
		return endSessions(ctx, tx, userID)
	})
}

// User is the person with this ID.
func (s *Store) User(ctx context.Context, id string) (User, error) {
	return s.user(ctx, "id", id)
}

// UserByMail is the person with this mail address, in any case of letters.
func (s *Store) UserByMail(ctx context.Context, mail string) (User, error) {
	return s.user(ctx, "mail", strings.ToLower(strings.TrimSpace(mail)))
}

func (s *Store) user(ctx context.Context, column, value string) (User, error) {
	u, err := one[User](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("? = ?", bun.Ident(column), value)
	})
	if err != nil {
		return User{}, wrap(err, "reading the user with %s %q", column, value)
	}
	users := []User{u}
	err = s.addScopes(ctx, users)
	return users[0], wrap(err, "reading the sites of user %q", u.ID)
}

// Users is everybody, by name.
func (s *Store) Users(ctx context.Context) ([]User, error) {
	users, err := all[User](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Order("name", "id") })
	if err == nil {
		err = s.addScopes(ctx, users)
	}
	return users, wrap(err, "reading the users")
}

// addScopes reads the sites that people may see.
func (s *Store) addScopes(ctx context.Context, users []User) error {
	ids := make([]string, len(users))
	for i := range users {
		ids[i] = users[i].ID
	}
	if len(ids) == 0 {
		return nil
	}
	scopes, err := all[userSite](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		return q.Where("user_id IN (?)", bun.List(ids)).Order("site_id")
	})
	if err != nil {
		return err
	}
	for i := range users {
		for _, scope := range scopes {
			if scope.UserID == users[i].ID {
				users[i].Sites = append(users[i].Sites, scope.SiteID)
			}
		}
	}
	return nil
}
