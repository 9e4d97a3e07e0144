package main

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// answersOfAge stores n kept answers of an age.
func answersOfAge(name, age string, n int) string {
	return fmt.Sprintf(`INSERT INTO idempotency (institute_id, key, request_hash, status, body, created_at)
		SELECT (SELECT id FROM institute ORDER BY id LIMIT 1), '%s-' || n, sha256('demo'::bytea), 201, '{}', now() - interval '%s' FROM generate_series(1, %d) n`, name, age, n)
}

// keptAnswers counts them by name.
func keptAnswers(t *testing.T, url string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.WithoutCancel(t.Context())) }()
	var found string
	require.NoError(t, conn.QueryRow(t.Context(), `
		SELECT coalesce(string_agg(name || ' ' || n, ', ' ORDER BY name), '')
		FROM (SELECT split_part(key, '-', 1) AS name, count(*) AS n FROM idempotency GROUP BY 1) counted`).Scan(&found))
	return found
}

// TestOldAnswersAreForgotten: a running server drops answers that are older than a day, at its start and
// regularly after it, however many there are; younger ones stay.
func TestOldAnswersAreForgotten(t *testing.T) {
	t.Parallel()
	env := givenDatabase(t)
	done(t, env, "institute", "add", "-slug", "demo-forgetful", "-title", "Demo school", "-demo")
	execute := func(sql string) {
		conn, err := pgx.Connect(t.Context(), env["DATABASE_URL"])
		require.NoError(t, err)
		defer func() { _ = conn.Close(context.WithoutCancel(t.Context())) }()
		_, err = conn.Exec(t.Context(), sql)
		require.NoError(t, err)
	}
	execute(answersOfAge("old", "25 hours", 10_003)) // more than one statement drops
	execute(answersOfAge("young", "23 hours", 4))
	require.Equal(t, "old 10003, young 4", keptAnswers(t, env["DATABASE_URL"]))
	s := startServer(t, env)
	require.Eventually(t, func() bool { return keptAnswers(t, env["DATABASE_URL"]) == "young 4" }, patience, 20*time.Millisecond)
	require.Eventually(t, func() bool { return strings.Contains(s.err.String(), "count=10003") }, patience, 10*time.Millisecond, "it is logged")
}

// TestForgettingGoesOn: the keeper comes back to it, also after a failure.
func TestForgettingGoesOn(t *testing.T) {
	t.Parallel()
	k, store, execute := keeperOn(t)
	log := &buffer{}
	k.log = slog.New(slog.NewTextHandler(log, nil))
	ctx, stop := context.WithCancel(t.Context())
	over := make(chan struct{})
	go func() { k.forget(ctx, 10*time.Millisecond); close(over) }()
	said := func(what string, times int) {
		require.Eventually(t, func() bool { return strings.Count(log.String(), what) >= times }, patience, 10*time.Millisecond, "not said by the keeper: %s", what)
	}
	for round := range 3 {
		execute(answersOfAge("old", "25 hours", 5))
		said(`dropped" count=5`, round+1)
		left, err := store.ForgetReplies(t.Context())
		require.NoError(t, err)
		require.Zero(t, left, "dropped by the keeper")
		failed := strings.Count(log.String(), "stay for now")
		execute(`ALTER TABLE idempotency RENAME TO idempotency_away`)
		said("stay for now", failed+1)
		execute(`ALTER TABLE idempotency_away RENAME TO idempotency`)
	}
	stop()
	<-over
}
