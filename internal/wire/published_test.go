package wire_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// half is half a unit of the last digit that a figure is printed with: what rounding may hide.
func half(text string) float64 { return 0.5001 * math.Pow(10, -float64(decimals(text))) }

// Every row of the Imperial Standard Wire Gauge: inches exact, millimetres exact and to three
// decimals, circular mils as printed, square millimetres to six figures.
func TestSWGRows(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rows := reference(t, "swg.csv")
	require.Len(t, table.Sizes(wire.SWG), len(rows))
	for _, row := range rows {
		s, err := table.Find(wire.SWG, row["swg"])
		require.NoError(t, err)
		require.InDelta(t, row.number(t, "diameter_in_exact"), wire.Inches(s.Diameter), 1e-12, s.ID)
		require.InDelta(t, row.number(t, "diameter_mm_exact"), float64(s.Diameter), 1e-12, s.ID)
		require.InDelta(t, row.number(t, "diameter_mm_3dp"), float64(s.DrawnDiameter()), 1e-12, s.ID)
		require.InDelta(t, row.number(t, "area_cmil"), wire.CircularMils(s.Area()), half(row["area_cmil"]), s.ID)
		require.InEpsilon(t, row.number(t, "area_mm2_computed"), float64(s.Area()), 5e-6, s.ID)
		require.InDelta(t, row.number(t, "gauge_index"), gaugeNumber(t, s.Size), 0, s.ID)
	}
}

// bookSlips are weights of the textbook that its own neighbours contradict: 24 AWG is printed 1.233 for
// 1.223 lb, 1 AWG 253.5 for 253.3 lb.
var bookSlips = map[string]bool{"24": true, "1": true}

// Every row of AWG: the rounded inch of ASTM B258 in mm, the formula in inches and mm as printed, and
// the weight of an open textbook, which is that of the unrounded diameter.
func TestAWGRows(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rows := reference(t, "awg.csv")
	require.Len(t, table.Sizes(wire.AWG), len(rows))
	weighed := 0
	for _, row := range rows {
		s, err := table.Find(wire.AWG, row["awg"])
		require.NoError(t, err)
		formula := wire.AWGFormulaDiameter(row.number(t, "n"))
		require.InDelta(t, row.number(t, "d_in_astm_b258_rounded"), wire.Inches(s.Diameter), 1e-12, s.ID)
		require.InDelta(t, row.number(t, "d_mm_from_rounded"), float64(s.Diameter), half(row["d_mm_from_rounded"]), s.ID)
		require.InDelta(t, row.number(t, "d_in_formula"), wire.Inches(formula), half(row["d_in_formula"]), s.ID)
		require.InDelta(t, row.number(t, "d_mm_from_formula"), float64(formula), half(row["d_mm_from_formula"]), s.ID)
		require.InDelta(t, row.number(t, "rounding_effect_diameter_pct"), 100*float64(s.Diameter/formula-1), half(row["rounding_effect_diameter_pct"]), s.ID)
		require.InDelta(t, row.number(t, "rounding_effect_area_pct"), 100*float64(s.Area()/wire.AreaOf(formula)-1), half(row["rounding_effect_area_pct"]), s.ID)
		if text := row["lb_per_1000ft_lessons"]; text != "" && !bookSlips[row["awg"]] {
			got := wire.PoundsPerThousandFeet(wire.MassPerMetre(wire.AreaOf(formula), wire.Copper))
			require.InDelta(t, row.number(t, "lb_per_1000ft_lessons"), got, 1.01*half(text), s.ID)
			weighed++
		}
	}
	require.Equal(t, 46, weighed)
}

// Every row of IEC 60317-0-1: what a size lists, and the resistance in its convention. Printed
// resistances agree with 1/58.5, 1/59 and 1/58 within their last figure or 0.05 %.
func TestIEC60317Rows(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rows := reference(t, "iec60317.csv")
	require.Len(t, table.Sizes(wire.Metric), len(rows))
	for _, row := range rows {
		s, err := table.Find(wire.Metric, row["nominal_mm"])
		require.NoError(t, err)
		require.True(t, wire.IsPreferred(s.Diameter), s.ID)
		if tol := row.number(t, "conductor_tol_plusminus_mm"); tol > 0 {
			require.InDelta(t, tol, float64(s.DiameterMax-s.Diameter), 1e-9, s.ID)
			require.InDelta(t, tol, float64(s.Diameter-s.DiameterMin), 1e-9, s.ID)
		} else {
			require.Zero(t, s.DiameterMin, s.ID)
			require.Contains(t, s.Evidence, "missing", s.ID)
		}
		for i, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
			c, ok := s.Cover(b)
			require.True(t, ok, s.ID)
			column := func(name string) float64 { return row.number(t, name+strconv.Itoa(i+1)+"_mm") }
			require.InDelta(t, column("min_increase_g"), float64(c.IncreaseMin), 0, "%s %s", s.ID, b)
			require.InDelta(t, column("max_od_g"), float64(c.OverallMax), 0, "%s %s", s.ID, b)
			if c.OverallMax == 0 && c.IncreaseMin == 0 {
				require.Contains(t, c.Evidence, "missing", "%s %s", s.ID, b)
			}
			require.NotEmpty(t, c.Evidence)
		}
		o := s.Ohms(wire.Copper, 20)
		require.Equal(t, wire.WindingWire, o.Convention)
		for name, got := range map[string]unit.OhmPerKilometre{"r20_min_ohm_per_m": o.Min, "r20_nom_ohm_per_m": o.Nominal, "r20_max_ohm_per_m": o.Max} {
			requirePrinted(t, row[name], float64(got)/1000, s.ID+" "+name)
		}
		// The formula itself, without what the table prints, where a tolerance is given: 0.05 %, and the
		// nominal everywhere: 0.1 %.
		bare := s
		bare.PrintedMin, bare.PrintedNominal, bare.PrintedMax = 0, 0, 0
		f := bare.Ohms(wire.Copper, 20)
		require.InEpsilon(t, float64(o.Nominal), float64(f.Nominal), 0.001, s.ID)
		if s.DiameterMin > 0 {
			require.InEpsilon(t, float64(o.Min), float64(f.Min), 0.0005, s.ID)
			require.InEpsilon(t, float64(o.Max), float64(f.Max), 0.0005, s.ID)
		}
	}
}

// requirePrinted compares a figure with a printed one within the last digit that is printed; "" asserts 0.
func requirePrinted(t *testing.T, text string, got float64, name string) {
	t.Helper()
	if text == "" {
		require.Zero(t, got, name)
		return
	}
	want, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	require.InDelta(t, want, got, 2*half(text), name)
}

// R40 sizes from 0.212 mm on are themselves intermediate sizes of the R20 series: the rule, given R20
// alone, must bring back every printed or derived figure of theirs. Below, the standard prints its own.
func TestRuleFromR20(t *testing.T) {
	t.Parallel()
	var r20 []wire.Size
	table := referenceTable(t)
	series := map[string]string{}
	for _, row := range reference(t, "iec60317.csv") {
		series[row["nominal_mm"]] = row["series"]
	}
	for _, s := range table.Sizes(wire.Metric) {
		if series[s.Size] == "R20" {
			r20 = append(r20, s)
		}
	}
	rule, err := wire.NewTable(r20)
	require.NoError(t, err)
	checked := 0
	for _, s := range table.Sizes(wire.Metric) {
		if series[s.Size] != "R40" || s.Diameter < 0.212 {
			continue
		}
		checked++
		tol, ok := rule.ToleranceFor(s.Diameter)
		require.True(t, ok, s.ID)
		require.InDelta(t, float64(s.DiameterMax-s.Diameter), float64(tol), 1e-9, s.ID)
		for _, want := range s.Covers {
			got, ok := rule.CoverFor(s.Diameter, want.Build)
			require.True(t, ok, s.ID)
			require.True(t, got.ByRule)
			require.InDelta(t, float64(want.IncreaseMin), float64(got.IncreaseMin), 1e-9, "%s %s", s.ID, want.Build)
			require.InDelta(t, float64(want.OverallMax), float64(got.OverallMax), 1e-9, "%s %s", s.ID, want.Build)
			require.InDelta(t, float64(want.OverallMin), float64(got.OverallMin), 1e-9, "%s %s", s.ID, want.Build)
		}
	}
	require.Equal(t, 28, checked)
}

// Every row of the enamelled SWG sizes to IS 13730-0-1: the rule columns are exact, and the printed
// columns agree except where the file names a slip of the sheet.
func TestIS13730Rows(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	slip := regexp.MustCompile(`(tol|inc_g\d|od_g\d) printed`)
	for _, row := range reference(t, "is13730_swg.csv") {
		s, err := table.Find(wire.SWG, row["swg"])
		require.NoError(t, err)
		require.InDelta(t, row.number(t, "nominal_mm"), float64(s.DrawnDiameter()), 1e-9, s.ID)
		require.Equal(t, row["next_larger_size_mm"], table.RuleSize(s.Diameter), s.ID)
		slips := map[string]bool{}
		for _, m := range slip.FindAllStringSubmatch(row["agreement"], -1) {
			slips[m[1]] = true
		}
		check := func(name string, got unit.Millimetre) {
			require.InDelta(t, row.number(t, name+"_rule"), float64(got), 1e-9, "%s %s by rule", s.ID, name)
			if row[name+"_printed"] != "" && !slips[name] {
				require.InDelta(t, row.number(t, name+"_printed"), float64(got), 1e-9, "%s %s as printed", s.ID, name)
			}
		}
		tol, _ := table.ToleranceFor(s.Diameter)
		check("tol", tol)
		require.Equal(t, tol > 0, s.ByRule, s.ID)
		if tol > 0 {
			require.InDelta(t, float64(2*tol), float64(s.DiameterMax-s.DiameterMin), 1e-9, s.ID)
		}
		for i, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
			c, ok := s.Cover(b)
			require.True(t, ok)
			require.True(t, c.ByRule || c.OverallMax == 0, s.ID)
			n := strconv.Itoa(i + 1)
			check("inc_g"+n, c.IncreaseMin)
			check("od_g"+n, c.OverallMax)
			free, ok := table.CoverFor(s.Diameter, b) // any bare diameter gets the same
			require.True(t, ok)
			require.Equal(t, c.OverallMax, free.OverallMax, s.ID)
		}
		requirePrinted(t, row["r20_nom_ohm_per_m_computed_58_5"], float64(s.Ohms(wire.Copper, 20).Nominal)/1000, s.ID)
	}
}

// Every row of nema_mw1000.csv, but for what is no check of ours: half sizes are not carried; the
// largest bare diameters of 6 to 10 AWG are called suspicious by the file's own head; quad builds are
// not carried. Resistances hold within one unit of the last printed figure.
func TestNEMARows(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	whole := 0
	for _, row := range reference(t, "nema_mw1000.csv") {
		if strings.Contains(row["awg"], ".") {
			continue
		}
		whole++
		s, err := table.Find(wire.AWG, row["awg"])
		require.NoError(t, err)
		require.InDelta(t, row.number(t, "bare_nom_in"), wire.Inches(s.Diameter), 1e-9, s.ID)
		o := s.Ohms(wire.Copper, 20)
		require.Equal(t, wire.AnnealedCopper, o.Convention)
		for column, got := range map[string]unit.OhmPerKilometre{"ohm_per_1000ft_20C_min": o.Min, "ohm_per_1000ft_20C_nom": o.Nominal, "ohm_per_1000ft_20C_max": o.Max} {
			if row[column] != "" {
				requirePrinted(t, row[column], wire.OhmsPerThousandFeet(got), s.ID+" "+column)
			}
		}
		if row["bare_lb_per_1000ft"] != "" {
			// The page's weights scatter about those of its own diameters: 0.2 % down to 22 AWG, 0.9 % below.
			allowed := 0.002
			if gaugeNumber(t, s.Size) > 22 {
				allowed = 0.009
			}
			require.InEpsilon(t, row.number(t, "bare_lb_per_1000ft"), wire.PoundsPerThousandFeet(s.Mass(wire.Copper)), allowed, s.ID)
		}
		for _, b := range []wire.Build{wire.Single, wire.Heavy, wire.Triple} {
			checkNEMABuild(t, row, s, b)
		}
	}
	require.Equal(t, 51, whole)
}

// checkNEMABuild compares builds in inches, to 0.0001 in (0.00001 in from 45 AWG), and holds the
// printed nominal overall diameter, which is no part of a size, between minimum and maximum.
func checkNEMABuild(t *testing.T, row record, s wire.Size, b wire.Build) {
	t.Helper()
	c, ok := s.Cover(b)
	require.True(t, ok, "%s %s", s.ID, b)
	name := s.ID + " " + string(b)
	at := func(column string) float64 { return row.number(t, string(b)+"_"+column) }
	require.InDelta(t, at("od_max_in"), wire.Inches(c.OverallMax), 1e-9, name)
	require.InDelta(t, at("min_increase_mil"), 1000*wire.Inches(c.IncreaseMin), 1e-9, name)
	if low := at("od_min_in"); low > 0 {
		require.InDelta(t, low, wire.Inches(c.OverallMin), 1e-9, name)
		if c.IncreaseMin > 0 { // an independent relation between three printed columns
			require.InDelta(t, low, wire.Inches(s.DiameterMin+c.IncreaseMin), 0.0001+1e-9, name)
		}
	}
	if nominal := at("od_nom_in"); nominal > 0 && c.OverallMax > 0 {
		require.Less(t, nominal, wire.Inches(c.OverallMax), name)
		require.Greater(t, nominal, wire.Inches(c.OverallMin), name)
	}
	require.False(t, c.ByRule, name)
	require.NotEmpty(t, c.Evidence, name)
}

// Every numeric row of constants.csv that names a constant of ours.
func TestConstantRows(t *testing.T) {
	t.Parallel()
	ours := map[string]float64{
		"copper_resistivity_20C_IACS":            wire.ResistivityAnnealedCopper,
		"copper_conductivity_100pct_IACS":        1 / wire.ResistivityAnnealedCopper,
		"copper_density_20C":                     wire.DensityCopper,
		"copper_mass_resistivity_IACS":           wire.ResistivityAnnealedCopper * wire.DensityCopper, // Ω·mm²/m × g/cm³ = Ω·g/m²
		"copper_ohm_cmil_per_ft_20C":             wire.ResistivityAnnealedCopper * 0.3048 / float64(wire.AreaOf(0.0254)),
		"winding_wire_resistivity_nominal":       wire.ResistivityWindingNominal,
		"winding_wire_resistivity_min":           wire.ResistivityWindingMin,
		"winding_wire_resistivity_max":           wire.ResistivityWindingMax,
		"aluminium_resistivity_20C_EC":           wire.ResistivityAluminium,
		"aluminium_conductivity_EC":              100 * wire.ResistivityAnnealedCopper / wire.ResistivityAluminium,
		"aluminium_density":                      wire.DensityAluminium,
		"temperature_constant_copper_US":         wire.ZeroResistanceCopper,
		"temperature_constant_aluminium_US":      wire.ZeroResistanceAluminium,
		"temperature_constant_aluminium_IEC":     wire.ZeroResistanceAluminium,
		"copper_alpha20":                         1 / (wire.ZeroResistanceCopper + 20),
		"inch":                                   unit.MillimetrePerInch,
		"conductor_tolerance_iec_0.071_to_0.224": 0.003,
	}
	found := 0
	for _, row := range reference(t, "constants.csv") {
		if want, known := ours[row["name"]]; known {
			found++
			require.InEpsilon(t, row.number(t, "numeric"), want, 0.0003, row["name"])
		}
	}
	require.Equal(t, len(ours), found)
	table := referenceTable(t)
	for _, d := range []unit.Millimetre{0.071, 0.1, 0.16, 0.224} {
		tol, ok := table.ToleranceFor(d)
		require.True(t, ok)
		require.InDelta(t, 0.003, float64(tol), 1e-12)
	}
	// "about 1 % of nominal": 0.500: 0.005, 1.000: 0.010, 2.000: 0.020, 5.000: 0.050.
	for _, d := range []unit.Millimetre{0.5, 1, 2, 5} {
		tol, ok := table.ToleranceFor(d)
		require.True(t, ok)
		require.InDelta(t, 0.01*float64(d), float64(tol), 1e-12)
	}
}
