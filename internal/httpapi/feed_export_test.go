package httpapi

import "net/http"

// WaitersMax is how many requests may wait for the feed.
const WaitersMax = waitersMax

// Waiting counts the requests that wait.
func (b *Bell) Waiting() int { return len(b.places) }

// MarkText writes a place of the feed.
var MarkText = markText

// Handler is the handler under test.
func (h *host) Handler() http.Handler { return h.handler }
