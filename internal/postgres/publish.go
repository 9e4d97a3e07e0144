package postgres

import (
	"context"
	"encoding/hex"
	"errors"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// CodeSlugTaken marks a slug that another record has.
const CodeSlugTaken = "SLUG_TAKEN"

// Publish puts a vetted draft before the public: revision, statement, feed and audit in one
// transaction. slug names a record that is new, "" has one made from its id.
func (s *Store) Publish(ctx context.Context, a catalog.Act, d catalog.DraftRef, slug string, sign signer, render catalog.Render) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		row, err := t.permitted(ctx, d, catalog.ActPublish)
		if err != nil {
			return catalog.Reply{}, err
		}
		p := publication{acting: t, kind: d.Kind, draft: row, sign: sign}
		head, err := t.head(ctx, d.Kind, row.ID)
		if err == nil {
			p.shelf, p.slug = head.shelf(), head.Slug
		} else if errs.KindOf(err) != errs.KindNotFound {
			return catalog.Reply{}, err
		}
		if p.next, err = p.shelf.Publish(row.work()); err != nil {
			return catalog.Reply{}, err
		}
		if err := p.name(ctx, slug); err != nil {
			return catalog.Reply{}, err
		}
		if err := p.store(ctx); err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActPublish), kind: d.Kind, id: row.ID, revision: p.next.Revision,
			from: catalog.Vetted, to: catalog.Published, reasonCode: row.ReasonCode}); err != nil {
			return catalog.Reply{}, err
		}
		return t.renderPublished(ctx, d.Kind, row.ID, render)
	})
}

// publication is one draft on its way to the shelf.
type publication struct {
	*acting
	kind        catalog.Kind
	draft       *draftRow
	shelf, next catalog.Shelf
	slug        string // of the record that is there already, then of the one to be
	sign        signer
}

// name settles the slug. A record keeps the one that it was given first.
func (p *publication) name(ctx context.Context, wanted string) error {
	switch {
	case p.slug != "" && wanted != "" && wanted != p.slug:
		return errs.New(errs.KindImpossible, "", errs.Field{Pointer: "/slug", Code: "FIXED", Detail: "the record is called " + p.slug + " already; leave slug out", Got: wanted})
	case p.slug != "":
		return nil
	case wanted == "":
		p.slug = string(p.kind) + "-" + p.draft.ID[24:]
		return nil
	}
	var taken bool
	err := p.QueryRow(ctx, slugTaken[p.kind], wanted, p.draft.ID).Scan(&taken)
	if err == nil && taken {
		return errs.New(errs.KindConflict, "", errs.Field{Pointer: "/slug", Code: CodeSlugTaken, Detail: "another record is called so; choose another slug", Got: wanted})
	}
	p.slug = wanted
	return err
}

// A draft's id could be the wanted slug's record only by a head that was found before.
var slugTaken = perKind(`SELECT EXISTS (SELECT FROM {kind} WHERE slug = $1 AND id <> $2::uuid)`)

// store writes head and revision, tells the feed, signs, and ends the draft.
func (p *publication) store(ctx context.Context) error {
	change := "publication"
	if p.shelf.Revision > 0 {
		change = "erratum"
	}
	store := p.storeWinding
	if p.kind == catalog.KindFamily {
		store = p.storeFamily
	}
	if err := store(ctx, change); err != nil {
		return err
	}
	made := made{kind: p.kind, id: p.draft.ID, revision: p.next.Revision, change: change, reasonCode: p.draft.ReasonCode,
		hash: p.draft.Hash, institute: p.draft.Institute, author: p.draft.Author, vetter: p.draft.Vetter}
	if err := p.announce(ctx, made, p.sign); err != nil {
		return err
	}
	_, err := p.Exec(ctx, draftDelete[p.kind], p.draft.ID)
	return err
}

var draftDelete = perKind(`DELETE FROM {kind}_draft WHERE id = $1::uuid`)

func (p *publication) storeWinding(ctx context.Context, change string) error {
	if err := p.needFamily(ctx); err != nil {
		return err
	}
	_, err := p.Exec(ctx, `
		INSERT INTO winding (id, slug, revision, state, institute_id, family_id, core_id, poles)
		SELECT id, $2, $3, 'published', institute_id, family_id, core_id, nullif(body -> 'scheme' ->> 'poles', '0')::integer FROM winding_draft WHERE id = $1::uuid
		ON CONFLICT (id) DO UPDATE SET revision = excluded.revision, state = excluded.state, family_id = excluded.family_id,
			core_id = excluded.core_id, poles = excluded.poles, modified_at = now()`, p.draft.ID, p.slug, p.next.Revision)
	if err != nil {
		return err
	}
	_, err = p.Exec(ctx, revisionFromDraft[catalog.KindWinding], p.draft.ID, p.next.Revision, change)
	return err
}

// needFamily refuses a winding whose family or core is not there for everybody.
func (p *publication) needFamily(ctx context.Context) error {
	var family, core *string
	var familyState string
	var coreKnown bool
	err := p.QueryRow(ctx, `
		SELECT d.family_id::text, d.core_id::text, coalesce(f.state, ''), c.id IS NOT NULL
		FROM winding_draft d LEFT JOIN family f ON f.id = d.family_id LEFT JOIN core c ON c.id = d.core_id AND c.family_id = d.family_id
		WHERE d.id = $1::uuid`, p.draft.ID).Scan(&family, &core, &familyState, &coreKnown)
	switch {
	case err != nil:
		return err
	case family != nil && familyState == string(catalog.Withdrawn):
		return errs.New(errs.KindConflict, "", errs.Field{Pointer: "/family_id", Code: "FAMILY_WITHDRAWN",
			Detail: "the family of this record is withdrawn; name another one, or the core as measured", Got: *family})
	case family != nil && familyState != string(catalog.Published):
		return errs.New(errs.KindConflict, "", errs.Field{Pointer: "/family_id", Code: "FAMILY_NOT_PUBLISHED", Detail: "the family of this record is not published; publish it first", Got: *family})
	case core != nil && !coreKnown:
		return errs.New(errs.KindConflict, "", errs.Field{Pointer: "/core_id", Code: "UNKNOWN_CORE", Detail: "the family has no such core; add the stack to the family first", Got: *core})
	}
	return nil
}

func (p *publication) storeFamily(ctx context.Context, change string) error {
	_, err := p.Exec(ctx, `
		INSERT INTO family (id, slug, revision, state, institute_id)
		SELECT id, $2, $3, 'published', institute_id FROM family_draft WHERE id = $1::uuid
		ON CONFLICT (id) DO UPDATE SET revision = excluded.revision, state = excluded.state, modified_at = now()`, p.draft.ID, p.slug, p.next.Revision)
	if err != nil {
		return err
	}
	if _, err := p.Exec(ctx, revisionFromDraft[catalog.KindFamily], p.draft.ID, p.next.Revision, change); err != nil {
		return err
	}
	var stolen string
	err = p.QueryRow(ctx, `
		SELECT c.id::text FROM family_draft d CROSS JOIN LATERAL jsonb_array_elements(coalesce(d.body -> 'cores', '[]')) x
		JOIN core c ON c.id = (x ->> 'id')::uuid AND c.family_id <> d.id WHERE d.id = $1::uuid LIMIT 1`, p.draft.ID).Scan(&stolen)
	if err == nil {
		return errs.New(errs.KindConflict, "", errs.Field{Pointer: "/cores", Code: "CORE_TAKEN", Detail: "a core of this id belongs to another family; leave the id out to get a new one", Got: stolen})
	}
	if !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	_, err = p.Exec(ctx, `
		INSERT INTO core (id, family_id) SELECT (x ->> 'id')::uuid, d.id
		FROM family_draft d CROSS JOIN LATERAL jsonb_array_elements(coalesce(d.body -> 'cores', '[]')) x WHERE d.id = $1::uuid
		ON CONFLICT (id) DO NOTHING`, p.draft.ID)
	if err != nil {
		return err
	}
	_, err = p.Exec(ctx, `
		INSERT INTO family_core (family_id, revision, core_id, stack_length_mm) SELECT d.id, $2, (x ->> 'id')::uuid, measured(x -> 'stack_length_mm')
		FROM family_draft d CROSS JOIN LATERAL jsonb_array_elements(coalesce(d.body -> 'cores', '[]')) x WHERE d.id = $1::uuid`, p.draft.ID, p.next.Revision)
	return err
}

// The checklist is the one of the vetting that stands.
var revisionFromDraft = perKind(`
	INSERT INTO {kind}_revision ({kind}_id, revision, state, change, reason, reason_code, imported, demo, author_person_id, vetter_person_id,
		content_hash, body, findings, answers, vetted_at)
	SELECT d.id, $2, 'published', $3, d.reason, d.reason_code, false, (d.body -> 'demo')::boolean, d.author_person_id, d.vetter_person_id,
		d.content_hash, d.body, d.findings, v.answers, d.vetted_at
	FROM {kind}_draft d JOIN LATERAL (SELECT answers FROM vetting v WHERE v.record_id = d.id AND v.outcome = 'vetted'
		AND v.content_hash = d.vetted_hash AND v.person_id = d.vetter_person_id ORDER BY v.id DESC LIMIT 1) v ON true
	WHERE d.id = $1::uuid`)

// made is what was done to a published record, for the feed and the statement.
type made struct {
	kind                      catalog.Kind
	id                        string
	revision                  int
	change, reasonCode        string
	hash                      []byte
	institute, author, vetter string
}

// announce tells the feed, and keeps the signed statement.
func (t *acting) announce(ctx context.Context, m made, sign signer) error {
	_, err := t.Exec(ctx, `
		INSERT INTO change (catalogue_revision, item, change, record_kind, record_id, revision, content_hash, reason_code)
		VALUES (catalogue_bump(), 1, $1, $2, $3, $4, $5, $6)`, m.change, string(m.kind), m.id, m.revision, m.hash, nullText(m.reasonCode))
	if err != nil {
		return err
	}
	statement := bundle.Statement{Act: m.change, Kind: bundle.Kind(m.kind), Record: m.id, Revision: m.revision, SHA256: hex.EncodeToString(m.hash),
		Institute: m.institute, Author: m.author, Vetter: m.vetter, Reason: m.reasonCode}
	if err := statement.Validate(); err != nil {
		return errs.Wrap(errs.KindInternal, "a publication has no statement", err)
	}
	note, err := sign(statement)
	if err != nil {
		return err
	}
	if err := t.provedBy(ctx, note, m.institute); err != nil {
		return err
	}
	_, err = t.Exec(ctx, `INSERT INTO statement (record_kind, record_id, revision, note) VALUES ($1, $2, $3, $4)`, string(m.kind), m.id, m.revision, string(note))
	return err
}

// renderPublished answers with the published record as the transaction leaves it.
func (t *acting) renderPublished(ctx context.Context, kind catalog.Kind, id string, render catalog.Render) (catalog.Reply, error) {
	record, err := t.current(ctx, kind, id)
	if err != nil {
		return catalog.Reply{}, err
	}
	return render(record)
}

// current reads a published record as it stands.
func (t *acting) current(ctx context.Context, kind catalog.Kind, id string) (catalog.Record, error) {
	if kind == catalog.KindFamily {
		return one(ctx, t, scanFamily, familyByRef, id, nil)
	}
	return one(ctx, t, scanWinding, windingByRef, id, nil)
}

// one reads exactly one row.
func one[T any](ctx context.Context, tx pgx.Tx, scan pgx.RowToFunc[T], sql string, args ...any) (T, error) {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		var none T
		return none, err
	}
	return pgx.CollectExactlyOneRow(rows, scan)
}

// Withdraw takes a published record out of use. It stays readable, with the reason.
func (s *Store) Withdraw(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, sign signer, render catalog.Render) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		h, err := t.published(ctx, kind, ref, catalog.ActWithdraw)
		if err != nil {
			return catalog.Reply{}, err
		}
		next, err := h.shelf().Withdraw(why.Text)
		if err != nil {
			return catalog.Reply{}, err
		}
		if _, err := t.Exec(ctx, headWithdraw[kind], h.ID, next.Revision); err != nil {
			return catalog.Reply{}, err
		}
		if _, err := t.Exec(ctx, revisionWithdraw[kind], h.ID, next.Revision, why.Text, why.Code, h.Revision); err != nil {
			return catalog.Reply{}, err
		}
		if kind == catalog.KindFamily { // the stacks are part of what stands
			_, err := t.Exec(ctx, `
				INSERT INTO family_core (family_id, revision, core_id, stack_length_mm)
				SELECT family_id, $2, core_id, stack_length_mm FROM family_core WHERE family_id = $1::uuid AND revision = $3`, h.ID, next.Revision, h.Revision)
			if err != nil {
				return catalog.Reply{}, err
			}
		}
		m := made{kind: kind, id: h.ID, revision: next.Revision, change: "withdrawal", reasonCode: why.Code, hash: h.Hash,
			institute: h.Institute, author: h.Author, vetter: h.Vetter}
		if err := t.announce(ctx, m, sign); err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActWithdraw), kind: kind, id: h.ID, revision: next.Revision,
			from: catalog.State(h.State), to: next.State, reasonCode: why.Code}); err != nil {
			return catalog.Reply{}, err
		}
		return t.renderPublished(ctx, kind, h.ID, render)
	})
}

var (
	headWithdraw     = perKind(`UPDATE {kind} SET revision = $2, state = 'withdrawn', modified_at = now() WHERE id = $1::uuid`)
	revisionWithdraw = perKind(`
		INSERT INTO {kind}_revision ({kind}_id, revision, state, change, reason, reason_code, imported, demo, author_person_id, vetter_person_id,
			content_hash, body, findings, answers, vetted_at)
		SELECT {kind}_id, $2, 'withdrawn', 'withdrawal', $3, $4, imported, demo, author_person_id, vetter_person_id, content_hash, body, findings, answers, vetted_at
		FROM {kind}_revision WHERE {kind}_id = $1::uuid AND revision = $5`)
)

// published finds and locks a published record and decides whether the actor may do action to it. A
// draft that the actor may know of is a conflict: it is not published yet.
func (t *acting) published(ctx context.Context, kind catalog.Kind, ref string, action catalog.Action) (*headRow, error) {
	h, err := t.head(ctx, kind, ref)
	if err == nil {
		return h, catalog.Permit(t.Actor, action, h.object())
	}
	if errs.KindOf(err) != errs.KindNotFound {
		return nil, err
	}
	if t.institute != "" {
		row, err := t.draft(ctx, kind, ref)
		if err == nil {
			if err := catalog.Permit(t.Actor, action, row.object()); err != nil {
				return nil, err
			}
			return nil, errs.New(errs.KindConflict, "This record is not published; it is "+row.State+".")
		}
		if !errors.Is(err, pgx.ErrNoRows) {
			return nil, err
		}
	}
	return nil, catalog.Permit(t.Actor, action, catalog.Object{State: catalog.Draft, Institute: "?"})
}

// StartErratum gives the actor a draft that corrects the current revision of a published record. It
// starts with the content as it stands.
func (s *Store) StartErratum(ctx context.Context, a catalog.Act, kind catalog.Kind, ref string, why catalog.Reason, render catalog.Render) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		h, err := t.published(ctx, kind, ref, catalog.ActErratum)
		if err != nil {
			return catalog.Reply{}, err
		}
		if _, err := h.shelf().Erratum(a.Actor.Person, catalog.Hash(h.Hash)); err != nil {
			return catalog.Reply{}, err
		}
		if _, err := t.draft(ctx, kind, h.ID); err == nil {
			return catalog.Reply{}, errs.New(errs.KindConflict, "A correction of this record is under way already; it is a draft of this id.")
		} else if !errors.Is(err, pgx.ErrNoRows) {
			return catalog.Reply{}, err
		}
		record, err := t.current(ctx, kind, h.ID)
		if err != nil {
			return catalog.Reply{}, err
		}
		row, err := t.insertDraft(ctx, record, h.Revision, why.Code, why.Text)
		if err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: string(catalog.ActErratum), kind: kind, id: h.ID, revision: h.Revision, to: catalog.Draft, reasonCode: why.Code}); err != nil {
			return catalog.Reply{}, err
		}
		return row.render(kind, render)
	})
}

// signer makes the signed note of a statement with the key of its institute. It runs inside the
// transaction and must not block.
type signer = func(bundle.Statement) ([]byte, error)

// provedBy refuses a note that the registered key of the institute did not sign: nobody could check it.
func (t *acting) provedBy(ctx context.Context, note []byte, institute string) error {
	var verifier string
	err := t.QueryRow(ctx, `
		SELECT k.verifier FROM signing_key k JOIN institute i ON i.id = k.institute_id WHERE i.slug = $1 AND k.retired_at IS NULL`, institute).Scan(&verifier)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	if err == nil {
		keys, err := bundle.NewKeys(verifier)
		if err != nil {
			return err
		}
		if _, err = bundle.OpenStatement(note, keys); err == nil {
			return nil
		}
	}
	return errs.New(errs.KindUnavailable, "The signing key that this server holds is not the registered one of "+institute+", so nobody could check what it signs. Nothing was published.")
}
