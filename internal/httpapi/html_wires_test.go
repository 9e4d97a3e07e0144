package httpapi_test

import (
	"fmt"
	"html"
	"strings"
	"testing"

	"statorbook/internal/httpapi"

	"github.com/stretchr/testify/require"
)

// The pages about wires say the same as the operations, in the same order.
func TestWirePagesSayWhatTheOperationsSay(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	one := s.Ask(t, "GET", "/v1/wires/swg-34", "")
	text := page(t, s, "/wires?system=swg&size=34", 200).Text()
	require.Contains(t, text, fmt.Sprint(one.At(t, "conductor", "diameter_mm")))
	for i := range one.List(t, "covered") {
		require.Contains(t, text, fmt.Sprintf("%v – %v", one.At(t, "covered", i, "overall_min_mm"), one.At(t, "covered", i, "overall_max_mm")))
	}
	require.Contains(t, text, html.EscapeString(fmt.Sprint(one.At(t, "sources", 0, "title"))))

	equals := s.Ask(t, "POST", "/v1/wire-equivalents", `{"from":{"system":"swg","size":"22","conductor":"copper","strands":1,"build":"grade_2"},"to":{"systems":["awg","metric"],"max_strands":2,"mixed":true},"limits":{"area_error_pct":{"low":-3,"high":3}}}`)
	text = page(t, s, "/wires/replace?from.system=swg&from.size=22&from.build=grade_2&to.awg=yes&to.metric=yes&to.max_strands=2&to.mixed=yes&limits.area_error_pct.low=-3&limits.area_error_pct.high=3", 200).Text()
	last := 0
	for i := range equals.List(t, "items") {
		reason := html.EscapeString(fmt.Sprint(equals.At(t, "items", i, "rank_reason")))
		reason = strings.ReplaceAll(reason, "+", "&#43;")
		at := strings.Index(text[last:], reason)
		require.GreaterOrEqual(t, at, 0, "item %d: %s", i, reason)
		last += at
	}
	require.Positive(t, last)

	scrap := s.Ask(t, "POST", "/v1/wire-identifications", `{"readings":[{"diameter_mm":{"value":0.36,"resolution":0.01}}],"surface":"over_enamel"}`)
	text = page(t, s, "/wires/scrap?readings.0.diameter_mm=0,36&readings.0.diameter_mm.with=mm_digital&surface=over_enamel", 200).Text()
	require.Contains(t, text, httpapi.Percent(scrap.Number(t, "candidates", 0, "probability")))
	require.Contains(t, text, fmt.Sprintf("size=%v\"", scrap.At(t, "candidates", 0, "wire", "size")))
	for i := range scrap.List(t, "settle_by") {
		require.Contains(t, html.UnescapeString(text), fmt.Sprint(scrap.At(t, "settle_by", i)))
	}
}

// What a wire form lacks or gets wrong is told at its field, and nothing is worked out from the rest.
func TestWireFormsRefuse(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	for target, says := range map[string]string{
		"/wires?size=12":                                                                 "name the system",
		"/wires?system=swg&size=99":                                                      "There is no SWG 99",
		"/wires?system=gauge&size=3":                                                     "swg, awg, metric",
		"/wires?diameter_mm=thick":                                                       "Write one number",
		"/wires/replace?from.system=swg&from.size=99":                                    "There is no SWG 99",
		"/wires/replace?from.system=swg&from.size=22&to.max_strands=99":                  "8",
		"/wires/replace?from.system=swg&from.size=22&stock=some+wire":                    "cannot be read",
		"/wires/replace?from.system=swg&from.size=22&limits.min_thermal_class=Q9":        "",
		"/wires/replace?to.mixed=yes":                                                    "",
		"/wires/scrap?mass.g=3":                                                          "",
		"/wires/scrap?readings.0.diameter_mm=0":                                          "",
		"/wires/scrap?surface=bare":                                                      "",
		"/wires/scrap?readings.0.diameter_mm=0.3&resistance.ohm=1&resistance.length_m=x": "Write one number",
	} {
		text := page(t, s, target, 422).Text()
		require.Contains(t, text, `class="faultbox"`, target)
		require.Contains(t, text, says, target)
		require.NotContains(t, text, `<li class="card"`, target)
	}
}
