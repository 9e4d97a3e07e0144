package postgres

import (
	"context"
	"math"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
)

// provenanceRow is what a record's head and current revision say besides the body.
type provenanceRow struct {
	ID, Slug       string
	Revision       int
	State          string
	Reason         string
	Imported, Demo bool
	Institute      string
	Author, Vetter string
	CreatedAt      time.Time
	ModifiedAt     time.Time
	Body           []byte
	Hash           []byte
	VettedAt       *time.Time
	Answers        []byte
	ReasonCode     string
	OpenReports    int
	Findings       []byte
}

// provenanceColumns are the columns of provenanceRow after the id and slug, for a revision r with its
// head h; familyJoins and windingJoins are what they need besides those two. A proof that came later takes
// the finding away that there is none.
const (
	provenanceColumns = `r.revision, r.state, coalesce(r.reason, ''), r.imported, r.demo, coalesce(i.slug, ''),
	coalesce(a.pseudonym, ''), coalesce(v.pseudonym, ''), h.created_at, h.modified_at, r.body, r.content_hash, r.vetted_at, r.answers, coalesce(r.reason_code, ''),
	(SELECT count(*) FROM problem_report o WHERE o.record_id = h.id AND o.answered_at IS NULL),
	CASE WHEN l.revision IS NULL THEN r.findings ELSE jsonb_path_query_array(r.findings, '$[*] ? (@.code != "` + catalog.UnprovedCode + `")') END`
	familyJoins     = provenanceJoins + ` AND l.record_kind = 'family' ` + personJoins
	windingJoins    = provenanceJoins + ` AND l.record_kind = 'winding' ` + personJoins
	provenanceJoins = ` LEFT JOIN institute i ON i.id = h.institute_id
	LEFT JOIN late_proof l ON l.record_id = h.id AND l.revision = r.revision AND r.author_person_id IS NULL`
	personJoins = `
	LEFT JOIN person a ON a.id = coalesce(r.author_person_id, l.author_person_id)
	LEFT JOIN person v ON v.id = coalesce(r.vetter_person_id, l.vetter_person_id) `
)

// familyRow adds the stacks that joined by lines of their own.
type familyRow struct {
	provenanceRow
	Added []byte
}

// addedCores is the column of familyRow.Added for a family h.
const addedCores = `(SELECT jsonb_agg(jsonb_build_object('id', a.core_id, 'stack_length_mm', a.stack_length_mm) ORDER BY a.stack_length_um, a.core_id)
	FROM added_core a WHERE a.family_id = h.id AND a.revision = (SELECT max(n.revision) FROM added_core n WHERE n.core_id = a.core_id))`

// provenance gives what a reader may see of it. The claim of the body about its institute stands
// only where nobody here vouches for it; the status then says so.
func (r *provenanceRow) provenance(claimed catalog.Provenance) catalog.Provenance {
	p := claimed
	p.Revision, p.State, p.Demo = r.Revision, catalog.State(r.State), r.Demo
	p.Author, p.Vetter = r.Author, r.Vetter
	p.Reason = r.Reason
	p.CreatedAt, p.ModifiedAt = r.CreatedAt.UTC(), r.ModifiedAt.UTC()
	if r.Institute != "" {
		p.Institute = r.Institute
	}
	p.Status = catalog.StatusOf(p.State, r.Demo, r.Imported)
	p.Hash, p.ReasonCode, p.OpenReports = catalog.Hash(r.Hash), r.ReasonCode, r.OpenReports
	if r.VettedAt != nil {
		p.VettedAt = r.VettedAt.UTC()
	}
	return p
}

// Family gives a stator family by UUID or slug, a withdrawn one too.
func (s *Store) Family(ctx context.Context, ref string) (catalog.Family, error) {
	id, slug := splitRef(ref)
	var family catalog.Family
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, familyByRef, id, slug)
		if err != nil {
			return err
		}
		family, err = pgx.CollectExactlyOneRow(rows, scanFamily)
		return err
	})
	return family, noRow(err, "There is no stator family with this id.", "a stator family could not be read")
}

// familyRows selects rows of familyRow: the current revisions of families h.
const familyRows = `
	SELECT h.id::text, h.slug, ` + provenanceColumns + `, ` + addedCores + `
	FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision` + familyJoins

const familyByRef = familyRows + `WHERE h.id = $1::uuid OR h.slug = $2`

// splitRef tells a UUID from a slug; the other one is NULL, which equals nothing.
func splitRef(ref string) (id, slug *string) {
	if jsonin.IsUUID(ref) {
		return &ref, nil
	}
	return nil, &ref
}

// scanFamily turns a row with the columns of provenanceRow into a family.
func scanFamily(row pgx.CollectableRow) (catalog.Family, error) {
	r, err := pgx.RowToStructByPos[familyRow](row)
	if err != nil {
		return catalog.Family{}, err
	}
	return r.family()
}

// family joins the body with what the head and the revision know better.
func (r *familyRow) family() (catalog.Family, error) {
	var body bundle.Family
	if err := jsonin.Decode(r.Body, &body, jsonin.Line); err != nil {
		return catalog.Family{}, errs.Wrap(errs.KindInternal, "a stored family cannot be read: "+r.ID, err)
	}
	family := body.ToDomain()
	family.ID, family.Slug = r.ID, r.Slug
	family.Provenance = r.provenance(family.Provenance)
	var err error
	if family.Findings, err = readFindings(r.Findings); err != nil {
		return family, err
	}
	if family.Answers, err = readAnswers(r.Answers); err != nil {
		return family, err
	}
	family.Cores, err = joinCores(family.Cores, r.Added)
	return family, err
}

// joinCores adds the stacks that the family's own list lacks.
func joinCores(listed []catalog.FamilyCore, added []byte) ([]catalog.FamilyCore, error) {
	if added == nil {
		return listed, nil
	}
	var more []bundle.FamilyCore
	if err := unmarshal(added, &more); err != nil {
		return nil, err
	}
	for _, m := range more {
		if !slices.ContainsFunc(listed, func(c catalog.FamilyCore) bool { return c.ID == m.ID }) {
			listed = append(listed, catalog.FamilyCore{ID: m.ID, StackLength: m.StackLength.Measured})
		}
	}
	return listed, nil
}

// window is a Window in whole micrometres, 0 = open.
type window struct{ low, high int }

// windowsOf sorts the windows of a filter by dimension; two on one dimension meet. The bounds are
// rounded outwards by less than a micrometre, which is finer than any figure of a core.
func windowsOf(list []catalog.Window) (map[catalog.Dimension]window, error) {
	out := map[catalog.Dimension]window{}
	for _, w := range list {
		low, err := micrometres(w.Low, math.Floor)
		if err != nil {
			return nil, err
		}
		high, err := micrometres(w.High, math.Ceil)
		if err != nil {
			return nil, err
		}
		met := out[w.Dimension]
		met.low = max(met.low, low)
		if high != 0 && (met.high == 0 || high < met.high) {
			met.high = high
		}
		out[w.Dimension] = met
	}
	return out, nil
}

// micrometres gives a bound in whole micrometres. Float noise (0.3*1000 is not 300) is rounded away first.
func micrometres(mm unit.Millimetre, round func(float64) float64) (int, error) {
	if !(mm >= 0 && mm <= 100000) {
		return 0, errs.New(errs.KindImpossible, "A dimension window must lie between 0 and 100000 mm.")
	}
	return int(round(math.Round(float64(mm)*1e6) / 1e3)), nil
}

// Families lists published families by slug.
func (s *Store) Families(ctx context.Context, filter catalog.FamilyFilter, page catalog.PageRequest) (catalog.Page[catalog.Family], error) {
	windows, err := windowsOf(filter.Windows)
	if err != nil {
		return catalog.Page[catalog.Family]{}, err
	}
	size := pageSize(page)
	args := []any{page.After, size + 1, filter.Phases, string(filter.RotorPosition), filter.Slots, filter.Application, filter.Poles}
	for _, d := range catalog.Dimensions() {
		args = append(args, windows[d].low, windows[d].high)
	}
	args = append(args, nullText(string(filter.State)), nullText(filter.Institute))
	var found []catalog.Family
	err = s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, familyList, args...)
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, scanFamily)
		return err
	})
	if err != nil {
		return catalog.Page[catalog.Family]{}, wrap(err, "the stator families could not be listed")
	}
	return cut(found, size, func(f catalog.Family) string { return f.Slug }), nil
}

// familyList is planned anew for each call, with the values known, so that an absent condition
// ($n = 0) is gone before a plan is chosen.
const familyList = familyRows + `
	LEFT JOIN LATERAL (SELECT true AS found FROM winding w WHERE w.family_id = h.id AND w.poles = $7 AND w.state = 'published' LIMIT 1) p ON $7 <> 0
	WHERE h.state = coalesce($22, 'published') AND ($23::text IS NULL OR i.slug = $23) AND ($1 = '' OR h.slug > $1)
	  AND ($3 = 0 OR r.phases = $3) AND ($4 = '' OR r.rotor_position = $4) AND ($5 = 0 OR r.slots = $5) AND ($6 = '' OR r.application = $6)
	  AND ($7 = 0 OR p.found)
	  AND ($8 = 0 OR r.gap_diameter_um >= $8) AND ($9 = 0 OR r.gap_diameter_um <= $9)
	  AND ($10 = 0 OR r.back_diameter_um >= $10) AND ($11 = 0 OR r.back_diameter_um <= $11)
	  AND (($12 = 0 AND $13 = 0)
	       OR EXISTS (SELECT FROM family_core c WHERE c.family_id = h.id AND c.revision = h.revision
	           AND ($12 = 0 OR c.stack_length_um >= $12) AND ($13 = 0 OR c.stack_length_um <= $13))
	       OR EXISTS (SELECT FROM added_core c WHERE c.family_id = h.id
	           AND ($12 = 0 OR c.stack_length_um >= $12) AND ($13 = 0 OR c.stack_length_um <= $13)))
	  AND ($14 = 0 OR r.tooth_width_um >= $14) AND ($15 = 0 OR r.tooth_width_um <= $15)
	  AND ($16 = 0 OR r.slot_depth_um >= $16) AND ($17 = 0 OR r.slot_depth_um <= $17)
	  AND ($18 = 0 OR r.slot_opening_um >= $18) AND ($19 = 0 OR r.slot_opening_um <= $19)
	  AND ($20 = 0 OR r.back_iron_um >= $20) AND ($21 = 0 OR r.back_iron_um <= $21)
	ORDER BY h.slug LIMIT $2`

// pageSize is the number of items that a request means.
func pageSize(page catalog.PageRequest) int {
	if page.Size <= 0 {
		return catalog.DefaultPageSize
	}
	return min(page.Size, catalog.MaxPageSize)
}

// cut makes a page of size items out of up to size+1 found.
func cut[T any](found []T, size int, key func(T) string) catalog.Page[T] {
	page := catalog.Page[T]{Items: found}
	if len(found) > size {
		page.Items = found[:size]
		page.Next = key(found[size-1])
	}
	return page
}
