package winding

import (
	"testing"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
)

// 0.1 V to 115 V asks for 1150 times the turns: 69,000 of a coil, which nobody winds.
func TestChangeRefusesTurnsThatNobodyWinds(t *testing.T) {
	t.Parallel()
	table, err := wire.NewTable(nil)
	require.NoError(t, err)
	bare := []wire.Wire{{System: wire.Bare, Diameter: unit.Of(0.5), Conductor: wire.Copper, Strands: 1}}
	for name, set := range map[string]CoilSet{
		"pattern": {Role: Main, Pattern: &Pattern{Kind: Concentric, Throws: []int{6, 4}, Turns: []float64{60, 40}, Groups: 4}, Wires: bare},
		"coils":   {Role: Main, Coils: []Coil{{In: 1, Out: 6, Turns: 60}}, Wires: bare},
	} {
		_, err := Rewind(ChangeInput{
			Nameplate: Nameplate{Voltage: unit.Of(0.1)}, Scheme: Scheme{Poles: 4, CoilSets: []CoilSet{set}}, Change: Change{Voltage: unit.Of(115)},
		}, table)
		var known *errs.Error
		require.ErrorAs(t, err, &known, name)
		require.Equal(t, errs.KindImpossible, known.Kind, name)
		require.Equal(t, "TURNS_OUT_OF_RANGE", known.Fields[0].Code, name)
		require.Equal(t, "69000", known.Fields[0].Got, name)
	}
}
