-- Reference data: wire sizes, thermal classes, insulating materials. Each has a head (identity,
-- current revision) and insert-only revisions whose body is the line of the exchange file.

-- +goose Up
CREATE DOMAIN reference_id AS text COLLATE "C"
    CHECK (VALUE ~ '^[A-Za-z0-9.]+(-[A-Za-z0-9.]+)*$' AND length(VALUE) <= 64);

CREATE TABLE wire_size (
    id                 reference_id PRIMARY KEY, -- swg-34, awg-4-0, metric-0.500
    revision           record_revision NOT NULL,
    state              text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    catalogue_revision bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    modified_at        timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE wire_size_revision (
    wire_size_id    reference_id NOT NULL REFERENCES wire_size (id),
    revision        record_revision NOT NULL,
    state           text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    reason          text CHECK (length(reason) <= 1000),
    content_hash    sha256 NOT NULL,
    body            record_body NOT NULL,
    findings        record_findings NOT NULL DEFAULT '[]',
    created_at      timestamptz NOT NULL DEFAULT now(),
    system          text NOT NULL GENERATED ALWAYS AS (body ->> 'system') STORED
                    CHECK (system IN ('swg', 'awg', 'metric')),
    size            text NOT NULL GENERATED ALWAYS AS (body ->> 'size') STORED CHECK (length(size) <= 20),
    diameter_mm     length_mm NOT NULL GENERATED ALWAYS AS (measured(body -> 'conductor' -> 'diameter_mm')) STORED,
    diameter_min_mm length_mm GENERATED ALWAYS AS (measured(body -> 'conductor' -> 'diameter_min_mm')) STORED,
    diameter_max_mm length_mm GENERATED ALWAYS AS (measured(body -> 'conductor' -> 'diameter_max_mm')) STORED,
    -- Whole micrometres are too coarse for wire (AWG 56 is 12.4 micrometres thick).
    diameter_nm     integer GENERATED ALWAYS AS (round(measured(body -> 'conductor' -> 'diameter_mm') * 1000000)::integer) STORED
                    CHECK (diameter_nm BETWEEN 1 AND 1000000000),
    PRIMARY KEY (wire_size_id, revision),
    CHECK (diameter_min_mm <= diameter_mm AND diameter_mm <= diameter_max_mm)
);
ALTER TABLE wire_size ADD CONSTRAINT wire_size_current FOREIGN KEY (id, revision)
    REFERENCES wire_size_revision (wire_size_id, revision) DEFERRABLE INITIALLY DEFERRED;

CREATE TABLE insulation_class (
    id                 reference_id PRIMARY KEY, -- the letter
    revision           record_revision NOT NULL,
    state              text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    catalogue_revision bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    modified_at        timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE insulation_class_revision (
    insulation_class_id reference_id NOT NULL REFERENCES insulation_class (id),
    revision            record_revision NOT NULL,
    state               text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    reason              text CHECK (length(reason) <= 1000),
    content_hash        sha256 NOT NULL,
    body                record_body NOT NULL,
    findings            record_findings NOT NULL DEFAULT '[]',
    created_at          timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (insulation_class_id, revision)
);
ALTER TABLE insulation_class ADD CONSTRAINT insulation_class_current FOREIGN KEY (id, revision)
    REFERENCES insulation_class_revision (insulation_class_id, revision) DEFERRABLE INITIALLY DEFERRED;

CREATE TABLE insulating_material (
    id                 reference_id PRIMARY KEY,
    revision           record_revision NOT NULL,
    state              text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    catalogue_revision bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    modified_at        timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE insulating_material_revision (
    insulating_material_id reference_id NOT NULL REFERENCES insulating_material (id),
    revision               record_revision NOT NULL,
    state                  text NOT NULL CHECK (state IN ('published', 'withdrawn')),
    reason                 text CHECK (length(reason) <= 1000),
    content_hash           sha256 NOT NULL,
    body                   record_body NOT NULL,
    findings               record_findings NOT NULL DEFAULT '[]',
    created_at             timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (insulating_material_id, revision)
);
ALTER TABLE insulating_material ADD CONSTRAINT insulating_material_current FOREIGN KEY (id, revision)
    REFERENCES insulating_material_revision (insulating_material_id, revision) DEFERRABLE INITIALLY DEFERRED;

SELECT guard_record('wire_size'), guard_record('insulation_class'), guard_record('insulating_material');

-- +goose Down
ALTER TABLE wire_size DROP CONSTRAINT wire_size_current;
ALTER TABLE insulation_class DROP CONSTRAINT insulation_class_current;
ALTER TABLE insulating_material DROP CONSTRAINT insulating_material_current;
DROP TABLE wire_size_revision, wire_size, insulation_class_revision, insulation_class,
    insulating_material_revision, insulating_material;
DROP DOMAIN reference_id;
