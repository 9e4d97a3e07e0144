package httpapi

import (
	"statorbook/openapi"

	"github.com/gin-gonic/gin"
)

// contract is the OpenAPI document as it is served.
var contract = document{body: openapi.JSON, tag: tagOf(openapi.JSON), cache: cacheReference}

// apiIndex is the body of GET /: where everything is.
type apiIndex struct {
	Name        string            `json:"name"`
	Description string            `json:"description"`
	Version     string            `json:"version"`
	Links       map[string]string `json:"links"`
	Cautions    []string          `json:"cautions"`
}

// index tells a newcomer where to go: a program by links, a person by the page that finds a winding.
func (s *server) index(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	if offersPage[q.offer] == offersHTML[0] {
		return s.findForm(c, q, true)
	}
	return sendTagged(c, apiIndex{
		Name:        "statorbook",
		Description: "Winding data for small motors: wire tables, insulation, stator families, winding records, and the match of a measured stator to its lost winding.",
		Version:     s.Version,
		Links: map[string]string{
			"self": "/", "docs": "/docs", "openapi": "/openapi.json", "meta": "/v1/meta", "problems": "/problems", "live": "/livez", "ready": "/readyz",
			"wires": "/v1/wires", "wire_equivalents": "/v1/wire-equivalents", "wire_identifications": "/v1/wire-identifications", "wire_lengths": "/v1/wire-lengths",
			"insulation_classes": "/v1/insulation-classes", "insulating_materials": "/v1/insulating-materials",
			"stator_families": "/v1/stator-families", "windings": "/v1/windings", "changes": "/v1/changes", "matches": "/v1/matches", "institutes": "/v1/institutes",
			"published_bundle": "/v1/bundles/published", "imports": "/v1/imports", "blank_data_sheet": "/v1/data-sheets/blank",
			"winding_analyses": "/v1/winding-analyses", "winding_changes": "/v1/winding-changes", "winding_checks": "/v1/winding-checks",
		},
		Cautions: []string{
			"What is found here is a proposal for competent people. Isolate and prove dead before work; verify on the machine and test before use; local codes and licensed practice come first.",
		},
	}, "", cacheCheck)
}
