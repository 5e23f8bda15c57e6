-- Since when a device is heard of, and of its refusals the topic and how often
-- the same came in a row.

-- +goose Up
ALTER TABLE devices ADD COLUMN first_seen TIMESTAMP;
ALTER TABLE refusals ADD COLUMN topic TEXT NOT NULL DEFAULT '';
ALTER TABLE refusals ADD COLUMN times BIGINT NOT NULL DEFAULT 1;
