package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

func TestPoolValue(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		in     []float64
		want   float64
		shared bool
	}{
		{"majority", []float64{60, 60.1, 60, 60}, 60, true},
		{"a gross error is outvoted", []float64{47.4, 474, 47.4}, 47.4, true},
		{"none shared: median", []float64{81.8, 81.9, 82.4}, 81.9, false},
		{"two equals: median", []float64{81.8, 81.8, 81.9, 81.9}, 81.85, false},
		{"single", []float64{12}, 12, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, shared := poolValue(c.in)
			require.InDelta(t, c.want, got, 1e-9)
			require.Equal(t, c.shared, shared)
		})
	}
	got, shared := poolValue(nil)
	require.True(t, math.IsNaN(got))
	require.False(t, shared)
}

// TestLearnCatalogueSD: without deviations the prior; with many, their own scatter, within a factor 3.
func TestLearnCatalogueSD(t *testing.T) {
	t.Parallel()
	require.Equal(t, 0.05, learnCatalogueSD(0.05, nil))
	wide, narrow := make([]float64, 400), make([]float64, 400)
	for i := range wide {
		wide[i], narrow[i] = 0.3, 0.03
	}
	require.InDelta(t, 0.15, learnCatalogueSD(0.05, wide), 0.01) // 0.3/1.1/√2 = 0.19, held at 3 × prior
	require.Less(t, learnCatalogueSD(0.05, narrow), 0.03)
	require.GreaterOrEqual(t, learnCatalogueSD(0.05, narrow), catFloor)
}

// demoCore is the worked stator of the physics page, as an inside-rotor core.
func demoCore() stator.Core {
	return stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(66), BackDiameter: unit.Of(112), StackLength: unit.Of(45), ToothWidth: unit.Of(4.1),
		SlotDepth: unit.Of(11.5), SlotOpening: unit.Of(2.2), BackIron: unit.Of(11.5), SlotArea: unit.Of(68), SlotAreaBasis: stator.AreaNet}
}

// TestPooling: dimensions belong to the lamination, the stack to the core; a record alone makes both.
func TestPooling(t *testing.T) {
	t.Parallel()
	b := NewBuilder(testWires())
	for i, gap := range []float64{66, 66, 66.1, 660} {
		c := demoCore()
		c.GapDiameter = unit.Of(gap)
		c.StackLength = unit.Of([]float64{45, 45, 60, 60.2}[i])
		core := []string{"c45", "c45", "c60", "c60"}[i]
		b.AddRecord(RecordEntry{ID: formatFloat(float64(i)), CoreID: core, FamilyID: "f", CoreAsMeasured: &c, TimesSeen: 3})
	}
	b.AddFamily(FamilyEntry{ID: "f", Cores: []CoreEntry{{ID: "c45"}, {ID: "c90", StackLength: unit.Of(90)}}})
	x := b.Build()
	st := x.Stats()
	require.Equal(t, []int{1, 3, 4}, []int{st.Families, st.Cores, st.Records})
	require.Positive(t, st.Bytes)
	require.InDelta(t, 66, x.lam.value(0, dGap), 1e-5)
	lengths := map[string]float64{}
	for c := range x.core.stack {
		lengths[x.core.ids.at(uint32(c))] = x.core.length(c)
	}
	require.InDelta(t, 45, lengths["c45"], 1e-5)
	require.InDelta(t, 60.1, lengths["c60"], 1e-5)
	require.InDelta(t, 90, lengths["c90"], 1e-5)
	require.InDelta(t, 14, x.total, 1e-6) // times seen + ½ each
}

// TestGrossDimensionsAreSetAside: a lamination whose tooth is ten times too wide keeps its other
// dimensions; several that fail together point at the gap.
func TestGrossDimensionsAreSetAside(t *testing.T) {
	t.Parallel()
	var lams []lamRow
	for i := range 60 {
		v := measuredVec(ptr(demoCore()))
		for d := range v {
			v[d] *= 1 + 0.03*noise(60*d+i)
		}
		lams = append(lams, lamRow{v: v, slots: 24, poles: 4, rotor: rotorInside})
	}
	lams[7].v[dTooth] *= 10
	lams[9].v[dGap] *= 10
	learnChain(lams)
	require.True(t, math.IsNaN(lams[7].v[dTooth]))
	require.False(t, math.IsNaN(lams[7].v[dGap]))
	require.True(t, math.IsNaN(lams[9].v[dGap]))
	require.False(t, math.IsNaN(lams[9].v[dTooth]))
	set := 0
	for i := range lams {
		for d := range nLam {
			if math.IsNaN(lams[i].v[d]) && d < nScan {
				set++
			}
		}
	}
	require.LessOrEqual(t, set, 4)
}

func ptr[T any](v T) *T { return &v }

// TestImputation: back iron follows by closure where depth and back diameter are known.
func TestImputation(t *testing.T) {
	t.Parallel()
	c := learnChain(nil)[rotorInside]
	require.True(t, c.closed)
	v := measuredVec(ptr(demoCore()))
	v[dYoke], v[dOpening] = math.NaN(), math.NaN()
	full, known, closed := c.impute(&lamRow{v: v, slots: 24, poles: 4, rotor: rotorInside})
	require.InDelta(t, (112.0-66)/2-11.5, full[dYoke], 1e-9)
	require.Equal(t, uint16(1), closed>>dYoke&1)
	require.Equal(t, uint16(0), known>>dYoke&1)
	require.InDelta(t, 2.3, full[dOpening], 0.2)
	for d := range nScan {
		require.Positive(t, full[d])
	}
}
