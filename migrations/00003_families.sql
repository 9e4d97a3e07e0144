-- Stator families and their cores (stacks).
--
-- A head holds what identifies a record and which revision stands; its revisions are insert-only.
-- Drafts live elsewhere (00005): everything here is public, so no row-level security is needed.

-- +goose Up
CREATE TABLE family (
    id                 uuid PRIMARY KEY,
    slug               slug NOT NULL UNIQUE,
    revision           record_revision NOT NULL,
    state              text NOT NULL CHECK (state IN ('published', 'superseded', 'withdrawn')),
    institute_id       uuid REFERENCES institute (id), -- NULL for imports without a proof
    catalogue_revision bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    modified_at        timestamptz NOT NULL DEFAULT now()
);
CREATE INDEX family_catalogue_revision ON family (catalogue_revision);

-- The typed columns are made from the body, so that no figure has two homes. numeric keeps the
-- digits as typed; the _um columns are for searches.
CREATE TABLE family_revision (
    family_id        uuid NOT NULL REFERENCES family (id),
    revision         record_revision NOT NULL,
    state            text NOT NULL CHECK (state IN ('published', 'superseded', 'withdrawn')),
    change           text NOT NULL CHECK (change IN ('publication', 'supersession', 'withdrawal', 'erratum')),
    reason           text CHECK (length(reason) BETWEEN 1 AND 1000),
    imported         boolean NOT NULL,
    demo             boolean NOT NULL,
    author_person_id uuid REFERENCES person (id),
    vetter_person_id uuid REFERENCES person (id),
    content_hash     sha256 NOT NULL,
    body             record_body NOT NULL,
    findings         record_findings NOT NULL DEFAULT '[]',
    created_at       timestamptz NOT NULL DEFAULT now(),

    title            text NOT NULL GENERATED ALWAYS AS (coalesce(body ->> 'title', '')) STORED CHECK (length(title) <= 200),
    source           source_text GENERATED ALWAYS AS (body ->> 'source') STORED,
    licence          spdx GENERATED ALWAYS AS (body ->> 'licence') STORED,
    application      text GENERATED ALWAYS AS (body ->> 'application') STORED
                     CHECK (application IN ('ceiling_fan', 'table_fan', 'exhaust_fan', 'blower', 'pump', 'grinder',
                                            'air_cooler', 'washing_machine', 'compressor', 'general')),
    phases           integer GENERATED ALWAYS AS ((body -> 'core' ->> 'phases')::integer) STORED CHECK (phases IN (1, 3)),
    rotor_position   text GENERATED ALWAYS AS (body -> 'core' ->> 'rotor_position') STORED
                     CHECK (rotor_position IN ('inside', 'outside')),
    slots            slot_count GENERATED ALWAYS AS ((body -> 'core' ->> 'slots')::integer) STORED,
    slot_area_basis  text GENERATED ALWAYS AS (body -> 'core' ->> 'slot_area_basis') STORED
                     CHECK (slot_area_basis IN ('net', 'gross')),
    second_ring_slots slot_count GENERATED ALWAYS AS ((body -> 'core' -> 'second_ring' ->> 'slots')::integer) STORED,
    gap_diameter_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'gap_diameter_mm')) STORED,
    gap_diameter_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'gap_diameter_mm')) STORED,
    back_diameter_mm            length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'back_diameter_mm')) STORED,
    back_diameter_um            integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'back_diameter_mm')) STORED,
    tooth_width_mm              length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'tooth_width_mm')) STORED,
    tooth_width_um              integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'tooth_width_mm')) STORED,
    slot_depth_mm               length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'slot_depth_mm')) STORED,
    slot_depth_um               integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'slot_depth_mm')) STORED,
    slot_opening_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'slot_opening_mm')) STORED,
    slot_opening_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'slot_opening_mm')) STORED,
    back_iron_mm                length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'back_iron_mm')) STORED,
    back_iron_um                integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'back_iron_mm')) STORED,
    slot_area_mm2               area_mm2     GENERATED ALWAYS AS (measured(body -> 'core' -> 'slot_area_mm2')) STORED,
    second_ring_tooth_width_mm  length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'second_ring' -> 'tooth_width_mm')) STORED,
    second_ring_tooth_width_um  integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'second_ring' -> 'tooth_width_mm')) STORED,
    second_ring_slot_depth_mm   length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'second_ring' -> 'slot_depth_mm')) STORED,
    second_ring_slot_depth_um   integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'second_ring' -> 'slot_depth_mm')) STORED,
    second_ring_slot_opening_mm length_mm    GENERATED ALWAYS AS (measured(body -> 'core' -> 'second_ring' -> 'slot_opening_mm')) STORED,
    second_ring_slot_opening_um integer      GENERATED ALWAYS AS (micrometres(body -> 'core' -> 'second_ring' -> 'slot_opening_mm')) STORED,
    second_ring_slot_area_mm2   area_mm2     GENERATED ALWAYS AS (measured(body -> 'core' -> 'second_ring' -> 'slot_area_mm2')) STORED,
    second_ring_turned_slots    slot_pitches GENERATED ALWAYS AS (measured(body -> 'core' -> 'second_ring' -> 'turned_slots')) STORED,

    PRIMARY KEY (family_id, revision),
    -- Nothing is published without a second person's vetting; only an import may come without a proof.
    CONSTRAINT family_revision_four_eyes CHECK (
        (author_person_id IS NOT NULL AND vetter_person_id IS NOT NULL AND author_person_id <> vetter_person_id)
        OR (imported AND author_person_id IS NULL AND vetter_person_id IS NULL)),
    CONSTRAINT family_revision_withdrawn_for CHECK ((state = 'withdrawn') = (change = 'withdrawal') AND (state <> 'withdrawn' OR reason IS NOT NULL))
);
ALTER TABLE family ADD CONSTRAINT family_current FOREIGN KEY (id, revision)
    REFERENCES family_revision (family_id, revision) DEFERRABLE INITIALLY DEFERRED;
CREATE INDEX family_revision_slots ON family_revision (slots, phases);
CREATE INDEX family_revision_gap_diameter ON family_revision (gap_diameter_um);
CREATE INDEX family_revision_back_diameter ON family_revision (back_diameter_um);

-- A core is one stack of a family. Its id is never reused, and never moves to another family.
CREATE TABLE core (
    id         uuid PRIMARY KEY,
    family_id  uuid NOT NULL REFERENCES family (id),
    created_at timestamptz NOT NULL DEFAULT now(),
    UNIQUE (family_id, id)
);
-- The cores as one revision of the family lists them.
CREATE TABLE family_core (
    family_id       uuid NOT NULL,
    revision        record_revision NOT NULL,
    core_id         uuid NOT NULL,
    stack_length_mm length_mm,
    stack_length_um integer GENERATED ALWAYS AS (round(stack_length_mm * 1000)::integer) STORED,
    PRIMARY KEY (family_id, revision, core_id),
    FOREIGN KEY (family_id, revision) REFERENCES family_revision (family_id, revision),
    FOREIGN KEY (family_id, core_id) REFERENCES core (family_id, id)
);
CREATE INDEX family_core_stack_length ON family_core (stack_length_um);

SELECT guard_record('family'), guard_insert_only('core'), guard_insert_only('family_core');

-- +goose Down
ALTER TABLE family DROP CONSTRAINT family_current;
DROP TABLE family_core, core, family_revision, family;
