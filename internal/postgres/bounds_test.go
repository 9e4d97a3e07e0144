package postgres_test

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/pgtest"
)

// TestColumnsTakeAllThatTheCatalogTakes puts both ends of every documented range into a body: the
// columns may be wider, never narrower, or an import would fail as a whole where one line is wrong.
func TestColumnsTakeAllThatTheCatalogTakes(t *testing.T) {
	t.Parallel()
	_, app := pgtest.NewURLs(t)
	tried := 0
	withRows(t, app, func(ctx context.Context, tx pgx.Tx) {
		for _, b := range catalog.Bounds() {
			if strings.Contains(b.Name, "[]") || b.Name == "times_seen" || b.Name == "revision" {
				continue
			}
			for _, v := range []float64{b.Min, b.Max} {
				if strings.HasSuffix(b.Name, ".phases") && v != 1 && v != 3 {
					continue
				}
				body := strconv.FormatFloat(v, 'f', -1, 64)
				names := strings.Split(b.Name, ".")
				for i := len(names) - 1; i >= 0; i-- {
					body = fmt.Sprintf(`{%q: %s}`, names[i], body)
				}
				table, id := "winding", testWinding
				if names[0] == "core" {
					table, id = "family", testFamily
				}
				state := stateOf(ctx, t, tx, `INSERT INTO `+table+`_revision (`+table+`_id, revision, state, change, imported, demo, content_hash, body)
					VALUES ('`+id+`', 2, 'published', 'supersession', true, true, `+testHash+`, '`+body+`')`)
				require.Empty(t, state, "%s = %v", b.Name, v)
				tried++
			}
		}
	})
	require.Greater(t, tried, 70)
}
