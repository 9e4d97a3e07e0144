package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
)

// WireSizes gives all wire sizes that stand, by system and from thick to thin. They are few (some
// hundred) and are held in memory, so there is no page and no filter.
func (s *Store) WireSizes(ctx context.Context) ([]catalog.WireSize, error) {
	var sizes []catalog.WireSize
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var err error
		sizes, err = wireSizes(ctx, conn)
		return err
	})
	return sizes, wrap(err, "the wire sizes could not be read")
}

// querier is a connection or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

func wireSizes(ctx context.Context, q querier) ([]catalog.WireSize, error) {
	rows, err := q.Query(ctx, `
		SELECT r.revision, r.body FROM wire_size w JOIN wire_size_revision r ON r.wire_size_id = w.id AND r.revision = w.revision
		WHERE w.state = 'published' ORDER BY r.system COLLATE "C", r.diameter_nm DESC, w.id`)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (catalog.WireSize, error) {
		var revision int
		var stored []byte
		if err := row.Scan(&revision, &stored); err != nil {
			return catalog.WireSize{}, err
		}
		var body bundle.WireSize
		if err := jsonin.Decode(stored, &body, jsonin.Line); err != nil {
			return catalog.WireSize{}, errs.Wrap(errs.KindInternal, "a stored wire size cannot be read", err)
		}
		return catalog.WireSize{Size: body.ToDomain(), Revision: revision}, nil
	})
}
