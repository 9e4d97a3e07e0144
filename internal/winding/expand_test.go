package winding_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

func no() *bool { b := false; return &b }

// TestPatternsExpand lays patterns and compares them, coil by coil, with lists written down by hand: the published
// 24/4 layout (NIMI CITS Electrician TT vol 2 p. 196), the published single layer 1-6, 3-8, ... 23-4 (T. Singh, Ex 1.1),
// and common ones (common practice, no source).
func TestPatternsExpand(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		slots, poles int
		role         winding.Role
		p            winding.Pattern
		want         string
	}{
		"24/4 main": {
			24,
			4,
			winding.Main,
			winding.Pattern{
				Kind:      winding.Concentric,
				Throws:    []int{6, 4},
				Turns:     []float64{1, 1},
				Groups:    4,
				Alternate: yes(),
				FirstSlot: 1,
			},
			"1-6x1 2-5x1 12-7x1 11-8x1 13-18x1 14-17x1 24-19x1 23-20x1",
		},
		"24/4 start": {
			24,
			4,
			winding.Auxiliary,
			winding.Pattern{
				Kind:      winding.Lap,
				Throws:    []int{6},
				Turns:     []float64{1},
				Groups:    4,
				Alternate: yes(),
			},
			"4-9x1 15-10x1 16-21x1 3-22x1",
		},
		"16/4 pairs": {
			16,
			4,
			winding.Main,
			winding.Pattern{Kind: winding.Lap, Throws: []int{4}, Turns: []float64{2}, Groups: 4},
			"1-4x2 8-5x2 9-12x2 16-13x2",
		},
		"8/4 tooth pairs": {
			8,
			4,
			winding.Main,
			winding.Pattern{Kind: winding.Lap, Throws: []int{3}, Turns: []float64{1}, Groups: 4},
			"1-3x1 5-3x1 5-7x1 1-7x1",
		},
		"half-coil": {
			14,
			14,
			winding.Main,
			winding.Pattern{Kind: winding.Tooth, Throws: []int{2}, Turns: []float64{1}, Groups: 7},
			"1-2x1 3-4x1 5-6x1 7-8x1 9-10x1 11-12x1 13-14x1",
		},
		"whole-coil": {
			6,
			6,
			winding.Main,
			winding.Pattern{Kind: winding.Tooth, Throws: []int{2}, Turns: []float64{1}},
			"1-2x1 3-2x1 3-4x1 5-4x1 5-6x1 1-6x1",
		},
		"sine graded": {
			36,
			4,
			winding.Main,
			winding.Pattern{
				Kind:      winding.Concentric,
				Throws:    []int{9, 7, 5, 3},
				Turns:     []float64{4, 3, 2, 1},
				Groups:    2,
				Alternate: no(),
				FirstSlot: 1,
			},
			"1-9x4 2-8x3 3-7x2 4-6x1 19-27x4 20-26x3 21-25x2 22-24x1",
		},
		"skein, one hank": {
			24,
			2,
			winding.Main,
			winding.Pattern{Kind: winding.Skein, Throws: []int{12, 10, 8}, Turns: []float64{30}, Groups: 2},
			"1-12x30 2-11x30 3-10x30 24-13x30 23-14x30 22-15x30",
		},
		"lap of two coils": {
			24,
			4,
			winding.Main,
			winding.Pattern{
				Kind:      winding.Lap,
				Throws:    []int{7, 7},
				Turns:     []float64{5, 6},
				Groups:    2,
				Alternate: no(),
			},
			"1-7x5 2-8x6 13-19x5 14-20x6",
		},
		"wraps": {
			24,
			4,
			winding.Main,
			winding.Pattern{
				Kind:      winding.Lap,
				Throws:    []int{6},
				Turns:     []float64{1},
				Groups:    2,
				Alternate: no(),
				FirstSlot: 23,
			},
			"23-4x1 11-16x1",
		},
		"three-phase single": {
			24,
			4,
			winding.PhaseU,
			winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{9}, Groups: 4},
			"1-6x9 12-7x9 13-18x9 24-19x9",
		},
		"single, full pitch": {
			24,
			4,
			winding.PhaseU,
			winding.Pattern{Kind: winding.Lap, Throws: []int{7}, Turns: []float64{9}, Groups: 4},
			"1-7x9 2-8x9 13-19x9 14-20x9",
		},
		"three-phase double": {
			24,
			4,
			winding.PhaseU,
			winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{9}},
			"1-6x9 2-7x9 12-7x9 13-8x9 13-18x9 14-19x9 24-19x9 1-20x9",
		},
		"phase v after u": {
			24,
			4,
			winding.PhaseV,
			winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{9}, Groups: 4},
			"5-10x9 16-11x9 17-22x9 4-23x9",
		},
		"three-phase half-coil": {
			24,
			4,
			winding.PhaseW,
			winding.Pattern{Kind: winding.Concentric, Throws: []int{8, 6}, Turns: []float64{9, 9}, Groups: 2},
			"9-16x9 10-15x9 21-4x9 22-3x9",
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, _, err := winding.Expand(winding.CoilSet{Role: c.role, Pattern: &c.p}, c.poles, stator.Core{Slots: c.slots})
			require.NoError(t, err)
			require.Equal(t, parseCoils(t, c.want), got)
		})
	}
}

// TestSingleLayerFillsEverySlot lays single layers of many kinds: every slot one side, phases balanced, and with full pitch the
// winding factor of the belt alone (formula page: single layer, kw = kd).
func TestSingleLayerFillsEverySlot(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		slots, poles, throw int
		full                bool
	}{{24, 4, 6, true}, {24, 4, 7, true}, {24, 2, 13, true}, {24, 2, 12, false}, {36, 4, 10, true}, {36, 6, 7, true}, {36, 6, 6, true}, {36, 2, 19, true}, {18, 2, 10, true}, {18, 6, 4, true}, {30, 2, 16, true}, {48, 4, 13, true}, {48, 8, 7, true}, {12, 2, 7, true}, {24, 8, 4, true}, {48, 4, 11, false}} {
		core := stator.Core{Slots: c.slots}
		s := threePhase(c.poles, c.throw, c.slots/6, 1)
		all, _, err := winding.ExpandScheme(s, core)
		require.NoError(t, err, "%+v", c)
		for _, slot := range winding.Occupancy(s, all, core) {
			require.Len(t, slot.Sides, 1, "%+v slot %d", c, slot.Number)
		}
		require.Empty(t, winding.Faults(s, all, core), "%+v", c)
		if kw, _ := winding.Factor(all[0], c.slots, c.poles, 1); c.full {
			require.InDelta(t, kd(c.slots, c.poles), kw, 1e-9, "%+v", c)
		}
	}
}

// TestAuxiliaryIsPlaced wants 90 electrical degrees wherever whole slots allow, in one ring and in two, and the rest told.
func TestAuxiliaryIsPlaced(t *testing.T) {
	t.Parallel()
	concentric := func(role winding.Role, throws ...int) winding.CoilSet {
		return winding.CoilSet{
			Role:    role,
			Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: throws, Turns: []float64{10}},
		}
	}
	for _, c := range []struct {
		slots, poles int
		main, aux    []int
		first        float64
		want         float64
	}{{24, 4, []int{6, 4}, []int{6}, 4, 90}, {36, 4, []int{9, 7, 5, 3}, []int{10, 8, 6}, 5, 90}, {24, 2, []int{12, 10, 8}, []int{12, 10}, 7, 90}, {12, 2, []int{6, 4}, []int{6, 4}, 4, 90}, {28, 4, []int{7, 5}, []int{7}, 4, 540.0 / 7}} {
		s := winding.Scheme{
			Poles: c.poles,
			CoilSets: []winding.CoilSet{
				concentric(winding.Auxiliary, c.aux...),
				concentric(winding.Main, c.main...),
			},
		}
		all, assumed, err := winding.ExpandScheme(s, stator.Core{Slots: c.slots})
		require.NoError(t, err)
		_, a := winding.Factor(all[0], c.slots, c.poles, 1)
		_, m := winding.Factor(all[1], c.slots, c.poles, 1)
		require.InDelta(t, c.want, winding.Displacement(a, m), 1e-6, "%+v", c)
		for _, as := range assumed {
			if as.Field == "coil_sets[0].first_slot" {
				require.InDelta(t, c.first, as.Value, 0, "%+v", c)
			}
		}
	}
	// A speed winding lies with the auxiliary.
	s := winding.Scheme{
		Poles: 4,
		CoilSets: []winding.CoilSet{
			concentric(winding.Main, 6, 4),
			concentric(winding.Auxiliary, 6),
			concentric(winding.Speed, 6),
		},
	}
	all, _, err := winding.ExpandScheme(s, stator.Core{Slots: 24})
	require.NoError(t, err)
	require.Equal(t, all[1], all[2])
}

// TestTurnedRing wants the second ring turned by what the core says, half a pitch if it does not.
func TestTurnedRing(t *testing.T) {
	t.Parallel()
	set := winding.CoilSet{
		Role:  winding.Auxiliary,
		Ring:  winding.RingBack,
		Coils: []winding.Coil{{In: 1, Out: 2, Turns: 1}},
	}
	core := stator.Core{Slots: 12, SecondRing: &stator.Ring{}}
	_, half := winding.FactorOfSet(set, set.Coils, 12, core, 1)
	core.SecondRing.TurnedSlots = unit.Of(0)
	_, none := winding.FactorOfSet(set, set.Coils, 12, core, 1)
	require.InDelta(t, 90, winding.Displacement(half, none), 1e-9)
	// Rings of unlike slot counts: a pitch is that of its own ring.
	core.SecondRing.Slots, core.SecondRing.TurnedSlots = 24, unit.Of(1)
	_, one := winding.FactorOfSet(set, set.Coils, 12, core, 1)
	core.SecondRing.TurnedSlots = unit.Of(0)
	_, zero := winding.FactorOfSet(set, set.Coils, 12, core, 1)
	require.InDelta(t, 90, winding.Displacement(one, zero), 1e-9)
	_, assumed, err := winding.Expand(set, 12, stator.Core{Slots: 12, SecondRing: &stator.Ring{}})
	require.NoError(t, err)
	require.Equal(t, "second_ring.slots", assumed[0].Field)
}

// TestFactorOutside wants zeros, never NaN, for what has no factor.
func TestFactorOutside(t *testing.T) {
	t.Parallel()
	coil := []winding.Coil{{In: 1, Out: 4, Turns: 1}}
	for _, c := range []struct {
		coils                   []winding.Coil
		slots, poles, harmonics int
	}{{nil, 24, 4, 1}, {coil, 0, 4, 1}, {coil, 24, 0, 1}, {coil, 24, 4, 0}, {[]winding.Coil{{In: 1, Out: 4}}, 24, 4, 1}, {[]winding.Coil{{In: 1, Out: 13, Turns: 1}}, 24, 4, 1}} {
		kw, axis := winding.Factor(c.coils, c.slots, c.poles, c.harmonics)
		require.Zero(t, kw)
		require.Zero(t, axis)
	}
	kw, _ := winding.FactorOfSet(winding.CoilSet{Ring: winding.RingBack}, coil, 4, stator.Core{Slots: 24}, 1)
	require.Zero(t, kw)
}

// TestExpandRefuses names coil and slot; every problem of a pattern at once.
func TestExpandRefuses(t *testing.T) {
	t.Parallel()
	core := stator.Core{Slots: 24}
	bad := winding.CoilSet{
		Role: winding.Main,
		Pattern: &winding.Pattern{
			Kind:      "spiral",
			Throws:    []int{1, 99},
			Turns:     []float64{0, math.NaN()},
			Groups:    -2,
			FirstSlot: 25,
		},
	}
	_, _, err := winding.Expand(bad, 5, core)
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	codes := map[string]string{}
	for _, f := range e.Fields {
		codes[f.Pointer] = f.Code
		require.NotEmpty(t, f.Detail)
	}
	require.Equal(t, map[string]string{"/pattern/kind": "KIND_UNKNOWN", "/poles": "POLES_IMPOSSIBLE", "/pattern/throws/0": "SAME_SLOT_TWICE", "/pattern/throws/1": "THROW_IMPOSSIBLE", "/pattern/turns/0": "ZERO_TURNS",
		"/pattern/turns/1": "TURNS_OUT_OF_RANGE", "/pattern/groups": "GROUPS_IMPOSSIBLE", "/pattern/first_slot": "SLOT_OUT_OF_RANGE"}, codes)
	for _, c := range []struct {
		set  winding.CoilSet
		core stator.Core
		code string
	}{
		{winding.CoilSet{Coils: []winding.Coil{{In: 1, Out: 2, Turns: 1}}}, stator.Core{}, "SLOTS_MISSING"},
		{
			winding.CoilSet{Coils: []winding.Coil{{In: 1, Out: 2, Turns: 1}}},
			stator.Core{Slots: 361},
			"SLOTS_OUT_OF_RANGE",
		},
		{winding.CoilSet{Pattern: &winding.Pattern{Kind: winding.Lap}}, core, "THROWS_MISSING"},
		{
			winding.CoilSet{
				Role: winding.PhaseU,
				Pattern: &winding.Pattern{
					Kind:   winding.Lap,
					Throws: []int{5},
					Turns:  []float64{1},
					Groups: 6,
				},
			},
			stator.Core{Slots: 36},
			"THROW_IMPOSSIBLE",
		},
		{winding.CoilSet{Coils: make([]winding.Coil, 2000)}, core, "TOO_MANY_COILS"},
	} {
		_, _, err := winding.Expand(c.set, 4, c.core)
		require.ErrorAs(t, err, &e)
		require.Equal(t, c.code, e.Fields[0].Code)
	}
	// 360 slots are answered.
	_, _, err = winding.Expand(winding.CoilSet{Role: winding.PhaseU, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{30}, Turns: []float64{1}}}, 12, stator.Core{Slots: 360})
	require.NoError(t, err)
}
