package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// CodeJobSeen marks a sighting that was counted before.
const CodeJobSeen = "SEEN_FOR_THIS_JOB"

// Sight notes that the actor met a published winding on a job, which counts once for each job of an
// institute. It raises times_seen.
func (s *Store) Sight(ctx context.Context, a catalog.Act, ref, job string, render catalog.Render) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		h, err := t.published(ctx, catalog.KindWinding, ref, catalog.ActSight)
		if err != nil {
			return catalog.Reply{}, err
		}
		if h.State != string(catalog.Published) {
			return catalog.Reply{}, errs.New(errs.KindConflict, "This record is "+h.State+"; sightings are of published records.")
		}
		done, err := t.Exec(ctx, `
			INSERT INTO sighting (winding_id, institute_id, person_id, job) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, h.ID, t.institute, t.person, job)
		if err != nil {
			return catalog.Reply{}, err
		}
		if done.RowsAffected() == 0 {
			return catalog.Reply{}, errs.New(errs.KindConflict, "", errs.Field{Pointer: "/job", Code: CodeJobSeen, Detail: "this winding was counted for this job already; each job counts once", Got: job})
		}
		if _, err := t.Exec(ctx, `UPDATE winding SET times_seen = times_seen + 1 WHERE id = $1::uuid`, h.ID); err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActSight), kind: catalog.KindWinding, id: h.ID, revision: h.Revision}); err != nil {
			return catalog.Reply{}, err
		}
		return t.renderPublished(ctx, catalog.KindWinding, h.ID, render)
	})
}

// Report stores a problem report; it shows on the record until it is answered. answer makes the
// reply out of it.
func (s *Store) Report(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		h, err := t.published(ctx, kind, ref, catalog.ActReport)
		if err != nil {
			return catalog.Reply{}, err
		}
		r, err := one(ctx, t, pgx.RowToStructByPos[catalog.ProblemReport], `
			INSERT INTO problem_report (id, record_kind, record_id, institute_id, person_id, text) VALUES (gen_random_uuid(), $1, $2, $3, $4, $5)
			RETURNING id::text, $6, text, created_at, answered_at, coalesce(answer, '')`, string(kind), h.ID, t.institute, t.person, text, t.Actor.Institute)
		if err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActReport), kind: kind, id: h.ID, revision: h.Revision}); err != nil {
			return catalog.Reply{}, err
		}
		return answer(r)
	})
}

// AnswerReport closes a problem report of a record that the actor's institute holds.
func (s *Store) AnswerReport(ctx context.Context, a catalog.Act, kind catalog.Kind, ref, report, text string, answer func(catalog.ProblemReport) (catalog.Reply, error)) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		h, err := t.published(ctx, kind, ref, catalog.ActAnswer)
		if err != nil {
			return catalog.Reply{}, err
		}
		r, err := one(ctx, t, pgx.RowToStructByPos[catalog.ProblemReport], `
			UPDATE problem_report p SET answered_at = now(), answered_by = $4, answer = $5 FROM institute i
			WHERE i.id = p.institute_id AND p.id = $1::uuid AND p.record_id = $2 AND p.record_kind = $3 AND p.answered_at IS NULL
			RETURNING p.id::text, i.slug, p.text, p.created_at, p.answered_at, p.answer`, report, h.ID, string(kind), t.person, text)
		if errors.Is(err, pgx.ErrNoRows) {
			return catalog.Reply{}, errs.New(errs.KindConflict, "There is no open problem report of this id on the record.")
		}
		if err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActAnswer), kind: kind, id: h.ID, revision: h.Revision}); err != nil {
			return catalog.Reply{}, err
		}
		return answer(r)
	})
}

// Reports lists the problem reports of a published record, open ones first, at most a hundred.
func (s *Store) Reports(ctx context.Context, kind catalog.Kind, ref string) ([]catalog.ProblemReport, error) {
	id, slug := splitRef(ref)
	var found []catalog.ProblemReport
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var record string
		if err := conn.QueryRow(ctx, recordID[kind], id, slug).Scan(&record); err != nil {
			return err
		}
		rows, err := conn.Query(ctx, `
			SELECT p.id::text, i.slug, p.text, p.created_at, p.answered_at, coalesce(p.answer, '') FROM problem_report p JOIN institute i ON i.id = p.institute_id
			WHERE p.record_id = $1 AND p.record_kind = $2 ORDER BY p.answered_at IS NOT NULL, p.created_at DESC, p.id LIMIT 100`, record, string(kind))
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, pgx.RowToStructByPos[catalog.ProblemReport])
		return err
	})
	return found, noRow(err, "There is no such record.", "problem reports could not be read")
}

var recordID = perKind(`SELECT id::text FROM {kind} WHERE id = $1::uuid OR slug = $2`)

var revisionRows = map[catalog.Kind]string{
	catalog.KindFamily: `
		SELECT h.id::text, h.slug, ` + provenanceColumns + `, NULL::jsonb, coalesce(s.note, ''), r.change, h.revision
		FROM family h JOIN family_revision r ON r.family_id = h.id` + familyJoins + `
		LEFT JOIN statement s ON s.record_kind = 'family' AND s.record_id = h.id AND s.revision = r.revision
		WHERE (h.id = $1::uuid OR h.slug = $2) AND ($3 = 0 OR r.revision = $3) AND r.revision > $4 ORDER BY r.revision LIMIT $5`,
	catalog.KindWinding: `
		SELECT h.id::text, h.slug, ` + provenanceColumns + `, h.times_seen, coalesce(s.note, ''), r.change, h.revision
		FROM winding h JOIN winding_revision r ON r.winding_id = h.id` + windingJoins + `
		LEFT JOIN statement s ON s.record_kind = 'winding' AND s.record_id = h.id AND s.revision = r.revision
		WHERE (h.id = $1::uuid OR h.slug = $2) AND ($3 = 0 OR r.revision = $3) AND r.revision > $4 ORDER BY r.revision LIMIT $5`,
}

// Revision gives one revision of a published record.
func (s *Store) Revision(ctx context.Context, kind catalog.Kind, ref string, revision int) (catalog.RevisionOf, error) {
	list, err := s.revisions(ctx, kind, ref, revision, 0, 1)
	if err == nil && len(list) == 0 {
		err = errs.New(errs.KindNotFound, "The record has no such revision.")
	}
	if err != nil {
		return catalog.RevisionOf{}, err
	}
	return list[0], nil
}

// Revisions lists the revisions of a published record after one, oldest first, and the one to go on after (0 = end).
func (s *Store) Revisions(ctx context.Context, kind catalog.Kind, ref string, after, size int) ([]catalog.RevisionOf, int, error) {
	list, err := s.revisions(ctx, kind, ref, 0, after, size+1)
	if err == nil && len(list) == 0 && after == 0 {
		err = errs.New(errs.KindNotFound, "There is no such record.")
	}
	if err != nil || len(list) <= size {
		return list, 0, err
	}
	list = list[:size]
	return list, list[size-1].Record.Standing().Revision, nil
}

func (s *Store) revisions(ctx context.Context, kind catalog.Kind, ref string, only, after, limit int) ([]catalog.RevisionOf, error) {
	id, slug := splitRef(ref)
	var found []catalog.RevisionOf
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, revisionRows[kind], id, slug, only, after, limit)
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (catalog.RevisionOf, error) { return scanRevision(kind, row) })
		return err
	})
	return found, wrap(err, "revisions could not be read")
}

// scanRevision turns a row into a revision. One that is no longer the newest is superseded.
func scanRevision(kind catalog.Kind, row pgx.CollectableRow) (catalog.RevisionOf, error) {
	type tail struct {
		Statement, Change string
		Newest            int
	}
	var out catalog.RevisionOf
	stands := func(p *catalog.Provenance, newest int) {
		if p.State == catalog.Published && p.Revision < newest {
			p.State = catalog.Superseded
		}
	}
	if kind == catalog.KindFamily {
		r, err := pgx.RowToStructByPos[struct {
			familyRow
			tail
		}](row)
		if err != nil {
			return out, err
		}
		f, err := r.family()
		stands(&f.Provenance, r.Newest)
		return catalog.RevisionOf{Record: f, Statement: r.Statement, Change: r.Change}, err
	}
	r, err := pgx.RowToStructByPos[struct {
		windingRow
		tail
	}](row)
	if err != nil {
		return out, err
	}
	w, err := r.winding()
	stands(&w.Provenance, r.Newest)
	return catalog.RevisionOf{Record: w, Statement: r.Statement, Change: r.Change}, err
}
