package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// draftRow is a draft as it is stored.
type draftRow struct {
	ID, Institute, Author, State string
	Version                      int
	Base                         *int
	Hash, Body, Findings         []byte
	Vetter                       string
	VettedHash                   []byte
	VettedAt                     *time.Time
	ReasonCode                   string
	Reason                       string // of a correction
	Answers                      []byte // of the vetting that stands
	Returned                     string // why it was returned last
	ReturnedFindings             []byte // that stood then, or at an earlier return
	CreatedAt, ModifiedAt        time.Time
}

// The statements on the two tables of drafts differ in the name alone.
var (
	draftByRef  = perKind(draftColumns + draftOfRef)
	draftLocked = perKind(draftColumns + draftOfRef + ` FOR UPDATE OF d`)
	draftList   = perKind(draftColumns + `
		WHERE d.institute_id = $1::uuid AND d.state = $2 AND ($3 = '' OR d.id::text > $3) AND ($4 = '' OR d.body ->> 'family_id' = $4)
		ORDER BY d.id LIMIT $5`)
)

// The returns that count are of this draft: they come after the vetting of what it corrects.
const draftColumns = `
	SELECT d.id::text, i.slug, a.pseudonym, d.state, d.version, d.base_revision, d.content_hash, d.body, d.findings,
	       coalesce(v.pseudonym, ''), d.vetted_hash, d.vetted_at, coalesce(d.reason_code, ''), coalesce(d.reason, ''),
	       CASE WHEN d.state = 'vetted' THEN (SELECT t.answers FROM vetting t WHERE t.record_id = d.id AND t.outcome = 'vetted' ORDER BY t.id DESC LIMIT 1) END,
	       coalesce((SELECT t.reason FROM vetting t WHERE t.record_id = d.id AND t.outcome = 'returned' AND t.id > old.id ORDER BY t.id DESC LIMIT 1), ''),
	       (SELECT jsonb_agg(x.f ORDER BY x.id, x.n) FROM (
	           SELECT DISTINCT ON (f -> 'code', f -> 'fields') f, t.id, n FROM vetting t CROSS JOIN LATERAL jsonb_array_elements(t.findings) WITH ORDINALITY e (f, n)
	           WHERE t.record_id = d.id AND t.outcome = 'returned' AND t.id > old.id ORDER BY f -> 'code', f -> 'fields', t.id DESC LIMIT 200) x),
	       d.created_at, d.modified_at
	FROM {kind}_draft d JOIN institute i ON i.id = d.institute_id JOIN person a ON a.id = d.author_person_id
	LEFT JOIN person v ON v.id = d.vetter_person_id
	CROSS JOIN LATERAL (SELECT coalesce(max(b.id), 0) AS id FROM vetting b JOIN {kind}_revision r ON r.vetted_at = b.created_at
		WHERE b.record_id = d.id AND b.outcome = 'vetted' AND r.{kind}_id = d.id AND r.revision = d.base_revision) old`

// draftOfRef finds a draft by its id, or by the slug of the published record that it corrects.
const draftOfRef = ` WHERE d.id = coalesce($1::uuid, (SELECT h.id FROM {kind} h WHERE h.slug = $2)) AND d.institute_id = $3::uuid`

// perKind gives a statement for each kind of record: {kind} stands for its name, which is ours.
func perKind(statement string) map[catalog.Kind]string {
	out := map[catalog.Kind]string{}
	for _, kind := range catalog.Kinds() {
		out[kind] = strings.ReplaceAll(statement, "{kind}", string(kind))
	}
	return out
}

// work is the draft as the rules of its life see it.
func (r *draftRow) work() catalog.Work {
	w := catalog.Work{State: catalog.State(r.State), Author: r.Author, Hash: catalog.Hash(r.Hash), Vetter: r.Vetter}
	if r.VettedHash != nil {
		w.VettedHash = catalog.Hash(r.VettedHash)
	}
	if r.Base != nil {
		w.Base = *r.Base
	}
	return w
}

// object is the draft as permission sees it.
func (r *draftRow) object() catalog.Object {
	return catalog.Object{Institute: r.Institute, Author: r.Author, State: catalog.State(r.State)}
}

// record gives the catalog.Winding or catalog.Family of a draft.
func (r *draftRow) record(kind catalog.Kind) (catalog.Record, error) {
	p := catalog.Provenance{
		State: catalog.State(r.State), Institute: r.Institute, Author: r.Author, Vetter: r.Vetter, Hash: catalog.Hash(r.Hash),
		Version: r.Version, Base: r.work().Base, ReasonCode: r.ReasonCode, Reason: r.Reason, ReturnedFor: r.Returned, CreatedAt: r.CreatedAt.UTC(), ModifiedAt: r.ModifiedAt.UTC(),
	}
	if r.VettedAt != nil {
		p.VettedAt = r.VettedAt.UTC()
	}
	findings, err := readFindings(r.Findings)
	if err != nil {
		return nil, err
	}
	if p.ReturnedFindings, err = readFindings(r.ReturnedFindings); err != nil {
		return nil, err
	}
	if p.Answers, err = readAnswers(r.Answers); err != nil {
		return nil, err
	}
	if kind == catalog.KindFamily {
		var body bundle.Family
		if err := jsonin.Decode(r.Body, &body, jsonin.Line); err != nil {
			return nil, errs.Wrap(errs.KindInternal, "a stored draft cannot be read: "+r.ID, err)
		}
		f := body.ToDomain()
		p.Source, p.Licence, p.Demo, p.Status = f.Source, f.Licence, f.Demo, catalog.StatusOf(p.State, f.Demo, false)
		f.ID, f.Provenance = r.ID, p
		f.Findings = findings
		return f, nil
	}
	var body bundle.Winding
	if err := jsonin.Decode(r.Body, &body, jsonin.Line); err != nil {
		return nil, errs.Wrap(errs.KindInternal, "a stored draft cannot be read: "+r.ID, err)
	}
	w := body.ToDomain()
	p.Source, p.Licence, p.Demo, p.Status = w.Source, w.Licence, w.Demo, catalog.StatusOf(p.State, w.Demo, false)
	w.ID, w.Provenance, w.Findings = r.ID, p, findings
	return w, nil
}

// content is what a draft holds, ready to be stored.
type content struct {
	body, findings   []byte
	hash             catalog.Hash
	familyID, coreID *string
}

// contentOf takes out of a record what the server knows better, and hashes the rest.
func contentOf(record catalog.Record) (content, error) {
	var c content
	var body any
	var findings []errs.Finding
	switch r := record.(type) {
	case catalog.Winding:
		v := bundle.WindingOf(r)
		v.Slug, v.TimesSeen, v.Standing = "", 0, bundle.Standing{}
		body, findings, c.familyID, c.coreID = v, r.Findings, nullText(r.FamilyID), nullText(r.CoreID)
	case catalog.Family:
		v := bundle.FamilyOf(r)
		v.Slug, v.Standing = "", bundle.Standing{}
		body, findings = v, r.Findings
	}
	hash, err := bundle.ContentHash(body)
	if err != nil {
		return c, errs.Wrap(errs.KindInternal, "a record cannot be hashed", err)
	}
	c.hash = hash
	if c.body, err = json.Marshal(body); err != nil {
		return c, err
	}
	c.findings, err = json.Marshal(bundle.FindingsOf(findings))
	return c, err
}

// freshIDs gives n UUIDs.
func freshIDs(ctx context.Context, tx pgx.Tx, n int) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT gen_random_uuid()::text FROM generate_series(1, $1)`, n)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// prepare gives a record its id, its stacks theirs, and the mark of a demonstration if its institute is one.
func (t *acting) prepare(ctx context.Context, record catalog.Record, id string) (catalog.Record, error) {
	switch r := record.(type) {
	case catalog.Winding:
		r.ID, r.Demo = id, r.Demo || t.demo
		return r, nil
	case catalog.Family:
		r.ID, r.Demo = id, r.Demo || t.demo
		fresh, err := freshIDs(ctx, t, len(r.Cores))
		if err != nil {
			return nil, err
		}
		cores := make([]catalog.FamilyCore, len(r.Cores))
		for i, c := range r.Cores {
			if c.ID == "" {
				c.ID = fresh[i]
			}
			cores[i] = c
		}
		r.Cores = cores
		return r, nil
	}
	return nil, errs.New(errs.KindInternal, "this is no record")
}

var draftInsert = map[catalog.Kind]string{
	catalog.KindFamily: `
		INSERT INTO family_draft (id, institute_id, author_person_id, state, base_revision, content_hash, body, findings, reason_code, reason)
		VALUES ($1, $2, $3, 'draft', $4, $5, $6, $7, $8, $9)`,
	catalog.KindWinding: `
		INSERT INTO winding_draft (id, institute_id, author_person_id, state, base_revision, content_hash, body, findings, reason_code, reason, family_id, core_id)
		VALUES ($1, $2, $3, 'draft', $4, $5, $6, $7, $8, $9, $10, $11)`,
}

// insertDraft stores a new draft by the actor and gives its row. JSON goes to our domains as text: the
// driver would take bytes for a bytea.
func (t *acting) insertDraft(ctx context.Context, record catalog.Record, base int, reasonCode, reason string) (*draftRow, error) {
	kind := record.RecordKind()
	id := record.RecordID()
	c, err := contentOf(record)
	if err != nil {
		return nil, err
	}
	work, err := catalog.Start(t.Actor.Person, c.hash, base)
	if err != nil {
		return nil, err
	}
	var from *int
	if work.Base > 0 {
		from = &work.Base
	}
	args := []any{id, t.institute, t.person, from, c.hash[:], string(c.body), string(c.findings), nullText(reasonCode), nullText(reason)}
	if kind == catalog.KindWinding {
		args = append(args, c.familyID, c.coreID)
	}
	if _, err := t.Exec(ctx, draftInsert[kind], args...); err != nil {
		return nil, err
	}
	return t.draft(ctx, kind, id)
}

// draft reads a draft of the actor's institute by id or slug and locks it, pgx.ErrNoRows if there is none.
func (t *acting) draft(ctx context.Context, kind catalog.Kind, ref string) (*draftRow, error) {
	id, slug := splitRef(ref)
	rows, err := t.Query(ctx, draftLocked[kind], id, slug, t.institute)
	if err != nil {
		return nil, err
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[draftRow])
	return &r, err
}

// CreateDraft stores a new record as a draft of the actor. record is a catalog.Winding or a
// catalog.Family with its findings; id, state and holder are set here.
func (s *Store) CreateDraft(ctx context.Context, a catalog.Act, record catalog.Record, render catalog.Render) (catalog.Reply, error) {
	return s.act(ctx, a, func(ctx context.Context, t *acting) (catalog.Reply, error) {
		if err := catalog.Permit(a.Actor, catalog.ActCreate, catalog.Object{}); err != nil {
			return catalog.Reply{}, err
		}
		if err := t.withinQuota(ctx, s.drafts); err != nil {
			return catalog.Reply{}, err
		}
		ids, err := freshIDs(ctx, t, 1)
		if err != nil {
			return catalog.Reply{}, err
		}
		whole, err := t.prepare(ctx, record, ids[0])
		if err != nil {
			return catalog.Reply{}, err
		}
		row, err := t.insertDraft(ctx, whole, 0, "", "")
		if err != nil {
			return catalog.Reply{}, err
		}
		if err := t.note(ctx, noted{action: "create", kind: record.RecordKind(), id: row.ID, to: catalog.Draft}); err != nil {
			return catalog.Reply{}, err
		}
		return row.render(record.RecordKind(), render)
	})
}

// withinQuota refuses a draft when the institute started as many as it may in the last 24 hours. The
// newest of them by that number tells when there is room again.
func (t *acting) withinQuota(ctx context.Context, quota int) error {
	var wait int
	err := t.QueryRow(ctx, `
		SELECT greatest(1, ceil(extract(epoch FROM at + interval '24 hours' - now())))::integer FROM audit
		WHERE institute_id = $1 AND action = 'create' AND at > now() - interval '24 hours'
		ORDER BY at DESC OFFSET $2 LIMIT 1`, t.institute, quota-1).Scan(&wait)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	full := errs.New(errs.KindRateLimited, fmt.Sprintf("Your institute started %d drafts within 24 hours, which is its quota (drafts_per_day). Retry-After tells when the next may be started; drafts that are there can be edited, vetted and published.", quota))
	full.WaitS = wait
	return full
}

func (r *draftRow) render(kind catalog.Kind, render catalog.Render) (catalog.Reply, error) {
	record, err := r.record(kind)
	if err != nil {
		return catalog.Reply{}, err
	}
	return render(record)
}

// Draft gives a draft of the actor's institute by its id, or by the slug of what it corrects: a
// catalog.Winding or catalog.Family. One of another institute is not found, as one that there is none of.
func (s *Store) Draft(ctx context.Context, actor catalog.Actor, kind catalog.Kind, ref string) (catalog.Record, error) {
	id, slug := splitRef(ref)
	var record catalog.Record
	err := s.private(ctx, actor, func(ctx context.Context, t *acting) error {
		rows, err := t.Query(ctx, draftByRef[kind], id, slug, t.institute)
		if err != nil {
			return err
		}
		row, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[draftRow])
		if errors.Is(err, pgx.ErrNoRows) {
			return errs.New(errs.KindNotFound, "There is no such record.")
		}
		if err != nil {
			return err
		}
		if err := catalog.Permit(actor, catalog.ActRead, row.object()); err != nil {
			return err
		}
		record, err = row.record(kind)
		return err
	})
	return record, err
}

// Drafts lists the drafts of the actor's institute in one state, in the order of their ids.
func (s *Store) Drafts(ctx context.Context, actor catalog.Actor, kind catalog.Kind, filter catalog.DraftFilter, page catalog.PageRequest) (catalog.Page[catalog.Record], error) {
	if err := catalog.Permit(actor, catalog.ActList, catalog.Object{}); err != nil {
		return catalog.Page[catalog.Record]{}, err
	}
	size := pageSize(page)
	var found []catalog.Record
	err := s.private(ctx, actor, func(ctx context.Context, t *acting) error {
		rows, err := t.Query(ctx, draftList[kind], t.institute, string(filter.State), page.After, filter.Family, size+1)
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (catalog.Record, error) {
			r, err := pgx.RowToStructByPos[draftRow](row)
			if err != nil {
				return nil, err
			}
			return r.record(kind)
		})
		return err
	})
	return cut(found, size, catalog.Record.RecordID), err
}

// private runs f in a reading transaction that knows the actor's institute.
func (s *Store) private(ctx context.Context, actor catalog.Actor, f func(context.Context, *acting) error) error {
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return pgx.BeginTxFunc(ctx, conn, pgx.TxOptions{AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
			t := &acting{Tx: tx, Act: catalog.Act{Actor: actor}}
			if err := t.identify(ctx); err != nil {
				return err
			}
			if t.institute == "" {
				return errs.New(errs.KindNotFound, "There is no such record.")
			}
			return f(ctx, t)
		})
	})
	return wrap(err, "drafts could not be read")
}
