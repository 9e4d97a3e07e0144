package acceptance_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"statorbook/internal/acceptance"
	"statorbook/internal/errs"
	"statorbook/internal/insulation"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func yes() *bool { b := true; return &b }
func no() *bool  { b := false; return &b }

func of(values ...float64) []unit.Measured {
	out := make([]unit.Measured, len(values))
	for i, v := range values {
		out[i] = unit.Of(v)
	}
	return out
}

// tables holds one metric size as IEC 60317-0-1 prints it (0.450 mm: ±0.005 mm) and class B and F
// rises as quoted from IEC 60034-1.
func tables(t *testing.T) acceptance.Tables {
	t.Helper()
	table, err := wire.NewTable([]wire.Size{{ID: "metric-0.450", System: wire.Metric, Size: "0.450", Text: "0.450", Diameter: 0.450, DiameterMin: 0.445, DiameterMax: 0.455}})
	require.NoError(t, err)
	rise := func(k unit.Kelvin, scope string) insulation.RiseLimit {
		return insulation.RiseLimit{Rise: k, Scope: scope, Source: insulation.Source{Title: "IEC 60034-1", Evidence: "seen quoted"}}
	}
	return acceptance.Tables{Wires: table, Classes: []insulation.Class{
		{Letter: "B", MaxHotSpot: 130, Rises: []insulation.RiseLimit{rise(80, "rise by resistance, 600 W to 200 kW"), rise(85, "rise by resistance, rated output < 600 W")}},
		{Letter: "F", MaxHotSpot: 155, Rises: []insulation.RiseLimit{rise(105, "rise by resistance, 600 W to 200 kW"), rise(110, "rise by resistance, rated output < 600 W")}},
		{Letter: "N", MaxHotSpot: 200},
	}}
}

// pump is a permanent-split-capacitor pump, 24 slots, 4 poles; the resistances are its own record.
func pump() acceptance.Machine {
	wires := []wire.Wire{{System: wire.Metric, Size: "0.450", Conductor: wire.Copper, Strands: 1}}
	return acceptance.Machine{
		Application: "pump", MotorType: "permanent_split_capacitor",
		Core: stator.Core{Phases: 1, RotorPosition: stator.RotorInside, Slots: 24, GapDiameter: unit.Of(66), BackDiameter: unit.Of(112),
			StackLength: unit.Of(45), ToothWidth: unit.Of(4.1), SlotDepth: unit.Of(11.5), BackIron: unit.Of(11.5)},
		Nameplate: &winding.Nameplate{Voltage: unit.Of(230), Frequency: unit.Of(50), Power: unit.Of(370), Current: unit.Of(2.6), Poles: 4, CapacitorUF: unit.Of(10), InsulationClass: "F"},
		Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{
			{Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{153, 126}, Groups: 4, FirstSlot: 1, Alternate: yes()}, Wires: wires, Resistance: unit.Of(28.9), Temperature: unit.Of(20)},
			{Role: winding.Auxiliary, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{300}, Groups: 4, FirstSlot: 4, Alternate: yes()}, Wires: wires, Resistance: unit.Of(35), Temperature: unit.Of(20)},
		}},
	}
}

func threePhase() acceptance.Machine {
	m := pump()
	m.MotorType, m.Core.Phases, m.Nameplate.CapacitorUF = "three_phase_cage", 3, unit.Measured{}
	m.Nameplate.Voltage = unit.Of(415)
	m.Scheme = winding.Scheme{Poles: 4}
	for _, role := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
		m.Scheme.CoilSets = append(m.Scheme.CoilSets, winding.CoilSet{Role: role, Resistance: unit.Of(12), Temperature: unit.Of(20), Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{48}, Groups: 8}})
	}
	return m
}

// judgeOne gives the verdict on one reading at 20 °C.
func judgeOne(t *testing.T, m acceptance.Machine, r acceptance.Reading) acceptance.Verdict {
	t.Helper()
	res, err := acceptance.Judge(m, tables(t), acceptance.Session{AmbientC: 20, Readings: []acceptance.Reading{r}})
	require.NoError(t, err)
	require.Len(t, res.Tests, 1)
	require.NotEmpty(t, res.Cautions, "cautions come with every verdict")
	require.NotEmpty(t, res.Tests[0].Reason)
	return res.Tests[0]
}

// TestWithstandVoltages holds the published rows. Of machine_worked, HV-05 and HV-07 are here; HV-01 is a DC value, which
// the service does not name, and HV-03 leaves out the floor of 1500 V that the standard's own row sets.
func TestWithstandVoltages(t *testing.T) {
	t.Parallel()
	single := func(volts float64) acceptance.Machine {
		m := threePhase()
		m.Nameplate.Voltage = unit.Of(volts)
		return m
	}
	extent := func(m acceptance.Machine, e acceptance.Extent) acceptance.Machine { m.Extent = e; return m }
	small := single(48)
	cases := []struct {
		source string
		m      acceptance.Machine
		want   float64
	}{
		{"IEC 60034-1:2004 Table 16 item 2 (page extract): 230 V gives 2U+1000 = 1460, so 1500 applies", single(230), 1500},
		{"the same: 415 V gives 1830", single(415), 1830},
		{"coil-maker chart, read: 660 V machine, 2U+1000 = 2320", single(660), 2320},
		{"IEC 60034-1:2004 Table 16 item 1 (page extract): below 1 kW and 100 V, 2U+500", small, 596},
		{"IEC 60034-1:2004 9.2 b) (page extract): overhauled 230 V machine, 1.5 U, at least 1000", extent(single(230), acceptance.Overhauled), 1000},
		{"the same: 1.5 x 690", extent(single(690), acceptance.Overhauled), 1035},
		{"IEC 60034-1 9.2 a) (from memory): 75 % of the new winding's", extent(single(415), acceptance.PartlyRewound), 0.75 * 1830},
	}
	for _, c := range cases {
		v := judgeOne(t, c.m, acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(c.want), Seconds: unit.Of(60), OK: yes()})
		require.NotNil(t, v.Limit, c.source)
		require.InDelta(t, c.want, *v.Limit.Low, 0.5, c.source)
		want := acceptance.Pass
		if c.m.Extent == acceptance.PartlyRewound {
			want = acceptance.InsideGuidance // its clause is from memory
		}
		require.Equal(t, want, v.Word, c.source)
	}
}

func TestWithstandOfCapacitorMotorUsesTheCapacitorEnd(t *testing.T) {
	t.Parallel()
	// IEC 60034-1:2004 Table 16 note 1: U is the highest voltage between any two terminals in
	// running; V·√(1+a²) at balance (derived). a = 300·4·0.9659/(1116·0.84904) from the coil lists.
	a := 1200 * 0.965926 / (1116 * 0.849040)
	want := 2*230*math.Sqrt(1+a*a) + 1000
	v := judgeOne(t, pump(), acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(2000), Seconds: unit.Of(60), OK: yes()})
	require.InDelta(t, want, *v.Limit.Low, 1)
	require.Equal(t, acceptance.Pass, v.Word)
}

func TestWithstandIsNotJudgedWhereTheScopeDoesNotFit(t *testing.T) {
	t.Parallel()
	r := acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(1500), Seconds: unit.Of(60), OK: yes()}
	fan, second, unknown, noVolts := pump(), pump(), threePhase(), threePhase()
	fan.Application, second.ClassII, unknown.Application = "ceiling_fan", true, ""
	noVolts.Nameplate = nil
	require.Equal(t, acceptance.NotJudged, judgeOne(t, fan, r).Word)
	require.Contains(t, judgeOne(t, fan, r).Reason, "IEC 60335")
	require.Equal(t, acceptance.NotJudged, judgeOne(t, second, r).Word)
	require.Equal(t, acceptance.NotJudged, judgeOne(t, noVolts, r).Word)
	r.Volts = of(1830)
	require.Equal(t, acceptance.InsideGuidance, judgeOne(t, unknown, r).Word, "an unknown application never passes")
	r.Volts = of(1000)
	require.Equal(t, acceptance.NotJudged, judgeOne(t, threePhase(), r).Word, "too low a voltage proves nothing")
	r.OK = no()
	require.Equal(t, acceptance.Fail, judgeOne(t, threePhase(), r).Word)
}

func TestInsulationResistanceCorrection(t *testing.T) {
	t.Parallel()
	cases := []struct {
		source       string
		megohm, at   float64
		want, within float64
	}{
		{"derived check D-25: 12 Mohm at 25 C", 12, 25, 4.2426407, 1e-7},
		{"derived check D-26: 6 Mohm at 55 C", 6, 55, 16.970563, 1e-6},
	}
	for _, c := range cases {
		require.InDelta(t, c.want, acceptance.InsulationAt40(c.megohm, unit.Celsius(c.at)), c.within, c.source)
	}
	// machine_worked row IR-01 (a tester manual's rule of thumb, page read): 150 Mohm at 20 °C is 75 at 30 °C, within 0.67 %.
	require.InEpsilon(t, acceptance.InsulationAt40(75, 30), acceptance.InsulationAt40(150, 20), 0.0067)
	low := judgeOne(t, pump(), acceptance.Reading{Test: acceptance.TestInsulation, Megohm: unit.Of(12), WindingC: unit.Of(25)})
	require.Equal(t, acceptance.OutsideGuidance, low.Word, "4.24 megohm at 40 °C is below 5")
	require.Contains(t, low.Limit.Source, "borrowed", "IEEE 43 leaves out fractional horsepower: never a limit here")
	good := judgeOne(t, pump(), acceptance.Reading{Test: acceptance.TestInsulation, Megohm: unit.Of(100), WindingC: unit.Of(25)})
	require.Equal(t, acceptance.InsideGuidance, good.Word)
}

func TestTemperatureRise(t *testing.T) {
	t.Parallel()
	// Derived check D-22: 12.0 ohm at 25 C, 15.6 ohm hot, room 28 C at the end, K 234.5: 74.85 K.
	r := acceptance.Reading{Test: acceptance.TestRise, Role: winding.Main, Ohms: of(15.6), ColdOhm: unit.Of(12), ColdC: unit.Of(25), CoolantEndC: unit.Of(28)}
	v := judgeOne(t, pump(), r)
	require.InDelta(t, 74.85, *v.Figure, 1e-9)
	require.Equal(t, acceptance.InsideGuidance, v.Word)
	require.Equal(t, 110.0, *v.Limit.High, "class F, below 600 W")
	large := pump()
	large.Nameplate.Power = unit.Of(750)
	require.Equal(t, 105.0, *judgeOne(t, large, r).Limit.High, "class F, from 600 W")
	untabled := pump()
	untabled.Nameplate.InsulationClass = "N"
	require.Equal(t, acceptance.NotJudged, judgeOne(t, untabled, r).Word)
	r.Ohms = of(20)
	require.Equal(t, acceptance.OutsideGuidance, judgeOne(t, pump(), r).Word)
	// D-24: the same readings on aluminium, K 225: 72 K.
	al := pump()
	al.Scheme.CoilSets[0].Wires = []wire.Wire{{System: wire.Metric, Size: "0.450", Conductor: wire.Aluminium, Strands: 1}}
	r.Ohms = of(15.6)
	require.InDelta(t, 72, *judgeOne(t, al, r).Figure, 1e-9)
}

func TestWindingResistance(t *testing.T) {
	t.Parallel()
	// 28.9 ohm at 20 °C is 35.14 at 75 °C with K 234.5 (309.5/254.5).
	hot := 28.9 * 309.5 / 254.5
	read := func(ohm, at float64) acceptance.Verdict {
		return judgeOne(t, pump(), acceptance.Reading{Test: acceptance.TestResistance, Role: winding.Main, Ohms: of(ohm), WindingC: unit.Of(at)})
	}
	v := read(hot, 75)
	require.InDelta(t, 28.9, *v.Figure, 1e-9)
	require.Equal(t, acceptance.InsideGuidance, v.Word)
	require.Equal(t, acceptance.KindDerived, v.Limit.Kind)
	// Contract rule 12: sqrt(wire tolerance² + 3 %²); the wire's is half of (0.450/0.445)²-(0.450/0.455)².
	wireTol := (math.Pow(0.450/0.445, 2) - math.Pow(0.450/0.455, 2)) / 2
	require.InDelta(t, 28.9*(1+math.Hypot(wireTol, 0.03)), *v.Limit.High, 1e-9)
	require.Equal(t, acceptance.OutsideGuidance, read(28.9/2, 20).Word, "half the turns")
	require.Equal(t, acceptance.OutsideGuidance, read(28.9, 75).Word, "a hot winding cannot read its cold value")

	bare := pump()
	bare.Scheme.CoilSets[0].Resistance = unit.Measured{}
	computed := judgeOne(t, bare, acceptance.Reading{Test: acceptance.TestResistance, Role: winding.Main, Ohms: of(28.9)})
	require.Contains(t, computed.Limit.Source, "computed")
	require.Greater(t, *computed.Limit.High/(*computed.Limit.Value), *v.Limit.High/(*v.Limit.Value), "a computed value has the wider band")
	none := judgeOne(t, bare, acceptance.Reading{Test: acceptance.TestResistance, Role: winding.PhaseU, Ohms: of(3)})
	require.Equal(t, acceptance.NotJudged, none.Word)
}

func TestOtherTests(t *testing.T) {
	t.Parallel()
	count := func(n int) *int { return &n }
	outside := pump()
	outside.Core.RotorPosition = stator.RotorOutside
	cases := []struct {
		name string
		m    acceptance.Machine
		r    acceptance.Reading
		want acceptance.Word
	}{
		{"balance within 2 %", threePhase(), acceptance.Reading{Test: acceptance.TestBalance, Ohms: of(24, 24.2, 23.9)}, acceptance.InsideGuidance},
		{"balance beyond 2 %", threePhase(), acceptance.Reading{Test: acceptance.TestBalance, Ohms: of(24, 25, 23.9)}, acceptance.OutsideGuidance},
		{"balance of one phase", pump(), acceptance.Reading{Test: acceptance.TestBalance, Ohms: of(24, 25, 23.9)}, acceptance.NotJudged},
		{"groups alike", pump(), acceptance.Reading{Test: acceptance.TestPoleResistance, Ohms: of(7.2, 7.3, 7.25, 7.2)}, acceptance.InsideGuidance},
		{"a group of half the turns", pump(), acceptance.Reading{Test: acceptance.TestPoleResistance, Ohms: of(7.2, 3.6, 7.25, 7.2)}, acceptance.OutsideGuidance},
		{"drop over a shorted group", pump(), acceptance.Reading{Test: acceptance.TestPoleDrop, Volts: of(5, 5, 3.9, 5)}, acceptance.OutsideGuidance},
		{"auxiliary over main", pump(), acceptance.Reading{Test: acceptance.TestMainAuxiliary, Ohms: of(28.9, 35)}, acceptance.InsideGuidance},
		{"auxiliary and main swapped", pump(), acceptance.Reading{Test: acceptance.TestMainAuxiliary, Ohms: of(35, 28.9)}, acceptance.OutsideGuidance},
		{"four poles alternate", pump(), acceptance.Reading{Test: acceptance.TestPolarity, Count: count(4), OK: yes()}, acceptance.InsideGuidance},
		{"two poles where there are four", pump(), acceptance.Reading{Test: acceptance.TestPolarity, Count: count(2), OK: yes()}, acceptance.OutsideGuidance},
		{"poles do not alternate", pump(), acceptance.Reading{Test: acceptance.TestPolarity, Count: count(4), OK: no()}, acceptance.OutsideGuidance},
		{"growler quiet", pump(), acceptance.Reading{Test: acceptance.TestGrowler, Count: count(0)}, acceptance.InsideGuidance},
		{"growler draws", pump(), acceptance.Reading{Test: acceptance.TestGrowler, Count: count(2)}, acceptance.OutsideGuidance},
		{"growler needs a bore", outside, acceptance.Reading{Test: acceptance.TestGrowler, Count: count(0)}, acceptance.NotJudged},
		{"surge waves agree", pump(), acceptance.Reading{Test: acceptance.TestSurge, OK: yes()}, acceptance.InsideGuidance},
		{"earth good", pump(), acceptance.Reading{Test: acceptance.TestEarth, Ohms: of(0.05)}, acceptance.InsideGuidance},
		{"earth bad", pump(), acceptance.Reading{Test: acceptance.TestEarth, Ohms: of(0.5)}, acceptance.OutsideGuidance},
		{"capacitor faded", pump(), acceptance.Reading{Test: acceptance.TestCapacitor, UF: unit.Of(8.5)}, acceptance.OutsideGuidance},
		{"capacitor good", pump(), acceptance.Reading{Test: acceptance.TestCapacitor, UF: unit.Of(9.6)}, acceptance.InsideGuidance},
		{"no-load current", pump(), acceptance.Reading{Test: acceptance.TestNoLoad, Amps: of(1.9)}, acceptance.InsideGuidance},
		{"no-load current too high", pump(), acceptance.Reading{Test: acceptance.TestNoLoad, Amps: of(3.9)}, acceptance.OutsideGuidance},
		{"no-load lines unequal", threePhase(), acceptance.Reading{Test: acceptance.TestNoLoad, Amps: of(1.0, 1.3, 1.0)}, acceptance.OutsideGuidance},
		{"rotor rubs", pump(), acceptance.Reading{Test: acceptance.TestRotorFree, OK: no()}, acceptance.OutsideGuidance},
		{"direction right", pump(), acceptance.Reading{Test: acceptance.TestDirection, OK: yes()}, acceptance.InsideGuidance},
	}
	for _, c := range cases {
		require.Equal(t, c.want, judgeOne(t, c.m, c.r).Word, c.name)
	}
}

func TestBadReadingsAreNamed(t *testing.T) {
	t.Parallel()
	readings := []acceptance.Reading{
		{Test: "smoke"},
		{Test: acceptance.TestResistance, Ohms: of(3)},
		{Test: acceptance.TestResistance, Role: winding.Main},
		{Test: acceptance.TestResistance, Role: winding.Main, Ohms: of(-3)},
		{Test: acceptance.TestInsulation},
		{Test: acceptance.TestWithstand},
		{Test: acceptance.TestRise, Ohms: of(3)},
		{Test: acceptance.TestNoLoad, Amps: of(1, 2)},
		{Test: acceptance.TestPolarity},
		{Test: acceptance.TestRotorFree},
	}
	_, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: readings})
	require.Equal(t, errs.KindImpossible, errs.KindOf(err))
	var e *errs.Error
	require.ErrorAs(t, err, &e)
	seen := map[string]bool{}
	for _, f := range e.Fields {
		require.NotEmpty(t, f.Detail)
		seen[f.Pointer[:len("/readings/0")]] = true
	}
	require.Len(t, seen, len(readings), "the mistakes of all readings are named together")
}

func TestOverallIsTheGravestWord(t *testing.T) {
	t.Parallel()
	good := acceptance.Reading{Test: acceptance.TestEarth, Ohms: of(0.05)}
	bad := acceptance.Reading{Test: acceptance.TestEarth, Ohms: of(5)}
	burst := acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(900), Seconds: unit.Of(1), OK: no()}
	held := acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(3000), Seconds: unit.Of(60), OK: yes()}
	for want, readings := range map[acceptance.Word][]acceptance.Reading{
		acceptance.NotJudged:       nil,
		acceptance.Pass:            {held},
		acceptance.InsideGuidance:  {held, good},
		acceptance.OutsideGuidance: {good, bad, held},
		acceptance.Fail:            {good, bad, burst},
	} {
		res, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: readings})
		require.NoError(t, err)
		require.Equal(t, want, res.Overall)
		require.NotEmpty(t, res.Reason)
	}
}

func TestPlanFitsTheMachine(t *testing.T) {
	t.Parallel()
	steps := func(m acceptance.Machine) map[string]acceptance.Step {
		p := acceptance.MakePlan(m, tables(t))
		require.NotEmpty(t, p.Cautions)
		out := map[string]acceptance.Step{}
		for _, s := range p.Steps {
			require.True(t, len(s.Limits) > 0 || s.NotJudged != "", "%s: a step has a limit or says why not", s.Test)
			for _, l := range s.Limits {
				require.NotEmpty(t, l.Source, s.Test)
			}
			out[s.Test] = s
		}
		return out
	}
	one, three := steps(pump()), steps(threePhase())
	require.Contains(t, one, acceptance.TestMainAuxiliary)
	require.Contains(t, one, acceptance.TestCapacitor)
	require.NotContains(t, one, acceptance.TestBalance)
	require.Contains(t, three, acceptance.TestBalance)
	require.NotContains(t, three, acceptance.TestMainAuxiliary)
	require.Len(t, one[acceptance.TestResistance].Limits, 2)
	require.NotContains(t, one[acceptance.TestPolarity].Limits[0].Source, "tolerance", "poles are counted: nothing of a wire's tolerance is in them")
	empty := steps(acceptance.Machine{})
	require.NotEmpty(t, empty[acceptance.TestResistance].NotJudged, "nothing on record: no limit is invented")
	for _, m := range []acceptance.Machine{pump(), threePhase()} {
		for _, s := range steps(m) {
			require.Contains(t, acceptance.Tests(), s.Test)
		}
	}
}

// onlyUsed takes from a reading what its test refuses as not used.
func onlyUsed(t *testing.T, r acceptance.Reading) acceptance.Reading {
	_, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: []acceptance.Reading{r}})
	var known *errs.Error
	if !errors.As(err, &known) {
		return r
	}
	clear := map[string]func(){
		"ohms": func() { r.Ohms = nil }, "megohm": func() { r.Megohm = unit.Measured{} }, "volts": func() { r.Volts = nil }, "amps": func() { r.Amps = nil },
		"seconds": func() { r.Seconds = unit.Measured{} }, "uf": func() { r.UF = unit.Measured{} }, "count": func() { r.Count = nil }, "ok": func() { r.OK = nil },
		"cold_ohm": func() { r.ColdOhm = unit.Measured{} }, "cold_c": func() { r.ColdC = unit.Measured{} }, "coolant_end_c": func() { r.CoolantEndC = unit.Measured{} },
	}
	for _, f := range known.Fields {
		if f.Code == "NOT_USED" {
			clear[strings.TrimPrefix(f.Pointer, "/readings/0/")]()
		}
	}
	return r
}

func TestJudgeNeverGivesPassOutsideStandards(t *testing.T) {
	t.Parallel()
	judged := 0
	rapid.Check(t, func(rt *rapid.T) {
		value := rapid.Float64Range(1e-6, 1e6)
		r := acceptance.Reading{
			Test: rapid.SampledFrom(acceptance.Tests()).Draw(rt, "test"), Role: winding.Main,
			Ohms: of(value.Draw(rt, "ohm")), Megohm: unit.Of(value.Draw(rt, "megohm")), Volts: of(value.Draw(rt, "volt")), Amps: of(value.Draw(rt, "amp")),
			Seconds: unit.Of(60), UF: unit.Of(value.Draw(rt, "uf")), OK: yes(), ColdOhm: unit.Of(value.Draw(rt, "cold")), ColdC: unit.Of(20), CoolantEndC: unit.Of(20),
		}
		n := rapid.IntRange(0, 12).Draw(rt, "count")
		r.Count = &n
		res, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: []acceptance.Reading{onlyUsed(t, r)}})
		if err != nil {
			require.Equal(rt, errs.KindImpossible, errs.KindOf(err))
			return
		}
		judged++
		v := res.Tests[0]
		if v.Word == acceptance.Pass || v.Word == acceptance.Fail {
			require.Equal(rt, acceptance.KindStandard, v.Limit.Kind, fmt.Sprint(v.Reason))
		}
		if v.Figure != nil {
			require.False(rt, math.IsNaN(*v.Figure) || math.IsInf(*v.Figure, 0))
		}
	})
	require.Positive(t, judged)
}

// A breakdown is a breakdown: no missing rule hides it. Common practice, no source.
func TestBreakdownIsNeverPassedOver(t *testing.T) {
	t.Parallel()
	fan, second, noVolts := pump(), pump(), threePhase()
	fan.Application, second.ClassII = "ceiling_fan", true
	noVolts.Nameplate = nil
	for _, m := range []acceptance.Machine{fan, second, noVolts} {
		v := judgeOne(t, m, acceptance.Reading{Test: acceptance.TestWithstand, Volts: of(1500), Seconds: unit.Of(5), OK: no()})
		require.Equal(t, acceptance.OutsideGuidance, v.Word)
		require.Equal(t, acceptance.KindGuidance, v.Limit.Kind)
		require.Contains(t, v.Reason, "breakdown")
	}
}

// Meters show zero: a winding on the core, a dead capacitor, a sound earth lead.
func TestReadingsOfZero(t *testing.T) {
	t.Parallel()
	for test, c := range map[string]struct {
		r    acceptance.Reading
		want acceptance.Word
	}{
		"earthed winding": {acceptance.Reading{Test: acceptance.TestInsulation, Megohm: unit.Of(0)}, acceptance.OutsideGuidance},
		"dead capacitor":  {acceptance.Reading{Test: acceptance.TestCapacitor, UF: unit.Of(0)}, acceptance.OutsideGuidance},
		"sound earth":     {acceptance.Reading{Test: acceptance.TestEarth, Ohms: of(0)}, acceptance.InsideGuidance},
		"shorted winding": {acceptance.Reading{Test: acceptance.TestResistance, Role: winding.Main, Ohms: of(0)}, acceptance.OutsideGuidance},
		"shorted group":   {acceptance.Reading{Test: acceptance.TestPoleDrop, Volts: of(5, 0, 5, 5)}, acceptance.OutsideGuidance},
		"nothing flows":   {acceptance.Reading{Test: acceptance.TestNoLoad, Amps: of(0)}, acceptance.OutsideGuidance},
	} {
		require.Equal(t, c.want, judgeOne(t, pump(), c.r).Word, test)
	}
	for _, r := range []acceptance.Reading{
		{Test: acceptance.TestPoleDrop, Volts: of(0, 0)}, {Test: acceptance.TestMainAuxiliary, Ohms: of(0, 3)}, {Test: acceptance.TestWithstand, Volts: of(0), Seconds: unit.Of(60), OK: yes()},
		{Test: acceptance.TestRise, Role: winding.Main, Ohms: of(15.6), ColdOhm: unit.Of(0), ColdC: unit.Of(25), CoolantEndC: unit.Of(28)},
	} {
		_, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: []acceptance.Reading{r}})
		require.Equal(t, errs.KindImpossible, errs.KindOf(err), r.Test)
	}
}

// A figure that a test does not use is refused with its place: it belongs to another test, and nobody would judge it.
func TestUnusedFigureIsRefused(t *testing.T) {
	t.Parallel()
	_, err := acceptance.Judge(pump(), tables(t), acceptance.Session{AmbientC: 20, Readings: []acceptance.Reading{
		{Test: acceptance.TestEarth, Ohms: of(0.05), WindingC: unit.Of(25)},
		{Test: acceptance.TestCapacitor, UF: unit.Of(10), Megohm: unit.Of(3), OK: no()},
	}})
	var known *errs.Error
	require.ErrorAs(t, err, &known)
	require.Len(t, known.Fields, 2)
	require.Equal(t, "/readings/1/megohm", known.Fields[0].Pointer)
	require.Equal(t, "NOT_USED", known.Fields[0].Code)
	require.Equal(t, []string{"role", "pair", "winding_c", "uf"}, known.Fields[0].Allowed)
	require.Equal(t, "/readings/1/ok", known.Fields[1].Pointer)
}
