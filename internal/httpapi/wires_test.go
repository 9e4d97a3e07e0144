package httpapi

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"statorbook/internal/jsonin"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

func wiresOf(t *testing.T, h *host, target string) (list struct {
	Items []wireView `json:"items"`
	pageEnd
}) {
	t.Helper()
	a := h.Ask(t, "GET", target, "")
	require.Equal(t, http.StatusOK, a.StatusCode, "%s: %s", target, a.text)
	a.JSON(t, &list)
	return list
}

func TestGetWire(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	var v wireView
	a := h.Ask(t, "GET", "/v1/wires/awg-20", "")
	a.JSON(t, &v)
	// ASTM B258: AWG 20 is 0.0320 in.
	require.Equal(t, "0.8128", v.Conductor.Diameter.Digits())
	require.InDelta(t, 0.5189, v.Conductor.Area, 5e-5)
	require.Equal(t, string(wire.AnnealedCopper), v.Resistance.Convention)
	require.Nil(t, v.Resistance.At)
	require.NotEmpty(t, v.Sources)
	require.Equal(t, `"`+v.ETag+`"`, a.Header.Get("ETag"))
	require.Equal(t, cacheReference[0], a.Header.Get("Cache-Control"))

	h.Ask(t, "GET", "/v1/wires/awg-20?temperature_c=75&units=inch_pound&build=heavy&material=aluminium", "").JSON(t, &v)
	require.Equal(t, string(wire.AluminiumEC), v.Resistance.Convention)
	require.InDelta(t, 75, v.Resistance.At.Temperature, 0)
	// K = 225 for aluminium: (225+75)/(225+20).
	require.InDelta(t, v.Resistance.Ohms.Nominal*300/245, v.Resistance.At.Nominal, 1e-3)
	require.InDelta(t, 0.032, v.InchPound.Diameter, 1e-12)
	require.InDelta(t, 1024, v.InchPound.Area, 1e-9)
	require.Len(t, v.Covered, 1)
	require.Equal(t, string(wire.Heavy), v.Covered[0].Build)
}

// The tag of a representation changes with what was asked for; the one in the body is the row's.
func TestWireTags(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	seen := map[string]string{}
	for _, query := range []string{"", "?material=aluminium", "?units=inch_pound", "?temperature_c=75", "?temperature_c=76", "?build=heavy"} {
		a := h.Ask(t, "GET", "/v1/wires/awg-20"+query, "")
		var v wireView
		a.JSON(t, &v)
		require.Equal(t, `"`+v.ETag+`"` == a.Header.Get("ETag"), query == "")
		require.Empty(t, seen[a.Header.Get("ETag")], "%s and %s share a tag", query, seen[a.Header.Get("ETag")])
		seen[a.Header.Get("ETag")] = "x" + query
		again := h.Ask(t, "GET", "/v1/wires/awg-20"+query, "", "If-None-Match: "+a.Header.Get("ETag"))
		require.Equal(t, http.StatusNotModified, again.StatusCode)
		require.Empty(t, again.text)
	}
}

func TestListWires(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for target, want := range map[string][]string{
		"/v1/wires?system=awg&size=4%2F0":                                       {"awg-4-0"},
		"/v1/wires?system=awg&size=0000":                                        {"awg-4-0"},
		"/v1/wires?system=awg&size=4-0":                                         {"awg-4-0"},
		"/v1/wires?system=awg&size=AWG+4/0":                                     {"awg-4-0"},
		"/v1/wires?system=swg&size=4/0":                                         {"swg-4-0"},
		"/v1/wires?size=7/0":                                                    {"swg-7-0"},
		"/v1/wires?size=0.5":                                                    {"metric-0.500"},
		"/v1/wires?size=0.500":                                                  {"metric-0.500"},
		"/v1/wires?size=56":                                                     {"awg-56"},
		"/v1/wires?system=metric&size=0.500&build=single":                       {},
		"/v1/wires?system=swg&min_diameter_mm=1&max_diameter_mm=1.1":            {"swg-19"},
		"/v1/wires?min_diameter_mm=24":                                          {},
		"/v1/wires?system=metric&min_diameter_mm=0.5&max_diameter_mm=0.500":     {"metric-0.500"},
		"/v1/wires?system=awg&min_diameter_mm=1e0&max_diameter_mm=1.03&size=18": {"awg-18"},
	} {
		list := wiresOf(t, h, target)
		ids := []string{}
		for _, v := range list.Items {
			ids = append(ids, v.ID)
		}
		require.Equal(t, want, ids, target)
		require.Empty(t, list.Token)
	}
}

// Walking the list at any page size gives every size once, in one order, and the same bytes as the look-up.
func TestWirePages(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	snap, err := seedSnapshot()
	require.NoError(t, err)
	for _, size := range []int{1, 7, 50, 200} {
		var ids []string
		target := "/v1/wires?page_size=" + strconv.Itoa(size)
		for target != "" {
			list := wiresOf(t, h, target)
			require.LessOrEqual(t, len(list.Items), size)
			for _, v := range list.Items {
				ids = append(ids, v.ID)
				if size == 200 {
					var one wireView
					h.Ask(t, "GET", "/v1/wires/"+v.ID, "").JSON(t, &one)
					require.Equal(t, one, v)
				}
			}
			target = list.Next
		}
		require.Len(t, ids, snap.Wires.Len())
		for i, s := range snap.Wires.All() {
			require.Equal(t, s.ID, ids[i])
		}
	}
	a := h.Ask(t, "GET", "/v1/wires?system=awg&page_size=2", "")
	require.Regexp(t, `^</v1/wires\?page_size=2&system=awg&page_token=[A-Za-z0-9_-]+>; rel="next"$`, a.Header.Get("Link"))
}

func TestWireRows(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	snap, err := seedSnapshot()
	require.NoError(t, err)

	a := h.Ask(t, "GET", "/v1/wires", "", "Accept: text/csv")
	require.Equal(t, "text/csv; charset=utf-8; header=present", a.Header.Get("Content-Type"))
	require.Contains(t, a.Header.Get("Vary"), "Accept")
	rows, err := csv.NewReader(bytes.NewReader(a.text)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, snap.Wires.Len()+1)
	require.NotContains(t, rows[0], "diameter_in")
	at := func(name string) int {
		for i, n := range rows[0] {
			if n == name {
				return i
			}
		}
		t.Fatalf("no column %s", name)
		return 0
	}
	for i, s := range snap.Wires.All() {
		require.Equal(t, s.ID, rows[i+1][at("id")])
		require.Equal(t, s.Text, rows[i+1][at("diameter_mm")])
		for _, cell := range rows[i+1] {
			require.False(t, cell != "" && strings.ContainsRune("=+@", rune(cell[0])), "a formula: %s", cell)
		}
		if s.DiameterMin == 0 {
			require.Empty(t, rows[i+1][at("diameter_min_mm")])
		}
	}

	a = h.Ask(t, "GET", "/v1/wires?system=awg&columns=diameter_in,id&size=20", "", "Accept: text/csv")
	require.Equal(t, "diameter_in,id\r\n0.032,awg-20\r\n", string(a.text))
	a = h.Ask(t, "GET", "/v1/wires?system=awg&columns=id,diameter_in,area_cmil&size=20", "", "Accept: application/x-ndjson")
	require.JSONEq(t, `{"id":"awg-20","diameter_in":0.032,"area_cmil":1024}`, string(a.text))
	a = h.Ask(t, "GET", "/v1/wires?units=inch_pound&temperature_c=75", "", "Accept: text/csv")
	require.Contains(t, string(a.text), "temperature_c,ohm_per_km_at,diameter_in,area_cmil,ohm_per_1000ft,lb_per_1000ft\r\n")

	a = h.Ask(t, "GET", "/v1/wires", "", "Accept: application/x-ndjson")
	lines := bytes.Split(bytes.TrimSpace(a.text), []byte("\n"))
	require.Len(t, lines, snap.Wires.Len())
	for i, s := range snap.Wires.All() {
		var v wireView
		require.NoError(t, json.Unmarshal(lines[i], &v))
		require.Equal(t, s.ID, v.ID)
	}
}

// The rows come by pages as the JSON list does, when a page is asked for.
func TestWireRowsByPages(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wires?system=awg&columns=id"
	for _, format := range []string{"text/csv", "application/x-ndjson"} {
		whole := h.Ask(t, "GET", at, "", "Accept: "+format)
		require.Empty(t, whole.Header["Link"])
		var joined string
		for next := at + "&page_size=25"; next != ""; {
			a := h.Ask(t, "GET", next, "", "Accept: "+format)
			require.Equal(t, 200, a.StatusCode, a.Text())
			text := a.Text()
			if joined != "" {
				text = strings.TrimPrefix(text, "id\r\n")
			}
			joined += text
			next, _, _ = strings.Cut(strings.TrimPrefix(a.Header.Get("Link"), "<"), ">")
		}
		require.Equal(t, whole.Text(), joined)
	}
}

func TestGuard(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"": "", "abc": "abc", "=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@a": "'@a", "\ta": "'\ta", "\ra": "'\ra", "'a": "'a", "ä": "ä",
	} {
		require.Equal(t, want, guard(in))
	}
}

func TestSixDigits(t *testing.T) {
	t.Parallel()
	for in, want := range map[float64]float64{0: 0, 1.2345678: 1.23457, 123456789: 123457000, 1e-9: 1e-9, -2.0000004: -2, 0.1 + 0.2: 0.3} {
		require.InDelta(t, want, sixDigits(in), 0)
	}
}

func TestWiresHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wires"
	rows := append(wrongMethods(at), strangeQueries(at)...)
	refuse(t, h, append(rows,
		get(at+"?system=AWG", 400, jsonin.CodeValue, "system"),
		get(at+"?system=b%26s", 400, jsonin.CodeValue, "system"),
		get(at+"?sytem=awg", 400, codeUnknownParameter, "sytem"),
		get(at+"?system=awg&system=swg", 400, codeRepeated, "system"),
		get(at+"?system=awg&size=99", 422, wire.CodeUnknownSize, "size"),
		get(at+"?system=awg&size=AWG+99", 422, wire.CodeUnknownSize, "size"),
		get(at+"?size=12", 422, wire.CodeAmbiguousSize, "size"),
		get(at+"?size=4/0", 422, wire.CodeAmbiguousSize, "size"),
		get(at+"?size=gauge+12", 422, wire.CodeUnknownSystem, "size"),
		get(at+"?system=awg&size=-1", 422, wire.CodeBadSize, "size"),
		get(at+"?system=awg&size=012", 422, wire.CodeBadSize, "size"),
		get(at+"?system=awg&size=00/0", 422, wire.CodeBadSize, "size"),
		get(at+"?system=swg&size=AWG+4", 422, wire.CodeBadSize, "size"),
		get(at+"?system=metric&size=0,5", 422, wire.CodeBadSize, "size"),
		get(at+"?size="+strings.Repeat("9", 33), 400, jsonin.CodeTextLength, "size"),
		get(at+"?size=", 400, jsonin.CodeTextLength, "size"),
		get(at+"?size=%00", 400, codeText, "size"),
		get(at+"?size=1%0A2", 400, codeText, "size"),
		get(at+"?build=grade_4", 400, jsonin.CodeValue, "build"),
		get(at+"?material=silver", 400, jsonin.CodeValue, "material"),
		get(at+"?units=furlong", 400, jsonin.CodeValue, "units"),
		get(at+"?min_diameter_mm=abc", 400, codeNumber, "min_diameter_mm"),
		get(at+"?min_diameter_mm=NaN", 400, codeNumber, "min_diameter_mm"),
		get(at+"?min_diameter_mm=1e400", 400, jsonin.CodeOverflow, "min_diameter_mm"),
		get(at+"?min_diameter_mm=1e-400", 400, jsonin.CodeUnderflow, "min_diameter_mm"),
		get(at+"?min_diameter_mm=-1", 422, jsonin.CodeRange, "min_diameter_mm"),
		get(at+"?max_diameter_mm=1180", 422, jsonin.CodeRange, "max_diameter_mm"),
		get(at+"?min_diameter_mm=2&max_diameter_mm=1", 422, codeWindow, "min_diameter_mm"),
		get(at+"?temperature_c=-51", 422, jsonin.CodeRange, "temperature_c"),
		get(at+"?temperature_c=5000", 422, jsonin.CodeRange, "temperature_c"),
		get(at+"?temperature_c=", 400, codeNumber, "temperature_c"),
		get(at+"?page_size=0", 400, codePageSize, "page_size"),
		get(at+"?page_size=201", 400, codePageSize, "page_size"),
		get(at+"?page_size=1.5", 400, jsonin.CodeInteger, "page_size"),
		get(at+"?page_token=AAAA", 400, codePageToken, "page_token"),
		get(at+"?page_token=", 400, codePageToken, "page_token"),
		get(at+"?columns=id", 400, codeNotHere, "columns"),
		get(at+"?columns=id,id", 400, codeRepeatedItem, "columns", "Accept: text/csv"),
		get(at+"?columns=price", 400, jsonin.CodeValue, "columns", "Accept: text/csv"),
		get(at+"?page_size=201", 400, codePageSize, "page_size", "Accept: text/csv"),
		get(at+"?page_token=AAAA", 400, codePageToken, "page_token", "Accept: application/x-ndjson"),
	))
	// A token of one list does not open another.
	token := wiresOf(t, h, at+"?system=awg&page_size=2").Token
	refuseOne(t, h, get(at+"?system=swg&page_size=2&page_token="+token, 400, codePageToken, "page_token"))
	refuseOne(t, h, get(at+"?page_size=2&page_token="+token, 400, codePageToken, "page_token"))
	// What the detail says of an ambiguous gauge: both readings, as issue 3 asks.
	p := h.Ask(t, "GET", at+"?size=12", "").Problem(t)
	require.Contains(t, p.Detail, "2.642 mm")
	require.Contains(t, p.Detail, "2.05")
}

func TestWireHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wires/awg-20"
	rows := append(wrongMethods(at), strangeQueries(at)...)
	for _, id := range []string{"awg-99", "awg-0000", "AWG-20", "awg-20 ", "20", "awg", "awg-", "-", "swg-99", "metric-0.5", "metric-0.501", "bare-1",
		"\x00", "awg-20\x00", "..", "a'b--", strings.Repeat("a", 4000), "%2e", "ä", "\xff"} {
		rows = append(rows, get("/v1/wires/"+id, 404, codeUnknownID, "id"))
	}
	refuse(t, h, append(rows,
		get(at+"?system=awg", 400, codeUnknownParameter, "system"),
		get(at+"?build=", 400, jsonin.CodeValue, "build"),
		get(at+"?temperature_c=1e400", 400, jsonin.CodeOverflow, "temperature_c"),
		get(at+"?temperature_c=301", 422, jsonin.CodeRange, "temperature_c"),
		get(at+"?material=copper&material=copper", 400, codeRepeated, "material"),
		get("/v1/wires/awg-4/0", 404, "", ""),
	))
	for id, near := range map[string][]string{"awg-0000": {"awg-4-0"}, "awg-99": {"awg-55", "awg-56"}, "metric-0.5": {"metric-0.500"}, "AWG-20": {"awg-20"}} {
		p := h.Ask(t, "GET", "/v1/wires/"+id, "").Problem(t)
		require.ElementsMatch(t, near, p.Errors[0].Allowed, id)
	}
}

// refuseOne asserts one more refusal.
func refuseOne(t *testing.T, h *host, r hostile) {
	t.Helper()
	a := h.Ask(t, r.method, r.target, r.body, r.headers...)
	require.Equal(t, r.status, a.StatusCode, "%s", a.text)
	require.Equal(t, r.code, a.Problem(t).Errors[0].Code, "%s", a.text)
}
