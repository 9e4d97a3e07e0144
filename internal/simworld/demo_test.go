package simworld

import (
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestDemoIsComplete counts what the demo set must hold: 60 families, 200 records, every build.
func TestDemoIsComplete(t *testing.T) {
	t.Parallel()
	c := Demo(DemoSeed, table(t))
	require.GreaterOrEqual(t, len(c.Families), 60)
	require.GreaterOrEqual(t, len(c.Windings), 200)
	have := map[string]int{}
	family := map[string]catalog.Family{}
	for _, f := range c.Families {
		family[f.ID] = f
	}
	for _, w := range c.Windings {
		f := family[w.FamilyID]
		have[f.Application+" "+plain(float64(f.Core.Slots))+"/"+plain(float64(w.Scheme.Poles))]++
		first := w.Scheme.CoilSets[0].Pattern
		if f.Application == "ceiling_fan" {
			have[map[bool]string{true: "half-coil", false: "whole-coil"}[2*first.Groups == w.Scheme.Poles]]++
			require.NotNil(t, f.Core.SecondRing)
		}
		if f.Core.Phases == 3 {
			have["three-phase "+string(first.Kind)]++
		}
		have["conductor "+string(w.Scheme.CoilSets[0].Wires[0].Conductor)]++
		have["system "+string(w.Scheme.CoilSets[0].Wires[0].System)]++
		have["build "+string(w.Scheme.CoilSets[0].Wires[0].Build)]++
		have["origin "+w.Origin]++
		have["state "+w.Scheme.CoilSets[0].MassState]++
		have["motor "+w.MotorType]++
	}
	for _, wanted := range []string{
		"ceiling_fan 12/12", "ceiling_fan 14/14", "ceiling_fan 16/16", "ceiling_fan 18/18", "half-coil", "whole-coil",
		"table_fan 8/4", "table_fan 12/4", "table_fan 16/4", "exhaust_fan 12/6", "exhaust_fan 16/8", "exhaust_fan 8/4",
		"pump 24/2", "pump 24/4", "pump 36/4", "blower 24/2", "blower 24/4", "grinder 24/4", "air_cooler 24/4", "air_cooler 16/4", "washing_machine 24/4",
		"general 24/2", "general 24/4", "general 36/2", "general 36/4", "general 36/6", "general 48/4", "three-phase lap", "three-phase concentric",
		"conductor copper", "conductor aluminium", "system swg", "system awg", "system metric", "build grade_1", "build grade_2", "build heavy",
		"origin factory", "origin previously_rewound", "origin unknown", "state bare", "state enamelled", "state varnished", "state with_leads",
		"motor permanent_split_capacitor", "motor capacitor_start", "motor split_phase", "motor three_phase_cage",
	} {
		require.Positive(t, have[wanted], "%s; there are %v", wanted, slices.Sorted(maps.Keys(have)))
	}
}

// TestDemoRecordsAreFull wants every field of the contract that a bench can fill.
func TestDemoRecordsAreFull(t *testing.T) {
	t.Parallel()
	c := Demo(DemoSeed, table(t))
	require.Equal(t, DemoInstitute, c.Institute.Slug)
	require.True(t, c.Institute.Demo)
	require.Len(t, c.Persons, 2)
	cores := map[string]string{}
	seen := map[string]bool{}
	unique := func(text string) {
		require.False(t, seen[text], "%s occurs twice", text)
		seen[text] = true
	}
	slug := regexp.MustCompile(`^demo-[a-z]+(-[a-z]+)*-[0-9]{2}(-[a-z])?$`)
	for _, f := range c.Families {
		unique(f.ID)
		unique(f.Slug)
		unique(f.Title)
		require.Regexp(t, slug, f.Slug)
		require.Regexp(t, `^Demo drawing [0-9]{2}: `, f.Title)
		require.False(t, f.Core.StackLength.Given)
		require.NotEmpty(t, f.Cores)
		requireDemo(t, f.Provenance)
		for _, core := range f.Cores {
			unique(core.ID)
			cores[core.ID] = f.ID
		}
	}
	for _, w := range c.Windings {
		unique(w.ID)
		unique(w.Slug)
		require.Regexp(t, slug, w.Slug)
		_, err := uuid.Parse(w.ID)
		require.NoError(t, err)
		require.Equal(t, w.FamilyID, cores[w.CoreID], w.Slug)
		requireDemo(t, w.Provenance)
		require.Equal(t, "demo: invented data", w.Remarks)
		for _, dim := range dimensions(w.CoreAsMeasured) {
			require.True(t, dim.at.Given, "%s %s", w.Slug, dim.name)
			require.NotEmpty(t, dim.at.Text)
		}
		for _, m := range []unit.Measured{w.OverhangLead, w.OverhangFar, w.CoilLength, w.CoilWidth, w.Liner.Thickness, w.Nameplate.Voltage, w.Nameplate.Power, w.Nameplate.Current, w.Nameplate.Speed} {
			require.True(t, m.Given && m.Value > 0, w.Slug)
		}
		for _, text := range []string{w.MotorType, w.Origin, w.Wedge, w.Binding, w.Sleeving, w.Varnish, w.Direction, w.ViewingEnd, w.Slot1Mark, w.Liner.Material} {
			require.NotEmpty(t, text, w.Slug)
		}
		require.GreaterOrEqual(t, len(w.Leads), 3)
		require.Positive(t, w.TimesSeen)
		require.NotEmpty(t, w.Quality)
		require.Greater(t, w.OverhangLead.Value+0.6, w.OverhangFar.Value, w.Slug)
		for _, set := range w.Scheme.CoilSets {
			require.True(t, set.Mass.Given && set.Resistance.Given && set.Temperature.Given, w.Slug)
			require.NotEmpty(t, set.MassState)
			require.NotEmpty(t, set.Joining)
		}
	}
}

func requireDemo(t *testing.T, p catalog.Provenance) {
	t.Helper()
	require.Equal(t, catalog.Provenance{Revision: 1, State: catalog.Published, Status: catalog.StatusDemo, Source: "demo: simulated by internal/simworld seed " + plain(DemoSeed),
		Licence: "CC0-1.0", Institute: "demo-winding-school", Author: "demo-p1", Vetter: "demo-p2", Demo: true}, p)
}

// TestDemoIsCoherent asks the service's own physics about every record: no impossible core, no
// fault of the scheme, no figure outside the bands of common practice, mass and resistance agree
// with the bench form of the mean turn (which this world does not use) within its own scatter.
func TestDemoIsCoherent(t *testing.T) {
	t.Parallel()
	wires := table(t)
	c := Demo(DemoSeed, wires)
	// The teeth of a two-ring fan are limited by their slit legs, so the whole tooth stays below its band.
	expected := map[string]bool{"tooth_density_below_band": true, "ampere_conductors_below_band": true}
	for _, w := range c.Windings {
		require.Empty(t, stator.Check(*w.CoreAsMeasured), w.Slug)
		coils, _, err := winding.ExpandScheme(w.Scheme, *w.CoreAsMeasured)
		require.NoError(t, err, w.Slug)
		require.Empty(t, winding.Faults(w.Scheme, coils, *w.CoreAsMeasured), w.Slug)
		a, err := winding.Analyse(winding.AnalysisInput{Core: *w.CoreAsMeasured, Nameplate: &w.Nameplate, Scheme: w.Scheme, MotorType: w.MotorType}, wires)
		require.NoError(t, err, w.Slug)
		for _, f := range a.Findings {
			fine := expected[f.Code] && f.Severity == errs.SeverityNote && w.CoreAsMeasured.SecondRing != nil
			require.True(t, fine, "%s: %s", w.Slug, f.Message)
		}
		for i, r := range a.Roles {
			set := w.Scheme.CoilSets[i]
			require.NotNil(t, r.Mass, w.Slug)
			enamel, _ := winding.EnamelShare(set.MassState)
			bare := set.Mass.Value / (1 + enamel)
			require.InEpsilon(t, float64(*r.Mass), bare, 0.2, w.Slug)
			warm := wire.TemperatureFactor(set.Wires[0].Conductor, unit.Celsius(set.Temperature.Value))
			ohms := set.Resistance.Value / warm
			require.InEpsilon(t, float64(*r.Resistance20), ohms, 0.2, w.Slug)
			// Mass and resistance together give the conductor without turns or geometry: a = sqrt(m·ρ/(δ·R·p²)).
			resolved, err := wires.Resolve(set.Wires[0])
			require.NoError(t, err)
			require.Positive(t, float64(resolved.Overall), w.Slug)
			p := float64(winding.Paths(set))
			area := math.Sqrt(bare * resolved.Resistivity / (resolved.Density * ohms * p * p))
			require.InEpsilon(t, float64(resolved.TotalArea), area, 0.06, w.Slug)
		}
	}
}

// TestDemoFamiliesDiffer wants any two families of the same slots to differ by what a calliper sees.
func TestDemoFamiliesDiffer(t *testing.T) {
	t.Parallel()
	c := Demo(DemoSeed, table(t))
	for i, a := range c.Families {
		for _, b := range c.Families[:i] {
			if a.Core.Slots != b.Core.Slots || a.Core.RotorPosition != b.Core.RotorPosition {
				continue
			}
			far := 0.0
			x, y := a.Core, b.Core
			for j, dim := range dimensions(&x) {
				if other := dimensions(&y); dim.at.Given && j < len(other) && !dim.area {
					far = max(far, math.Abs(dim.at.Value-other[j].at.Value)/dim.sd)
				}
			}
			require.Greater(t, far, 5.0, "%s and %s", a.Slug, b.Slug)
		}
	}
}

// TestDemoIsTheSameAgain wants the same bytes from the same seed, and others from another.
func TestDemoIsTheSameAgain(t *testing.T) {
	t.Parallel()
	wires := table(t)
	require.Equal(t, Demo(7, wires), Demo(7, wires))
	require.NotEqual(t, Demo(7, wires).Windings[0].Nameplate, Demo(8, wires).Windings[0].Nameplate)
}

// TestDemoSeedsAllWork shows that no seed runs into the loops that draw again.
func TestDemoSeedsAllWork(t *testing.T) {
	t.Parallel()
	wires := table(t)
	for seed := range uint64(25) {
		c := Demo(seed, wires)
		require.GreaterOrEqual(t, len(c.Windings), 200)
		for _, w := range c.Windings {
			for _, set := range w.Scheme.CoilSets {
				require.False(t, math.IsNaN(set.Mass.Value) || set.Mass.Value <= 0 || set.Resistance.Value <= 0)
			}
		}
	}
}

// TestDemoNamesNobody wants plain words only: no title or text of the set has a capital letter in a
// place where a name would stand. The letter of a thermal class is none.
func TestDemoNamesNobody(t *testing.T) {
	t.Parallel()
	c := Demo(DemoSeed, table(t))
	thermalClass := regexp.MustCompile(`, class [BF]$`)
	for _, f := range c.Families {
		text := strings.TrimPrefix(f.Title, "Demo drawing ")
		require.Equal(t, strings.ToLower(text), text)
	}
	for _, w := range c.Windings {
		for _, text := range []string{w.Wedge, w.Sleeving, thermalClass.ReplaceAllString(w.Varnish, ""), w.Slot1Mark, w.Direction, w.Liner.Material, w.Remarks} {
			require.Equal(t, strings.ToLower(text), text)
		}
	}
}
