package simworld

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// fixedDraws is how many draws of fixed seeds a share is counted over. Free draws would be 20 with -short, few
// enough to leave any limit by chance.
const fixedDraws = 500

// draw any stamping of any kind.
func anyLamination(t *rapid.T) lamination {
	c := usual()
	k := &kinds[rapid.IntRange(0, len(kinds)-1).Draw(t, "kind")]
	b := k.builds[rapid.IntRange(0, len(k.builds)-1).Draw(t, "build")]
	return drawLamination(newDice(rapid.Uint64().Draw(t, "seed"), "lamination", 0), k, b, &c)
}

// TestLaminationsCouldBeMade: what is sound passes the service's own check of geometry, closes, and
// has about the slot area that its dimensions leave.
func TestLaminationsCouldBeMade(t *testing.T) {
	t.Parallel()
	check := func(t require.TestingT, l lamination) (sound bool) {
		if !l.sound() {
			return false
		}
		core := l.core(30)
		require.Empty(t, stator.Check(core))
		if l.kind.twoRings {
			require.Greater(t, core.GapDiameter.Value, core.BackDiameter.Value)
			return true
		}
		require.InDelta(t, (l.back-l.gap)/2, l.first.depth+l.iron, 1e-6)
		derived, ok := stator.DerivedSlotArea(core)
		require.True(t, ok)
		require.InEpsilon(t, float64(derived.Net), l.first.area, 0.25)
		return true
	}
	rapid.Check(t, func(t *rapid.T) { check(t, anyLamination(t)) })
	sound := 0
	for seed := range fixedDraws {
		if check(t, rapid.Custom(anyLamination).Example(seed)) {
			sound++
		}
	}
	require.Greater(t, sound, fixedDraws*7/10)
}

// TestFluxLimit is the worked stator without data of the formula page, section 15: tooth limit
// 1.0158 mWb at 1.5 T, back iron 1.2782 mWb at 1.3 T.
func TestFluxLimit(t *testing.T) {
	t.Parallel()
	l := lamination{kind: kindOf("pump"), slots: 24, poles: 4, gap: 66, iron: 11.5, first: ring{tooth: 4.1}}
	require.InDelta(t, 1.0158, l.fluxLimit(4, 45, &constants{LimitTooth: 1.5, LimitIron: 9}), 1e-4)
	require.InDelta(t, 1.2782, l.fluxLimit(4, 45, &constants{LimitTooth: 9, LimitIron: 1.3}), 1e-4)
	require.InDelta(t, 1.0158, l.fluxLimit(4, 45, &constants{LimitTooth: 1.5, LimitIron: 1.3}), 1e-4)
}

// TestFanFluxLimit: with one slot per pole a tooth carries the whole pole, a slit leg sin(45°) of it.
func TestFanFluxLimit(t *testing.T) {
	t.Parallel()
	l := lamination{kind: kindOf(ceilingFanKey), slots: 14, poles: 14, iron: 50, first: ring{tooth: 12.4}, second: ring{tooth: 50, opening: 2.4}}
	c := &constants{LimitTooth: 1.5, LimitIron: 1.3}
	require.InDelta(t, 1.5*5*0.95*20e-3/math.Sin(math.Pi/4), l.fluxLimit(14, 20, c), 1e-9)
	l.second.tooth = 6
	require.InDelta(t, 1.5*6*0.95*20e-3, l.fluxLimit(14, 20, c), 1e-9)
}

// anyDesign drafts for any stamping, nil where nothing sensible came out.
func anyDesign(t *rapid.T, stock stockroom) *design {
	l := anyLamination(t)
	c := usual()
	d := newDice(rapid.Uint64().Draw(t, "design seed"), "design", 0)
	m := drawMaker(d, 1, &c)
	stack := stepped(l.gap*d.logBetween(l.kind.stack.low, l.kind.stack.high), 1)
	if !l.sound() {
		return nil
	}
	g, ok := draft(d, brief{lam: &l, maker: &m, stack: stack, poles: l.poles, supply: drawSupply(d, l.kind), flux: d.firm(0.05), shelf: m.shelf}, stock, &c)
	if !ok {
		return nil
	}
	return &g
}

// TestDesignsObeyPhysics: EMF, slot fill, length, mass, resistance and current agree with each
// other in every design, worked out here a second time.
func TestDesignsObeyPhysics(t *testing.T) {
	t.Parallel()
	wires := table(t)
	stock := newStockroom(wires)
	drawn := func(t *rapid.T) *design { return anyDesign(t, stock) }
	check := func(t require.TestingT, g *design) {
		if g == nil {
			return
		}
		main := g.sets[0]
		e := math.Sqrt2 * math.Pi * g.supply.hertz * main.series() * main.kw * g.flux * 1e-3
		require.InEpsilon(t, g.backEMF*g.supply.windingVolts(), e, 1e-9)
		limit := g.lam.fluxLimit(g.poles, g.stack, &constants{LimitTooth: 1.5, LimitIron: 1.34})
		require.InEpsilon(t, limit, g.flux, 0.25)
		require.True(t, g.fill > 0.45 && g.fill <= 0.77, "fill %v", g.fill)
		for i := range g.sets {
			s := &g.sets[i]
			for _, turns := range s.pattern.Turns {
				require.InDelta(t, math.Round(turns), turns, 1e-9, "whole turns")
			}
			r, err := wires.Resolve(s.wire.wire)
			require.NoError(t, err)
			length := s.turns * s.turn / 1000
			require.InEpsilon(t, length*float64(r.TotalArea)*r.Density, s.mass, 1e-9)
			require.InEpsilon(t, length*r.Resistivity/float64(r.TotalArea)/float64(s.paths*s.paths), s.ohms, 1e-9)
			require.Greater(t, s.turn, 2*g.stack)
		}
		require.InEpsilon(t, g.main, g.density*main.wire.area*float64(main.paths), 1e-9)
		if g.motorType == permanentSplit {
			require.GreaterOrEqual(t, g.capacitorV, 1.1*g.supply.volts*math.Sqrt(1+g.ratio*g.ratio))
		}
		synchronous := 120 * g.supply.hertz / float64(g.poles)
		require.Less(t, g.speed, synchronous)
		require.Greater(t, g.speed, 0.7*synchronous)
	}
	rapid.Check(t, func(t *rapid.T) { check(t, drawn(t)) })
	good := 0
	for seed := range fixedDraws {
		if g := rapid.Custom(drawn).Example(seed); g != nil {
			good++
			check(t, g)
		}
	}
	require.Greater(t, good, fixedDraws*4/10, "of %d designs came about", fixedDraws)
}

// TestStockroom wants real sizes with a known overall diameter, fewest strands, every shelf.
func TestStockroom(t *testing.T) {
	t.Parallel()
	stock := newStockroom(table(t))
	for _, key := range []shelfKey{{wire.SWG, wire.Grade2, wire.Copper}, {wire.AWG, wire.Heavy, wire.Copper}, {wire.Metric, wire.Grade1, wire.Aluminium}} {
		shelf := stock.shelf(key, 1)
		require.Greater(t, len(shelf), 20)
		for i, o := range shelf {
			require.LessOrEqual(t, o.bare, 1.0)
			require.Greater(t, o.overall, o.bare)
			require.Positive(t, o.enamelShare())
			require.Less(t, o.enamelShare(), 0.25)
			if o.strands > 1 {
				require.Greater(t, o.area, areaOf(1)*0.95, "%v: more strands than needed", o.wire)
			}
			if i > 0 {
				require.GreaterOrEqual(t, o.area, shelf[i-1].area)
			}
		}
		again, ok := stock.named(shelf[3].wire)
		require.True(t, ok)
		require.Equal(t, shelf[3].wire, again.wire)
	}
	_, ok := stock.named(wire.Wire{System: wire.SWG, Size: "99", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1})
	require.False(t, ok)
	_, ok = nearestArea(nil, 1)
	require.False(t, ok)
	one, ok := nearestArea(stock.shelf(shelfKey{wire.Metric, wire.Grade2, wire.Copper}, 1), areaOf(0.5))
	require.True(t, ok)
	require.Equal(t, "0.500", one.wire.Size)
}

func TestMeanTurnForms(t *testing.T) {
	t.Parallel()
	// 24/4 of the formula page, section 15: coils 1-6 and 2-5, mid-slot circle 77.5 mm.
	l := lamination{kind: kindOf("pump"), slots: 24, poles: 4, gap: 66, back: 112, iron: 11.5, first: ring{tooth: 4.1, depth: 11.5, opening: 2}}
	g := design{lam: &l, maker: &maker{end: 1.5, straight: 24}, stack: 45}
	s := set{ring: winding.RingGap, coils: []winding.Coil{{In: 1, Out: 6, Turns: 1}}}
	require.InDelta(t, 266.17, g.meanTurn(l.core(45), &s), 0.01)
	s.coils[0] = winding.Coil{In: 2, Out: 5, Turns: 1}
	require.InDelta(t, 205.30, g.meanTurn(l.core(45), &s), 0.01)
}
