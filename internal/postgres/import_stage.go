package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/errs"
)

// staged is one line of a bundle on its way into the tables. Everything in it was checked before:
// the tables' own constraints are the second wall.
type staged struct {
	line          int
	kind          string // wire|insulation_class|insulating_material|family|winding
	id            string // UUID for families and windings
	revision      int
	slug          string // families and windings
	state, reason string
	demo          bool
	familyID      *string
	coreID        *string
	poles         *int
	timesSeen     int
	hash          []byte // SHA-256 of the canonical form
	body          []byte // our own JSON
	findings      []byte // our own JSON, a list

	institute  string         // that it claims to come from
	doubts     []errs.Finding // the findings, until they are encoded
	proof      *proof         // the review that holds
	doubt, bad string         // why a review proves nothing, or is false
}

// createStage makes the tables that live until the end of the transaction. The verdicts stand apart,
// so that they are written without writing the wide rows again.
func createStage(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `
		CREATE TEMPORARY TABLE import_row (
			line integer, kind text, id text COLLATE "C", revision integer, slug text COLLATE "C", state text, reason text,
			demo boolean, family_id uuid, core_id uuid, poles integer, times_seen integer,
			content_hash bytea, body jsonb, findings jsonb,
			review_line integer, act text, signer text COLLATE "C", author text COLLATE "C", vetter text COLLATE "C", reason_code text, note text
		) ON COMMIT DROP`)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `
		CREATE TEMPORARY TABLE import_verdict (
			line integer, kind text, outcome text, code text, change text
		) ON COMMIT DROP`)
	return err
}

var stageColumns = []string{"line", "kind", "id", "revision", "slug", "state", "reason", "demo", "family_id", "core_id",
	"poles", "times_seen", "content_hash", "body", "findings", "review_line", "act", "signer", "author", "vetter", "reason_code", "note"}

// copyStage streams rows into the stage until next gives none. It holds one row at a time.
func copyStage(ctx context.Context, tx pgx.Tx, next func() (*staged, error)) error {
	_, err := tx.CopyFrom(ctx, pgx.Identifier{"import_row"}, stageColumns, pgx.CopyFromFunc(func() ([]any, error) {
		r, err := next()
		if err != nil || r == nil {
			return nil, err
		}
		row := []any{r.line, r.kind, r.id, r.revision, nullText(r.slug), r.state, nullText(r.reason), r.demo, r.familyID, r.coreID,
			r.poles, r.timesSeen, r.hash, r.body, r.findings}
		if p := r.proof; p != nil {
			return append(row, p.line, p.statement.Act, p.statement.Institute, p.statement.Author, p.statement.Vetter, p.reason(), p.note), nil
		}
		return append(row, nil, nil, nil, nil, nil, nil, nil), nil
	}))
	if err != nil {
		return err
	}
	// Without figures of its own the planner would take the stage for tiny.
	_, err = tx.Exec(ctx, `ANALYZE import_row`)
	return err
}

// nullText stores an absent text as NULL.
func nullText(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// lockCatalogue keeps other publishing transactions out until the end of this one. Everything that
// is decided after it stays true until the commit.
func lockCatalogue(ctx context.Context, tx pgx.Tx, wait time.Duration) error {
	if _, err := tx.Exec(ctx, `SELECT set_config('lock_timeout', $1, true)`, milliseconds(wait)); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `SELECT FROM catalogue_state FOR UPDATE`)
	return err
}
