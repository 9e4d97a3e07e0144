package match

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// TestInOrder: the likelier proposal first; of two with equal evidence the one that can be laid; and what each
// covers is counted in the order in which they stand.
func TestInOrder(t *testing.T) {
	t.Parallel()
	at := func(n, g, p float64, fits bool) made {
		return made{Proposal: Proposal{Probability: p}, box: &box{n: n, g: g}, fits: fits}
	}
	for name, c := range map[string]struct {
		list []made
		pts  []point
		want []float64 // ln turns, in order
		p    []float64
	}{
		"likelier first":       {[]made{at(1, 5, 0.3, true), at(2, 5, 0.6, true)}, []point{{n: 1, g: 5, w: 0.3}, {n: 2, g: 5, w: 0.6}}, []float64{2, 1}, []float64{0.6, 0.3}},
		"fits first of equals": {[]made{at(1, 5, 0.31, false), at(2, 5, 0.3, true)}, []point{{n: 1, g: 5, w: 0.31}, {n: 2, g: 5, w: 0.3}}, []float64{2, 1}, []float64{0.3, 0.31}},
		"not of unequals":      {[]made{at(1, 5, 0.4, false), at(2, 5, 0.3, true)}, []point{{n: 1, g: 5, w: 0.4}, {n: 2, g: 5, w: 0.3}}, []float64{1, 2}, []float64{0.4, 0.3}},
		"both too full":        {[]made{at(1, 5, 0.31, false), at(2, 5, 0.3, false)}, []point{{n: 1, g: 5, w: 0.31}, {n: 2, g: 5, w: 0.3}}, []float64{1, 2}, []float64{0.31, 0.3}},
		"counted anew":         {[]made{at(1, 5, 0.5, false), at(1, 7, 0.49, true)}, []point{{n: 1, g: 4, w: 0.2}, {n: 1, g: 6, w: 0.3}, {n: 1, g: 8, w: 0.49}}, []float64{1, 1}, []float64{0.79, 0.2}},
		"the best of three":    {[]made{at(1, 5, 0.31, false), at(2, 5, 0.3, false), at(3, 5, 0.3, true)}, []point{{n: 1, g: 5, w: 0.31}, {n: 2, g: 5, w: 0.3}, {n: 3, g: 5, w: 0.3}}, []float64{3, 1, 2}, []float64{0.3, 0.31, 0.3}},
		"none":                 {nil, nil, nil, nil},
	} {
		inOrder(c.list, c.pts)
		for i := range c.list {
			require.InDelta(t, c.want[i], c.list[i].box.n, 0, name)
			require.InDelta(t, c.p[i], c.list[i].Probability, 1e-12, name)
		}
	}
}

// TestWhatHandsLay holds the limits on all answers of the sample world: whatever is fuller than hands lay says so, in
// a sentence that names a wire which would lie there, and never stands before an equal that fits.
func TestWhatHandsLay(t *testing.T) {
	t.Parallel()
	full, named := 0, 0
	for _, a := range sampleAnswers() {
		for i := range a.Proposals {
			p := &a.Proposals[i]
			if i > 0 && p.fits() && !a.Proposals[i-1].fits() {
				require.Greater(t, a.Proposals[i-1].Probability, p.Probability)
			}
			worst := 0.0
			for _, s := range p.CoilSets {
				if s.Fill != nil {
					worst = max(worst, s.Fill.Square)
				}
			}
			f := findingOf(p, winding.CodeSquareFill)
			require.Equal(t, worst > winding.HandFill().High*(1+1e-9), f != nil, "fill %v", worst)
			if f == nil {
				continue
			}
			full++
			require.Equal(t, errs.SeverityWarning, f.Severity)
			require.Contains(t, f.Message, "measure the slot again")
			if strings.Contains(f.Message, "the thickest that hands could lay") {
				named++
			}
		}
	}
	require.Greater(t, full, 20)
	require.Greater(t, named, full*3/4)
}

func findingOf(p *Proposal, code string) *errs.Finding {
	for i := range p.Findings {
		if p.Findings[i].Code == code {
			return &p.Findings[i]
		}
	}
	return nil
}

// TestThickest checks the named wire by the fill that it gives: within the limit, and the next size is not.
func TestThickest(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	m := maker{x: x}
	set := winding.CoilSet{Wires: []wire.Wire{{System: wire.SWG, Size: "30", Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}}}
	got, ok := m.thickest(&set, 0.7)
	require.True(t, ok)
	room := func(size string) float64 {
		set.Wires[0].Size = size
		c, ok, err := winding.ConductorOf(set, x.wires)
		require.NoError(t, err)
		require.True(t, ok)
		return float64(c.Square)
	}
	was := room("30")
	require.Equal(t, "33", got.Size)
	require.LessOrEqual(t, room("33"), 0.7*was)
	require.Greater(t, room("32"), 0.7*was, "the next size would be too thick")
	_, ok = m.thickest(&winding.CoilSet{Wires: []wire.Wire{{System: wire.Bare, Diameter: unit.Of(0.3), Conductor: wire.Copper}}}, 0.7)
	require.False(t, ok, "a bare diameter has no neighbours")
}

// TestPassing takes two thinner wires in hand for one that does not pass the mouth.
func TestPassing(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	near := x.wires.Nearest(0.8, wire.NearestOptions{Systems: []wire.System{wire.SWG}, Build: wire.Grade2, Limit: 20})
	require.Equal(t, 1, near[0].Wire.Strands)
	for opening, most := range map[unit.Millimetre]unit.Millimetre{2.5: 2, 1.4: 0.9, 1.2: 0.7} {
		got := passing(near, opening)
		require.LessOrEqual(t, got.Resolved.Overall, most)
		require.LessOrEqual(t, got.Resolved.Overall+winding.MouthSpare, opening)
		require.InDelta(t, 0, got.AreaErrorPct, 18)
	}
	require.Equal(t, near[0], passing(near, 0.6), "nothing passes: the finding says so")
}
