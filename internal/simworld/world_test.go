package simworld

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/catalog"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// world makes a world or fails.
func world(t testing.TB, cfg Config) *World {
	t.Helper()
	w, err := NewWorld(cfg, table(t))
	require.NoError(t, err)
	return w
}

// listed is everything that a world yields.
type listed struct {
	families []catalog.Family
	windings []catalog.Winding
	queries  []Query
	entries  []Entry
}

func list(w *World) listed {
	var l listed
	for f, windings := range w.Catalogue() {
		l.families = append(l.families, f)
		l.windings = append(l.windings, windings...)
	}
	l.queries = slices.Collect(w.Queries())
	l.entries = slices.Collect(w.Entries())
	return l
}

func TestWorldIsTheSameAgain(t *testing.T) {
	t.Parallel()
	cfg := Config{Seed: 11, Records: 120, Queries: 60, Entries: 60}
	one := list(world(t, cfg))
	require.Equal(t, one, list(world(t, cfg)))
	again := world(t, cfg)
	list(again)
	require.Equal(t, one, list(again), "asking twice changes nothing")
	for _, other := range []Config{{Seed: 12, Records: 120}, {Seed: 11, Records: 120, Perturb: 1}} {
		l := list(world(t, other))
		require.NotEqual(t, one.families[0].Core, l.families[0].Core)
		require.NotEqual(t, one.families[0].ID, l.families[0].ID)
	}
	// More queries or entries leave the others as they are.
	cfg.Queries, cfg.Entries = 20, 70
	require.Equal(t, one.queries[:20], slices.Collect(world(t, cfg).Queries()))
}

func TestWorldRefuses(t *testing.T) {
	t.Parallel()
	wires := table(t)
	empty, err := wire.NewTable(nil)
	require.NoError(t, err)
	for _, cfg := range []Config{{}, {Records: -1}, {Records: MaxRecords + 1}, {Records: 1, Queries: -1}, {Records: 1, Queries: MaxQueries + 1}, {Records: 1, Entries: -1}, {Records: 1, Entries: MaxQueries + 1}} {
		_, err := NewWorld(cfg, wires)
		require.ErrorContains(t, err, "must be", "%+v", cfg)
	}
	_, err = NewWorld(Config{Records: 1}, nil)
	require.ErrorContains(t, err, "wire sizes")
	_, err = NewWorld(Config{Records: 1}, empty)
	require.ErrorContains(t, err, "wire sizes")
}

// TestWorldCounts: exactly the records asked for, every one with its family and core, ids unique.
func TestWorldCounts(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 2, 7, 400} {
		w := world(t, Config{Seed: 3, Records: n, Queries: 25, Entries: 5})
		l := list(w)
		require.Len(t, l.windings, n)
		require.Equal(t, n, w.Records())
		require.LessOrEqual(t, len(l.families), w.Families())
		require.Len(t, l.queries, 25)
		require.Len(t, l.entries, 5)
		seen := map[string]string{}
		for _, f := range l.families {
			require.NotEmpty(t, f.Cores)
			require.Empty(t, seen[f.ID])
			seen[f.ID] = f.ID
			for _, c := range f.Cores {
				require.Empty(t, seen[c.ID])
				seen[c.ID] = f.ID
			}
		}
		for _, r := range l.windings {
			require.Empty(t, seen[r.ID])
			seen[r.ID] = r.FamilyID
			require.Equal(t, r.FamilyID, seen[r.CoreID])
			require.True(t, r.Demo)
			require.Positive(t, r.TimesSeen)
		}
	}
}

// TestWorldIterationStops: a caller may leave early.
func TestWorldIterationStops(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 3, Records: 50, Queries: 9, Entries: 9})
	n := 0
	for range w.Catalogue() {
		n++
		break
	}
	for range w.Queries() {
		n++
		break
	}
	for range w.Entries() {
		n++
		break
	}
	require.Equal(t, 3, n)
}

// TestWorldRecordsAreStorable: import takes every record of a world; gross errors are findings.
func TestWorldRecordsAreStorable(t *testing.T) {
	t.Parallel()
	wires := table(t)
	for _, perturb := range []uint64{0, 5} {
		for f, windings := range world(t, Config{Seed: 21, Records: 600, Perturb: perturb}).Catalogue() {
			require.Empty(t, catalog.LintFamily(f, catalog.LintOptions{Wires: wires}).Faults, f.Slug)
			for _, r := range windings {
				require.Empty(t, catalog.LintWinding(r, catalog.LintOptions{Wires: wires, Family: &f}).Faults, r.Slug)
			}
		}
	}
}

// TestWorldMotors: the mix of a world is that of its kinds, near copies among them, and every true
// winding stays physically possible.
func TestWorldMotors(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 8, Records: 3000})
	kindsSeen := map[string]float64{}
	for _, l := range w.lams {
		kindsSeen[l.kind.key]++
	}
	total := 0.0
	for _, k := range kinds {
		total += k.weight
	}
	n := float64(len(w.lams))
	for _, k := range kinds {
		p := k.weight / total
		require.InDelta(t, p, kindsSeen[k.key]/n, 5*math.Sqrt(p/n)+0.02, k.key)
	}
	aluminium, all := 0.0, 0.0
	for i := range w.lams {
		f := w.family(i)
		for _, r := range f.records {
			g := &r.design
			all++
			if g.sets[0].wire.wire.Conductor == wire.Aluminium {
				aluminium++
			}
			gap, teeth, iron := g.densities()
			require.True(t, gap > 0.15 && gap < 0.8 && teeth > 0.6 && teeth < 2 && iron > 0.5 && iron < 1.9, "%s: %v %v %v", w.familySlug(i), gap, teeth, iron)
			require.LessOrEqual(t, g.fill, 0.77)
			coils, _, err := winding.ExpandScheme(g.scheme(newDice(1, "scheme", i), scale{states: []string{"bare"}, cold: span{20, 21}}), g.lam.core(g.stack))
			require.NoError(t, err)
			require.Len(t, coils, len(g.sets))
		}
	}
	require.InDelta(t, w.c.Aluminium, aluminium/all, 0.015)
}

// TestNearCopies: the gap moves by at most CopyGap, most other dimensions are exactly the same, the
// iron still closes. Which share stays the same is counted over draws of fixed seeds.
func TestNearCopies(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 8, Records: 1})
	same, dims := 0.0, 0.0
	check := func(t require.TestingT, l lamination, seed uint64) {
		if !l.sound() {
			return
		}
		c := w.nearCopy(newDice(seed, "copy", 0), l)
		require.LessOrEqual(t, math.Abs(c.gap-l.gap), w.c.CopyGap+0.026)
		require.Equal(t, l.slots, c.slots)
		web := func(l lamination) float64 {
			return math.Abs(l.back-l.gap)/2 - l.first.depth - l.second.depth - l.iron
		}
		require.InDelta(t, web(l), web(c), 0.011)
		for _, p := range [][2]float64{{l.first.tooth, c.first.tooth}, {l.iron, c.iron}, {l.first.opening, c.first.opening}} {
			dims++
			if p[0] == p[1] {
				same++
			}
			require.InEpsilon(t, p[0], p[1], 2*w.c.CopyEdit+0.05)
		}
	}
	rapid.Check(t, func(t *rapid.T) { check(t, anyLamination(t), rapid.Uint64().Draw(t, "copy")) })
	same, dims = 0, 0
	for seed := range fixedDraws {
		check(t, rapid.Custom(anyLamination).Example(seed), uint64(seed))
	}
	require.Greater(t, same/dims, 0.4)
	require.Less(t, same/dims, 0.85)
}

// TestPopularity: times_seen is 1 + Poisson(1.5 × a lognormal popularity of log sd 1): mean
// 1 + 1.5·e^0.5 = 3.47; what comes to the bench often was seen more.
func TestPopularity(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 4, Records: 4000})
	sum, n := 0.0, 0.0
	for i := range w.lams {
		for _, r := range w.family(i).records {
			sum += float64(r.seen)
			n++
		}
	}
	require.InDelta(t, 1+1.5*math.Exp(0.5), sum/n, 0.25)
	picked := 0.0
	d := newDice(1, "popular", 0)
	for range 2000 {
		p := w.popular(d)
		picked += float64(w.family(int(p.family)).records[p.record].seen) / 2000
	}
	require.Greater(t, picked, 1.6*sum/n, "popular machines come more often")
}

func TestPoisson(t *testing.T) {
	t.Parallel()
	d := newDice(1, "poisson", 0)
	for _, mean := range []float64{0.2, 1, 6} {
		got, sd := moments(50_000, func() float64 { return float64(d.poisson(mean)) })
		require.InDelta(t, mean, got, 5*math.Sqrt(mean/50_000))
		require.InEpsilon(t, math.Sqrt(mean), sd, 0.03)
	}
}

// TestPerturbation: every constant is shifted, none twice, chances stay chances, a world still works.
func TestPerturbation(t *testing.T) {
	t.Parallel()
	c := usual()
	fields := reflect.TypeFor[constants]().NumField()
	require.GreaterOrEqual(t, fields, 40)
	require.Len(t, c.shifts(), fields)
	seen := map[*float64]bool{}
	for _, s := range c.shifts() {
		require.False(t, seen[s.at])
		seen[s.at] = true
		require.Positive(t, s.size)
	}
	require.Equal(t, usual(), perturbed(0))
	rapid.Check(t, func(t *rapid.T) {
		p := perturbed(rapid.Uint64Min(1).Draw(t, "perturb"))
		was, is := reflect.ValueOf(usual()), reflect.ValueOf(p)
		moved := 0
		for i := range was.NumField() {
			ratio := is.Field(i).Float() / was.Field(i).Float()
			require.True(t, ratio > 0.35 && ratio < 2.8, was.Type().Field(i).Name)
			if math.Abs(ratio-1) > 1e-6 {
				moved++
			}
		}
		require.GreaterOrEqual(t, moved, fields-3)
		for _, chance := range []float64{p.CopyShare, p.CopyEdits, p.OtherPoles, p.SnapBack, p.Aluminium, p.DrawnShare, p.RecordGross, p.Gross, p.Miscount, p.PlateLost, p.PlateError, p.Scrap, p.Copper, p.Told} {
			require.True(t, chance > 0 && chance <= 0.9)
		}
	})
}

// TestOtherPoles stays with what the slots allow.
func TestOtherPoles(t *testing.T) {
	t.Parallel()
	d := newDice(1, "poles", 0)
	for _, k := range kinds {
		for _, b := range k.builds {
			l := lamination{kind: &k, slots: b.slots, poles: b.poles}
			for range 30 {
				p := otherPoles(d, &l)
				require.Zero(t, b.slots%p)
				require.Zero(t, p%2)
				if k.phases == 3 {
					require.Zero(t, b.slots%(3*p))
				}
				require.LessOrEqual(t, p, b.poles+2)
			}
		}
	}
}

// TestRecorderMeasures: a recorder who copies a drawing changes nothing but what he leaves out; one
// who measures errs by his scale.
func TestRecorderMeasures(t *testing.T) {
	t.Parallel()
	c := usual()
	l := drawLamination(newDice(1, "x", 1), kindOf(ceilingFanKey), build{14, 14, 1}, &c)
	exact := l.core(21)
	d := newDice(1, "recorder", 0)
	var z []float64
	given := 0
	for range 3000 {
		copied := recorder{miss: 1}.measure(d, exact)
		for i, dim := range dimensions(&copied) {
			if dim.at.Given {
				want := *dimensions(&exact)[i].at
				require.InDelta(t, want.Value, dim.at.Value, 0.2501, dim.name)
				given++
			}
		}
		measured := recorder{scale: 1}.measure(d, exact)
		for i, dim := range dimensions(&measured) {
			require.True(t, dim.at.Given)
			if !dim.area {
				z = append(z, (dim.at.Value-dimensions(&exact)[i].at.Value)/dim.sd)
			}
		}
	}
	require.InDelta(t, 1, math.Sqrt(meanSquare(z)), 0.1)
	require.InDelta(t, 0.85, float64(given)/3000/12, 0.1)
	require.Equal(t, l.core(21), exact, "measuring does not change the stator")
}

func meanSquare(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x * x
	}
	return sum / float64(len(v))
}

func TestCopyCoreIsDeep(t *testing.T) {
	t.Parallel()
	a := stator.Core{Slots: 14, SecondRing: &stator.Ring{Slots: 14}}
	b := copyCore(a)
	b.SecondRing.Slots = 15
	require.Equal(t, 14, a.SecondRing.Slots)
	require.Nil(t, copyCore(stator.Core{}).SecondRing)
}
