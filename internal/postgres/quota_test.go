package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/postgres"
)

// oldCreations are audit rows of drafts that an institute started some time ago.
func oldCreations(t testing.TB, h *house, n int, ago string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), h.owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), `INSERT INTO audit (institute_id, action, at) SELECT i.id, 'create', now() - $2::interval + n * interval '1 millisecond'
		FROM institute i, generate_series(1, $3) n WHERE slug = $1`, houseSlug, ago, n)
	require.NoError(t, err)
}

// An institute starts as many drafts as its quota within 24 hours, of both kinds together (row S25). What
// is older does not count, nor another institute's, nor a correction; a repeated request gets its
// answer again.
func TestQuotaOfNewDrafts(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	store, err := postgres.Open(t.Context(), h.app, postgres.WithConns(4), postgres.WithDraftsPerDay(4))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	h.Store = store
	oldCreations(t, h, 10, "25 hours")
	oldCreations(t, h, 1, "20 hours")

	first := h.by(0)
	var w, unused catalog.Winding
	_, err = h.CreateDraft(t.Context(), first, sheet(t, 1), kept(&w))
	require.NoError(t, err)
	family := sampleFamily(t, 1, nil).body.(*bundle.Family).ToDomain()
	_, err = h.CreateDraft(t.Context(), h.by(1), family, func(catalog.Record) (catalog.Reply, error) {
		return catalog.Reply{Status: 201, Body: []byte("{}")}, nil
	})
	require.NoError(t, err)
	_, err = h.CreateDraft(t.Context(), h.by(0), sheet(t, 2), kept(&unused))
	require.NoError(t, err, "the fourth of the last 24 hours")

	for n := range 3 {
		_, err = h.CreateDraft(t.Context(), h.by(n), sheet(t, 3+n), kept(&unused))
		var full *errs.Error
		require.True(t, errors.As(err, &full), "%v", err)
		require.Equal(t, errs.KindRateLimited, full.Kind)
		require.Contains(t, full.Detail, "started 4 drafts within 24 hours")
		require.InDelta(t, 4*3600, full.WaitS, 60, "the one of 20 hours ago makes room in four")
	}
	require.Equal(t, "14", text(t, h.owner, `SELECT count(*)::text FROM audit WHERE action = 'create'`), "no trace of what was refused")
	_, err = h.CreateDraft(t.Context(), first, sheet(t, 1), kept(&unused))
	require.NoError(t, err, "the same request again")

	// What is there goes on.
	_, err = h.EditDraft(t.Context(), h.by(0), ref(w.ID), sheet(t, 9), kept(&w))
	require.NoError(t, err)
	_, err = h.Submit(t.Context(), h.by(0), ref(w.ID), w.Hash, nil, kept(&w))
	require.NoError(t, err)
	_, err = h.Vet(t.Context(), h.by(1), ref(w.ID), w.Hash, nil, kept(&w))
	require.NoError(t, err)
	_, err = h.Publish(t.Context(), h.by(2), ref(w.ID), "", h.sign, kept(&w))
	require.NoError(t, err)
	_, err = h.StartErratum(t.Context(), h.by(0), catalog.KindWinding, w.ID, catalog.Reason{Code: "other", Text: "demo"}, kept(&w))
	require.NoError(t, err, "a correction is always possible")

	_, public, err := bundle.NewSigningKey(strings.NewReader(strings.Repeat("o", 32)), "demo-other")
	require.NoError(t, err)
	_, err = h.AddInstitute(t.Context(), catalog.Act{}, catalog.Institute{Slug: "demo-other", Title: "Demo other"}, public)
	require.NoError(t, err)
	require.NoError(t, h.AddPerson(t.Context(), catalog.Act{}, "demo-other", "demo-o1"))
	_, err = h.CreateDraft(t.Context(), catalog.Act{Actor: catalog.Actor{Institute: "demo-other", Person: "demo-o1", Scopes: catalog.Scopes()}, Once: "o", Request: catalog.Hash{2}}, sheet(t, 20), kept(&unused))
	require.NoError(t, err, "another institute has a quota of its own")
}

// The quota of the service itself, and that an index answers it, however much else the audit holds.
func TestQuotaAsItIsServed(t *testing.T) {
	t.Parallel()
	h := openHouse(t)
	oldCreations(t, h, catalog.DraftsPerDay-1, "2 hours")
	h.create(t, 0, 1)
	var unused catalog.Winding
	_, err := h.CreateDraft(t.Context(), h.by(0), sheet(t, 2), kept(&unused))
	require.Equal(t, errs.KindRateLimited, errs.KindOf(err))
	require.Contains(t, err.Error(), fmt.Sprint(catalog.DraftsPerDay))

	conn, err := pgx.Connect(t.Context(), h.owner)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), `INSERT INTO audit (institute_id, action) SELECT i.id, 'edit' FROM institute i, generate_series(1, 20000) WHERE slug = 'demo-house'`)
	require.NoError(t, err)
	_, err = conn.Exec(t.Context(), `ANALYZE audit`)
	require.NoError(t, err)
	rows, err := conn.Query(t.Context(), `EXPLAIN SELECT at FROM audit WHERE institute_id = (SELECT id FROM institute WHERE slug = 'demo-house') AND action = 'create'
		AND at > now() - interval '24 hours' ORDER BY at DESC OFFSET 1999 LIMIT 1`)
	require.NoError(t, err)
	plan, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Contains(t, strings.Join(plan, "\n"), "audit_creation")
}

// BenchmarkCreateUnderQuota stores drafts of an institute that is just below its quota: the dearest count.
func BenchmarkCreateUnderQuota(b *testing.B) {
	for _, before := range []int{0, catalog.DraftsPerDay - 1} {
		b.Run(fmt.Sprint("before=", before), func(b *testing.B) {
			h := openHouse(b)
			store, err := postgres.Open(b.Context(), h.app, postgres.WithDraftsPerDay(1_000_000))
			require.NoError(b, err)
			b.Cleanup(store.Close)
			h.Store = store
			oldCreations(b, h, before, "2 hours")
			content := sheet(b, 1)
			b.ReportAllocs()
			for b.Loop() {
				var w catalog.Winding
				_, err := h.CreateDraft(b.Context(), h.by(0), content, kept(&w))
				require.NoError(b, err)
			}
		})
	}
}
