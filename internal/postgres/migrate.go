package postgres

import (
	"context"
	"database/sql"
	"errors"
	"log/slog"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"statorbook/internal/errs"
	"statorbook/migrations"
)

// DefaultAppRole is the role that gets the rights of the serving process whenever it exists, even
// if WithAppURL does not name it. The private Postgres of a machine has it.
const DefaultAppRole = "statorbook_app"

const (
	// A migration waits at most this long for a table, so that readers never queue behind it for
	// longer: a plain SELECT waited 1.5 s behind a waiting ALTER TABLE without it, 0.15 s with it.
	migrationLockTimeout = "200ms"
	migrationAttempts    = 100
	grantLock            = 4097083627 // next to goose's own advisory lock
)

// MigrateOption changes how Migrate works.
type MigrateOption func(*migrateConfig)

type migrateConfig struct {
	appURL string
	log    *slog.Logger
}

// WithAppURL names the connection of the serving process. Its role gets its rights, and, if it is
// not the role that migrates, its time limits as role defaults, which hold behind a pooler too.
func WithAppURL(url string) MigrateOption { return func(c *migrateConfig) { c.appURL = url } }

// WithLog tells where to say what was migrated. The default is silence.
func WithLog(log *slog.Logger) MigrateOption { return func(c *migrateConfig) { c.log = log } }

// Migrate brings the database to the newest schema and grants the rights of the serving role. The
// URL must be a direct connection of the role that owns the tables: a lock of the session keeps
// several starting processes apart (the others wait up to five minutes). It may be called at every
// start.
func Migrate(ctx context.Context, ownerURL string, opts ...MigrateOption) error {
	cfg := migrateConfig{log: slog.New(slog.DiscardHandler)}
	for _, opt := range opts {
		opt(&cfg)
	}
	err := withOwner(ctx, ownerURL, func(db *sql.DB) error {
		if err := upTo(ctx, db, cfg.log, goose.MaxVersion); err != nil {
			return err
		}
		return grantApp(ctx, db, cfg)
	})
	if err != nil {
		return wrap(err, "the database could not be migrated")
	}
	return limitApp(ctx, ownerURL, cfg)
}

// MigrateTo goes up or down to a version; 0 takes every table away, with all data. It is for tests
// and for an operator who must step back.
func MigrateTo(ctx context.Context, ownerURL string, version int64) error {
	err := withOwner(ctx, ownerURL, func(db *sql.DB) error {
		return upTo(ctx, db, slog.New(slog.DiscardHandler), version)
	})
	if err != nil {
		return wrap(err, "the database could not be migrated")
	}
	return nil
}

// LatestSchema is the newest version among the embedded migrations.
func LatestSchema() (int64, error) {
	names, err := migrations.FS.ReadDir(".")
	if err != nil {
		return 0, err
	}
	newest := int64(0)
	for _, entry := range names {
		version, err := goose.NumericComponent(entry.Name())
		if err != nil {
			return 0, err
		}
		newest = max(newest, version)
	}
	return newest, nil
}

// withOwner runs f on a single direct connection with the limits of a migration.
func withOwner(ctx context.Context, ownerURL string, f func(*sql.DB) error) error {
	config, err := parseURL(ownerURL)
	if err != nil {
		return err
	}
	config.RuntimeParams["lock_timeout"] = migrationLockTimeout
	config.RuntimeParams["statement_timeout"] = "0"
	config.RuntimeParams["idle_in_transaction_session_timeout"] = "0"
	db := stdlib.OpenDB(*config)
	defer db.Close()
	if err := db.PingContext(ctx); err != nil {
		var refused *pgconn.PgError
		if errors.As(err, &refused) && strings.Contains(refused.Message, "startup parameter") {
			return errs.Wrap(errs.KindInternal, "migrations need a direct connection (DATABASE_OWNER_URL), not a pooler", err)
		}
		return err
	}
	return f(db)
}

// upTo migrates, trying again when a table stayed busy.
func upTo(ctx context.Context, db *sql.DB, log *slog.Logger, version int64) error {
	for attempt := 1; ; attempt++ {
		results, err := migrateOnce(ctx, db, version)
		for _, r := range results {
			log.Info("migrated", "file", r.Source.Path, "direction", r.Direction, "took", r.Duration)
		}
		if err == nil || attempt == migrationAttempts || !hasState(err, lockNotAvailable) {
			return err
		}
		pause := time.Duration(50+10*min(attempt, 20)) * time.Millisecond
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause):
		}
	}
}

// migrateOnce makes its own provider and locker: a locker counts its tries for good.
func migrateOnce(ctx context.Context, db *sql.DB, version int64) ([]*goose.MigrationResult, error) {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
	if err != nil {
		return nil, err
	}
	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations.FS,
		goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return nil, err
	}
	current, err := provider.GetDBVersion(ctx)
	if err != nil {
		return nil, err
	}
	if version <= current {
		return provider.DownTo(ctx, version)
	}
	return provider.UpTo(ctx, version)
}
