package postgres

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// exportTimeout bounds a statement of an export, the time that the receiver takes included.
const exportTimeout = time.Hour

// ExportOptions changes what Export writes.
type ExportOptions struct {
	// Manifest is what the caller says of the bundle. With Signer, a key in use, he seals it. Licence, Demo and
	// all that tells the state of the catalogue are filled in from the records that are sent.
	Manifest bundle.Manifest
	Kinds    []bundle.Kind // nil = all; a part has a manifest that says nothing of licences
	// Institute leaves only what that institute (a slug) holds, and the families that its windings are
	// of, whoever holds those; no reference data. "" is everybody.
	Institute string
	// Since leaves only what changed after that catalogue revision, and the families and stacks that the
	// changed records stand on, so that the bundle can be imported alone.
	Since int64
}

// Export writes the records that stand, withdrawn ones too, as they are at one moment: reference
// data, families, added cores, windings, each in a fixed order, so that the same data gives the
// same file. Behind each record stands its signed statement, where it has one. It holds one record at
// a time. It gives the number of records written; the caller closes the writer.
func (s *Store) Export(ctx context.Context, out *bundle.Writer, o ExportOptions) (int, error) {
	written := 0
	err := s.snapshot(ctx, exportTimeout, func(tx pgx.Tx) error {
		if err := exportManifest(ctx, tx, out, o); err != nil {
			return err
		}
		for _, part := range exportParts {
			if o.Kinds != nil && !slices.Contains(o.Kinds, part.kind) {
				continue
			}
			n, err := part.write(ctx, tx, out, o)
			written += n
			if err != nil {
				return err
			}
		}
		return nil
	})
	return written, wrap(err, "the export failed")
}

// exportManifest refuses what cannot be exported, before the first byte goes out, and writes the manifest:
// with the catalogue revision, the keys that the statements were signed with, and the terms.
func exportManifest(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) error {
	m := o.Manifest
	m.Since = o.Since
	if o.Institute != "" {
		if err := knownInstitute(ctx, tx, o.Institute); err != nil {
			return err
		}
	}
	if m.Signer != "" {
		if err := registeredKey(ctx, tx, m); err != nil {
			return err
		}
	}
	// The state of the data makes the id, so that the same data gives the same file.
	var id string
	err := tx.QueryRow(ctx, `SELECT revision, md5('statorbook export ' || revision || changed_at)::uuid::text FROM catalogue_state`).Scan(&m.CatalogueRevision, &id)
	if err != nil {
		return err
	}
	if o.Since > m.CatalogueRevision { // who asks would take nothing for news and go on missing what changes
		detail := fmt.Sprintf("Since is beyond the catalogue revision %d of this server: it is another server's, or the database was set back; ask for everything.", m.CatalogueRevision)
		return errs.New(errs.KindImpossible, detail, errs.Field{Parameter: "since", Code: jsonin.CodeRange, Detail: detail, Got: strconv.FormatInt(o.Since, 10)})
	}
	if m.Keys, err = exportKeys(ctx, tx, m.Signer); err != nil {
		return err
	}
	if o.Kinds == nil {
		if m.Licence, m.Demo, err = exportTerms(ctx, tx, o); err != nil {
			return err
		}
	}
	return out.Manifest(id, int(max(m.CatalogueRevision, 1)), m)
}

// exportKeys lists the keys of the institutes that hold something, and of the one that seals the file.
func exportKeys(ctx context.Context, tx pgx.Tx, signer string) ([]string, error) {
	rows, err := tx.Query(ctx, `
		SELECT k.verifier FROM signing_key k
		WHERE k.institute_id IN (SELECT institute_id FROM family UNION SELECT institute_id FROM winding) OR $1 <> '' AND starts_with(k.verifier, $1 || '+')
		ORDER BY k.id`, signer)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// referenceLicence is that of the tables of wires and insulation.
const referenceLicence = "CC0-1.0"

// exportTerms gives the licences that all of the bundle is under, as an SPDX expression ("" if a record names
// none, or nothing is sent), and whether all of it is a demonstration.
func exportTerms(ctx context.Context, tx pgx.Tx, o ExportOptions) (licence string, demo bool, err error) {
	var licences []string
	err = tx.QueryRow(ctx, `
		SELECT coalesce(array_agg(DISTINCT licence), '{}'), coalesce(bool_and(demo), false) FROM (
			SELECT coalesce(r.body->>'licence', '') AS licence, r.demo
			FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision LEFT JOIN institute i ON i.id = h.institute_id WHERE `+sentFamilies+`
			UNION ALL SELECT coalesce(r.body->>'licence', ''), r.demo
			FROM winding h JOIN winding_revision r ON r.winding_id = h.id AND r.revision = h.revision LEFT JOIN institute i ON i.id = h.institute_id WHERE `+sentWindings+`
			UNION ALL SELECT $3::text, false FROM (SELECT catalogue_revision FROM wire_size UNION SELECT catalogue_revision FROM insulation_class
				UNION SELECT catalogue_revision FROM insulating_material) t WHERE $1 = '' AND t.catalogue_revision > $2) x`,
		o.Institute, o.Since, referenceLicence).Scan(&licences, &demo)
	if err != nil || slices.Contains(licences, "") {
		return "", demo, err
	}
	slices.Sort(licences) // in one order, whatever that of the database
	return strings.Join(licences, " AND "), demo, nil
}

// registeredKey refuses to announce a signature that nobody could check: the key must be the one in use.
func registeredKey(ctx context.Context, tx pgx.Tx, m bundle.Manifest) error {
	var registered bool
	err := tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM signing_key k JOIN institute i ON i.id = k.institute_id
			WHERE i.slug = $1 AND k.retired_at IS NULL AND starts_with(k.verifier, $2 || '+'))`, m.Institute, m.Signer).Scan(&registered)
	if err == nil && !registered {
		err = errs.New(errs.KindUnavailable, "The signing key that this server holds is not the registered one of "+m.Institute+", so nobody could check what it signs.")
	}
	return err
}

// knownInstitute refuses an institute that there is none of.
func knownInstitute(ctx context.Context, tx pgx.Tx, slug string) error {
	var known bool
	err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM institute WHERE slug = $1)`, slug).Scan(&known)
	if err == nil && !known {
		err = errs.New(errs.KindNotFound, "There is no institute "+slug+".")
	}
	return err
}

// exportParts lists what is written, in order.
var exportParts = []struct {
	kind  bundle.Kind
	write func(context.Context, pgx.Tx, *bundle.Writer, ExportOptions) (int, error)
}{
	{bundle.KindWire, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
		return exportReference(ctx, tx, out, o, bundle.KindWire, "wire_size", func(b *bundle.WireSize) *string { return &b.ETag })
	}},
	{bundle.KindClass, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
		return exportReference(ctx, tx, out, o, bundle.KindClass, "insulation_class", func(b *bundle.InsulationClass) *string { return &b.ETag })
	}},
	{bundle.KindMaterial, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
		return exportReference(ctx, tx, out, o, bundle.KindMaterial, "insulating_material", func(b *bundle.InsulatingMaterial) *string { return &b.ETag })
	}},
	{bundle.KindFamily, exportFamilies},
	{bundle.KindCore, exportCores},
	{bundle.KindWinding, exportWindings},
}

// exportReference writes one kind of reference data, with its tag. The table's name comes from exportParts.
func exportReference[T any](ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions, kind bundle.Kind, table string, tag func(*T) *string) (int, error) {
	if o.Institute != "" {
		return 0, nil
	}
	rows, err := tx.Query(ctx, strings.ReplaceAll(`
		SELECT h.id, r.revision, r.body FROM {table} h JOIN {table}_revision r ON r.{table}_id = h.id AND r.revision = h.revision
		WHERE h.state = 'published' AND h.catalogue_revision > $1 ORDER BY h.id`, "{table}", table), o.Since)
	if err != nil {
		return 0, err
	}
	written := 0
	var id string
	var revision int
	var stored []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &revision, &stored}, func() error {
		var body T
		if err := jsonin.Decode(stored, &body, jsonin.Line); err != nil {
			return errs.Wrap(errs.KindInternal, "a stored record cannot be read: "+id, err)
		}
		written++
		return out.WriteTagged(kind, id, revision, &body, tag(&body))
	})
	return written, err
}

// exportRows writes the rows of a query, each read by scan and shaped by line.
func exportRows[T any](rows pgx.Rows, scan pgx.RowToFunc[T], line func(T) error) (int, error) {
	defer rows.Close()
	written := 0
	for rows.Next() {
		record, err := scan(rows)
		if err != nil {
			return written, err
		}
		if err := line(record); err != nil {
			return written, err
		}
		written++
	}
	return written, rows.Err()
}

// proved is a record with its signed note, "" if it has none.
type proved[T any] struct {
	record T
	note   string
}

// review writes the statement of a signed note behind its record.
func review(out *bundle.Writer, note string) error {
	if note == "" {
		return nil
	}
	statement, err := bundle.StatementOf([]byte(note))
	if err != nil {
		return errs.Wrap(errs.KindInternal, "a stored statement cannot be read", err)
	}
	return out.Review(statement, []byte(note))
}

// heldFamilies are the families that an institute $1 holds or has windings of; all if it is ”.
const heldFamilies = `($1 = '' OR i.slug = $1 OR h.id IN (SELECT w.family_id FROM winding w JOIN institute wi ON wi.id = w.institute_id WHERE wi.slug = $1))`

// The windings and the added stacks that changed after $2, as far as $1 goes, and the families and
// windings that are sent.
const (
	sentFamilies = heldFamilies + ` AND (h.catalogue_revision > $2 OR h.id IN (SELECT x.family_id FROM (` + changedWindings + `) x)
		OR h.id IN (SELECT k.family_id FROM core k WHERE k.id IN (` + changedCores + `)))`
	sentWindings = `h.catalogue_revision > $2 AND ($1 = '' OR i.slug = $1)`

	changedWindings = `SELECT w.family_id, w.core_id FROM winding w LEFT JOIN institute n ON n.id = w.institute_id WHERE w.catalogue_revision > $2 AND ($1 = '' OR n.slug = $1)`
	changedCores    = `SELECT CASE WHEN c.record_kind = 'core' THEN c.record_id::uuid END FROM change c WHERE c.record_kind = 'core' AND c.catalogue_revision > $2`
)

func exportFamilies(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
	rows, err := tx.Query(ctx, `
		SELECT h.id::text, h.slug, `+provenanceColumns+`, NULL::jsonb, coalesce(s.note, '')
		FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision`+familyJoins+`
		LEFT JOIN statement s ON s.record_kind = 'family' AND s.record_id = h.id AND s.revision = h.revision
		WHERE `+sentFamilies+` ORDER BY h.slug`, o.Institute, o.Since)
	if err != nil {
		return 0, err
	}
	scan := func(row pgx.CollectableRow) (proved[catalog.Family], error) {
		r, err := pgx.RowToStructByPos[struct {
			familyRow
			Note string
		}](row)
		if err != nil {
			return proved[catalog.Family]{}, err
		}
		f, err := r.family()
		return proved[catalog.Family]{f, r.Note}, err
	}
	return exportRows(rows, scan, func(f proved[catalog.Family]) error {
		body := bundle.FamilyOf(f.record)
		if err := out.WriteTagged(bundle.KindFamily, f.record.ID, f.record.Revision, &body, &body.ETag); err != nil {
			return err
		}
		return review(out, f.note)
	})
}

func exportCores(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
	rows, err := tx.Query(ctx, `
		SELECT DISTINCT ON (core_id) core_id::text, revision,
		       jsonb_strip_nulls(jsonb_build_object('id', core_id, 'family_id', family_id, 'stack_length_mm', stack_length_mm))
		FROM added_core a
		WHERE ($1 = '' OR EXISTS (SELECT FROM family h LEFT JOIN institute i ON i.id = h.institute_id WHERE h.id = a.family_id AND `+heldFamilies+`))
		  AND ($2 = 0 OR core_id IN (`+changedCores+`) OR core_id IN (SELECT x.core_id FROM (`+changedWindings+`) x))
		ORDER BY core_id, revision DESC`, o.Institute, o.Since)
	if err != nil {
		return 0, err
	}
	written := 0
	var id string
	var revision int
	var stored []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &revision, &stored}, func() error {
		var body bundle.StandaloneCore
		if err := jsonin.Decode(stored, &body, jsonin.Line); err != nil {
			return errs.Wrap(errs.KindInternal, "a stored core cannot be read: "+id, err)
		}
		written++
		return out.Write(bundle.KindCore, id, revision, &body)
	})
	return written, err
}

func exportWindings(ctx context.Context, tx pgx.Tx, out *bundle.Writer, o ExportOptions) (int, error) {
	rows, err := tx.Query(ctx, `
		SELECT h.id::text, h.slug, `+provenanceColumns+`, h.times_seen, coalesce(s.note, '')
		FROM winding h JOIN winding_revision r ON r.winding_id = h.id AND r.revision = h.revision`+windingJoins+`
		LEFT JOIN statement s ON s.record_kind = 'winding' AND s.record_id = h.id AND s.revision = h.revision
		WHERE `+sentWindings+` ORDER BY h.slug`, o.Institute, o.Since)
	if err != nil {
		return 0, err
	}
	scan := func(row pgx.CollectableRow) (proved[catalog.Winding], error) {
		r, err := pgx.RowToStructByPos[struct {
			windingRow
			Note string
		}](row)
		if err != nil {
			return proved[catalog.Winding]{}, err
		}
		w, err := r.winding()
		return proved[catalog.Winding]{w, r.Note}, err
	}
	return exportRows(rows, scan, func(w proved[catalog.Winding]) error {
		body := bundle.WindingOf(w.record)
		if err := out.WriteTagged(bundle.KindWinding, w.record.ID, w.record.Revision, &body, &body.ETag); err != nil {
			return err
		}
		return review(out, w.note)
	})
}
