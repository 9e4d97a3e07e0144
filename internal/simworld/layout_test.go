package simworld

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// factors gives winding factor and axis of each set of a layout, and how many coil sides lie in each slot.
func factors(t *testing.T, sets []setLayout, slots, poles int, core stator.Core) (kw, axis []float64, sides map[winding.RingName][]int) {
	t.Helper()
	sides = map[winding.RingName][]int{winding.RingGap: make([]int, slots+1), winding.RingBack: make([]int, slots+1)}
	for _, s := range sets {
		set := winding.CoilSet{Role: s.role, Ring: s.ring, Pattern: &s.pattern}
		coils, assumed, err := winding.Expand(set, poles, core)
		require.NoError(t, err)
		require.Empty(t, assumed, "nothing is left open")
		k, a := winding.FactorOfSet(set, coils, poles, core, 1)
		kw, axis = append(kw, k), append(axis, a)
		for _, c := range coils {
			sides[s.ring][c.In]++
			sides[s.ring][c.Out]++
		}
	}
	return kw, axis, sides
}

// TestSingleLayouts holds layouts against those of the project's table of single-phase layouts
// (factors computed there by the phasor sum; the 24/4 layout is printed in NIMI CITS Electrician,
// trade theory volume 2, p. 196).
func TestSingleLayouts(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		name                    string
		slots, poles, main, aux int
		kwMain, kwAux           float64
		firstAux                int
	}{
		{"24/4 whole-coil main 1-6,2-5; start 4-9", 24, 4, 2, 1, 0.836516, 0.965926, 4},
		{"36/4 main equal turns spans 8,6,4,2; start 9,7,5", 36, 4, 4, 3, 0.708910, 0.901912, 5},
		{"16/4 main 1-4 pairs, start 3-6 pairs", 16, 4, 1, 1, 0.923880, 0.923880, 3},
		{"8/4 tooth-pair main 1-3, start 2-4", 8, 4, 1, 1, 1, 1, 2},
		{"12/2 main spans 5,3 equal; start span 5", 12, 2, 2, 1, 0.836516, 0.965926, 4},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			sets := singleLayout(row.slots, row.poles, row.main, row.aux, equalTurns)
			require.Equal(t, row.firstAux, sets[1].pattern.FirstSlot)
			kw, axis, _ := factors(t, sets, row.slots, row.poles, stator.Core{Slots: row.slots})
			require.InDelta(t, row.kwMain, kw[0], 1e-5)
			require.InDelta(t, row.kwAux, kw[1], 5e-3) // the table's 36/4 start has unequal turns
			require.InDelta(t, 90, winding.Displacement(axis[0], axis[1]), 1e-6)
		})
	}
}

// TestSingleLayoutsStandAtRightAngles runs through all pairs of slots and poles that are made.
func TestSingleLayoutsStandAtRightAngles(t *testing.T) {
	t.Parallel()
	for _, k := range kinds {
		if k.phases == 3 || k.twoRings {
			continue
		}
		for _, b := range k.builds {
			for n := range 40 {
				nMain, nAux := coilCounts(newDice(1, k.key, n), b.slots/b.poles, n%4 == 0)
				for _, grade := range []turnGrade{equalTurns, sineTurns, middleTurns} {
					kw, axis, sides := factors(t, singleLayout(b.slots, b.poles, nMain, nAux, grade), b.slots, b.poles, stator.Core{Slots: b.slots})
					require.InDelta(t, 90, winding.Displacement(axis[0], axis[1]), 1e-6, "%v", b)
					require.Greater(t, kw[0], 0.69)
					require.Greater(t, kw[1], 0.69)
					for _, n := range sides[winding.RingGap] {
						require.LessOrEqual(t, n, 3, "%v", b)
					}
				}
			}
		}
	}
}

// TestSineTurns: 36/4 with spans 8, 6, 4, 2 gives 34.73/30.54/22.67/12.06 % and kw 0.793 (the
// project's formula page, reproduced there).
func TestSineTurns(t *testing.T) {
	t.Parallel()
	p := concentric(8, 4, 4, 1, 36, 4, sineTurns)
	for i, share := range []float64{0.3473, 0.3054, 0.2267, 0.1206} {
		require.InDelta(t, share, p.Turns[i], 1e-4)
	}
	require.Equal(t, []int{9, 7, 5, 3}, p.Throws)
}

// TestRingLayouts: with one slot per pole in each ring, both factors are 1 and the axes 90 degrees
// apart, whole-coil and half-coil (the project's table of single-phase layouts).
func TestRingLayouts(t *testing.T) {
	t.Parallel()
	for _, slots := range []int{12, 14, 16, 18} {
		for _, half := range []bool{false, true} {
			core := stator.Core{Slots: slots, SecondRing: &stator.Ring{Slots: slots, TurnedSlots: typed("0.5")}}
			sets := ringLayout(newDice(1, "ring", slots), slots, half)
			kw, axis, sides := factors(t, sets, slots, slots, core)
			require.InDelta(t, 1, kw[0], 1e-9)
			require.InDelta(t, 1, kw[1], 1e-9)
			require.InDelta(t, 90, winding.Displacement(axis[0], axis[1]), 1e-6)
			wanted := 2
			if half {
				wanted = 1
			}
			for _, ring := range []winding.RingName{winding.RingGap, winding.RingBack} {
				for _, n := range sides[ring][1:] {
					require.Equal(t, wanted, n)
				}
			}
		}
	}
}

// TestThreeLayouts: phases 120 degrees apart, every slot used alike; factors of a full-pitch single
// layer are kd alone (24/4: 0.9659, T. Singh, examples 1.1 and 1.2, as quoted by the formula page).
func TestThreeLayouts(t *testing.T) {
	t.Parallel()
	kd := func(q float64) float64 { return math.Sin(math.Pi/6) / (q * math.Sin(math.Pi/6/q)) }
	for _, b := range kindOf(generalThreeKey).builds {
		for style, sidesWanted := range map[threeStyle]int{doubleLap: 2, wholeConcentre: 1, halfConcentre: 1} {
			sets := threeLayout(b.slots, b.poles, style, 1)
			if sets == nil {
				require.True(t, style == wholeConcentre && b.slots/b.poles%2 != 0 || style == wholeConcentre && (b.slots/(3*b.poles))%2 != 0 || style == halfConcentre && b.poles == 2, "%v %v", b, style)
				continue
			}
			kw, axis, sides := factors(t, sets, b.slots, b.poles, stator.Core{Slots: b.slots})
			for i := range kw {
				require.InDelta(t, kw[0], kw[i], 1e-9)
				require.InDelta(t, 120, winding.Displacement(axis[i], axis[(i+1)%3]), 1e-6)
			}
			for _, n := range sides[winding.RingGap][1:] {
				require.Equal(t, sidesWanted, n, "%v %v", b, style)
			}
			q := float64(b.slots) / float64(3*b.poles)
			want := kd(q)
			if style == doubleLap {
				want *= math.Cos(math.Pi / 2 * float64(b.poles) / float64(b.slots))
			}
			require.InDelta(t, want, kw[0], 1e-6, "%v %v", b, style)
		}
	}
	require.Nil(t, threeLayout(36, 8, wholeConcentre, 1))
}
