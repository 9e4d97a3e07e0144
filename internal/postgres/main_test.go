package postgres_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/pgtest"
	"statorbook/internal/postgres"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// patience is the limit of what must happen at some time, no matter when: a crowded machine is slow, and that is
// not what these tests look for.
const patience = 5 * time.Minute

// sure does what may be told "busy, try again" until it is told something else.
func sure(act func() error) error {
	for begun := time.Now(); ; {
		err := act()
		if kind := errs.KindOf(err); kind != errs.KindUnavailable && kind != errs.KindTimeout || time.Since(begun) > patience {
			return err
		}
	}
}

// open gives a store on a URL, closed with the test.
func open(t testing.TB, url string) *postgres.Store {
	t.Helper()
	store, err := postgres.Open(t.Context(), url, postgres.WithConns(4))
	require.NoError(t, err)
	t.Cleanup(store.Close)
	return store
}
