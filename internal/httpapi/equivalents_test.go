package httpapi

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"statorbook/internal/errs"
	"statorbook/internal/jsonin"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

const swg34 = `{"system":"swg","size":"34","conductor":"copper","strands":1}`

func TestEquivalents(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/wire-equivalents", `{"from":`+swg34+`,"to":{"systems":["metric"],"max_strands":1},"limit":3}`)
	require.Len(t, a.List(t, "items"), 3)
	require.Equal(t, "34", a.At(t, "from", "size"))
	// SWG 34 is 0.0092 in = 0.23368 mm; the nearest preferred size is 0.236 mm, 2 % more area.
	require.Equal(t, "0.236", a.At(t, "items", 0, "wires", 0, "size"))
	require.InDelta(t, 100*(0.236*0.236/(0.23368*0.23368)-1), a.Number(t, "items", 0, "area_error_pct"), 1e-3)
	require.NotEmpty(t, a.At(t, "items", 0, "rank_reason"))
	require.Nil(t, a.At(t, "items", 0, "overall_mm", 0), "no build was given")

	a = h.Ask(t, "POST", "/v1/wire-equivalents", `{"from":{"system":"swg","size":"34","conductor":"copper","strands":1,"build":"grade_2","thermal_class":"F"},"to":{"conductor":"aluminium","mixed":true}}`)
	require.Positive(t, a.Number(t, "items", 0, "slot_area_ratio", "square"))
	// Aluminium for equal resistance: 1.64 times the area, half the mass (common practice).
	require.InDelta(t, 0.5, a.Number(t, "items", 0, "mass_ratio"), 0.03)
	require.InDelta(t, 1, a.Number(t, "items", 0, "resistance_ratio"), 0.05)
}

// A size whose text names its system needs no other name for it.
func TestEquivalentsOfASizeInWords(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	want := h.Ask(t, "POST", "/v1/wire-equivalents", `{"from":`+swg34+`}`).List(t, "items")
	for _, size := range []string{"34 SWG", "SWG 34", "swg34"} {
		require.Equal(t, want, h.Ask(t, "POST", "/v1/wire-equivalents", `{"from":{"size":"`+size+`","conductor":"copper","strands":1}}`).List(t, "items"))
	}
}

// The one-line form gives the same answer as the body that says the same.
func TestEquivalentsOneLine(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for query, body := range map[string]string{
		"":                                  `{"from":` + swg34 + `}`,
		"?systems=awg,metric&max_strands=2": `{"from":` + swg34 + `,"to":{"systems":["awg","metric"],"max_strands":2}}`,
		"?mixed=true&limit=5&conductor=aluminium": `{"from":` + swg34 + `,"to":{"mixed":true,"conductor":"aluminium"},"limit":5}`,
		"?build=grade_2&builds=grade_1&strands=2": `{"from":{"system":"swg","size":"34","conductor":"copper","strands":2,"build":"grade_2"},"to":{"builds":["grade_1"]}}`,
		"?material=aluminium":                     `{"from":{"system":"swg","size":"34","conductor":"aluminium","strands":1}}`,
	} {
		get, post := h.Ask(t, "GET", "/v1/wires/swg-34/equivalents"+query, ""), h.Ask(t, "POST", "/v1/wire-equivalents", body)
		require.Equal(t, http.StatusOK, get.StatusCode, "%s", get.text)
		require.Equal(t, string(post.text), string(get.text), query)
		require.Equal(t, http.StatusNotModified, h.Ask(t, "GET", "/v1/wires/swg-34/equivalents"+query, "", "If-None-Match: "+get.Header.Get("ETag")).StatusCode)
	}
}

// A batch answers each item as the single question is answered, in order; a bad item spoils only itself.
func TestEquivalentsBatch(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	items := []string{
		`{"from":` + swg34 + `,"limit":2}`, `{"from":{"system":"awg","size":"99","conductor":"copper","strands":1}}`, `{"form":1}`, `7`,
		`{"from":` + swg34 + `,"stock":[]}`, `{"from":{"system":"bare","diameter_mm":{"value":0.0142,"unit":"[in_i]"},"conductor":"copper","strands":1},"limit":1}`,
	}
	var v struct {
		Results []struct {
			Status  int
			Result  json.RawMessage
			Problem *Problem
		}
	}
	a := h.Ask(t, "POST", "/v1/wire-equivalents/batch", `{"items":[`+strings.Join(items, ",")+`]}`)
	require.NoError(t, json.Unmarshal(a.text, &v))
	require.Len(t, v.Results, len(items))
	for i, item := range items {
		single := h.Ask(t, "POST", "/v1/wire-equivalents", item)
		require.Equal(t, single.StatusCode, v.Results[i].Status, item)
		if single.StatusCode == http.StatusOK {
			require.JSONEq(t, string(single.text), string(v.Results[i].Result))
			continue
		}
		want := single.Problem(t)
		require.Equal(t, want.Detail, v.Results[i].Problem.Detail)
		require.Equal(t, want.Errors[0].Code, v.Results[i].Problem.Errors[0].Code)
		require.Equal(t, *want.Errors[0].Pointer, *v.Results[i].Problem.Errors[0].Pointer, "pointers start at the item")
	}
}

// An empty stock and limits that nothing meets are answers with the reason, not errors.
func TestEquivalentsNone(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	for body, reason := range map[string]string{
		`{"from":` + swg34 + `,"stock":[]}`:                                                 wire.ExcludedStockEmpty,
		`{"from":` + swg34 + `,"limits":{"area_error_pct":{"low":5,"high":-5}}}`:            wire.ExcludedBandEmpty,
		`{"from":` + swg34 + `,"limits":{"max_bare_mm":0.001}}`:                             wire.ExcludedBare,
		`{"from":` + swg34 + `,"limits":{"area_error_pct":{"low":0.00001,"high":0.00002}}}`: wire.ExcludedArea,
	} {
		a := h.Ask(t, "POST", "/v1/wire-equivalents", body)
		require.Empty(t, a.List(t, "items"), body)
		require.Positive(t, a.Number(t, "excluded", reason), "%s: %s", body, a.text)
	}
}

func TestEquivalentsHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wire-equivalents"
	from := func(wire string) string { return `{"from":{` + wire + `}}` }
	with := func(rest string) string { return `{"from":` + swg34 + `,` + rest + `}` }
	refuse(t, h, append(brokenBodies(at, "limit"),
		post(at, `{}`, 400, jsonin.CodeRequired, "/from"),
		post(at, from(``), 400, jsonin.CodeRequired, "/from/conductor"),
		post(at, from(`"system":"awg","size":"20","conductor":"copper"`), 400, jsonin.CodeRequired, "/from/strands"),
		post(at, from(`"system":"awg","size":"20","conductor":"gold","strands":1`), 400, jsonin.CodeValue, "/from/conductor"),
		post(at, from(`"system":"AWG","size":"20","conductor":"copper","strands":1`), 400, jsonin.CodeValue, "/from/system"),
		post(at, from(`"system":"awg","size":20,"conductor":"copper","strands":1`), 400, jsonin.CodeType, "/from/size"),
		post(at, from(`"system":"awg","size":"99","conductor":"copper","strands":1`), 422, wire.CodeUnknownSize, "/from/size"),
		post(at, from(`"system":"awg","size":"00/0","conductor":"copper","strands":1`), 422, wire.CodeBadSize, "/from/size"),
		post(at, from(`"size":"12","conductor":"copper","strands":1`), 422, wire.CodeAmbiguousSize, "/from/system"),
		post(at, from(`"system":"bare","conductor":"copper","strands":1`), 422, wire.CodeBadDiameter, "/from/diameter_mm"),
		post(at, from(`"system":"bare","diameter_mm":0,"conductor":"copper","strands":1`), 422, jsonin.CodeRange, "/from/diameter_mm"),
		post(at, from(`"system":"bare","diameter_mm":99,"conductor":"copper","strands":1`), 422, wire.CodeBadDiameter, "/from/diameter_mm"),
		post(at, from(`"system":"bare","diameter_mm":1e400,"conductor":"copper","strands":1`), 400, jsonin.CodeOverflow, "/from/diameter_mm"),
		post(at, from(`"system":"bare","diameter_mm":1e-400,"conductor":"copper","strands":1`), 400, jsonin.CodeUnderflow, "/from/diameter_mm"),
		post(at, from(`"system":"bare","diameter_mm":{"value":1,"unit":"furlong"},"conductor":"copper","strands":1`), 400, jsonin.CodeUnit, "/from/diameter_mm/unit"),
		post(at, from(`"system":"bare","diameter_mm":"1","conductor":"copper","strands":1`), 400, jsonin.CodeType, "/from/diameter_mm"),
		post(at, from(`"system":"swg","size":"34","conductor":"copper","strands":0`), 422, jsonin.CodeRange, "/from/strands"),
		post(at, from(`"system":"swg","size":"34","conductor":"copper","strands":9`), 422, jsonin.CodeRange, "/from/strands"),
		post(at, from(`"system":"swg","size":"34","conductor":"copper","strands":1.5`), 400, jsonin.CodeInteger, "/from/strands"),
		post(at, from(`"system":"swg","size":"34","conductor":"copper","strands":1,"build":"thick"`), 400, jsonin.CodeValue, "/from/build"),
		post(at, from(`"system":"swg","size":"34","conductor":"copper","strands":1,"thermal_class":"Z9"`), 422, "UNKNOWN_CLASS", "/from/thermal_class"),
		post(at, with(`"to":{"systems":["swg","imperial"]}`), 400, jsonin.CodeValue, "/to/systems/1"),
		post(at, with(`"to":{"systems":"swg"}`), 400, jsonin.CodeType, "/to/systems"),
		post(at, with(`"to":{"systems":["swg","awg","metric","swg"]}`), 413, jsonin.CodeTooManyItems, "/to/systems"),
		post(at, with(`"to":{"max_strands":0}`), 422, jsonin.CodeRange, "/to/max_strands"),
		post(at, with(`"to":{"mixed":"yes"}`), 400, jsonin.CodeType, "/to/mixed"),
		post(at, with(`"to":{"max_strand":2}`), 400, jsonin.CodeUnknown, "/to/max_strand"),
		post(at, with(`"limits":{"max_bare_mm":-1}`), 422, jsonin.CodeRange, "/limits/max_bare_mm"),
		post(at, with(`"limits":{"area_error_pct":3}`), 400, jsonin.CodeType, "/limits/area_error_pct"),
		post(at, with(`"limits":{"min_thermal_class":"hot"}`), 422, "UNKNOWN_CLASS", "/limits/min_thermal_class"),
		post(at, with(`"limit":0`), 422, jsonin.CodeRange, "/limit"),
		post(at, with(`"limit":201`), 422, jsonin.CodeRange, "/limit"),
		post(at, with(`"stock":[{"system":"swg","size":"99","conductor":"copper","strands":1}]`), 422, wire.CodeUnknownSize, "/stock/0/size"),
		post(at, with(`"stock":[`+strings.TrimSuffix(strings.Repeat(swg34+",", 501), ",")+`]`), 413, jsonin.CodeTooManyItems, "/stock"),
		post(at, with(`"price":1`), 400, jsonin.CodeUnknown, "/price"),
	))
}

func TestEquivalentsBatchHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wire-equivalents/batch"
	many := func(n int) string { return `{"items":[` + strings.TrimSuffix(strings.Repeat("1,", n), ",") + `]}` }
	refuse(t, h, append(brokenBodies(at, "items"),
		post(at, `{}`, 400, jsonin.CodeRequired, "/items"),
		post(at, `{"items":{}}`, 400, jsonin.CodeType, "/items"),
		post(at, many(1001), 413, jsonin.CodeTooManyItems, "/items"),
		post(at, `{"items":[],"item":1}`, 400, jsonin.CodeUnknown, "/item"),
	))
	a := h.Ask(t, "POST", at, many(1000))
	require.Equal(t, http.StatusOK, a.StatusCode)
	require.JSONEq(t, `{"results":[]}`, string(h.Ask(t, "POST", at, `{"items":[]}`).text))
	// Size - 1, size, size + 1 (reliability row S5).
	for size, status := range map[int]int{batchMax - 1: 200, batchMax: 200, batchMax + 1: 413} {
		body := `{"items":[` + strings.Repeat(" ", size-len(`{"items":[]}`)) + `]}`
		require.Equal(t, status, h.Ask(t, "POST", at, body).StatusCode, size)
	}
}

// An item that is null is refused by itself, and every refusal names the request, as any problem does.
func TestEquivalentsBatchNull(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	a := h.Ask(t, "POST", "/v1/wire-equivalents/batch", `{"items":[null,{"from":`+swg34+`,"limit":1}]}`)
	require.Equal(t, 200, a.StatusCode, a.Text())
	require.InDelta(t, 400, a.Number(t, "results", 0, "status"), 0)
	require.Equal(t, jsonin.CodeType, a.At(t, "results", 0, "problem", "errors", 0, "code"))
	require.Equal(t, a.Header.Get("X-Request-Id"), a.At(t, "results", 0, "problem", "request_id"))
	require.InDelta(t, 200, a.Number(t, "results", 1, "status"), 0)
}

func TestOneLineHostile(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	const at = "/v1/wires/swg-34/equivalents"
	rows := append(wrongMethods(at), strangeQueries(at)...)
	refuse(t, h, append(rows,
		get("/v1/wires/awg-99/equivalents", 404, codeUnknownID, "id"),
		get("/v1/wires/\x00/equivalents", 404, codeUnknownID, "id"),
		get("/v1/wires//equivalents", 404, "", ""),
		get(at+"?systems=imperial", 400, jsonin.CodeValue, "systems"),
		get(at+"?systems=awg,awg", 400, codeRepeatedItem, "systems"),
		get(at+"?systems=", 400, jsonin.CodeValue, "systems"),
		get(at+"?systems=awg&systems=swg", 400, codeRepeated, "systems"),
		get(at+"?max_strands=0", 422, jsonin.CodeRange, "max_strands"),
		get(at+"?max_strands=9", 422, jsonin.CodeRange, "max_strands"),
		get(at+"?max_strands=two", 400, jsonin.CodeInteger, "max_strands"),
		get(at+"?mixed=yes", 400, jsonin.CodeValue, "mixed"),
		get(at+"?limit=1000", 422, jsonin.CodeRange, "limit"),
		get(at+"?strands=1e9", 400, jsonin.CodeInteger, "strands"),
		get(at+"?build=thick", 400, jsonin.CodeValue, "build"),
		get(at+"?material=gold", 400, jsonin.CodeValue, "material"),
		get(at+"?conductor=gold", 400, jsonin.CodeValue, "conductor"),
	))
}

// A fault of ours in one item is logged and leaves the other items alone.
func TestBatchFault(t *testing.T) {
	t.Parallel()
	h := newHost(t, seeded(t))
	s := &server{Config: h.config}
	for name, answer := range map[string]func(jsonin.Raw) (any, error){
		"unclassified": func(jsonin.Raw) (any, error) { return nil, fmt.Errorf("secret %d", 1) },
		"panic":        func(jsonin.Raw) (any, error) { panic("secret 2") },
		"NaN":          func(jsonin.Raw) (any, error) { return math.NaN(), nil },
	} {
		result := string(s.batchItem(faultContext(), jsonin.Raw{}, answer))
		require.Contains(t, result, `"status":500,"problem":`, name)
		require.NotContains(t, result, "secret", name)
	}
	require.Contains(t, h.log.String(), "secret 1")
	require.Contains(t, h.log.String(), "secret 2")
	result := s.batchItem(faultContext(), jsonin.Raw{}, func(jsonin.Raw) (any, error) {
		return nil, errs.New(errs.KindImpossible, "No.", errs.Field{Code: "A", Allowed: math.NaN()})
	})
	require.Contains(t, string(result), `"status":422`)
}
