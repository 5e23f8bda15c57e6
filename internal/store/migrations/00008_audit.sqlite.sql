-- Every change by a person, in the order it was made. Rows are only added.

-- +goose Up
CREATE TABLE audit (
    id      INTEGER PRIMARY KEY,
    at      TIMESTAMP NOT NULL,
    who     TEXT NOT NULL,
    action  TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail  TEXT NOT NULL
);
CREATE INDEX audit_by_subject ON audit (subject, id);

-- +goose StatementBegin
CREATE TRIGGER audit_no_update BEFORE UPDATE ON audit
BEGIN
    SELECT RAISE(ABORT, 'the audit log is only added to');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER audit_no_delete BEFORE DELETE ON audit
BEGIN
    SELECT RAISE(ABORT, 'the audit log is only added to');
END;
-- +goose StatementEnd
