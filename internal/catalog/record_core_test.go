package catalog

import (
	"testing"

	"statorbook/internal/stator"
	"statorbook/internal/unit"

	"github.com/stretchr/testify/require"
)

func TestCoreOfRecord(t *testing.T) {
	t.Parallel()
	family := Family{
		Core: stator.Core{
			Phases: 1, Slots: 14, RotorPosition: stator.RotorOutside, GapDiameter: unit.Of(118), ToothWidth: unit.Of(5),
			SecondRing: &stator.Ring{Slots: 14, ToothWidth: unit.Of(4)},
		},
		Cores: []FamilyCore{{ID: "a", StackLength: unit.Of(16)}, {ID: "b", StackLength: unit.Of(22)}},
	}
	measured := stator.Core{
		Phases: 3, Slots: 15, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(117.8), StackLength: unit.Of(23), SlotArea: unit.Of(60),
		SlotAreaBasis: stator.AreaGross, SlotShape: stator.SlotRound, SecondRing: &stator.Ring{Slots: 13, ToothWidth: unit.Of(9), SlotDepth: unit.Of(8)},
	}
	for name, row := range map[string]struct {
		record Winding
		family *Family
		check  func(stator.Core)
	}{
		"the family speaks first, the measured core fills": {Winding{CoreID: "b", CoreAsMeasured: &measured}, &family, func(c stator.Core) {
			require.Equal(t, 1, c.Phases)
			require.Equal(t, 14, c.Slots)
			require.Equal(t, stator.RotorOutside, c.RotorPosition)
			require.InDelta(t, 118, c.GapDiameter.Value, 0)
			require.InDelta(t, 22, c.StackLength.Value, 0)
			require.InDelta(t, 60, c.SlotArea.Value, 0)
			require.Equal(t, stator.AreaGross, c.SlotAreaBasis)
			require.Equal(t, stator.SlotRound, c.SlotShape)
			require.Equal(t, 14, c.SecondRing.Slots)
			require.InDelta(t, 4, c.SecondRing.ToothWidth.Value, 0)
			require.InDelta(t, 8, c.SecondRing.SlotDepth.Value, 0)
		}},
		"a core that the family does not list": {Winding{CoreID: "c"}, &family, func(c stator.Core) { require.False(t, c.StackLength.Given) }},
		"no family":                            {Winding{CoreAsMeasured: &measured}, nil, func(c stator.Core) { require.Equal(t, measured, c) }},
		"nothing":                              {Winding{}, nil, func(c stator.Core) { require.Equal(t, stator.Core{}, c) }},
		"a ring that only the family has": {Winding{CoreAsMeasured: &stator.Core{Slots: 14}}, &family, func(c stator.Core) {
			require.Same(t, family.Core.SecondRing, c.SecondRing)
		}},
	} {
		t.Run(name, func(t *testing.T) { row.check(CoreOfRecord(row.record, row.family)) })
	}
	require.False(t, family.Core.SecondRing.SlotDepth.Given, "the family was changed")
}
