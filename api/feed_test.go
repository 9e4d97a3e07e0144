package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// TestFeedHearsOfAnImportWithinTwoSeconds waits for changes on two servers that share a database
// while another process imports; each waiting reader hears of it within two seconds of the commit,
// and a stop ends a wait at once.
func TestFeedHearsOfAnImportWithinTwoSeconds(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	servers := []started{startServer(t, env), startServer(t, env)}
	after := endOfFeed(t, servers[0].base)
	answers := make([]heard, len(servers))
	var group sync.WaitGroup
	for i, s := range servers {
		group.Go(func() {
			status, page := get(t, fmt.Sprintf("%s/v1/changes?after=%s&wait_s=30", s.base, after))
			answers[i] = heard{time.Now(), page["items"].([]any)}
			require.Equal(t, 200, status)
		})
	}
	time.Sleep(300 * time.Millisecond) // both wait
	code, _, errOut := runCommand(t, env, "", "import", "-apply", sampleBundle)
	committed := time.Now()
	require.Equal(t, 0, code, errOut)
	group.Wait()
	limit := roomy(2*time.Second, func() { get(t, servers[1].base+"/v1/changes?after="+after) })
	for _, a := range answers {
		require.NotEmpty(t, a.items)
		require.Less(t, a.at.Sub(committed), limit)
	}

	after = endOfFeed(t, servers[0].base)
	waited := make(chan map[string]any)
	go func() {
		_, page := get(t, fmt.Sprintf("%s/v1/changes?after=%s&wait_s=30", servers[0].base, after))
		waited <- page
	}()
	time.Sleep(200 * time.Millisecond)
	begun := time.Now()
	require.Equal(t, 0, servers[0].stop())
	require.Empty(t, (<-waited)["items"])
	require.Less(t, time.Since(begun), 15*time.Second, "the wait would have taken thirty")
}

// TestFeedUnderSixWriters is G11 of the reliability table over HTTP: six writers of another process
// and one waiting reader. Nothing is lost or told twice, and of a hundred changes 99 are heard within
// two seconds of their commit.
func TestFeedUnderSixWriters(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	s := startServer(t, env)
	after := endOfFeed(t, s.base)
	const writers, acts = 6, 25
	committed := make(map[string]time.Time)
	var lock sync.Mutex
	var group sync.WaitGroup
	for range writers {
		conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
		require.NoError(t, err)
		_, err = conn.Exec(t.Context(), `SET lock_timeout = '60s'`) // six wait for each other, and the machine may be crowded
		require.NoError(t, err)
		group.Go(func() {
			defer func() { _ = conn.Close(context.WithoutCancel(t.Context())) }()
			for range acts {
				time.Sleep(time.Duration(rand.IntN(240)) * time.Millisecond)
				id := uuid.NewString()
				_, err := conn.Exec(t.Context(), `INSERT INTO change (catalogue_revision, item, change, record_kind, record_id, revision, content_hash)
					VALUES (catalogue_bump(), 1, 'publication', 'winding', $1, 1, sha256($1::text::bytea))`, id)
				if err != nil {
					t.Error(err)
					return
				}
				lock.Lock()
				committed[id] = time.Now()
				lock.Unlock()
			}
		})
	}
	heard := map[string]time.Time{}
	for len(heard) < writers*acts {
		_, page := get(t, fmt.Sprintf("%s/v1/changes?after=%s&wait_s=5&page_size=20", s.base, after))
		items := page["items"].([]any)
		require.NotEmpty(t, items, "%d of %d were heard", len(heard), writers*acts)
		for _, i := range items {
			id := i.(map[string]any)["id"].(string)
			require.NotContains(t, heard, id, "told twice")
			heard[id] = time.Now()
		}
		after = page["after"].(string)
	}
	group.Wait()
	var lags []time.Duration
	for id, at := range committed {
		require.Contains(t, heard, id)
		lags = append(lags, heard[id].Sub(at))
	}
	slices.Sort(lags)
	p50, p99 := lags[len(lags)/2], lags[len(lags)*99/100]
	t.Logf("%d changes: lag p50 %s, p99 %s, worst %s", len(lags), p50.Round(time.Millisecond), p99.Round(time.Millisecond), lags[len(lags)-1].Round(time.Millisecond))
	require.Less(t, p99, roomy(2*time.Second, func() { get(t, s.base+"/v1/changes?page_size=20&after=0") }))
}
