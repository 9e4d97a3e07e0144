package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/jsonin"
)

// InsulationClasses gives all thermal classes that stand, coolest first.
func (s *Store) InsulationClasses(ctx context.Context) ([]insulation.Class, error) {
	var classes []insulation.Class
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var err error
		classes, err = insulationClasses(ctx, conn)
		return err
	})
	return classes, wrap(err, "the thermal classes could not be read")
}

func insulationClasses(ctx context.Context, q querier) ([]insulation.Class, error) {
	rows, err := q.Query(ctx, `
		SELECT r.body FROM insulation_class c JOIN insulation_class_revision r ON r.insulation_class_id = c.id AND r.revision = c.revision
		WHERE c.state = 'published' ORDER BY (r.body ->> 'max_hot_spot_c')::numeric, c.id`)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (insulation.Class, error) {
		var body bundle.InsulationClass
		if err := scanBody(row, &body); err != nil {
			return insulation.Class{}, err
		}
		return body.ToDomain(), nil
	})
}

// InsulatingMaterials gives all insulating materials that stand, by id.
func (s *Store) InsulatingMaterials(ctx context.Context) ([]insulation.Material, error) {
	var materials []insulation.Material
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var err error
		materials, err = insulatingMaterials(ctx, conn)
		return err
	})
	return materials, wrap(err, "the insulating materials could not be read")
}

func insulatingMaterials(ctx context.Context, q querier) ([]insulation.Material, error) {
	rows, err := q.Query(ctx, `
		SELECT r.body FROM insulating_material m JOIN insulating_material_revision r ON r.insulating_material_id = m.id AND r.revision = m.revision
		WHERE m.state = 'published' ORDER BY m.id`)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (insulation.Material, error) {
		var body bundle.InsulatingMaterial
		if err := scanBody(row, &body); err != nil {
			return insulation.Material{}, err
		}
		return body.ToDomain(), nil
	})
}

// scanBody reads a row whose only column is the stored body of a record.
func scanBody(row pgx.CollectableRow, into any) error {
	var stored []byte
	if err := row.Scan(&stored); err != nil {
		return err
	}
	if err := jsonin.Decode(stored, into, jsonin.Line); err != nil {
		return errs.Wrap(errs.KindInternal, "a stored record cannot be read", err)
	}
	return nil
}
