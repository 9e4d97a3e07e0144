package pgtest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// clone makes a database for one test and drops it afterwards, in the background:
// the server takes 100 ms while a connection to it is still leaving.
func (s *server) clone(t testing.TB, template string) (ownerURL, appURL string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	name, err := s.create(ctx, template)
	if err != nil {
		t.Fatalf("pgtest: %v", err)
	}
	t.Cleanup(func() { s.drop(name) })
	return s.url(s.ownerRole, name), s.url(s.appRole, name)
}

// create makes a database with the rights and role defaults of its template;
// PostgreSQL copies neither. An empty template gives an empty database.
func (s *server) create(ctx context.Context, template string) (string, error) {
	name := fmt.Sprintf("%s%d", s.prefix, s.made.Add(1))
	from := template
	if from == "" {
		from = "template0"
	}
	// file_copy took half the time of the default, wal_log, in tests of this size.
	_, err := s.admin.Exec(ctx, fmt.Sprintf("create database %s template %s strategy file_copy owner %s", quote(name), quote(from), quote(s.ownerRole)))
	if err != nil {
		return "", fmt.Errorf("database %s from template %s: %w", name, from, err)
	}
	defaults, err := s.roleDefaults(ctx, template)
	if err != nil {
		return "", fmt.Errorf("role defaults of template %s: %w", template, err)
	}
	statements := fmt.Sprintf("revoke all on database %[1]s from public; grant connect, temporary on database %[1]s to %[2]s",
		quote(name), quote(s.appRole))
	for _, d := range defaults {
		statements += fmt.Sprintf("; alter role %s in database %s set %s to '%s'",
			quote(d.Role), quote(name), quote(d.Setting), strings.ReplaceAll(d.Value, "'", "''"))
	}
	// All in one message, so in one transaction.
	if _, err := s.admin.Exec(ctx, statements); err != nil {
		return "", fmt.Errorf("rights on database %s: %w", name, err)
	}
	return name, nil
}

// roleDefault is what ALTER ROLE IN DATABASE SET left.
type roleDefault struct{ Role, Setting, Value string }

// roleDefaults reads those of a template, once. An empty template has none.
func (s *server) roleDefaults(ctx context.Context, template string) ([]roleDefault, error) {
	s.defaultsLock.Lock()
	defer s.defaultsLock.Unlock()
	known, ok := s.defaults[template]
	if ok || template == "" {
		return known, nil
	}
	rows, err := s.admin.Query(ctx, `
		select r.rolname::text, split_part(c, '=', 1), substr(c, strpos(c, '=') + 1)
		from pg_db_role_setting s join pg_roles r on r.oid = s.setrole, unnest(s.setconfig) c
		where s.setdatabase = (select oid from pg_database where datname = $1)`, template)
	if err != nil {
		return nil, err
	}
	known, err = pgx.CollectRows(rows, pgx.RowToStructByPos[roleDefault])
	if err != nil {
		return nil, err
	}
	s.defaults[template] = known
	return known, nil
}

// drop removes a database in the background. What fails is left for close, or
// goes with the server.
func (s *server) drop(name string) {
	if name == "" {
		return
	}
	s.drops.Go(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		_, _ = s.admin.Exec(ctx, "drop database if exists "+quote(name)+" with (force)")
	})
}

// dropAll removes all databases of a name pattern.
func (s *server) dropAll(ctx context.Context, pattern string) {
	rows, err := s.admin.Query(ctx, "select datname::text from pg_database where datname like $1", pattern)
	if err != nil {
		return
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return
	}
	for _, name := range names {
		_, _ = s.admin.Exec(ctx, "drop database if exists "+quote(name)+" with (force)")
	}
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }
