-- Every change by a person, in the order it was made. Rows are only added.

-- +goose Up
CREATE TABLE audit (
    id      BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at      TIMESTAMP NOT NULL,
    who     TEXT NOT NULL,
    action  TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail  TEXT NOT NULL
);
CREATE INDEX audit_by_subject ON audit (subject, id);

-- +goose StatementBegin
CREATE FUNCTION audit_only_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the audit log is only added to';
END;
$$;
-- +goose StatementEnd

CREATE TRIGGER audit_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON audit
    FOR EACH STATEMENT EXECUTE FUNCTION audit_only_added();
