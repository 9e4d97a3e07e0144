package wire_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// rival is one combination of the brute-force search, which knows nothing of windows, rings or heaps.
type rival struct {
	wires    []wire.Wire
	err      float64
	tier     int
	step     int
	strands  int
	slot     int64 // millionths
	sortText string
}

// member is one gauge that brute force may take in hand.
type member struct {
	w    wire.Wire
	r    wire.Resolved
	rank int
}

// tableMembers lists every size of the target systems in the one build asked for.
func tableMembers(t testing.TB, table *wire.Table, metal wire.Conductor, o wire.EquivalentOptions) []member {
	t.Helper()
	var pool []member
	for i, s := range table.All() {
		c, ok := s.Cover(o.Builds[0])
		if !slices.Contains(o.Systems, s.System) || !ok || c.OverallMax == 0 && c.IncreaseMin == 0 {
			continue
		}
		w := wire.Wire{System: s.System, Size: s.Size, Conductor: metal, Build: o.Builds[0], Strands: 1}
		r, err := table.Resolve(w)
		require.NoError(t, err)
		pool = append(pool, member{w, r, i})
	}
	return pool
}

// bruteForce tries every member and pair of members at every number of strands and sorts by the
// documented rank.
func bruteForce(t testing.TB, table *wire.Table, from wire.Wire, o wire.EquivalentOptions, pool []member) []rival {
	t.Helper()
	old, err := table.Resolve(from)
	require.NoError(t, err)
	metal := cmp.Or(o.Conductor, from.Conductor)
	target := float64(old.TotalArea) * wire.Resistivity(metal, wire.AnnealedCopper) / wire.Resistivity(from.Conductor, wire.AnnealedCopper)
	low, high := -50.0, 100.0
	if o.Limits.AreaErrorLow != nil {
		low, high = *o.Limits.AreaErrorLow, *o.Limits.AreaErrorHigh
	}
	var all []rival
	add := func(parts ...member) {
		area, square, known := 0.0, 0.0, old.Overall > 0
		v := rival{}
		for _, p := range parts {
			area += float64(p.w.Strands) * float64(p.r.Area)
			square += float64(p.w.Strands) * float64(p.r.Overall) * float64(p.r.Overall)
			known = known && p.r.Overall > 0
			v.strands += p.w.Strands
			v.wires = append(v.wires, p.w)
			v.sortText += fmt.Sprintf("%05d-", p.rank)
		}
		farApart := len(parts) == 2 && parts[0].r.Bare > 2*parts[1].r.Bare
		v.err = 100 * (area/target - 1)
		if v.strands > o.MaxStrands || v.err < low || v.err > high {
			return
		}
		v.step = int(math.Abs(v.err)/0.1 + 0.5)
		v.slot = math.MaxInt64
		ratio := 0.0
		if known {
			ratio = square / (float64(old.Strands) * float64(old.Overall) * float64(old.Overall))
			v.slot = int64(math.Round(ratio * 1e6))
		}
		if v.err < -2 || ratio > 1.05 || old.Overall > 0 && !known || farApart {
			v.tier = 1
		}
		v.sortText += fmt.Sprint(parts[0].w.Strands)
		all = append(all, v)
	}
	pool = slices.DeleteFunc(pool, func(m member) bool {
		return o.Limits.MaxBare > 0 && m.r.Bare > o.Limits.MaxBare ||
			o.Limits.MaxOverall > 0 && (m.r.Overall == 0 || m.r.Overall > o.Limits.MaxOverall)
	})
	for _, x := range pool {
		for a := 1; a <= o.MaxStrands; a++ {
			x.w.Strands = a
			add(x)
			if !o.Mixed {
				continue
			}
			for _, y := range pool {
				if x.r.Bare <= y.r.Bare { // each pair once, thick gauge first; twins are no pair
					continue
				}
				for b := 1; a+b <= o.MaxStrands; b++ {
					y.w.Strands = b
					add(x, y)
				}
			}
		}
	}
	slices.SortFunc(all, func(a, b rival) int {
		return cmp.Or(cmp.Compare(a.tier, b.tier), cmp.Compare(a.step, b.step), cmp.Compare(len(a.wires), len(b.wires)), cmp.Compare(a.strands, b.strands),
			cmp.Compare(a.slot, b.slot), cmp.Compare(millionths(a.err), millionths(b.err)), cmp.Compare(a.sortText, b.sortText))
	})
	return all
}

func millionths(err float64) int64 { return int64(math.Round(math.Abs(err) * 1e6)) }

// thinned is the reference table with every k-th size, so that brute force stays quick.
func thinned(t testing.TB, k, first int) *wire.Table {
	t.Helper()
	var some []wire.Size
	for i, s := range referenceTable(t).All() {
		if i%k == first%k || s.System == wire.Metric { // the rule needs the metric sizes
			some = append(some, s)
		}
	}
	table, err := wire.NewTable(some)
	require.NoError(t, err)
	return table
}

// requireSame compares the answers with those of brute force, place by place.
func requireSame(t require.TestingT, want []rival, got wire.EquivalentResult, limit int) {
	require.Len(t, got.Items, min(len(want), limit))
	for i, e := range got.Items {
		require.InDelta(t, want[i].err, e.AreaErrorPct, 1e-7, "place %d", i)
		require.Len(t, e.Wires, len(want[i].wires), "place %d", i)
		for j, w := range e.Wires {
			require.Equal(t, want[i].wires[j].System, w.System, "place %d", i)
			require.Equal(t, want[i].wires[j].Size, w.Size, "place %d", i)
			require.Equal(t, want[i].wires[j].Build, w.Build, "place %d", i)
			require.Equal(t, want[i].wires[j].Strands, w.Strands, "place %d", i)
		}
	}
}

// drawQuestion draws a wire to be replaced and what may replace it.
func drawQuestion(r *rapid.T, table *wire.Table) (wire.Wire, wire.EquivalentOptions) {
	all := table.All()
	old := all[rapid.IntRange(0, len(all)-1).Draw(r, "old")]
	build := rapid.SampledFrom([]wire.Build{wire.Grade1, wire.Grade2, wire.Grade3}).Draw(r, "build")
	from := wire.Wire{
		System: old.System, Size: old.Size, Conductor: rapid.SampledFrom([]wire.Conductor{wire.Copper, wire.Aluminium}).Draw(r, "metal"),
		Build: rapid.SampledFrom([]wire.Build{build, ""}).Draw(r, "old build"), Strands: rapid.IntRange(1, 8).Draw(r, "strands"),
	}
	o := wire.EquivalentOptions{
		Systems:    []wire.System{wire.SWG, wire.Metric},
		Builds:     []wire.Build{build},
		Conductor:  rapid.SampledFrom([]wire.Conductor{"", wire.Copper, wire.Aluminium}).Draw(r, "new metal"),
		MaxStrands: rapid.IntRange(1, 5).Draw(r, "max strands"),
		Mixed:      rapid.Bool().Draw(r, "mixed"),
		Limit:      rapid.IntRange(1, 40).Draw(r, "limit"),
	}
	if rapid.Bool().Draw(r, "band") {
		low := rapid.Float64Range(-30, 5).Draw(r, "low")
		high := rapid.Float64Range(-5, 30).Draw(r, "high")
		o.Limits.AreaErrorLow, o.Limits.AreaErrorHigh = &low, &high
	}
	if rapid.Bool().Draw(r, "hand") {
		o.Limits.MaxBare = unit.Millimetre(rapid.Float64Range(0.2, 2).Draw(r, "max bare"))
	}
	if rapid.Bool().Draw(r, "opening") {
		o.Limits.MaxOverall = unit.Millimetre(rapid.Float64Range(0.2, 2).Draw(r, "max overall"))
	}
	return from, o
}

// The search must list what brute force lists, in the same order, mixed pairs included.
func TestEquivalentsAgainstBruteForce(t *testing.T) {
	t.Parallel()
	tables := []*wire.Table{thinned(t, 3, 0), thinned(t, 3, 1), thinned(t, 2, 1)}
	rapid.Check(t, func(r *rapid.T) {
		table := tables[rapid.IntRange(0, len(tables)-1).Draw(r, "table")]
		from, o := drawQuestion(r, table)
		got, err := table.Equivalents(from, o)
		require.NoError(r, err)
		requireSame(r, bruteForce(t, table, from, o, tableMembers(t, table, cmp.Or(o.Conductor, from.Conductor), o)), got, o.Limit)
	})
}

// The same from a stock of unlike wires: any pair of the shelf may lie in hand, whatever the build.
func TestEquivalentsFromStockAgainstBruteForce(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	all := table.All()
	rapid.Check(t, func(r *rapid.T) {
		from, o := drawQuestion(r, table)
		from.Build = "" // thinner enamel has its own test; here the shelf mixes builds
		metal := cmp.Or(o.Conductor, from.Conductor)
		o.Systems, o.Builds, o.StockGiven = nil, nil, true
		var pool []member
		listed := map[string]bool{}
		for i := range rapid.IntRange(0, 25).Draw(r, "stock") {
			s := all[rapid.IntRange(0, len(all)-1).Draw(r, "size")]
			w := wire.Wire{System: s.System, Size: s.Size, Conductor: metal, Build: rapid.SampledFrom([]wire.Build{"", wire.Grade1, wire.Heavy}).Draw(r, "stock build")}
			if rapid.IntRange(0, 3).Draw(r, "bare") == 0 {
				d := math.Round(rapid.Float64Range(0.02, 3).Draw(r, "d")*1000) / 1000
				w = wire.Wire{System: wire.Bare, Diameter: unit.Of(d), Conductor: metal, Build: wire.Grade2}
			}
			o.Stock = append(o.Stock, w)
			resolved, err := table.Resolve(w)
			require.NoError(r, err)
			if key := fmt.Sprint(w); !listed[key] { // a wire that is listed twice counts once
				listed[key] = true
				pool = append(pool, member{w, resolved, i})
			}
		}
		got, err := table.Equivalents(from, o)
		require.NoError(r, err)
		requireSame(r, bruteForce(t, table, from, o, pool), got, o.Limit)
	})
}

// Every figure of an answer, worked here from the resolved wires.
func TestEquivalentFigures(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rapid.Check(t, func(r *rapid.T) {
		from, o := drawQuestion(r, table)
		o.Systems = nil
		if rapid.Bool().Draw(r, "all builds") {
			o.Builds = nil
		}
		res, err := table.Equivalents(from, o)
		require.NoError(r, err)
		old, err := table.Resolve(from)
		require.NoError(r, err)
		for i, e := range res.Items {
			area, square, ohm, mass := 0.0, 0.0, 0.0, 0.0
			strands, known := 0, old.Overall > 0
			for j, w := range e.Wires {
				x, err := table.Resolve(w)
				require.NoError(r, err)
				require.Equal(r, x.Overall, e.Overall[j])
				require.InDelta(r, float64(x.Bare), w.Diameter.Value, 1e-12)
				area += float64(x.TotalArea)
				square += float64(w.Strands) * float64(x.Overall) * float64(x.Overall)
				ohm = x.Resistivity
				mass += x.Density * float64(x.TotalArea)
				strands += w.Strands
				known = known && x.Overall > 0
			}
			oldArea := float64(old.TotalArea)
			require.LessOrEqual(r, strands, o.MaxStrands)
			require.InEpsilon(r, oldArea/area, e.CurrentDensityRatio, 1e-9)
			require.InEpsilon(r, ohm/area/(old.Resistivity/oldArea), e.ResistanceRatio, 1e-9)
			require.InDelta(r, 100*(1/e.ResistanceRatio-1), e.AreaErrorPct, 1e-6, "the area error is against equal resistance")
			require.InEpsilon(r, math.Sqrt(area/oldArea), e.DiameterRatio, 1e-9)
			require.InEpsilon(r, mass/(old.Density*oldArea), e.MassRatio, 1e-9)
			require.Equal(r, known, e.SlotArea != nil)
			if known {
				ratio := square / (float64(old.Strands) * float64(old.Overall) * float64(old.Overall))
				require.InEpsilon(r, ratio, e.SlotArea.Square, 1e-9)
				require.InEpsilon(r, ratio, e.SlotArea.Circle, 1e-9)
			}
			warned, gauges, plural := "no warning", "one gauge", ""
			warnings := slices.DeleteFunc(slices.Clone(e.Findings), func(f errs.Finding) bool {
				return f.Severity != errs.SeverityWarning || f.Code == "needs_joint_practice"
			})
			if len(warnings) > 0 {
				warned = "after those without a warning"
			}
			if slices.Contains(findingCodes(e.Findings), "needs_joint_practice") {
				warned += " but for the joints"
			}
			if len(e.Wires) == 2 {
				gauges = "two gauges"
			}
			if strands > 1 {
				plural = "s"
			}
			slot, found := strings.CutPrefix(e.RankReason, fmt.Sprintf("rank %d: %s; area error %+.1f %% (ranked without its sign, in steps of 0.1 %%); %s, %d strand%s; enamelled slot area ", i+1, warned, e.AreaErrorPct, gauges, strands, plural))
			require.True(r, found, e.RankReason)
			if known {
				ratio, err := strconv.ParseFloat(strings.TrimPrefix(slot, "x"), 64)
				require.NoError(r, err)
				require.InDelta(r, e.SlotArea.Square, ratio, 0.00051)
			} else {
				require.Equal(r, "not known", slot)
			}
			require.Equal(r, e.AreaErrorPct < -2, slices.Contains(findingCodes(e.Findings), "area_low"))
			require.Equal(r, known && e.SlotArea.Square > 1.05, slices.Contains(findingCodes(e.Findings), "does_not_fit"))
			for _, f := range e.Findings {
				require.NotEmpty(r, f.Message)
				require.NotEmpty(r, f.Fields)
			}
		}
	})
}

func ptr(v float64) *float64 { return &v }

// classes reads letters as insulation.Temperature does; that package is tested on its own.
func classes(name string) (unit.Celsius, bool) {
	t, ok := map[string]unit.Celsius{"B": 130, "F": 155, "H": 180}[name]
	return t, ok
}

func TestEquivalentsLimitsAndFindings(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	old := wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Build: wire.Grade2, ThermalClass: "F", Strands: 1}
	shelf := func(class string, sizes ...string) []wire.Wire {
		var all []wire.Wire
		for _, s := range sizes {
			all = append(all, wire.Wire{System: wire.SWG, Size: s, Conductor: wire.Copper, Build: wire.Grade2, ThermalClass: class, Strands: 1})
		}
		return all
	}
	for _, row := range []struct {
		name     string
		o        wire.EquivalentOptions
		empty    bool
		excluded string
		finding  string
	}{
		{"empty stock", wire.EquivalentOptions{StockGiven: true}, true, wire.ExcludedStockEmpty, ""},
		{"band upside down", wire.EquivalentOptions{Limits: wire.Limits{AreaErrorLow: ptr(5), AreaErrorHigh: ptr(-5)}}, true, wire.ExcludedBandEmpty, ""},
		{"band that nothing meets", wire.EquivalentOptions{MaxStrands: 1, Limits: wire.Limits{AreaErrorLow: ptr(0.2), AreaErrorHigh: ptr(0.3)}}, true, wire.ExcludedArea, ""},
		{"slot opening too narrow", wire.EquivalentOptions{Limits: wire.Limits{MaxOverall: 0.01}}, true, wire.ExcludedOverall, ""},
		{"nothing so thin to wind by hand", wire.EquivalentOptions{Limits: wire.Limits{MaxBare: 0.01}}, true, wire.ExcludedBare, ""},
		{"stock of another metal", wire.EquivalentOptions{Conductor: wire.Aluminium, StockGiven: true, Stock: shelf("F", "22")}, true, wire.ExcludedConductor, ""},
		{"stock of another system", wire.EquivalentOptions{Systems: []wire.System{wire.AWG}, StockGiven: true, Stock: shelf("F", "22")}, true, wire.ExcludedSystem, ""},
		{"stock in another build", wire.EquivalentOptions{Builds: []wire.Build{wire.Grade1}, StockGiven: true, Stock: shelf("F", "22")}, true, wire.ExcludedBuild, ""},
		{"class too low", wire.EquivalentOptions{StockGiven: true, Stock: shelf("B", "22"), Limits: wire.Limits{MinThermalClass: "F"}}, true, wire.ExcludedClass, ""},
		{"class not stated", wire.EquivalentOptions{StockGiven: true, Stock: shelf("", "22"), Limits: wire.Limits{MinThermalClass: "155"}}, true, wire.ExcludedClassUnknown, ""},
		{"overall not known", wire.EquivalentOptions{StockGiven: true, Stock: []wire.Wire{{System: wire.SWG, Size: "22", Conductor: wire.Copper}}, Limits: wire.Limits{MaxOverall: 2}}, true, wire.ExcludedOverallUnknown, ""},
		{"NEMA build of a metric size", wire.EquivalentOptions{Systems: []wire.System{wire.Metric}, Builds: []wire.Build{wire.Heavy}}, true, wire.ExcludedBuild, ""},
		{"lower class warns", wire.EquivalentOptions{StockGiven: true, Stock: shelf("B", "22")}, false, "", "class_lower"},
		{"no class notes", wire.EquivalentOptions{}, false, "", "class_not_stated"},
		{"two thinner gauges", wire.EquivalentOptions{StockGiven: true, Stock: shelf("F", "25", "26"), Mixed: true, MaxStrands: 2}, false, "", "mixed_gauges"},
		{"a hair beside a rod", wire.EquivalentOptions{StockGiven: true, Stock: shelf("F", "22", "36"), Mixed: true, MaxStrands: 2}, false, "", "gauges_far_apart"},
		{"too thin", wire.EquivalentOptions{StockGiven: true, Stock: shelf("F", "23"), MaxStrands: 1}, false, "", "area_low"},
		{"too thick", wire.EquivalentOptions{StockGiven: true, Stock: shelf("F", "21"), MaxStrands: 1}, false, "", "does_not_fit"},
		{"thin enamel", wire.EquivalentOptions{Systems: []wire.System{wire.AWG}, Builds: []wire.Build{wire.Single}, MaxStrands: 1}, false, "", "enamel_thinner"},
		{"AWG to a grade by rule", wire.EquivalentOptions{Systems: []wire.System{wire.AWG}, Builds: []wire.Build{wire.Grade2}, MaxStrands: 1}, false, "", "overall_by_rule"},
		{"fit not known", wire.EquivalentOptions{StockGiven: true, Stock: []wire.Wire{{System: wire.SWG, Size: "22", Conductor: wire.Copper}}}, false, "", "fit_unknown"},
	} {
		row.o.ClassTemperature = classes
		res, err := table.Equivalents(old, row.o)
		require.NoError(t, err, row.name)
		require.Equal(t, row.empty, len(res.Items) == 0, row.name)
		require.NotNil(t, res.Items, row.name)
		if row.excluded != "" {
			require.Positive(t, res.Excluded[row.excluded], "%s: %v", row.name, res.Excluded)
		}
		if row.finding != "" {
			require.True(t, slices.ContainsFunc(res.Items, func(e wire.Equivalent) bool { return slices.Contains(findingCodes(e.Findings), row.finding) }), row.name)
		}
	}
}

// A heavier NEMA build comes before a lighter one in place of grade 2, and class changes are in kelvin.
func TestEquivalentsBuildsAndClass(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	old := wire.Wire{System: wire.SWG, Size: "24", Conductor: wire.Copper, Build: wire.Grade2, ThermalClass: "F", Strands: 1}
	res, err := table.Equivalents(old, wire.EquivalentOptions{Systems: []wire.System{wire.AWG}, MaxStrands: 1, ClassTemperature: classes, Limits: wire.Limits{MinThermalClass: "H"}})
	require.NoError(t, err)
	place := map[wire.Build]int{}
	for i, e := range res.Items {
		if e.Wires[0].Size == "23" {
			place[e.Wires[0].Build] = i + 1
		}
		require.NotNil(t, e.ThermalClassChange)
		require.InDelta(t, 25, *e.ThermalClassChange, 0)
		require.Equal(t, "H", e.Wires[0].ThermalClass)
	}
	require.Positive(t, place[wire.Heavy])
	require.Less(t, place[wire.Heavy], place[wire.Single], "%v", place)
}

func TestEquivalentsRefuses(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	good := wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}
	for name, row := range map[string]struct {
		from    wire.Wire
		o       wire.EquivalentOptions
		pointer string
	}{
		"unknown size":     {wire.Wire{System: wire.SWG, Size: "99", Conductor: wire.Copper}, wire.EquivalentOptions{}, "/from/size"},
		"gauge alone":      {wire.Wire{Size: "12", Conductor: wire.Copper}, wire.EquivalentOptions{}, "/from/system"},
		"nine strands":     {wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, Strands: 9}, wire.EquivalentOptions{}, "/from/strands"},
		"no metal":         {wire.Wire{System: wire.SWG, Size: "22"}, wire.EquivalentOptions{}, "/from/conductor"},
		"no diameter":      {wire.Wire{System: wire.Bare, Conductor: wire.Copper}, wire.EquivalentOptions{}, "/from/diameter_mm"},
		"class":            {wire.Wire{System: wire.SWG, Size: "22", Conductor: wire.Copper, ThermalClass: "Q"}, wire.EquivalentOptions{}, "/from/thermal_class"},
		"max strands":      {good, wire.EquivalentOptions{MaxStrands: 9}, "/to/max_strands"},
		"negative strands": {good, wire.EquivalentOptions{MaxStrands: -1}, "/to/max_strands"},
		"limit":            {good, wire.EquivalentOptions{Limit: 201}, "/limit"},
		"system":           {good, wire.EquivalentOptions{Systems: []wire.System{wire.SWG, "bwg"}}, "/to/systems/1"},
		"build":            {good, wire.EquivalentOptions{Builds: []wire.Build{"grade_9"}}, "/to/builds/0"},
		"metal":            {good, wire.EquivalentOptions{Conductor: "gold"}, "/to/conductor"},
		"negative overall": {good, wire.EquivalentOptions{Limits: wire.Limits{MaxOverall: -1}}, "/limits/max_overall_mm"},
		"NaN bare":         {good, wire.EquivalentOptions{Limits: wire.Limits{MaxBare: unit.Millimetre(math.NaN())}}, "/limits/max_bare_mm"},
		"NaN band":         {good, wire.EquivalentOptions{Limits: wire.Limits{AreaErrorLow: ptr(math.NaN())}}, "/limits/area_error_pct/low"},
		"class limit":      {good, wire.EquivalentOptions{Limits: wire.Limits{MinThermalClass: "hot"}}, "/limits/min_thermal_class"},
		"stock size":       {good, wire.EquivalentOptions{StockGiven: true, Stock: []wire.Wire{good, {System: wire.AWG, Size: "4/1", Conductor: wire.Copper}}}, "/stock/1/size"},
		"stock class":      {good, wire.EquivalentOptions{StockGiven: true, Stock: []wire.Wire{{System: wire.AWG, Size: "22", Conductor: wire.Copper, ThermalClass: "Z"}}}, "/stock/0/thermal_class"},
		"endless stock":    {good, wire.EquivalentOptions{StockGiven: true, Stock: make([]wire.Wire, 501)}, "/stock"},
	} {
		_, err := table.Equivalents(row.from, row.o)
		require.Equal(t, row.pointer, fieldOf(t, err).Pointer, name)
	}
	_, err := table.Equivalents(good, wire.EquivalentOptions{MaxStrands: 9, Limit: 999, Conductor: "gold"})
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	require.Len(t, e.Fields, 3, "one request's mistakes are named together")
}

func TestNearest(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	swg := []wire.System{wire.SWG}
	// A gauge is nearest to itself, alone and twice in hand.
	for _, s := range table.All() {
		near := table.Nearest(s.Area(), wire.NearestOptions{Systems: []wire.System{s.System}, Limit: 1})
		require.Equal(t, s.Size, near[0].Wire.Size, s.ID)
		require.Equal(t, 1, near[0].Wire.Strands, s.ID)
		require.InDelta(t, 0, near[0].AreaErrorPct, 1e-9)
	}
	near := table.Nearest(2*wire.AreaOf(1.2192), wire.NearestOptions{Systems: swg, MaxBare: 1.3})
	require.Equal(t, "18", near[0].Wire.Size, "too thick for one wire by hand")
	require.Equal(t, 2, near[0].Wire.Strands)
	stock := []wire.Wire{
		{System: wire.SWG, Size: "21", Conductor: wire.Copper, Build: wire.Grade2}, {System: wire.SWG, Size: "24", Conductor: wire.Copper},
		{System: wire.SWG, Size: "99", Conductor: wire.Copper}, {System: wire.SWG, Size: "22", Conductor: wire.Aluminium},
	}
	near = table.Nearest(2*wire.AreaOf(0.5588), wire.NearestOptions{Stock: stock[1:], Systems: swg})
	require.True(t, near[0].FromStock)
	require.Equal(t, "24", near[0].Wire.Size)
	require.Equal(t, 2, near[0].Wire.Strands)
	far := table.Nearest(wire.AreaOf(3), wire.NearestOptions{Stock: stock[:1], Systems: swg, MaxStrands: 1})
	require.False(t, far[0].FromStock, "a stock that is far off does not stand first")
	for _, bad := range []unit.SquareMillimetre{0, -1, unit.SquareMillimetre(math.NaN()), unit.SquareMillimetre(math.Inf(1))} {
		require.Empty(t, table.Nearest(bad, wire.NearestOptions{}))
	}
	// Against brute force: no single gauge of the system is nearer than the first answer.
	rapid.Check(t, func(r *rapid.T) {
		area := wire.AreaOf(unit.Millimetre(math.Exp(rapid.Float64Range(math.Log(0.03), math.Log(10)).Draw(r, "log d"))))
		system := rapid.SampledFrom(wire.Systems()).Draw(r, "system")
		got := table.Nearest(area, wire.NearestOptions{Systems: []wire.System{system}, MaxStrands: 1, Limit: 1})
		require.Len(r, got, 1)
		for _, s := range table.Sizes(system) {
			require.LessOrEqual(r, math.Abs(math.Log1p(got[0].AreaErrorPct/100)), math.Abs(math.Log(float64(s.Area()/area)))+1e-12)
		}
	})
}

// findingCodes lists the codes of an answer.
func findingCodes(list []errs.Finding) []string {
	var codes []string
	for _, f := range list {
		codes = append(codes, f.Code)
	}
	return codes
}

// Overall diameters of aluminium wire are looked up in the tables of copper wire, and an answer says so.
func TestAluminiumOverallIsBorrowed(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	from := wire.Wire{System: wire.SWG, Size: "24", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}
	for metal, want := range map[wire.Conductor]bool{wire.Copper: false, wire.Aluminium: true} {
		res, err := table.Equivalents(from, wire.EquivalentOptions{Conductor: metal, Systems: []wire.System{wire.Metric}})
		require.NoError(t, err)
		require.NotEmpty(t, res.Items)
		for _, item := range res.Items {
			require.Equal(t, want, slices.Contains(findingCodes(item.Findings), "overall_from_copper_table"))
		}
	}
}
