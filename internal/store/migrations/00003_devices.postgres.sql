-- What reports: devices, what their channels mean, and what was refused of
-- them.

-- +goose Up
CREATE TABLE devices (
    id              TEXT PRIMARY KEY,
    site_id         TEXT NOT NULL REFERENCES sites (id),
    tank_id         TEXT REFERENCES tanks (id),
    name            TEXT NOT NULL,
    credential_hash TEXT NOT NULL,
    created         TIMESTAMP NOT NULL,
    revoked         TIMESTAMP,
    last_seen       TIMESTAMP
);
CREATE INDEX devices_by_site ON devices (site_id);

CREATE TABLE channels (
    id        BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    device_id TEXT NOT NULL REFERENCES devices (id),
    name      TEXT NOT NULL,
    tank_id   TEXT REFERENCES tanks (id),
    quantity  TEXT NOT NULL,
    unit      TEXT NOT NULL,
    topic     TEXT NOT NULL,
    factor    DOUBLE PRECISION NOT NULL,
    shift     DOUBLE PRECISION NOT NULL,
    UNIQUE (device_id, name)
);
CREATE INDEX channels_by_tank ON channels (tank_id);

CREATE TABLE refusals (
    id        BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    device_id TEXT NOT NULL REFERENCES devices (id),
    at        TIMESTAMP NOT NULL,
    reason    TEXT NOT NULL,
    detail    TEXT NOT NULL
);
CREATE INDEX refusals_by_device ON refusals (device_id, id);
