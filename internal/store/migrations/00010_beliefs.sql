-- What each tank's account believed, at every full hour. Times are microseconds
-- since 1970.

-- +goose Up
CREATE TABLE beliefs (
    tank_id        TEXT NOT NULL REFERENCES tanks (id),
    at             BIGINT NOT NULL,
    salinity       DOUBLE PRECISION NOT NULL,
    salinity_sd    DOUBLE PRECISION NOT NULL,
    flow           DOUBLE PRECISION NOT NULL,
    flow_sd        DOUBLE PRECISION NOT NULL,
    expected       DOUBLE PRECISION NOT NULL,
    expected_low   DOUBLE PRECISION NOT NULL,
    expected_high  DOUBLE PRECISION NOT NULL,
    days_left      DOUBLE PRECISION,
    days_left_low  DOUBLE PRECISION,
    days_left_high DOUBLE PRECISION,
    PRIMARY KEY (tank_id, at)
);
