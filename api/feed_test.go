package main

import (
	"fmt"
	"sync"
	"testing"
	"time"

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
	code, _, errOut := runCommand(t, env, "", "import", sampleBundle)
	committed := time.Now()
	require.Equal(t, 0, code, errOut)
	group.Wait()
	for _, a := range answers {
		require.NotEmpty(t, a.items)
		require.Less(t, a.at.Sub(committed), 2*time.Second)
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
	require.Less(t, time.Since(begun), 5*time.Second)
}
