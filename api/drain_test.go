package main

import (
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// asked is what became of one request: the status, or 0 and the error.
type asked struct {
	id     string
	status int
	err    error
}

// ask sends one request on a connection of its own and reads the whole answer.
func ask(base, path, id string) asked {
	req, err := http.NewRequest(http.MethodGet, base+path, nil)
	if err != nil {
		return asked{id, 0, err}
	}
	req.Header.Set("X-Request-Id", id)
	req.Close = true // net/http would repeat a request on a connection that it used before
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return asked{id, 0, err}
	}
	defer func() { _ = res.Body.Close() }()
	if _, err := io.ReadAll(res.Body); err != nil {
		return asked{id, 0, err}
	}
	return asked{id, res.StatusCode, nil}
}

// TestStopDrains is row F12: the program is told to stop while it is asked from all sides. What it took on it
// answers, whole; whoever waits for a change is sent home; it ends by itself within ten seconds.
func TestStopDrains(t *testing.T) {
	t.Parallel()
	p := startProcess(t, givenDatabase(t))
	var group sync.WaitGroup
	waiting := make(chan asked, 1)
	after := endOfFeed(t, p.base)
	go func() { waiting <- ask(p.base, "/v1/changes?wait_s=30&after="+after, "demo-waits") }()
	paths := []string{"/v1/wires", "/v1/windings/demo-pump-01-a", "/v1/stator-families?page_size=200", "/v1/windings/demo-pump-01-a/analysis"}
	all := make([][]asked, 8)
	var answered atomic.Int64
	for n := range all {
		group.Go(func() {
			for i := 0; ; i++ {
				a := ask(p.base, paths[i%len(paths)], fmt.Sprintf("demo-drain-%d-%d", n, i))
				all[n] = append(all[n], a)
				if a.err != nil { // it takes nobody any more
					return
				}
				answered.Add(1)
			}
		})
	}
	require.Eventually(t, func() bool { return answered.Load() > 60 }, patience, time.Millisecond)
	begun := time.Now()
	require.NoError(t, p.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, p.cmd.Wait(), "it ends well: %s", p.err)
	require.Less(t, time.Since(begun), 10*time.Second)
	group.Wait()

	require.Equal(t, 200, (<-waiting).status)
	good := 0
	for _, list := range all {
		for _, a := range list {
			if a.err == nil {
				require.Equal(t, 200, a.status, a.id)
				good++
				continue
			}
			require.NotContains(t, p.err.String(), "request_id="+a.id+" ", "it was taken on and not answered: %v", a.err)
		}
	}
	require.Equal(t, good+1, strings.Count(p.err.String(), "request_id=demo-"), "every one is in the log")
	t.Logf("%d answered, ended after %s", good, time.Since(begun).Round(time.Millisecond))
}
