-- The account of each tank: where it stands, and what it found. A checkpoint
-- has the position in the stream that it has taken in.

-- +goose Up
CREATE TABLE checkpoints (
    kind     TEXT NOT NULL,
    subject  TEXT NOT NULL,
    position BIGINT NOT NULL,
    data     BYTEA NOT NULL,
    PRIMARY KEY (kind, subject)
);

CREATE TABLE findings (
    tank_id TEXT NOT NULL REFERENCES tanks (id),
    code    TEXT NOT NULL,
    found   TIMESTAMP NOT NULL,
    ended   TIMESTAMP,
    body    TEXT NOT NULL,
    PRIMARY KEY (tank_id, code, found)
);
CREATE INDEX findings_by_time ON findings (tank_id, found);
