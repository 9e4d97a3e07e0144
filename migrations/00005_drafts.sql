-- Private drafts: what an institute works on before it is published. Row-level security is the
-- second wall behind the predicates of the queries; FORCE makes it hold for the owner too.
-- The institute is told by set_config('statorbook.institute', ..., true) inside the transaction,
-- which is safe behind a transaction-mode pooler.

-- +goose Up
-- +goose StatementBegin
CREATE FUNCTION acting_institute() RETURNS uuid
    LANGUAGE sql STABLE PARALLEL SAFE
    AS $$ SELECT nullif(current_setting('statorbook.institute', true), '')::uuid $$;
-- +goose StatementEnd

CREATE TABLE family_draft (
    id               uuid PRIMARY KEY, -- becomes the id of the published record
    institute_id     uuid NOT NULL REFERENCES institute (id),
    author_person_id uuid NOT NULL,
    state            text NOT NULL CHECK (state IN ('draft', 'submitted', 'vetted')),
    version          integer NOT NULL DEFAULT 1 CHECK (version >= 1 AND version <= 1000000000),
    base_revision    record_revision, -- the published revision that this one corrects
    content_hash     sha256 NOT NULL,
    body             record_body NOT NULL,
    findings         record_findings NOT NULL DEFAULT '[]',
    vetter_person_id uuid REFERENCES person (id),
    vetted_hash      sha256,
    vetted_at        timestamptz,
    created_at       timestamptz NOT NULL DEFAULT now(),
    modified_at      timestamptz NOT NULL DEFAULT now(),
    FOREIGN KEY (institute_id, author_person_id) REFERENCES person (institute_id, id),
    -- Vetted means: by somebody else, and exactly this content.
    CONSTRAINT family_draft_four_eyes CHECK (
        (state = 'vetted' AND vetter_person_id IS NOT NULL AND vetter_person_id <> author_person_id
            AND vetted_hash IS NOT NULL AND vetted_hash = content_hash AND vetted_at IS NOT NULL)
        OR (state <> 'vetted' AND vetter_person_id IS NULL AND vetted_hash IS NULL AND vetted_at IS NULL))
);
CREATE INDEX family_draft_institute ON family_draft (institute_id, state, id);
ALTER TABLE family_draft ENABLE ROW LEVEL SECURITY;
ALTER TABLE family_draft FORCE ROW LEVEL SECURITY;
CREATE POLICY own_institute ON family_draft
    USING (institute_id = acting_institute()) WITH CHECK (institute_id = acting_institute());

CREATE TABLE winding_draft (
    id               uuid PRIMARY KEY, -- becomes the id of the published record
    institute_id     uuid NOT NULL REFERENCES institute (id),
    author_person_id uuid NOT NULL,
    state            text NOT NULL CHECK (state IN ('draft', 'submitted', 'vetted')),
    version          integer NOT NULL DEFAULT 1 CHECK (version >= 1 AND version <= 1000000000),
    base_revision    record_revision, -- the published revision that this one corrects
    family_id        uuid, -- of a published family, or of a draft of the same institute
    core_id          uuid,
    content_hash     sha256 NOT NULL,
    body             record_body NOT NULL,
    findings         record_findings NOT NULL DEFAULT '[]',
    vetter_person_id uuid REFERENCES person (id),
    vetted_hash      sha256,
    vetted_at        timestamptz,
    created_at       timestamptz NOT NULL DEFAULT now(),
    modified_at      timestamptz NOT NULL DEFAULT now(),
    FOREIGN KEY (institute_id, author_person_id) REFERENCES person (institute_id, id),
    -- Vetted means: by somebody else, and exactly this content.
    CONSTRAINT winding_draft_four_eyes CHECK (
        (state = 'vetted' AND vetter_person_id IS NOT NULL AND vetter_person_id <> author_person_id
            AND vetted_hash IS NOT NULL AND vetted_hash = content_hash AND vetted_at IS NOT NULL)
        OR (state <> 'vetted' AND vetter_person_id IS NULL AND vetted_hash IS NULL AND vetted_at IS NULL))
);
CREATE INDEX winding_draft_institute ON winding_draft (institute_id, state, id);
ALTER TABLE winding_draft ENABLE ROW LEVEL SECURITY;
ALTER TABLE winding_draft FORCE ROW LEVEL SECURITY;
CREATE POLICY own_institute ON winding_draft
    USING (institute_id = acting_institute()) WITH CHECK (institute_id = acting_institute());

-- +goose Down
DROP TABLE winding_draft, family_draft;
DROP FUNCTION acting_institute();
