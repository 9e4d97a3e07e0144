-- A proof may come after its revision. The revision is never rewritten: whom the proof names stands here.

-- +goose Up
CREATE TABLE late_proof (
    record_kind      text NOT NULL CHECK (record_kind IN ('family', 'winding')),
    record_id        uuid NOT NULL,
    revision         record_revision NOT NULL,
    author_person_id uuid NOT NULL REFERENCES person (id),
    vetter_person_id uuid NOT NULL REFERENCES person (id),
    created_at       timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (record_kind, record_id, revision),
    FOREIGN KEY (record_kind, record_id, revision) REFERENCES statement (record_kind, record_id, revision),
    CONSTRAINT late_proof_four_eyes CHECK (author_person_id <> vetter_person_id)
);
SELECT guard_insert_only('late_proof');

-- +goose Down
DROP TABLE late_proof;
