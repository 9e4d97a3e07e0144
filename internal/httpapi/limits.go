package httpapi

import (
	"net/http"
	"net/netip"
	"strconv"
	"sync"
	"time"
)

const (
	bucketsMax   = 1 << 16 // callers of each sort that are remembered; at most twice as many
	failedBurst  = 10      // refused keys in one go, of one address or with one key id
	failedRefill = 10      // and how many more a minute: 20 in any minute
)

// buckets holds a token bucket for each caller. Each holds burst tokens at most; one comes back every
// step. All that is kept of a bucket is when it will be full again (the generic cell rate algorithm,
// ITU-T I.371 annex A, in its virtual scheduling form). Callers that were not heard of for long are
// forgotten in the order of their last request; a bucket that is forgotten is full.
type buckets[K comparable] struct {
	step, depth time.Duration // depth = burst x step

	lock       sync.Mutex
	young, old map[K]int64 // when full, in Unix nanoseconds
}

// newBuckets makes buckets of burst tokens, of which perMinute come back each minute.
func newBuckets[K comparable](burst, perMinute int) *buckets[K] {
	step := time.Minute / time.Duration(perMinute)
	return &buckets[K]{step: step, depth: time.Duration(burst) * step, young: map[K]int64{}}
}

// take takes a token of k. It gives how many are left and how long it takes until all are back; or,
// when there is none, how long it takes until there is one.
func (b *buckets[K]) take(k K, now time.Time) (left int, full, wait time.Duration) {
	at := now.UnixNano()
	b.lock.Lock()
	defer b.lock.Unlock()
	fullAt, known := b.young[k]
	if !known {
		fullAt = b.old[k]
		if len(b.young) >= bucketsMax {
			b.old, b.young = b.young, make(map[K]int64, bucketsMax/4)
		}
	}
	// An empty bucket is full after depth: more than that is a clock that was set back.
	fullAt = min(max(fullAt, at), at+int64(b.depth))
	room := at + int64(b.depth) - fullAt
	if room < int64(b.step) {
		b.young[k] = fullAt
		return 0, time.Duration(fullAt - at), time.Duration(int64(b.step) - room)
	}
	fullAt += int64(b.step)
	b.young[k] = fullAt
	return int(room/int64(b.step)) - 1, time.Duration(fullAt - at), 0
}

// gate lets requests in at a bearable rate. The zero gate lets all in.
type gate struct {
	addressPolicy, keyPolicy []string             // RateLimit-Policy
	addresses                *buckets[netip.Addr] // of callers without a key; nil: no limit
	keys                     *buckets[string]     // by key id, of keys that proved good; nil: no limit
	failedAddresses          *buckets[netip.Addr] // of keys that were refused
	failedKeys               *buckets[string]     // of the same, by the key id that was tried
}

// newGate makes the gate for a quota of requests a minute, of one key, or of one address without a
// key. 0 is no limit; refused keys are limited all the same.
func newGate(perMinute int) *gate {
	g := &gate{
		failedAddresses: newBuckets[netip.Addr](failedBurst, failedRefill),
		failedKeys:      newBuckets[string](failedBurst, failedRefill),
	}
	if perMinute > 0 {
		g.addresses, g.keys = newBuckets[netip.Addr](perMinute, perMinute), newBuckets[string](perMinute, perMinute)
		quota := `";q=` + strconv.Itoa(perMinute) + ";w=60"
		g.addressPolicy, g.keyPolicy = []string{`"address` + quota}, []string{`"key` + quota}
	}
	return g
}

// count counts a request and writes the two header fields of draft-ietf-httpapi-ratelimit-headers: the
// quota, and what is left of it with the seconds until all is back. It gives how long to wait, 0 to go on.
func (g *gate) count(h http.Header, keyID string, address netip.Addr, now time.Time) time.Duration {
	if g.addresses == nil {
		return 0
	}
	var left int
	var full, wait time.Duration
	name := `"address";r=`
	if keyID == "" {
		left, full, wait = g.addresses.take(address, now)
		h["Ratelimit-Policy"] = g.addressPolicy
	} else {
		name = `"key";r=`
		left, full, wait = g.keys.take(keyID, now)
		h["Ratelimit-Policy"] = g.keyPolicy
	}
	if wait > 0 {
		full = wait // not later than Retry-After
	}
	text := append(make([]byte, 0, 48), name...)
	text = strconv.AppendInt(text, int64(left), 10)
	text = append(text, ";t="...)
	h["Ratelimit"] = []string{string(strconv.AppendInt(text, seconds(full), 10))}
	return wait
}

// countRefused counts a key that was refused, and gives how long to wait before the next try, 0 for no wait.
func (g *gate) countRefused(keyID string, address netip.Addr, now time.Time) time.Duration {
	_, _, wait := g.failedAddresses.take(address, now)
	if keyID != "" {
		_, _, forKey := g.failedKeys.take(keyID, now)
		wait = max(wait, forKey)
	}
	return wait
}

// seconds rounds up.
func seconds(d time.Duration) int64 { return int64((d + time.Second - 1) / time.Second) }

// peer is the address that a request came from, as the connection says: no header changes it. An IPv6
// caller has a whole /64 at his hand, so that counts as one.
func peer(remote string) netip.Addr {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Addr{} // all whose address cannot be read share a bucket
	}
	a := at.Addr().Unmap().WithZone("")
	if a.Is6() {
		if net, err := a.Prefix(64); err == nil {
			return net.Masked().Addr()
		}
	}
	return a
}
