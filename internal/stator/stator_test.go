package stator_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// small is an invented 24-slot core whose dimensions close: (118-66)/2 = 14.5 + 11.5.
func small() stator.Core {
	return stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(66), BackDiameter: unit.Of(118), StackLength: unit.Of(45),
		ToothWidth: unit.Of(4.1), SlotDepth: unit.Of(14.5), SlotOpening: unit.Of(2.2), BackIron: unit.Of(11.5)}
}

// fan is an invented two-ring fan core whose dimensions close: (130-64)/2 = 12 + 14 + 7.
func fan() stator.Core {
	return stator.Core{Phases: 1, RotorPosition: stator.RotorOutside, Slots: 14, GapDiameter: unit.Of(130), BackDiameter: unit.Of(64), StackLength: unit.Of(20), ToothWidth: unit.Of(14), SlotDepth: unit.Of(12),
		SlotOpening: unit.Of(2.5), BackIron: unit.Of(7), SecondRing: &stator.Ring{Slots: 14, ToothWidth: unit.Of(9), SlotDepth: unit.Of(14), SlotOpening: unit.Of(2), TurnedSlots: unit.Of(0.5)}}
}

func TestSoundCores(t *testing.T) {
	t.Parallel()
	require.Empty(t, stator.Check(small()))
	require.Empty(t, stator.Check(fan()))
	require.Empty(t, stator.Check(stator.Core{}), "what is not given is not judged")
	require.Empty(t, stator.Check(stator.Core{GapDiameter: unit.Of(66), BackDiameter: unit.Of(40)}), "the side of the gap needs the rotor position")
}

// TestImpossibleCores wants one error for each thing that no core can have (list of the domain page).
func TestImpossibleCores(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		edit  func(*stator.Core)
		code  string
		field string
	}{
		"gap outside the back": {
			func(c *stator.Core) { c.GapDiameter = unit.Of(120) },
			"gap_on_wrong_side",
			"gap_diameter_mm",
		},
		"1180 for 118": {
			func(c *stator.Core) { c.GapDiameter = unit.Of(1180) },
			"gap_on_wrong_side",
			"gap_diameter_mm",
		},
		"gap as the back": {
			func(c *stator.Core) { c.GapDiameter = unit.Of(118) },
			"gap_on_wrong_side",
			"gap_diameter_mm",
		},
		"rotor position": {
			func(c *stator.Core) { c.RotorPosition = stator.RotorOutside },
			"gap_on_wrong_side",
			"gap_diameter_mm",
		},
		"teeth": {
			func(c *stator.Core) { c.ToothWidth = unit.Of(8.7) },
			"teeth_wider_than_pitch",
			"tooth_width_mm",
		},
		"opening": {
			func(c *stator.Core) { c.SlotOpening = unit.Of(8.7) },
			"opening_wider_than_pitch",
			"slot_opening_mm",
		},
		"depth": {
			func(c *stator.Core) { c.SlotDepth = unit.Of(26) },
			"deeper_than_iron",
			"slot_depth_mm",
		},
		"back iron": {
			func(c *stator.Core) { c.BackIron = unit.Of(30) },
			"deeper_than_iron",
			"back_iron_mm",
		},
		"area": {
			func(c *stator.Core) { c.SlotArea = unit.Of(500) },
			"slot_area_impossible",
			"slot_area_mm2",
		},
		"zero": {
			func(c *stator.Core) { c.StackLength = unit.Of(0) },
			"not_positive",
			"stack_length_mm",
		},
		"negative": {
			func(c *stator.Core) { c.ToothWidth = unit.Of(-4) },
			"not_positive",
			"tooth_width_mm",
		},
		"not a number": {
			func(c *stator.Core) { c.BackIron = unit.Of(math.NaN()) },
			"not_finite",
			"back_iron_mm",
		},
		"infinite": {
			func(c *stator.Core) { c.GapDiameter = unit.Of(math.Inf(1)) },
			"not_finite",
			"gap_diameter_mm",
		},
		"one slot": {
			func(c *stator.Core) { c.Slots = 1; c.SlotOpening = unit.Measured{} },
			"slots_impossible",
			"slots",
		},
		"negative slots": {func(c *stator.Core) { c.Slots = -24 }, "slots_impossible", "slots"},
		"361 slots": {
			func(c *stator.Core) { c.Slots = 361; c.ToothWidth, c.SlotOpening = unit.Measured{}, unit.Measured{} },
			"slots_impossible",
			"slots",
		},
		"two phases": {func(c *stator.Core) { c.Phases = 2 }, "phases_impossible", "phases"},
		"fan: slit": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.SlotOpening = unit.Of(14) },
			"slit_wider_than_tooth",
			"second_ring.slot_opening_mm",
		},
		"fan: inner teeth": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.ToothWidth = unit.Of(17.6) },
			"teeth_wider_than_pitch",
			"second_ring.tooth_width_mm",
		},
		"fan: outer teeth": {
			func(c *stator.Core) { *c = fan(); c.ToothWidth = unit.Of(23.9) },
			"teeth_wider_than_pitch",
			"tooth_width_mm",
		},
		"fan: gap inside": {
			func(c *stator.Core) { *c = fan(); c.GapDiameter = unit.Of(60) },
			"gap_on_wrong_side",
			"gap_diameter_mm",
		},
		"fan: second ring slots": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.Slots = 1; c.SecondRing.ToothWidth = unit.Measured{} },
			"slots_impossible",
			"second_ring.slots",
		},
		"fan: deeper second ring": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.SlotDepth = unit.Of(40) },
			"deeper_than_iron",
			"second_ring.slot_depth_mm",
		},
		"fan: area of inner slot": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.SlotArea = unit.Of(400) },
			"slot_area_impossible",
			"second_ring.slot_area_mm2",
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			core := small()
			c.edit(&core)
			got := stator.Check(core)
			require.True(t, stator.Impossible(got))
			found := false
			for _, f := range got {
				require.NotEmpty(t, f.Message)
				if f.Code == c.code && f.Fields[0] == c.field {
					require.Equal(t, errs.SeverityError, f.Severity)
					found = true
				}
			}
			require.True(t, found, "%+v", got)
		})
	}
}

// TestSecondLook wants warnings, not errors, for what is only doubtful.
func TestSecondLook(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		edit func(*stator.Core)
		code string
	}{
		"closure high": {func(c *stator.Core) { c.BackIron = unit.Of(14.5) }, "closure"},
		"closure low":  {func(c *stator.Core) { c.SlotDepth = unit.Of(10) }, "closure"},
		"area":         {func(c *stator.Core) { c.SlotArea = unit.Of(30) }, "slot_area"},
		"service range": {
			func(c *stator.Core) { c.Slots = 80; c.ToothWidth, c.SlotOpening = unit.Measured{}, unit.Measured{} },
			"outside_service_range",
		},
		"four slots": {func(c *stator.Core) { c.Slots = 4 }, "outside_service_range"},
		"turned": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.TurnedSlots = unit.Of(3.5) },
			"turned_slots_unusual",
		},
		"fan closure": {func(c *stator.Core) { *c = fan(); c.BackIron = unit.Of(12) }, "closure"},
		"fan partly": {
			func(c *stator.Core) { *c = fan(); c.SecondRing.SlotDepth = unit.Measured{}; c.SlotDepth = unit.Of(30) },
			"closure",
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			core := small()
			c.edit(&core)
			got := stator.Check(core)
			require.False(t, stator.Impossible(got), "%+v", got)
			require.Len(t, got, 1)
			require.Equal(t, c.code, got[0].Code)
			require.Equal(t, errs.SeverityWarning, got[0].Severity)
			require.NotNil(t, got[0].Expected)
			require.LessOrEqual(t, got[0].Expected.Low, got[0].Expected.High)
		})
	}
}

// TestClosureKnowsItsUncertainty accepts what a coarse instrument may read.
func TestClosureKnowsItsUncertainty(t *testing.T) {
	t.Parallel()
	core := small()
	core.BackIron = unit.Measured{Given: true, Value: 14.5, Uncertainty: 1}
	require.Empty(t, stator.Check(core))
	core.BackIron = unit.Measured{Given: true, Value: 14.5, Resolution: 4}
	require.Empty(t, stator.Check(core))
	core.BackIron = unit.Measured{Given: true, Value: 14.5, Resolution: 0.1}
	require.NotEmpty(t, stator.Check(core))
}

// TestSlotAreas gives D-01 to D-03 of derived_checks.csv (two ways there), and the other forms by hand.
func TestSlotAreas(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 86.4, float64(stator.TrapezoidArea(6, 8.4, 12)), 1e-9)
	require.InDelta(t, 114.10885, float64(stator.RoundBottomArea(6, 8.4, 12)), 5e-6)
	require.InDelta(t, 90.044162, float64(stator.ParallelToothArea(36, 49, 4.2, 24)), 5e-7)
	require.InDelta(t, 90.044162, float64(stator.ParallelToothArea(49, 36, 4.2, 24)), 5e-7)
	require.Zero(t, stator.ParallelToothArea(36, 49, 4.2, 0))
	require.InDelta(t, math.Pi*25, float64(stator.RoundArea(10)), 1e-9)
	require.InDelta(t, 2.2*0.8+(2.2+5)/2*1, float64(stator.MouthArea(2.2, 0.8, 5, 1)), 1e-9)
	require.InDelta(t, 0.25*30+0.2*6, float64(stator.LinerAllowance(0.25, 30, 0.2, 6)), 1e-9)
}

// TestDerivedSlotArea wants the annulus below the mouth for both rotor positions, and the other shapes from the same dimensions.
func TestDerivedSlotArea(t *testing.T) {
	t.Parallel()
	got, ok := stator.DerivedSlotArea(small())
	require.True(t, ok)
	want := math.Pi*(47.5*47.5-34*34)/24 - 4.1*13.5
	require.InDelta(t, want, float64(got.Gross), 1e-9)
	require.InDelta(t, want-0.25*float64(got.Outline), float64(got.Net), 1e-9)
	require.Greater(t, got.Bottom, got.TopWidth)
	require.Equal(t, stator.SlotParallelTooth, got.Shape)
	require.InDelta(t, want, float64(stator.TrapezoidArea(got.TopWidth, got.Bottom, got.Height)), 1e-9, "a trapezoid between the same widths is as large")

	out, ok := stator.DerivedSlotArea(fan())
	require.True(t, ok)
	require.InDelta(t, math.Pi*(64*64-53*53)/14-14*11, float64(out.Gross), 1e-9)
	require.Less(t, out.Bottom, out.TopWidth, "outside rotor: slots narrow inwards")
	in, ok := stator.DerivedRingSlotArea(fan(), true)
	require.True(t, ok)
	require.InDelta(t, math.Pi*(52*52-39*39)/14-9*13, float64(in.Gross), 1e-9)

	shapes := map[stator.SlotShape]float64{}
	for _, s := range []stator.SlotShape{stator.SlotTrapezoid, stator.SlotRoundBottom, stator.SlotRectangular, stator.SlotRound} {
		core := small()
		core.SlotShape = s
		a, ok := stator.DerivedSlotArea(core)
		require.True(t, ok, s)
		require.Equal(t, s, a.Shape)
		require.Less(t, a.Net, a.Gross)
		shapes[s] = float64(a.Gross)
	}
	require.InDelta(t, want, shapes[stator.SlotTrapezoid], 1e-9)
	require.Less(t, shapes[stator.SlotRoundBottom], want, "rounding the corners takes area away")
	require.Greater(t, shapes[stator.SlotRoundBottom], 0.9*want)
	require.InDelta(t, (2*math.Pi*34/24-4.1)*13.5, shapes[stator.SlotRectangular], 1e-9)
	require.InDelta(t, math.Pi*13.5*13.5/4, shapes[stator.SlotRound], 1e-9)

	for _, edit := range []func(*stator.Core){
		func(c *stator.Core) { c.Slots = 0 }, func(c *stator.Core) { c.GapDiameter = unit.Measured{} }, func(c *stator.Core) { c.ToothWidth = unit.Measured{} },
		func(c *stator.Core) { c.SlotDepth, c.BackIron = unit.Measured{}, unit.Measured{} }, func(c *stator.Core) { c.ToothWidth = unit.Of(9) },
	} {
		core := small()
		edit(&core)
		_, ok := stator.DerivedSlotArea(core)
		require.False(t, ok)
	}
	_, ok = stator.DerivedRingSlotArea(small(), true)
	require.False(t, ok)
}

// TestDerivedGeometry checks pitches, closure and the slit leg by hand.
func TestDerivedGeometry(t *testing.T) {
	t.Parallel()
	pitch, ok := stator.SlotPitch(small())
	require.True(t, ok)
	require.InDelta(t, math.Pi*66/24, float64(pitch), 1e-12)
	pole, ok := stator.PolePitch(small(), 4)
	require.True(t, ok)
	require.InDelta(t, math.Pi*66/4, float64(pole), 1e-12)
	leg, ok := stator.SlitLeg(fan())
	require.True(t, ok)
	require.InDelta(t, 6, float64(leg), 1e-12)
	core := small()
	core.SlotDepth = unit.Measured{}
	depth, ok := stator.SlotDepthOf(core)
	require.True(t, ok)
	require.InDelta(t, 14.5, float64(depth.Value), 1e-12)
	require.True(t, depth.Derived)
	core = small()
	core.BackIron = unit.Measured{}
	iron, ok := stator.BackIronOf(core)
	require.True(t, ok)
	require.InDelta(t, 11.5, float64(iron.Value), 1e-12)
	core = fan()
	core.BackIron = unit.Measured{}
	iron, ok = stator.BackIronOf(core)
	require.True(t, ok)
	require.InDelta(t, 7, float64(iron.Value), 1e-12)
	core.SecondRing.SlotDepth = unit.Measured{}
	_, ok = stator.BackIronOf(core)
	require.False(t, ok, "half of it is not known")
	_, ok = stator.SlitLeg(small())
	require.False(t, ok)
	_, ok = stator.PolePitch(small(), 0)
	require.False(t, ok)
	_, ok = stator.SlotPitch(stator.Core{})
	require.False(t, ok)
	require.Equal(t, 14, stator.RingSlots(fan(), true))
	require.Zero(t, stator.RingSlots(small(), true))
	core = fan()
	core.SecondRing.Slots = 0
	require.Equal(t, 14, stator.RingSlots(core, true))
	require.Len(t, stator.Fields(small()), 7)
	require.Len(t, stator.Fields(fan()), 11)
}

// TestCheckNeverPanics throws anything at a core; wider uncertainty never adds a finding.
func TestCheckNeverPanics(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := func(name string) unit.Measured {
			if !rapid.Bool().Draw(t, name+" given") {
				return unit.Measured{}
			}
			return unit.Of(rapid.Float64Range(0.1, 300).Draw(t, name))
		}
		c := stator.Core{Phases: rapid.IntRange(0, 3).Draw(t, "phases"), RotorPosition: rapid.SampledFrom([]stator.RotorPosition{"", stator.RotorInside, stator.RotorOutside}).Draw(t, "rotor"),
			Slots: rapid.IntRange(0, 80).Draw(t, "slots"), GapDiameter: m("gap"), BackDiameter: m("back"), StackLength: m("stack"), ToothWidth: m("tooth"), SlotDepth: m("depth"), SlotOpening: m("opening"), BackIron: m("iron"), SlotArea: m("area")}
		if rapid.Bool().Draw(t, "second") {
			c.SecondRing = &stator.Ring{
				Slots:       rapid.IntRange(0, 80).Draw(t, "slots2"),
				ToothWidth:  m("tooth2"),
				SlotDepth:   m("depth2"),
				SlotOpening: m("opening2"),
				SlotArea:    m("area2"),
			}
		}
		sharp := stator.Check(c)
		wide := c
		for _, p := range []*unit.Measured{&wide.GapDiameter, &wide.BackDiameter, &wide.SlotDepth, &wide.BackIron} {
			p.Uncertainty = rapid.Float64Range(0.5, 5).Draw(t, "uncertainty")
		}
		if len(stator.Check(wide)) > len(sharp) {
			t.Fatalf("wider uncertainty narrowed: %+v", c)
		}
	})
}

// TestUnusualDimensions finds the slips that no relation of the figures shows.
func TestUnusualDimensions(t *testing.T) {
	t.Parallel()
	for field, edit := range map[string]func(*stator.Core){
		"stack_length_mm": func(c *stator.Core) { c.StackLength = unit.Of(1180) },
		"slot_opening_mm": func(c *stator.Core) { c.SlotOpening = unit.Of(0.22) },
		"tooth_width_mm":  func(c *stator.Core) { c.ToothWidth = unit.Of(0.41) },
	} {
		core := small()
		edit(&core)
		got := stator.Check(core)
		require.Len(t, got, 1, field)
		require.Equal(t, "dimension_unusual", got[0].Code)
		require.Equal(t, errs.SeverityWarning, got[0].Severity)
		require.Equal(t, []string{field}, got[0].Fields)
		require.Contains(t, got[0].Message, " mm; motors of 5 W to 3 kW have ")
	}
	wide := small()
	wide.SlotArea = unit.Of(4000)
	require.Contains(t, fmt.Sprint(stator.Check(wide)), "slot_area_mm2 is 4000 mm²; motors of 5 W to 3 kW have 3 to 2000 mm²")
	r, ok := stator.UsualRange("stack_length_mm")
	require.True(t, ok)
	require.Less(t, r.Low, r.High)
	_, ok = stator.UsualRange("colour")
	require.False(t, ok)
}

// TestDiametersInEachOthersPlace: two figures that would be a lamination the other way round may just stand in each
// other's place; a slip of the point may not.
func TestDiametersInEachOthersPlace(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		rotor     stator.RotorPosition
		gap, back float64
		swapped   bool
	}{
		"swapped, inside":  {stator.RotorInside, 113, 66, true},
		"swapped, outside": {stator.RotorOutside, 74, 123, true},
		"equal":            {stator.RotorInside, 90, 90, true},
		"ten times":        {stator.RotorInside, 661, 113, false},
		"tenth":            {stator.RotorOutside, 12.3, 74, false},
	} {
		got := stator.Check(stator.Core{RotorPosition: c.rotor, GapDiameter: unit.Of(c.gap), BackDiameter: unit.Of(c.back)})
		i := slices.IndexFunc(got, func(f errs.Finding) bool { return f.Code == "gap_on_wrong_side" })
		require.GreaterOrEqual(t, i, 0, name)
		require.Equal(t, c.swapped, strings.Contains(got[i].Message, "in each other's place, or the rotor turns on the other side"), "%s: %s", name, got[i].Message)
	}
}
