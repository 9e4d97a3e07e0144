package postgres

import (
	"context"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/errs"
)

// milliseconds writes a time limit as Postgres takes it.
func milliseconds(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) + "ms" }

// CatalogueRevision is the revision of the published data: 0 on an empty database, one more with
// each transaction that changed it. It is cheap enough to be asked every second.
func (s *Store) CatalogueRevision(ctx context.Context) (int64, error) {
	var revision int64
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return conn.QueryRow(ctx, `SELECT revision FROM catalogue_state`).Scan(&revision)
	})
	return revision, wrap(err, "the catalogue revision could not be read")
}

// Ready says whether requests can be served: the database answers and has the schema that this
// program was built for, or a newer one (an older program may run beside a newer one for a while).
func (s *Store) Ready(ctx context.Context) error {
	want, err := LatestSchema()
	if err != nil {
		return wrap(err, "the embedded migrations cannot be read")
	}
	var have int64
	err = s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return conn.QueryRow(ctx, `SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied`).Scan(&have)
	})
	if err != nil {
		return wrap(err, "the database does not answer")
	}
	if have < want {
		return errs.New(errs.KindUnavailable, "The database is still being migrated. Try again.")
	}
	return nil
}

// Condition is what an operator should know about the database that serves.
type Condition struct {
	Server        string // version, such as 15.18
	Role          string
	SecondWall    bool // row-level security binds this role: it owns nothing, is no superuser, does not bypass it
	Durable       bool // fsync, full_page_writes and synchronous_commit are on
	Checksums     bool
	Limited       bool // a statement without a transaction has a time limit on the server too
	SchemaVersion int64
}

// Condition asks the server for what it is and how it is set.
func (s *Store) Condition(ctx context.Context) (Condition, error) {
	var c Condition
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		return conn.QueryRow(ctx, `
			SELECT split_part(current_setting('server_version'), ' ', 1), current_user::text,
			       NOT r.rolsuper AND NOT r.rolbypassrls AND NOT EXISTS (
			           SELECT FROM pg_class c WHERE c.oid = 'winding_draft'::regclass AND pg_has_role(current_user, c.relowner, 'MEMBER')),
			       current_setting('fsync') = 'on' AND current_setting('full_page_writes') = 'on'
			           AND current_setting('synchronous_commit') <> 'off',
			       current_setting('data_checksums') = 'on',
			       current_setting('statement_timeout') <> '0',
			       (SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied)
			FROM pg_roles r WHERE r.rolname = current_user`).
			Scan(&c.Server, &c.Role, &c.SecondWall, &c.Durable, &c.Checksums, &c.Limited, &c.SchemaVersion)
	})
	return c, wrap(err, "the state of the database could not be read")
}
