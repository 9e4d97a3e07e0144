package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/jsonin"
	"statorbook/internal/match"
)

// loadTimeout bounds each statement of a catalogue load; the load as a whole ends with its context.
const loadTimeout = 2 * time.Minute

// Catalogue is the reference data of one revision of the published data.
type Catalogue struct {
	Revision  int64
	Wires     []catalog.WireSize
	Classes   []insulation.Class
	Materials []insulation.Material
}

// LoadCatalogue reads all published data as it stands at one moment. begin is called once with the
// reference data and gives the builder that then takes in the families and windings; withdrawn
// ones, and the windings of withdrawn families, stay out.
func (s *Store) LoadCatalogue(ctx context.Context, begin func(Catalogue) (*match.Builder, error)) (Catalogue, error) {
	var c Catalogue
	err := s.snapshot(ctx, loadTimeout, func(tx pgx.Tx) error {
		var err error
		if c, err = reference(ctx, tx); err != nil {
			return err
		}
		builder, err := begin(c)
		if err != nil {
			return err
		}
		return fillBuilder(ctx, tx, builder)
	})
	return c, wrap(err, "the catalogue could not be loaded")
}

// LoadMatch fills a builder with the published families and windings and gives the catalogue
// revision that they belong to.
func (s *Store) LoadMatch(ctx context.Context, builder *match.Builder) (int64, error) {
	var revision int64
	err := s.snapshot(ctx, loadTimeout, func(tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, `SELECT revision FROM catalogue_state`).Scan(&revision); err != nil {
			return err
		}
		return fillBuilder(ctx, tx, builder)
	})
	return revision, wrap(err, "the records could not be loaded")
}

// reference reads the revision and the reference data in the order of the fields.
func reference(ctx context.Context, tx pgx.Tx) (Catalogue, error) {
	var c Catalogue
	err := tx.QueryRow(ctx, `SELECT revision FROM catalogue_state`).Scan(&c.Revision)
	if err != nil {
		return c, err
	}
	if c.Wires, err = wireSizes(ctx, tx); err != nil {
		return c, err
	}
	if c.Classes, err = insulationClasses(ctx, tx); err != nil {
		return c, err
	}
	c.Materials, err = insulatingMaterials(ctx, tx)
	return c, err
}

// fillBuilder streams entries in the order of their ids, so that every process builds the same index.
func fillBuilder(ctx context.Context, tx pgx.Tx, builder *match.Builder) error {
	rows, err := tx.Query(ctx, `
		SELECT f.id::text, r.body FROM family f JOIN family_revision r ON r.family_id = f.id AND r.revision = f.revision
		WHERE f.state = 'published' ORDER BY f.id`)
	if err != nil {
		return err
	}
	var id string
	var stored []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &stored}, func() error {
		entry, err := familyEntry(id, stored)
		if err == nil {
			builder.AddFamily(entry)
		}
		return err
	})
	if err != nil {
		return err
	}
	if err := addStacks(ctx, tx, builder); err != nil {
		return err
	}
	rows, err = tx.Query(ctx, `
		SELECT w.id::text, coalesce(w.core_id::text, ''), coalesce(w.family_id::text, ''), r.demo, r.imported, w.times_seen, r.body, true
		FROM winding w JOIN winding_revision r ON r.winding_id = w.id AND r.revision = w.revision
		LEFT JOIN family f ON f.id = w.family_id
		WHERE w.state = 'published' AND (f.id IS NULL OR f.state = 'published') ORDER BY w.id`)
	if err != nil {
		return err
	}
	return eachRecord(rows, func(e match.RecordEntry, _ bool) { builder.AddRecord(e) })
}

// addStacks gives the builder the stacks that joined a family by lines of their own.
func addStacks(ctx context.Context, tx pgx.Tx, builder *match.Builder) error {
	rows, err := tx.Query(ctx, `
		SELECT h.id::text, `+addedCores+` FROM family h
		WHERE h.state = 'published' AND EXISTS (SELECT FROM added_core x WHERE x.family_id = h.id) ORDER BY h.id`)
	if err != nil {
		return err
	}
	var id string
	var added []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &added}, func() error {
		return addStackEntries(builder, id, added)
	})
	return err
}

// familyEntry reads a stored family for the index.
func familyEntry(id string, stored []byte) (match.FamilyEntry, error) {
	var body bundle.Family
	if err := jsonin.Decode(stored, &body, jsonin.Line); err != nil {
		return match.FamilyEntry{}, errs.Wrap(errs.KindInternal, "a stored family cannot be read: "+id, err)
	}
	family := body.ToDomain()
	entry := match.FamilyEntry{ID: id, Application: family.Application, Core: family.Core}
	for _, c := range family.Cores {
		entry.Cores = append(entry.Cores, match.CoreEntry{ID: c.ID, StackLength: c.StackLength})
	}
	return entry, nil
}

// readRecord reads the body of a stored winding into the entry.
func readRecord(e *match.RecordEntry, stored []byte) error {
	var body bundle.Winding
	if err := jsonin.Decode(stored, &body, jsonin.Line); err != nil {
		return errs.Wrap(errs.KindInternal, "a stored winding cannot be read: "+e.ID, err)
	}
	w := body.ToDomain()
	e.MotorType, e.Origin, e.CoreAsMeasured, e.Nameplate, e.Scheme = w.MotorType, w.Origin, w.CoreAsMeasured, w.Nameplate, w.Scheme
	return nil
}
