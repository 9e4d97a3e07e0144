package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestScrapTools: the digits tell what a wire may have been measured with. Who reads twentieths only
// never writes 0.53; what both kinds of scale show speaks for the coarse one by the ratio of the steps.
func TestScrapTools(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		m      unit.Measured
		coarse bool
	}{{unit.Of(0.53), false}, {unit.Of(0.55), true}, {unit.Of(0.5), true}, {unit.Of(1), true}, {unit.Of(0.551), false}} {
		s := scrapQuery{x: c.m.Value}
		s.chooseTools(c.m)
		sum := 0.0
		for _, tool := range s.tools {
			sum += tool.share
		}
		require.InDelta(t, 1, sum, 1e-12)
		require.Equal(t, c.coarse, s.tools[2].share > 0, "%g", c.m.Value)
		if c.coarse {
			require.InDelta(t, scrapTools[2].share/scrapTools[0].share*scrapTools[2].step/scrapTools[0].step, s.tools[2].share/s.tools[0].share, 1e-12)
			require.Greater(t, s.tools[2].v, 0.05*0.05/12)
		}
	}
	stated := unit.Of(0.55)
	stated.Uncertainty = 0.02
	s := scrapQuery{x: 0.55}
	s.chooseTools(stated)
	require.Equal(t, 1.0, s.tools[0].share, "a stated uncertainty is taken as it is")
	require.InDelta(t, 0.02*0.02+0.01*0.01/12, s.tools[0].v, 1e-12)
	told := unit.Of(0.55)
	told.Resolution = 0.01
	s.chooseTools(told)
	require.Less(t, s.tools[2].share*s.tools[2].v, 0.05*0.05/12, "a told step is the step of every tool")
}

// TestRemainsDensities: the density of a reading sums to one over all readings, whatever the variance.
func TestRemainsDensities(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(1e-3, 0.1).Draw(t, "variance")
		mass, ratio := 0.0, 0.0
		const step = 0.002
		half := math.Log(60) / 2 // a figure that means nothing is spread over a factor 60
		for d := -half; d < half; d += step {
			mass += step * massDensity(d, v)
			ratio += step * ratioDensity(d, v)
		}
		require.InDelta(t, 1, mass, 0.01)
		require.InDelta(t, 1, ratio, 0.01)
		s := scrapQuery{x: 0.55}
		s.chooseTools(unit.Of(0.55))
		scrap := 0.0
		for d := -1.5; d < 1.5; d += 1e-4 {
			scrap += 1e-4 * s.density(d, v)
		}
		require.InDelta(t, 1, scrap, 0.01)
	})
}

// TestScrapOfAnUntoldAuxiliary: a scrap of the auxiliary says nothing about a record that has one and does not tell its
// wire; it is not set beside the main wire. A motor without an auxiliary has only its main wire.
func TestScrapOfAnUntoldAuxiliary(t *testing.T) {
	t.Parallel()
	x := plainIndex(nil, func(e *RecordEntry) { e.Scheme.CoilSets[1].Wires = nil }, func(e *RecordEntry) { e.Scheme.CoilSets = e.Scheme.CoilSets[:1] })
	like := func(role winding.Role, mm float64) (l [3]float64) {
		s := x.newScrap(&ScrapWire{Diameter: unit.Of(mm), Coating: "bare", Condition: "clean", Role: role})
		for r := range l {
			l[r] = x.scrapOfRecord(&s, &x.recs[r])
		}
		return l
	}
	const main, aux = 0.508, 0.376 // SWG 25 and 28
	of := like(winding.Auxiliary, main)
	require.InDelta(t, wildDensity/main, of[1], 1e-9)
	require.Less(t, of[0], of[1], "the auxiliary that is told is thinner")
	require.Greater(t, of[2], of[1])
	of = like(winding.Auxiliary, aux)
	require.Greater(t, of[0], of[1])
	of = like(winding.Main, main)
	require.InDelta(t, of[0], of[1], 1e-12)
	of = like("", aux)
	require.Greater(t, of[0], of[1])
	require.Greater(t, of[1], of[2], "it may be of the auxiliary")
}

// TestWeighedTogether: main and auxiliary weighed apart are one pair; every other weighing stands alone.
func TestWeighedTogether(t *testing.T) {
	t.Parallel()
	require.Empty(t, weighed(0, 0, 0))
	for _, c := range []struct {
		main, aux, all float64
		which          []int
	}{{400, 0, 0, []int{massOfMain}}, {0, 300, 0, []int{massOfAux}}, {0, 0, 700, []int{massOfAll}}, {400, 0, 700, []int{massOfMain, massOfAll}}, {400, 300, 0, []int{massOfPair}}, {400, 300, 700, []int{massOfPair, massOfAll}}} {
		var which []int
		for _, q := range weighed(c.main, c.aux, c.all) {
			which = append(which, q.which)
		}
		require.Equal(t, c.which, which)
	}
	pair := weighed(400, 300, 0)[0]
	require.InDelta(t, math.Log(math.Sqrt(400*300)), pair.ln, 1e-12)
	require.InDelta(t, math.Log(0.75), pair.ratio, 1e-12)
}

func massRecord(main, aux float64) *record {
	return &record{massMain: packLog(main), massAux: packLog(aux), massSD: [2]uint8{7, 7}, turnsAux: newSmall(500)}
}

func massLike(q *massQuery, r *record) float64 {
	l, _ := massOfRecord(q, r, 1)
	return l
}

// TestPairKeepsItsRatio: who lost a fifth of the copper lost it of both windings, so that the ratio still
// tells. A record with the right ratio stands against one whose masses are as far off each, with another
// ratio. Taken one by one the weighings could not tell the two apart.
func TestPairKeepsItsRatio(t *testing.T) {
	t.Parallel()
	q := weighed(400*0.8, 300*0.8, 0)[0]
	right, wrong := massLike(&q, massRecord(400, 300)), massLike(&q, massRecord(400, 300*0.64))
	require.Greater(t, right, 10*wrong)
	whole := massLike(&weighed(400, 300, 0)[0], massRecord(400, 300))
	require.Greater(t, whole, right, "nothing lost is likelier")
	for _, r := range []*record{massRecord(400, 300), massRecord(400, 0), massRecord(0, 0)} {
		require.Greater(t, massLike(&q, r), 0.0, "never nothing")
	}
	// The bound by which records are dropped early holds for the best of pairs.
	p := prepared{remains: remainsQuery{masses: weighed(400, 300, 0)}}
	best := *massRecord(400, 300)
	best.massSD = [2]uint8{1, 1}
	require.GreaterOrEqual(t, p.mostOfRemains(), massLike(&p.remains.masses[0], &best))
}

// TestMassesOfTheForm: what weighed sets show of the form of the mean turn puts the others right, by
// class; aluminium counts by its own density (2.703 to copper's 8.89 g/cm³, IEC 60028 and IEC 60889).
func TestMassesOfTheForm(t *testing.T) {
	t.Parallel()
	const heavier = 1.25 // of every weighed main winding against the form
	entry := func(i int, conductor wire.Conductor) RecordEntry {
		core := stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(70), BackDiameter: unit.Of(120), ToothWidth: unit.Of(4.2), SlotDepth: unit.Of(14), BackIron: unit.Of(11), StackLength: unit.Of(40 + float64(i%5))}
		set := winding.CoilSet{Role: winding.Main, Ring: winding.RingGap, ParallelPaths: 1, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{80, 60}, Groups: 4, FirstSlot: 1},
			Wires: []wire.Wire{{System: wire.SWG, Size: "24", Conductor: conductor, Build: wire.Grade2, Strands: 1}}}
		return RecordEntry{ID: testID(i), CoreAsMeasured: &core, MotorType: "permanent_split_capacitor", TimesSeen: 1, Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{set}},
			Nameplate: winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(100), Poles: 4}}
	}
	formOf := func(conductor wire.Conductor) float64 {
		e := entry(0, conductor)
		set := &e.Scheme.CoilSets[0]
		turns, _, mlt := expanded(set, 4, e.CoreAsMeasured)
		c, ok, err := winding.ConductorOf(*set, testWires())
		require.NoError(t, err)
		require.True(t, ok)
		return float64(c.Mass(turns, unit.Millimetre(mlt)))
	}
	require.InDelta(t, 2.703/8.89, formOf(wire.Aluminium)/formOf(wire.Copper), 1e-3)

	b := NewBuilder(testWires())
	for i := range 60 {
		e := entry(i, wire.Copper)
		if i == 50 {
			e = entry(i, wire.Aluminium)
		}
		if i < 50 {
			set := &e.Scheme.CoilSets[0]
			turns, _, mlt := expanded(set, 4, e.CoreAsMeasured)
			c, _, err := winding.ConductorOf(*set, testWires())
			require.NoError(t, err)
			set.Mass, set.MassState = unit.Of(heavier*float64(c.Mass(turns, unit.Millimetre(mlt)))), "bare"
		}
		b.AddRecord(e)
	}
	x := b.Build()
	seen := 0
	for r := range x.recs {
		rec := &x.recs[r]
		e := x.recIDs.at(uint32(r))
		for i := range 60 {
			if testID(i) != e {
				continue
			}
			metal := wire.Copper
			if i == 50 {
				metal = wire.Aluminium
			}
			if i%5 == 0 { // as long as the one that was computed
				require.InDelta(t, heavier, recMass(rec, 0)/formOf(metal), 0.05, "record %d", i)
				seen++
			}
			sd := massStep * float64(rec.massSD[0])
			require.Equal(t, i < 50, sd < massWeighed+massStep/2+1e-9, "record %d: a weighing is better known than the form", i)
			require.Less(t, sd, priorForm.sd, "and the form is better known than before any weighing")
		}
	}
	require.Equal(t, 12, seen)
}

// testID is a demo id with a number in it.
func testID(i int) string {
	const digits = "0123456789abcdef"
	return "00000000-0000-4000-8000-0000000000" + string(digits[i/16%16]) + string(digits[i%16])
}

// TestCoilCountWithASlip: two digits of a coil's count change places, and mostly the record stays the likeliest.
func TestCoilCountWithASlip(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	asked, kept := 0, 0
	for i := range w.records {
		q, r := exactQuery(w, i)
		q.Nameplate = nil // which alone would settle it
		e := r.domain()
		if len(e.Scheme.CoilSets) == 0 || e.Scheme.CoilSets[0].Pattern == nil || len(e.Scheme.CoilSets[0].Pattern.Turns) == 0 {
			continue
		}
		count := e.Scheme.CoilSets[0].Pattern.Turns[0]
		tens, ones := math.Mod(math.Floor(count/10), 10), math.Mod(count, 10)
		if count < 20 || count != math.Trunc(count) || math.Abs(tens-ones) < 3 {
			continue
		}
		if before := mustMatch(t, w.index, q); before.Candidates[0].WindingID != r.ID || before.Candidates[0].Probability < 0.6 {
			continue
		}
		asked++
		q.Remains = &Remains{Coils: []CoilCount{{Role: e.Scheme.CoilSets[0].Role, Turns: unit.Of(count + 9*(ones-tens))}}}
		if a := mustMatch(t, w.index, q); len(a.Candidates) > 0 && a.Candidates[0].WindingID == r.ID && a.Candidates[0].Probability > 0.4 {
			kept++
		}
		if asked == 60 {
			break
		}
	}
	require.Equal(t, 60, asked)
	require.Greater(t, kept, 45, "9 where a count is never misread")
}
