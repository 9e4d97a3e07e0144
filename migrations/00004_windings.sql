-- Winding records: heads and insert-only revisions, as for families.

-- +goose Up
CREATE TABLE winding (
    id                 uuid PRIMARY KEY,
    slug               slug NOT NULL UNIQUE,
    revision           record_revision NOT NULL,
    state              text NOT NULL CHECK (state IN ('published', 'superseded', 'withdrawn')),
    institute_id       uuid REFERENCES institute (id), -- NULL for imports without a proof
    family_id          uuid REFERENCES family (id),    -- NULL: a stator without a family
    core_id            uuid,
    poles              pole_count,                     -- of the scheme that stands, for the family list
    times_seen         integer NOT NULL DEFAULT 1 CHECK (times_seen >= 0 AND times_seen <= 1000000000),
    catalogue_revision bigint NOT NULL,
    created_at         timestamptz NOT NULL DEFAULT now(),
    modified_at        timestamptz NOT NULL DEFAULT now(),
    CHECK (core_id IS NULL OR family_id IS NOT NULL),
    FOREIGN KEY (family_id, core_id) REFERENCES core (family_id, id)
);
CREATE INDEX winding_catalogue_revision ON winding (catalogue_revision);
CREATE INDEX winding_family ON winding (family_id, slug);
CREATE INDEX winding_poles ON winding (poles, family_id) WHERE state = 'published';

CREATE TABLE winding_revision (
    winding_id       uuid NOT NULL REFERENCES winding (id),
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

    source           source_text GENERATED ALWAYS AS (body ->> 'source') STORED,
    licence          spdx GENERATED ALWAYS AS (body ->> 'licence') STORED,
    motor_type       text GENERATED ALWAYS AS (body ->> 'motor_type') STORED
                     CHECK (motor_type ~ '^[a-z_]{1,40}$'),
    origin           text GENERATED ALWAYS AS (body ->> 'origin') STORED
                     CHECK (origin IN ('factory', 'previously_rewound', 'unknown')),
    poles            pole_count GENERATED ALWAYS AS ((body -> 'scheme' ->> 'poles')::integer) STORED,
    plate_poles      pole_count GENERATED ALWAYS AS ((body -> 'nameplate' ->> 'poles')::integer) STORED,
    phases           integer GENERATED ALWAYS AS ((body -> 'core_as_measured' ->> 'phases')::integer) STORED CHECK (phases IN (1, 3)),
    rotor_position   text GENERATED ALWAYS AS (body -> 'core_as_measured' ->> 'rotor_position') STORED
                     CHECK (rotor_position IN ('inside', 'outside')),
    slots            slot_count GENERATED ALWAYS AS ((body -> 'core_as_measured' ->> 'slots')::integer) STORED,
    second_ring_slots slot_count GENERATED ALWAYS AS ((body -> 'core_as_measured' -> 'second_ring' ->> 'slots')::integer) STORED,
    gap_diameter_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'gap_diameter_mm')) STORED,
    gap_diameter_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'gap_diameter_mm')) STORED,
    back_diameter_mm            length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'back_diameter_mm')) STORED,
    back_diameter_um            integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'back_diameter_mm')) STORED,
    stack_length_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'stack_length_mm')) STORED,
    stack_length_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'stack_length_mm')) STORED,
    tooth_width_mm              length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'tooth_width_mm')) STORED,
    tooth_width_um              integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'tooth_width_mm')) STORED,
    slot_depth_mm               length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'slot_depth_mm')) STORED,
    slot_depth_um               integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'slot_depth_mm')) STORED,
    slot_opening_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'slot_opening_mm')) STORED,
    slot_opening_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'slot_opening_mm')) STORED,
    back_iron_mm                length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'back_iron_mm')) STORED,
    back_iron_um                integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'back_iron_mm')) STORED,
    slot_area_mm2               area_mm2     GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'slot_area_mm2')) STORED,
    second_ring_tooth_width_mm  length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'second_ring' -> 'tooth_width_mm')) STORED,
    second_ring_tooth_width_um  integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'second_ring' -> 'tooth_width_mm')) STORED,
    second_ring_slot_depth_mm   length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'second_ring' -> 'slot_depth_mm')) STORED,
    second_ring_slot_depth_um   integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'second_ring' -> 'slot_depth_mm')) STORED,
    second_ring_slot_opening_mm length_mm    GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'second_ring' -> 'slot_opening_mm')) STORED,
    second_ring_slot_opening_um integer      GENERATED ALWAYS AS (micrometres(body -> 'core_as_measured' -> 'second_ring' -> 'slot_opening_mm')) STORED,
    second_ring_slot_area_mm2   area_mm2     GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'second_ring' -> 'slot_area_mm2')) STORED,
    second_ring_turned_slots    slot_pitches GENERATED ALWAYS AS (measured(body -> 'core_as_measured' -> 'second_ring' -> 'turned_slots')) STORED,
    overhang_lead_mm            length_mm    GENERATED ALWAYS AS (measured(body -> 'overhang_lead_mm')) STORED,
    overhang_lead_um            integer      GENERATED ALWAYS AS (micrometres(body -> 'overhang_lead_mm')) STORED,
    overhang_far_mm             length_mm    GENERATED ALWAYS AS (measured(body -> 'overhang_far_mm')) STORED,
    overhang_far_um             integer      GENERATED ALWAYS AS (micrometres(body -> 'overhang_far_mm')) STORED,
    coil_length_mm              length_mm    GENERATED ALWAYS AS (measured(body -> 'coil_length_mm')) STORED,
    coil_length_um              integer      GENERATED ALWAYS AS (micrometres(body -> 'coil_length_mm')) STORED,
    coil_width_mm               length_mm    GENERATED ALWAYS AS (measured(body -> 'coil_width_mm')) STORED,
    coil_width_um               integer      GENERATED ALWAYS AS (micrometres(body -> 'coil_width_mm')) STORED,
    liner_thickness_mm          length_mm    GENERATED ALWAYS AS (measured(body -> 'liner' -> 'thickness_mm')) STORED,
    liner_thickness_um          integer      GENERATED ALWAYS AS (micrometres(body -> 'liner' -> 'thickness_mm')) STORED,
    sweep_mm                    length_mm    GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'sweep_mm')) STORED,
    sweep_um                    integer      GENERATED ALWAYS AS (micrometres(body -> 'nameplate' -> 'sweep_mm')) STORED,
    voltage_v                   voltage_v    GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'voltage_v')) STORED,
    frequency_hz                frequency_hz GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'frequency_hz')) STORED,
    power_w                     power_w      GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'power_w')) STORED,
    current_a                   current_a    GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'current_a')) STORED,
    speed_rpm                   speed_rpm    GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'speed_rpm')) STORED,
    capacitor_uf                capacitor_uf GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'capacitor_uf')) STORED,
    capacitor_v                 voltage_v    GENERATED ALWAYS AS (measured(body -> 'nameplate' -> 'capacitor_v')) STORED,

    PRIMARY KEY (winding_id, revision),
    -- Nothing is published without a second person's vetting; only an import may come without a proof.
    CONSTRAINT winding_revision_four_eyes CHECK (
        (author_person_id IS NOT NULL AND vetter_person_id IS NOT NULL AND author_person_id <> vetter_person_id)
        OR (imported AND author_person_id IS NULL AND vetter_person_id IS NULL)),
    CONSTRAINT winding_revision_withdrawn_for CHECK ((state = 'withdrawn') = (change = 'withdrawal') AND (state <> 'withdrawn' OR reason IS NOT NULL))
);
ALTER TABLE winding ADD CONSTRAINT winding_current FOREIGN KEY (id, revision)
    REFERENCES winding_revision (winding_id, revision) DEFERRABLE INITIALLY DEFERRED;

SELECT guard_record('winding');

-- +goose Down
ALTER TABLE winding DROP CONSTRAINT winding_current;
DROP TABLE winding_revision, winding;
