package httpapi

import (
	"bytes"
	"fmt"
	"net/http"
	"runtime"
	"runtime/debug"
	"strconv"
	"sync"
	"sync/atomic"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// batchRequest is a batch of questions; each item is read, answered or refused by itself.
type batchRequest struct {
	Items []jsonin.Raw `json:"items" in:"required,maxitems=1000"`
}

// batchWorkers is the most processors that one batch keeps busy.
const batchWorkers = 4

// sendBatch answers 200 with one result for each item, in the order of the items:
// {"results":[{"status":200,"result":…} or {"status":4xx,"problem":…}]}.
func (s *server) sendBatch(c *gin.Context, items []jsonin.Raw, answer func(jsonin.Raw) (any, error)) {
	results := make([][]byte, len(items))
	var next atomic.Int64
	var group sync.WaitGroup
	for range min(batchWorkers, runtime.GOMAXPROCS(0), len(items)) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(items); i = int(next.Add(1)) - 1 {
				results[i] = s.batchItem(c, items[i], answer)
			}
		})
	}
	group.Wait()
	size := len(`{"results":[]}`) + len(results)
	for _, r := range results {
		size += len(r)
	}
	var b bytes.Buffer
	b.Grow(size)
	b.WriteString(`{"results":[`)
	for i, r := range results {
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(r)
	}
	b.WriteString("]}\n")
	c.Writer.Header()["Cache-Control"] = cacheNever
	send(c, http.StatusOK, typeJSON, b.Bytes())
}

// batchItem answers one item. A fault of ours in one item, a panic included, is logged and does
// not spoil the others.
func (s *server) batchItem(c *gin.Context, item jsonin.Raw, answer func(jsonin.Raw) (any, error)) (result []byte) {
	defer func() {
		if fault := recover(); fault != nil {
			result = s.batchProblem(c, errs.Wrap(errs.KindInternal, "", fmt.Errorf("panic: %v\n%s", fault, debug.Stack())))
		}
	}()
	v, err := answer(item)
	if err != nil {
		return s.batchProblem(c, err)
	}
	body, err := encodeBetween(`{"status":200,"result":`, v, "}")
	if err != nil {
		return s.batchProblem(c, err)
	}
	return body
}

func (s *server) batchProblem(c *gin.Context, err error) []byte {
	p, kind := newProblem(err, requestID(c))
	if kind.status >= http.StatusInternalServerError {
		s.logFault(c, "item of a batch failed", err)
	}
	before := `{"status":` + strconv.Itoa(p.Status) + `,"problem":`
	body, encodeErr := encodeBetween(before, p, "}")
	if encodeErr != nil {
		p.Errors = nil
		body, _ = encodeBetween(before, p, "}")
	}
	return body
}
