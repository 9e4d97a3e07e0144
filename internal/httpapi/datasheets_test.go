package httpapi

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"statorbook/internal/catalog"

	"github.com/stretchr/testify/require"
)

func TestBlankSheet(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/data-sheets/blank"
	forSubmission := []string{"motor_type", "origin", "core_as_measured.slots", "scheme.poles", "scheme.coil_sets[].role", "source", "licence"}
	var general blankSheetView
	h.Ask(t, "GET", at, "").JSON(t, &general)
	require.Equal(t, "general", general.Application)
	for _, app := range catalog.Applications {
		a := h.Ask(t, "GET", at+"?application="+app, "")
		require.Equal(t, http.StatusOK, a.StatusCode, a.text)
		require.True(t, strings.HasPrefix(string(a.text), `{"cautions":[{`), "cautions come first")
		var v blankSheetView
		a.JSON(t, &v)
		require.Equal(t, app, v.Application)
		require.Equal(t, "isolate_and_prove_dead", v.Cautions[0].ID)
		require.Equal(t, "capacitor_holds_charge", v.Cautions[1].ID)
		require.GreaterOrEqual(t, len(v.Fields), 60)
		require.LessOrEqual(t, len(v.Fields), len(general.Fields))
		for _, f := range v.Fields {
			require.NotEmpty(t, f.How, f.Field)
			require.NotEmpty(t, f.Why, f.Field)
			require.NotEmpty(t, f.Need, f.Field)
			require.Equal(t, slices.Contains(forSubmission, f.Field), f.Submit, f.Field)
			if f.Unit != "" {
				require.Equal(t, f.Unit, f.Units[0], f.Field)
				require.NotNil(t, f.Min, f.Field)
			}
		}
		require.Equal(t, http.StatusNotModified, h.Ask(t, "GET", at+"?application="+app, "", "If-None-Match: "+a.Header.Get("ETag")).StatusCode)
	}
	require.Contains(t, string(h.Ask(t, "GET", at+"?application=ceiling_fan", "").text), "fan_can_fall")
	require.Contains(t, string(h.Ask(t, "GET", at+"?application=pump", "").text), "wet_pump")
	require.NotContains(t, string(h.Ask(t, "GET", at+"?application=pump", "").text), "sweep_mm")
}

func TestBlankSheetHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/data-sheets/blank"
	rows := append(wrongMethods(at), strangeQueries(at)...)
	rows = append(rows, strangeQueries(at+"?application=pump")...)
	for _, app := range []string{"", "Pump", "pumps", "pump%20", "pump,grinder", "*", "null", "general%27--", "..%2Fgeneral", strings.Repeat("x", 4000), "%E0%A4%AA", "1"} {
		rows = append(rows, get(at+"?application="+app, 400, "VALUE_NOT_ALLOWED", "application"))
	}
	rows = append(rows, get(at+"?application=pump&application=pump", 400, codeRepeated, "application"),
		get(at+"?application=%00", 400, codeText, "application"),
		get("/v1/data-sheets", 404, "", ""), get("/v1/data-sheets/", 404, "", ""), get("/v1/data-sheets/blank/x", 404, "", ""), get("/v1/data-sheets/filled", 404, "", ""))
	refuse(t, h, rows)
}
