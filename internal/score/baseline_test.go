package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/catalog"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// lamination has 24 slots inside and these diameters.
func lamination(gap, back float64) stator.Core {
	return stator.Core{RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(gap), BackDiameter: unit.Of(back)}
}

// record is wound with so many turns in each of four groups of one coil.
func record(id, core string, seen int, volts, turns float64) catalog.Winding {
	return catalog.Winding{ID: id, CoreID: core, TimesSeen: seen, Nameplate: winding.Nameplate{Voltage: unit.Of(volts)},
		Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{
			{Role: winding.Auxiliary},
			{Role: winding.Main, ParallelPaths: 2, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6}, Turns: []float64{turns}, Groups: 4},
				Wires: []wire.Wire{{System: wire.Bare, Diameter: unit.Of(0.5), Conductor: wire.Copper, Strands: 2}}},
		}}}
}

// simple is a catalogue of two families with three cores and four records.
func simple(t testing.TB) *Simple {
	t.Helper()
	table, err := wire.NewTable(nil)
	require.NoError(t, err)
	s := NewSimple(table)
	s.Add(&catalog.Family{ID: "f1", Core: lamination(60, 100), Cores: []catalog.FamilyCore{{ID: "c1", StackLength: unit.Of(40)}, {ID: "c2", StackLength: unit.Of(60)}}},
		[]catalog.Winding{record("r1", "c1", 9, 230, 100), record("r2", "c1", 0, 110, 50), record("r3", "c2", 1, 230, 80)})
	far := record("r4", "c3", 1, 230, 70)
	measured := lamination(80.4, 0)
	measured.BackDiameter = unit.Measured{}
	far.CoreAsMeasured = &measured
	s.Add(&catalog.Family{ID: "f2", Core: lamination(80, 130), Cores: []catalog.FamilyCore{{ID: "c3", StackLength: unit.Of(50)}}}, []catalog.Winding{far})
	return s
}

func TestAdd(t *testing.T) {
	t.Parallel()
	s := simple(t)
	require.Equal(t, 4, s.Records())
	e := s.entries[3]
	require.Equal(t, 80.4, e.figures[figGap], "as measured for the record")
	require.Equal(t, 130.0, e.figures[figBack], "from the family")
	require.Equal(t, 50.0, e.figures[figStack], "from the core")
	require.Equal(t, [3]float64{230, 4, 1.5}, [3]float64{e.figures[figVolts], e.figures[figPoles], e.seen})
	require.Zero(t, e.figures[figTooth])
	require.Equal(t, 70*4/2.0, e.turns, "4 coils of 70 in two paths")
	require.InDelta(t, 4*math.Pi/4*0.25, e.area, 1e-9, "2 strands in each of 2 paths of 0.5 mm")
}

func TestDistance(t *testing.T) {
	t.Parallel()
	on := figures{figGap: 60, figBack: 100}
	require.InDelta(t, math.Log(1.1), distance(&figures{figGap: 66}, &on), 1e-12)
	require.InDelta(t, math.Sqrt((math.Pow(math.Log(1.1), 2)+math.Pow(math.Log(1.05), 2))/2), distance(&figures{figGap: 66, figBack: 105}, &on), 1e-12)
	require.InDelta(t, lackingLog, distance(&figures{figTooth: 4}, &on), 1e-12)
	require.InDelta(t, lackingLog, distance(&figures{}, &on), 1e-12)
}

// TestNearest: the three records of one lamination at 60 mm; the other is 29 % off.
func TestNearest(t *testing.T) {
	t.Parallel()
	a := simple(t).Nearest(&Question{Core: lamination(60, 100), Nameplate: &winding.Nameplate{Voltage: unit.Of(230)}})
	require.Equal(t, "r1", a.Records[0].ID)
	require.Equal(t, "r3", a.Records[1].ID, "the same figures: in the order of the catalogue")
	// d = 0.002 by the least distance, so that P(none) = 0.002²/(0.002² + 0.03²).
	none := 4e-6 / (4e-6 + 9e-4)
	require.InDelta(t, none, a.NoRecord, 1e-12)
	require.Equal(t, a.NoRecord, a.NoCore)
	// r2 is off by ln(230/110) in one figure of three, r4 by the diameters.
	w := []float64{250000, 250000, 3 / math.Pow(math.Log(230.0/110), 2), 3 / (math.Pow(math.Log(80.4/60), 2) + math.Pow(math.Log(1.3), 2))}
	sum := w[0] + w[1] + w[2] + w[3]
	require.InDelta(t, (1-none)*w[0]/sum, a.Records[0].P, 1e-9)
	require.InDelta(t, (1-none)*w[3]/sum, a.Records[2].P, 1e-9)
	require.InDelta(t, (1-none)*(w[0]+w[2])/sum, a.Cores[0].P, 1e-9, "a core has the sum of its records")
	require.Len(t, a.Guesses, 3)
	require.Equal(t, 200.0, a.Guesses[0].SeriesTurns)
	require.Equal(t, 160.0, a.Guesses[1].SeriesTurns)
	require.Equal(t, unit.Range{P05: 160, P50: 160, P95: 200}, *a.SeriesTurns)
}

// TestGaussian works one answer by hand: only the gap diameter is told, 0.2 mm off two of the records.
func TestGaussian(t *testing.T) {
	t.Parallel()
	core := stator.Core{RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(60.2)}
	a := simple(t).Gaussian(&Question{Core: core, Nameplate: &winding.Nameplate{Voltage: unit.Of(230)}})
	// Variance 0.1² + 0.1²; z² = 0.04/0.02 = 2. Against none: exp((9 - 2)/2), times 0.9/0.3 where the
	// voltage agrees and 0.1/0.3 where not. Shares of popularity 9.5, 0.5, 1.5, 1.5 of 13.
	g := math.Exp(3.5)
	w := []float64{9.5 / 13 * g * 3, 0.5 / 13 * g / 3, 1.5 / 13 * g * 3}
	sum := w[0] + w[1] + w[2]
	none := 0.3 / (0.3 + 0.7*sum)
	require.InDelta(t, none, a.NoRecord, 1e-9)
	require.InDelta(t, (1-none)*w[0]/sum, a.Records[0].P, 1e-9)
	require.Equal(t, []string{"r1", "r3", "r2"}, []string{a.Records[0].ID, a.Records[1].ID, a.Records[2].ID})
	require.InDelta(t, 0, a.Records[3].P, 1e-12)
	require.Equal(t, "c1", a.Cores[0].ID)
	require.InDelta(t, (1-none)*(w[0]+w[1])/sum, a.Cores[0].P, 1e-9)
}

// TestGaussianTakesWrongReadingsAtTheirWord is what makes it a simple one: one digit typed wrong, and
// nothing is left of the right record.
func TestGaussianTakesWrongReadingsAtTheirWord(t *testing.T) {
	t.Parallel()
	s := simple(t)
	good := lamination(60, 100)
	good.StackLength = unit.Of(40)
	right := s.Gaussian(&Question{Core: good})
	require.Equal(t, "r1", right.Records[0].ID)
	require.Greater(t, right.Cores[0].P, 0.99)
	good.GapDiameter = unit.Of(66)
	require.Greater(t, s.Gaussian(&Question{Core: good}).NoRecord, 0.999)
	good.GapDiameter.Uncertainty = 6
	require.Less(t, s.Gaussian(&Question{Core: good}).NoRecord, 0.01, "a stated uncertainty counts")
}

func TestNothingLikeIt(t *testing.T) {
	t.Parallel()
	s := simple(t)
	for _, core := range []stator.Core{{Slots: 7}, {RotorPosition: stator.RotorOutside}} {
		want := Answer{NoRecord: 1, NoCore: 1}
		require.Equal(t, want, s.Nearest(&Question{Core: core}))
		require.Equal(t, want, s.Gaussian(&Question{Core: core}))
	}
	table, err := wire.NewTable(nil)
	require.NoError(t, err)
	empty := NewSimple(table)
	require.Equal(t, 1.0, empty.Nearest(&Question{}).NoRecord)
	require.Equal(t, 1.0, empty.Gaussian(&Question{}).NoRecord)
}

// TestSimpleAnswersAreSound: probabilities sum to 1, ranges are in order, whatever is asked.
func TestSimpleAnswersAreSound(t *testing.T) {
	t.Parallel()
	s := simple(t)
	rapid.Check(t, func(t *rapid.T) {
		length := func(name string) unit.Measured {
			if rapid.Bool().Draw(t, name+" given") {
				return unit.Measured{Given: true, Value: rapid.Float64Range(0, 1e6).Draw(t, name), Uncertainty: rapid.Float64Range(0, 1e3).Draw(t, name+" sd")}
			}
			return unit.Measured{}
		}
		q := Question{Core: stator.Core{GapDiameter: length("gap"), BackDiameter: length("back"), StackLength: length("stack"), BackIron: length("iron")}}
		if rapid.Bool().Draw(t, "plate") {
			q.Nameplate = &winding.Nameplate{Voltage: length("volts"), Power: length("watts"), Poles: rapid.IntRange(0, 80).Draw(t, "poles")}
		}
		for name, a := range map[string]Answer{"nearest": s.Nearest(&q), "gaussian": s.Gaussian(&q)} {
			sum, cores := a.NoRecord, a.NoCore
			for _, r := range a.Records {
				sum += r.P
				require.GreaterOrEqual(t, r.P, 0.0)
			}
			for _, c := range a.Cores {
				cores += c.P
			}
			require.InDelta(t, 1, sum, 1e-9, name)
			require.InDelta(t, 1, cores, 1e-9, name)
			if r := a.SeriesTurns; r != nil {
				require.LessOrEqual(t, r.P05, r.P50)
				require.LessOrEqual(t, r.P50, r.P95)
			}
		}
	})
}

// BenchmarkSimple times both on 2,000 records.
func BenchmarkSimple(b *testing.B) {
	s := simple(b)
	for i := range 2000 {
		core := lamination(50+float64(i)/100, 90+float64(i)/80)
		r := record(fmt.Sprint(i), "c", 3, 230, 60)
		r.CoreAsMeasured = &core
		s.Add(&catalog.Family{Core: core}, []catalog.Winding{r})
	}
	q := Question{Core: lamination(60, 100)}
	b.Run("nearest", func(b *testing.B) {
		for b.Loop() {
			s.Nearest(&q)
		}
	})
	b.Run("gaussian", func(b *testing.B) {
		for b.Loop() {
			s.Gaussian(&q)
		}
	})
}

// TestHeaviest: the same as a stable sort of everything.
func TestHeaviest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		weights := rapid.SliceOf(rapid.SampledFrom([]float64{0, 0.1, 0.5, 0.5000001, 1})).Draw(t, "weights")
		most := rapid.IntRange(1, 6).Draw(t, "most")
		want := make([]int, len(weights))
		for i := range want {
			want[i] = i
		}
		slices.SortStableFunc(want, func(a, b int) int { return cmp.Compare(weights[b], weights[a]) })
		require.Equal(t, want[:min(most, len(want))], heaviest(weights, most))
	})
}

// TestAmong: rotor position and slots pick records whether one, both or none is told, in the order of the catalogue.
func TestAmong(t *testing.T) {
	t.Parallel()
	s := simple(t)
	fan := lamination(80, 130)
	fan.RotorPosition, fan.Slots = stator.RotorOutside, 36
	s.Add(&catalog.Family{ID: "f3", Core: fan, Cores: []catalog.FamilyCore{{ID: "c4", StackLength: unit.Of(20)}}}, []catalog.Winding{record("r5", "c4", 1, 230, 70)})
	for _, c := range []struct {
		core stator.Core
		want []string
	}{
		{stator.Core{}, []string{"r1", "r2", "r3", "r4", "r5"}},
		{stator.Core{Slots: 24}, []string{"r1", "r2", "r3", "r4"}},
		{stator.Core{Slots: 36}, []string{"r5"}},
		{stator.Core{RotorPosition: stator.RotorInside}, []string{"r1", "r2", "r3", "r4"}},
		{stator.Core{RotorPosition: stator.RotorOutside}, []string{"r5"}},
		{stator.Core{RotorPosition: stator.RotorInside, Slots: 24}, []string{"r1", "r2", "r3", "r4"}},
		{stator.Core{RotorPosition: stator.RotorOutside, Slots: 36}, []string{"r5"}},
		{stator.Core{RotorPosition: stator.RotorInside, Slots: 36}, nil},
	} {
		var got []string
		for _, e := range s.among(&Question{Core: c.core}) {
			got = append(got, e.id)
		}
		require.Equal(t, c.want, got)
	}
}
