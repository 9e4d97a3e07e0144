package match

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// evaluate asks every query of a world.
func evaluate(t testing.TB, w *world) scores {
	t.Helper()
	var s scores
	for i := range w.queries {
		o, err := score(w.index, &w.queries[i])
		require.NoError(t, err, w.queries[i].ID)
		s.all = append(s.all, o)
	}
	return s
}

// TestWorlds prints the whole table for the worlds in the folders that STATORBOOK_WORLD names.
func TestWorlds(t *testing.T) {
	for _, dir := range strings.Split(os.Getenv("STATORBOOK_WORLD"), ",") {
		if dir == "" {
			continue
		}
		start := time.Now()
		w := loadWorld(t, dir)
		t.Logf("%s: %+v built in %v", dir, w.index.Stats(), time.Since(start))
		start = time.Now()
		s := evaluate(t, &w)
		took := time.Since(start)
		t.Logf("%d queries, %v each\n%s", len(w.queries), took/time.Duration(len(w.queries)), s.table())
		if len(w.entries) > 0 {
			start = time.Now()
			text := vetting(&w)
			t.Logf("%d entries, %v each\n%s", len(w.entries), time.Since(start)/time.Duration(len(w.entries)), text)
		}
	}
}
