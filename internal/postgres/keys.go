package postgres

import (
	"context"
	"crypto/subtle"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
)

// keyColumns are the columns of a key k of a person p of an institute i, as scanKey takes them.
const keyColumns = `k.id, i.slug, p.pseudonym, k.scopes, k.created_at, k.expires_at, coalesce(k.revoked_at, 'epoch'), coalesce(k.last_used_at, 'epoch')`

const keyTables = `api_key k JOIN person p ON p.id = k.person_id JOIN institute i ON i.id = k.institute_id`

// scanKey reads keyColumns, and more columns behind them.
func scanKey(row pgx.Row, more ...any) (catalog.Key, error) {
	var k catalog.Key
	var scopes []string
	into := []any{&k.ID, &k.Actor.Institute, &k.Actor.Person, &scopes, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsedAt}
	err := row.Scan(append(into, more...)...)
	for _, scope := range scopes {
		k.Actor.Scopes = append(k.Actor.Scopes, catalog.Scope(scope))
	}
	k.CreatedAt, k.ExpiresAt = k.CreatedAt.UTC(), k.ExpiresAt.UTC()
	k.RevokedAt, k.LastUsedAt = happened(k.RevokedAt), happened(k.LastUsedAt)
	return k, err
}

// happened gives the zero time for the epoch, which stands for NULL.
func happened(t time.Time) time.Time {
	if t.Unix() == 0 {
		return time.Time{}
	}
	return t.UTC()
}

// unusableKey is the one answer about a key that is unknown, wrong, expired or revoked.
func unusableKey() error {
	return errs.New(errs.KindUnauthenticated, "The key is not valid. It is unknown, wrong, expired or revoked.")
}

// Authenticate gives the key id, if secretHash (SHA-256) is that of its secret and the key is live at
// the time now; any other is KindUnauthenticated, always with the same words. It asks the database each
// time, so that a revocation holds at once. An unknown id is read and compared too, as a key without
// an id and with a hash that no secret has, so that the time tells nothing.
func (s *Store) Authenticate(ctx context.Context, id string, secretHash [32]byte, now time.Time) (catalog.Key, error) {
	var k catalog.Key
	var held []byte
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		var err error
		k, err = scanKey(conn.QueryRow(ctx, `SELECT `+keyColumns+`, k.secret_hash FROM `+keyTables+` WHERE k.id = $1
			UNION ALL SELECT '', '', '', '{}', 'epoch', 'epoch', 'epoch', 'epoch', decode(repeat('00', 32), 'hex') ORDER BY 1 DESC LIMIT 1`, id), &held)
		return err
	})
	if err != nil {
		return catalog.Key{}, wrap(err, "a key could not be read")
	}
	same := subtle.ConstantTimeCompare(held, secretHash[:]) == 1
	if k.ID == "" || !same || !k.Live(now) {
		return catalog.Key{}, unusableKey()
	}
	if minute := now.UTC().Truncate(time.Minute); k.LastUsedAt.Before(minute) {
		s.noteUse(ctx, k.ID, minute)
	}
	return k, nil
}

// noteUse writes when a key was last used. A replica cannot; the key is good all the same.
func (s *Store) noteUse(ctx context.Context, id string, minute time.Time) {
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		_, err := conn.Exec(ctx, `UPDATE api_key SET last_used_at = $2 WHERE id = $1 AND (last_used_at IS NULL OR last_used_at < $2)`, id, minute)
		return err
	})
	if err != nil {
		s.log.WarnContext(ctx, "the last use of a key could not be noted", "key_id", id, "error", err)
	}
}

// Keys lists the keys of an institute, or of all ("" ), newest first, without secrets.
func (s *Store) Keys(ctx context.Context, institute string) ([]catalog.Key, error) {
	var list []catalog.Key
	err := s.read(ctx, func(ctx context.Context, conn *pgxpool.Conn) error {
		rows, err := conn.Query(ctx, `SELECT `+keyColumns+` FROM `+keyTables+` WHERE $1 = '' OR i.slug = $1 ORDER BY k.created_at DESC, k.id`, institute)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (catalog.Key, error) { return scanKey(row) })
		return err
	})
	return list, wrap(err, "the keys could not be listed")
}

// NewKey is a key to be stored. Its secret never comes here.
type NewKey struct {
	ID         string // 12 characters of a-z and 0-9, random
	SecretHash [32]byte
	Days       int       // of life, 1-400
	Now        time.Time // when it is made
}

// IssueKey makes a key for a person of an institute of this server. A person has at most two live keys.
func (s *Store) IssueKey(ctx context.Context, act catalog.Act, institute, person string, scopes []catalog.Scope, n NewKey) (catalog.Key, error) {
	var k catalog.Key
	err := s.change(ctx, act, func(ctx context.Context, t *acting) error {
		owner, err := keyOwner(ctx, t, institute, person)
		if err != nil {
			return err
		}
		if k, err = insertKey(ctx, t, owner, scopes, n); err != nil {
			return err
		}
		return noteKey(ctx, t, "key_issue", k, "")
	})
	return k, err
}

// RotateKey makes a second key with the person and the scopes of a live one. The old one stays good
// until it is revoked, so that nothing fails while the new one is put in its place.
func (s *Store) RotateKey(ctx context.Context, act catalog.Act, id string, n NewKey) (catalog.Key, error) {
	var k catalog.Key
	err := s.change(ctx, act, func(ctx context.Context, t *acting) error {
		old, err := keyByID(ctx, t, id)
		if err != nil {
			return err
		}
		if !old.Live(n.Now) {
			return errs.New(errs.KindConflict, "The key "+id+" is revoked or expired: issue a new one.")
		}
		owner, err := keyOwner(ctx, t, old.Actor.Institute, old.Actor.Person)
		if err != nil {
			return err
		}
		if k, err = insertKey(ctx, t, owner, old.Actor.Scopes, n); err != nil {
			return err
		}
		return noteKey(ctx, t, "key_rotate", k, id)
	})
	return k, err
}

// RevokeKey ends a key at once. A key that ended before stays as it is.
func (s *Store) RevokeKey(ctx context.Context, act catalog.Act, id string, now time.Time) (catalog.Key, error) {
	var k catalog.Key
	err := s.change(ctx, act, func(ctx context.Context, t *acting) error {
		tag, err := t.Exec(ctx, `UPDATE api_key SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL`, id, now)
		if err != nil {
			return err
		}
		if k, err = keyByID(ctx, t, id); err != nil || tag.RowsAffected() == 0 {
			return err
		}
		return noteKey(ctx, t, "key_revoke", k, "")
	})
	return k, err
}

func keyByID(ctx context.Context, t *acting, id string) (catalog.Key, error) {
	k, err := scanKey(t.QueryRow(ctx, `SELECT `+keyColumns+` FROM `+keyTables+` WHERE k.id = $1`, id))
	return k, noRow(err, "There is no key "+id+".", "a key could not be read")
}

// owner is who gets a key, by id.
type owner struct{ institute, person string }

// keyOwner finds the person, and makes a second transaction that issues a key for the same one wait.
func keyOwner(ctx context.Context, t *acting, institute, person string) (owner, error) {
	id, err := ownInstitute(ctx, t, institute)
	if err != nil {
		return owner{}, err
	}
	o := owner{institute: id}
	err = t.QueryRow(ctx, `SELECT id::text FROM person WHERE institute_id = $1 AND pseudonym = $2`, id, person).Scan(&o.person)
	if err != nil {
		return owner{}, noRow(err, "The institute "+institute+" has no person "+person+".", "a person could not be read")
	}
	_, err = t.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('api_key ' || $1, 0))`, o.person)
	return o, err
}

// insertKey takes the free place of the two. The places of expired keys are free.
func insertKey(ctx context.Context, t *acting, o owner, scopes []catalog.Scope, n NewKey) (catalog.Key, error) {
	if err := checkNewKey(scopes, n); err != nil {
		return catalog.Key{}, err
	}
	_, err := t.Exec(ctx, `UPDATE api_key SET revoked_at = $2 WHERE person_id = $1 AND revoked_at IS NULL AND expires_at <= $2`, o.person, n.Now)
	if err != nil {
		return catalog.Key{}, err
	}
	tag, err := t.Exec(ctx, `
		INSERT INTO api_key (id, institute_id, person_id, place, scopes, secret_hash, created_at, expires_at)
		SELECT $1, $2::uuid, $3::uuid, min(n), $4::text[], $5::bytea, $6::timestamptz, $6::timestamptz + make_interval(days => $7::integer)
		FROM unnest(ARRAY[1, 2]) n WHERE n NOT IN (SELECT place FROM api_key WHERE person_id = $3::uuid AND revoked_at IS NULL)
		HAVING min(n) IS NOT NULL`,
		n.ID, o.institute, o.person, scopeNames(scopes), n.SecretHash[:], n.Now, n.Days)
	if err != nil {
		return catalog.Key{}, err
	}
	if tag.RowsAffected() == 0 {
		return catalog.Key{}, errs.New(errs.KindConflict, "This person has two live keys already: revoke one first.")
	}
	return keyByID(ctx, t, n.ID)
}

// checkNewKey refuses what the table would refuse, in words.
func checkNewKey(scopes []catalog.Scope, n NewKey) error {
	if n.Days < 1 || n.Days > catalog.MaxKeyDays {
		return errs.New(errs.KindImpossible, fmt.Sprintf("A key lives 1 to %d days, not %d.", catalog.MaxKeyDays, n.Days))
	}
	if len(scopes) == 0 {
		return errs.New(errs.KindImpossible, "A key needs at least one scope: "+strings.Join(scopeNames(catalog.Scopes()), ", ")+".")
	}
	seen := map[catalog.Scope]bool{}
	for _, s := range catalog.Scopes() {
		seen[s] = false
	}
	for _, s := range scopes {
		twice, known := seen[s]
		if !known || twice {
			return errs.New(errs.KindImpossible, fmt.Sprintf("The scope %q is unknown or named twice; the scopes are %s.", s, strings.Join(scopeNames(catalog.Scopes()), ", ")))
		}
		seen[s] = true
	}
	return nil
}

func scopeNames(scopes []catalog.Scope) []string {
	names := make([]string, len(scopes))
	for i, s := range scopes {
		names[i] = string(s)
	}
	return names
}

// noteKey leaves the audit row of an act on a key: what was done to which key, and whose it is.
func noteKey(ctx context.Context, t *acting, action string, k catalog.Key, replaces string) error {
	detail := map[string]any{"institute": k.Actor.Institute, "person": k.Actor.Person, "scopes": scopeNames(k.Actor.Scopes), "expires_at": k.ExpiresAt}
	if replaces != "" {
		detail["replaces"] = replaces
	}
	return t.noteAbout(ctx, action, "api_key", k.ID, detail)
}
