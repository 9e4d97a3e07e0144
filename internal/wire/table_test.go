package wire_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/quick"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// fieldOf returns the one field of an error of KindImpossible.
func fieldOf(t testing.TB, err error) errs.Field {
	t.Helper()
	var e *errs.Error
	require.True(t, errors.As(err, &e), "%v", err)
	require.Equal(t, errs.KindImpossible, e.Kind)
	require.NotEmpty(t, e.Fields)
	require.NotEmpty(t, e.Fields[0].Code)
	require.NotEmpty(t, e.Fields[0].Detail)
	return e.Fields[0]
}

func TestParseSize(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		system     wire.System
		text, want string
	}{
		{wire.AWG, "4/0", "4/0"}, {wire.AWG, "0000", "4/0"}, {wire.AWG, "4-0", "4/0"}, {wire.AWG, "4/0 AWG", "4/0"}, {wire.AWG, "awg 4/0", "4/0"},
		{wire.AWG, "0", "1/0"}, {wire.AWG, "1/0", "1/0"}, {wire.SWG, "0000000", "7/0"}, {wire.SWG, "SWG 34", "34"}, {wire.SWG, " 34 ", "34"},
		{wire.SWG, "34swg", "34"}, {wire.AWG, "22.5", "22.5"}, {wire.Metric, "0.5", "0.500"}, {wire.Metric, "0.50", "0.500"}, {wire.Metric, "0.500 mm", "0.500"},
		{wire.Metric, "1", "1.000"}, {wire.Metric, "0.5005", "0.5005"}, {wire.Metric, "0.50000", "0.500"},
	} {
		got, err := wire.ParseSize(row.system, row.text)
		require.NoError(t, err, row.text)
		require.Equal(t, row.want, got, row.text)
	}
	for _, row := range []struct {
		system wire.System
		text   string
		says   string
	}{
		{wire.AWG, "", "empty"}, {wire.AWG, "  ", "empty"}, {wire.AWG, "AWG", "empty"}, {wire.AWG, "SWG 22", "names SWG"}, {wire.SWG, "22 awg", "names AWG"},
		{wire.AWG, "00/0", "ought size"}, {wire.AWG, "4/00", "ought size"}, {wire.AWG, "4/1", "ought size"}, {wire.AWG, "8/0", "ought size"}, {wire.AWG, "/0", "ought size"},
		{wire.AWG, "00000000", "seven noughts"}, {wire.AWG, "012", "leading zero"}, {wire.AWG, "-3", "whole number"}, {wire.AWG, "+12", "whole number"},
		{wire.AWG, "12a", "whole number"}, {wire.AWG, "1e1", "whole number"}, {wire.AWG, "12.", "whole number"}, {wire.AWG, ".5", "whole number"}, {wire.AWG, "1.2.3", "whole number"},
		{wire.AWG, "４", "whole number"}, {wire.AWG, "4\\0", "whole number"}, {wire.AWG, "4⁄0", "whole number"}, {wire.AWG, "4\x00", "whole number"},
		{wire.Metric, "0,5", "decimal point"}, {wire.Metric, ".5", "diameter in mm"}, {wire.Metric, "5.", "diameter in mm"}, {wire.Metric, "00.5", "one zero"}, {wire.Metric, "-0.5", "diameter in mm"},
		{wire.Metric, "mm 0.5", "after the figure"}, {wire.Metric, "0.5 swg", "names SWG"}, {wire.SWG, "0.5 mm", "names MM"}, {wire.Metric, "NaN", "diameter in mm"},
		{wire.Bare, "0.5", "no size"}, {"", "12", "no size"}, {wire.SWG, strings.Repeat("1", 33), "32 characters"},
	} {
		_, err := wire.ParseSize(row.system, row.text)
		require.ErrorContains(t, err, row.says, "%q", row.text)
	}
}

// FuzzParseSize: no panic, and whatever is read is read again as itself and makes a sound id.
func FuzzParseSize(f *testing.F) {
	for _, text := range []string{"4/0", "0000", "4-0", "4/0 AWG", "34", "0.500", "0,5", "", "\x00", "99999999999999999999", "1/0/0", "mm", "swg swg", "０"} {
		f.Add("awg", text)
		f.Add("swg", text)
		f.Add("metric", text)
	}
	table := referenceTable(f)
	f.Fuzz(func(t *testing.T, system, text string) {
		got, err := wire.ParseSize(wire.System(system), text)
		if err == nil {
			again, err := wire.ParseSize(wire.System(system), got)
			require.NoError(t, err)
			require.Equal(t, got, again)
			require.Regexp(t, `^(swg|awg|metric)-[0-9.]+(-0)?$`, wire.SizeID(wire.System(system), got))
		}
		s, err := table.Find(wire.System(system), text)
		if err == nil {
			require.Equal(t, wire.SizeID(s.System, s.Size), s.ID)
			return
		}
		require.NotEmpty(t, fieldOf(t, err).Detail)
	})
}

func TestFind(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, text := range []string{"4/0", "0000", "4-0", "4/0 awg"} {
		s, err := table.Find(wire.AWG, text)
		require.NoError(t, err, text)
		require.Equal(t, "awg-4-0", s.ID)
	}
	for _, row := range []struct {
		system  wire.System
		text    string
		allowed []string
	}{
		{wire.AWG, "99", []string{"55", "56"}}, {wire.SWG, "51", []string{"49", "50"}}, {wire.AWG, "7/0", []string{"4/0", "3/0"}}, {wire.AWG, "22.5", []string{"22", "23"}},
		{wire.SWG, "1000000", []string{"49", "50"}}, {wire.Metric, "0.51", []string{"0.530", "0.500"}}, {wire.Metric, "9", []string{"5.000", "4.750"}}, {wire.Metric, "0.001", []string{"0.019", "0.018"}},
	} {
		_, err := table.Find(row.system, row.text)
		f := fieldOf(t, err)
		require.Equal(t, wire.CodeUnknownSize, f.Code, row.text)
		require.Equal(t, row.allowed, f.Allowed, row.text)
		for _, a := range row.allowed {
			require.Contains(t, f.Detail, a)
		}
	}
	_, err := table.Find(wire.Bare, "0.5")
	require.Equal(t, wire.CodeUnknownSystem, fieldOf(t, err).Code)
	_, err = table.Find(wire.AWG, "x")
	require.Equal(t, wire.CodeBadSize, fieldOf(t, err).Code)
	_, ok := table.ByID("awg-99")
	require.False(t, ok)
}

// Gauge 12 without a system is two wires, 1.66 to 1 in area: both must be named.
func TestFindAmbiguous(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, read := range []func() error{
		func() error { _, err := table.Find("", "12"); return err },
		func() error {
			_, err := table.Resolve(wire.Wire{Size: "12", Conductor: wire.Copper, Strands: 1})
			return err
		},
	} {
		f := fieldOf(t, read())
		require.Equal(t, wire.CodeAmbiguousSize, f.Code)
		require.Contains(t, f.Detail, "SWG 12 (2.642 mm)")
		require.Contains(t, f.Detail, "AWG 12 (2.053 mm, drawn to 0.0808 in)")
	}
	for text, id := range map[string]string{"36 SWG": "swg-36", "swg36": "swg-36", "AWG 4/0": "awg-4-0", "0.5 mm": "metric-0.500"} { // these name it
		size, err := table.Find("", text)
		require.NoError(t, err, text)
		require.Equal(t, id, size.ID)
		r, err := table.Resolve(wire.Wire{Size: text, Conductor: wire.Copper, Strands: 1})
		require.NoError(t, err, text)
		require.Equal(t, size.Diameter, r.Bare)
	}
	_, err := table.Find("", "SWG 99")
	require.Equal(t, wire.CodeUnknownSize, fieldOf(t, err).Code)
	_, err = table.Find("", "nonsense")
	require.Equal(t, wire.CodeUnknownSystem, fieldOf(t, err).Code)
	_, err = table.Find("", "7/0") // only SWG has it, but a system is not guessed
	require.Equal(t, wire.CodeAmbiguousSize, fieldOf(t, err).Code)
}

func TestSizesOrder(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	sum := 0
	for _, system := range wire.Systems() {
		list := table.Sizes(system)
		sum += len(list)
		require.True(t, slices.IsSortedFunc(list, func(a, b wire.Size) int { return int(math.Copysign(1, float64(b.Diameter-a.Diameter))) }), system)
		for _, s := range list {
			got, ok := table.ByID(s.ID)
			require.True(t, ok)
			require.Equal(t, s, got)
			require.InDelta(t, float64(s.Diameter), mustParse(t, s.Text), 1e-12, s.ID)
		}
	}
	require.Equal(t, table.Len(), sum)
	require.Empty(t, table.Sizes(wire.Bare))
}

func mustParse(t *testing.T, text string) float64 { return mustFloat(t, text) }

// Every figure of every shipped size is ordered: conductor, overall diameters, resistances; a figure
// without evidence does not ship.
func TestSizesAreSound(t *testing.T) {
	t.Parallel()
	for _, s := range referenceTable(t).All() {
		require.NotEmpty(t, s.Evidence, s.ID)
		require.NotEmpty(t, s.Sources, s.ID)
		o := s.Ohms(wire.Copper, 20)
		require.Positive(t, float64(o.Nominal), s.ID)
		if o.Min > 0 {
			require.Less(t, o.Min, o.Nominal, s.ID)
		}
		if o.Max > 0 {
			require.Greater(t, o.Max, o.Nominal, s.ID)
		}
		last := unit.Millimetre(0)
		for _, c := range s.Covers {
			require.NotEmpty(t, c.Evidence, s.ID)
			if c.OverallMax > 0 {
				require.Greater(t, c.OverallMax, last, "%s %s: a thicker build is thicker", s.ID, c.Build)
				last = c.OverallMax
				require.Greater(t, c.OverallMax, s.Diameter, s.ID)
			}
			if c.OverallMin > 0 && c.OverallMax > 0 {
				require.Less(t, c.OverallMin, c.OverallMax, "%s %s", s.ID, c.Build)
			}
		}
		for _, src := range s.Sources {
			require.NotEmpty(t, src.Evidence, s.ID)
		}
	}
}

func TestNewTableRefuses(t *testing.T) {
	t.Parallel()
	good := wire.Size{ID: "metric-0.510", System: wire.Metric, Size: "0.510", Text: "0.510", Diameter: 0.51}
	change := func(f func(*wire.Size)) wire.Size { s := good; f(&s); return s }
	for name, bad := range map[string][]wire.Size{
		"double":        {good, good},
		"no system":     {change(func(s *wire.Size) { s.System = wire.Bare })},
		"wrong id":      {change(func(s *wire.Size) { s.ID = "metric-0.511" })},
		"NaN":           {change(func(s *wire.Size) { s.Diameter = unit.Millimetre(math.NaN()) })},
		"infinite":      {change(func(s *wire.Size) { s.Diameter = unit.Millimetre(math.Inf(1)) })},
		"zero":          {change(func(s *wire.Size) { s.Diameter = 0 })},
		"min above":     {change(func(s *wire.Size) { s.DiameterMin = 0.52 })},
		"max below":     {change(func(s *wire.Size) { s.DiameterMax = 0.50 })},
		"NaN max":       {change(func(s *wire.Size) { s.DiameterMax = unit.Millimetre(math.NaN()) })},
		"thin cover":    {change(func(s *wire.Size) { s.Covers = []wire.Cover{{Build: wire.Grade1, OverallMax: 0.505}} })},
		"crossed cover": {change(func(s *wire.Size) { s.Covers = []wire.Cover{{Build: wire.Grade1, OverallMin: 0.6, OverallMax: 0.55}} })},
		"NaN increase": {change(func(s *wire.Size) {
			s.Covers = []wire.Cover{{Build: wire.Grade1, IncreaseMin: unit.Millimetre(math.NaN()), OverallMax: 0.55}}
		})},
	} {
		_, err := wire.NewTable(bad)
		var e *errs.Error
		require.True(t, errors.As(err, &e), name)
		require.Len(t, e.Fields, 1, name)
	}
	empty, err := wire.NewTable(nil)
	require.NoError(t, err)
	require.Zero(t, empty.Len())
	_, err = empty.Find(wire.SWG, "22")
	require.Equal(t, wire.CodeUnknownSize, fieldOf(t, err).Code)
	_, err = empty.Resolve(wire.Wire{System: wire.Bare, Diameter: unit.Of(0.5), Conductor: wire.Copper, Build: wire.Grade2})
	require.NoError(t, err)
	id, err := empty.Identify(wire.Scrap{Readings: []unit.Measured{unit.Of(0.5)}})
	require.NoError(t, err)
	require.Empty(t, id.Candidates)
	res, err := empty.Equivalents(wire.Wire{System: wire.Bare, Diameter: unit.Of(0.5), Conductor: wire.Copper}, wire.EquivalentOptions{})
	require.NoError(t, err)
	require.Empty(t, res.Items)
}

// A local supply size, such as comes in a bundle, is found, but is no step of the intermediate-size rule.
func TestLocalSize(t *testing.T) {
	t.Parallel()
	local := wire.Size{ID: "metric-0.510", System: wire.Metric, Size: "0.510", Text: "0.510", Diameter: 0.51, DiameterMin: 0.50, DiameterMax: 0.52,
		Covers: []wire.Cover{{Build: wire.Grade2, IncreaseMin: 0.03, OverallMax: 0.55, Evidence: "demo"}}}
	half := wire.Size{ID: "awg-22.5", System: wire.AWG, Size: "22.5", Text: "0.607", Diameter: 0.607}
	plain := referenceTable(t)
	table, err := wire.NewTable(append(plain.All(), local, half))
	require.NoError(t, err)
	s, err := table.Find(wire.Metric, "0.51")
	require.NoError(t, err)
	require.Equal(t, local.ID, s.ID)
	s, err = table.Find(wire.AWG, "22.5")
	require.NoError(t, err)
	require.Equal(t, half.ID, s.ID)
	for _, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
		want, ok := plain.CoverFor(0.505, b)
		require.True(t, ok)
		got, ok := table.CoverFor(0.505, b)
		require.True(t, ok)
		require.Equal(t, want, got)
	}
	r, err := table.Resolve(wire.Wire{System: wire.Metric, Size: "0.510", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1})
	require.NoError(t, err)
	require.Equal(t, unit.Millimetre(0.55), r.Overall)
	require.False(t, r.OverallByRule)
}

func TestResolve(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, row := range []struct {
		name    string
		w       wire.Wire
		overall unit.Millimetre
		byRule  bool
	}{
		{"printed metric", wire.Wire{System: wire.Metric, Size: "0.500", Build: wire.Grade2, Strands: 1}, 0.566, false},
		{"SWG by rule", wire.Wire{System: wire.SWG, Size: "22", Build: wire.Grade1, Strands: 3}, 0.766, true},
		{"NEMA heavy", wire.Wire{System: wire.AWG, Size: "24", Build: wire.Heavy, Strands: 1}, 0.0227 * 25.4, false},
		{"AWG to an IEC grade by rule: 0.511 mm, step 0.530", wire.Wire{System: wire.AWG, Size: "24", Build: wire.Grade2, Strands: 1}, 0.581, true},
		{"bare by rule", wire.Wire{System: wire.Bare, Diameter: unit.Of(0.508), Build: wire.Grade1}, 0.554, true},
		{"no build", wire.Wire{System: wire.SWG, Size: "22", Strands: 1}, 0, false},
		{"a NEMA build is not mapped onto metric", wire.Wire{System: wire.Metric, Size: "0.500", Build: wire.Heavy, Strands: 1}, 0, false},
		{"beyond the rule", wire.Wire{System: wire.Bare, Diameter: unit.Of(6), Build: wire.Grade1}, 0, false},
	} {
		for _, metal := range []wire.Conductor{wire.Copper, wire.Aluminium} {
			row.w.Conductor = metal
			r, err := table.Resolve(row.w)
			require.NoError(t, err, row.name)
			require.InDelta(t, float64(row.overall), float64(r.Overall), 1e-9, row.name)
			require.Equal(t, row.byRule, r.OverallByRule, row.name)
			require.InEpsilon(t, float64(r.Area)*float64(max(row.w.Strands, 1)), float64(r.TotalArea), 1e-12, row.name)
			require.Equal(t, wire.Density(metal), r.Density)
			require.Equal(t, wire.Resistivity(metal, wire.AnnealedCopper), r.Resistivity)
		}
	}
	for name, row := range map[string]struct {
		w    wire.Wire
		code string
	}{
		"no metal":     {wire.Wire{System: wire.SWG, Size: "22"}, wire.CodeBadConductor},
		"steel":        {wire.Wire{System: wire.SWG, Size: "22", Conductor: "steel"}, wire.CodeBadConductor},
		"nine strands": {wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Strands: 9}, wire.CodeBadStrands},
		"minus one":    {wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Strands: -1}, wire.CodeBadStrands},
		"grade 4":      {wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Build: "grade_4"}, wire.CodeBadBuild},
		"no diameter":  {wire.Wire{System: wire.Bare, Conductor: wire.Copper}, wire.CodeBadDiameter},
		"NaN":          {wire.Wire{System: wire.Bare, Diameter: unit.Of(math.NaN()), Conductor: wire.Copper}, wire.CodeBadDiameter},
		"a bar":        {wire.Wire{System: wire.Bare, Diameter: unit.Of(26), Conductor: wire.Copper}, wire.CodeBadDiameter},
		"unknown size": {wire.Wire{System: wire.SWG, Size: "99", Conductor: wire.Copper}, wire.CodeUnknownSize},
		"odd system":   {wire.Wire{System: "bwg", Size: "22", Conductor: wire.Copper}, wire.CodeUnknownSystem},
	} {
		_, err := table.Resolve(row.w)
		require.Equal(t, row.code, fieldOf(t, err).Code, name)
	}
}

// The rule on any diameter: never thinner than the conductor, growing with the grade, and abstaining
// outside 0.018 to 5.000 mm.
func TestCoverForProperties(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rapid.Check(t, func(r *rapid.T) {
		d := unit.Millimetre(rapid.Float64Range(0.01, 6).Draw(r, "d"))
		last := unit.Millimetre(0)
		for _, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
			c, ok := table.CoverFor(d, b)
			require.Equal(r, d >= 0.0175-1e-9 && d < 5.0005-1e-9, ok, "%v", d)
			if !ok || c.OverallMax == 0 {
				continue
			}
			require.True(r, c.ByRule)
			require.Greater(r, c.OverallMax, d)
			require.Greater(r, c.OverallMax, last)
			last = c.OverallMax
		}
		require.Len(r, slices.DeleteFunc(table.Covers(d), func(c wire.Cover) bool {
			return c.Build == wire.Grade1 || c.Build == wire.Grade2 || c.Build == wire.Grade3
		}), 0)
		_, ok := table.CoverFor(d, wire.Heavy)
		require.False(r, ok, "NEMA builds have no rule")
	})
	_, ok := table.ToleranceFor(unit.Millimetre(math.NaN()))
	require.False(t, ok)
	_, ok = table.CoverFor(unit.Millimetre(math.NaN()), wire.Grade1)
	require.False(t, ok)
}

func TestIsPreferred(t *testing.T) {
	t.Parallel()
	count := 0
	for i := 1; i <= 6000; i++ {
		if wire.IsPreferred(unit.Millimetre(float64(i) / 1000)) {
			count++
		}
	}
	require.Equal(t, len(reference(t, "iec60317.csv")), count, "R20 and R40 from 0.018 to 5.000 mm")
}

// Conversions go there and back, and printed circular mils, feet and pounds agree (see the row tests).
func TestUnits(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 1, wire.Inches(25.4), 1e-15)
	require.InDelta(t, 1, wire.CircularMils(wire.AreaOf(0.0254)), 1e-12)
	require.InDelta(t, 5.067075e-4, float64(wire.AreaOf(0.0254)), 5e-11) // constants.csv, circular mil
	require.InDelta(t, 304.8, wire.OhmsPerThousandFeet(1000), 1e-9)
	require.InDelta(t, 671.97, wire.PoundsPerThousandFeet(1000), 0.005)
	require.NoError(t, quick.Check(func(x uint16) bool {
		d := unit.Millimetre(x) / 1000
		return math.Abs(float64(wire.DiameterOf(wire.AreaOf(d))-d)) < 1e-12
	}, nil))
	require.InDelta(t, 309.5/254.5, wire.TemperatureFactor(wire.Copper, 75), 1e-12)
	require.InDelta(t, 300.0/245, wire.TemperatureFactor(wire.Aluminium, 75), 1e-12)
	require.True(t, math.IsNaN(wire.TemperatureFactor("steel", 75)))
	require.True(t, math.IsNaN(wire.Density("")))
	require.True(t, math.IsNaN(wire.Resistivity(wire.Copper, "other")))
	require.Equal(t, wire.AnnealedCopper, wire.ConventionOf(wire.AWG))
	require.Equal(t, wire.WindingWire, wire.ConventionOf(wire.Bare))
}

// Aluminium has one resistivity and no printed figures; heat raises every limit alike.
func TestOhmsAluminiumAndHot(t *testing.T) {
	t.Parallel()
	for _, s := range referenceTable(t).All() {
		cold, hot := s.Ohms(wire.Copper, 20), s.Ohms(wire.Copper, 75)
		require.InEpsilon(t, 309.5/254.5, float64(hot.Nominal/cold.Nominal), 1e-12, s.ID)
		require.InDelta(t, 309.5/254.5*float64(cold.Max), float64(hot.Max), 1e-9*float64(cold.Nominal), s.ID)
		al := s.Ohms(wire.Aluminium, 20)
		require.Equal(t, wire.AluminiumEC, al.Convention)
		require.False(t, al.Printed)
		require.InEpsilon(t, 1000*0.028264/float64(wire.AreaOf(s.DrawnDiameter())), float64(al.Nominal), 1e-12, s.ID)
	}
}

// A wire that is named twice must be named alike. Nominal diameters: SWG 24 is 0.022 in = 0.5588 mm (BS 3737).
func TestClash(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	named := func(system wire.System, size string, d float64) wire.Wire {
		w := wire.Wire{System: system, Size: size, Conductor: wire.Copper, Strands: 1}
		if d > 0 {
			w.Diameter = unit.Of(d)
		}
		return w
	}
	for _, alike := range []wire.Wire{
		named(wire.SWG, "24", 0), named(wire.SWG, "24", 0.5588), named(wire.SWG, "24", 0.56), named(wire.SWG, "24", 0.55),
		named(wire.Metric, "0.018", 0.02), named(wire.Bare, "", 0.9), named(wire.SWG, "999", 0.9),
	} {
		require.NoError(t, table.Clash(alike), "%v", alike)
	}
	for _, twice := range []wire.Wire{named(wire.SWG, "24", 0.9), named(wire.SWG, "24", 0.511), named(wire.Bare, "24", 0.5588), named(wire.Bare, "24", 0)} {
		code := wire.CodeContradiction
		if twice.System == wire.Bare {
			code = wire.CodeBadSize
		}
		err := table.Clash(twice)
		var known *errs.Error
		require.ErrorAs(t, err, &known, "%v", twice)
		require.Equal(t, errs.KindImpossible, known.Kind)
		require.Equal(t, code, known.Fields[0].Code)
	}
	twice := named(wire.SWG, "24", 0.9)
	good := named(wire.SWG, "24", 0)
	pointer := func(err error) string {
		var known *errs.Error
		require.ErrorAs(t, err, &known)
		require.Equal(t, wire.CodeContradiction, known.Fields[0].Code)
		return known.Fields[0].Pointer
	}
	_, err := table.Equivalents(twice, wire.EquivalentOptions{})
	require.Equal(t, "/from/diameter_mm", pointer(err))
	_, err = table.Equivalents(good, wire.EquivalentOptions{StockGiven: true, Stock: []wire.Wire{good, twice}})
	require.Equal(t, "/stock/1/diameter_mm", pointer(err))
	_, err = table.Length(wire.Coil{Wires: []wire.Wire{twice}, Turns: unit.Of(100), MeanTurn: unit.Of(200)})
	require.Equal(t, "/wires/0/diameter_mm", pointer(err))
	r, err := table.Resolve(twice) // the size stands
	require.NoError(t, err)
	require.InDelta(t, 0.5588, float64(r.Bare), 1e-12)
}
