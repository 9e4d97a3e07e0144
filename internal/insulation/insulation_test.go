package insulation_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/unit"
)

// Class temperatures of IEC 60085, as any table of it prints them.
func TestClassTemperatures(t *testing.T) {
	t.Parallel()
	want := map[string]unit.Celsius{"Y": 90, "A": 105, "E": 120, "B": 130, "F": 155, "H": 180, "N": 200, "R": 220, "250": 250}
	all := classes(t)
	require.Len(t, all, len(want))
	for _, c := range all {
		require.Equal(t, want[c.Letter], c.MaxHotSpot, c.Letter)
		require.Equal(t, "standard_limit", c.Source.Kind)
		require.Equal(t, "IEC 60085", c.Source.Title)
		for _, r := range c.Rises {
			require.Equal(t, "guidance", r.Source.Kind, "rises stay guidance until the standard itself was seen")
			require.Less(t, float64(r.Rise)+40, float64(c.MaxHotSpot)+1e-9, "%s: 40 °C and the rise must not pass the class", c.Letter)
			require.NotEmpty(t, r.Source.Evidence)
		}
	}
}

// Rises by resistance of IEC 60034-1 (item 1c seen quoted, 1d and 1e from memory), and the hot-spot
// allowance that is left of the class: 105-40-60, 130-40-80, 155-40-105, 180-40-125 (seen).
func TestRisesAndHotSpot(t *testing.T) {
	t.Parallel()
	all := classes(t)
	for _, row := range []struct {
		letter  string
		rises   []unit.Kelvin
		hotSpot float64
	}{
		{"A", []unit.Kelvin{60, 65, 65}, 5},
		{"E", []unit.Kelvin{75, 75, 75}, 0},
		{"B", []unit.Kelvin{80, 85, 85}, 10},
		{"F", []unit.Kelvin{105, 110, 110}, 10},
		{"H", []unit.Kelvin{125, 130, 130}, 15},
		{"Y", nil, 0},
	} {
		c, err := insulation.Find(all, row.letter)
		require.NoError(t, err)
		var got []unit.Kelvin
		for _, r := range c.Rises {
			got = append(got, r.Rise)
		}
		require.Equal(t, row.rises, got, row.letter)
		if row.hotSpot == 0 {
			require.Nil(t, c.HotSpot, row.letter)
			continue
		}
		require.InDelta(t, row.hotSpot, c.HotSpot.Value, 0, row.letter)
		require.InDelta(t, float64(c.MaxHotSpot)-40-float64(c.Rises[0].Rise), c.HotSpot.Value, 0, row.letter)
	}
}

func TestFind(t *testing.T) {
	t.Parallel()
	all := classes(t)
	for _, row := range []struct{ text, letter string }{
		{"F", "F"}, {"f", "F"}, {" H ", "H"}, {"155", "F"}, {"130 L", "B"}, {"130L", "B"}, {"250", "250"}, {"105", "A"},
	} {
		c, err := insulation.Find(all, row.text)
		require.NoError(t, err, row.text)
		require.Equal(t, row.letter, c.Letter, row.text)
	}
	for _, text := range []string{"", "C", "156", "-155", "FF", "1e2", "130 M", "null", "\x00", "155.0"} {
		_, err := insulation.Find(all, text)
		var e *errs.Error
		require.ErrorAs(t, err, &e, text)
		require.Equal(t, errs.KindImpossible, e.Kind)
		require.Equal(t, insulation.CodeUnknownClass, e.Fields[0].Code)
		require.NotEmpty(t, e.Fields[0].Allowed)
	}
	_, err := insulation.Find(nil, "F")
	require.Error(t, err)
}

func TestTemperature(t *testing.T) {
	t.Parallel()
	all := classes(t)
	for text, want := range map[string]unit.Celsius{"B": 130, "130 L": 130, "240": 240, "200": 200, "250": 250} {
		got, ok := insulation.Temperature(all, text)
		require.True(t, ok, text)
		require.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "89", "276", "hot", "NaN"} {
		_, ok := insulation.Temperature(all, text)
		require.False(t, ok, text)
	}
	f, err := insulation.Find(all, "F")
	require.NoError(t, err)
	require.Equal(t, unit.Kelvin(25), f.Reserve(130))
	require.Equal(t, unit.Kelvin(-5), f.Reserve(160))
}

// Class F used at the temperature of class B: 25 K in reserve is 2^2.5 = 5.66 times the life (a
// public note on IEC 60085 prints 5.6; the row says so).
func TestLifeFactorPublished(t *testing.T) {
	t.Parallel()
	for _, row := range reference(t) {
		if row["kind"] == "ageing" && row["unit"] == "x" {
			life, ok := insulation.LifeFactor(25)
			require.True(t, ok)
			require.InDelta(t, number(t, row["value"]), life.Mid, 0.005)
			return
		}
	}
	require.Fail(t, "the published row is gone")
}

func TestLifeFactor(t *testing.T) {
	t.Parallel()
	one, ok := insulation.LifeFactor(0)
	require.True(t, ok)
	require.Equal(t, insulation.Life{Low: 1, Mid: 1, High: 1}, one)
	ten, _ := insulation.LifeFactor(10)
	require.InDelta(t, 2, ten.Mid, 1e-12)
	for _, bad := range []unit.Kelvin{50.1, -50.1, unit.Kelvin(math.NaN()), unit.Kelvin(math.Inf(1))} {
		_, ok := insulation.LifeFactor(bad)
		require.False(t, ok, "%v", bad)
	}
	rapid.Check(t, func(t *rapid.T) {
		r := unit.Kelvin(rapid.Float64Range(-50, 50).Draw(t, "reserve"))
		life, ok := insulation.LifeFactor(r)
		require.True(t, ok)
		require.LessOrEqual(t, life.Low, life.Mid)
		require.LessOrEqual(t, life.Mid, life.High)
		back, _ := insulation.LifeFactor(-r)
		require.InEpsilon(t, 1, life.Mid*back.Mid, 1e-12)
		require.InEpsilon(t, 1, life.Low*back.High, 1e-12)
		more, ok := insulation.LifeFactor(r + 1)
		if ok {
			require.Greater(t, more.Mid, life.Mid)
		}
	})
}

// The bands of the reference rows (common practice, from memory; supplier's guide, seen).
func TestAllowances(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		volts     unit.Volt
		low, high unit.Millimetre
	}{{12, 0.10, 0.15}, {60, 0.10, 0.15}, {230, 0.15, 0.25}, {400, 0.20, 0.35}, {500, 0.20, 0.35}, {690, 0.30, 0.50}, {1000, 0.30, 0.50}} {
		b, ok := insulation.LinerThickness(row.volts)
		require.True(t, ok)
		require.Equal(t, row.low, b.Low, "%v", row.volts)
		require.Equal(t, row.high, b.High, "%v", row.volts)
		require.Equal(t, "from memory", b.Source.Evidence)
	}
	for _, bad := range []unit.Volt{0, -230, 1001, unit.Volt(math.NaN())} {
		_, ok := insulation.LinerThickness(bad)
		require.False(t, ok, "%v", bad)
	}
	require.Equal(t, unit.Millimetre(4), insulation.LinerOverhang().Low)
	require.Equal(t, unit.Millimetre(13), insulation.SpliceSleeve().Low)
	for _, row := range []struct {
		altitude unit.Metre
		want     unit.Kelvin
		ok       bool
	}{{0, 80, true}, {-300, 80, true}, {1000, 80, true}, {2000, 72, true}, {4000, 56, true}, {4001, 0, false}, {unit.Metre(math.NaN()), 0, false}} {
		got, ok := insulation.ReduceRise(80, row.altitude)
		require.Equal(t, row.ok, ok, "%v", row.altitude)
		require.InDelta(t, float64(row.want), float64(got), 1e-9, "%v", row.altitude)
	}
}

func TestMaterials(t *testing.T) {
	t.Parallel()
	all := materials(t)
	require.Len(t, all, len(materialNames))
	ids := map[string]bool{}
	for _, m := range all {
		require.False(t, ids[m.ID], m.ID)
		ids[m.ID] = true
		require.Equal(t, "guidance", m.Source.Kind, m.ID)
		require.NotEmpty(t, m.Source.Evidence, m.ID)
		require.NotEmpty(t, m.ThermalClass, m.ID)
		require.Contains(t, []string{"liner", "separator", "sleeving", "wedge"}, m.Use)
		require.Equal(t, m.ThicknessMin == 0, m.ThicknessMax == 0, m.ID)
		require.LessOrEqual(t, m.ThicknessMin, m.ThicknessMax, m.ID)
	}
}

func BenchmarkFind(b *testing.B) {
	all := classes(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := insulation.Find(all, "H"); err != nil {
			b.Fatal(err)
		}
	}
}
