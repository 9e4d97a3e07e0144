package wire_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// enamelRows are the enamel systems for round copper wire, with the sizes that their standards cover.
type enamelRows []enamelRow

type enamelRow struct {
	iec, nema *wire.Enamel // the name by which metric and SWG wire, and AWG wire, is ordered; nil where none was seen
	low, high unit.Millimetre
}

// readEnamels reads enamel_classes.csv, without rectangular wire, aluminium, tape and bonding layers
// (self-bonding coils are no motor windings).
func readEnamels(t testing.TB) enamelRows {
	t.Helper()
	var all enamelRows
	for _, row := range reference(t, "enamel_classes.csv") {
		if row["conductor"] != "round copper" || row["bonding_layer"] != "no" || strings.Contains(row["resin_system"], "tape") {
			continue
		}
		how := seen
		if strings.Contains(row["verified"], "from memory") {
			how = row["verified"]
		}
		resin := strings.TrimSuffix(row["resin_system"], " (dual coat)")
		e := enamelRow{iec: &wire.Enamel{Name: resin, ThermalClass: row["thermal_class"], Source: row["standard"] + ", " + how}}
		if mw := row["nema_mw_quoted"]; mw != "" {
			e.nema = &wire.Enamel{Name: resin, ThermalClass: row["thermal_class"], Source: "NEMA " + mw + ", seen quoted; class of " + row["standard"]}
		}
		for _, column := range []string{"grade1_range_mm", "grade2_range_mm", "grade3_range_mm"} {
			e.widen(t, row[column])
		}
		if e.high == 0 { // range not seen: no further than the preferred sizes
			e.low, e.high = 0.018, 5
		}
		all = append(all, e)
	}
	require.NotEmpty(t, all)
	return all
}

// widen stretches the covered sizes by one printed range, such as "0.018-0.800" or "0.020-0.800 (1B)".
func (e *enamelRow) widen(t testing.TB, text string) {
	t.Helper()
	if text == "" {
		return
	}
	low, high, ok := strings.Cut(strings.Fields(text)[0], "-")
	require.True(t, ok, text)
	if l := mm(t, low); e.low == 0 || l < e.low {
		e.low = l
	}
	e.high = max(e.high, mm(t, high))
}

// of returns the systems that are made for a size: those whose standard's range holds it.
func (rows enamelRows) of(s wire.Size) []wire.Enamel {
	var all []wire.Enamel
	for _, e := range rows {
		one := e.iec
		if s.System == wire.AWG {
			one = e.nema
		}
		if one != nil && s.Diameter >= e.low && s.Diameter <= e.high {
			all = append(all, *one)
		}
	}
	return all
}

// Aluminium wire has its own enamel systems: those rows of enamel_classes.csv that name round aluminium, within
// their range of sizes, and none of those for copper. American sizes are ordered by NEMA names, of which none was seen.
func TestReferenceEnamelsOfAluminium(t *testing.T) {
	t.Parallel()
	rows := 0
	for _, row := range reference(t, "enamel_classes.csv") {
		if row["conductor"] != "round aluminium" {
			continue
		}
		rows++
		for _, s := range referenceTable(t).All() {
			made := s.EnamelsFor(wire.Aluminium)
			if s.System == wire.AWG || s.Diameter < 0.25 || s.Diameter > 5 { // grade 1 to 1.600, grade 2 to 5.000 mm
				require.Empty(t, made, s.ID)
				continue
			}
			require.Len(t, made, 1, s.ID)
			require.Equal(t, row["thermal_class"], made[0].ThermalClass)
			require.Equal(t, row["resin_system"], made[0].Name)
			require.Contains(t, made[0].Source, row["standard"])
			require.Equal(t, s.Enamels, s.EnamelsFor(wire.Copper))
		}
	}
	require.Equal(t, 1, rows)
}
