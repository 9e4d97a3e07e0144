package httpapi

import (
	"context"
	"sync"
	"time"
)

// waitersMax bounds how many requests wait for the change feed at once. One that waits holds a
// goroutine and its socket, but no database connection.
const waitersMax = 256

// Bell wakes the requests that wait for the change feed. One poller rings it for all of them.
type Bell struct {
	mu      sync.Mutex
	rung    chan struct{} // closed by the next ring
	stopped bool
	places  chan struct{}
}

// NewBell gives a bell that nobody has rung.
func NewBell() *Bell {
	return &Bell{rung: make(chan struct{}), places: make(chan struct{}, waitersMax)}
}

// Ring says that the feed has grown.
func (b *Bell) Ring() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.stopped {
		close(b.rung)
		b.rung = make(chan struct{})
	}
}

// Stop ends every wait, now and from now on, so that the service can end.
func (b *Bell) Stop() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.stopped {
		b.stopped = true
		close(b.rung)
	}
}

// next gives what the next ring closes. Take it before looking at the feed: a change that comes
// between the look and the wait is then not slept through.
func (b *Bell) next() (rung <-chan struct{}, stopped bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.rung, b.stopped
}

// enter takes a place among those who wait; leave gives it back.
func (b *Bell) enter() bool {
	select {
	case b.places <- struct{}{}:
		return true
	default:
		return false
	}
}

func (b *Bell) leave() { <-b.places }

// wait sleeps until rung is closed. It gives false when the end has come instead: the time is over,
// or the caller has gone.
func wait(ctx context.Context, rung <-chan struct{}, over <-chan time.Time) bool {
	select {
	case <-rung:
		return true
	case <-over:
	case <-ctx.Done():
	}
	return false
}
