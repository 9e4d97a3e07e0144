package match

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestSecondRingIsJudged: the inner ring of a fan that is not catalogued was measured, so its teeth, the legs beside
// its slits and the fill of its slots are told.
func TestSecondRingIsJudged(t *testing.T) {
	t.Parallel()
	q := Query{Measurements: stator.Core{Phases: 1, RotorPosition: stator.RotorOutside, Slots: 16, GapDiameter: unit.Of(137.9), BackDiameter: unit.Of(88.8), StackLength: unit.Of(29),
		ToothWidth: unit.Of(12.9), SlotDepth: unit.Of(8.1), SlotOpening: unit.Of(2.5),
		SecondRing: &stator.Ring{Slots: 16, ToothWidth: unit.Of(7.1), SlotDepth: unit.Of(7.4), SlotOpening: unit.Of(2.3)}},
		Supply: &winding.Supply{Voltage: unit.Of(230), Frequency: unit.Of(50), Phases: 1}}
	a := mustMatch(t, sampleWorld().index, q)
	require.Greater(t, a.None.Family, 0.5, "a lamination of its own")
	seen := 0
	for _, p := range a.Proposals {
		if p.Basis.Method != methodReference || len(p.CoilSets) < 2 || p.Densities == nil {
			continue
		}
		seen++
		parts := map[string]bool{}
		for _, tooth := range p.Densities.Teeth {
			parts[string(tooth.Ring)+" "+tooth.Part] = true
		}
		require.Equal(t, map[string]bool{"gap tooth": true, "gap slit_leg": true, "back tooth": true}, parts)
		for _, s := range p.CoilSets {
			require.NotNil(t, s.Fill, "%s", s.Role)
		}
	}
	require.Positive(t, seen)
}

// TestThinnerAuxiliary: where the pattern's proportion makes the slots too full, the auxiliary of a predicted winding
// is taken thinner and that is told; the main winding, which the readings speak of, stays.
func TestThinnerAuxiliary(t *testing.T) {
	t.Parallel()
	const step = "the auxiliary's wire is taken thinner"
	told := 0
	for _, a := range sampleAnswers() {
		for i := range a.Proposals {
			p := &a.Proposals[i]
			if !slices.ContainsFunc(p.Basis.Steps, func(s string) bool { return len(s) > len(step) && s[:len(step)] == step }) {
				continue
			}
			told++
			require.NotEqual(t, methodRecord, p.Basis.Method)
			require.LessOrEqual(t, p.squareFill(), winding.HandFill().High)
			require.Nil(t, findingOf(p, winding.CodeSquareFill))
		}
	}
	require.Positive(t, told)
}

// TestScaledCapacitor: a predicted capacitor motor gets the capacitor of the record whose pattern it takes, scaled by
// 1/(f² N² D L), with its uncertainty told; at balance that keeps the product of reactance and current.
func TestScaledCapacitor(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	seen := 0
	for i := range w.queries {
		q := w.queries[i].domain()
		if q.Nameplate != nil {
			q.Nameplate.CapacitorUF = unit.Measured{}
		}
		a := mustMatch(t, w.index, q)
		for k := range a.Proposals {
			p := &a.Proposals[k]
			at := slices.IndexFunc(p.Basis.Steps, func(s string) bool { return len(s) > 9 && s[:9] == "capacitor" })
			if at < 0 {
				continue
			}
			seen++
			require.NotNil(t, p.Capacitor)
			require.InEpsilon(t, capacitorSpread, p.Capacitor.UF.P95/p.Capacitor.UF.P50, 1e-9)
			require.Greater(t, p.Capacitor.UF.P50, 0.2)
			require.Less(t, p.Capacitor.UF.P50, 120.0)
		}
		if i > 60 {
			break
		}
	}
	require.Positive(t, seen)
}

// TestScaledCapacitorByHand takes 10 µF on one core: with 10 % more turns it is 8.26 µF; at 60 Hz 1/1.44 of that.
func TestScaledCapacitorByHand(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	for r := range x.recs {
		rec := &x.recs[r]
		ln, ok := unpackLog(rec.capacitor)
		d := x.designs[rec.design]
		if !ok || x.texts.motor.at(x.kindOf(rec).motor) != "permanent_split_capacitor" || d.frequency == 0 || rec.turnsMain == (small{}) {
			continue
		}
		s := x.siteOf(x.coreOfRecord(r))
		b := box{n: math.Log(1.1 * float64(x.series(rec.turnsMain)))}
		m := maker{x: x, p: &prepared{q: &Query{}}, from: r, box: &b, design: d}
		m.useSite(&s)
		m.out.Basis.Method = methodScaled
		require.InEpsilon(t, math.Exp(ln)/1.21, m.scaledCapacitor(), 0.01)
		m.design.frequency *= 1.2
		require.InEpsilon(t, math.Exp(ln)/1.21/1.44, m.scaledCapacitor(), 0.01)
		m.p.q.MotorType = "capacitor_start"
		require.Zero(t, m.scaledCapacitor(), "a start capacitor is not this rule's")
		m.p.q.MotorType, m.out.Basis.Method = "", methodRecord
		require.Zero(t, m.scaledCapacitor(), "a record has its own")
		return
	}
	require.Fail(t, "no capacitor motor in the sample")
}

// TestMetalOfAPrediction: the metal follows the records of the same lamination; from a stranger only the layout is
// taken, and the wire is copper, as small motors have it.
func TestMetalOfAPrediction(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	set := winding.CoilSet{Wires: []wire.Wire{{System: wire.SWG, Size: "30", Conductor: wire.Aluminium, Build: wire.Grade2, Strands: 1}}}
	for method, want := range map[string]wire.Conductor{methodScaled: wire.Aluminium, methodReference: wire.Copper, methodLimits: wire.Copper} {
		m := maker{x: x, p: &prepared{q: &Query{}}, lam: -1}
		m.out.Basis.Method = method
		got, fromStock := m.wires(&set, 0.08)
		require.False(t, fromStock)
		require.Len(t, got, 1)
		require.Equal(t, want, got[0].Conductor, method)
		require.Equal(t, wire.SWG, got[0].System)
		require.Equal(t, wire.Grade2, got[0].Build)
	}
	m := maker{x: x, p: &prepared{q: &Query{Stock: []wire.Wire{{System: wire.SWG, Size: "30", Conductor: wire.Copper, Build: wire.Grade2}}}}, lam: -1}
	m.out.Basis.Method = methodReference
	_, fromStock := m.wires(&set, 0.078)
	require.True(t, fromStock, "copper on the shelf serves")
}

// TestRingSlots: the second ring has the slots that the catalogue tells of the lamination, else those that were counted
// where they are others than those of the first; who miscounts both alike has miscounted both.
func TestRingSlots(t *testing.T) {
	t.Parallel()
	x := &Index{lam: laminations{ring2: []uint16{28, 1, 0}}}
	for _, c := range []struct {
		lam, told, toldFirst, first, want int
	}{
		{lam: 0, told: 14, toldFirst: 14, first: 14, want: 28}, {lam: 1, told: 0, first: 14, want: 14}, {lam: 1, told: 28, toldFirst: 14, first: 14, want: 28},
		{lam: -1, told: 28, toldFirst: 14, first: 14, want: 28}, {lam: -1, told: 15, toldFirst: 15, first: 16, want: 16}, {lam: -1, told: 1, toldFirst: 14, first: 14, want: 14}, {lam: -1, told: 28, first: 14, want: 14},
	} {
		m := maker{x: x, p: &prepared{ring2: c.told, slots: c.toldFirst}, lam: c.lam}
		require.Equal(t, c.want, m.ringSlots(c.first), "%+v", c)
	}
}

// TestNoProposalTwice: two boxes around one record would give it twice; the winding is told once, with the likelier
// box. Of these queries of the sample world five gave a pair before.
func TestNoProposalTwice(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	asked := 0
	for i := 95; i < 215; i++ {
		q := w.queries[i].domain()
		if i%2 == 0 {
			q.Stock = []wire.Wire{{System: wire.SWG, Size: "28", Conductor: wire.Copper, Strands: 1}}
		}
		a, err := w.index.Match(q)
		if err != nil || len(a.Proposals) == 0 {
			continue
		}
		asked++
		require.True(t, a.Proposals[0].sameWinding(a.Proposals[0]))
		for k := range a.Proposals {
			for l := range k {
				require.False(t, a.Proposals[k].sameWinding(a.Proposals[l]), "query %d: proposals %d and %d", i, l+1, k+1)
			}
		}
	}
	require.Greater(t, asked, 90)
}
