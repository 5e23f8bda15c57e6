-- Readings, and their roll-ups by minute, hour and day. Times are microseconds
-- since 1970. The sum is in two parts, value and rounding error, so that it
-- does not depend on the order of what was added.

-- +goose Up
CREATE TABLE readings (
    channel BIGINT NOT NULL REFERENCES channels (id),
    at      BIGINT NOT NULL,
    value   DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (channel, at)
) WITHOUT ROWID;

CREATE TABLE rollup_minute (
    channel BIGINT NOT NULL REFERENCES channels (id),
    start   BIGINT NOT NULL,
    n       BIGINT NOT NULL,
    low     DOUBLE PRECISION NOT NULL,
    high    DOUBLE PRECISION NOT NULL,
    sum     DOUBLE PRECISION NOT NULL,
    sum_err DOUBLE PRECISION NOT NULL,
    last_at BIGINT NOT NULL,
    last    DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (channel, start)
) WITHOUT ROWID;

CREATE TABLE rollup_hour (
    channel BIGINT NOT NULL REFERENCES channels (id),
    start   BIGINT NOT NULL,
    n       BIGINT NOT NULL,
    low     DOUBLE PRECISION NOT NULL,
    high    DOUBLE PRECISION NOT NULL,
    sum     DOUBLE PRECISION NOT NULL,
    sum_err DOUBLE PRECISION NOT NULL,
    last_at BIGINT NOT NULL,
    last    DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (channel, start)
) WITHOUT ROWID;

CREATE TABLE rollup_day (
    channel BIGINT NOT NULL REFERENCES channels (id),
    start   BIGINT NOT NULL,
    n       BIGINT NOT NULL,
    low     DOUBLE PRECISION NOT NULL,
    high    DOUBLE PRECISION NOT NULL,
    sum     DOUBLE PRECISION NOT NULL,
    sum_err DOUBLE PRECISION NOT NULL,
    last_at BIGINT NOT NULL,
    last    DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (channel, start)
) WITHOUT ROWID;

-- How far back each resolution goes, in microseconds since 1970, by its name;
-- none: all of it is there. The row is there from the beginning, to be locked.
INSERT INTO settings (name, value) VALUES ('readings.horizons', '{}');
