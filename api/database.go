package main

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"statorbook/internal/localpg"
	"statorbook/internal/postgres"
)

// database is the Postgres that a command works on: one that somebody runs for us, or our own.
type database struct {
	appURL, ownerURL string
	private          *localpg.Server // nil with DATABASE_URL
}

// openDatabase finds out where the data is, and starts the private Postgres if it is our own.
func openDatabase(ctx context.Context, cfg config, log *slog.Logger) (*database, error) {
	if cfg.databaseURL != "" {
		db := &database{appURL: cfg.databaseURL, ownerURL: cfg.databaseOwnerURL}
		if db.ownerURL == "" {
			db.ownerURL = db.appURL
			log.Warn("DATABASE_OWNER_URL is not set: the same role migrates and serves, so the second wall (row-level security, no right to change revisions) is off")
		}
		return db, nil
	}
	root := cfg.dataDir
	if root == "" {
		var err error
		if root, err = localpg.DefaultRoot("statorbook"); err != nil {
			return nil, err
		}
	}
	server, err := localpg.Start(ctx, localpg.Config{Root: root, BinDir: cfg.pgBin, Log: log})
	if err != nil {
		return nil, err
	}
	return &database{appURL: server.AppURL(), ownerURL: server.OwnerURL(), private: server}, nil
}

// migrate brings the schema up to date; several processes may do so at once.
func (db *database) migrate(ctx context.Context, log *slog.Logger) error {
	options := []postgres.MigrateOption{postgres.WithLog(log)}
	if db.ownerURL != db.appURL {
		options = append(options, postgres.WithAppURL(db.appURL))
	}
	return postgres.Migrate(ctx, db.ownerURL, options...)
}

// died is closed when the private Postgres ended unasked; it never is with DATABASE_URL.
func (db *database) died() <-chan struct{} {
	if db.private == nil {
		return nil
	}
	return db.private.Done()
}

// close stops the private Postgres.
func (db *database) close() error {
	if db.private == nil {
		return nil
	}
	return db.private.Stop()
}

// withStore opens and migrates the database for a command that is not the server, runs f on it and closes both.
func withStore(ctx context.Context, c console, cfg config, f func(*postgres.Store) error) error {
	log := newLog(c)
	db, err := openDatabase(ctx, cfg, log)
	if err != nil {
		return err
	}
	err = db.use(ctx, log, f)
	if stopErr := db.close(); err == nil && stopErr != nil {
		err = fmt.Errorf("stopping the private Postgres: %w", stopErr)
	}
	return err
}

// use migrates, opens a store and runs f on it.
func (db *database) use(ctx context.Context, log *slog.Logger, f func(*postgres.Store) error) error {
	if err := db.migrate(ctx, log); err != nil {
		return err
	}
	store, err := postgres.Open(ctx, db.appURL, postgres.WithStoreLog(log))
	if err != nil {
		return err
	}
	defer store.Close()
	return f(store)
}

// pause waits, or returns early with the context's error.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
