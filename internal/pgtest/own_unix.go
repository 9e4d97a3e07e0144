//go:build unix && !aix && !solaris

package pgtest

import (
	"context"
	"os"
	"testing"

	"statorbook/internal/localpg"
)

// Own prepares a cluster for one test alone, which may kill, break and configure its server: durable and
// migrated, in a folder of its own. The test starts it with localpg.Start as often as it likes, each time
// stopping the one before. The folder is gone after the test.
func Own(t testing.TB) localpg.Config {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	base, err := baseFolder(os.TempDir())
	if err != nil {
		t.Fatal(noServer(err))
	}
	golden, bins, run, alive, err := claim(ctx, base, base)
	if err != nil {
		t.Fatal(noServer(err))
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(run); err != nil {
			t.Errorf("pgtest: %v", err)
		}
		_ = alive.Close()
	})
	return localpg.Config{Root: run, BinDir: bins.Dir, Name: database, CopyFrom: golden}
}
