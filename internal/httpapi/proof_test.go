package httpapi_test

import (
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/httpapi"
	"statorbook/internal/jsonin"

	"github.com/stretchr/testify/require"
)

func TestDiagrams(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, w := range s.demo.Windings[:8] {
		for _, view := range []string{"core", "slots", "connection"} {
			at := "/v1/windings/" + w.Slug + "/diagram.svg?view=" + view
			a := s.Ask(t, "GET", at, "")
			require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
			require.Equal(t, "image/svg+xml", a.Header.Get("Content-Type"))
			require.Contains(t, a.Text(), "status: demo", "the status is in every format")
			require.Equal(t, a.Text(), s.Ask(t, "GET", at, "").Text(), "the same record, the same bytes")
			require.Equal(t, http.StatusNotModified, s.Ask(t, "GET", at, "", "If-None-Match: "+a.Header.Get("ETag")).StatusCode)
		}
	}
}

func TestTestPlan(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for _, w := range s.demo.Windings[:8] {
		a := s.Ask(t, "GET", "/v1/windings/"+w.Slug+"/test-plan", "")
		require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
		require.True(t, strings.HasPrefix(a.Text(), `{"cautions":[{`), "cautions come first")
		require.NotEmpty(t, a.List(t, "steps"))
	}
}

// TestVerdict judges a demo record's own resistance, and the withstand voltage of a 415 V pump: 2U+1000 = 1830 V by
// IEC 60034-1:2004 Table 16 item 2 (page extract).
func TestVerdict(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	a := s.Ask(t, "POST", "/v1/test-verdicts", httpapi.BodiesShown(t)["POST /v1/test-verdicts"])
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
	require.Equal(t, "pass", a.At(t, "tests", 2, "verdict"))
	require.InDelta(t, 1830, a.Number(t, "tests", 2, "limit", "low"), 1e-9)
	require.Equal(t, "inside_guidance", a.At(t, "overall"))

	a = s.Ask(t, "POST", "/v1/test-verdicts", `{"winding_id":"`+s.demo.Windings[0].Slug+`","ambient_c":20,"readings":[{"test":"winding_resistance","role":"main","ohms":[0.001]},{"test":"withstand","volts":[1500],"seconds":60,"ok":true}]}`)
	require.Equal(t, http.StatusOK, a.StatusCode, "%s", a.Text())
	require.Equal(t, "outside_guidance", a.At(t, "tests", 0, "verdict"))
	require.Equal(t, "not_judged", a.At(t, "tests", 1, "verdict"), "an appliance: machine rules alone do not fit")
}

func TestProofHostile(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	record := s.demo.Windings[0].Slug
	for _, at := range []string{"/v1/windings/" + record + "/diagram.svg", "/v1/windings/" + record + "/test-plan"} {
		rows := append(httpapi.WrongMethods(at), httpapi.StrangeQueries(at)...)
		for _, id := range []string{"no-such-record", "00000000-0000-4000-8000-000000000000", "0", "ä", "A-B", "a--b", "a b", "\x00", "..", strings.Repeat("a", 5000)} {
			rows = append(rows, httpapi.Get(strings.Replace(at, record, id, 1), 404, "UNKNOWN_ID", "id"))
		}
		httpapi.Refuse(t, s.Host, rows)
	}
	a := s.Ask(t, "GET", "/v1/windings/"+record+"/diagram.svg?view=map", "")
	require.Equal(t, 400, a.StatusCode)
	require.Contains(t, a.Text(), jsonin.CodeValue)
}
