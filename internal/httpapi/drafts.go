package httpapi

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// windingDraft is what an author writes of a winding record; what the server sets cannot be bound.
type windingDraft struct {
	CoreID   string `json:"core_id,omitempty" in:"format=uuid"`
	FamilyID string `json:"family_id,omitempty" in:"format=uuid"`
	bundle.Sheet
	bundle.Origin
}

// familyDraft is what an author writes of a stator family.
type familyDraft struct {
	bundle.Lamination
	bundle.Origin
}

// readRecord reads the record that a body describes, and the body as it was sent.
func readRecord(c *gin.Context, q *query, kind catalog.Kind) (record catalog.Record, body []byte, err error) {
	if kind == catalog.KindFamily {
		var d familyDraft
		if body, err = readChange(c, q, &d, false); err != nil {
			return nil, nil, err
		}
		f := d.ToDomain()
		f.Source, f.Licence, f.Demo = d.Source, d.Licence, d.Demo
		return f, body, nil
	}
	var d windingDraft
	if body, err = readChange(c, q, &d, false); err != nil {
		return nil, nil, err
	}
	w := d.ToDomain()
	w.CoreID, w.FamilyID, w.Source, w.Licence, w.Demo = d.CoreID, d.FamilyID, d.Source, d.Licence, d.Demo
	return w, body, nil
}

// judge checks a record as an import does, and by explanation; it gives the record with its findings.
// What cannot be is refused, and nothing of it is stored.
func (s *server) judge(ctx context.Context, record catalog.Record) (catalog.Record, error) {
	snap, err := s.snapshot()
	if err != nil {
		return nil, err
	}
	if f, ok := record.(catalog.Family); ok {
		lint := catalog.LintFamily(f, catalog.LintOptions{Wires: snap.Wires, New: true})
		f.Findings = lint.Findings
		return f, lint.Err()
	}
	w := record.(catalog.Winding)
	var family *catalog.Family
	if w.FamilyID != "" {
		f, err := s.Families.Family(ctx, w.FamilyID)
		switch {
		case err == nil:
			family = &f
		case errs.KindOf(err) != errs.KindNotFound: // it may be a draft still; publication asks again
			return nil, err
		}
	}
	lint := catalog.LintWinding(w, catalog.LintOptions{Wires: snap.Wires, Family: family})
	if err := lint.Err(); err != nil {
		return nil, err
	}
	w.Findings = lint.Findings
	sheet := winding.Sheet{Core: catalog.CoreOfRecord(w, family), MotorType: w.MotorType, Origin: w.Origin, Nameplate: w.Nameplate, Scheme: w.Scheme}
	for _, f := range snap.Index.CheckRecord(sheet).Findings {
		f.Fields = each(f.Fields, func(name string) string {
			if rest, ofCore := strings.CutPrefix(name, "core."); ofCore {
				return "core_as_measured." + rest // as the record calls it
			}
			return name
		})
		known := slices.ContainsFunc(w.Findings, func(k errs.Finding) bool { return k.Code == f.Code && slices.Equal(k.Fields, f.Fields) })
		if f.Severity != errs.SeverityNote && !known {
			w.Findings = append(w.Findings, f)
		}
	}
	return w, nil
}

// createDraft answers POST of a new record.
func (s *server) createDraft(kind catalog.Kind) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		record, body, err := readRecord(c, q, kind)
		if err != nil {
			return err
		}
		a, err := s.act(c, body)
		if err != nil {
			return err
		}
		if err := catalog.Permit(a.Actor, catalog.ActCreate, catalog.Object{}); err != nil {
			return err
		}
		if record, err = s.judge(c.Request.Context(), record); err != nil {
			return err
		}
		reply, err := s.Drafts.CreateDraft(c.Request.Context(), a, record, renderAs(kind, http.StatusCreated))
		if err != nil {
			return err
		}
		sendReply(c, reply)
		return nil
	}
}

// editDraft answers PUT of a draft.
func (s *server) editDraft(kind catalog.Kind) func(*gin.Context, *query) error {
	return func(c *gin.Context, q *query) error {
		ref := c.Param("id")
		if err := unknownRecord(nameOf(kind), ref); err != nil {
			return err
		}
		record, body, err := readRecord(c, q, kind)
		if err != nil {
			return err
		}
		a, err := s.act(c, body)
		if err != nil {
			return err
		}
		// Who may not know of the draft hears that first.
		own, err := s.ownDraft(c, a.Actor, kind, ref, catalog.ActEdit)
		if err != nil {
			return err
		}
		if err := needMatch(c.Request.Header); err != nil {
			return err
		}
		if own != nil {
			if _, held := heldTag(c.Request, draftTag(own.Standing().Version)); held { // RFC 9110 section 13.1.2
				return errs.New(errs.KindPreconditionFailed, "There is a draft here as If-None-Match names it.")
			}
		}
		if record, err = s.judge(c.Request.Context(), record); err != nil {
			return err
		}
		d := catalog.DraftRef{Kind: kind, ID: ref, Versions: heldVersions(c.Request.Header)}
		reply, err := s.Drafts.EditDraft(c.Request.Context(), a, d, record, renderAs(kind, http.StatusOK))
		if err != nil {
			return aboutRecord(kind, ref, explainMatch(c.Request.Header, err))
		}
		sendReply(c, reply)
		return nil
	}
}

// ownDraft gives the draft that the actor wants to act on, nil if the store must say why he cannot
// (the record is published), and refuses an actor who may not.
func (s *server) ownDraft(c *gin.Context, actor catalog.Actor, kind catalog.Kind, ref string, action catalog.Action) (catalog.Record, error) {
	if actor.Anonymous() {
		return nil, catalog.Permit(actor, action, catalog.Object{})
	}
	record, err := s.Drafts.Draft(c.Request.Context(), actor, kind, ref)
	if errs.KindOf(err) == errs.KindNotFound {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	p := record.Standing()
	return record, catalog.Permit(actor, action, catalog.Object{Institute: p.Institute, Author: p.Author, State: p.State})
}

// findDraft gives a draft for reading; without a key there are none.
func (s *server) findDraft(c *gin.Context, kind catalog.Kind, ref string) (catalog.Record, error) {
	who, err := s.actor(c)
	if err != nil {
		return nil, err
	}
	if unknownRecord(nameOf(kind), ref) != nil || who.Anonymous() || s.Drafts == nil {
		return nil, noRecord(nameOf(kind), ref)
	}
	record, err := s.Drafts.Draft(c.Request.Context(), who.Actor, kind, ref)
	return record, aboutRecord(kind, ref, err)
}

// sendDraft answers with a draft; nobody may keep it.
func sendDraft(c *gin.Context, record catalog.Record) error {
	view, tag, err := viewRecord(record)
	if err != nil {
		return err
	}
	c.Writer.Header().Add("Vary", "Authorization")
	return sendTagged(c, view, tag, cacheNever)
}

// listDrafts answers a list of records in a state that only their institute sees.
func (s *server) listDrafts(c *gin.Context, q *query, kind catalog.Kind, state catalog.State, family, institute string) error {
	for name := range q.values {
		if !slices.Contains([]string{"state", "institute", "family", "page_size", "page_token"}, name) {
			q.refuse(name, codeNotHere, "Drafts are listed by state, institute and family alone; leave "+name+" out.", nil, q.values[name])
		}
	}
	size, after := s.readPage(q, c.Request.URL.Path)
	if err := q.err(); err != nil {
		return err
	}
	who, err := s.actor(c)
	if err != nil {
		return err
	}
	if err := catalog.Permit(who.Actor, catalog.ActList, catalog.Object{}); err != nil {
		return err
	}
	page := catalog.Page[catalog.Record]{}
	if institute == "" || institute == who.Institute {
		page, err = s.Drafts.Drafts(c.Request.Context(), who.Actor, kind, catalog.DraftFilter{State: state, Family: family}, catalog.PageRequest{After: after, Size: size})
		if err != nil {
			return err
		}
	}
	out := pageOf[any]{Items: []any{}}
	for _, record := range page.Items {
		view, _, err := viewRecord(record)
		if err != nil {
			return err
		}
		out.Items = append(out.Items, view)
	}
	if page.Next != "" {
		out.pageEnd = s.pageEnd(c, q, page.Next)
	}
	c.Writer.Header().Add("Vary", "Authorization")
	return sendTagged(c, out, "", cacheNever)
}

// paramsRecord are the query parameters of a single record.
var paramsRecord = []string{"view"}

// sendOne answers GET of a record: what is published, with a key the draft where nothing is, and the
// draft of what is published when view=draft asks for it.
func (s *server) sendOne(c *gin.Context, q *query, kind catalog.Kind) error {
	ref, draft := c.Param("id"), q.enum("view", "published", "draft")
	if err := q.err(); err != nil {
		return err
	}
	var record catalog.Record
	var err error
	if kind == catalog.KindFamily {
		record, err = s.family(c, ref)
	} else {
		record, err = s.winding(c, ref)
	}
	missing := errs.KindOf(err) == errs.KindNotFound
	if err != nil && !missing {
		return err
	}
	if missing && draft != "published" || draft == "draft" {
		record, err := s.findDraft(c, kind, ref)
		if err != nil {
			return err
		}
		return sendDraft(c, record)
	}
	if err != nil {
		return err
	}
	view, tag, err := viewRecord(record)
	if err != nil {
		return err
	}
	return sendTagged(c, view, tag, cacheCheck)
}

// readStanding reads the filters by state and holder.
func readStanding(q *query) (catalog.State, string) {
	state := q.enum("state", string(catalog.Published), string(catalog.Withdrawn), string(catalog.Draft), string(catalog.Submitted), string(catalog.Vetted))
	institute := q.text("institute", 100)
	if institute != "" && !jsonin.IsSlug(institute) {
		q.refuse("institute", jsonin.CodeFormat, "institute is the slug of an institute.", nil, institute)
	}
	return catalog.State(state), institute
}

// private tells the states that only the holder sees.
func private(s catalog.State) bool {
	return s == catalog.Draft || s == catalog.Submitted || s == catalog.Vetted
}
