-- The alarms of each site as they are, every change of them, and who was told.

-- +goose Up
CREATE TABLE alarms (
    site_id  TEXT NOT NULL REFERENCES sites (id),
    code     TEXT NOT NULL,
    tank     TEXT NOT NULL,
    device   TEXT NOT NULL,
    state    TEXT NOT NULL,
    priority BIGINT NOT NULL,
    body     TEXT NOT NULL,
    PRIMARY KEY (site_id, code, tank, device)
);

CREATE TABLE transitions (
    id      INTEGER PRIMARY KEY,
    site_id TEXT NOT NULL REFERENCES sites (id),
    at      TIMESTAMP NOT NULL,
    body    TEXT NOT NULL
);
CREATE INDEX transitions_by_site ON transitions (site_id, at);

CREATE TABLE notices (
    site_id TEXT NOT NULL REFERENCES sites (id),
    id      TEXT NOT NULL,
    decided TIMESTAMP NOT NULL,
    body    TEXT NOT NULL,
    PRIMARY KEY (site_id, id)
);
CREATE INDEX notices_by_time ON notices (site_id, decided);
