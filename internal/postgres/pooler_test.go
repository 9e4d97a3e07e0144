//go:build unix

package postgres_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
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

const poolerConns = 2 // connections from the pooler to the server

// behindPooler starts PgBouncer in transaction mode before a database and gives the URL through it.
func behindPooler(t *testing.T, app string) string {
	t.Helper()
	program, err := exec.LookPath("pgbouncer")
	if err != nil {
		t.Skip("pgbouncer is not installed; in Debian it is the package pgbouncer")
	}
	direct, err := pgx.ParseConfig(app)
	require.NoError(t, err)
	// Root may not run it; the private server's socket lets in its own user alone.
	run := exec.Command(program, "pgbouncer.ini")
	uid, gid := os.Geteuid(), os.Getegid()
	if uid == 0 {
		uid, gid = 65534, 65534 // nobody
		if info, err := os.Stat(direct.Host); err == nil {
			owner := info.Sys().(*syscall.Stat_t)
			uid, gid = int(owner.Uid), int(owner.Gid)
		}
		run.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	server := fmt.Sprintf("host=%s port=%d dbname=%s user=%s", direct.Host, direct.Port, direct.Database, direct.User)
	if direct.Password != "" {
		server += " password=" + direct.Password
	}
	parent := "" // the test's own folder is closed to the other user
	if len(os.TempDir()) > 60 {
		parent = "/tmp" // the path of a socket may have some hundred characters
	}
	run.Dir, err = os.MkdirTemp(parent, "statorbook-pooler-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(run.Dir) })
	settings := filepath.Join(run.Dir, "pgbouncer.ini")
	require.NoError(t, os.WriteFile(settings, fmt.Appendf(nil, `[databases]
pooled = %s
[pgbouncer]
listen_addr =
listen_port = 6432
unix_socket_dir = %s
auth_type = any
pool_mode = transaction
default_pool_size = %d
max_db_connections = %d
`, server, run.Dir, poolerConns, poolerConns), 0o600))
	for _, path := range []string{run.Dir, settings} {
		require.NoError(t, os.Chown(path, uid, gid))
	}
	var said strings.Builder
	run.Stdout, run.Stderr = &said, &said
	require.NoError(t, run.Start())
	t.Cleanup(func() {
		_ = run.Process.Kill() // it holds nothing that must be saved
		_ = run.Wait()
		if t.Failed() {
			t.Log(said.String())
		}
	})
	url := fmt.Sprintf("postgres://%s@/pooled?host=%s&port=6432&sslmode=disable", direct.User, strings.ReplaceAll(run.Dir, " ", "%20")) // a socket: no other program can take its place
	require.Eventually(t, func() bool {
		conn, err := pgx.Connect(t.Context(), url)
		return err == nil && conn.Close(t.Context()) == nil
	}, patience, 20*time.Millisecond, "the pooler does not answer")
	return url
}

// branch is an institute whose four persons work through a pooler.
type branch struct {
	*postgres.Store
	slug string
	sign func(bundle.Statement) ([]byte, error)
}

// by is an act of one of the branch's persons.
func (b *branch) by(n int, once string) catalog.Act {
	return catalog.Act{Actor: catalog.Actor{Institute: b.slug, Person: b.slug + person(n)[4:], Scopes: catalog.Scopes()}, Once: once, Request: catalog.Hash{1}}
}

func openBranch(t *testing.T, store *postgres.Store, slug string) *branch {
	t.Helper()
	private, public, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat(slug[len(slug)-1:], 32)), slug)
	require.NoError(t, err)
	b := &branch{Store: store, slug: slug, sign: func(s bundle.Statement) ([]byte, error) { return bundle.SignStatement(private, s) }}
	_, err = store.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: slug, Title: slug}, public)
	require.NoError(t, err)
	for n := range 4 {
		require.NoError(t, store.AddPerson(t.Context(), catalog.Act{}, slug, b.by(n, "").Actor.Person))
	}
	return b
}

// named renders a record as its id, so that a repeated answer can be told from another.
func named(into *catalog.Winding) catalog.Render {
	return func(record catalog.Record) (catalog.Reply, error) {
		*into = record.(catalog.Winding)
		return catalog.Reply{Status: 200, Body: []byte(into.ID)}, nil
	}
}

// record walks one record from draft to publication and looks around on the way. foreign is a draft of the
// other institute.
func (b *branch) record(ctx context.Context, sheet catalog.Winding, worker, round int, foreign string) error {
	once := func(act string) string { return fmt.Sprintf("%s-%d-%d-%s", b.slug, worker, round, act) }
	var w, unused catalog.Winding
	author, vetter := worker, (worker+1)%4
	first, err := b.CreateDraft(ctx, b.by(author, once("create")), sheet, named(&w))
	if err != nil {
		return fmt.Errorf("create: %w", err)
	}
	again, err := b.CreateDraft(ctx, b.by(author, once("create")), sheet, named(&unused))
	if err != nil || string(again.Body) != string(first.Body) {
		return fmt.Errorf("the same request again: %q, not %q: %w", again.Body, first.Body, err)
	}
	if err := b.look(ctx, w, foreign); err != nil {
		return err
	}
	if _, err := b.Submit(ctx, b.by(author, once("submit")), ref(w.ID), w.Hash, nil, named(&w)); err != nil {
		return fmt.Errorf("submit: %w", err)
	}
	if _, err := b.Vet(ctx, b.by(vetter, once("vet")), ref(w.ID), w.Hash, nil, named(&w)); err != nil {
		return fmt.Errorf("vet: %w", err)
	}
	if _, err := b.Publish(ctx, b.by(author, once("publish")), ref(w.ID), "", b.sign, named(&w)); err != nil {
		return fmt.Errorf("publish: %w", err)
	}
	published, err := b.Winding(ctx, w.ID)
	if err != nil || published.Institute != b.slug {
		return fmt.Errorf("published by %q: %w", published.Institute, err)
	}
	return nil
}

// look reads drafts, and fails if one is not of this institute.
func (b *branch) look(ctx context.Context, mine catalog.Winding, foreign string) error {
	reader := b.by(3, "").Actor
	for _, state := range []catalog.State{catalog.Draft, catalog.Submitted, catalog.Vetted} {
		list, err := b.Drafts(ctx, reader, catalog.KindWinding, catalog.DraftFilter{State: state}, catalog.PageRequest{Size: catalog.MaxPageSize})
		if err != nil {
			return fmt.Errorf("drafts: %w", err)
		}
		for _, item := range list.Items {
			if w := item.(catalog.Winding); w.Institute != b.slug {
				return fmt.Errorf("%s was shown a draft of %s", b.slug, w.Institute)
			}
		}
	}
	if _, err := b.Draft(ctx, reader, catalog.KindWinding, mine.ID); err != nil {
		return fmt.Errorf("own draft: %w", err)
	}
	if _, err := b.Draft(ctx, reader, catalog.KindWinding, foreign); errs.KindOf(err) != errs.KindNotFound {
		return fmt.Errorf("a foreign draft: %v", err)
	}
	return nil
}

// Through a pooler that hands each transaction another server connection (section "pools" of the
// reliability table): eight writers of two institutes on two connections.
func TestThroughATransactionPooler(t *testing.T) {
	t.Parallel()
	const rounds = 12
	owner, app := pgtest.NewURLs(t)
	url := behindPooler(t, app)
	store, err := postgres.Open(t.Context(), url, postgres.WithConns(8))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	branches := []*branch{openBranch(t, store, "demo-north"), openBranch(t, store, "demo-south")}
	var foreign [2]catalog.Winding
	for i, b := range branches {
		_, err := b.CreateDraft(t.Context(), b.by(0, "foreign"), sheet(t, 900+i), named(&foreign[1-i]))
		require.NoError(t, err)
	}
	var unused catalog.Winding
	careless := openBranch(t, store, "demo-west")
	_, err = careless.CreateDraft(t.Context(), careless.by(0, "soil"), sheet(t, 950), named(&unused))
	require.NoError(t, err)
	id := text(t, owner, `SELECT id::text FROM institute WHERE slug = 'demo-west'`)
	// A careless client leaves his institute as a session's setting on every server connection.
	everywhere(t, url, `SELECT set_config('statorbook.institute', '`+id+`', false)`)

	var workers, watching sync.WaitGroup
	var over atomic.Bool
	most := 0
	watching.Go(func() { most = mostConnections(t, owner, app, &over) })
	failed := make(chan error, 8)
	begun := time.Now()
	for i, b := range branches {
		for worker := range 4 {
			content := sheet(t, 100*i+worker)
			workers.Go(func() {
				for round := range rounds {
					if err := b.record(t.Context(), content, worker, round, foreign[i].ID); err != nil {
						failed <- fmt.Errorf("%s, worker %d, round %d: %w", b.slug, worker, round, err)
						return
					}
				}
			})
		}
	}
	workers.Wait()
	took := time.Since(begun)
	over.Store(true)
	watching.Wait()
	close(failed)
	for err := range failed {
		t.Error(err)
	}
	require.Equal(t, poolerConns, most, "server connections in use")
	require.Equal(t, []string{id, id}, everywhere(t, url, `SELECT current_setting('statorbook.institute')`), "what the careless client left is all that was left")
	require.Equal(t, "96 96", text(t, owner, `SELECT concat_ws(' ', (SELECT count(*) FROM winding), (SELECT count(*) FROM statement))`))
	t.Logf("%d records created, submitted, vetted, published in %s on %d server connections", 8*rounds, took.Round(time.Millisecond), most)
}

// everywhere asks each of the server connections, by holding all of them in transactions.
func everywhere(t *testing.T, url, sql string) (answers []string) {
	t.Helper()
	for range poolerConns {
		conn, err := pgx.Connect(t.Context(), url+"&default_query_exec_mode=simple_protocol")
		require.NoError(t, err)
		defer conn.Close(context.Background())
		tx, err := conn.Begin(t.Context())
		require.NoError(t, err)
		var answer string
		require.NoError(t, tx.QueryRow(t.Context(), sql).Scan(&answer))
		answers = append(answers, answer)
		defer func() { require.NoError(t, tx.Commit(context.Background())) }()
	}
	return answers
}

// mostConnections watches how many connections the serving role holds.
func mostConnections(t *testing.T, owner, app string, over *atomic.Bool) (most int) {
	config, err := pgx.ParseConfig(app)
	if err != nil {
		t.Error(err)
		return 0
	}
	conn, err := pgx.Connect(t.Context(), owner)
	if err != nil {
		t.Error(err)
		return 0
	}
	defer conn.Close(context.Background())
	for !over.Load() {
		var n int
		err := conn.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND usename = $1`, config.User).Scan(&n)
		if err != nil {
			t.Error(err)
			return 0
		}
		most = max(most, n)
		time.Sleep(5 * time.Millisecond)
	}
	return most
}

// Of many who send the same request at once through the pooler, one makes the record; the others get the
// same answer or are told to ask again, and all get it in the end.
func TestOneRequestManyTimesThroughAPooler(t *testing.T) {
	t.Parallel()
	owner, app := pgtest.NewURLs(t)
	store, err := postgres.Open(t.Context(), behindPooler(t, app), postgres.WithConns(8))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	b := openBranch(t, store, "demo-north")
	content := sheet(t, 1)
	for round := range 10 {
		var group sync.WaitGroup
		bodies := make(chan string, 8)
		for range 8 {
			group.Go(func() {
				for begun := time.Now(); ; {
					var w catalog.Winding
					reply, err := b.CreateDraft(t.Context(), b.by(0, fmt.Sprint("once-", round)), content, named(&w))
					if errs.KindOf(err) == errs.KindInProgress && time.Since(begun) < patience {
						time.Sleep(2 * time.Millisecond)
						continue
					}
					if err != nil {
						t.Error(err)
					}
					bodies <- string(reply.Body)
					return
				}
			})
		}
		group.Wait()
		close(bodies)
		first := <-bodies
		for body := range bodies {
			require.Equal(t, first, body)
		}
	}
	require.Equal(t, "10", text(t, owner, `SELECT count(*)::text FROM audit WHERE action = 'create'`))
}
