package wire_test

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// The published rows become sizes here. seeds/wires.jsonl is written from them (see seeds_test.go),
// and every test of the package works on the same table.

var referenceOnce struct {
	sync.Once
	table *wire.Table
}

// referenceTable is the table of all published sizes.
func referenceTable(t testing.TB) *wire.Table {
	t.Helper()
	referenceOnce.Do(func() {
		table, err := wire.NewTable(referenceSizes(t))
		require.NoError(t, err)
		referenceOnce.table = table
	})
	require.NotNil(t, referenceOnce.table, "the reference table could not be built")
	return referenceOnce.table
}

// referenceSizes builds metric sizes first, since the intermediate-size rule of the others rests on them.
func referenceSizes(t testing.TB) []wire.Size {
	t.Helper()
	metric := metricSizes(t)
	rule, err := wire.NewTable(metric)
	require.NoError(t, err)
	all := slices.Concat(swgSizes(t, rule), awgSizes(t), metric)
	enamels := readEnamels(t)
	for i := range all {
		all[i].Enamels = enamels.of(all[i])
	}
	return all
}

func mm(t testing.TB, text string) unit.Millimetre {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return unit.Millimetre(v)
}

// decimal multiplies decimal texts exactly and keeps every digit, without trailing zeros.
func decimal(t testing.TB, a, b string) string {
	t.Helper()
	x, ok := new(big.Rat).SetString(a)
	require.True(t, ok, a)
	y, ok := new(big.Rat).SetString(b)
	require.True(t, ok, b)
	return strings.TrimRight(strings.TrimRight(x.Mul(x, y).FloatString(9), "0"), ".")
}

// inch turns a printed inch figure into mm, exactly.
func inch(t testing.TB, text string) unit.Millimetre {
	t.Helper()
	if text == "" {
		return 0
	}
	return mm(t, decimal(t, text, "25.4"))
}

// offset adds two lengths that have at most nine decimals without binary dust.
func offset(t testing.TB, a, b unit.Millimetre) unit.Millimetre {
	t.Helper()
	return mm(t, strconv.FormatFloat(float64(a+b), 'f', 9, 64))
}

const (
	seen           = "seen"
	derived        = "derived"
	minimumOverall = "; minimum overall derived (nominal conductor + minimum increase)"
)

var ruleSource = wire.Source{Title: "IEC 60317-0-1", Place: "rule for intermediate sizes", Evidence: "derived: tolerance, increase and maximum overall diameter of the next larger preferred size"}

// metricSources names the standard for each place where a row was seen.
func metricSources(row record) []wire.Source {
	var all []wire.Source
	add := func(mark string, s wire.Source) {
		if strings.Contains(row["source"], mark) {
			all = append(all, s)
		}
	}
	if strings.HasPrefix(row["source"], "rule of IEC") {
		return []wire.Source{ruleSource, {Title: "IEC 60317-0-1", Edition: "GOST R IEC 60317-0-1-2022", Place: "Table 1", Evidence: "seen: the preferred size of which the rule takes"}}
	}
	add("GOST R", wire.Source{Title: "IEC 60317-0-1", Edition: "GOST R IEC 60317-0-1-2022", Place: "Table 1", Evidence: seen})
	add("GB/T 6109.1", wire.Source{Title: "IEC 60317-0-1", Edition: "GB/T 6109.1", Evidence: "supplier table, seen"})
	add("Quality Chart", wire.Source{Title: "IEC 60317-0-1", Edition: "IS 13730-0-1", Evidence: "supplier table, seen"})
	add("OpenMagnetics", wire.Source{Title: "IEC 60317-0-1", Place: "open data set of winding-wire tables", Evidence: seen})
	return all
}

// metricSizes reads the rows of IEC 60317-0-1.
func metricSizes(t testing.TB) []wire.Size {
	t.Helper()
	var all []wire.Size
	for _, row := range reference(t, "iec60317.csv") {
		d := mm(t, row["nominal_mm"])
		s := wire.Size{
			ID: wire.SizeID(wire.Metric, row["nominal_mm"]), System: wire.Metric, Size: row["nominal_mm"], Text: row["nominal_mm"],
			Diameter: d, Convention: wire.WindingWire, Sources: metricSources(row),
		}
		wholly := strings.HasPrefix(row["verified"], derived)
		partly := strings.Contains(row["notes"], "taken from next larger R20 row")
		if tol := unit.Millimetre(row.number(t, "conductor_tol_plusminus_mm")); tol > 0 {
			s.DiameterMin, s.DiameterMax = offset(t, d, -tol), offset(t, d, tol)
			s.ByRule = wholly || partly
			s.Evidence = seen + ": IEC 60317-0-1"
			if s.ByRule {
				s.Evidence = "derived: tolerance of the next larger R20 size"
			}
		} else {
			s.Evidence = "missing: the standard limits the resistance of so thin a conductor, not its diameter"
		}
		if strings.HasPrefix(row["resistance_source"], seen) {
			kilo := func(column string) unit.OhmPerKilometre {
				if row[column] == "" {
					return 0
				}
				return unit.OhmPerKilometre(mm(t, decimal(t, row[column], "1000")))
			}
			s.PrintedMin, s.PrintedNominal, s.PrintedMax = kilo("r20_min_ohm_per_m"), kilo("r20_nom_ohm_per_m"), kilo("r20_max_ohm_per_m")
			s.Sources = append(s.Sources, wire.Source{Title: "resistance per metre", Place: "supplier table", Evidence: "seen; the figures follow 1/58.5, 1/59 and 1/58 Ω·mm²/m"})
		}
		for i, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
			s.Covers = append(s.Covers, metricCover(t, row, s, b, i+1, wholly, partly))
		}
		all = append(all, s)
	}
	return all
}

// metricCover is one grade of one row, with what is known of it in words.
func metricCover(t testing.TB, row record, s wire.Size, b wire.Build, grade int, wholly, partly bool) wire.Cover {
	t.Helper()
	c := wire.Cover{
		Build:       b,
		IncreaseMin: unit.Millimetre(row.number(t, fmt.Sprintf("min_increase_g%d_mm", grade))),
		OverallMax:  unit.Millimetre(row.number(t, fmt.Sprintf("max_od_g%d_mm", grade))),
	}
	if c.IncreaseMin > 0 {
		c.OverallMin = offset(t, s.Diameter, c.IncreaseMin)
	}
	catalogue := strings.Contains(row["notes"], "grade 3 values are catalogue figures") && grade == 3
	switch {
	case c.OverallMax == 0 && c.IncreaseMin == 0:
		c.Evidence = "missing: no published figure was seen for this grade"
	case wholly:
		c.ByRule, c.Evidence = true, "derived: intermediate-size rule, next larger R20 size"
	case partly && grade > 1:
		c.ByRule, c.Evidence = true, "maximum overall seen; minimum increase derived from the next larger R20 size"
	case catalogue:
		c.Evidence = "catalogue figure, seen; not in the standard's page that was seen"
	case c.IncreaseMin == 0:
		c.Evidence = "maximum overall seen; minimum increase missing"
	case c.OverallMax == 0:
		c.Evidence = "minimum increase seen; maximum overall missing"
	default:
		c.Evidence = seen
	}
	if grade == 2 && strings.Contains(row["notes"], "DISPUTED") {
		c.Evidence += "; maximum overall disputed: the sheets that were seen differ by 0.001 to 0.003 mm"
	}
	if c.OverallMin > 0 {
		c.Evidence += minimumOverall
	}
	return c
}

// swgSizes reads the gauge and covers it by the intermediate-size rule.
func swgSizes(t testing.TB, rule *wire.Table) []wire.Size {
	t.Helper()
	checked := map[string]bool{}
	for _, row := range reference(t, "is13730_swg.csv") {
		checked[row["swg"]] = true
	}
	var all []wire.Size
	for _, row := range reference(t, "swg.csv") {
		text := decimal(t, row["diameter_in_exact"], "25.4")
		d := mm(t, text)
		s := wire.Size{
			ID: wire.SizeID(wire.SWG, row["swg"]), System: wire.SWG, Size: row["swg"], Text: text, Diameter: d, Convention: wire.WindingWire,
			Sources: []wire.Source{{Title: "Imperial Standard Wire Gauge", Edition: "legal inch values of 1883/84, BS 3737:1964 (withdrawn)", Evidence: "seen: several independent published lists compared"}},
		}
		if tol, ok := rule.ToleranceFor(d); ok {
			rounded := mm(t, fmt.Sprintf("%.3f", wire.Size{System: wire.SWG, Diameter: d}.DrawnDiameter()))
			s.DiameterMin, s.DiameterMax, s.ByRule = offset(t, rounded, -tol), offset(t, rounded, tol), true
			s.Evidence = "derived: diameter rounded to " + fmt.Sprintf("%.3f", rounded) + " mm, tolerance of the preferred size " + rule.RuleSize(d) + " mm"
		} else {
			s.Evidence = "missing: no published tolerance for this thickness"
		}
		for _, b := range []wire.Build{wire.Grade1, wire.Grade2, wire.Grade3} {
			c, ok := rule.CoverFor(d, b)
			if !ok {
				c = wire.Cover{Build: b, Evidence: "missing: the preferred sizes end at 5.000 mm"}
			}
			if c.OverallMin > 0 {
				c.Evidence += minimumOverall
			}
			s.Covers = append(s.Covers, c)
		}
		if rule.RuleSize(d) != "" {
			s.Sources = append(s.Sources, ruleSource)
		}
		if checked[row["swg"]] {
			s.Sources = append(s.Sources, wire.Source{Title: "IS 13730-0-1", Place: "enamelled SWG sizes", Evidence: "supplier table, seen; compared with the rule"})
		}
		all = append(all, s)
	}
	return all
}
