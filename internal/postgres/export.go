package postgres

import (
	"context"
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
	Manifest bundle.Manifest
	Kinds    []bundle.Kind // nil = all
}

// Export writes the records that stand, withdrawn ones too, as they are at one moment: reference
// data, families, added cores, windings, each in a fixed order, so that the same data gives the
// same file. It holds one record at a time. The manifest carries the catalogue revision. It gives
// the number of records written; the caller closes the writer.
func (s *Store) Export(ctx context.Context, out *bundle.Writer, o ExportOptions) (int, error) {
	written := 0
	err := s.snapshot(ctx, exportTimeout, func(tx pgx.Tx) error {
		var id string
		var revision int64
		// The state of the data makes the id, so that the same data gives the same file.
		err := tx.QueryRow(ctx, `SELECT revision, md5('statorbook export ' || revision || changed_at)::uuid::text FROM catalogue_state`).Scan(&revision, &id)
		if err != nil {
			return err
		}
		if err := out.Manifest(id, int(max(revision, 1)), o.Manifest); err != nil {
			return err
		}
		for _, part := range exportParts {
			if o.Kinds != nil && !wanted(o.Kinds, part.kind) {
				continue
			}
			n, err := part.write(ctx, tx, out)
			written += n
			if err != nil {
				return err
			}
		}
		return nil
	})
	return written, wrap(err, "the export failed")
}

func wanted(kinds []bundle.Kind, kind bundle.Kind) bool {
	for _, k := range kinds {
		if k == kind {
			return true
		}
	}
	return false
}

// exportParts lists what is written, in order.
var exportParts = []struct {
	kind  bundle.Kind
	write func(context.Context, pgx.Tx, *bundle.Writer) (int, error)
}{
	{bundle.KindWire, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
		return exportReference[bundle.WireSize](ctx, tx, out, bundle.KindWire, "wire_size")
	}},
	{bundle.KindClass, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
		return exportReference[bundle.InsulationClass](ctx, tx, out, bundle.KindClass, "insulation_class")
	}},
	{bundle.KindMaterial, func(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
		return exportReference[bundle.InsulatingMaterial](ctx, tx, out, bundle.KindMaterial, "insulating_material")
	}},
	{bundle.KindFamily, exportFamilies},
	{bundle.KindCore, exportCores},
	{bundle.KindWinding, exportWindings},
}

// exportReference writes one kind of reference data. The table's name comes from exportParts.
func exportReference[T any](ctx context.Context, tx pgx.Tx, out *bundle.Writer, kind bundle.Kind, table string) (int, error) {
	rows, err := tx.Query(ctx, strings.ReplaceAll(`
		SELECT h.id, r.revision, r.body FROM {table} h JOIN {table}_revision r ON r.{table}_id = h.id AND r.revision = h.revision
		WHERE h.state = 'published' ORDER BY h.id`, "{table}", table))
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
		return out.Write(kind, id, revision, &body)
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

func exportFamilies(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
	rows, err := tx.Query(ctx, `
		SELECT h.id::text, h.slug, `+provenanceColumns+`, NULL::jsonb
		FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision`+provenanceJoins+`ORDER BY h.slug`)
	if err != nil {
		return 0, err
	}
	return exportRows(rows, scanFamily, func(f catalog.Family) error {
		return out.Write(bundle.KindFamily, f.ID, f.Revision, bundle.FamilyOf(f))
	})
}

func exportCores(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
	rows, err := tx.Query(ctx, `
		SELECT DISTINCT ON (core_id) core_id::text, revision,
		       jsonb_strip_nulls(jsonb_build_object('id', core_id, 'family_id', family_id, 'stack_length_mm', stack_length_mm))
		FROM added_core ORDER BY core_id, revision DESC`)
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

func exportWindings(ctx context.Context, tx pgx.Tx, out *bundle.Writer) (int, error) {
	rows, err := tx.Query(ctx, windingRows+`ORDER BY h.slug`)
	if err != nil {
		return 0, err
	}
	return exportRows(rows, scanWinding, func(w catalog.Winding) error {
		return out.Write(bundle.KindWinding, w.ID, w.Revision, bundle.WindingOf(w))
	})
}
