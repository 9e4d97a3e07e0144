package httpapi

import (
	"net/http"
	"strings"

	"statorbook/internal/catalog"

	"github.com/gin-gonic/gin"
)

// route is one operation. The test of openapi/ compares this table with the paths there, parameters included.
type route struct {
	method, path string
	params       []string // the query parameters that it takes
	offers       []string // media types, best first; nil = JSON only
	handle       func(*gin.Context, *query) error
}

// stores tells the operations that keep something: they need a key, and those that POST an
// Idempotency-Key. All other POSTs only compute.
func (r route) stores() bool {
	if r.method == http.MethodGet {
		return false
	}
	for _, kept := range []string{"/v1/stator-families", "/v1/windings", "/v1/institutes", "/v1/imports"} {
		if strings.HasPrefix(r.path, kept) {
			return true
		}
	}
	return false
}

var offersJSON = []string{"application/json"}

// routes lists every operation. HEAD and OPTIONS follow from the others.
func (s *server) routes() []route {
	return []route{
		{http.MethodGet, "/", nil, offersPage, s.index},
		{http.MethodGet, "/v1/meta", nil, nil, s.meta},
		{http.MethodGet, "/v1/wires", paramsWires, offersWires, s.listWires},
		{http.MethodGet, "/v1/wires/:id", paramsWire, nil, s.getWire},
		{http.MethodGet, "/v1/wires/:id/equivalents", paramsEquivalents, nil, s.getEquivalents},
		{http.MethodPost, "/v1/wire-equivalents", nil, nil, s.postEquivalents},
		{http.MethodPost, "/v1/wire-equivalents/batch", nil, nil, s.postEquivalentsBatch},
		{http.MethodPost, "/v1/wire-identifications", nil, nil, s.postIdentification},
		{http.MethodPost, "/v1/wire-lengths", nil, nil, s.postLength},
		{http.MethodGet, "/v1/insulation-classes", nil, nil, s.listClasses},
		{http.MethodGet, "/v1/insulation-classes/:letter", nil, nil, s.getClass},
		{http.MethodGet, "/v1/insulating-materials", nil, nil, s.listMaterials},
		{http.MethodGet, "/v1/stator-families", paramsFamilies, nil, s.listFamilies},
		{http.MethodGet, "/v1/stator-families/:id", paramsRecord, nil, s.getFamily},
		{http.MethodGet, "/v1/windings", paramsWindings, nil, s.listWindings},
		{http.MethodGet, "/v1/windings/:id", paramsRecord, nil, s.getWinding},
		{http.MethodGet, "/v1/windings/:id/analysis", nil, nil, s.getAnalysis},
		{http.MethodGet, "/v1/windings/:id/materials", paramsMaterials, nil, s.getMaterials},
		{http.MethodGet, "/v1/windings/:id/diagram.svg", paramsDiagram, offersSVG, s.getDiagram},
		{http.MethodGet, "/v1/windings/:id/test-plan", nil, nil, s.getTestPlan},
		{http.MethodPost, "/v1/stator-families", nil, nil, s.createDraft(catalog.KindFamily)},
		{http.MethodPut, "/v1/stator-families/:id", nil, nil, s.editDraft(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/submission", nil, nil, s.submit(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/vetting", nil, nil, s.vet(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/return", nil, nil, s.sendBack(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/publication", nil, nil, s.publish(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/withdrawal", nil, nil, s.withdraw(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/erratum", nil, nil, s.erratum(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/problem-reports", nil, nil, s.report(catalog.KindFamily)},
		{http.MethodGet, "/v1/stator-families/:id/problem-reports", nil, nil, s.listReports(catalog.KindFamily)},
		{http.MethodPost, "/v1/stator-families/:id/problem-reports/:report/answer", nil, nil, s.answerReport(catalog.KindFamily)},
		{http.MethodGet, "/v1/stator-families/:id/revisions", paramsPage, nil, s.listRevisions(catalog.KindFamily)},
		{http.MethodGet, "/v1/stator-families/:id/revisions/:n", nil, nil, s.getRevision(catalog.KindFamily)},
		{http.MethodPost, "/v1/windings", nil, nil, s.createDraft(catalog.KindWinding)},
		{http.MethodPut, "/v1/windings/:id", nil, nil, s.editDraft(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/submission", nil, nil, s.submit(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/vetting", nil, nil, s.vet(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/return", nil, nil, s.sendBack(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/publication", nil, nil, s.publish(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/withdrawal", nil, nil, s.withdraw(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/erratum", nil, nil, s.erratum(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/problem-reports", nil, nil, s.report(catalog.KindWinding)},
		{http.MethodGet, "/v1/windings/:id/problem-reports", nil, nil, s.listReports(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/problem-reports/:report/answer", nil, nil, s.answerReport(catalog.KindWinding)},
		{http.MethodGet, "/v1/windings/:id/revisions", paramsPage, nil, s.listRevisions(catalog.KindWinding)},
		{http.MethodGet, "/v1/windings/:id/revisions/:n", nil, nil, s.getRevision(catalog.KindWinding)},
		{http.MethodPost, "/v1/windings/:id/sightings", nil, nil, s.sight()},
		{http.MethodGet, "/v1/institutes", paramsPage, nil, s.listInstitutes},
		{http.MethodGet, "/v1/institutes/:id", nil, nil, s.getInstitute},
		{http.MethodPost, "/v1/institutes", nil, nil, s.pinInstitute},
		{http.MethodPost, "/v1/test-verdicts", nil, nil, s.postVerdict},
		{http.MethodPost, "/v1/matches", nil, nil, s.postMatch},
		{http.MethodGet, "/v1/bundles/published", paramsBundle, offersBundle, s.getBundle},
		{http.MethodPost, "/v1/imports", paramsImport, nil, s.postImport},
		{http.MethodGet, "/v1/data-sheets/blank", paramsBlankSheet, nil, s.getBlankSheet},
		{http.MethodGet, "/v1/changes", paramsChanges, nil, s.getChanges},
		{http.MethodPost, "/v1/winding-analyses", nil, nil, s.postAnalysis},
		{http.MethodPost, "/v1/winding-changes", nil, nil, s.postChange},
		{http.MethodPost, "/v1/winding-checks", nil, nil, s.postCheck},
		{http.MethodGet, "/openapi.json", nil, nil, s.openAPI},
		{http.MethodGet, "/livez", nil, nil, s.live},
		{http.MethodGet, "/readyz", nil, nil, s.ready},
		{http.MethodGet, "/problems", nil, offersPage, s.problemIndex},
		{http.MethodGet, "/problems/:slug", nil, offersPage, s.problemPage},
	}
}
