package httpapi

import (
	"bufio"
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

const (
	bulkAtOnce   = 2                // bundles that one process makes or takes in at the same time
	bulkPatience = 30 * time.Second // for the receiver of a bundle to take the next piece
	importMax    = 8 << 20          // bytes of a bundle that is sent, packed and unpacked
	importRows   = 500              // rows that an answer lists
	replyMax     = 1 << 20          // bytes of an answer that is kept for repetitions
)

// BundleStore writes and takes in bundles.
type BundleStore interface {
	// ExportBundle writes what is published: of one institute, "" = of all, changed after a catalogue
	// revision. signer is the id of the key that will seal it, "" for none. An institute that there is none
	// of is errs.KindNotFound, before anything is written.
	ExportBundle(ctx context.Context, out *bundle.Writer, institute, signer string, since int64) error
	// ImportBundle decides on every line of a bundle and, with apply, stores what is new.
	ImportBundle(ctx context.Context, a catalog.Act, in *bundle.Reader, apply bool, onRow func(catalog.ImportRow) error,
		render func(catalog.ImportReport) (catalog.Reply, error)) (catalog.Reply, error)
}

var (
	offersBundle = []string{"application/x-ndjson"}
	paramsBundle = []string{"institute", "since"}
	paramsImport = []string{"apply"}
)

// turn takes one of the few places for bundles. The caller gives it back by calling back.
func (s *server) turn() (back func(), err error) {
	if s.Bundles == nil {
		return nil, errs.New(errs.KindUnavailable, "There are no bundles here.")
	}
	select {
	case s.bulk <- struct{}{}:
		return func() { <-s.bulk }, nil
	default:
		return nil, errs.New(errs.KindUnavailable, "Other bundles are on their way just now. Try again in a moment.")
	}
}

// getBundle answers GET /v1/bundles/published. The bundle goes out as it is read; its last line tells
// the receiver that it is whole.
func (s *server) getBundle(c *gin.Context, q *query) error {
	institute := q.text("institute", 100)
	if institute != "" && !jsonin.IsSlug(institute) {
		q.refuse("institute", jsonin.CodeFormat, "institute is a slug.", nil, institute)
	}
	since := q.whole("since", 0, 1e12)
	if err := q.err(); err != nil {
		return err
	}
	back, err := s.turn()
	if err != nil {
		return err
	}
	defer back()
	out := &patient{c: c, control: http.NewResponseController(c.Writer)}
	buffered := bufio.NewWriterSize(out, 64<<10)
	w := bundle.NewWriter(buffered)
	signer, end := s.seal(c.Request.Context(), institute)
	err = s.Bundles.ExportBundle(c.Request.Context(), w, institute, signer, int64(since))
	if err == nil {
		if err = end(w); err == nil {
			err = buffered.Flush()
		}
	}
	if err != nil && c.Writer.Written() {
		s.Log.WarnContext(c.Request.Context(), "a bundle broke off", "request_id", requestID(c), "error", err)
		panic(http.ErrAbortHandler) // half a bundle must not look whole
	}
	if errs.KindOf(err) == errs.KindNotFound {
		detail := "There is no institute " + printable(institute) + "."
		return errs.New(errs.KindNotFound, detail, errs.Field{Parameter: "institute", Code: codeUnknownID, Detail: detail, Got: institute})
	}
	return err
}

// seal gives the id of the key in use of an institute of this server and what ends a bundle with it. Where
// its private half is not here, or it is no institute of ours, the bundle ends without a signature.
func (s *server) seal(ctx context.Context, institute string) (signer string, end func(*bundle.Writer) error) {
	plain := (*bundle.Writer).Close
	if institute == "" || s.Seal == nil {
		return "", plain
	}
	i, err := s.Institutes.Signatory(ctx, institute)
	key, used := i.KeyInUse()
	if err != nil || !used || !i.Own {
		return "", plain
	}
	id, end, err := s.Seal(institute)
	if err != nil || !strings.HasPrefix(key.Verifier, id+"+") {
		return "", plain
	}
	return id, end
}

// patient writes the body of a bundle. A receiver may be slow, but must not stand still: the time limit
// of the server counts anew with each piece. Where the connection cannot do that, the server's limit stands.
type patient struct {
	c       *gin.Context
	control *http.ResponseController
}

func (p *patient) Write(piece []byte) (int, error) {
	if !p.c.Writer.Written() {
		h := p.c.Writer.Header()
		h["Content-Type"] = offersBundle
		h["Cache-Control"] = cacheNever
		h.Set("Content-Disposition", `attachment; filename="statorbook.jsonl"`)
		p.c.Writer.WriteHeader(http.StatusOK)
	}
	if err := p.control.SetWriteDeadline(time.Now().Add(bulkPatience)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return p.c.Writer.Write(piece)
}

// importView is what became of a bundle.
type importView struct {
	Applied  bool           `json:"applied"`
	DryRun   bool           `json:"dry_run"`
	Title    string         `json:"title"`
	Licence  string         `json:"licence"`
	Demo     bool           `json:"demo"`
	SealedBy []string       `json:"sealed_by"`
	Lines    int            `json:"lines"`
	Counts   importCounts   `json:"counts"`
	Revision int64          `json:"catalogue_revision"`
	Rows     []importedLine `json:"rows"`
	LeftOff  int            `json:"rows_left_off"`
}

type importCounts struct {
	New         int `json:"new"`
	Same        int `json:"same"`
	Conflicting int `json:"conflicting"`
	Refused     int `json:"refused"`
	Ignored     int `json:"ignored"`
}

// importedLine is a line of the bundle that there is something to say about.
type importedLine struct {
	Line     int              `json:"line"`
	Kind     string           `json:"kind,omitzero"`
	ID       string           `json:"id,omitzero"`
	Revision int              `json:"revision,omitzero"`
	Outcome  catalog.Outcome  `json:"outcome"`
	Code     string           `json:"code,omitzero"`
	Detail   string           `json:"detail,omitzero"`
	Errors   []ProblemField   `json:"errors,omitzero"`
	Findings []bundle.Finding `json:"findings,omitzero"`
}

// postImport answers POST /v1/imports.
func (s *server) postImport(c *gin.Context, q *query) error {
	who, err := s.actor(c)
	if err == nil {
		err = catalog.Permit(who.Actor, catalog.ActImport, catalog.Object{})
	}
	if err != nil {
		return err
	}
	apply := q.enum("apply", "true", "false") == "true"
	if err := q.err(); err != nil {
		return err
	}
	back, err := s.turn()
	if err != nil {
		return err
	}
	defer back()
	sent, text, err := readBundle(c)
	if err != nil {
		return err
	}
	a := catalog.Act{Actor: who.Actor, KeyID: who.KeyID, RequestID: requestID(c)}
	if apply {
		if a, err = s.act(c, sent); err != nil {
			return err
		}
	}
	view := importView{DryRun: !apply, Rows: []importedLine{}}
	reply, err := s.Bundles.ImportBundle(c.Request.Context(), a, bundle.NewReader(text, bundle.Options{}), apply, view.row, view.render)
	if err != nil {
		return aboutLine(err)
	}
	if apply && s.Refresh != nil {
		s.Refresh(c.Request.Context())
	}
	sendReply(c, reply)
	return nil
}

// row keeps a line that there is something to say about.
func (v *importView) row(r catalog.ImportRow) error {
	quiet := (r.Outcome == catalog.OutcomeNew || r.Outcome == catalog.OutcomeSame) && len(r.Findings) == 0
	switch {
	case quiet:
	case len(v.Rows) >= importRows:
		v.LeftOff++
	default:
		line := importedLine{Line: r.Line, Kind: r.Kind, ID: printable(r.ID), Revision: r.Revision, Outcome: r.Outcome, Code: r.Code, Detail: sentence(r.Detail)}
		line.Errors = each(r.Fields, problemField)
		if len(r.Findings) > 0 {
			line.Findings = bundle.FindingsOf(r.Findings)
		}
		v.Rows = append(v.Rows, line)
	}
	return nil
}

// render makes the answer. Rows are left off until it is short enough to be kept.
func (v *importView) render(r catalog.ImportReport) (catalog.Reply, error) {
	v.Applied, v.Title, v.Licence, v.Demo, v.Lines, v.Revision = r.Applied && !v.DryRun, r.Title, r.Licence, r.Demo, r.Lines, r.Revision
	v.SealedBy = append([]string{}, r.SealedBy...)
	v.Counts = importCounts{r.Counts[catalog.OutcomeNew], r.Counts[catalog.OutcomeSame], r.Counts[catalog.OutcomeConflicting], r.Counts[catalog.OutcomeRefused], r.Counts[catalog.OutcomeIgnored]}
	slices.SortFunc(v.Rows, func(a, b importedLine) int { return a.Line - b.Line }) // lines that cannot be read are told first
	for {
		body, err := encodeJSON(v)
		if err != nil || len(body) <= replyMax {
			return catalog.Reply{Status: http.StatusOK, Body: body}, err
		}
		v.LeftOff += len(v.Rows) - len(v.Rows)/2
		v.Rows = v.Rows[:len(v.Rows)/2]
	}
}

// aboutLine names the line of a bundle that spoils the whole.
func aboutLine(err error) error {
	var bad *bundle.LineError
	if !errors.As(err, &bad) || bad.Line == 0 {
		return err
	}
	fields := append([]errs.Field(nil), bad.Err.Fields...)
	for i := range fields {
		fields[i].Detail = "line " + strconv.Itoa(bad.Line) + ": " + fields[i].Detail
	}
	return errs.New(bad.Err.Kind, "Line "+strconv.Itoa(bad.Line)+": "+bad.Err.Detail+" Nothing was stored.", fields...)
}
