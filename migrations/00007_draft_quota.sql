-- How many drafts an institute started within a day is counted from their audit rows.

-- +goose Up
CREATE INDEX audit_creation ON audit (institute_id, at) WHERE action = 'create';

-- +goose Down
DROP INDEX audit_creation;
