package httpapi

import (
	"encoding/hex"
	"net/http"
	"strconv"
	"time"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"

	"github.com/gin-gonic/gin"
)

// The bodies of what others say of a record.
type (
	sightingAct struct {
		Job string `json:"job" in:"required,runes=100"`
	}
	reportAct struct {
		Text string `json:"text" in:"required,lines,runes=1000"`
	}
	answerAct struct {
		Answer string `json:"answer" in:"required,lines,runes=1000"`
	}
)

// reportView is a problem report.
type reportView struct {
	ID         string     `json:"id"`
	Institute  string     `json:"institute"`
	Text       string     `json:"text"`
	Open       bool       `json:"open"`
	CreatedAt  time.Time  `json:"created_at"`
	AnsweredAt *time.Time `json:"answered_at,omitempty"`
	Answer     string     `json:"answer,omitempty"`
}

func viewReport(r catalog.ProblemReport) reportView {
	v := reportView{r.ID, r.Institute, r.Text, r.AnsweredAt == nil, r.CreatedAt.UTC(), nil, r.Answer}
	if r.AnsweredAt != nil {
		at := r.AnsweredAt.UTC()
		v.AnsweredAt = &at
	}
	return v
}

func renderReport(kind catalog.Kind, ref string, status int) func(catalog.ProblemReport) (catalog.Reply, error) {
	return func(r catalog.ProblemReport) (catalog.Reply, error) {
		body, err := encodeJSON(viewReport(r))
		reply := catalog.Reply{Status: status, Body: body}
		if status == http.StatusCreated {
			reply.Location = pathOf(kind) + "/" + ref + "/problem-reports"
		}
		return reply, err
	}
}

// sight answers POST /v1/windings/{id}/sightings.
func (s *server) sight() func(*gin.Context, *query) error {
	return s.step(catalog.KindWinding, false, func() (any, deed) {
		var body sightingAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			return s.Witnesses.Sight(c.Request.Context(), a, d.ID, body.Job, renderAs(catalog.KindWinding, http.StatusOK))
		}
	})
}

// report answers POST …/problem-reports.
func (s *server) report(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body reportAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			return s.Witnesses.Report(c.Request.Context(), a, kind, d.ID, body.Text, renderReport(kind, d.ID, http.StatusCreated))
		}
	})
}

// answerReport answers POST …/problem-reports/{report}/answer.
func (s *server) answerReport(kind catalog.Kind) func(*gin.Context, *query) error {
	return s.step(kind, false, func() (any, deed) {
		var body answerAct
		return &body, func(c *gin.Context, a catalog.Act, d catalog.DraftRef) (catalog.Reply, error) {
			report := c.Param("report")
			if !jsonin.IsUUID(report) {
				return catalog.Reply{}, errs.New(errs.KindConflict, "There is no open problem report of this id on the record.",
					errs.Field{Parameter: "report", Code: codeUnknownID, Detail: "the id of a report is a UUID; the list of problem reports shows it", Got: printable(report)})
			}
			return s.Witnesses.AnswerReport(c.Request.Context(), a, kind, d.ID, report, body.Answer, renderReport(kind, d.ID, http.StatusOK))
		}
	})
}

// listReports answers GET …/problem-reports.
func (s *server) listReports(kind catalog.Kind) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		ref := c.Param("id")
		if err := unknownRecord(nameOf(kind), ref); err != nil {
			return err
		}
		if err := q.err(); err != nil {
			return err
		}
		list, err := s.Witnesses.Reports(c.Request.Context(), kind, ref)
		if err != nil {
			return aboutRecord(kind, ref, err)
		}
		return sendTagged(c, pageOf[reportView]{Items: each(list, viewReport)}, "", cacheCheck)
	}
}

// revisionView is one revision in the list of a record's revisions.
type revisionView struct {
	Revision   int            `json:"revision"`
	Change     string         `json:"change"`
	State      catalog.State  `json:"state"`
	Status     catalog.Status `json:"status"`
	SHA256     string         `json:"sha256"`
	Institute  string         `json:"institute,omitempty"`
	Author     string         `json:"author,omitempty"`
	Vetter     string         `json:"vetter,omitempty"`
	VettedAt   *time.Time     `json:"vetted_at,omitempty"`
	ReasonCode string         `json:"reason_code,omitempty"`
	Reason     string         `json:"reason,omitempty"`
	Statement  string         `json:"statement,omitempty"`
}

func viewRevision(r catalog.RevisionOf) revisionView {
	p := r.Record.Standing()
	v := revisionView{Revision: p.Revision, Change: r.Change, State: p.State, Status: p.Status, SHA256: hex.EncodeToString(p.Hash[:]), Institute: p.Institute,
		Author: p.Author, Vetter: p.Vetter, ReasonCode: p.ReasonCode, Reason: p.Reason, Statement: r.Statement}
	if !p.VettedAt.IsZero() {
		v.VettedAt = &p.VettedAt
	}
	return v
}

// listRevisions answers GET …/revisions, oldest first.
func (s *server) listRevisions(kind catalog.Kind) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		ref := c.Param("id")
		if err := unknownRecord(nameOf(kind), ref); err != nil {
			return err
		}
		size, last := s.readPage(q, c.Request.URL.Path)
		if err := q.err(); err != nil {
			return err
		}
		after, _ := strconv.Atoi(last) // our own token
		list, next, err := s.Witnesses.Revisions(c.Request.Context(), kind, ref, after, size)
		if err != nil {
			return aboutRecord(kind, ref, err)
		}
		out := pageOf[revisionView]{Items: each(list, viewRevision)}
		if next > 0 {
			out.pageEnd = s.pageEnd(c, q, strconv.Itoa(next))
		}
		return sendTagged(c, out, "", cacheCheck)
	}
}

// revisionRecord is a record as of one revision, with the statement that vouches for it.
type revisionRecord struct {
	Change    string `json:"change"`
	Statement string `json:"statement,omitempty"`
	Record    any    `json:"record"`
}

// getRevision answers GET …/revisions/{n}.
func (s *server) getRevision(kind catalog.Kind) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		ref := c.Param("id")
		if err := unknownRecord(nameOf(kind), ref); err != nil {
			return err
		}
		if err := q.err(); err != nil {
			return err
		}
		n, err := strconv.Atoi(c.Param("n"))
		if err != nil || n < 1 || n > 1e9 || strconv.Itoa(n) != c.Param("n") {
			return noRevision(c.Param("n"))
		}
		r, err := s.Witnesses.Revision(c.Request.Context(), kind, ref, n)
		if errs.KindOf(err) == errs.KindNotFound {
			return noRevision(c.Param("n"))
		}
		if err != nil {
			return err
		}
		view, _, err := viewRecord(r.Record)
		if err != nil {
			return err
		}
		return sendTagged(c, revisionRecord{r.Change, r.Statement, view}, "", cacheCheck)
	}
}

func noRevision(n string) error {
	return errs.New(errs.KindNotFound, "", errs.Field{Parameter: "n", Code: codeUnknownID, Detail: "there is no record of this id with a revision " + printable(n) + "; the list of revisions names them", Got: printable(n)})
}
