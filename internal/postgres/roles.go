package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	"statorbook/migrations"
)

// roleLimits are the time limits that the serving role gets as defaults in its database. Set on
// the role they need no state of a session, so they hold behind a transaction-mode pooler, where a
// SET of one caller would meet another.
var roleLimits = map[string]string{
	"statement_timeout":                   "5s",
	"lock_timeout":                        "500ms",
	"idle_in_transaction_session_timeout": "10s",
}

// grantApp gives the serving roles their rights: DefaultAppRole if it exists, and the role of the
// app's URL. The owner needs none. The lock is needed because two GRANTs on one table at once fail
// ("tuple concurrently updated").
func grantApp(ctx context.Context, db *sql.DB, cfg migrateConfig) error {
	named, err := appRole(cfg)
	if err != nil {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, `SET LOCAL lock_timeout = '60s'`); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `SELECT pg_advisory_xact_lock($1)`, grantLock); err != nil {
		return err
	}
	rows, err := tx.QueryContext(ctx,
		`SELECT rolname FROM pg_roles WHERE rolname IN ($1, $2) AND rolname <> current_user`, DefaultAppRole, named)
	if err != nil {
		return err
	}
	roles, err := texts(rows)
	if err != nil {
		return err
	}
	for _, role := range roles {
		grants := strings.ReplaceAll(migrations.AppGrants, DefaultAppRole, pgx.Identifier{role}.Sanitize())
		if _, err := tx.ExecContext(ctx, grants); err != nil {
			return fmt.Errorf("rights of role %q: %w", role, err)
		}
	}
	return tx.Commit()
}

// texts reads a result of one text column.
func texts(rows *sql.Rows) ([]string, error) {
	defer rows.Close()
	var all []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		all = append(all, text)
	}
	return all, rows.Err()
}

// appRole is the role of the app's URL, "" if there is none.
func appRole(cfg migrateConfig) (string, error) {
	if cfg.appURL == "" {
		return "", nil
	}
	config, err := parseURL(cfg.appURL)
	if err != nil {
		return "", err
	}
	return config.User, nil
}

// limitApp sets the time limits of the serving role. A role may set its own defaults, so this runs
// as that role. With one URL for everything nothing is set: the limits would also bind whoever
// maintains the database.
func limitApp(ctx context.Context, ownerURL string, cfg migrateConfig) error {
	app, err := appRole(cfg)
	if err != nil {
		return wrap(err, "the URL of the app cannot be read")
	}
	owner, err := parseURL(ownerURL)
	if err != nil {
		return wrap(err, "the URL of the owner cannot be read")
	}
	if app == "" || app == owner.User {
		return nil
	}
	config, err := parseURL(cfg.appURL)
	if err != nil {
		return wrap(err, "the URL of the app cannot be read")
	}
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return wrap(err, "the app's role cannot connect")
	}
	defer conn.Close(context.WithoutCancel(ctx))
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error { return setLimits(ctx, tx) })
	if err != nil {
		return wrap(err, "the time limits of the app's role could not be set")
	}
	return nil
}

// setLimits writes the role defaults that are missing. What an operator has set stays.
func setLimits(ctx context.Context, tx pgx.Tx) error {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, grantLock); err != nil {
		return err
	}
	var database string
	var have []string
	err := tx.QueryRow(ctx, `
		SELECT current_database(), coalesce((
			SELECT s.setconfig FROM pg_db_role_setting s
			WHERE s.setrole = (SELECT oid FROM pg_roles WHERE rolname = current_user)
			  AND s.setdatabase = (SELECT oid FROM pg_database WHERE datname = current_database())), '{}')`).Scan(&database, &have)
	if err != nil {
		return err
	}
	set := strings.Join(have, "\n") + "\n"
	for name, value := range roleLimits {
		if strings.Contains("\n"+set, "\n"+name+"=") {
			continue
		}
		_, err := tx.Exec(ctx, `ALTER ROLE CURRENT_USER IN DATABASE `+pgx.Identifier{database}.Sanitize()+` SET `+name+` = '`+value+`'`)
		if err != nil {
			return err
		}
	}
	return nil
}
