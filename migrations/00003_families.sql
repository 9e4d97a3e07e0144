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

-- numeric keeps the digits as typed; the _um columns are for searches.
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

    title            text NOT NULL CHECK (length(title) <= 200),
    source           source_text,
    licence          spdx,
    application      text CHECK (application IN ('ceiling_fan', 'table_fan', 'exhaust_fan', 'blower', 'pump', 'grinder',
                                            'air_cooler', 'washing_machine', 'compressor', 'general')),
    phases           integer CHECK (phases IN (1, 3)),
    rotor_position   text CHECK (rotor_position IN ('inside', 'outside')),
    slots            slot_count,
    slot_area_basis  text CHECK (slot_area_basis IN ('net', 'gross')),
    second_ring_slots slot_count,
    gap_diameter_mm             length_mm,
    gap_diameter_um             integer      GENERATED ALWAYS AS (round(gap_diameter_mm * 1000)::integer) STORED,
    back_diameter_mm            length_mm,
    back_diameter_um            integer      GENERATED ALWAYS AS (round(back_diameter_mm * 1000)::integer) STORED,
    tooth_width_mm              length_mm,
    tooth_width_um              integer      GENERATED ALWAYS AS (round(tooth_width_mm * 1000)::integer) STORED,
    slot_depth_mm               length_mm,
    slot_depth_um               integer      GENERATED ALWAYS AS (round(slot_depth_mm * 1000)::integer) STORED,
    slot_opening_mm             length_mm,
    slot_opening_um             integer      GENERATED ALWAYS AS (round(slot_opening_mm * 1000)::integer) STORED,
    back_iron_mm                length_mm,
    back_iron_um                integer      GENERATED ALWAYS AS (round(back_iron_mm * 1000)::integer) STORED,
    slot_area_mm2               area_mm2,
    second_ring_tooth_width_mm  length_mm,
    second_ring_tooth_width_um  integer      GENERATED ALWAYS AS (round(second_ring_tooth_width_mm * 1000)::integer) STORED,
    second_ring_slot_depth_mm   length_mm,
    second_ring_slot_depth_um   integer      GENERATED ALWAYS AS (round(second_ring_slot_depth_mm * 1000)::integer) STORED,
    second_ring_slot_opening_mm length_mm,
    second_ring_slot_opening_um integer      GENERATED ALWAYS AS (round(second_ring_slot_opening_mm * 1000)::integer) STORED,
    second_ring_slot_area_mm2   area_mm2,
    second_ring_turned_slots    slot_pitches,

    PRIMARY KEY (family_id, revision),
    -- Nothing is published without a second person's vetting; only an import may come without a proof.
    CONSTRAINT family_revision_four_eyes CHECK (
        (author_person_id IS NOT NULL AND vetter_person_id IS NOT NULL AND author_person_id <> vetter_person_id)
        OR (imported AND author_person_id IS NULL AND vetter_person_id IS NULL)),
    CONSTRAINT family_revision_withdrawn_for CHECK ((state = 'withdrawn') = (change = 'withdrawal') AND (state <> 'withdrawn' OR reason IS NOT NULL))
);

-- The typed columns are read from the body by a trigger, whatever the inserter says, so that no
-- figure has two homes. (As generated columns they cost four times as much.)
-- +goose StatementBegin
CREATE FUNCTION read_family_body() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
BEGIN
    SELECT
        coalesce(b.title, ''), b.application, b.source, b.licence, c.phases, c.rotor_position, c.slots, c.slot_area_basis,
        measured(c.gap_diameter_mm), measured(c.back_diameter_mm), measured(c.tooth_width_mm), measured(c.slot_depth_mm),
        measured(c.slot_opening_mm), measured(c.back_iron_mm), measured(c.slot_area_mm2), r.slots, measured(r.tooth_width_mm),
        measured(r.slot_depth_mm), measured(r.slot_opening_mm), measured(r.slot_area_mm2), measured(r.turned_slots)
    INTO
        NEW.title, NEW.application, NEW.source, NEW.licence, NEW.phases, NEW.rotor_position, NEW.slots, NEW.slot_area_basis, NEW.gap_diameter_mm,
        NEW.back_diameter_mm, NEW.tooth_width_mm, NEW.slot_depth_mm, NEW.slot_opening_mm, NEW.back_iron_mm, NEW.slot_area_mm2, NEW.second_ring_slots,
        NEW.second_ring_tooth_width_mm, NEW.second_ring_slot_depth_mm, NEW.second_ring_slot_opening_mm, NEW.second_ring_slot_area_mm2,
        NEW.second_ring_turned_slots
    FROM jsonb_to_record(NEW.body) b (title text, application text, source text, licence text, core jsonb)
        LEFT JOIN LATERAL jsonb_to_record(b.core) c (phases integer, rotor_position text, slots integer, slot_area_basis text,
            gap_diameter_mm jsonb, back_diameter_mm jsonb, stack_length_mm jsonb,
            tooth_width_mm jsonb, slot_depth_mm jsonb, slot_opening_mm jsonb, back_iron_mm jsonb, slot_area_mm2 jsonb, second_ring jsonb) ON true
        LEFT JOIN LATERAL jsonb_to_record(c.second_ring) r (slots integer, tooth_width_mm jsonb, slot_depth_mm jsonb,
            slot_opening_mm jsonb, slot_area_mm2 jsonb, turned_slots jsonb) ON true;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER read_body BEFORE INSERT ON family_revision FOR EACH ROW EXECUTE FUNCTION read_family_body();

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
-- A stack that joined a family by a line of its own, without a new revision of the family. The
-- highest revision stands.
CREATE TABLE added_core (
    core_id         uuid NOT NULL,
    revision        record_revision NOT NULL,
    family_id       uuid NOT NULL,
    content_hash    sha256 NOT NULL,
    stack_length_mm length_mm,
    stack_length_um integer GENERATED ALWAYS AS (round(stack_length_mm * 1000)::integer) STORED,
    created_at      timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (core_id, revision),
    FOREIGN KEY (family_id, core_id) REFERENCES core (family_id, id)
);
CREATE INDEX added_core_family ON added_core (family_id);
CREATE TRIGGER bump AFTER INSERT ON added_core FOR EACH STATEMENT EXECUTE FUNCTION bump_catalogue();

SELECT guard_record('family'), guard_insert_only('core'), guard_insert_only('family_core'), guard_insert_only('added_core');

-- +goose Down
ALTER TABLE family DROP CONSTRAINT family_current;
DROP TABLE added_core, family_core, core, family_revision, family;
DROP FUNCTION read_family_body();
