package httpapi_test

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/httpapi"
	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

const changesAt = "/v1/changes"

func TestChangesHostile(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	good, _ := s.Ask(t, "GET", changesAt+"?page_size=1", "").At(t, "after").(string)
	require.Regexp(t, `^1\.1\.[0-9a-f]{16}$`, good)
	rows := append(httpapi.WrongMethods(changesAt), httpapi.StrangeQueries(changesAt)...)
	for _, mark := range []string{"", "-1", "1", "1.1", "1.1.", "00", "0.0.0000000000000000", "1.1.0000000000000000", "01" + good[1:], good + "0", good[:len(good)-1], strings.ToUpper(good) + "A",
		"9" + good, strings.Replace(good, ".1.", ".99999.", 1), strings.Replace(good, ".1.", ".1e0.", 1), "9007199254740992.1.0000000000000000", "9999999999999999.1.0000000000000000",
		"1.9999999999.0000000000000000", "99999999999999999999.1.0000000000000000", good + "%20", "%20" + good, "%2B" + good, "null", "latest", strings.Repeat("1", 5000), "%C3%A4", good + "." + good} {
		rows = append(rows, httpapi.Get(changesAt+"?after="+mark, 400, "BAD_FEED_MARK", "after"))
	}
	httpapi.Refuse(t, s.Host, append(rows,
		httpapi.Get(changesAt+"?after="+good+"&after="+good, 400, "REPEATED_PARAMETER", "after"),
		httpapi.Get(changesAt+"?after=%00", 400, "BAD_TEXT", "after"),
		httpapi.Get(changesAt+"?wait_s=31", 422, jsonin.CodeRange, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=-1", 422, jsonin.CodeRange, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=1e1", 400, jsonin.CodeInteger, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=0.5", 400, jsonin.CodeInteger, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=NaN", 400, jsonin.CodeInteger, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=99999999999999999999", 400, jsonin.CodeInteger, "wait_s"),
		httpapi.Get(changesAt+"?wait_s=", 400, jsonin.CodeInteger, "wait_s"),
		httpapi.Get(changesAt+"?wait=5", 400, "UNKNOWN_PARAMETER", "wait"),
		httpapi.Get(changesAt+"?page_size=0", 400, "BAD_PAGE_SIZE", "page_size"),
		httpapi.Get(changesAt+"?page_size=201", 400, "BAD_PAGE_SIZE", "page_size"),
		httpapi.Get(changesAt+"?page_token=AAAA", 400, "UNKNOWN_PARAMETER", "page_token"),
		httpapi.Get(changesAt+"?since=1", 400, "UNKNOWN_PARAMETER", "since"),
	))
}

// TestChangesWalk reads the whole feed of the demo set in small pages.
func TestChangesWalk(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	kinds, marks := map[string]int{}, map[string]bool{}
	after := "0"
	for {
		a := s.Ask(t, "GET", changesAt+"?page_size=77&after="+after, "")
		require.Equal(t, http.StatusOK, a.StatusCode, a.Text())
		items := a.List(t, "items")
		for _, i := range items {
			item := i.(map[string]any)
			kinds[item["kind"].(string)]++
			mark := item["after"].(string)
			require.False(t, marks[mark], "told twice: %s", mark)
			marks[mark] = true
			require.Equal(t, "publication", item["change"])
			require.Equal(t, "published", item["state"])
			require.Contains(t, mark, item["sha256"].(string)[:16])
		}
		last := items[len(items)-1].(map[string]any)["after"]
		after, _ = a.At(t, "after").(string)
		require.Equal(t, last, after)
		if a.At(t, "more") == false {
			break
		}
		require.Len(t, items, 77)
	}
	require.Equal(t, len(s.demo.Families), kinds["family"])
	require.Equal(t, len(s.demo.Windings), kinds["winding"])
	require.Positive(t, kinds["wire"])

	end := s.Ask(t, "GET", changesAt+"?after="+after, "")
	require.Empty(t, end.List(t, "items"))
	require.Equal(t, after, end.At(t, "after"), "the next place is named even when nothing is there")
	require.Equal(t, false, end.At(t, "more"))
	same := s.Ask(t, "GET", changesAt+"?after="+after, "", "If-None-Match: "+end.Header.Get("ETag"))
	require.Equal(t, http.StatusNotModified, same.StatusCode)
}

// growing is a feed in memory, so that a test can let it grow when it wants. It counts the looks.
type growing struct {
	mu    sync.Mutex
	items []catalog.Change
	looks atomic.Int64
	fail  error
}

func (g *growing) grow() {
	g.mu.Lock()
	defer g.mu.Unlock()
	c := catalog.Change{At: time.Unix(1764061200, 0).UTC(), Kind: catalog.ChangeWithdrawal, RecordKind: "winding", RecordID: fmt.Sprint("w", len(g.items)), Revision: 2, State: catalog.Withdrawn, Reason: "x"}
	c.CatalogueRevision, c.Item = int64(len(g.items)+1), 1
	g.items = append(g.items, c)
}

func (g *growing) Changes(ctx context.Context, after catalog.Mark, size int) (catalog.ChangePage, error) {
	g.looks.Add(1)
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.fail != nil {
		return catalog.ChangePage{}, g.fail
	}
	if ctx.Err() != nil {
		return catalog.ChangePage{}, errs.Wrap(errs.KindTimeout, "gone", ctx.Err())
	}
	rest := g.items[after.CatalogueRevision:]
	return catalog.ChangePage{Items: rest[:min(size, len(rest))], More: len(rest) > size}, nil
}

// waitingServer serves a feed in memory over real connections with a short limit for reading requests.
func waitingServer(t *testing.T, feed *growing) (url string, bell *httpapi.Bell, server *http.Server) {
	t.Helper()
	bell = httpapi.NewBell()
	server = httpapi.NewServer(httpapi.NewHost(t, httpapi.Config{Changes: feed, Bell: bell}).Handler())
	server.ReadTimeout = 300 * time.Millisecond
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(func() { bell.Stop(); _ = server.Close() })
	return "http://" + listener.Addr().String() + changesAt, bell, server
}

// ask asks over the wire with client and gives status and body.
func askOver(t *testing.T, client *http.Client, url string) (int, string) {
	t.Helper()
	resp, err := client.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, string(body)
}

func TestWaitEndsWithAChange(t *testing.T) {
	t.Parallel()
	feed := &growing{}
	url, bell, _ := waitingServer(t, feed)
	client := &http.Client{}
	begun := time.Now()
	time.AfterFunc(700*time.Millisecond, func() {
		bell.Ring() // in vain: the reader looks, and waits on
		feed.grow()
		bell.Ring()
	})
	status, body := askOver(t, client, url+"?wait_s=20")
	require.Equal(t, 200, status, body)
	require.Contains(t, body, `"id":"w0"`)
	require.Greater(t, time.Since(begun), 650*time.Millisecond)
	require.Less(t, time.Since(begun), 15*time.Second, "the wait would have taken twenty")
	require.LessOrEqual(t, feed.looks.Load(), int64(3), "one look at first, one for each ring")

	// What is there already is answered at once; the same connection still serves after a wait that
	// was longer than the server's limit for reading a request.
	begun = time.Now()
	status, body = askOver(t, client, url+"?wait_s=20")
	require.Equal(t, 200, status, body)
	require.Less(t, time.Since(begun), 15*time.Second)
}

func TestWaitEndsWithItsTime(t *testing.T) {
	t.Parallel()
	feed := &growing{}
	url, _, _ := waitingServer(t, feed)
	client := &http.Client{}
	for range 2 {
		begun := time.Now()
		status, body := askOver(t, client, url+"?wait_s=1")
		require.Equal(t, 200, status, body)
		require.JSONEq(t, `{"items": [], "after": "0", "more": false}`, body)
		took := time.Since(begun)
		require.GreaterOrEqual(t, took, time.Second)
		require.Less(t, took, 15*time.Second)
	}
	require.EqualValues(t, 2, feed.looks.Load(), "nobody rang, nobody looked again")
}

// TestStopEndsWaits: a stop is not held up by those who wait, and each of them gets a whole answer.
func TestStopEndsWaits(t *testing.T) {
	t.Parallel()
	feed := &growing{}
	url, bell, server := waitingServer(t, feed)
	var group sync.WaitGroup
	var whole atomic.Int64
	for range 20 {
		group.Go(func() {
			if status, body := askOver(t, &http.Client{}, url+"?wait_s=30"); status == 200 && strings.Contains(body, `"after":"0"`) {
				whole.Add(1)
			}
		})
	}
	require.Eventually(t, func() bool { return feed.looks.Load() == 20 }, patience, 5*time.Millisecond)
	time.Sleep(50 * time.Millisecond)
	begun := time.Now()
	bell.Stop()
	bell.Stop()
	bell.Ring()
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second) // half of the wait
	defer cancel()
	require.NoError(t, server.Shutdown(ctx))
	group.Wait()
	require.EqualValues(t, 20, whole.Load())
	require.Less(t, time.Since(begun), 15*time.Second)
}

// TestCallerThatGoesFreesItsPlace fills all places with callers that hang up, again and again.
func TestCallerThatGoesFreesItsPlace(t *testing.T) {
	feed := &growing{}
	bell := httpapi.NewBell()
	host := httpapi.NewHost(t, httpapi.Config{Changes: feed, Bell: bell})
	before := goleak.IgnoreCurrent()
	for round := range 3 {
		var group sync.WaitGroup
		ctx, hangUp := context.WithCancel(t.Context())
		for range httpapi.WaitersMax {
			group.Go(func() {
				req := httptest.NewRequestWithContext(ctx, "GET", changesAt+"?wait_s=30", nil)
				host.Handler().ServeHTTP(httptest.NewRecorder(), req)
			})
		}
		require.Eventually(t, func() bool { return bell.Waiting() == httpapi.WaitersMax }, patience, time.Millisecond, "round %d", round)
		// One more gets no place, and is told when to come again; what is there is still given.
		full := host.Ask(t, "GET", changesAt+"?wait_s=30", "")
		require.Equal(t, http.StatusServiceUnavailable, full.StatusCode)
		require.NotEmpty(t, full.Header.Get("Retry-After"))
		require.Equal(t, http.StatusOK, host.Ask(t, "GET", changesAt, "").StatusCode)
		hangUp()
		group.Wait()
		require.Zero(t, bell.Waiting())
	}
	for begun := time.Now(); goleak.Find(before) != nil && time.Since(begun) < patience; { // they are ending
	}
	goleak.VerifyNone(t, before)
}

// TestChangeBetweenLookAndWait lets the feed grow, and the bell ring, while the first look is under
// way: the wait must not sleep through it.
func TestChangeBetweenLookAndWait(t *testing.T) {
	t.Parallel()
	bell := httpapi.NewBell()
	feed := &growing{}
	late := lateFeed{feed, func() { feed.grow(); bell.Ring() }}
	host := httpapi.NewHost(t, httpapi.Config{Changes: &late, Bell: bell})
	begun := time.Now()
	a := host.Ask(t, "GET", changesAt+"?wait_s=20", "")
	require.Len(t, a.List(t, "items"), 1)
	require.Less(t, time.Since(begun), 15*time.Second)
}

// lateFeed runs then after its first look, before the caller sees the result.
type lateFeed struct {
	*growing
	then func()
}

func (l *lateFeed) Changes(ctx context.Context, after catalog.Mark, size int) (catalog.ChangePage, error) {
	page, err := l.growing.Changes(ctx, after, size)
	if l.then != nil {
		l.then()
		l.then = nil
	}
	return page, err
}

func TestFeedFailsAsAProblem(t *testing.T) {
	t.Parallel()
	feed := &growing{fail: errs.New(errs.KindUnavailable, "The database cannot be reached at the moment.")}
	host := httpapi.NewHost(t, httpapi.Config{Changes: feed})
	a := host.Ask(t, "GET", changesAt+"?wait_s=30", "")
	require.Equal(t, http.StatusServiceUnavailable, a.StatusCode)
}

// TestMarkReadsBack: what the feed writes as a place it reads as the same place.
func TestMarkReadsBack(t *testing.T) {
	t.Parallel()
	check, err := hex.DecodeString("00ff00ff00ff00ff")
	require.NoError(t, err)
	for _, m := range []catalog.Mark{{}, {CatalogueRevision: 1, Item: 1}, {CatalogueRevision: 1<<53 - 1, Item: 999_999_999, Check: [8]byte(check)}} {
		var asked catalog.Mark
		host := httpapi.NewHost(t, httpapi.Config{Changes: markTaker{&asked}})
		a := host.Ask(t, "GET", changesAt+"?after="+httpapi.MarkText(m), "")
		require.Equal(t, http.StatusOK, a.StatusCode, a.Text())
		require.Equal(t, m, asked)
		require.Equal(t, httpapi.MarkText(m), a.At(t, "after"))
	}
}

type markTaker struct{ asked *catalog.Mark }

func (m markTaker) Changes(_ context.Context, after catalog.Mark, _ int) (catalog.ChangePage, error) {
	*m.asked = after
	return catalog.ChangePage{}, nil
}
