package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/insulation"
	"statorbook/internal/match"
)

// A builder that much has changed for is better filled anew: taking a family out looks through all
// records, and many changed heads cost as much as all of them.
const (
	followFamilies = 200 // that were there before and changed
	followHeads    = 20_000
)

// Step is one advance of what a process keeps in memory.
type Step struct {
	Revision int64 // of the catalogue, as the builder now has it
	// Afresh tells that the builder was not advanced: wire sizes changed, or too much else. Load the
	// catalogue with a new one.
	Afresh bool
	// Tables tells that thermal classes or materials changed; they are then given whole.
	Tables             bool
	Classes            []insulation.Class
	Materials          []insulation.Material
	Families, Windings int // heads that were looked at
}

// Follow advances a builder that holds the published data as it stood at revision since: it reads
// only the heads that were stamped later. After an error the builder is not to be used any more.
func (s *Store) Follow(ctx context.Context, since int64, builder *match.Builder) (Step, error) {
	var step Step
	err := s.snapshot(ctx, loadTimeout, func(tx pgx.Tx) error {
		var err error
		if step, err = lookAhead(ctx, tx, since); err != nil || step.Afresh {
			return err
		}
		if step.Tables {
			if step.Classes, err = insulationClasses(ctx, tx); err != nil {
				return err
			}
			if step.Materials, err = insulatingMaterials(ctx, tx); err != nil {
				return err
			}
		}
		moved, err := putFamilies(ctx, tx, since, builder)
		if err != nil {
			return err
		}
		return putWindings(ctx, tx, since, moved, builder)
	})
	return step, wrap(err, "the changes could not be loaded")
}

// lookAhead counts what changed after since.
func lookAhead(ctx context.Context, tx pgx.Tx, since int64) (Step, error) {
	var step Step
	var wires bool
	var old int
	err := tx.QueryRow(ctx, `
		SELECT s.revision,
		       EXISTS (SELECT FROM wire_size w WHERE w.catalogue_revision > $1),
		       EXISTS (SELECT FROM insulation_class k WHERE k.catalogue_revision > $1) OR EXISTS (SELECT FROM insulating_material m WHERE m.catalogue_revision > $1),
		       (SELECT count(*) FROM family f WHERE f.catalogue_revision > $1),
		       (SELECT count(*) FROM family f WHERE f.catalogue_revision > $1 AND f.modified_at > f.created_at),
		       (SELECT count(*) FROM winding w WHERE w.catalogue_revision > $1)
		FROM catalogue_state s`, since).
		Scan(&step.Revision, &wires, &step.Tables, &step.Families, &old, &step.Windings)
	step.Afresh = wires || step.Revision < since || old > followFamilies || step.Families+step.Windings > followHeads
	return step, err
}

// putFamilies puts those families anew whose head changed after since, or that got a stack by a line
// of its own, and names them. That takes their windings out too; putWindings puts them back.
//
// What changed is asked for first, and read by id then: only so does the planner know that it is
// little, and never reads all bodies.
func putFamilies(ctx context.Context, tx pgx.Tx, since int64, builder *match.Builder) (moved []string, err error) {
	moved, err = idsOf(ctx, tx, `
		SELECT f.id::text FROM family f WHERE f.catalogue_revision > $1
		UNION SELECT k.family_id::text FROM core k WHERE k.id = ANY (ARRAY(
			SELECT CASE WHEN c.record_kind = 'core' THEN c.record_id::uuid END FROM change c WHERE c.record_kind = 'core' AND c.catalogue_revision > $1))`, since)
	if err != nil || len(moved) == 0 {
		return nil, err
	}
	rows, err := tx.Query(ctx, `
		SELECT h.id::text, h.state = 'published', r.body, `+addedCores+`
		FROM family h JOIN family_revision r ON r.family_id = h.id AND r.revision = h.revision WHERE h.id = ANY ($1::uuid[])`, moved)
	if err != nil {
		return nil, err
	}
	var id string
	var published bool
	var stored, added []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &published, &stored, &added}, func() error {
		builder.RemoveFamily(id)
		if !published {
			return nil
		}
		entry, err := familyEntry(id, stored)
		if err != nil {
			return err
		}
		builder.AddFamily(entry)
		return addStackEntries(builder, id, added)
	})
	return moved, err
}

// putWindings puts the windings anew whose head changed after since, or whose family was put anew,
// and takes out those that are not to be matched any more.
func putWindings(ctx context.Context, tx pgx.Tx, since int64, moved []string, builder *match.Builder) error {
	ids, err := idsOf(ctx, tx, `
		SELECT w.id::text FROM winding w WHERE w.catalogue_revision > $1
		UNION SELECT w.id::text FROM winding w WHERE w.family_id = ANY ($2::uuid[])`, since, moved)
	if err != nil || len(ids) == 0 {
		return err
	}
	rows, err := tx.Query(ctx, `
		SELECT w.id::text, coalesce(w.core_id::text, ''), coalesce(w.family_id::text, ''), r.demo, r.imported, w.times_seen, r.body,
		       w.state = 'published' AND (f.id IS NULL OR f.state = 'published')
		FROM winding w JOIN winding_revision r ON r.winding_id = w.id AND r.revision = w.revision
		LEFT JOIN family f ON f.id = w.family_id WHERE w.id = ANY ($1::uuid[])`, ids)
	if err != nil {
		return err
	}
	return eachRecord(rows, func(e match.RecordEntry, matchable bool) {
		if matchable {
			builder.AddRecord(e)
		} else {
			builder.RemoveRecord(e.ID)
		}
	})
}

// idsOf runs a query that gives ids.
func idsOf(ctx context.Context, tx pgx.Tx, sql string, args ...any) ([]string, error) {
	rows, err := tx.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// Withdrawals are the records that are no longer published.
type Withdrawals struct {
	Revision int64           // of the catalogue, as it was looked at
	IDs      map[string]bool // UUIDs of windings and families
}

// WithdrawnSince names the windings and families that changed after revision since and are not
// published now. It is cheap, so that a process can withhold them before its index has followed.
func (s *Store) WithdrawnSince(ctx context.Context, since int64) (Withdrawals, error) {
	w := Withdrawals{IDs: map[string]bool{}}
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, `
			SELECT s.revision, coalesce(g.id::text, '') FROM catalogue_state s LEFT JOIN (
				SELECT w.id FROM winding w WHERE w.catalogue_revision > $1 AND w.state <> 'published'
				UNION ALL SELECT f.id FROM family f WHERE f.catalogue_revision > $1 AND f.state <> 'published') g ON true`, since)
		if err != nil {
			return err
		}
		var id string
		_, err = pgx.ForEachRow(rows, []any{&w.Revision, &id}, func() error {
			if id != "" {
				w.IDs[id] = true
			}
			return nil
		})
		return err
	})
	return w, wrap(err, "the withdrawals could not be read")
}

// eachRecord reads rows of windings with the columns id, core, family, demo, imported, times seen,
// body and whether it is to be matched.
func eachRecord(rows pgx.Rows, take func(e match.RecordEntry, matchable bool)) error {
	var e match.RecordEntry
	var demo, imported, matchable bool
	var stored []byte
	_, err := pgx.ForEachRow(rows, []any{&e.ID, &e.CoreID, &e.FamilyID, &demo, &imported, &e.TimesSeen, &stored, &matchable}, func() error {
		e.Status = string(catalog.StatusOf(catalog.Published, demo, imported))
		if err := readRecord(&e, stored); err != nil {
			return err
		}
		take(e, matchable)
		return nil
	})
	return err
}

// addStackEntries gives the builder the stacks in added, as the column addedCores has them.
func addStackEntries(builder *match.Builder, id string, added []byte) error {
	cores, err := joinCores(nil, added)
	if err != nil || len(cores) == 0 {
		return err
	}
	entry := match.FamilyEntry{ID: id}
	for _, c := range cores {
		entry.Cores = append(entry.Cores, match.CoreEntry{ID: c.ID, StackLength: c.StackLength})
	}
	builder.AddFamily(entry)
	return nil
}
