package postgres_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// patience is the limit of what must happen at some time, no matter when: a crowded machine is slow, and that is
// not what these tests look for.
const patience = 2 * time.Minute

// open gives a store on a URL, closed with the test.
func open(t testing.TB, url string) *postgres.Store {
	t.Helper()
	store, err := postgres.Open(t.Context(), url, postgres.WithConns(4))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	return store
}
