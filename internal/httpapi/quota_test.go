package httpapi_test

import (
	"context"
	"strconv"
	"testing"

	"statorbook/internal/catalog"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// An institute that started as many drafts as it may within 24 hours hears 429, the quota, and when there is
// room again (row S25). Others, and its own work on what is there, go on.
func TestDraftsPerDay(t *testing.T) {
	t.Parallel()
	s := openSchool(t)
	before := s.done(201, "author", "POST", "/v1/windings", sheetBody(66))
	conn, err := pgx.Connect(t.Context(), s.url)
	require.NoError(t, err)
	defer func() { _ = conn.Close(context.Background()) }()
	_, err = conn.Exec(t.Context(), `INSERT INTO audit (institute_id, action, at) SELECT i.id, 'create', now() - interval '23 hours'
		FROM institute i, generate_series(1, $2) WHERE slug = $1`, demoSchool, catalog.DraftsPerDay-1)
	require.NoError(t, err)
	for at, body := range map[string]string{"/v1/windings": sheetBody(67), "/v1/stator-families": familyBody(1)} {
		a := s.done(429, "author", "POST", at, body)
		require.Equal(t, "/problems/too-many-requests", a.Problem(t).Type)
		require.Contains(t, a.Problem(t).Detail, "quota (drafts_per_day)")
		require.Contains(t, a.Problem(t).Detail, strconv.Itoa(catalog.DraftsPerDay))
		wait, err := strconv.Atoi(a.Header.Get("Retry-After"))
		require.NoError(t, err)
		require.InDelta(t, 3600, wait, 60)
	}
	here := "/v1/windings/" + before.At(t, "id").(string)
	s.done(200, "author", "PUT", here, sheetBody(68), "If-Match: "+before.Header.Get("ETag"))
	s.done(200, "author", "POST", here+"/submission", "")
	s.done(201, "foreign", "POST", "/v1/windings", sheetBody(69))
}
