package postgres_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
)

// A correction has returns of its own, and those of what was published before are not counted. Their order
// decides, not the time: a clock that is set back or forth changes nothing (reliability F21).
func TestReturnsOfACorrection(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	conn, err := pgx.Connect(t.Context(), h.owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), `SELECT set_config('statorbook.institute', id::text, false) FROM institute WHERE slug = $1`, houseSlug)
	require.NoError(t, err)
	w := h.create(t, 0, 1)
	by, d := h.by(0), ref(w.ID)
	tells := func(want string) {
		t.Helper()
		for _, clock := range []string{"-1 day", "1 day", "0"} {
			done, err := conn.Exec(t.Context(), `UPDATE winding_draft SET created_at = now() + $1::interval`, clock)
			require.NoError(t, err)
			require.Equal(t, int64(1), done.RowsAffected())
			record, err := h.Draft(t.Context(), by.Actor, catalog.KindWinding, w.ID)
			require.NoError(t, err)
			require.Equal(t, want, record.Standing().ReturnedFor, clock)
		}
	}
	back := func(reason string) {
		t.Helper()
		_, err := h.Submit(t.Context(), h.by(0), d, w.Hash, nil, kept(&w))
		require.NoError(t, err)
		_, err = h.Return(t.Context(), h.by(1), d, reason, kept(&w))
		require.NoError(t, err)
	}
	for range 2 {
		tells("")
		back("once")
		tells("once")
		back("twice")
		tells("twice")
		_, err = h.Submit(t.Context(), h.by(0), d, w.Hash, nil, kept(&w))
		require.NoError(t, err)
		_, err = h.Vet(t.Context(), h.by(1), d, w.Hash, nil, kept(&w))
		require.NoError(t, err)
		tells("twice")
		_, err = h.Publish(t.Context(), h.by(2), d, "", h.sign, kept(&w))
		require.NoError(t, err)
		_, err = h.StartErratum(t.Context(), h.by(0), catalog.KindWinding, w.ID, catalog.Reason{Code: "other", Text: "demo"}, kept(&w))
		require.NoError(t, err)
	}
}
