package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// twoProposals are two windings to try: SWG 33 (0.254 mm, BS 3737) and SWG 34 (0.2337 mm) in the main winding.
func twoProposals() []Proposal {
	span := func(v float64) unit.Range { return unit.Range{P05: v * 0.97, P50: v, P95: v * 1.03} }
	gauge := func(size string) []wire.Wire {
		return []wire.Wire{{System: wire.SWG, Size: size, Conductor: wire.Copper, Build: wire.Grade1, Strands: 1}}
	}
	of := func(main, auxiliary string, turns float64) Proposal {
		return Proposal{CoilSets: []ProposedSet{
			{Role: winding.Main, Wires: gauge(main), TurnsPerCoil: []unit.Range{span(turns), span(turns * 0.73)}, Mass: span(172)},
			{Role: winding.Auxiliary, Wires: gauge(auxiliary), TurnsPerCoil: []unit.Range{span(turns * 1.55)}, Mass: span(120)},
		}}
	}
	return []Proposal{of("33", "35", 332), of("34", "36", 360)}
}

// What was found in the core and fits no proposal is named with its place; what fits one of them is not.
func TestDisagreements(t *testing.T) {
	t.Parallel()
	proposals := twoProposals()
	given := func(v float64) unit.Measured { return unit.Of(v) }
	scrap := func(d float64, coating string, role winding.Role) Remains {
		return Remains{Wires: []ScrapWire{{Diameter: given(d), Coating: coating, Condition: "clean", Role: role}}}
	}
	coil := func(turns float64, role winding.Role) Remains {
		return Remains{Coils: []CoilCount{{Role: role, Turns: given(turns)}}}
	}
	for name, c := range map[string]struct {
		r     Remains
		field string // "" = it fits
	}{
		"the bare wire":                   {scrap(0.254, "bare", winding.Main), ""},
		"burnt thin":                      {scrap(0.249, "bare", winding.Main), ""},
		"over its enamel":                 {scrap(0.28, "over_enamel", winding.Main), ""},
		"of either winding":               {scrap(0.19, "unknown", ""), ""},
		"of another machine":              {scrap(1.5, "bare", winding.Main), "remains.wires[0].diameter_mm"},
		"of the other winding":            {scrap(0.19, "bare", winding.Main), "remains.wires[0].diameter_mm"},
		"a coil of the second":            {coil(360, winding.Main), ""},
		"a coil of the short throw":       {coil(242, winding.Main), ""},
		"a coil of nobody":                {coil(900, winding.Main), "remains.coils[0].turns"},
		"a coil of a third role":          {coil(900, winding.Speed), ""}, // no proposal speaks of it
		"copper of both":                  {Remains{CopperTotal: given(290)}, ""},
		"copper with a tenth lost":        {Remains{CopperTotal: given(262)}, ""},
		"ten times the copper":            {Remains{CopperTotal: given(2900)}, "remains.copper_mass_g.total"},
		"copper of both told as the main": {Remains{CopperMain: given(292)}, "remains.copper_mass_g.main"},
		"nothing usable":                  {Remains{CopperMain: given(0), Wires: []ScrapWire{{}}, Coils: []CoilCount{{}}}, ""},
	} {
		got := Disagreements(&c.r, proposals, testWires())
		if c.field == "" {
			require.Empty(t, got, name)
			continue
		}
		require.Len(t, got, 1, name)
		require.Equal(t, "remains_disagree", got[0].Code, name)
		require.Equal(t, []string{c.field}, got[0].Fields, name)
		require.True(t, got[0].Expected.Low <= got[0].Expected.Value && got[0].Expected.Value <= got[0].Expected.High, name)
	}
	require.Empty(t, Disagreements(nil, proposals, testWires()))
	far := scrap(1.5, "bare", "")
	require.Empty(t, Disagreements(&far, nil, testWires()), "without a proposal there is nothing to disagree with")
}

// TestDisagreementsTellTheUnit: what is said to a person has its unit on both figures.
func TestDisagreementsTellTheUnit(t *testing.T) {
	t.Parallel()
	r := Remains{Wires: []ScrapWire{{Diameter: unit.Of(1.5), Coating: "bare", Role: winding.Main}}, Coils: []CoilCount{{Role: winding.Main, Turns: unit.Of(900)}}, CopperTotal: unit.Of(2900)}
	got := Disagreements(&r, twoProposals(), testWires())
	require.Len(t, got, 3)
	for i, want := range []string{"of 1.5 mm fits none of the proposals, of which the nearest has 0.254 mm:", "a coil of 900 turns fits none of the proposals, of which the nearest has 360 turns:", "of 2900 g fits none of the proposals, of which the nearest has 292 g:"} {
		require.Contains(t, got[i].Message, want)
	}
}
