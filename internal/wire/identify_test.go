package wire_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// micro is a reading of a micrometer with a step of 0.001 mm.
func micro(d float64) unit.Measured {
	return unit.Measured{Given: true, Value: d, Resolution: 0.001}
}

// chances adds the probabilities of each size, whatever its build and metal.
func chances(id wire.Identification) map[string]float64 {
	sums := map[string]float64{}
	for _, c := range id.Candidates {
		sums[wire.SizeID(c.Wire.System, c.Wire.Size)] += c.Probability
	}
	return sums
}

func total(id wire.Identification) float64 {
	sum := 0.0
	for _, c := range id.Candidates {
		sum += c.Probability
	}
	return sum
}

// SWG 21 and AWG 20 are both 0.8128 mm (0.032 in in either table): no measurement may favour one by
// more than the prior does, and none may be called certain.
func TestIdentifyTwins(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, row := range []struct{ a, b string }{
		{"swg-21", "awg-20"}, {"swg-15", "awg-13"}, {"swg-33", "awg-30"}, {"swg-42", "awg-38"},
	} {
		size, ok := table.ByID(row.a)
		require.True(t, ok)
		ohm := float64(size.Ohms(wire.Copper, 20).Nominal) / 1000 * 50
		id, err := table.Identify(wire.Scrap{
			Readings: []unit.Measured{micro(float64(size.Diameter)), micro(float64(size.Diameter)), micro(float64(size.Diameter))},
			Surface:  wire.SurfaceBare, Condition: wire.ConditionClean,
			Resistance: &wire.ResistanceReading{Ohm: unit.Measured{Given: true, Value: ohm, Uncertainty: ohm / 1000}, Length: unit.Of(50), Temperature: unit.Of(20)},
		})
		require.NoError(t, err)
		p := chances(id)
		require.Greater(t, p[row.a]+p[row.b], 0.6, "%v: %v", row, p)
		require.Less(t, math.Max(p[row.a], p[row.b]), 0.8, "%v: %v", row, p)
		require.True(t, slices.ContainsFunc(id.Inseparable, func(pair [2]string) bool { return slices.Contains(pair[:], row.a) && slices.Contains(pair[:], row.b) }), "%v", id.Inseparable)
		require.Contains(t, id.SettleBy[len(id.SettleBy)-1]+id.SettleBy[0], "no measurement tells them apart")
	}
}

func TestIdentifySituations(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for _, row := range []struct {
		name  string
		scrap wire.Scrap
		want  string  // the size that was meant
		least float64 // its probability at least, where its neighbours leave it that much
		most  float64 // and at most, where they are too near
	}{
		{"bare, 0.001 mm, alone in its neighbourhood", wire.Scrap{Readings: []unit.Measured{micro(1.219), micro(1.220), micro(1.218)}, Surface: "bare", Condition: "clean"}, "swg-18", 0.95, 1},
		{"bare, coarse", wire.Scrap{Readings: []unit.Measured{{Given: true, Value: 0.56, Resolution: 0.01}}, Surface: "bare", Condition: "clean"}, "swg-24", 0.3, 0.8},
		{"over grade 2 enamel of 0.500 mm (max 0.566, min 0.540)", wire.Scrap{Readings: []unit.Measured{micro(0.553)}, Surface: "over_enamel", Condition: "clean"}, "metric-0.500", 0.2, 0.8},
		{"burnt SWG 22 reads 2 % thin", wire.Scrap{Readings: []unit.Measured{micro(0.7112 * 0.98)}, Surface: "bare", Condition: "burnt"}, "swg-22", 0.2, 0.7},
		{"nothing told", wire.Scrap{Readings: []unit.Measured{{Given: true, Value: 0.36, Resolution: 0.01}}}, "awg-27", 0.15, 0.6},
		{"resistance alone", wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(0.5441 * 20), Length: unit.Of(20), Temperature: unit.Of(20)}}, "metric-0.200", 0.25, 0.95},
		{"two strands in parallel", wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(0.5441 * 10), Length: unit.Of(20), Temperature: unit.Of(20), Strands: 2}}, "metric-0.200", 0.25, 0.95},
		{"hot resistance", wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(0.5441 * 20 * (234.5 + 75) / 254.5), Length: unit.Of(20), Temperature: unit.Of(75)}}, "metric-0.200", 0.25, 0.95},
		{"mass of bare wire: SWG 18 is 10.379 g/m", wire.Scrap{Mass: &wire.MassReading{Gram: unit.Of(103.79), Length: unit.Of(10)}, Surface: "bare", Condition: "clean"}, "swg-18", 0.5, 1},
	} {
		id, err := table.Identify(row.scrap)
		require.NoError(t, err, row.name)
		require.InDelta(t, 1, total(id), 1e-9, row.name)
		p := chances(id)
		require.GreaterOrEqual(t, p[row.want], row.least, "%s: %v", row.name, p)
		require.LessOrEqual(t, p[row.want], row.most, "%s: %v", row.name, p)
		if p[row.want] < 0.9 {
			require.NotEmpty(t, id.SettleBy, row.name)
		}
	}
}

// Diameter and resistance together tell aluminium from copper: the ratio is 1.64.
func TestIdentifyMetal(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	size, _ := table.ByID("metric-1.000")
	for _, metal := range []wire.Conductor{wire.Copper, wire.Aluminium} {
		ohm := float64(size.Ohms(metal, 20).Nominal) / 1000 * 25
		id, err := table.Identify(wire.Scrap{
			Readings: []unit.Measured{micro(1.0)}, Surface: wire.SurfaceBare, Condition: wire.ConditionClean,
			Resistance: &wire.ResistanceReading{Ohm: unit.Of(ohm), Length: unit.Of(25), Temperature: unit.Of(20)},
		})
		require.NoError(t, err)
		sum := 0.0
		for _, c := range id.Candidates {
			if c.Wire.Conductor == metal {
				sum += c.Probability
			}
		}
		require.Greater(t, sum, 0.99, "%s", metal)
	}
}

func TestIdentifyAbstains(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	for name, s := range map[string]wire.Scrap{
		"thicker than any size":        {Readings: []unit.Measured{micro(20)}, Surface: "bare", Condition: "clean"},
		"diameter against resistance":  {Readings: []unit.Measured{micro(1)}, Surface: "bare", Condition: "clean", Resistance: &wire.ResistanceReading{Ohm: unit.Of(100), Length: unit.Of(1), Temperature: unit.Of(20)}},
		"between SWG 7/0 and the rest": {Readings: []unit.Measured{micro(15)}, Surface: "bare", Condition: "burnt"},
	} {
		id, err := table.Identify(s)
		require.NoError(t, err, name)
		require.Empty(t, id.Candidates, name)
		require.Contains(t, findingCodes(id.Findings), "fits_no_size", name)
		require.NotEmpty(t, id.SettleBy, name)
	}
	id, err := table.Identify(wire.Scrap{Readings: []unit.Measured{micro(0.40), micro(0.45), micro(0.41)}, Surface: "bare", Condition: "clean"})
	require.NoError(t, err)
	require.Contains(t, findingCodes(id.Findings), "readings_disagree")
}

func TestIdentifyRefuses(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	nan := unit.Of(math.NaN())
	for name, row := range map[string]struct {
		scrap   wire.Scrap
		pointer string
	}{
		"nothing given":     {wire.Scrap{}, "/readings"},
		"zero diameter":     {wire.Scrap{Readings: []unit.Measured{unit.Of(0)}}, "/readings/0/diameter_mm"},
		"negative diameter": {wire.Scrap{Readings: []unit.Measured{unit.Of(0.5), unit.Of(-0.5)}}, "/readings/1/diameter_mm"},
		"NaN diameter":      {wire.Scrap{Readings: []unit.Measured{nan}}, "/readings/0/diameter_mm"},
		"a bar, no wire":    {wire.Scrap{Readings: []unit.Measured{unit.Of(60)}}, "/readings/0/diameter_mm"},
		"too many":          {wire.Scrap{Readings: make([]unit.Measured, 51)}, "/readings/0/diameter_mm"},
		"no ohms":           {wire.Scrap{Resistance: &wire.ResistanceReading{Length: unit.Of(1), Temperature: unit.Of(20)}}, "/resistance/ohm"},
		"no length":         {wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(1), Temperature: unit.Of(20)}}, "/resistance/length_m"},
		"red hot":           {wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(1), Length: unit.Of(1), Temperature: unit.Of(900)}}, "/resistance/temperature_c"},
		"strands":           {wire.Scrap{Resistance: &wire.ResistanceReading{Ohm: unit.Of(1), Length: unit.Of(1), Temperature: unit.Of(20), Strands: 9}}, "/resistance/strands"},
		"NaN mass":          {wire.Scrap{Mass: &wire.MassReading{Gram: nan, Length: unit.Of(1)}}, "/mass/g"},
		"mass strands":      {wire.Scrap{Mass: &wire.MassReading{Gram: unit.Of(1), Length: unit.Of(1), Strands: -1}}, "/mass/strands"},
	} {
		_, err := table.Identify(row.scrap)
		var e *errs.Error
		require.True(t, errors.As(err, &e), name)
		require.Equal(t, errs.KindImpossible, e.Kind, name)
		require.Equal(t, row.pointer, e.Fields[0].Pointer, name)
	}
}

// truth is one invented scrap with noise taken from common practice: bare readings
// with 0.004 mm and a step of 0.01 mm, enamel known to 12 %, burnt wire 2 % thin give or take 1.6 %.
func truth(rng *rand.Rand, table *wire.Table) (id string, s wire.Scrap) {
	var able []wire.Size
	for _, size := range table.All() {
		if size.Diameter > 0.15 && size.Diameter < 3 {
			able = append(able, size)
		}
	}
	// Even over systems and over the logarithm of the diameter: a diameter is drawn, then the size that stands for it.
	system := wire.Systems()[rng.IntN(3)]
	at := math.Exp(math.Log(0.2) + rng.Float64()*math.Log(2.5/0.2))
	best := wire.Size{}
	for _, size := range able {
		if size.System == system && (best.ID == "" || math.Abs(math.Log(float64(size.Diameter)/at)) < math.Abs(math.Log(float64(best.Diameter)/at))) {
			best = size
		}
	}
	d := float64(best.Diameter)
	reading := d + 0.004*rng.NormFloat64()
	switch draw := rng.Float64(); {
	case draw < 0.35:
		var covers []wire.Cover
		for _, c := range best.Covers {
			if c.OverallMax > 0 && c.OverallMin > 0 {
				covers = append(covers, c)
			}
		}
		if len(covers) > 0 {
			c := covers[rng.IntN(len(covers))]
			enamel := float64(c.OverallMin+c.OverallMax)/2 - d
			reading += enamel * (1 + 0.12*rng.NormFloat64())
		}
	case draw < 0.55:
		reading *= 0.98 + 0.016*rng.NormFloat64()
	}
	return best.ID, wire.Scrap{Readings: []unit.Measured{{Given: true, Value: math.Round(reading*100) / 100, Resolution: 0.01}}}
}

// Probabilities must mean what they say: over many invented scraps, when the first size is given
// probability p, a share p of them must be right. The noise of the scraps is not the model's own.
func TestIdentifyIsCalibrated(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rng := rand.New(rand.NewPCG(7, 11))
	const n = 3000
	var said, right [10]float64
	hits, listed := 0, 0
	for range n {
		want, s := truth(rng, table)
		id, err := table.Identify(s)
		require.NoError(t, err)
		p := chances(id)
		best := ""
		for size, v := range p {
			if best == "" || v > p[best] || v == p[best] && size < best {
				best = size
			}
		}
		bin := min(int(p[best]*10), 9)
		said[bin] += p[best]
		if best == want {
			right[bin]++
			hits++
		}
		if p[want] > 0 {
			listed++
		}
	}
	gap := 0.0
	for i := range said {
		gap += math.Abs(said[i] - right[i])
	}
	require.Less(t, gap/n, 0.05, "said %v right %v", said, right)
	require.Greater(t, float64(listed)/n, 0.995, "the truth must nearly always be among the candidates")
	t.Logf("first right %.3f, calibration gap %.3f", float64(hits)/n, gap/n)
}

// Whatever is read, probabilities are probabilities, and the order is stable.
func TestIdentifyProperties(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	rapid.Check(t, func(r *rapid.T) {
		s := wire.Scrap{
			Surface:   rapid.SampledFrom([]wire.Surface{"", wire.SurfaceBare, wire.SurfaceOverEnamel, wire.SurfaceUnknown}).Draw(r, "surface"),
			Condition: rapid.SampledFrom([]wire.Condition{"", wire.ConditionClean, wire.ConditionBurnt, wire.ConditionUnknown}).Draw(r, "condition"),
		}
		for range rapid.IntRange(1, 4).Draw(r, "n") {
			s.Readings = append(s.Readings, unit.Measured{
				Given: true, Value: math.Exp(rapid.Float64Range(math.Log(0.006), math.Log(24)).Draw(r, "log d")),
				Resolution: rapid.SampledFrom([]float64{0, 0.001, 0.01, 0.1}).Draw(r, "step"),
			})
		}
		if rapid.Bool().Draw(r, "with mass") {
			s.Mass = &wire.MassReading{Gram: unit.Of(rapid.Float64Range(0.01, 1000).Draw(r, "g")), Length: unit.Of(10)}
		}
		id, err := table.Identify(s)
		require.NoError(r, err)
		again, err := table.Identify(s)
		require.NoError(r, err)
		require.Equal(r, id, again)
		if len(id.Candidates) == 0 {
			require.Contains(r, findingCodes(id.Findings), "fits_no_size")
			return
		}
		require.InDelta(r, 1, total(id), 1e-9)
		for i, c := range id.Candidates {
			require.True(r, c.Probability > 0 && c.Probability <= 1, "%v", c)
			require.False(r, i > 0 && c.Probability > id.Candidates[i-1].Probability)
		}
	})
}

// A resistance without a temperature is taken at 20 °C, as the contract of the service says, with the
// spread of a workshop, and a finding tells it. Metric 0.560 has 69.4 Ω/km at 20 °C (IEC 60317-0-1, 1/58.5).
func TestIdentifyTemperatureNotTold(t *testing.T) {
	t.Parallel()
	table := referenceTable(t)
	scrap := func(temperature unit.Measured) wire.Scrap {
		return wire.Scrap{
			Resistance: &wire.ResistanceReading{Ohm: with(6.94, 0.01), Length: with(100, 0.1), Temperature: temperature},
			Surface:    wire.SurfaceBare, Condition: wire.ConditionClean, Conductor: wire.Copper,
		}
	}
	untold, err := table.Identify(scrap(unit.Measured{}))
	require.NoError(t, err)
	require.Contains(t, findingCodes(untold.Findings), "temperature_assumed")
	require.Greater(t, chances(untold)["metric-0.560"], 0.2)
	told, err := table.Identify(scrap(with(20, 0.5)))
	require.NoError(t, err)
	require.NotContains(t, findingCodes(told.Findings), "temperature_assumed")
	require.Less(t, untold.Candidates[0].Probability, told.Candidates[0].Probability) // less told, less sure
	cold, err := table.Identify(scrap(with(0, 0.5)))                                  // zero that was told is zero
	require.NoError(t, err)
	require.Less(t, chances(cold)["metric-0.560"], 0.05)
}

func BenchmarkIdentify(b *testing.B) {
	table := referenceTable(b)
	b.Run("diameter, nothing told", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := table.Identify(wire.Scrap{Readings: []unit.Measured{micro(0.36)}}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("diameter, resistance and mass", func(b *testing.B) {
		s := wire.Scrap{
			Readings: []unit.Measured{micro(0.36), micro(0.361)}, Surface: wire.SurfaceBare, Condition: wire.ConditionClean,
			Resistance: &wire.ResistanceReading{Ohm: unit.Of(1.7), Length: unit.Of(10), Temperature: unit.Of(22)},
			Mass:       &wire.MassReading{Gram: unit.Of(9.05), Length: unit.Of(10)},
		}
		b.ReportAllocs()
		for b.Loop() {
			if _, err := table.Identify(s); err != nil {
				b.Fatal(err)
			}
		}
	})
}
