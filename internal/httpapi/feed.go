package httpapi

import (
	"context"
	"encoding/hex"
	"regexp"
	"strconv"
	"strings"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"

	"github.com/gin-gonic/gin"
)

// ChangeStore reads the feed of changes of published data. A mark that names no change of this feed
// is errs.KindNotFound.
type ChangeStore interface {
	Changes(ctx context.Context, after catalog.Mark, size int) (catalog.ChangePage, error)
}

var paramsChanges = []string{"after", "wait_s", "page_size"}

// waitMax is the longest that a request may wait for a change, in seconds.
const waitMax = 30

// feedView is a part of the change feed. After is where the next request goes on, also when nothing
// was there.
type feedView struct {
	Items []feedItem `json:"items"`
	After string     `json:"after"`
	More  bool       `json:"more"`
}

type feedItem struct {
	After             string             `json:"after"`
	CatalogueRevision int64              `json:"catalogue_revision"`
	At                time.Time          `json:"at"`
	Change            catalog.ChangeKind `json:"change"`
	Kind              string             `json:"kind"`
	ID                string             `json:"id"`
	Revision          int                `json:"revision"`
	SHA256            string             `json:"sha256"`
	State             catalog.State      `json:"state"`
	ReasonCode        string             `json:"reason_code,omitempty"`
	Reason            string             `json:"reason,omitempty"`
}

// getChanges answers GET /v1/changes.
func (s *server) getChanges(c *gin.Context, q *query) error {
	after := readMark(q)
	limit := time.Duration(q.whole("wait_s", 0, waitMax)) * time.Second
	size := q.pageSize()
	if err := q.err(); err != nil {
		return err
	}
	page, err := s.changesWithin(c, after, size, limit)
	if errs.KindOf(err) == errs.KindNotFound {
		q.refuseMark()
		return q.err()
	}
	if err != nil {
		return err
	}
	if n := len(page.Items); n > 0 {
		after = page.Items[n-1].Mark
	}
	return sendTagged(c, feedView{Items: each(page.Items, viewFeedItem), After: markText(after), More: page.More}, "", cacheCheck)
}

// changesWithin reads the feed; while nothing is there it waits for the bell, limit at most. Stopping
// the service or a caller that goes ends the wait as the limit does. Between looks no database
// connection is held.
func (s *server) changesWithin(c *gin.Context, after catalog.Mark, size int, limit time.Duration) (catalog.ChangePage, error) {
	rung, stopped := s.Bell.next()
	page, err := s.Changes.Changes(c.Request.Context(), after, size)
	if err != nil || len(page.Items) > 0 || limit == 0 || stopped {
		return page, err
	}
	if !s.Bell.enter() {
		return page, errs.New(errs.KindUnavailable, "Too many requests wait for changes. Ask with a shorter interval and without wait_s, or again later.")
	}
	defer s.Bell.leave()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	for wait(c.Request.Context(), rung, timer.C) {
		if rung, stopped = s.Bell.next(); stopped {
			return page, nil
		}
		again, err := s.Changes.Changes(c.Request.Context(), after, size)
		if err != nil || len(again.Items) > 0 {
			return again, err
		}
	}
	return page, nil
}

func viewFeedItem(c catalog.Change) feedItem {
	return feedItem{
		After: markText(c.Mark), CatalogueRevision: c.CatalogueRevision, At: c.At, Change: c.Kind, Kind: c.RecordKind, ID: c.RecordID, Revision: c.Revision,
		SHA256: hex.EncodeToString(c.Hash[:]), State: c.State, ReasonCode: c.ReasonCode, Reason: c.Reason,
	}
}

// markText writes a mark for the caller: revision, item and check; 0 is the beginning.
func markText(m catalog.Mark) string {
	if m == (catalog.Mark{}) {
		return "0"
	}
	return strconv.FormatInt(m.CatalogueRevision, 10) + "." + strconv.Itoa(m.Item) + "." + hex.EncodeToString(m.Check[:])
}

var markGrammar = regexp.MustCompile(`^[1-9][0-9]{0,15}\.[1-9][0-9]{0,8}\.[0-9a-f]{16}$`)

// readMark reads after; absent and 0 are the beginning.
func readMark(q *query) catalog.Mark {
	text, sent := q.values["after"]
	if !sent || text == "0" {
		return catalog.Mark{}
	}
	var m catalog.Mark
	revision, rest, _ := strings.Cut(text, ".")
	item, check, _ := strings.Cut(rest, ".")
	m.CatalogueRevision, _ = strconv.ParseInt(revision, 10, 64)
	m.Item, _ = strconv.Atoi(item)
	raw, _ := hex.DecodeString(check)
	if !markGrammar.MatchString(text) || m.CatalogueRevision >= 1<<53 {
		q.refuseMark()
		return catalog.Mark{}
	}
	copy(m.Check[:], raw)
	return m
}

// refuseMark says that after is no place of this feed.
func (q *query) refuseMark() {
	q.refuse("after", codeFeedMark, "This is no place in this server's change feed: it was made up, or is another server's, or the database was set back. Begin without after.", nil, printable(q.values["after"]))
}
