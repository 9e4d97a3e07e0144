package httpapi_test

import (
	"strings"
	"testing"

	"statorbook/internal/httpapi"
	"statorbook/internal/jsonin"
)

func TestFamiliesHostile(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	const at = "/v1/stator-families"
	rows := append(httpapi.WrongMethods(at, "POST"), httpapi.StrangeQueries(at)...)
	httpapi.Refuse(t, s.Host, append(rows,
		httpapi.Get(at+"?phases=2", 400, jsonin.CodeValue, "phases"),
		httpapi.Get(at+"?phases=0", 400, jsonin.CodeValue, "phases"),
		httpapi.Get(at+"?rotor_position=Outside", 400, jsonin.CodeValue, "rotor_position"),
		httpapi.Get(at+"?slots=0", 422, jsonin.CodeRange, "slots"),
		httpapi.Get(at+"?slots=-1", 422, jsonin.CodeRange, "slots"),
		httpapi.Get(at+"?slots=1e1", 400, jsonin.CodeInteger, "slots"),
		httpapi.Get(at+"?slots=24&slots=36", 400, "REPEATED_PARAMETER", "slots"),
		httpapi.Get(at+"?poles=121", 422, jsonin.CodeRange, "poles"),
		httpapi.Get(at+"?application=drill", 400, jsonin.CodeValue, "application"),
		httpapi.Get(at+"?application='; DROP TABLE family", 400, "BAD_ESCAPE", "application"),
		httpapi.Get(at+"?application=%27%20OR%201=1--", 400, jsonin.CodeValue, "application"),
		httpapi.Get(at+"?min_gap_diameter_mm=abc", 400, "NOT_A_NUMBER", "min_gap_diameter_mm"),
		httpapi.Get(at+"?min_gap_diameter_mm=1e400", 400, jsonin.CodeOverflow, "min_gap_diameter_mm"),
		httpapi.Get(at+"?min_gap_diameter_mm=-1", 422, jsonin.CodeRange, "min_gap_diameter_mm"),
		httpapi.Get(at+"?max_gap_diameter_mm=0", 422, jsonin.CodeRange, "max_gap_diameter_mm"),
		httpapi.Get(at+"?min_gap_diameter_mm=9&max_gap_diameter_mm=8", 422, "EMPTY_WINDOW", "min_gap_diameter_mm"),
		httpapi.Get(at+"?min_gap_diametre_mm=9", 400, "UNKNOWN_PARAMETER", "min_gap_diametre_mm"),
		httpapi.Get(at+"?page_size=500", 400, "BAD_PAGE_SIZE", "page_size"),
		httpapi.Get(at+"?page_token=x", 400, "BAD_PAGE_TOKEN", "page_token"),
		httpapi.Get(at+"?offset=10", 400, "UNKNOWN_PARAMETER", "offset"),
	))
}

func TestRecordsHostile(t *testing.T) {
	t.Parallel()
	s := openShop(t)
	family, record := s.demo.Families[0].Slug, s.demo.Windings[0].Slug
	for _, at := range []string{"/v1/stator-families/" + family, "/v1/windings/" + record, "/v1/windings/" + record + "/analysis", "/v1/windings/" + record + "/materials"} {
		taken := []string{"PUT"}
		if strings.Count(at, "/") > 3 {
			taken = nil
		}
		rows := append(httpapi.WrongMethods(at, taken...), httpapi.StrangeQueries(at)...)
		for _, id := range []string{"no-such-record", "00000000-0000-4000-8000-000000000000", "0", "a", "ä", "A-B", "a--b", "-a", "a-", "a b", "a'b", "a;b", "a%b",
			"\x00", "\xff", "..", "*", strings.ToUpper(record), record + "x", record + " ", strings.Repeat("a", 81), strings.Repeat("a", 5000), "null", "undefined"} {
			target := strings.Replace(strings.Replace(at, family, id, 1), record, id, 1)
			rows = append(rows, httpapi.Get(target, 404, "UNKNOWN_ID", "id"))
		}
		httpapi.Refuse(t, s.Host, rows)
	}
	const at = "/v1/windings"
	httpapi.Refuse(t, s.Host, append(append(httpapi.WrongMethods(at, "POST"), httpapi.StrangeQueries(at)...),
		httpapi.Get(at+"?state=erased", 400, jsonin.CodeValue, "state"),
		httpapi.Get(at+"?institute=Demo%20School", 400, jsonin.CodeFormat, "institute"),
		httpapi.Get(at+"?family=-x", 400, jsonin.CodeFormat, "family"),
		httpapi.Get(at+"?family=", 400, jsonin.CodeTextLength, "family"),
		httpapi.Get(at+"?family="+strings.Repeat("0", 101), 400, jsonin.CodeTextLength, "family"),
		httpapi.Get(at+"?poles=0", 422, jsonin.CodeRange, "poles"),
		httpapi.Get(at+"?poles=four", 400, jsonin.CodeInteger, "poles"),
		httpapi.Get(at+"?page_size=0", 400, "BAD_PAGE_SIZE", "page_size"),
		httpapi.Get(at+"?page_size=-1", 400, "BAD_PAGE_SIZE", "page_size"),
		httpapi.Get(at+"?page_token=AAAA", 400, "BAD_PAGE_TOKEN", "page_token"),
		httpapi.Get(at+"?slots=24", 400, "UNKNOWN_PARAMETER", "slots"),
		httpapi.Get(at+"?stat=draft", 400, "UNKNOWN_PARAMETER", "stat"),
	))
	bill := "/v1/windings/" + record + "/materials"
	httpapi.Refuse(t, s.Host, append(append(httpapi.WrongMethods(bill), httpapi.StrangeQueries(bill)...),
		httpapi.Get(bill+"?cuff_mm=-1", 422, jsonin.CodeRange, "cuff_mm"),
		httpapi.Get(bill+"?cuff_mm=1e3", 422, jsonin.CodeRange, "cuff_mm"),
		httpapi.Get(bill+"?cuff_mm=six", 400, "NOT_A_NUMBER", "cuff_mm"),
		httpapi.Get(bill+"?cuff=6", 400, "UNKNOWN_PARAMETER", "cuff"),
		httpapi.Get(bill+"?wire_waste_pct=101", 422, jsonin.CodeRange, "wire_waste_pct"),
		httpapi.Get(bill+"?wire_waste_pct=7&wire_waste_pct=8", 400, "REPEATED_PARAMETER", "wire_waste_pct"),
		httpapi.Get(bill+"?sleeve_joint_mm=1", 422, jsonin.CodeRange, "sleeve_joint_mm"),
		httpapi.Get(bill+"?lacing_factor=0", 422, jsonin.CodeRange, "lacing_factor"),
		httpapi.Get(bill+"?lacing_factor=NaN", 400, "NOT_A_NUMBER", "lacing_factor"),
		httpapi.Get(bill+"?sheet_waste_pct=", 400, "NOT_A_NUMBER", "sheet_waste_pct"),
	))
}
