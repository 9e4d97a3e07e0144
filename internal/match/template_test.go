package match

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestStandardScheme: the layout of common practice lies in every usual ring, in all phases alike, and makes poles: the
// winding factors of small machines run from 0.70 up (common practice, no source).
func TestStandardScheme(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		phases, poles, slots int
		second               bool
	}{
		{1, 2, 12, false}, {1, 2, 16, false}, {1, 2, 18, false}, {1, 2, 24, false}, {1, 4, 24, false}, {1, 4, 32, false}, {1, 4, 36, false}, {1, 6, 36, false}, {1, 8, 48, false},
		{1, 14, 14, false}, {1, 14, 14, true}, {1, 16, 16, true}, {1, 18, 18, true},
		{3, 2, 12, false}, {3, 2, 18, false}, {3, 2, 24, false}, {3, 4, 24, false}, {3, 4, 36, false}, {3, 6, 36, false}, {3, 4, 48, false}, {3, 8, 48, false}, {3, 6, 54, false},
	} {
		t.Run(fmt.Sprintf("%d phases, %d poles, %d slots, %v", c.phases, c.poles, c.slots, c.second), func(t *testing.T) {
			t.Parallel()
			core := stator.Core{Slots: c.slots, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(70), StackLength: unit.Of(40), SlotDepth: unit.Of(12)}
			if c.second {
				core.RotorPosition, core.SecondRing = stator.RotorOutside, &stator.Ring{Slots: c.slots, SlotDepth: unit.Of(8)}
			}
			s := standardScheme(c.phases, c.poles, c.slots, c.second)
			require.Equal(t, c.poles, s.Poles)
			require.Len(t, s.CoilSets, map[int]int{1: 2, 3: 3}[c.phases])
			sets, _, err := winding.ExpandScheme(s, core)
			require.NoError(t, err)
			for i := range sets {
				kw, _ := winding.FactorOfSet(s.CoilSets[i], sets[i], c.poles, core, 1)
				require.Greater(t, kw, 0.7)
				require.Equal(t, len(sets[0]) > 0, len(sets[i]) > 0)
				if c.phases == 3 {
					require.Len(t, sets[i], c.slots/3, "double layer")
					first, _ := winding.FactorOfSet(s.CoilSets[0], sets[0], c.poles, core, 1)
					require.InDelta(t, first, kw, 1e-9, "phases alike")
				}
			}
		})
	}
}

// TestTemplate: the pattern comes from the lamination's own record of the same phases and poles, the nearest in stack;
// without one from the nearest core of the kind; and from nobody where there is no such kind.
func TestTemplate(t *testing.T) {
	t.Parallel()
	on := func(family, core string, stack float64, poles int) func(*RecordEntry) {
		return func(e *RecordEntry) {
			e.FamilyID, e.CoreID, e.Scheme.Poles, e.Nameplate.Poles = family, core, poles, poles
			e.CoreAsMeasured.StackLength = unit.Of(stack)
			if family == "g" {
				e.CoreAsMeasured.GapDiameter, e.CoreAsMeasured.BackDiameter = unit.Of(60), unit.Of(106)
			}
		}
	}
	x := plainIndex(on("f", "c1", 30, 4), on("f", "c2", 60, 4), on("f", "c3", 61, 2), on("g", "c4", 61, 2), on("g", "c5", 40, 6))
	ids := func(c *context, phases, poles uint8) string {
		r := x.template(c, phases, poles, math.Log(600))
		if r < 0 {
			return ""
		}
		return x.recIDs.at(uint32(r))
	}
	here := context{lam: x.lamOf(x.coreOfRecord(0)), site: x.siteOf(x.coreOfRecord(0))}
	require.Equal(t, "0", ids(&here, 1, 4))
	here.site.stack = 58
	here.site.prepare()
	require.Equal(t, "1", ids(&here, 1, 4))
	require.Equal(t, "2", ids(&here, 1, 2), "its own, though another lamination has such a core")
	require.Equal(t, "4", ids(&here, 1, 6), "of another lamination")
	require.Empty(t, ids(&here, 3, 4))
	here.lam = -1
	require.Equal(t, "1", ids(&here, 1, 4))
}

// TestScaleTurns: whole turns, never less than one, in a copy.
func TestScaleTurns(t *testing.T) {
	t.Parallel()
	pattern := winding.CoilSet{Pattern: &winding.Pattern{Turns: []float64{100, 61, 1}}}
	before := pattern.Pattern
	scaleTurns(&pattern, 0.333)
	require.Equal(t, []float64{33, 20, 1}, pattern.Pattern.Turns)
	require.Equal(t, []float64{100, 61, 1}, before.Turns)
	coils := winding.CoilSet{Coils: []winding.Coil{{In: 1, Out: 6, Turns: 40}, {In: 7, Out: 12, Turns: 41}}}
	old := coils.Coils
	scaleTurns(&coils, 1.5)
	require.Equal(t, []float64{60, 62}, setTurns(&coils))
	require.Equal(t, 40.0, old[0].Turns)
}

// TestAreaOf: the main winding has the area of the box, the others the pattern's proportion of it: SWG 28 has
// (0.0148/0.020)² of the area of SWG 25 (Imperial Standard Wire Gauge). Where the pattern names no wire, the
// usual ratio.
func TestAreaOf(t *testing.T) {
	t.Parallel()
	x := plainIndex(nil)
	scheme := plainRecord("", nil).Scheme
	m := maker{x: x, template: scheme, box: &box{a: math.Log(0.2)}}
	require.InDelta(t, 0.2, m.areaOf(&scheme.CoilSets[0], 0, 0), 1e-12)
	require.InDelta(t, 0.2*sq(0.0148/0.020), m.areaOf(&scheme.CoilSets[1], 1, 0), 1e-4)
	m.lnAux = -auxStep
	require.InDelta(t, 0.2*sq(0.0148/0.020)*math.Exp(-auxStep), m.areaOf(&scheme.CoilSets[1], 1, 0), 1e-4)
	m.lnAux = 0
	bare := winding.CoilSet{Role: winding.Auxiliary, Wires: []wire.Wire{}}
	require.InDelta(t, 0.2*math.Exp(x.model.aux.area[rotorInside].mean), m.areaOf(&bare, 1, 0), 1e-12)
}
