package httpapi

import (
	"time"

	"statorbook/internal/catalog"

	"github.com/gin-gonic/gin"
)

// metaBody is the body of GET /v1/meta.
type metaBody struct {
	Service           string              `json:"service"`
	Version           string              `json:"version"`
	CatalogueRevision int64               `json:"catalogue_revision"`
	BuiltAt           time.Time           `json:"built_at"`
	Units             map[string]unitInfo `json:"units"`
	Limits            metaLimits          `json:"limits"`
	Licence           metaLicence         `json:"licence"`
	Catalogue         metaCatalogue       `json:"catalogue"`
}

// metaLimits holds the limits that a client must keep.
type metaLimits struct {
	BodyBytes        int `json:"body_bytes"`
	BatchBytes       int `json:"batch_bytes"`
	BatchItems       int `json:"batch_items"`
	ImportBytes      int `json:"import_bytes"`
	PageSizeDefault  int `json:"page_size_default"`
	PageSizeMax      int `json:"page_size_max"`
	CandidatesMax    int `json:"candidates_max"`
	NumberCharacters int `json:"number_characters"`
	JSONDepth        int `json:"json_depth"`
	DraftsPerDay     int `json:"drafts_per_day"`
}

// metaLicence says what the data may be used for; each record names its own licence and source.
type metaLicence struct {
	DemoData string `json:"demo_data"` // SPDX id
	Note     string `json:"note"`
}

// metaCatalogue tells how much is in memory.
type metaCatalogue struct {
	Wires      int   `json:"wires"`
	Families   int   `json:"families"`
	Cores      int   `json:"cores"`
	Records    int   `json:"records"`
	IndexBytes int64 `json:"index_bytes"`
}

// meta tells what a client must know to read the rest.
func (s *server) meta(c *gin.Context, q *query) error {
	if err := q.err(); err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	return sendTagged(c, metaBody{
		Service: "statorbook", Version: s.Version, CatalogueRevision: snap.Revision, BuiltAt: snap.BuiltAt.UTC(),
		Units: s.units,
		Limits: metaLimits{
			BodyBytes: bodyMax, BatchBytes: batchMax, BatchItems: batchItems, ImportBytes: importMax, PageSizeDefault: pageSizeDefault, PageSizeMax: pageSizeMax,
			CandidatesMax: candidatesMax, NumberCharacters: 32, JSONDepth: 16, DraftsPerDay: catalog.DraftsPerDay,
		},
		Licence: metaLicence{
			DemoData: "CC0-1.0",
			Note:     "Demo families and records are invented. Every other record names its own source and licence.",
		},
		Catalogue: snap.stats(),
	}, "", cacheCheck)
}
