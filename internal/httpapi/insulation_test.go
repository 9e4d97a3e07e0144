package httpapi

import (
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/bundle"

	"github.com/stretchr/testify/require"
)

// The class temperatures of IEC 60085.
func TestClasses(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	var list listOf[bundle.InsulationClass]
	a := h.Ask(t, "GET", "/v1/insulation-classes", "")
	a.JSON(t, &list)
	got := map[string]float64{}
	for _, c := range list.Items {
		got[c.Letter] = c.MaxHotSpot
		require.NotEmpty(t, c.Source.Title)
		var one bundle.InsulationClass
		b := h.Ask(t, "GET", "/v1/insulation-classes/"+c.Letter, "")
		b.JSON(t, &one)
		require.Equal(t, c, one, "the list and the look-up agree")
		require.Equal(t, `"`+c.ETag+`"`, b.Header.Get("ETag"))
		require.Equal(t, http.StatusNotModified, h.Ask(t, "GET", "/v1/insulation-classes/"+c.Letter, "", `If-None-Match: "`+c.ETag+`"`).StatusCode)
	}
	require.Equal(t, map[string]float64{"Y": 90, "A": 105, "E": 120, "B": 130, "F": 155, "H": 180, "N": 200, "R": 220, "250": 250}, got)
	require.Equal(t, http.StatusNotModified, h.Ask(t, "GET", "/v1/insulation-classes", "", "If-None-Match: "+a.Header.Get("ETag")).StatusCode)
}

func TestMaterials(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	var list listOf[bundle.InsulatingMaterial]
	h.Ask(t, "GET", "/v1/insulating-materials", "").JSON(t, &list)
	require.GreaterOrEqual(t, len(list.Items), 10)
	for _, m := range list.Items {
		require.NotEmpty(t, m.Source.Evidence, m.ID)
		require.NotEmpty(t, m.ThermalClass, m.ID)
		require.LessOrEqual(t, m.ThicknessMin, m.ThicknessMax, m.ID)
	}
}

func TestInsulationHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for _, at := range []string{"/v1/insulation-classes", "/v1/insulating-materials", "/v1/insulation-classes/F"} {
		rows := append(wrongMethods(at), strangeQueries(at)...)
		for _, name := range []string{"page_size", "page_token", "letter", "id", "limit", "offset", "sort", "fields", "q", "filter", "callback", "api_key"} {
			rows = append(rows, get(at+"?"+name+"=1", 400, codeUnknownParameter, name))
		}
		refuse(t, h, rows)
	}
	rows := wrongMethods("/v1/insulation-classes/F")
	for _, letter := range []string{"f", "Z", "155", "F ", " F", "FF", "class F", "F\x00", "\xff", "ä", "..", "-", "0", "NaN", strings.Repeat("F", 4000), "F%", "F;", "'", `"`} {
		rows = append(rows, get("/v1/insulation-classes/"+letter, 404, codeUnknownID, "letter"))
	}
	refuse(t, h, rows)
	require.Contains(t, h.Ask(t, "GET", "/v1/insulation-classes/155", "").Problem(t).Detail, "Did you mean F?")
}
