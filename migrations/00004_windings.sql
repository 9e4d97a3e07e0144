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

    source           source_text,
    licence          spdx,
    motor_type       text CHECK (motor_type ~ '^[a-z_]{1,40}$'),
    origin           text CHECK (origin IN ('factory', 'previously_rewound', 'unknown')),
    poles            pole_count,
    plate_poles      pole_count,
    phases           integer CHECK (phases IN (1, 3)),
    rotor_position   text CHECK (rotor_position IN ('inside', 'outside')),
    slots            slot_count,
    second_ring_slots slot_count,
    gap_diameter_mm             length_mm,
    gap_diameter_um             integer      GENERATED ALWAYS AS (round(gap_diameter_mm * 1000)::integer) STORED,
    back_diameter_mm            length_mm,
    back_diameter_um            integer      GENERATED ALWAYS AS (round(back_diameter_mm * 1000)::integer) STORED,
    stack_length_mm             length_mm,
    stack_length_um             integer      GENERATED ALWAYS AS (round(stack_length_mm * 1000)::integer) STORED,
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
    overhang_lead_mm            length_mm,
    overhang_lead_um            integer      GENERATED ALWAYS AS (round(overhang_lead_mm * 1000)::integer) STORED,
    overhang_far_mm             length_mm,
    overhang_far_um             integer      GENERATED ALWAYS AS (round(overhang_far_mm * 1000)::integer) STORED,
    coil_length_mm              length_mm,
    coil_length_um              integer      GENERATED ALWAYS AS (round(coil_length_mm * 1000)::integer) STORED,
    coil_width_mm               length_mm,
    coil_width_um               integer      GENERATED ALWAYS AS (round(coil_width_mm * 1000)::integer) STORED,
    liner_thickness_mm          length_mm,
    liner_thickness_um          integer      GENERATED ALWAYS AS (round(liner_thickness_mm * 1000)::integer) STORED,
    sweep_mm                    length_mm,
    sweep_um                    integer      GENERATED ALWAYS AS (round(sweep_mm * 1000)::integer) STORED,
    voltage_v                   voltage_v,
    frequency_hz                frequency_hz,
    power_w                     power_w,
    current_a                   current_a,
    speed_rpm                   speed_rpm,
    capacitor_uf                capacitor_uf,
    capacitor_v                 voltage_v,

    PRIMARY KEY (winding_id, revision),
    -- Nothing is published without a second person's vetting; only an import may come without a proof.
    CONSTRAINT winding_revision_four_eyes CHECK (
        (author_person_id IS NOT NULL AND vetter_person_id IS NOT NULL AND author_person_id <> vetter_person_id)
        OR (imported AND author_person_id IS NULL AND vetter_person_id IS NULL)),
    CONSTRAINT winding_revision_withdrawn_for CHECK ((state = 'withdrawn') = (change = 'withdrawal') AND (state <> 'withdrawn' OR reason IS NOT NULL))
);

-- The typed columns are read from the body by a trigger, whatever the inserter says, so that no
-- figure has two homes. (As generated columns they cost four times as much.)
-- +goose StatementBegin
CREATE FUNCTION read_winding_body() RETURNS trigger
    LANGUAGE plpgsql
    AS $$
BEGIN
    SELECT
        b.motor_type, b.origin, b.source, b.licence, (b.scheme ->> 'poles')::integer, c.phases, c.rotor_position, c.slots,
        measured(c.gap_diameter_mm), measured(c.back_diameter_mm), measured(c.stack_length_mm), measured(c.tooth_width_mm),
        measured(c.slot_depth_mm), measured(c.slot_opening_mm), measured(c.back_iron_mm), measured(c.slot_area_mm2), r.slots,
        measured(r.tooth_width_mm), measured(r.slot_depth_mm), measured(r.slot_opening_mm), measured(r.slot_area_mm2), measured(r.turned_slots),
        n.poles, measured(n.voltage_v), measured(n.frequency_hz), measured(n.power_w), measured(n.current_a), measured(n.speed_rpm),
        measured(n.capacitor_uf), measured(n.capacitor_v), measured(n.sweep_mm), measured(b.overhang_lead_mm), measured(b.overhang_far_mm),
        measured(b.coil_length_mm), measured(b.coil_width_mm), measured(b.liner -> 'thickness_mm')
    INTO
        NEW.motor_type, NEW.origin, NEW.source, NEW.licence, NEW.poles, NEW.phases, NEW.rotor_position, NEW.slots, NEW.gap_diameter_mm,
        NEW.back_diameter_mm, NEW.stack_length_mm, NEW.tooth_width_mm, NEW.slot_depth_mm, NEW.slot_opening_mm, NEW.back_iron_mm, NEW.slot_area_mm2,
        NEW.second_ring_slots, NEW.second_ring_tooth_width_mm, NEW.second_ring_slot_depth_mm, NEW.second_ring_slot_opening_mm,
        NEW.second_ring_slot_area_mm2, NEW.second_ring_turned_slots, NEW.plate_poles, NEW.voltage_v, NEW.frequency_hz, NEW.power_w, NEW.current_a,
        NEW.speed_rpm, NEW.capacitor_uf, NEW.capacitor_v, NEW.sweep_mm, NEW.overhang_lead_mm, NEW.overhang_far_mm, NEW.coil_length_mm,
        NEW.coil_width_mm, NEW.liner_thickness_mm
    FROM jsonb_to_record(NEW.body) b (motor_type text, origin text, source text, licence text, scheme jsonb, core_as_measured jsonb, nameplate jsonb,
            liner jsonb, overhang_lead_mm jsonb, overhang_far_mm jsonb, coil_length_mm jsonb, coil_width_mm jsonb)
        LEFT JOIN LATERAL jsonb_to_record(b.core_as_measured) c (phases integer, rotor_position text, slots integer, slot_area_basis text,
            gap_diameter_mm jsonb, back_diameter_mm jsonb, stack_length_mm jsonb,
            tooth_width_mm jsonb, slot_depth_mm jsonb, slot_opening_mm jsonb, back_iron_mm jsonb, slot_area_mm2 jsonb, second_ring jsonb) ON true
        LEFT JOIN LATERAL jsonb_to_record(c.second_ring) r (slots integer, tooth_width_mm jsonb, slot_depth_mm jsonb,
            slot_opening_mm jsonb, slot_area_mm2 jsonb, turned_slots jsonb) ON true
        LEFT JOIN LATERAL jsonb_to_record(b.nameplate) n (poles integer, voltage_v jsonb, frequency_hz jsonb, power_w jsonb, current_a jsonb,
            speed_rpm jsonb, capacitor_uf jsonb, capacitor_v jsonb, sweep_mm jsonb) ON true;
    RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER read_body BEFORE INSERT ON winding_revision FOR EACH ROW EXECUTE FUNCTION read_winding_body();

ALTER TABLE winding ADD CONSTRAINT winding_current FOREIGN KEY (id, revision)
    REFERENCES winding_revision (winding_id, revision) DEFERRABLE INITIALLY DEFERRED;

SELECT guard_record('winding');

-- +goose Down
ALTER TABLE winding DROP CONSTRAINT winding_current;
DROP TABLE winding_revision, winding;
DROP FUNCTION read_winding_body();
