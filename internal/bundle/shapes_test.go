package bundle

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/insulation"
	"statorbook/internal/jsonin"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// roundTrip writes a shape, reads it strictly, and gives what came back.
func roundTrip[T any](t require.TestingT, shape T) T {
	text, err := json.Marshal(shape)
	require.NoError(t, err)
	var back T
	require.NoError(t, jsonin.Decode(text, &back, jsonin.Line), string(text))
	again, err := json.Marshal(back)
	require.NoError(t, err)
	require.Equal(t, string(text), string(again), "writing is stable")
	return back
}

func TestWindingRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		w := drawWinding(t)
		require.Equal(t, w, roundTrip(t, WindingOf(w)).ToDomain())
	})
}

func TestFamilyRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := drawFamily(t)
		require.Equal(t, f, roundTrip(t, FamilyOf(f)).ToDomain())
	})
}

func TestSupplyRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := winding.Supply{Voltage: maybe(t, "volt", 0.1, 1e5), Frequency: maybe(t, "hertz", 0.1, 1e4), Phases: 3, Connection: winding.ConnDelta}
		require.Equal(t, s, roundTrip(t, SupplyOf(s)).ToDomain())
	})
}

func TestWireSizeRoundTrip(t *testing.T) {
	t.Parallel()
	// IEC 60317-0-1:2013, 0.500 mm: tolerance 0.005 mm, grade 2 overall at most 0.566 mm (seen).
	s := wire.Size{
		ID: "metric-0.500", System: wire.Metric, Size: "0.500", Text: "0.500", Diameter: 0.5, DiameterMin: 0.495, DiameterMax: 0.505, Evidence: "seen",
		Covers:     []wire.Cover{{Build: wire.Grade2, IncreaseMin: 0.045, OverallMax: 0.566, Evidence: "seen"}},
		PrintedMax: 89.59,
		Enamels:    []wire.Enamel{{Name: "polyesterimide", ThermalClass: "180", Source: "seen"}},
		Sources:    []wire.Source{{Title: "IEC 60317-0-1", Edition: "2013", Evidence: "seen"}},
	}
	shape := WireSizeOf(s, wire.Copper, nil)
	require.True(t, shape.Resistance.Printed)
	require.Equal(t, 89.59, shape.Resistance.Ohms.Max)
	require.Equal(t, s, roundTrip(t, shape).ToDomain())

	warm := unit.Celsius(75)
	at := WireSizeOf(s, wire.Aluminium, &warm)
	require.Equal(t, 75.0, at.Resistance.At.Temperature)
	require.Greater(t, at.Resistance.At.Nominal, at.Resistance.Ohms.Nominal)
	require.Equal(t, "aluminium", at.Material)
	require.NotContains(t, shape.Covered[0].Evidence, "copper")
	require.Contains(t, at.Covered[0].Evidence, "the table is for copper wire")
	require.Contains(t, at.Conductor.Evidence, "the table is for copper wire")
	require.Equal(t, []Enamel{{"polyesterimide", "200", "IEC 60317-89:2023, seen"}}, at.Enamels) // not the one of copper
}

func TestInsulationRoundTrip(t *testing.T) {
	t.Parallel()
	src := insulation.Source{Title: "IEC 60085", Evidence: "seen quoted", Kind: "standard_limit", Note: "n"}
	c := insulation.Class{Letter: "F", MaxHotSpot: 155, Rises: []insulation.RiseLimit{{Rise: 105, Scope: "s", Source: src}}, HotSpot: &insulation.Figure{Value: 10, Source: src}, Source: src}
	require.Equal(t, c, roundTrip(t, InsulationClassOf(c)).ToDomain())
	bare := insulation.Class{Letter: "Y", MaxHotSpot: 90, Rises: []insulation.RiseLimit{}, Source: src}
	require.Equal(t, bare, roundTrip(t, InsulationClassOf(bare)).ToDomain())
	m := insulation.Material{ID: "pressboard", Name: "pressboard", Use: "liner", ThermalClass: "Y 90", ThicknessMin: 0.13, ThicknessMax: 0.5, Source: src}
	require.Equal(t, m, roundTrip(t, InsulatingMaterialOf(m)).ToDomain())
}

func TestWireWithoutSystem(t *testing.T) {
	t.Parallel()
	var w Wire
	require.NoError(t, jsonin.Decode([]byte(`{"diameter_mm":0.36,"conductor":"copper","strands":1}`), &w, jsonin.Single))
	require.Equal(t, wire.Bare, w.ToDomain().System)
	w = Wire{}
	require.NoError(t, jsonin.Decode([]byte(`{"size":"34","conductor":"copper","strands":1}`), &w, jsonin.Single))
	require.Equal(t, wire.System(""), w.ToDomain().System, "a gauge number alone belongs to several systems")
}

func TestCoilSetTellsItsCoilsOnce(t *testing.T) {
	t.Parallel()
	read := func(text string) error {
		var s Scheme
		return jsonin.Decode([]byte(`{"coil_sets":[`+text+`]}`), &s, jsonin.Single)
	}
	require.NoError(t, read(`{"role":"main","wires":[],"coils":[{"in":1,"out":4,"turns":100}]}`))
	require.NoError(t, read(`{"role":"main","wires":[],"pattern":{"kind":"lap"}}`))
	require.ErrorContains(t, read(`{"role":"main","wires":[]}`), "/coil_sets/0/pattern")
	require.ErrorContains(t, read(`{"role":"main","wires":[],"coils":[{"in":1,"out":4,"turns":100}],"pattern":{}}`), "not both")
	require.ErrorContains(t, read(`{"wires":[],"pattern":{}}`), "/coil_sets/0/role")
	require.ErrorContains(t, read(`{"role":"main","pattern":{}}`), "/coil_sets/0/wires")
	require.ErrorContains(t, read(`{"role":"main","wires":[{"size":"34"}],"pattern":{}}`), "/coil_sets/0/wires/0/conductor")
	require.ErrorContains(t, read(`{"role":"main","wires":[],"pattern":{"turns":[-1]}}`), "/coil_sets/0/pattern/turns/0")
	require.ErrorContains(t, read(`5`), "an object is needed")
}

// What a request writes can never carry what the server sets (reliability row S3).
func TestSheetTakesNothingOfTheServer(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"id", "slug", "revision", "state", "status", "etag", "institute", "institute_id", "created_at", "modified_at",
		"vetter", "author", "vetter_person_id", "author_person_id", "times_seen", "findings", "withdrawn_reason", "corrected_for", "content_hash", "imported", "body", "Remarks"} {
		require.Error(t, jsonin.Decode([]byte(`{"`+name+`":null}`), &Sheet{}, jsonin.Single), name)
		require.Error(t, jsonin.Decode([]byte(`{"`+name+`":null}`), &Lamination{}, jsonin.Single), name)
	}
}

func TestRangeShape(t *testing.T) {
	t.Parallel()
	text, err := json.Marshal(Range(unit.Range{P05: 1, P50: 2, P95: 3}))
	require.NoError(t, err)
	require.Equal(t, `{"p05":1,"p50":2,"p95":3}`, string(text))
}
