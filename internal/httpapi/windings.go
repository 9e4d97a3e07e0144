package httpapi

import (
	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

// paramsWindings are the query parameters of the list.
var paramsWindings = []string{"family", "poles", "state", "institute", "page_size", "page_token"}

// getWinding answers GET /v1/windings/{id}. A withdrawn record answers with its status and reason.
func (s *server) getWinding(c *gin.Context, q *query) error {
	return s.sendOne(c, q, catalog.KindWinding)
}

// winding reads a record by UUID or slug.
func (s *server) winding(c *gin.Context, ref string) (catalog.Winding, error) {
	if err := unknownRecord("winding record", ref); err != nil {
		return catalog.Winding{}, err
	}
	w, err := s.Windings.Winding(c.Request.Context(), ref)
	if errs.KindOf(err) == errs.KindNotFound {
		err = noRecord("winding record", ref)
	}
	return w, err
}

// listWindings answers GET /v1/windings.
func (s *server) listWindings(c *gin.Context, q *query) error {
	filter := catalog.WindingFilter{Family: q.text("family", 100), Poles: q.whole("poles", polesMin, polesMax)}
	if filter.Family != "" && !jsonin.IsUUID(filter.Family) && !jsonin.IsSlug(filter.Family) {
		q.refuse("family", jsonin.CodeFormat, "family is a UUID in lower case or a slug.", nil, filter.Family)
	}
	filter.State, filter.Institute = readStanding(q)
	if private(filter.State) {
		return s.listDrafts(c, q, catalog.KindWinding, filter.State, filter.Family, filter.Institute)
	}
	size, after := s.readPage(q, c.Request.URL.Path)
	if err := q.err(); err != nil {
		return err
	}
	page, err := s.Windings.Windings(c.Request.Context(), filter, catalog.PageRequest{After: after, Size: size})
	if err != nil {
		return err
	}
	return sendRecords(s, c, q, page, viewWinding)
}

// viewWinding is the one form of a winding record, in lists and alone, tag included.
func viewWinding(w catalog.Winding) (bundle.Winding, error) {
	v := bundle.WindingOf(w)
	err := tagRecord(w, v, &v.ETag)
	return v, err
}

// record is a winding record with the family that it belongs to and what an analysis of it needs, by the
// tables of one snapshot.
type record struct {
	catalog.Winding
	snap        *Snapshot
	application string // of the family, "" without one
	input       winding.AnalysisInput
}

// record reads a winding record by UUID or slug, with its family.
func (s *server) record(c *gin.Context, ref string) (record, error) {
	snap, err := s.snapshot()
	if err != nil {
		return record{}, err
	}
	w, err := s.winding(c, ref)
	if err != nil {
		return record{}, err
	}
	r := record{Winding: w, snap: snap}
	var family *catalog.Family
	if w.FamilyID != "" {
		f, err := s.family(c, w.FamilyID)
		if err != nil {
			return record{}, err
		}
		family, r.application = &f, f.Application
	}
	r.input = winding.AnalysisInput{Core: catalog.CoreOfRecord(w, family), Nameplate: &w.Nameplate, Scheme: w.Scheme, MotorType: w.MotorType}
	r.input.MeanTurns = winding.MeanTurnsOnRecord(r.input.Core, w.Scheme, snap.Wires)
	return r, nil
}

// recordAsked reads the record that the path names, once the query is right.
func (s *server) recordAsked(c *gin.Context, q *query) (record, error) {
	if err := q.err(); err != nil {
		return record{}, err
	}
	return s.record(c, c.Param("id"))
}

// recordAnalysis is the analysis of a record, with the record's standing beside it.
type recordAnalysis struct {
	WindingID string         `json:"winding_id"`
	Status    catalog.Status `json:"status"`
	analysisView
}

// getAnalysis answers GET /v1/windings/{id}/analysis.
func (s *server) getAnalysis(c *gin.Context, q *query) error {
	w, err := s.recordAsked(c, q)
	if err != nil {
		return err
	}
	a, err := winding.Analyse(w.input, w.snap.Wires)
	if err != nil {
		return ofRecord(err)
	}
	return sendTagged(c, recordAnalysis{w.ID, w.Status, viewAnalysis(a)}, "", cacheCheck)
}

// ofRecord turns a refusal of a stored record's content, whose pointers lead into the record, into
// one that speaks of the path.
func ofRecord(err error) error {
	return eachField(err, func(f errs.Field) errs.Field {
		f.Detail = "In the record, " + f.Pointer + ": " + f.Detail
		f.Parameter, f.Pointer = "id", ""
		return f
	})
}
