package store

import (
	"context"
	"time"

	"github.com/uptrace/bun"
)

// Site is a place with tanks.
type Site struct {
	bun.BaseModel `bun:"table:sites"`

	ID       string `bun:",pk"`
	Name     string
	Place    string
	Created  time.Time
	Archived time.Time `bun:",nullzero"` // zero: in use
}

// Tank is one tank of a site.
type Tank struct {
	bun.BaseModel `bun:"table:tanks"`

	ID       string `bun:",pk"`
	SiteID   string
	Name     string
	Created  time.Time
	Archived time.Time `bun:",nullzero"` // zero: in use
}

// CreateSite adds a site.
func (e *Editor) CreateSite(ctx context.Context, site Site) error {
	site.Created = e.at
	return e.do(ctx, "create site", "site", site.ID, site, func(ctx context.Context, tx bun.Tx) error {
		_, err := tx.NewInsert().Model(&site).Exec(ctx)
		return err
	})
}

// UpdateSite saves a site's name and place, and when it was archived.
func (e *Editor) UpdateSite(ctx context.Context, site Site) error {
	return e.do(ctx, "update site", "site", site.ID, site, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewUpdate().Model(&site).Column("name", "place", "archived").WherePK().Exec(ctx))
	})
}

// Site is the site with this ID.
func (s *Store) Site(ctx context.Context, id string) (Site, error) {
	site, err := one[Site](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("id = ?", id) })
	return site, wrap(err, "reading site %q", id)
}

// Sites is every site, by name, also archived ones.
func (s *Store) Sites(ctx context.Context) ([]Site, error) {
	sites, err := all[Site](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Order("name", "id") })
	return sites, wrap(err, "reading the sites")
}

// CreateTank adds a tank to its site.
func (e *Editor) CreateTank(ctx context.Context, tank Tank) error {
	tank.Created = e.at
	return e.do(ctx, "create tank", "tank", tank.ID, tank, func(ctx context.Context, tx bun.Tx) error {
		_, err := tx.NewInsert().Model(&tank).Exec(ctx)
		return err
	})
}

// UpdateTank saves a tank's name, and when it was archived.
func (e *Editor) UpdateTank(ctx context.Context, tank Tank) error {
	return e.do(ctx, "update tank", "tank", tank.ID, tank, func(ctx context.Context, tx bun.Tx) error {
		return changed(tx.NewUpdate().Model(&tank).Column("name", "archived").WherePK().Exec(ctx))
	})
}

// Tank is the tank with this ID.
func (s *Store) Tank(ctx context.Context, id string) (Tank, error) {
	tank, err := one[Tank](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery { return q.Where("id = ?", id) })
	return tank, wrap(err, "reading tank %q", id)
}

// Tanks is every tank by name, also archived ones; of one site unless siteID is
// empty.
func (s *Store) Tanks(ctx context.Context, siteID string) ([]Tank, error) {
	tanks, err := all[Tank](ctx, s.read, func(q *bun.SelectQuery) *bun.SelectQuery {
		if siteID != "" {
			q = q.Where("site_id = ?", siteID)
		}
		return q.Order("name", "id")
	})
	return tanks, wrap(err, "reading the tanks of site %q", siteID)
}
