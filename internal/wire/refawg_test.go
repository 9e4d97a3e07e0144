package wire_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// suspiciousBareMax lists the rows whose largest bare diameter the head of nema_mw1000.csv calls
// suspicious: it disagrees with the printed minimum resistance by 0.35 to 0.6 %.
var suspiciousBareMax = map[string]bool{"6": true, "7": true, "8": true, "9": true, "10": true}

// awgSizes reads the gauge at the inch figure that ASTM B258 rounds to, and NEMA MW 1000 builds.
func awgSizes(t testing.TB) []wire.Size {
	t.Helper()
	nema := map[string]record{}
	for _, row := range reference(t, "nema_mw1000.csv") {
		nema[row["awg"]] = row
	}
	var all []wire.Size
	for _, row := range reference(t, "awg.csv") {
		text := decimal(t, row["d_in_astm_b258_rounded"], "25.4")
		s := wire.Size{
			ID: wire.SizeID(wire.AWG, row["awg"]), System: wire.AWG, Size: row["awg"], Text: text, Diameter: mm(t, text), Convention: wire.AnnealedCopper,
			Evidence: "missing: no published tolerance was seen for this size",
			Sources:  []wire.Source{{Title: "ASTM B258", Place: "diameter rounded to 0.0001 in (45 to 56: 0.00001 in)", Evidence: "seen: several published lists compared"}},
		}
		if published, ok := nema[row["awg"]]; ok {
			addNEMA(t, &s, published)
		} else {
			for _, b := range []wire.Build{wire.Single, wire.Heavy, wire.Triple} {
				s.Covers = append(s.Covers, wire.Cover{Build: b, Evidence: "missing: NEMA MW 1000 builds were seen from 6 AWG on"})
			}
		}
		all = append(all, s)
	}
	return all
}

// addNEMA adds limits of the conductor, builds and the source.
func addNEMA(t testing.TB, s *wire.Size, row record) {
	t.Helper()
	s.Sources = append(s.Sources, wire.Source{Title: "NEMA MW 1000", Place: "round film-insulated wire", Evidence: nemaEvidence(row["verified"])})
	if row["bare_min_in"] != "" {
		s.DiameterMin, s.Evidence = inch(t, row["bare_min_in"]), seen+": NEMA MW 1000"
		if suspiciousBareMax[s.Size] {
			s.Evidence = "minimum seen (NEMA MW 1000); maximum missing: the printed figure disagrees with the printed resistance"
			// 1 Ω/1000 ft is 1000/304.8 Ω/km.
			v, err := strconv.ParseFloat(row["ohm_per_1000ft_20C_min"], 64)
			require.NoError(t, err)
			s.PrintedMin = unit.OhmPerKilometre(sixDigits(v * 1000 / 304.8))
		} else {
			s.DiameterMax = inch(t, row["bare_max_in"])
		}
	}
	for _, b := range []wire.Build{wire.Single, wire.Heavy, wire.Triple} {
		s.Covers = append(s.Covers, nemaCover(t, row, b))
	}
}

// nemaEvidence tells in general words what was seen; the file names the pages.
func nemaEvidence(verified string) string {
	if strings.Contains(verified, "dataset C only") {
		return "open data set, seen"
	}
	return "supplier tables and open data set, seen"
}

// nemaCover is one build of one row.
func nemaCover(t testing.TB, row record, b wire.Build) wire.Cover {
	t.Helper()
	c := wire.Cover{Build: b, OverallMin: inch(t, row[string(b)+"_od_min_in"]), OverallMax: inch(t, row[string(b)+"_od_max_in"])}
	if mil := row[string(b)+"_min_increase_mil"]; mil != "" {
		c.IncreaseMin = mm(t, decimal(t, mil, "0.0254"))
	}
	var words []string
	if c.OverallMax > 0 {
		how := seen
		if b == wire.Heavy && strings.Contains(row["verified"], "heavy_od_max_in from memory") {
			how = "from memory, within 0.0002 in of the nominal"
		}
		words = append(words, "maximum overall "+how)
	} else {
		words = append(words, "maximum overall missing: no published figure was seen")
		if nominal := row[string(b)+"_od_nom_in"]; nominal != "" {
			words = append(words, "nominal overall "+nominal+" in ("+decimal(t, nominal, "25.4")+" mm) seen")
		}
	}
	switch {
	case c.IncreaseMin == 0:
		words = append(words, "minimum increase missing")
	case b == wire.Triple:
		words = append(words, "minimum increase derived (minimum overall - smallest conductor)")
	default:
		words = append(words, "minimum increase "+seen)
	}
	switch bareMin := inch(t, row["bare_min_in"]); {
	case c.OverallMin > 0:
		words = append(words, "minimum overall "+seen)
	case c.IncreaseMin > 0 && bareMin > 0:
		c.OverallMin = offset(t, bareMin, c.IncreaseMin)
		words = append(words, "minimum overall derived (smallest conductor + minimum increase)")
	}
	c.Evidence = strings.Join(words, "; ")
	return c
}
