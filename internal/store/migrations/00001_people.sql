-- Who uses it: people, which sites they see, their sessions, and settings.

-- +goose Up
CREATE TABLE users (
    id            TEXT PRIMARY KEY,
    name          TEXT NOT NULL,
    mail          TEXT NOT NULL UNIQUE,
    password_hash TEXT NOT NULL,
    role          TEXT NOT NULL CHECK (role IN ('operator', 'technician', 'client')),
    units         TEXT NOT NULL CHECK (units IN ('metric', 'us')),
    disabled      BOOLEAN NOT NULL,
    created       TIMESTAMP NOT NULL
);

CREATE TABLE sessions (
    token_hash TEXT PRIMARY KEY,
    user_id    TEXT NOT NULL REFERENCES users (id) ON DELETE CASCADE,
    data       BYTEA,
    created    TIMESTAMP NOT NULL,
    expires    TIMESTAMP NOT NULL
);
CREATE INDEX sessions_by_user ON sessions (user_id);
CREATE INDEX sessions_by_expiry ON sessions (expires);

CREATE TABLE settings (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
);
