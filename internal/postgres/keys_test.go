package postgres_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// keySchool is a database with an institute of this server, two persons and a signing key.
type keySchool struct {
	*postgres.Store
	owner, app string // URLs
	n          atomic.Int64
}

const testSchool = "demo-key-school"

func openKeySchool(t testing.TB) *keySchool {
	t.Helper()
	owner, app := pgtest.NewURLs(t)
	s := &keySchool{Store: open(t, app), owner: owner, app: app}
	_, err := s.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: testSchool, Title: "Demo key school", Demo: true}, verifierOf(t, testSchool, 1))
	require.NoError(t, err)
	for _, person := range []string{"demo-p1", "demo-p2"} {
		require.NoError(t, s.AddPerson(t.Context(), catalog.Act{}, testSchool, person))
	}
	return s
}

// verifierOf is a verifier key; the same n gives the same key.
func verifierOf(t testing.TB, institute string, n int) string {
	t.Helper()
	_, verifier, err := bundle.NewSigningKey(strings.NewReader(fmt.Sprintf("%032d", n)), institute)
	require.NoError(t, err)
	return verifier
}

// fresh is a key that nobody has yet, and its secret.
func (s *keySchool) fresh(now time.Time, days int) (postgres.NewKey, [32]byte) {
	n := s.n.Add(1)
	hash := sha256.Sum256(fmt.Appendf(nil, "secret %d", n))
	return postgres.NewKey{ID: fmt.Sprintf("k%011d", n), SecretHash: hash, Days: days, Now: now}, hash
}

var allScopes = catalog.Scopes()

func TestKeyLife(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now().UTC().Truncate(time.Second)
	n, hash := s.fresh(now, 30)
	made, err := s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", []catalog.Scope{catalog.ScopeContribute, catalog.ScopeVet}, n)
	require.NoError(t, err)
	require.Equal(t, now.AddDate(0, 0, 30), made.ExpiresAt)
	want := catalog.Actor{Institute: testSchool, Person: "demo-p1", Scopes: []catalog.Scope{catalog.ScopeContribute, catalog.ScopeVet}}

	got, err := s.Authenticate(t.Context(), n.ID, hash, now)
	require.NoError(t, err)
	require.Equal(t, want, got.Actor)
	require.Zero(t, got.LastUsedAt, "it tells of the use before this one")
	_, err = s.Authenticate(t.Context(), n.ID, hash, made.ExpiresAt.Add(-time.Second))
	require.NoError(t, err)

	wrong := hash
	wrong[31] ^= 1
	refusals := map[string]error{}
	_, refusals["unknown"] = s.Authenticate(t.Context(), "zzzzzzzzzzzz", hash, now)
	_, refusals["wrong"] = s.Authenticate(t.Context(), n.ID, wrong, now)
	_, refusals["no secret"] = s.Authenticate(t.Context(), "zzzzzzzzzzzz", [32]byte{}, now)
	_, refusals["expired"] = s.Authenticate(t.Context(), n.ID, hash, made.ExpiresAt)
	ended, err := s.RevokeKey(t.Context(), catalog.Act{}, n.ID, now)
	require.NoError(t, err)
	require.Equal(t, now, ended.RevokedAt)
	_, refusals["revoked"] = s.Authenticate(t.Context(), n.ID, hash, now)
	for name, err := range refusals {
		require.Equal(t, errs.KindUnauthenticated, errs.KindOf(err), name)
		require.Equal(t, refusals["unknown"].Error(), err.Error(), name)
	}

	again, err := s.RevokeKey(t.Context(), catalog.Act{}, n.ID, now.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, ended.RevokedAt, again.RevokedAt, "an ended key stays as it is")
	_, err = s.RevokeKey(t.Context(), catalog.Act{}, "zzzzzzzzzzzz", now)
	require.Equal(t, errs.KindNotFound, errs.KindOf(err))
}

// TestLastUse is written once a minute.
func TestLastUse(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Date(2026, 11, 25, 9, 0, 20, 0, time.UTC)
	n, hash := s.fresh(now, 30)
	_, err := s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", allScopes, n)
	require.NoError(t, err)
	last := func() time.Time {
		list, err := s.Keys(t.Context(), testSchool)
		require.NoError(t, err)
		require.Len(t, list, 1)
		return list[0].LastUsedAt
	}
	require.Zero(t, last())
	for _, at := range []time.Duration{0, 30 * time.Second, 41 * time.Second, 10 * time.Second} {
		_, err := s.Authenticate(t.Context(), n.ID, hash, now.Add(at))
		require.NoError(t, err)
		want := now.Truncate(time.Minute)
		if at >= 40*time.Second || at == 10*time.Second { // and it never steps back
			want = want.Add(time.Minute)
		}
		require.Equal(t, want, last(), "%s", at)
	}
	_, err = s.Authenticate(t.Context(), n.ID, [32]byte{}, now.Add(time.Hour))
	require.Error(t, err)
	require.Equal(t, now.Truncate(time.Minute).Add(time.Minute), last(), "a failed try is no use")
}

// TestTwoPlaces: two live keys for each person, and an expired one is not in the way.
func TestTwoPlaces(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now()
	issue := func(now time.Time, days int) (catalog.Key, error) {
		n, _ := s.fresh(now, days)
		return s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", allScopes, n)
	}
	short, err := issue(now, 1)
	require.NoError(t, err)
	long, err := issue(now, 400)
	require.NoError(t, err)
	_, err = issue(now, 1)
	require.Equal(t, errs.KindConflict, errs.KindOf(err), "%v", err)
	require.ErrorContains(t, err, "two live keys")
	n, _ := s.fresh(now, 1)
	_, err = s.RotateKey(t.Context(), catalog.Act{}, long.ID, n)
	require.ErrorContains(t, err, "two live keys")
	n, _ = s.fresh(now, 1)
	_, err = s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p2", allScopes, n)
	require.NoError(t, err, "another person has places of his own")

	later := short.ExpiresAt.Add(time.Second)
	_, err = issue(later, 1)
	require.NoError(t, err, "an expired key frees its place")
	_, err = issue(later, 1)
	require.ErrorContains(t, err, "two live keys")
	list, err := s.Keys(t.Context(), testSchool)
	require.NoError(t, err)
	i := slices.IndexFunc(list, func(k catalog.Key) bool { return k.ID == short.ID })
	require.True(t, list[i].Expired(later), "it is told as expired, not as revoked")
	n, _ = s.fresh(later, 1)
	_, err = s.RotateKey(t.Context(), catalog.Act{}, short.ID, n)
	require.Equal(t, errs.KindConflict, errs.KindOf(err))
	require.ErrorContains(t, err, "revoked or expired")
}

// TestPlacesRace: of twenty keys that are issued for one person at once two come to be.
func TestPlacesRace(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now()
	var made, refused atomic.Int64
	var group sync.WaitGroup
	for range 20 {
		group.Go(func() {
			err := sure(func() error {
				n, _ := s.fresh(now, 1)
				_, err := s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", allScopes, n)
				return err
			})
			switch errs.KindOf(err) {
			case errs.KindConflict:
				refused.Add(1)
			default:
				if err == nil {
					made.Add(1)
				}
			}
		})
	}
	group.Wait()
	require.Equal(t, []int64{2, 18}, []int64{made.Load(), refused.Load()})
}

func TestKeysThatCannotBe(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now()
	require.NoError(t, s.AcceptSigningKey(t.Context(), catalog.Act{}, catalog.Institute{Slug: "demo-far-school", Title: "Far"}, verifierOf(t, "demo-far-school", 1)))
	contribute := []catalog.Scope{catalog.ScopeContribute}
	cases := map[string]struct {
		institute, person string
		scopes            []catalog.Scope
		days              int
		kind              errs.Kind
		says              string
	}{
		"no scope":       {testSchool, "demo-p1", nil, 1, errs.KindImpossible, "at least one scope"},
		"unknown scope":  {testSchool, "demo-p1", []catalog.Scope{"root"}, 1, errs.KindImpossible, `"root"`},
		"scope twice":    {testSchool, "demo-p1", []catalog.Scope{catalog.ScopeVet, catalog.ScopeVet}, 1, errs.KindImpossible, "twice"},
		"no day":         {testSchool, "demo-p1", contribute, 0, errs.KindImpossible, "1 to 400 days"},
		"401 days":       {testSchool, "demo-p1", contribute, 401, errs.KindImpossible, "1 to 400 days"},
		"no person":      {testSchool, "demo-p9", contribute, 1, errs.KindNotFound, "no person demo-p9"},
		"no institute":   {"demo-no-school", "demo-p1", contribute, 1, errs.KindNotFound, "no institute demo-no-school"},
		"foreign server": {"demo-far-school", "demo-p1", contribute, 1, errs.KindConflict, "another server"},
	}
	for name, c := range cases {
		n, _ := s.fresh(now, c.days)
		_, err := s.IssueKey(t.Context(), catalog.Act{}, c.institute, c.person, c.scopes, n)
		require.Equal(t, c.kind, errs.KindOf(err), "%s: %v", name, err)
		require.ErrorContains(t, err, c.says, name)
	}
	list, err := s.Keys(t.Context(), "")
	require.NoError(t, err)
	require.Empty(t, list)
}

// TestNoSecretAtRest is row S21: what a dump of every table shows opens nothing. The secrets are looked
// for as they are, and in hexadecimal, in each row of each table.
func TestNoSecretAtRest(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now()
	const secret = "Qm90aCBoYWx2ZXMgb2YgYSBrZXkgYXJlIG5vdCBoZXJl" // 43 characters, as shown to its owner
	n := postgres.NewKey{ID: "k00000000abc", SecretHash: sha256.Sum256([]byte(secret)), Days: 1, Now: now}
	_, err := s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", allScopes, n)
	require.NoError(t, err)
	_, err = s.Authenticate(t.Context(), n.ID, n.SecretHash, now)
	require.NoError(t, err)
	dump := dumpOf(t, s.owner)
	require.Contains(t, dump, n.ID, "the dump holds the row of the key")
	require.Contains(t, dump, fmt.Sprintf("%x", n.SecretHash), "and the hash")
	for _, trace := range []string{secret, fmt.Sprintf("%x", secret), "PRIVATE+KEY"} {
		require.NotContains(t, dump, trace)
	}
	// The hash itself, taken for the secret, opens nothing.
	_, err = s.Authenticate(t.Context(), n.ID, sha256.Sum256(n.SecretHash[:]), now)
	require.Equal(t, errs.KindUnauthenticated, errs.KindOf(err))
}

// dumpOf gives every row of every table as text.
func dumpOf(t testing.TB, url string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	rows, err := conn.Query(t.Context(), `SELECT relname::text FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace`)
	require.NoError(t, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Greater(t, len(tables), 20)
	var all strings.Builder
	for _, table := range tables {
		var text string
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT coalesce(string_agg(x::text, E'\n'), '') FROM `+pgx.Identifier{table}.Sanitize()+` x`).Scan(&text))
		all.WriteString(text)
	}
	return all.String()
}

// TestRotateUnderLoad is row S21: four callers ask all the time, each with the newest key he was told of,
// while the key is rotated and the one before revoked ten times; no call fails. A key that was revoked
// opens nothing in the very next call.
func TestRotateUnderLoad(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	type known struct {
		id   string
		hash [32]byte
	}
	var current atomic.Pointer[known]
	n, hash := s.fresh(time.Now(), 30)
	_, err := s.IssueKey(t.Context(), catalog.Act{}, testSchool, "demo-p1", allScopes, n)
	require.NoError(t, err)
	current.Store(&known{n.ID, hash})

	var calls, failures atomic.Int64
	// inFlight is held for reading during a call, so that the old key is revoked when its last user is done,
	// as an operator does who revokes after all machines were changed.
	var inFlight sync.RWMutex
	stop := make(chan struct{})
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				inFlight.RLock()
				k := current.Load()
				_, err := s.Authenticate(t.Context(), k.id, k.hash, time.Now())
				inFlight.RUnlock()
				calls.Add(1)
				if err != nil {
					failures.Add(1)
				}
			}
		})
	}
	for range 10 {
		old := current.Load()
		n, hash := s.fresh(time.Now(), 30)
		_, err := s.RotateKey(t.Context(), catalog.Act{}, old.id, n)
		require.NoError(t, err)
		inFlight.Lock()
		current.Store(&known{n.ID, hash})
		inFlight.Unlock()
		_, err = s.RevokeKey(t.Context(), catalog.Act{}, old.id, time.Now())
		require.NoError(t, err)
		_, err = s.Authenticate(t.Context(), old.id, old.hash, time.Now())
		require.Equal(t, errs.KindUnauthenticated, errs.KindOf(err), "revoked: no grace")
	}
	require.Eventually(t, func() bool { return calls.Load() > 20 }, patience, time.Millisecond)
	close(stop)
	group.Wait()
	require.Zero(t, failures.Load(), "of %d calls", calls.Load())
}

// TestKeyAudit: each act on a key, a person or an institute leaves one row, one that fails none (S31).
func TestKeyAudit(t *testing.T) {
	t.Parallel()
	s := openKeySchool(t)
	now := time.Now()
	steward := catalog.Act{Actor: catalog.Actor{Institute: testSchool, Person: "demo-p2", Scopes: allScopes}, KeyID: "k00000000999", RequestID: "req-1"}
	n, _ := s.fresh(now, 1)
	require.Equal(t, []string{"institute_add", "signing_key_add", "person_add", "person_add"}, actions(t, s.owner))

	_, err := s.IssueKey(t.Context(), steward, testSchool, "demo-p1", allScopes, n)
	require.NoError(t, err)
	m, _ := s.fresh(now, 1)
	_, err = s.RotateKey(t.Context(), steward, n.ID, m)
	require.NoError(t, err)
	_, err = s.RotateKey(t.Context(), steward, n.ID, m)
	require.Error(t, err)
	_, err = s.RevokeKey(t.Context(), steward, n.ID, now)
	require.NoError(t, err)
	_, err = s.RevokeKey(t.Context(), steward, n.ID, now)
	require.NoError(t, err)
	require.Error(t, s.AddPerson(t.Context(), steward, testSchool, "demo-p1"), "he is there")
	require.Equal(t, []string{"key_issue", "key_rotate", "key_revoke"}, actions(t, s.owner)[4:])

	conn, err := pgx.Connect(t.Context(), s.owner)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	var who, key, request, about, replaces string
	require.NoError(t, conn.QueryRow(t.Context(), `
		SELECT p.pseudonym, a.key_id, a.request_id, a.record_id, a.detail ->> 'replaces' FROM audit a JOIN person p ON p.id = a.person_id
		WHERE a.action = 'key_rotate'`).Scan(&who, &key, &request, &about, &replaces))
	require.Equal(t, []string{"demo-p2", "k00000000999", "req-1", m.ID, n.ID}, []string{who, key, request, about, replaces})
}

// actions lists the audit rows in their order.
func actions(t testing.TB, url string) []string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	rows, err := conn.Query(t.Context(), `SELECT action FROM audit ORDER BY id`)
	require.NoError(t, err)
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	return list
}

func emptyReply(catalog.Signatory) (catalog.Reply, error) {
	return catalog.Reply{Status: 200, Body: []byte("{}")}, nil
}
