-- What people did at the tank: measured by hand, and visited.

-- +goose Up
CREATE TABLE hand_readings (
    id         TEXT PRIMARY KEY,
    tank_id    TEXT NOT NULL REFERENCES tanks (id),
    at         TIMESTAMP NOT NULL,
    quantity   TEXT NOT NULL,
    value      DOUBLE PRECISION NOT NULL,
    unit       TEXT NOT NULL,
    instrument TEXT NOT NULL,
    read_by    TEXT NOT NULL,
    note       TEXT NOT NULL
);
CREATE INDEX hand_readings_by_tank ON hand_readings (tank_id, at);

CREATE TABLE visits (
    id       TEXT PRIMARY KEY,
    site_id  TEXT NOT NULL REFERENCES sites (id),
    planned  TIMESTAMP,
    began    TIMESTAMP,
    ended    TIMESTAMP,
    visitor  TEXT NOT NULL,
    note     TEXT NOT NULL,
    body     TEXT NOT NULL
);
CREATE INDEX visits_by_site ON visits (site_id);
