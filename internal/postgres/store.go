// Package postgres holds every SQL statement of the service, turns rows into domain values and
// back, runs the migrations and the transactions. "No rows" and SQLSTATE codes become errs kinds
// here and nowhere else.
package postgres

import (
	"context"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

const (
	defaultConns   = 16
	acquireTimeout = 2 * time.Second  // then the caller hears "unavailable" instead of queueing
	connectTimeout = 5 * time.Second  // a starting server may need a moment
	connLifetime   = 30 * time.Minute // so that a fail-over or a new certificate is noticed
	connIdle       = 5 * time.Minute
	readTimeout    = 5 * time.Second // of one method that reads for a request
)

// Store gives the service its data. It is safe for use by many goroutines.
type Store struct {
	pool   *pgxpool.Pool
	log    *slog.Logger
	drafts int // that an institute may start within 24 hours
}

// OpenOption changes how Open works.
type OpenOption func(*openConfig)

type openConfig struct {
	conns, drafts int
	log           *slog.Logger
}

// WithConns sets the greatest number of connections of the pool (1-100, default 16). Loading the
// catalogue needs one and import two for a while, so less than 4 is for tests.
func WithConns(n int) OpenOption { return func(c *openConfig) { c.conns = min(max(n, 1), 100) } }

// WithDraftsPerDay sets how many drafts an institute may start within 24 hours (at least 1, default
// catalog.DraftsPerDay). Requests at the same moment may pass it by their number.
func WithDraftsPerDay(n int) OpenOption { return func(c *openConfig) { c.drafts = max(n, 1) } }

// WithStoreLog tells where the store says what an operator should know. The default is silence.
func WithStoreLog(log *slog.Logger) OpenOption { return func(c *openConfig) { c.log = log } }

// Open makes a pool for appURL. It needs no server yet: the first use connects. The URL may be
// that of a transaction-mode pooler, since nothing here relies on the state of a session.
func Open(ctx context.Context, appURL string, opts ...OpenOption) (*Store, error) {
	cfg := openConfig{conns: defaultConns, drafts: catalog.DraftsPerDay, log: slog.New(slog.DiscardHandler)}
	for _, opt := range opts {
		opt(&cfg)
	}
	config, err := pgxpool.ParseConfig(appURL)
	if err != nil {
		return nil, errs.Wrap(errs.KindInternal, "the database URL cannot be read", err)
	}
	config.MaxConns = int32(cfg.conns)
	config.MaxConnLifetime = connLifetime
	config.MaxConnLifetimeJitter = connLifetime / 10
	config.MaxConnIdleTime = connIdle
	tune(config.ConnConfig)
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, wrap(err, "the database pool could not be made")
	}
	return &Store{pool: pool, log: cfg.log, drafts: cfg.drafts}, nil
}

// Close gives all connections back. It waits for those in use.
func (s *Store) Close() { s.pool.Close() }

// tune sets what every connection of ours needs. Named prepared statements would stay behind on a
// pooler's server connections; the mode cache_describe uses none.
func tune(config *pgx.ConnConfig) {
	config.DefaultQueryExecMode = pgx.QueryExecModeCacheDescribe
	config.StatementCacheCapacity = 0
	config.DescriptionCacheCapacity = 256
	config.ConnectTimeout = connectTimeout
}

// parseURL reads a database URL for a single connection.
func parseURL(url string) (*pgx.ConnConfig, error) {
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	tune(config)
	return config, nil
}

// acquire takes a connection from the pool, waiting two seconds at most.
func (s *Store) acquire(ctx context.Context) (*pgxpool.Conn, error) {
	waiting, cancel := context.WithTimeout(ctx, acquireTimeout)
	defer cancel()
	conn, err := s.pool.Acquire(waiting)
	if err == nil {
		return conn, nil
	}
	if waiting.Err() != nil && ctx.Err() == nil {
		return nil, errs.Wrap(errs.KindUnavailable, "The service is busy. Try again.", err)
	}
	return nil, wrap(err, "no database connection")
}

// read runs f on one connection with the time limit of a request. Single statements need no
// transaction.
func (s *Store) read(ctx context.Context, f func(context.Context, *pgxpool.Conn) error) error {
	ctx, cancel := context.WithTimeout(ctx, readTimeout)
	defer cancel()
	conn, err := s.acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	return f(ctx, conn)
}

// snapshot runs f in a read-only transaction that sees one state of the catalogue throughout. The
// limit is for one statement or pause, not for the whole: loading and export may take longer.
func (s *Store) snapshot(ctx context.Context, limit time.Duration, f func(pgx.Tx) error) error {
	conn, err := s.acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	options := pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	return wrap(pgx.BeginTxFunc(ctx, conn, options, func(tx pgx.Tx) error {
		if err := limitTransaction(ctx, tx, limit, limit); err != nil {
			return err
		}
		return f(tx)
	}), "a reading transaction failed")
}

// limitTransaction sets the time limits for this transaction only (set_config with is_local).
func limitTransaction(ctx context.Context, tx pgx.Tx, statement, lock time.Duration) error {
	_, err := tx.Exec(ctx, `
		SELECT set_config('statement_timeout', $1, true), set_config('lock_timeout', $2, true),
		       set_config('idle_in_transaction_session_timeout', $3, true)`,
		milliseconds(statement), milliseconds(lock), milliseconds(max(statement, 10*time.Second)))
	return err
}
