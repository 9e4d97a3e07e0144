package httpapi

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// clock is a clock that a test sets.
type clock struct{ at time.Time }

func newClock() *clock { return &clock{time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)} }

func (c *clock) now() time.Time       { return c.at }
func (c *clock) pass(d time.Duration) { c.at = c.at.Add(d) }

// TestBucketsAgainstCounting walks requests and pauses at random beside a bucket that is kept the plain way:
// a number of tokens, with one more after each step since it was last full.
func TestBucketsAgainstCounting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		burst, perMinute := rapid.IntRange(1, 50).Draw(t, "burst"), rapid.IntRange(1, 600).Draw(t, "per minute")
		b := newBuckets[string](burst, perMinute)
		step := time.Minute / time.Duration(perMinute)
		now := newClock()
		credit := time.Duration(burst) * step // in time: whole steps are tokens
		for range rapid.IntRange(1, 80).Draw(t, "requests") {
			pause := time.Duration(rapid.Int64Range(0, int64(2*step)).Draw(t, "pause"))
			now.pass(pause)
			credit = min(credit+pause, time.Duration(burst)*step)
			left, full, wait := b.take("k", now.now())
			if credit < step {
				if wait != step-credit || left != 0 {
					t.Fatalf("%s of credit at a step of %s: wait %s, left %d", credit, step, wait, left)
				}
				continue
			}
			credit -= step
			if wait != 0 || left != int(credit/step) || full != time.Duration(burst)*step-credit {
				t.Fatalf("wait %s, left %d, full in %s; the credit is %s at a step of %s", wait, left, full, credit, step)
			}
		}
	})
}

func TestBucketsWithAClockSetBack(t *testing.T) {
	t.Parallel()
	b := newBuckets[string](10, 60)
	now := newClock()
	for range 10 {
		b.take("k", now.now())
	}
	now.pass(-24 * time.Hour)
	_, _, wait := b.take("k", now.now())
	require.LessOrEqual(t, wait, time.Second, "nobody waits for yesterday to pass")
}

// TestBucketsAreBounded asks with five times more callers than are kept. One who asks all the time is not
// forgotten.
func TestBucketsAreBounded(t *testing.T) {
	t.Parallel()
	b := newBuckets[int](3, 1)
	now := newClock().now()
	for range 3 {
		b.take(-1, now)
	}
	for i := range 5 * bucketsMax {
		_, _, wait := b.take(i, now)
		require.Zero(t, wait)
		require.LessOrEqual(t, len(b.young)+len(b.old), 2*bucketsMax)
		if i%1000 == 0 {
			_, _, wait = b.take(-1, now)
			require.NotZero(t, wait, "after %d others", i)
		}
	}
}

func TestPeer(t *testing.T) {
	t.Parallel()
	for remote, want := range map[string]string{
		"192.0.2.1:1234": "192.0.2.1", "192.0.2.1:9": "192.0.2.1", "[::ffff:192.0.2.1]:1": "192.0.2.1", "[::1]:80": "::",
		"[2001:db8:1:2:3:4:5:6]:1": "2001:db8:1:2::", "[2001:db8:1:2:ffff::]:1": "2001:db8:1:2::", "[2001:db8:1:3::]:1": "2001:db8:1:3::",
		"[fe80::1%eth0]:1": "fe80::", "": "invalid IP", "@": "invalid IP", "192.0.2.1": "invalid IP",
	} {
		require.Equal(t, want, peer(remote).String(), remote)
	}
}

// from sends a request from an address.
func from(h *host, remote, method, target string, headers ...string) answer {
	rec := httptest.NewRecorder()
	req := request(method, target, "", headers...)
	req.RemoteAddr = remote
	h.handler.ServeHTTP(rec, req)
	return answer{rec.Result(), rec.Body.Bytes()}
}

// TestQuota is row S24: the quota is told on every answer and kept, by address, and a header that claims
// another address changes nothing.
func TestQuota(t *testing.T) {
	t.Parallel()
	now := newClock()
	h := newHost(t, Config{Quota: 60, Now: now.now})
	const here = "192.0.2.1:1234"
	paths := []string{"/", "/nowhere", "/v1/meta", "/problems", "/v1/wires/awg-20", "/livez?x"}
	for i := range 60 {
		a := from(h, here, "GET", paths[i%len(paths)], fmt.Sprintf("X-Forwarded-For: 198.51.100.%d", i), "Forwarded: for=198.51.100.9", fmt.Sprintf("X-Real-Ip: 198.51.100.%d", i))
		if strings.HasPrefix(paths[i%len(paths)], "/livez") {
			require.Empty(t, a.Header.Get("RateLimit"), "questions after health are not counted")
			continue
		}
		require.Equal(t, `"address";q=60;w=60`, a.Header.Get("RateLimit-Policy"))
		used := i + 1 - i/len(paths)
		require.Equal(t, fmt.Sprintf(`"address";r=%d;t=%d`, 60-used, used), a.Header.Get("RateLimit"), "after %d requests", used)
	}
	for range 10 {
		require.NotEqual(t, 429, from(h, here, "GET", "/").StatusCode)
	}
	a := h.Ask(t, "GET", "/v1/wires/awg-20", "", "X-Forwarded-For: 198.51.100.77")
	require.Equal(t, http.StatusTooManyRequests, a.StatusCode)
	require.Equal(t, "/problems/too-many-requests", a.Problem(t).Type)
	require.Equal(t, "1", a.Header.Get("Retry-After"))
	require.Equal(t, `"address";r=0;t=1`, a.Header.Get("RateLimit"))
	require.Equal(t, http.StatusOK, from(h, "192.0.2.2:1", "GET", "/").StatusCode, "another address has its own")
	require.Equal(t, http.StatusNoContent, from(h, here, "OPTIONS", "/").StatusCode, "a browser may ask what it may ask")
	require.Equal(t, http.StatusOK, from(h, here, "GET", "/livez").StatusCode)
	now.pass(time.Second)
	require.Equal(t, http.StatusOK, from(h, here, "GET", "/").StatusCode, "after Retry-After one is let in")
	require.Equal(t, http.StatusTooManyRequests, from(h, here, "GET", "/").StatusCode)
	now.pass(time.Minute)
	require.Equal(t, `"address";r=59;t=1`, from(h, here, "GET", "/").Header.Get("RateLimit"), "after a minute all is back")
}

func TestNoQuota(t *testing.T) {
	t.Parallel()
	h := newHost(t, Config{})
	a := from(h, "192.0.2.1:1", "GET", "/")
	require.Empty(t, a.Header.Get("RateLimit"))
	require.Empty(t, a.Header.Get("RateLimit-Policy"))
}

// TestPoliteExporter is row S24: whoever keeps to what RateLimit says and waits when told so reads 100,000
// records in pages of 200 with a quota of 60 a minute, and is refused at most once.
func TestPoliteExporter(t *testing.T) {
	t.Parallel()
	now := newClock()
	h := newHost(t, Config{Quota: 60, Now: now.now})
	refused, read := 0, 0
	for read < 100_000/200 {
		a := from(h, "192.0.2.1:1", "GET", "/problems")
		if a.StatusCode == http.StatusTooManyRequests {
			refused++
			wait, err := strconv.Atoi(a.Header.Get("Retry-After"))
			require.NoError(t, err)
			now.pass(time.Duration(wait) * time.Second)
			continue
		}
		require.Equal(t, http.StatusOK, a.StatusCode)
		read++
		var left, until int
		_, err := fmt.Sscanf(a.Header.Get("RateLimit"), `"address";r=%d;t=%d`, &left, &until)
		require.NoError(t, err)
		if left == 0 {
			now.pass(time.Duration(until) * time.Second / 60)
		}
	}
	require.LessOrEqual(t, refused, 1)
}

func BenchmarkGate(b *testing.B) {
	g := newGate(1_000_000)
	now := newClock().now()
	from := netip.MustParseAddr("192.0.2.1")
	h := http.Header{}
	b.ReportAllocs()
	for b.Loop() {
		now = now.Add(time.Millisecond)
		if g.count(h, "", from, now) > 0 {
			b.Fatal("refused")
		}
	}
}
