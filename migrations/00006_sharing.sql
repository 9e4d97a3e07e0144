-- Sharing: keys of persons, requests that must count once, vettings, signed statements and the keys
-- they are checked with, sightings and problem reports.

-- +goose Up

-- A key of a person. Only the hash of its secret is kept. Two may live at once, one in each place, so
-- that a key can be changed without a gap.
CREATE TABLE api_key (
    id           text PRIMARY KEY CHECK (id ~ '^[a-z0-9]{12}$'), -- public; part of the key as shown once
    institute_id uuid NOT NULL,
    person_id    uuid NOT NULL,
    place        smallint NOT NULL CHECK (place IN (1, 2)),
    scopes       text[] NOT NULL CHECK (cardinality(scopes) BETWEEN 1 AND 4 AND scopes <@ ARRAY['contribute', 'vet', 'publish', 'steward']),
    secret_hash  sha256 NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    expires_at   timestamptz NOT NULL,
    revoked_at   timestamptz,
    last_used_at timestamptz, -- to the minute
    CHECK (expires_at > created_at AND expires_at <= created_at + interval '400 days'),
    FOREIGN KEY (institute_id, person_id) REFERENCES person (institute_id, id)
);
CREATE UNIQUE INDEX api_key_live ON api_key (person_id, place) WHERE revoked_at IS NULL;
CREATE TRIGGER no_delete BEFORE DELETE ON api_key FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER no_truncate BEFORE TRUNCATE ON api_key FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- A request that changed something, with its answer, in the transaction of the change. Kept 24 hours.
CREATE TABLE idempotency (
    institute_id uuid NOT NULL REFERENCES institute (id),
    key          text COLLATE "C" NOT NULL CHECK (length(key) BETWEEN 1 AND 200),
    request_hash sha256 NOT NULL, -- of method, path and body
    status       integer NOT NULL CHECK (status BETWEEN 200 AND 299),
    location     text CHECK (length(location) <= 200),
    tag          text CHECK (length(tag) <= 100),
    body         bytea NOT NULL CHECK (octet_length(body) <= 1048576),
    created_at   timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (institute_id, key)
);
CREATE INDEX idempotency_age ON idempotency (created_at);

-- Who looked at which content of a draft, and what he said to each finding. It shows private work,
-- so the second wall stands here too; what was published is told by the revision.
CREATE TABLE vetting (
    id               bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    institute_id     uuid NOT NULL REFERENCES institute (id),
    record_kind      text NOT NULL CHECK (record_kind IN ('family', 'winding')),
    record_id        uuid NOT NULL,
    person_id        uuid NOT NULL,
    outcome          text NOT NULL CHECK (outcome IN ('vetted', 'returned')),
    content_hash     sha256 NOT NULL,
    reason           text CHECK (length(reason) BETWEEN 1 AND 1000),
    findings         record_findings NOT NULL DEFAULT '[]', -- as they stood
    answers          record_findings NOT NULL DEFAULT '[]', -- one for each finding
    created_at       timestamptz NOT NULL DEFAULT now(),
    CHECK (outcome <> 'returned' OR reason IS NOT NULL),
    FOREIGN KEY (institute_id, person_id) REFERENCES person (institute_id, id)
);
CREATE INDEX vetting_record ON vetting (record_id, id);
ALTER TABLE vetting ENABLE ROW LEVEL SECURITY;
ALTER TABLE vetting FORCE ROW LEVEL SECURITY;
CREATE POLICY own_institute ON vetting
    USING (institute_id = acting_institute()) WITH CHECK (institute_id = acting_institute());

-- Why a draft corrects what is published.
ALTER TABLE family_draft  ADD COLUMN reason_code text CHECK (reason_code ~ '^[a-z_]{1,40}$'), ADD COLUMN reason text CHECK (length(reason) BETWEEN 1 AND 1000),
    ADD CONSTRAINT family_draft_erratum CHECK ((base_revision IS NULL) = (reason_code IS NULL));
ALTER TABLE winding_draft ADD COLUMN reason_code text CHECK (reason_code ~ '^[a-z_]{1,40}$'), ADD COLUMN reason text CHECK (length(reason) BETWEEN 1 AND 1000),
    ADD CONSTRAINT winding_draft_erratum CHECK ((base_revision IS NULL) = (reason_code IS NULL));

ALTER TABLE family_revision  ADD COLUMN answers record_findings NOT NULL DEFAULT '[]', ADD COLUMN vetted_at timestamptz,
    ADD COLUMN reason_code text CHECK (reason_code ~ '^[a-z_]{1,40}$');
ALTER TABLE winding_revision ADD COLUMN answers record_findings NOT NULL DEFAULT '[]', ADD COLUMN vetted_at timestamptz,
    ADD COLUMN reason_code text CHECK (reason_code ~ '^[a-z_]{1,40}$');

-- The public halves of signing keys: those of our own institutes, and those of others that a steward
-- accepted. A retired key still proves what it signed. The private halves are not in the database.
CREATE TABLE signing_key (
    id           bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    institute_id uuid NOT NULL REFERENCES institute (id),
    verifier     text COLLATE "C" NOT NULL UNIQUE CHECK (length(verifier) BETWEEN 10 AND 300), -- NAME+HASH+KEY of the note format
    accepted_by  uuid REFERENCES person (id), -- NULL: by the operator at the command line
    created_at   timestamptz NOT NULL DEFAULT now(),
    retired_at   timestamptz
);
CREATE UNIQUE INDEX signing_key_in_use ON signing_key (institute_id) WHERE retired_at IS NULL;
CREATE TRIGGER no_delete BEFORE DELETE ON signing_key FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER no_truncate BEFORE TRUNCATE ON signing_key FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- The signed statement about a published revision, as a note.
CREATE TABLE statement (
    record_kind text NOT NULL CHECK (record_kind IN ('family', 'winding')),
    record_id   uuid NOT NULL,
    revision    record_revision NOT NULL,
    note        text NOT NULL CHECK (length(note) BETWEEN 1 AND 8000),
    created_at  timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (record_kind, record_id, revision)
);
SELECT guard_insert_only('vetting'), guard_insert_only('statement');

-- A shop met a winding once more: once for each job.
CREATE TABLE sighting (
    winding_id   uuid NOT NULL REFERENCES winding (id),
    institute_id uuid NOT NULL REFERENCES institute (id),
    person_id    uuid NOT NULL REFERENCES person (id),
    job          text NOT NULL CHECK (length(job) BETWEEN 1 AND 100),
    created_at   timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (winding_id, institute_id, job)
);
SELECT guard_insert_only('sighting');

-- Somebody says that a published record is wrong or dangerous. It shows on the record until it is answered.
CREATE TABLE problem_report (
    id           uuid PRIMARY KEY,
    record_kind  text NOT NULL CHECK (record_kind IN ('family', 'winding')),
    record_id    uuid NOT NULL,
    institute_id uuid NOT NULL REFERENCES institute (id), -- of the reporter
    person_id    uuid NOT NULL REFERENCES person (id),
    text         text NOT NULL CHECK (length(text) BETWEEN 1 AND 1000),
    created_at   timestamptz NOT NULL DEFAULT now(),
    answered_at  timestamptz,
    answered_by  uuid REFERENCES person (id),
    answer       text CHECK (length(answer) BETWEEN 1 AND 1000),
    CHECK ((answered_at IS NULL) = (answer IS NULL) AND (answered_at IS NULL) = (answered_by IS NULL))
);
CREATE INDEX problem_report_open ON problem_report (record_id) WHERE answered_at IS NULL;
CREATE TRIGGER no_delete BEFORE DELETE ON problem_report FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER no_truncate BEFORE TRUNCATE ON problem_report FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- +goose Down
DROP TABLE problem_report, sighting, statement, signing_key, vetting, idempotency, api_key;
ALTER TABLE winding_revision DROP COLUMN answers, DROP COLUMN vetted_at, DROP COLUMN reason_code;
ALTER TABLE family_revision DROP COLUMN answers, DROP COLUMN vetted_at, DROP COLUMN reason_code;
ALTER TABLE winding_draft DROP COLUMN reason_code, DROP COLUMN reason;
ALTER TABLE family_draft DROP COLUMN reason_code, DROP COLUMN reason;
