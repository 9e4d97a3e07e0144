//go:build unix && !aix && !solaris

package postgres_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/localpg"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

// startOwn starts the server of one test alone; it is stopped after the test.
func startOwn(t *testing.T, config localpg.Config) *localpg.Server {
	t.Helper()
	pg, err := localpg.Start(t.Context(), config)
	require.NoError(t, err)
	t.Cleanup(func() { _ = pg.Stop() }) // a killed one says so
	require.NoError(t, postgres.Migrate(t.Context(), pg.OwnerURL(), postgres.WithAppURL(pg.AppURL())))
	return pg
}

// run executes statements one by one as the superuser, in the house's database.
func run(t *testing.T, pg *localpg.Server, statements ...string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), pg.URL("postgres", "statorbook"))
	require.NoError(t, err)
	defer conn.Close(context.Background())
	for _, sql := range statements {
		_, err := conn.Exec(t.Context(), sql)
		require.NoError(t, err, sql)
	}
}

// A commit that the standby does not confirm (reliability F5): the caller hears in time that the outcome is
// not known and how to find out, and the same request sent again counts once.
func TestOutcomeOfACommitUnknown(t *testing.T) {
	t.Parallel()
	config := pgtest.Own(t)
	first := startOwn(t, config)
	run(t, first, `ALTER SYSTEM SET wal_level = 'replica'`, `ALTER SYSTEM SET max_wal_senders = 1`)
	require.NoError(t, first.Stop())
	pg := startOwn(t, config)
	h := houseOn(t, pg.OwnerURL(), pg.AppURL())
	run(t, pg, `ALTER SYSTEM SET synchronous_standby_names = 'nobody'`, `SELECT pg_reload_conf()`)
	untilCommitsHang(t, pg, h)

	// Long enough to get to the commit on a crowded machine. Nothing but the caller's deadline ends that: the
	// limit of the whole, ten seconds, would come later.
	const limit = 4 * time.Second
	request := h.by(0)
	var made catalog.Winding
	create := func(limit time.Duration) error {
		ctx, cancel := context.WithTimeout(t.Context(), limit)
		defer cancel()
		_, err := h.CreateDraft(ctx, request, sheet(t, 1), kept(&made))
		return err
	}
	begun := time.Now()
	err := create(limit)
	require.Less(t, time.Since(begun), limit+4*time.Second)
	require.Equal(t, errs.KindUnavailable, errs.KindOf(err), "%v", err)
	require.Contains(t, err.Error(), "not known whether")
	require.Contains(t, err.Error(), "same Idempotency-Key")
	// While commits hang, repeating does no harm. It may succeed already: the first commit, given up by us,
	// stands on the primary.
	for range 3 {
		_ = create(200 * time.Millisecond)
	}
	run(t, pg, `ALTER SYSTEM RESET synchronous_standby_names`, `SELECT pg_reload_conf()`)
	require.Eventually(t, func() bool { return create(5*time.Second) == nil }, patience, 50*time.Millisecond)
	drafts, err := h.Drafts(t.Context(), request.Actor, catalog.KindWinding, catalog.DraftFilter{State: catalog.Draft}, catalog.PageRequest{})
	require.NoError(t, err)
	require.Len(t, drafts.Items, 1, "stored once")
}

// untilCommitsHang waits until the server has taken the setting up, another process of which reads it: a commit
// is seen to wait for the standby.
func untilCommitsHang(t *testing.T, pg *localpg.Server, h *house) {
	conn, err := pgx.Connect(t.Context(), pg.URL("postgres", "statorbook"))
	require.NoError(t, err)
	defer conn.Close(context.Background())
	ctx, cancel := context.WithCancel(t.Context())
	var group sync.WaitGroup
	group.Go(func() {
		for n := 0; ctx.Err() == nil; n++ { // those before the setting are through at once
			_ = h.AddPerson(ctx, catalog.Act{}, houseSlug, fmt.Sprintf("demo-probe-%d", n))
		}
	})
	require.Eventually(t, func() bool {
		var waiting int
		err := conn.QueryRow(t.Context(), `SELECT count(*) FROM pg_stat_activity WHERE wait_event = 'SyncRep'`).Scan(&waiting)
		return err == nil && waiting > 0
	}, patience, 10*time.Millisecond, "no commit waits for the standby")
	cancel()
	group.Wait()
}

// A breakage breaks a server that is written to; mend gives it whole again.
type breakage func(t *testing.T, pg *localpg.Server, config localpg.Config) (mend func() *localpg.Server)

// kill ends the postmaster at once.
func kill(t *testing.T, pg *localpg.Server, config localpg.Config) func() *localpg.Server {
	require.NoError(t, syscall.Kill(postmaster(t, pg), syscall.SIGKILL))
	return func() *localpg.Server {
		<-pg.Done()
		_ = pg.Stop()
		return startOwn(t, config)
	}
}

func postmaster(t *testing.T, pg *localpg.Server) int {
	lines, err := os.ReadFile(filepath.Join(pg.DataDir(), "postmaster.pid"))
	require.NoError(t, err)
	pid, err := strconv.Atoi(strings.SplitN(string(lines), "\n", 2)[0])
	require.NoError(t, err)
	return pid
}

// failSync makes the next fdatasync of each process of the server fail, as a dying disk does. The server must
// not go on with what it may have lost: it ends all sessions and recovers from its log.
func failSync(t *testing.T, pg *localpg.Server, config localpg.Config) func() *localpg.Server {
	program, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed; in Debian it is the package strace")
	}
	main := postmaster(t, pg)
	args := []string{"-f", "-qq", "-o", "/dev/null", "-e", "trace=fdatasync", "-e", "inject=fdatasync:error=EIO:when=1"}
	children, err := os.ReadFile(fmt.Sprintf("/proc/%[1]d/task/%[1]d/children", main))
	require.NoError(t, err)
	for _, pid := range append(strings.Fields(string(children)), strconv.Itoa(main)) {
		args = append(args, "-p", pid)
	}
	trace := exec.Command(program, args...)
	said := &strings.Builder{}
	trace.Stderr = said
	require.NoError(t, trace.Start())
	ended := make(chan error, 1)
	go func() { ended <- trace.Wait() }()
	t.Cleanup(func() { _ = trace.Process.Kill() }) // over already, as a rule
	for held := false; !held; time.Sleep(10 * time.Millisecond) {
		select {
		case err := <-ended:
			if strings.Contains(said.String(), "not permitted") {
				t.Skip("this machine lets nobody trace a process: " + said.String())
			}
			t.Fatalf("strace: %v: %s", err, said)
		default:
			status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", main))
			require.NoError(t, err)
			held = !strings.Contains(string(status), "TracerPid:\t0\n")
		}
	}
	return func() *localpg.Server {
		require.NoError(t, trace.Process.Signal(syscall.SIGINT)) // it lets go of them
		<-ended
		require.Eventually(t, func() bool {
			conn, err := pgx.Connect(t.Context(), pg.URL("postgres", "statorbook"))
			return err == nil && conn.Close(t.Context()) == nil
		}, patience, 50*time.Millisecond, "the server recovers by itself")
		log, err := os.ReadFile(filepath.Join(config.Root, "postgres.log"))
		require.NoError(t, err)
		require.Contains(t, string(log), "PANIC", "nothing failed: this test saw nothing")
		return pg
	}
}

// breakWriting lets four writers store drafts, breaks the server in the middle of it, mends it, and tells how
// many stored drafts were acknowledged and how many of those are gone.
func breakWriting(t *testing.T, unsafe bool, broken breakage) (acked, lost int) {
	t.Helper()
	config := pgtest.Own(t)
	config.Unsafe = unsafe
	pg := startOwn(t, config)
	if unsafe { // else what slow writers write is on the disk five times a second, without any commit's asking
		run(t, pg, `ALTER SYSTEM SET wal_writer_delay = '10s'`, `SELECT pg_reload_conf()`)
	}
	h := houseOn(t, pg.OwnerURL(), pg.AppURL())
	store, err := postgres.Open(t.Context(), pg.AppURL(), postgres.WithDraftsPerDay(1_000_000))
	require.NoError(t, err)
	defer store.Close()
	var lock sync.Mutex
	told := map[string]bool{}
	var writers sync.WaitGroup
	for n := range 4 {
		writers.Go(func() {
			for i := 0; ; i++ {
				var made catalog.Winding
				if _, err := store.CreateDraft(t.Context(), h.by(n), sheet(t, i), kept(&made)); err != nil {
					return
				}
				lock.Lock()
				told[made.ID] = true
				lock.Unlock()
			}
		})
	}
	enough := func() bool { lock.Lock(); defer lock.Unlock(); return len(told) >= 40 }
	require.Eventually(t, enough, patience, 10*time.Millisecond)
	time.Sleep(time.Duration(rand.IntN(300)) * time.Millisecond)
	mend := broken(t, pg, config)
	writers.Wait()
	again := mend()

	conn, err := pgx.Connect(t.Context(), again.URL("postgres", "statorbook"))
	require.NoError(t, err)
	defer conn.Close(context.Background())
	rows, err := conn.Query(t.Context(), `SELECT id::text FROM winding_draft`)
	require.NoError(t, err)
	here, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	acked = len(told)
	for _, id := range here {
		delete(told, id)
	}
	var audits int
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM audit WHERE action = 'create'`).Scan(&audits))
	require.Equal(t, len(here), audits, "draft and audit row: both or none")
	require.NoError(t, open(t, again.AppURL()).Ready(t.Context()))
	return acked, len(told)
}

// Whatever was acknowledged outlives the server's sudden end (reliability F1, scaled). Without synchronous
// commits some of it does not: so the test can see a loss (F2).
func TestAcknowledgedIsDurable(t *testing.T) {
	t.Parallel()
	for range 2 {
		acked, lost := breakWriting(t, false, kill)
		t.Logf("%d acknowledged, %d lost", acked, lost)
		require.Zero(t, lost)
	}
	lost := 0
	for range 20 { // what is lost stands in the last page of the log, two or three drafts as a rule; one try in five may find none
		var acked int
		acked, lost = breakWriting(t, true, kill)
		t.Logf("without synchronous commits: %d acknowledged, %d lost", acked, lost)
		if lost > 0 {
			return
		}
	}
	require.Positive(t, lost, "this test is blind to a loss")
}

// A write that the disk refuses to make durable (reliability F3, scaled) loses nothing that was acknowledged.
func TestFailedSyncLosesNothing(t *testing.T) {
	t.Parallel()
	acked, lost := breakWriting(t, false, failSync)
	t.Logf("%d acknowledged, %d lost", acked, lost)
	require.Zero(t, lost)
}

// A changed byte in a page of the database gives an error, never other data (reliability F6).
func TestChangedPageIsNoData(t *testing.T) {
	t.Parallel()
	config := pgtest.Own(t)
	pg := startOwn(t, config)
	store := open(t, pg.AppURL())
	imported(t, store, write(t, sampleFamily(t, 1, nil), sampleWinding(t, 1, 1, nil)), postgres.ImportOptions{Credit: &school})
	conn, err := pgx.Connect(t.Context(), pg.URL("postgres", "statorbook"))
	require.NoError(t, err)
	var file string
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT pg_relation_filepath('winding_revision')`).Scan(&file))
	require.NoError(t, conn.Close(t.Context()))
	store.Close()
	require.NoError(t, pg.Stop())

	path := filepath.Join(pg.DataDir(), file)
	page, err := os.ReadFile(path)
	require.NoError(t, err)
	at := strings.Index(string(page), "31.50") // what the body holds as text
	if at < 0 {
		at = len(page) - 40 // the last tuple begins at the end of the page
	}
	good := slices.Clone(page)
	page[at] ^= 1
	require.NoError(t, os.WriteFile(path, page, 0o600))

	again := startOwn(t, config)
	store = open(t, again.AppURL())
	_, err = store.Winding(t.Context(), "demo-winding-1")
	require.Equal(t, errs.KindInternal, errs.KindOf(err), "%v", err)
	require.ErrorContains(t, err, "invalid page")
	_, err = store.Family(t.Context(), "demo-family-1")
	require.NoError(t, err, "the rest is served")
	store.Close()
	require.NoError(t, again.Stop())

	require.NoError(t, os.WriteFile(path, good, 0o600))
	store = open(t, startOwn(t, config).AppURL())
	w, err := store.Winding(t.Context(), "demo-winding-1")
	require.NoError(t, err)
	require.Equal(t, "31.50", fmt.Sprint(w.OverhangLead.Text))
}
