package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// Pulse tells how far the published data has come. Its catalogue revision counts every change that
// the match index must follow, sightings too; Feed is that of the newest row of the change feed.
type Pulse struct {
	Catalogue, Feed int64
}

// Pulse is cheap enough to be asked every second: it reads one row and the end of one index.
func (s *Store) Pulse(ctx context.Context) (Pulse, error) {
	var p Pulse
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return conn.QueryRow(ctx, `
			SELECT s.revision, coalesce((SELECT max(c.catalogue_revision) FROM change c), 0) FROM catalogue_state s`).
			Scan(&p.Catalogue, &p.Feed)
	})
	return p, wrap(err, "the catalogue revision could not be read")
}

// Changes reads the change feed after a mark, size (1-MaxPageSize, 0 = DefaultPageSize) changes at
// most. Nothing is ever missed: catalogue_bump holds the row of catalogue_state until the commit, so
// that changes become visible in the order of their revisions, all of one revision at once. A mark
// that names no change of this feed is KindNotFound.
func (s *Store) Changes(ctx context.Context, after catalog.Mark, size int) (catalog.ChangePage, error) {
	size = pageSize(catalog.PageRequest{Size: size})
	begin := after == catalog.Mark{}
	want := size + 1 // one more tells whether the feed goes on
	if !begin {
		want++ // the change of the mark itself
	}
	var found []catalog.Change
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, changesFrom, after.CatalogueRevision, after.Item, want)
		if err != nil {
			return err
		}
		found, err = pgx.CollectRows(rows, scanChange)
		return err
	})
	if err != nil {
		return catalog.ChangePage{}, wrap(err, "the change feed could not be read")
	}
	if !begin {
		if len(found) == 0 || found[0].Mark != after {
			return catalog.ChangePage{}, errs.New(errs.KindNotFound, "This server's change feed does not have this place.")
		}
		found = found[1:]
	}
	page := catalog.ChangePage{Items: found}
	if len(found) > size {
		page.Items, page.More = found[:size], true
	}
	return page, nil
}

// changesFrom gives each change with the state and the reason of the revision that it made.
const changesFrom = `
	SELECT c.catalogue_revision, c.item, c.at, c.change, c.record_kind, c.record_id, c.revision, c.content_hash,
	       coalesce(w.state, f.state, s.state, k.state, m.state, 'published'), coalesce(w.reason, f.reason, s.reason, k.reason, m.reason, ''),
	       coalesce(c.reason_code, '')
	FROM change c
	LEFT JOIN winding_revision w ON w.winding_id = CASE WHEN c.record_kind = 'winding' THEN c.record_id::uuid END AND w.revision = c.revision
	LEFT JOIN family_revision f ON f.family_id = CASE WHEN c.record_kind = 'family' THEN c.record_id::uuid END AND f.revision = c.revision
	LEFT JOIN wire_size_revision s ON c.record_kind = 'wire' AND s.wire_size_id = c.record_id AND s.revision = c.revision
	LEFT JOIN insulation_class_revision k ON c.record_kind = 'insulation_class' AND k.insulation_class_id = c.record_id AND k.revision = c.revision
	LEFT JOIN insulating_material_revision m ON c.record_kind = 'insulating_material' AND m.insulating_material_id = c.record_id AND m.revision = c.revision
	WHERE (c.catalogue_revision, c.item) >= ($1, $2)
	ORDER BY c.catalogue_revision, c.item LIMIT $3`

func scanChange(row pgx.CollectableRow) (catalog.Change, error) {
	var c catalog.Change
	var hash []byte
	var kind, state string
	err := row.Scan(&c.CatalogueRevision, &c.Item, &c.At, &kind, &c.RecordKind, &c.RecordID, &c.Revision, &hash, &state, &c.Reason, &c.ReasonCode)
	c.At, c.Kind, c.State = c.At.UTC(), catalog.ChangeKind(kind), catalog.State(state)
	copy(c.Hash[:], hash)
	copy(c.Check[:], hash)
	return c, err
}
