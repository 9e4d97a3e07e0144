package wire_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
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

// bruteForce tries every gauge and pair of gauges at every number of strands and sorts by the
// documented rank. It covers one build on every size, without stock.
func bruteForce(t testing.TB, table *wire.Table, from wire.Wire, o wire.EquivalentOptions) []rival {
	t.Helper()
	old, err := table.Resolve(from)
	require.NoError(t, err)
	metal := cmp.Or(o.Conductor, from.Conductor)
	target := float64(old.TotalArea) * wire.Resistivity(metal, wire.AnnealedCopper) / wire.Resistivity(from.Conductor, wire.AnnealedCopper)
	low, high := -50.0, 100.0
	if o.Limits.AreaErrorLow != nil {
		low, high = *o.Limits.AreaErrorLow, *o.Limits.AreaErrorHigh
	}
	type one struct {
		w    wire.Wire
		r    wire.Resolved
		rank int
	}
	var pool []one
	for i, s := range table.All() {
		c, ok := s.Cover(o.Builds[0])
		if !slices.Contains(o.Systems, s.System) || !ok || c.OverallMax == 0 && c.IncreaseMin == 0 {
			continue
		}
		w := wire.Wire{System: s.System, Size: s.Size, Conductor: metal, Build: o.Builds[0], Strands: 1}
		r, err := table.Resolve(w)
		require.NoError(t, err)
		if o.Limits.MaxBare > 0 && r.Bare > o.Limits.MaxBare {
			continue
		}
		pool = append(pool, one{w, r, i})
	}
	var all []rival
	add := func(parts ...one) {
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
		if v.err < -2 || ratio > 1.05 || old.Overall > 0 && !known {
			v.tier = 1
		}
		v.sortText += fmt.Sprint(parts[0].w.Strands)
		all = append(all, v)
	}
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

// The search must list what brute force lists, in the same order, mixed pairs included.
func TestEquivalentsAgainstBruteForce(t *testing.T) {
	t.Parallel()
	tables := []*wire.Table{thinned(t, 3, 0), thinned(t, 3, 1), thinned(t, 2, 1)}
	rapid.Check(t, func(r *rapid.T) {
		table := tables[rapid.IntRange(0, len(tables)-1).Draw(r, "table")]
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
		got, err := table.Equivalents(from, o)
		require.NoError(r, err)
		want := bruteForce(t, table, from, o)
		require.Len(r, got.Items, min(len(want), o.Limit))
		for i, e := range got.Items {
			require.InDelta(r, want[i].err, e.AreaErrorPct, 1e-7, "place %d", i)
			require.Len(r, e.Wires, len(want[i].wires), "place %d", i)
			for j, w := range e.Wires {
				require.Equal(r, want[i].wires[j].System, w.System, "place %d", i)
				require.Equal(r, want[i].wires[j].Size, w.Size, "place %d", i)
				require.Equal(r, want[i].wires[j].Strands, w.Strands, "place %d", i)
			}
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
