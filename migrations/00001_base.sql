-- The ground: quantities with both bounds, the guards of insert-only tables, the catalogue
-- revision, institutes and persons, audit and change feed.
--
-- Rights are granted in grants/app.sql, by name; what is not granted is denied.

-- +goose Up

-- Quantities. A lone lower bound would let NaN and Infinity in, so each has both.
CREATE DOMAIN length_mm     AS numeric CHECK (VALUE > 0 AND VALUE <= 100000);
CREATE DOMAIN area_mm2      AS numeric CHECK (VALUE > 0 AND VALUE <= 1000000);
CREATE DOMAIN slot_pitches  AS numeric CHECK (VALUE >= -360 AND VALUE <= 360);
CREATE DOMAIN voltage_v     AS numeric CHECK (VALUE > 0 AND VALUE <= 100000);
CREATE DOMAIN frequency_hz  AS numeric CHECK (VALUE > 0 AND VALUE <= 10000);
CREATE DOMAIN power_w       AS numeric CHECK (VALUE > 0 AND VALUE <= 10000000);
CREATE DOMAIN current_a     AS numeric CHECK (VALUE > 0 AND VALUE <= 100000);
CREATE DOMAIN speed_rpm     AS numeric CHECK (VALUE > 0 AND VALUE <= 1000000);
CREATE DOMAIN capacitor_uf  AS numeric CHECK (VALUE > 0 AND VALUE <= 1000000);
CREATE DOMAIN temperature_c AS numeric CHECK (VALUE >= -273.15 AND VALUE <= 2000);
CREATE DOMAIN slot_count    AS integer CHECK (VALUE >= 1 AND VALUE <= 1000);
CREATE DOMAIN pole_count    AS integer CHECK (VALUE >= 1 AND VALUE <= 1000);
CREATE DOMAIN record_revision AS integer CHECK (VALUE >= 1 AND VALUE <= 1000000000);
CREATE DOMAIN slug AS text COLLATE "C"
    CHECK (VALUE ~ '^[a-z0-9]+(-[a-z0-9]+)*$' AND length(VALUE) <= 100
           -- A path takes a UUID or a slug, so a slug must not look like a UUID.
           AND VALUE !~ '^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$');
CREATE DOMAIN sha256 AS bytea CHECK (octet_length(VALUE) = 32);
CREATE DOMAIN record_body AS jsonb
    CHECK (jsonb_typeof(VALUE) = 'object' AND pg_column_size(VALUE) <= 262144);
CREATE DOMAIN record_findings AS jsonb
    CHECK (jsonb_typeof(VALUE) = 'array' AND pg_column_size(VALUE) <= 262144);
CREATE DOMAIN source_text AS text CHECK (length(VALUE) <= 4000);
-- An SPDX licence expression.
CREATE DOMAIN spdx AS text COLLATE "C" CHECK (VALUE ~ '^[A-Za-z0-9.+() -]{1,200}$');

-- measured reads a figure of a body as typed: a number, or {"value": number, ...}. The digits stay
-- (4.50 stays 4.50). Absent gives NULL.
-- +goose StatementBegin
CREATE FUNCTION measured(j jsonb) RETURNS numeric
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    AS $$ SELECT CASE jsonb_typeof(j) WHEN 'number' THEN j::numeric WHEN 'object' THEN (j ->> 'value')::numeric END $$;
-- +goose StatementEnd

-- refuse_change guards insert-only tables (UPDATE, DELETE by row, TRUNCATE by statement: a row
-- trigger alone lets TRUNCATE through).
-- +goose StatementBegin
CREATE FUNCTION refuse_change() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
BEGIN
    RAISE EXCEPTION '% is insert-only: % is refused', TG_TABLE_NAME, TG_OP USING ERRCODE = 'restrict_violation';
END $$;
-- +goose StatementEnd

-- The revision of the published catalogue: one row. Every process polls it.
CREATE TABLE catalogue_state (
    only_row   boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    revision   bigint NOT NULL CHECK (revision >= 0 AND revision < 9007199254740992), -- exact in JSON
    changed_at timestamptz NOT NULL DEFAULT now()
);
INSERT INTO catalogue_state (revision) VALUES (0);

-- catalogue_bump raises the catalogue revision once in a transaction and gives the new one. The row
-- lock is held until commit: publishing transactions commit in the order of their revisions, so a
-- reader that has seen revision n has everything up to n.
-- +goose StatementBegin
CREATE FUNCTION catalogue_bump() RETURNS bigint
    LANGUAGE plpgsql
    AS $$
DECLARE
    noted  text := current_setting('statorbook.catalogue_bump', true);
    prefix text := pg_current_xact_id()::text || ':';
    fresh  bigint;
BEGIN
    IF noted LIKE prefix || '%' THEN
        RETURN substr(noted, length(prefix) + 1)::bigint;
    END IF;
    UPDATE catalogue_state SET revision = revision + 1, changed_at = now() RETURNING revision INTO STRICT fresh;
    PERFORM set_config('statorbook.catalogue_bump', prefix || fresh, true);
    RETURN fresh;
END $$;
-- +goose StatementEnd

-- bump_catalogue is for published tables without a head of their own.
-- +goose StatementBegin
CREATE FUNCTION bump_catalogue() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
BEGIN
    PERFORM catalogue_bump();
    RETURN NULL;
END $$;
-- +goose StatementEnd

-- stamp_head runs on every write of published data, so that none can forget the catalogue
-- revision. A head keeps its identity and never steps back.
-- +goose StatementBegin
CREATE FUNCTION stamp_head() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        IF NEW.id <> OLD.id OR NEW.revision < OLD.revision OR NEW.created_at <> OLD.created_at THEN
            RAISE EXCEPTION '% %: identity is fixed and revisions only grow', TG_TABLE_NAME, OLD.id
                USING ERRCODE = 'restrict_violation';
        END IF;
    END IF;
    NEW.catalogue_revision := catalogue_bump();
    RETURN NEW;
END $$;
-- +goose StatementEnd

-- Who holds records. own = this server's institutes, which may hold keys and vet.
CREATE TABLE institute (
    id         uuid PRIMARY KEY DEFAULT gen_random_uuid(),
    slug       slug NOT NULL UNIQUE,
    title      text NOT NULL CHECK (length(title) BETWEEN 1 AND 200),
    demo       boolean NOT NULL DEFAULT false,
    own        boolean NOT NULL DEFAULT true,
    created_at timestamptz NOT NULL DEFAULT now()
);

-- A person is a pseudonym inside an institute; no name is stored anywhere.
CREATE TABLE person (
    id           uuid PRIMARY KEY DEFAULT gen_random_uuid(),
    institute_id uuid NOT NULL REFERENCES institute (id),
    pseudonym    slug NOT NULL,
    created_at   timestamptz NOT NULL DEFAULT now(),
    UNIQUE (institute_id, pseudonym),
    UNIQUE (institute_id, id)
);

-- What happened, by whom, in the same transaction as the act. No free text of records in here.
CREATE TABLE audit (
    id           bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    at           timestamptz NOT NULL DEFAULT now(),
    institute_id uuid REFERENCES institute (id),
    person_id    uuid REFERENCES person (id),
    key_id       text CHECK (length(key_id) <= 100),
    request_id   text CHECK (length(request_id) <= 200),
    action       text NOT NULL CHECK (action ~ '^[a-z_]{1,40}$'),
    record_kind  text CHECK (record_kind ~ '^[a-z_]{1,40}$'),
    record_id    text CHECK (length(record_id) <= 100),
    revision     record_revision,
    from_state   text CHECK (length(from_state) <= 40),
    to_state     text CHECK (length(to_state) <= 40),
    reason       text CHECK (length(reason) <= 1000),
    detail       record_body
);

-- The change feed: one row for each change of published data, in commit order (see catalogue_bump).
CREATE TABLE change (
    catalogue_revision bigint NOT NULL CHECK (catalogue_revision >= 0 AND catalogue_revision < 9007199254740992),
    item               integer NOT NULL CHECK (item >= 1),
    at                 timestamptz NOT NULL DEFAULT now(),
    change             text NOT NULL CHECK (change IN ('publication', 'supersession', 'withdrawal', 'erratum')),
    record_kind        text NOT NULL CHECK (record_kind ~ '^[a-z_]{1,40}$'),
    record_id          text NOT NULL CHECK (length(record_id) <= 100),
    revision           record_revision NOT NULL,
    content_hash       sha256 NOT NULL,
    reason_code        text CHECK (reason_code ~ '^[a-z_]{1,40}$'),
    PRIMARY KEY (catalogue_revision, item)
);

-- guard_insert_only and guard_record put the triggers on a table, or on a head table and its
-- revisions. Only migrations call them.
-- +goose StatementBegin
CREATE FUNCTION guard_insert_only(t text) RETURNS void
    LANGUAGE plpgsql
    AS $$
BEGIN
    EXECUTE format('CREATE TRIGGER insert_only BEFORE UPDATE OR DELETE ON %I FOR EACH ROW EXECUTE FUNCTION refuse_change()', t);
    EXECUTE format('CREATE TRIGGER no_truncate BEFORE TRUNCATE ON %I FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()', t);
END $$;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE FUNCTION guard_record(t text) RETURNS void
    LANGUAGE plpgsql
    AS $$
BEGIN
    EXECUTE format('CREATE TRIGGER stamp BEFORE INSERT OR UPDATE ON %I FOR EACH ROW EXECUTE FUNCTION stamp_head()', t);
    EXECUTE format('CREATE TRIGGER no_delete BEFORE DELETE ON %I FOR EACH ROW EXECUTE FUNCTION refuse_change()', t);
    EXECUTE format('CREATE TRIGGER no_truncate BEFORE TRUNCATE ON %I FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()', t);
    PERFORM guard_insert_only(t || '_revision');
END $$;
-- +goose StatementEnd

SELECT guard_insert_only('audit'), guard_insert_only('change');
CREATE TRIGGER no_delete BEFORE DELETE ON catalogue_state FOR EACH ROW EXECUTE FUNCTION refuse_change();
CREATE TRIGGER no_truncate BEFORE TRUNCATE ON catalogue_state FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();

-- +goose Down
DROP TABLE change, audit, person, institute, catalogue_state;
DROP FUNCTION guard_record(text), guard_insert_only(text), stamp_head(), bump_catalogue(), catalogue_bump(), refuse_change(), measured(jsonb);
DROP DOMAIN spdx, source_text, record_findings, record_body, sha256, slug, record_revision, pole_count, slot_count,
    temperature_c, capacitor_uf, speed_rpm, current_a, power_w, frequency_hz, voltage_v, slot_pitches, area_mm2, length_mm;
