package simworld

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// TestTruths: a truth names what the catalogue has and nothing that it has not, with the turns and
// the area of the record where there is one.
func TestTruths(t *testing.T) {
	t.Parallel()
	wires := table(t)
	w := world(t, Config{Seed: 31, Records: 500, Queries: 700})
	records, cores, families := map[string]catalog.Winding{}, map[string]unit.Measured{}, map[string]bool{}
	for f, windings := range w.Catalogue() {
		families[f.ID] = true
		for _, c := range f.Cores {
			cores[c.ID] = c.StackLength
		}
		for _, r := range windings {
			records[r.ID] = r
		}
	}
	n := map[TruthKind]float64{}
	for q := range w.Queries() {
		n[q.Truth.Kind]++
		require.Positive(t, q.Truth.SeriesTurns)
		require.Positive(t, q.Truth.ConductorAreaMM2)
		switch q.Truth.Kind {
		case TruthRecord:
			r, ok := records[q.Truth.WindingID]
			require.True(t, ok)
			require.Equal(t, r.CoreID, q.Truth.CoreID)
			require.Equal(t, r.FamilyID, q.Truth.FamilyID)
			set := r.Scheme.CoilSets[0]
			require.InDelta(t, winding.SeriesTurns(set), q.Truth.SeriesTurns, 1e-9)
			area, _, err := winding.ConductorArea(set, wires)
			require.NoError(t, err)
			require.InEpsilon(t, float64(area), q.Truth.ConductorAreaMM2, 1e-9)
		case TruthNewWinding:
			require.Empty(t, q.Truth.WindingID)
			require.Contains(t, cores, q.Truth.CoreID)
			for _, r := range records {
				same := r.CoreID == q.Truth.CoreID && q.Nameplate != nil && q.Nameplate.Voltage == r.Nameplate.Voltage && q.Nameplate.Frequency == r.Nameplate.Frequency &&
					q.Nameplate.Connection == r.Nameplate.Connection && q.Nameplate.Poles == r.Nameplate.Poles
				require.False(t, same && winding.SeriesTurns(r.Scheme.CoilSets[0]) == q.Truth.SeriesTurns, "%s is catalogued as %s", q.ID, r.Slug)
			}
		case TruthNewStack:
			require.Empty(t, q.Truth.WindingID+q.Truth.CoreID)
			require.True(t, families[q.Truth.FamilyID])
		default:
			require.Empty(t, q.Truth.WindingID+q.Truth.CoreID+q.Truth.FamilyID)
		}
	}
	for i, kind := range []TruthKind{TruthRecord, TruthNewWinding, TruthNewStack, TruthNewFamily} {
		p := truthShares[i]
		require.InDelta(t, p, n[kind]/700, 4*math.Sqrt(p*(1-p)/700), kind)
	}
}

// TestNewStacksAreNew: no catalogued stack of the family is within reading errors.
func TestNewStacksAreNew(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 32, Records: 300})
	found := 0
	for n := range 300 {
		m, ok := w.newStack(newDice(1, "new stack", n))
		if !ok {
			continue
		}
		found++
		for i := range w.lams {
			if id(w.name, w.familySlug(i)) == m.truth.FamilyID {
				f := w.family(i)
				require.False(t, taken(f.stacks, m.design.stack))
				require.Same(t, f.lam, m.design.lam)
			}
		}
	}
	require.Greater(t, found, 150)
}

// TestReadingErrors holds what technicians type against the exact stator: the errors have about the
// stated spread, gross errors, miscounts and gaps come as often as documented.
func TestReadingErrors(t *testing.T) {
	t.Parallel()
	const n = 1500
	w := world(t, Config{Seed: 33, Records: 800, Queries: n})
	given, possible, blunders, miscounts, told, plates := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	var z, teeth []float64
	for i := range n {
		q := w.query(i)
		exact := w.machine(newDice(w.cfg.Seed, "query", i), i).design
		core := exact.lam.core(exact.stack)
		want := dimensions(&core)
		for j, dim := range dimensions(&q.Measurements) {
			possible++
			if !dim.at.Given {
				continue
			}
			given++
			require.Positive(t, dim.at.Value)
			require.NotEmpty(t, dim.at.Text)
			if slices.Contains(q.Truth.Blunders, dim.name) || dim.area {
				continue
			}
			e := (dim.at.Value - want[j].at.Value) / dim.sd
			if dim.name == "tooth_width_mm" {
				teeth = append(teeth, e*dim.sd)
				continue
			}
			if !dim.back {
				z = append(z, e)
			}
		}
		blunders += float64(len(q.Truth.Blunders))
		if q.Truth.Miscounted {
			miscounts++
			require.InDelta(t, 1, math.Abs(float64(q.Measurements.Slots-exact.lam.slots)), 0)
		} else {
			require.Equal(t, exact.lam.slots, q.Measurements.Slots)
		}
		if q.Supply != nil {
			told++
			require.InEpsilon(t, exact.supply.volts, q.Supply.Voltage.Value, 0.15)
		}
		if q.Nameplate != nil && (q.Nameplate.Voltage.Given || q.Nameplate.Power.Given || q.Nameplate.Current.Given) {
			plates++
		}
	}
	near := func(p, got, total float64) {
		require.InDelta(t, p, got/total, 4*math.Sqrt(p*(1-p)/total))
	}
	near(w.c.Gross, blunders, given)
	near(w.c.Miscount, miscounts, n)
	near(w.c.Told, told, n)
	near(1-w.c.PlateLost, plates, n)
	require.True(t, given/n > 4 && given/n < 6.5, "%v dimensions given on average", given/n)
	slices.SortFunc(z, func(a, b float64) int { return int(math.Copysign(1, math.Abs(a)-math.Abs(b))) })
	// Half of the errors are within 0.67 sd of a normal; the mixture of hands is a little sharper, rounding and zero error blunt it.
	median, tail := math.Abs(z[len(z)/2]), math.Abs(z[len(z)*997/1000])
	require.True(t, median > 0.45 && median < 0.85, "median error %v sd", median)
	require.True(t, tail > 3.3 && tail < 9, "the tails are heavier than normal: 997 of 1000 within %v sd", tail)
	bias := 0.0
	for _, e := range teeth {
		bias += e / float64(len(teeth))
	}
	require.InDelta(t, w.c.Burr*math.Exp(0.125), bias, 0.025, "burrs make teeth read wide")
}

// TestErrorForms: the three hands differ in shape, not much in spread.
func TestErrorForms(t *testing.T) {
	t.Parallel()
	for form, kurtosis := range map[errorForm]span{normalErrors: {2.8, 3.2}, studentErrors: {4, 9}, laplaceErrors: {5, 7}} {
		d := newDice(1, "forms", int(form))
		tech := technician{form: form, scale: 1}
		squares, fourths := 0.0, 0.0
		const n = 100_000
		for range n {
			e := tech.err(d, 0.1) / 0.1
			squares += e * e / n
			fourths += e * e * e * e / n
		}
		require.InDelta(t, 1, math.Sqrt(squares), 0.03)
		k := fourths / (squares * squares)
		require.True(t, k > kurtosis.low && k < kurtosis.high, "%v: kurtosis %v", form, k)
	}
}

// TestQueriesCanBeAsked: every query has the shape of a request, as the contract bounds it.
func TestQueriesCanBeAsked(t *testing.T) {
	t.Parallel()
	bounds := map[string]catalog.Bound{}
	for _, b := range catalog.Bounds() {
		bounds[b.Name] = b
	}
	w := world(t, Config{Seed: 34, Records: 200, Queries: 800, Perturb: 2})
	wires, burnt, masses := 0, 0, 0
	for q := range w.Queries() {
		core := q.Measurements
		require.Equal(t, core, bundle.CoreOf(core).ToDomain())
		for _, f := range stator.Fields(core) {
			require.True(t, bounds["core."+f.Name].Holds(f.Value.Value), "%s %s %v", q.ID, f.Name, f.Value.Value)
		}
		require.True(t, core.Slots >= 7 && core.Slots <= 49)
		require.Contains(t, []stator.RotorPosition{stator.RotorInside, stator.RotorOutside}, core.RotorPosition)
		require.Equal(t, core.SlotArea.Given, core.SlotAreaBasis != "")
		if q.Nameplate != nil {
			require.Equal(t, *q.Nameplate, bundle.NameplateOf(*q.Nameplate).ToDomain())
		}
		if q.Remains == nil {
			continue
		}
		for _, s := range q.Remains.Wires {
			wires++
			require.True(t, s.Diameter.Value > 0.05 && s.Diameter.Value < 2)
			require.Equal(t, s.Coating == "unknown", s.Condition == "unknown")
			if s.Condition == "burnt" {
				burnt++
				require.Equal(t, "bare", s.Coating)
			}
		}
		for _, c := range q.Remains.Coils {
			require.Positive(t, c.Turns.Value)
		}
		if q.Remains.CopperTotal.Given || q.Remains.CopperMain.Given {
			masses++
			require.False(t, q.Remains.CopperTotal.Given && q.Remains.CopperMain.Given)
		}
	}
	require.Greater(t, wires, 200)
	require.Greater(t, burnt, 20)
	require.Greater(t, masses, 100)
}

// TestScrapIsTrue: a bare clean scrap is the wire's diameter, one over the enamel lies between bare
// and overall, a burnt one is thinner, each within what the instrument can do.
func TestScrapIsTrue(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 35, Records: 100})
	rapid.Check(t, func(t *rapid.T) {
		p := w.uniform(newDice(rapid.Uint64().Draw(t, "record"), "any", 0))
		g := &w.family(int(p.family)).records[p.record].design
		s := w.scrap(newDice(rapid.Uint64().Draw(t, "scrap"), "scrap", 0), g, 0)
		const slack = 0.08 // 4 sd of a calliper and its step
		o := g.sets[0].wire
		require.Less(t, s.Diameter.Value, o.overall+slack)
		require.Greater(t, s.Diameter.Value, o.bare*0.9-slack)
		if s.Coating == "bare" && s.Condition == "clean" {
			require.InDelta(t, o.bare, s.Diameter.Value, slack)
		}
	})
}

// TestWeighedRemains: what is weighed is the metal, less what got lost.
func TestWeighedRemains(t *testing.T) {
	t.Parallel()
	w := world(t, Config{Seed: 36, Records: 60})
	whole, n := 0, 0
	for i := range w.lams {
		f := w.family(i)
		for _, r := range f.records {
			var rest Remains
			w.weighRemains(newDice(1, "weigh", n), &r.design, &rest)
			n++
			total := 0.0
			for _, s := range r.design.sets {
				total += s.mass
			}
			got := rest.CopperTotal.Value + rest.CopperMain.Value + rest.CopperAuxiliary.Value
			require.True(t, got > 0.55*total && got < 1.05*total+1, "%v of %v g", got, total)
			if got > 0.95*total {
				whole++
			}
		}
	}
	require.InDelta(t, 0.75, float64(whole)/float64(n), 0.15)
}

// TestSite: a supply names the mains, not the winding; renamed mains stay in their class.
func TestSite(t *testing.T) {
	t.Parallel()
	d := newDice(1, "site", 0)
	for _, list := range [][]weightedSupply{singleSupplies, threeSupplies} {
		for _, s := range list {
			for range 60 {
				got := site(d, s.supply, 1)
				require.InEpsilon(t, s.volts, got.Voltage.Value, 0.15)
				require.InDelta(t, s.hertz, got.Frequency.Value, 0)
			}
		}
	}
}
