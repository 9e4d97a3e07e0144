package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"slices"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// EditDraft puts record in the place of the draft's content. A vetting is void then, and a submitted
// draft is a draft again.
func (s *Store) EditDraft(ctx context.Context, a catalog.Act, d catalog.DraftRef, record catalog.Record, render catalog.Render) (catalog.Reply, error) {
	return s.step(ctx, a, d, catalog.ActEdit, render, func(t *acting, row *draftRow) (catalog.Work, error) {
		whole, err := t.prepare(ctx, record, row.ID)
		if err != nil {
			return catalog.Work{}, err
		}
		c, err := contentOf(whole)
		if err != nil {
			return catalog.Work{}, err
		}
		next, err := row.work().Edit(c.hash)
		if err != nil {
			return next, err
		}
		_, err = t.Exec(ctx, draftContent[d.Kind], row.ID, c.hash[:], string(c.body), string(c.findings))
		if err == nil && d.Kind == catalog.KindWinding {
			_, err = t.Exec(ctx, `UPDATE winding_draft SET family_id = $2, core_id = $3 WHERE id = $1`, row.ID, c.familyID, c.coreID)
		}
		return next, err
	})
}

// The content is written before the state: a vetted row whose hash moved would break its constraint.
var draftContent = perKind(`
	UPDATE {kind}_draft SET content_hash = $2::bytea, body = $3, findings = $4,
		state = CASE WHEN content_hash = $2::bytea THEN state ELSE 'draft' END,
		vetter_person_id = CASE WHEN content_hash = $2::bytea THEN vetter_person_id END,
		vetted_hash = CASE WHEN content_hash = $2::bytea THEN vetted_hash END,
		vetted_at = CASE WHEN content_hash = $2::bytea THEN vetted_at END
	WHERE id = $1::uuid`)

// Submit hands a draft in for vetting. judged is the content that findings belong to: the draft is
// judged anew when it is handed in, against the catalogue as it stands.
func (s *Store) Submit(ctx context.Context, a catalog.Act, d catalog.DraftRef, judged catalog.Hash, findings []errs.Finding, render catalog.Render) (catalog.Reply, error) {
	return s.step(ctx, a, d, catalog.ActSubmit, render, func(t *acting, row *draftRow) (catalog.Work, error) {
		if judged != catalog.Hash(row.Hash) {
			return catalog.Work{}, changedMeanwhile()
		}
		next, err := row.work().Submit()
		if err != nil {
			return next, err
		}
		stored, err := json.Marshal(bundle.FindingsOf(findings))
		if err == nil {
			_, err = t.Exec(ctx, draftFindings[d.Kind], row.ID, string(stored))
		}
		return next, err
	})
}

var draftFindings = perKind(`UPDATE {kind}_draft SET findings = $2 WHERE id = $1::uuid`)

func changedMeanwhile() error {
	return errs.New(errs.KindPreconditionFailed, "The draft was changed after it was read; read it again.")
}

// Vet notes that the actor vouches for exactly the content that has the hash seen, with an answer to
// each finding.
func (s *Store) Vet(ctx context.Context, a catalog.Act, d catalog.DraftRef, seen catalog.Hash, answers []catalog.Answer, render catalog.Render) (catalog.Reply, error) {
	return s.step(ctx, a, d, catalog.ActVet, render, func(t *acting, row *draftRow) (catalog.Work, error) {
		next, err := row.work().Vet(a.Actor.Person, seen)
		if err != nil {
			return next, err
		}
		standing, err := readFindings(row.Findings)
		if err != nil {
			return next, err
		}
		returned, err := readFindings(row.ReturnedFindings)
		if err != nil {
			return next, err
		}
		if err := catalog.CheckAnswers(standing, returned, answers); err != nil {
			return next, err
		}
		return next, t.lookedAt(ctx, d.Kind, row, "vetted", "", answers)
	})
}

// Return sends a submitted or vetted draft back to its author, with the reason.
func (s *Store) Return(ctx context.Context, a catalog.Act, d catalog.DraftRef, reason string, render catalog.Render) (catalog.Reply, error) {
	return s.step(ctx, a, d, catalog.ActReturn, render, func(t *acting, row *draftRow) (catalog.Work, error) {
		next, err := row.work().Return()
		if err != nil {
			return next, err
		}
		return next, t.lookedAt(ctx, d.Kind, row, "returned", reason, nil)
	})
}

// lookedAt keeps what a vetter said of the content as it stands.
func (t *acting) lookedAt(ctx context.Context, kind catalog.Kind, row *draftRow, outcome, reason string, answers []catalog.Answer) error {
	checklist, err := json.Marshal(append([]bundle.Answer{}, bundle.AnswersOf(answers)...))
	if err != nil {
		return err
	}
	_, err = t.Exec(ctx, `
		INSERT INTO vetting (institute_id, record_kind, record_id, person_id, outcome, content_hash, reason, findings, answers)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		t.institute, string(kind), row.ID, t.person, outcome, row.Hash, nullText(reason), string(row.Findings), string(checklist))
	return err
}

// step is a change of one draft: found and locked, permitted, of the version seen; then the change,
// the new state, the audit row.
func (s *Store) step(ctx context.Context, a catalog.Act, d catalog.DraftRef, action catalog.Action, render catalog.Render, change func(*acting, *draftRow) (catalog.Work, error)) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		row, err := t.permitted(ctx, d, action)
		if err != nil {
			return catalog.Reply{}, err
		}
		next, err := change(t, row)
		if err != nil {
			return catalog.Reply{}, err
		}
		var vetter *string
		var vetted []byte
		if next.State == catalog.Vetted {
			vetter, vetted = &t.person, next.VettedHash[:]
		}
		if action != catalog.ActEdit { // an edit has set its state with its content
			_, err = t.Exec(ctx, draftState[d.Kind], row.ID, string(next.State), vetter, vetted)
		} else {
			_, err = t.Exec(ctx, draftVersion[d.Kind], row.ID)
		}
		if err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(action), kind: d.Kind, id: row.ID, from: catalog.State(row.State), to: next.State}); err != nil {
			return catalog.Reply{}, err
		}
		after, err := t.draft(ctx, d.Kind, row.ID)
		if err != nil {
			return catalog.Reply{}, err
		}
		return after.render(d.Kind, render)
	})
}

var (
	draftState = perKind(`
		UPDATE {kind}_draft SET state = $2, vetter_person_id = $3, vetted_hash = $4::bytea, vetted_at = CASE WHEN $4::bytea IS NOT NULL THEN now() END,
			version = version + 1, modified_at = now() WHERE id = $1::uuid`)
	draftVersion = perKind(`UPDATE {kind}_draft SET version = version + 1, modified_at = now() WHERE id = $1::uuid`)
)

// permitted finds and locks the draft of d and decides whether the actor may do action to it. What the
// actor may not know of is not found; a published record has no draft unless somebody corrects it.
func (t *acting) permitted(ctx context.Context, d catalog.DraftRef, action catalog.Action) (*draftRow, error) {
	if t.institute != "" {
		row, err := t.draft(ctx, d.Kind, d.ID)
		if err == nil {
			if err := catalog.Permit(t.Actor, action, row.object()); err != nil {
				return nil, err
			}
			if d.Versions != nil && !slices.Contains(d.Versions, row.Version) {
				return nil, errs.New(errs.KindPreconditionFailed, "The draft was changed since you read it; read it again and send its new tag.")
			}
			return row, nil
		}
		if !errors.Is(err, pgx.ErrNoRows) {
			return nil, err
		}
	}
	head, err := t.head(ctx, d.Kind, d.ID)
	if errs.KindOf(err) == errs.KindNotFound {
		// The answer about a foreign draft, whatever the key may do elsewhere.
		return nil, catalog.Permit(t.Actor, action, catalog.Object{State: catalog.Draft, Institute: "?"})
	}
	if err != nil {
		return nil, err
	}
	if err := catalog.Permit(t.Actor, action, head.object()); err != nil {
		return nil, err
	}
	return nil, errs.New(errs.KindConflict, "This record is "+head.State+", not a draft. Start an erratum to correct it.")
}

// headRow is a published record as permission and the rules of its life see it.
type headRow struct {
	ID, Slug, Institute, Author, Vetter, State string
	Revision                                   int
	Hash                                       []byte
	Body, Findings                             []byte
}

var headLocked = perKind(`
	SELECT h.id::text, h.slug, coalesce(i.slug, ''), coalesce(a.pseudonym, ''), coalesce(v.pseudonym, ''), h.state, h.revision, r.content_hash, r.body, r.findings
	FROM {kind} h JOIN {kind}_revision r ON r.{kind}_id = h.id AND r.revision = h.revision
	LEFT JOIN institute i ON i.id = h.institute_id LEFT JOIN person a ON a.id = r.author_person_id LEFT JOIN person v ON v.id = r.vetter_person_id
	WHERE h.id = $1::uuid OR h.slug = $2 FOR UPDATE OF h`)

// head reads a published record by UUID or slug and locks it.
func (t *acting) head(ctx context.Context, kind catalog.Kind, ref string) (*headRow, error) {
	id, slug := splitRef(ref)
	rows, err := t.Query(ctx, headLocked[kind], id, slug)
	if err != nil {
		return nil, err
	}
	h, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[headRow])
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, errs.New(errs.KindNotFound, "There is no such record.")
	}
	return &h, err
}

func (h *headRow) object() catalog.Object {
	return catalog.Object{Institute: h.Institute, Author: h.Author, State: catalog.State(h.State)}
}

func (h *headRow) shelf() catalog.Shelf {
	return catalog.Shelf{Revision: h.Revision, State: catalog.State(h.State)}
}
