package match

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// requireSound holds what every answer must be: probabilities that sum to 1, ordered ranges, no NaN.
func requireSound(t require.TestingT, a *Answer) {
	sum := a.UnlistedProbability + a.None.Winding
	last := math.Inf(1)
	for _, c := range a.Candidates {
		sum += c.Probability
		require.LessOrEqual(t, c.Probability, last, "candidates stand best first")
		last = c.Probability
		for _, k := range c.Comparison {
			finite(t, k.Measured, k.OnRecord, k.Deviations)
		}
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.GreaterOrEqual(t, a.UnlistedProbability, 0.0)
	for _, p := range []float64{a.None.Winding, a.None.Core, a.None.Family} {
		require.GreaterOrEqual(t, p, 0.0)
		require.LessOrEqual(t, p, 1+1e-9)
	}
	require.GreaterOrEqual(t, a.None.Winding, a.None.Core-1e-9)
	require.GreaterOrEqual(t, a.None.Core, a.None.Family-1e-9)
	cores := a.None.Core
	for _, c := range a.Cores {
		finite(t, c.Probability)
		cores += c.Probability
	}
	require.LessOrEqual(t, cores, 1+1e-9)
	for _, r := range a.Overall {
		requireRange(t, r.SeriesTurns)
		requireRange(t, r.ConductorArea)
	}
	requireProposals(t, a)
	for _, n := range a.Next {
		finite(t, n.Bits)
		require.GreaterOrEqual(t, n.Bits, 0.0)
		require.NotEmpty(t, n.How)
	}
	for _, r := range a.Readings {
		finite(t, r.Typed, r.ReadAs, r.Probability)
	}
	require.NotEmpty(t, a.Status)
	require.NotEmpty(t, a.Cautions)
}

func requireProposals(t require.TestingT, a *Answer) {
	require.LessOrEqual(t, len(a.Proposals), 3)
	sum := 0.0
	for i := range a.Proposals {
		p := &a.Proposals[i]
		finite(t, p.Probability)
		sum += p.Probability
		require.NotEmpty(t, p.CoilSets)
		require.Len(t, p.Scheme.CoilSets, len(p.CoilSets))
		require.Contains(t, []winding.Role{winding.Main, winding.PhaseU, winding.Auxiliary, winding.Speed, winding.PhaseV, winding.PhaseW}, p.CoilSets[0].Role)
		require.Contains(t, []string{methodRecord, methodScaled, methodReference, methodLimits}, p.Basis.Method)
		require.NotEmpty(t, p.Basis.Steps)
		for _, s := range p.CoilSets {
			requireRange(t, s.SeriesTurns)
			requireRange(t, s.ConductorArea)
			requireRange(t, s.Resistance20)
			requireRange(t, s.Mass)
			for _, r := range s.TurnsPerCoil {
				requireRange(t, r)
			}
			if s.Fill != nil {
				finite(t, s.Fill.Copper, s.Fill.Circle, s.Fill.Square)
			}
			if s.CurrentDensity != nil {
				finite(t, *s.CurrentDensity)
			}
		}
		if p.Capacitor != nil {
			requireRange(t, p.Capacitor.UF)
			finite(t, p.Capacitor.VoltageV)
		}
	}
	require.LessOrEqual(t, sum, 1+1e-9)
}

func requireRange(t require.TestingT, r unit.Range) {
	finite(t, r.P05, r.P50, r.P95)
	require.LessOrEqual(t, r.P05, r.P50)
	require.LessOrEqual(t, r.P50, r.P95)
	require.GreaterOrEqual(t, r.P05, 0.0)
}

func finite(t require.TestingT, v ...float64) {
	for _, x := range v {
		require.False(t, math.IsNaN(x) || math.IsInf(x, 0), "%v", v)
	}
}

func mustMatch(t *testing.T, x *Index, q Query) Answer {
	t.Helper()
	a, err := x.Match(q)
	require.NoError(t, err)
	requireSound(t, &a)
	return a
}

// exactQuery measures a catalogued record without any error.
func exactQuery(w *world, i int) (Query, *jwinding) {
	r := &w.records[i]
	e := r.domain()
	return Query{Measurements: *e.CoreAsMeasured, Nameplate: &e.Nameplate}, r
}

// TestExactRecordIsFound: a record measured without error, plate and all, comes first and is proposed as it stands.
func TestExactRecordIsFound(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	first := 0
	for i := 0; i < len(w.records); i += 97 {
		q, r := exactQuery(w, i)
		a := mustMatch(t, w.index, q)
		if a.Candidates[0].WindingID != r.ID {
			continue
		}
		first++
		require.Equal(t, r.CoreID, a.Candidates[0].CoreID)
		require.Equal(t, r.FamilyID, a.Candidates[0].FamilyID)
		require.Equal(t, "demo", a.Candidates[0].Status)
		require.NotEmpty(t, a.Candidates[0].Comparison)
		p := a.Proposals[0]
		if p.Basis.Method == methodRecord && p.Basis.WindingIDs[0] == r.ID {
			want := r.Scheme.domain()
			require.Equal(t, want.Poles, p.Scheme.Poles)
			require.Equal(t, len(want.CoilSets), len(p.Scheme.CoilSets))
			for k := range want.CoilSets {
				require.Equal(t, want.CoilSets[k].Pattern.Turns, p.Scheme.CoilSets[k].Pattern.Turns)
				require.Equal(t, want.CoilSets[k].Wires[0].Size, p.Scheme.CoilSets[k].Wires[0].Size)
			}
			require.Equal(t, "demo", a.Status)
		}
	}
	require.GreaterOrEqual(t, first, 20, "of 21 exact records")
}

// TestOnlySlotsAndRotor: a broad answer, never an empty one.
func TestOnlySlotsAndRotor(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	a := mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}})
	require.Len(t, a.Candidates, defaultLimit)
	require.Less(t, a.Candidates[0].Probability, 0.3)
	require.Greater(t, a.UnlistedProbability, 0.2)
	require.NotEmpty(t, a.Overall)
	require.Greater(t, a.Overall[0].SeriesTurns.P95, 3*a.Overall[0].SeriesTurns.P05)
	require.NotEmpty(t, a.Proposals)
	require.NotEmpty(t, a.Next)
	require.Nil(t, a.Decided)
	for i := 1; i < len(a.Next); i++ {
		require.GreaterOrEqual(t, a.Next[i-1].Bits, a.Next[i].Bits)
	}
}

// TestNothingGiven: not even slots: still a sound answer.
func TestNothingGiven(t *testing.T) {
	t.Parallel()
	a := mustMatch(t, sampleWorld().index, Query{})
	require.NotEmpty(t, a.Candidates)
	require.NotEmpty(t, a.Proposals)
}

// TestSlotsNearNothing: 56 slots, which no lamination has: no NaN, "not in the catalogue", and an
// estimate that says what it stands on.
func TestSlotsNearNothing(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c := stator.Core{Slots: 56, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(120), BackDiameter: unit.Of(190), StackLength: unit.Of(80), ToothWidth: unit.Of(3.2)}
	a := mustMatch(t, x, Query{Measurements: c})
	require.Greater(t, a.None.Family, 0.9)
	require.NotNil(t, a.Decided)
	require.True(t, a.Decided.None)
	require.Equal(t, "estimated", a.Status)
	for _, p := range a.Proposals {
		require.NotEqual(t, methodRecord, p.Basis.Method)
	}
	require.Contains(t, extrapolatedFields(&a), "slots")
}

func extrapolatedFields(a *Answer) []string {
	var out []string
	for _, e := range a.Extrapolated {
		out = append(out, e.Field)
	}
	return out
}

// TestExtrapolation: a gap diameter beyond the catalogue is flagged with the range that it covers.
func TestExtrapolation(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(263.7), BackDiameter: unit.Of(411.9), StackLength: unit.Of(83.3)}
	a := mustMatch(t, x, Query{Measurements: c})
	require.Contains(t, extrapolatedFields(&a), "gap_diameter_mm")
	for _, e := range a.Extrapolated {
		require.True(t, e.Value < e.Low || e.Value > e.High)
	}
	require.Greater(t, a.None.Family, 0.9)
}

// TestReadingNotRefused: 1180 for 118 is a reading, in a core that nothing else makes impossible and in one
// that it does.
func TestReadingNotRefused(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, r := exactQuery(w, 0)
	back := q.Measurements.BackDiameter.Value
	q.Measurements.BackDiameter = unit.Of(back * 10)
	a := mustMatch(t, w.index, q)
	require.Equal(t, r.CoreID, a.Cores[0].CoreID)
	require.Len(t, a.Readings, 1)
	require.Equal(t, "back_diameter_mm", a.Readings[0].Field)
	require.InDelta(t, back, a.Readings[0].ReadAs, 0.3)
	require.Greater(t, a.Readings[0].Probability, 0.5)
}

// TestOneExplanationOfAnImpossibleCore: where the catalogue tells which figure was meant and that makes the core possible,
// no second figure is called wrong (a back diameter of 93.4 mm is not 93.4 inches because the gap diameter lacks its point).
func TestOneExplanationOfAnImpossibleCore(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	told := 0
	for i := range 60 {
		q, _ := exactQuery(w, i)
		if q.Measurements.RotorPosition != stator.RotorInside || !q.Measurements.GapDiameter.Given {
			continue
		}
		gap := q.Measurements.GapDiameter.Value
		q.Measurements.GapDiameter = unit.Of(gap * 10)
		a := mustMatch(t, w.index, q)
		require.True(t, slices.ContainsFunc(a.Readings, func(r ReadAs) bool { return r.Field == "gap_diameter_mm" && math.Abs(r.ReadAs-gap) < 0.5 }), "%+v", a.Readings)
		require.Len(t, a.Readings, 1, "%+v", a.Readings)
		for _, f := range a.Findings {
			if f.LikelySlip != nil {
				require.Equal(t, "measurements.gap_diameter_mm", f.LikelySlip.Field)
				told++
			}
		}
	}
	require.Greater(t, told, 10)
}

// TestImpossibleGeometry follows the contract: 422 only if no alternative reading removes the impossibility.
func TestImpossibleGeometry(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	core := func(edit func(*stator.Core)) Query {
		c := demoCore()
		edit(&c)
		return Query{Measurements: c}
	}
	for _, c := range []struct {
		name    string
		q       Query
		refused bool
		field   string
	}{
		{"gap ten times", core(func(c *stator.Core) { c.GapDiameter = unit.Of(660) }), false, "gap_diameter_mm"},
		{"tooth ten times", core(func(c *stator.Core) { c.ToothWidth = unit.Of(41) }), false, "tooth_width_mm"},
		{"depth with digits swapped", core(func(c *stator.Core) { c.SlotDepth = unit.Of(51.1) }), false, "slot_depth_mm"},
		{"gap on the wrong side in every reading", Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(777), BackDiameter: unit.Of(0.11)}}, true, "/measurements/gap_diameter_mm"},
		{"negative", core(func(c *stator.Core) { c.StackLength = unit.Of(-45) }), true, "/measurements/stack_length_mm"},
		{"not a number", core(func(c *stator.Core) { c.StackLength = unit.Of(math.NaN()) }), true, "/measurements/stack_length_mm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			a, err := x.Match(c.q)
			if c.refused {
				require.Error(t, err)
				require.Equal(t, errs.KindImpossible, errs.KindOf(err))
				var e *errs.Error
				require.ErrorAs(t, err, &e)
				require.NotEmpty(t, e.Fields)
				require.Equal(t, c.field, e.Fields[0].Pointer)
				return
			}
			require.NoError(t, err)
			requireSound(t, &a)
			require.True(t, slices.ContainsFunc(a.Readings, func(r ReadAs) bool { return r.Field == c.field }), "%+v", a.Readings)
		})
	}
}

// TestOutsideService: matching abstains outside its range, and says so; a slip of the plate is no reason to.
func TestOutsideService(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	abstains := func(q Query) {
		t.Helper()
		a := mustMatch(t, w.index, q)
		require.Empty(t, a.Candidates)
		require.Empty(t, a.Proposals)
		require.Equal(t, Unlisted{1, 1, 1}, a.None)
		require.True(t, slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.Code == "outside_service_range" }))
	}
	abstains(Query{Measurements: stator.Core{Slots: 96, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(300)}})
	unlike := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(83.3), BackDiameter: unit.Of(131.7), StackLength: unit.Of(71.9)}
	abstains(Query{Measurements: unlike, Nameplate: &winding.Nameplate{Frequency: unit.Of(400)}})
	abstains(Query{Measurements: unlike, Nameplate: &winding.Nameplate{Power: unit.Of(7500)}})

	q, r := exactQuery(w, 10)
	told := q
	told.Supply = &winding.Supply{Voltage: unit.Of(230), Frequency: unit.Of(400), Phases: 1}
	abstains(told) // the stator is known, but nothing is proposed for that supply
	n := *q.Nameplate
	n.Frequency = unit.Of(q.Nameplate.Frequency.Value * 10)
	q.Nameplate = &n
	a := mustMatch(t, w.index, q)
	require.Equal(t, r.CoreID, a.Cores[0].CoreID)
	require.True(t, slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.Code == "figure_doubtful" }))
}

// TestContradictoryReadings: every dimension is of another machine; the answer stays sound and knows that it knows little.
func TestContradictoryReadings(t *testing.T) {
	t.Parallel()
	c := stator.Core{Slots: 24, RotorPosition: stator.RotorInside, GapDiameter: unit.Of(31.3), BackDiameter: unit.Of(199), StackLength: unit.Of(3), ToothWidth: unit.Of(0.4), SlotDepth: unit.Of(0.9), SlotOpening: unit.Of(3.9), BackIron: unit.Of(44), SlotArea: unit.Of(0.7)}
	a, err := sampleWorld().index.Match(Query{Measurements: c, Nameplate: &winding.Nameplate{Voltage: unit.Of(13), Frequency: unit.Of(50), Power: unit.Of(2999), Current: unit.Of(0.001), Speed: unit.Of(99999), Poles: 70, Connection: "delta"}})
	require.NoError(t, err)
	requireSound(t, &a)
	require.Greater(t, a.None.Core, 0.5)
}

// TestSupplyIsWorthMore: the supply on site alone raises the right record.
func TestSupplyIsWorthMore(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	without, with, n := 0.0, 0.0, 0.0
	for i := 0; i < len(w.records); i += 61 {
		q, r := exactQuery(w, i)
		q.Nameplate = nil
		plain := mustMatch(t, w.index, q)
		e := r.domain()
		q.Supply = &winding.Supply{Voltage: e.Nameplate.Voltage, Frequency: e.Nameplate.Frequency, Phases: e.CoreAsMeasured.Phases, Connection: e.Nameplate.Connection}
		told := mustMatch(t, w.index, q)
		p := func(a *Answer) float64 {
			for _, c := range a.Candidates {
				if c.WindingID == r.ID {
					return c.Probability
				}
			}
			return 0
		}
		without, with, n = without+p(&plain), with+p(&told), n+1
	}
	require.Greater(t, with/n, without/n+0.1)
}

// TestStockComesFirst: with a wire of the stock close enough, the proposal takes it.
func TestStockComesFirst(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, r := exactQuery(w, 2)
	a := mustMatch(t, w.index, q)
	set := r.Scheme.domain().CoilSets[0]
	require.Equal(t, set.Wires[0].Size, a.Proposals[0].CoilSets[0].Wires[0].Size)
	area := a.Proposals[0].CoilSets[0].ConductorArea.P50
	near := testWires().Nearest(unit.SquareMillimetre(area), wire.NearestOptions{Systems: []wire.System{wire.Metric}, Build: wire.Grade1, Limit: 1, MaxStrands: 1})
	q.Stock = []wire.Wire{near[0].Wire}
	a = mustMatch(t, w.index, q)
	got := a.Proposals[0].CoilSets[0]
	require.True(t, got.FromStock)
	require.Equal(t, near[0].Wire.Size, got.Wires[0].Size)
}

// TestProposalFigures: fill, densities, resistance, mass, capacitor and its voltage at the highest supply (+10 %).
func TestProposalFigures(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, _ := exactQuery(w, 0) // a single-phase record with all dimensions
	p := mustMatch(t, w.index, q).Proposals[0]
	require.Equal(t, methodRecord, p.Basis.Method)
	require.NotNil(t, p.Densities)
	require.Greater(t, p.Densities.Gap, 0.1)
	require.Less(t, p.Densities.Gap, 1.2)
	main := p.CoilSets[0]
	require.NotNil(t, main.Fill)
	require.Greater(t, main.Fill.Square, 0.1)
	require.NotNil(t, main.CurrentDensity)
	rec := w.records[0].Scheme.domain().CoilSets[0]
	require.InDelta(t, rec.Resistance.Value, main.Resistance20.P50, 0.25*rec.Resistance.Value)
	require.InDelta(t, rec.Mass.Value, main.Mass.P50, 0.25*rec.Mass.Value)
	require.NotNil(t, p.Capacitor)
	// a = 1285/1195 turns of like coils: volts = 1.1·V·√(1+a²).
	volts := 1.1 * q.Nameplate.Voltage.Value * math.Sqrt(1+sq(1285.0/1195))
	require.InDelta(t, volts, p.Capacitor.VoltageV, 0.02*volts)
	require.InDelta(t, q.Nameplate.CapacitorUF.Value, p.Capacitor.UF.P50, 1e-9)
}

// TestEmptyAndTinyCatalogues: nothing catalogued, or one record: documented priors, sound answers.
func TestEmptyAndTinyCatalogues(t *testing.T) {
	t.Parallel()
	empty := NewBuilder(testWires()).Build()
	a := mustMatch(t, empty, Query{Measurements: demoCore(), Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Poles: 4}})
	require.Equal(t, 1.0, a.None.Family)
	require.NotEmpty(t, a.Proposals)
	require.Equal(t, methodLimits, a.Proposals[0].Basis.Method)
	// The worked stator without data of the physics page comes to 1116 turns: priors alone are within a third.
	require.InDelta(t, 1116, a.Overall[0].SeriesTurns.P50, 370)
	mustMatch(t, NewBuilder(nil).Build(), Query{Measurements: demoCore()})

	w := sampleWorld()
	b := NewBuilder(testWires())
	b.AddRecord(w.records[0].domain())
	one := b.Build()
	q, r := exactQuery(w, 0)
	a = mustMatch(t, one, q)
	require.Equal(t, r.ID, a.Candidates[0].WindingID)
	require.Greater(t, a.Candidates[0].Probability, 0.5)
}

// TestAccidentalRecords: records without turns, wires, plate, core or dimensions are taken in and do no harm.
func TestAccidentalRecords(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	b := NewBuilder(testWires())
	for i := range 30 {
		b.AddRecord(w.records[i].domain())
	}
	b.AddRecord(RecordEntry{ID: "bare", CoreID: "c", FamilyID: "f"})
	odd := demoCore()
	odd.GapDiameter, odd.Slots = unit.Of(math.Inf(1)), 0
	b.AddRecord(RecordEntry{ID: "odd", CoreID: "c2", FamilyID: "f2", CoreAsMeasured: &odd, TimesSeen: -5, Scheme: winding.Scheme{Poles: 3, CoilSets: []winding.CoilSet{{Role: winding.Main, Coils: []winding.Coil{{In: 1, Out: 99, Turns: math.NaN()}}, Wires: []wire.Wire{{System: "swg", Size: "999"}}}}}})
	x := b.Build()
	q, _ := exactQuery(w, 3)
	mustMatch(t, x, q)
	mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}})
	mustMatch(t, x, Query{})
	requireSoundVerdict(t, x.CheckRecord(sheetOf(&w.entries[0])))
}

// TestSameAnswer: bit for bit, from two builds, from many goroutines.
func TestSameAnswer(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	b := NewBuilder(testWires())
	loadCatalogue(t, "testdata/worlds/sample", b)
	twin := b.Build()
	require.Equal(t, w.index.Stats(), twin.Stats())
	var group sync.WaitGroup
	for part := range 4 {
		group.Add(1)
		go func() {
			defer group.Done()
			for i := part; i < 120; i += 4 {
				q := w.queries[i].domain()
				one, err1 := w.index.Match(q)
				two, err2 := twin.Match(q)
				if err1 != nil || err2 != nil {
					t.Errorf("%s: %v %v", w.queries[i].ID, err1, err2)
					return
				}
				if !equalAnswers(one, two) {
					t.Errorf("%s: two builds answer differently", w.queries[i].ID)
					return
				}
			}
		}()
	}
	group.Wait()
}

func equalAnswers(a, b Answer) bool {
	if len(a.Candidates) != len(b.Candidates) || len(a.Proposals) != len(b.Proposals) || a.None != b.None || a.UnlistedProbability != b.UnlistedProbability {
		return false
	}
	for i := range a.Candidates {
		if a.Candidates[i].WindingID != b.Candidates[i].WindingID || a.Candidates[i].Probability != b.Candidates[i].Probability {
			return false
		}
	}
	for i := range a.Proposals {
		if a.Proposals[i].Probability != b.Proposals[i].Probability || a.Proposals[i].CoilSets[0].SeriesTurns != b.Proposals[i].CoilSets[0].SeriesTurns {
			return false
		}
	}
	return slices.Equal(a.Next, b.Next) && slices.Equal(a.Readings, b.Readings) && slices.Equal(a.Overall, b.Overall)
}

// TestLimit: the number of candidates asked for; what is not listed stays in the sum.
func TestLimit(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	for _, c := range [][2]int{{0, defaultLimit}, {1, 1}, {50, 50}, {1000, maxLimit}, {-3, defaultLimit}} {
		a := mustMatch(t, x, Query{Measurements: stator.Core{Slots: 24, RotorPosition: stator.RotorInside}, Limit: c[0]})
		require.Len(t, a.Candidates, c[1])
	}
}

// TestCoilCountAndMasses: one counted coil and weighed copper raise the record that they are of.
func TestCoilCountAndMasses(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	gain, n := 0.0, 0.0
	for i := 0; i < len(w.records); i += 83 {
		q, r := exactQuery(w, i)
		q.Nameplate = nil
		p := func(q Query) float64 {
			a := mustMatch(t, w.index, q)
			for _, c := range a.Candidates {
				if c.WindingID == r.ID {
					return math.Max(c.Probability, 1e-6)
				}
			}
			return 1e-6
		}
		before := p(q)
		set := r.Scheme.domain().CoilSets[0]
		q.Remains = &Remains{Coils: []CoilCount{{Role: set.Role, Turns: unit.Of(set.Pattern.Turns[0])}}, CopperMain: set.Mass}
		gain += math.Log(p(q) / before)
		n++
	}
	require.Greater(t, gain/n, 0.15)
}

// TestTheLargestIsNotOutside: a core as large as the largest of the catalogue is not outside its range, one a
// thirtieth larger is; the index keeps dimensions in steps.
func TestTheLargestIsNotOutside(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	positions := []stator.RotorPosition{rotorInside: stator.RotorInside, rotorOutside: stator.RotorOutside}
	for rotor, ranges := range x.model.ranges {
		for d, r := range ranges {
			if r[1] == 0 || dim(d) >= dTooth2 && dim(d) < dStack {
				continue
			}
			for k, times := range []float64{1, 1 + 1.0/30} {
				core := withReading(&stator.Core{RotorPosition: positions[rotor]}, dim(d), hundredth(r[1])*times)
				var a Answer
				x.extrapolated(x.prepare(&Query{Measurements: core}), &a)
				require.Len(t, a.Extrapolated, k, "%s of %v", dims[d].field, hundredth(r[1])*times)
			}
		}
	}
}
