-- Where: a site is a place with one or more tanks; a description is a site
-- file, which describes one tank, and every version of it is kept.

-- +goose Up
CREATE TABLE sites (
    id       TEXT PRIMARY KEY,
    name     TEXT NOT NULL,
    place    TEXT NOT NULL,
    created  TIMESTAMP NOT NULL,
    archived TIMESTAMP
);

CREATE TABLE user_sites (
    user_id TEXT NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    site_id TEXT NOT NULL REFERENCES sites (id),
    PRIMARY KEY (user_id, site_id)
);

CREATE TABLE tanks (
    id       TEXT PRIMARY KEY,
    site_id  TEXT NOT NULL REFERENCES sites (id),
    name     TEXT NOT NULL,
    created  TIMESTAMP NOT NULL,
    archived TIMESTAMP
);
CREATE INDEX tanks_by_site ON tanks (site_id);

CREATE TABLE descriptions (
    tank_id  TEXT NOT NULL REFERENCES tanks (id),
    version  BIGINT NOT NULL,
    yaml     TEXT NOT NULL,
    note     TEXT NOT NULL,
    saved_by TEXT NOT NULL,
    saved    TIMESTAMP NOT NULL,
    PRIMARY KEY (tank_id, version)
);
