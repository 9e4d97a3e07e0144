package httpapi

import (
	"cmp"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/winding"

	"github.com/gin-gonic/gin"
)

var paramsBlankSheet = []string{"application"}

// blankSheetView lists what to record at the bench; cautions come first.
type blankSheetView struct {
	Cautions    []cautionView    `json:"cautions"`
	Application string           `json:"application"`
	Fields      []sheetFieldView `json:"fields"`
}

// sheetFieldView is one field of a sheet.
type sheetFieldView struct {
	Field   string      `json:"field"`
	Column  string      `json:"csv_column,omitzero"`
	Type    string      `json:"type"`
	Unit    string      `json:"unit,omitzero"`
	Units   []string    `json:"units,omitzero"`
	Min     *float64    `json:"minimum,omitzero"`
	Max     *float64    `json:"maximum,omitzero"`
	Allowed []string    `json:"allowed,omitzero"`
	Need    bundle.Need `json:"need"`
	Submit  bool        `json:"for_submission"`
	How     string      `json:"how"`
	Why     string      `json:"why"`
}

// sheetCautions are what can hurt somebody who takes a winding down.
var sheetCautions = []string{winding.CautionIsolate, winding.CautionCapacitor, winding.CautionLicensed, winding.CautionBurnOff, winding.CautionEdges, winding.CautionDust}

// applicationCautions come on top for one application.
var applicationCautions = map[string][]string{
	"ceiling_fan": {winding.CautionFanFall}, "general": {winding.CautionFanFall, winding.CautionWetPump}, "pump": {winding.CautionWetPump},
}

// getBlankSheet answers GET /v1/data-sheets/blank.
func (s *server) getBlankSheet(c *gin.Context, q *query) error {
	application := cmp.Or(q.enum("application", catalog.Applications...), "general")
	if err := q.err(); err != nil {
		return err
	}
	ids := append(append([]string(nil), sheetCautions...), applicationCautions[application]...)
	return sendTagged(c, blankSheetView{
		Cautions: viewCautions(winding.StandardCautions(ids...)), Application: application,
		Fields: each(bundle.BlankSheet(application), func(f bundle.SheetField) sheetFieldView {
			return sheetFieldView{f.Field, f.Column, f.Type, f.Unit, f.Units, f.Min, f.Max, f.Allowed, f.Need, f.Submission, f.How, f.Why}
		}),
	}, "", cacheCheck)
}
