package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// sampleContext is the first core of the sample world with a winding that is not listed, and what is believed of it.
func sampleContext(x *Index) (context, part) {
	c := x.onLamination(nil, x.lamOf(0))
	c.site = x.siteOf(0)
	p := c.poles[0]
	return c, part{w: 0.3, g: gauss{n: math.Log(900), a: math.Log(0.15), vn: 0.011, va: 0.023, cna: -0.009, phases: p.phases, poles: p.poles}}
}

// overPrior integrates f over the normal of ln turns and ln area of a part, and gives the means of both under f.
func overPrior(g *gauss, f func(n, a float64) float64) (sum, meanN, meanA float64) {
	sn := math.Sqrt(g.vn)
	slope := g.cna / g.vn
	sa := math.Sqrt(g.va - g.cna*slope)
	const h = 0.05
	for u := -6.0; u <= 6; u += h {
		for v := -6.0; v <= 6; v += h {
			n := g.n + sn*u
			a := g.a + slope*sn*u + sa*v
			w := h * h * normal(u, 1) * normal(v, 1) * f(n, a)
			sum, meanN, meanA = sum+w, meanN+w*n, meanA+w*a
		}
	}
	return sum, meanN / sum, meanA / sum
}

// requireMixture compares the components of a split part with an integral over the part.
func requireMixture(t *testing.T, out []part, weight float64, g *gauss, f func(n, a float64) float64) {
	t.Helper()
	sum, n, a := 0.0, 0.0, 0.0
	for i := range out {
		sum, n, a = sum+out[i].w, n+out[i].w*out[i].g.n, a+out[i].w*out[i].g.a
	}
	all, meanN, meanA := overPrior(g, f)
	require.InEpsilon(t, weight*all, sum, 2e-3)
	require.InDelta(t, meanN, n/sum, 1e-3)
	require.InDelta(t, meanA, a/sum, 1e-3)
}

// TestSplitMass: the components into which a weighing splits a part weigh together what a plain integral over turns
// and area gives, and have its means.
func TestSplitMass(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	for _, off := range []float64{0, -0.2, 0.5} {
		c, p := sampleContext(x)
		trait := x.expectOn(&c, p.g.phases, p.g.poles)[tMass]
		expected := c.site.lnMass(0, 0, float64(p.g.poles)) + x.model.mass[c.site.rotor].mean + trait.mean // at one turn of 1 mm²
		q := weighed(math.Exp(expected+p.g.n+p.g.a+off), 0, 0)[0]
		like := func(n, a float64) float64 {
			d := q.ln - expected - n - a
			l := massWild * wildDensity
			for _, w := range weighings {
				l += (1 - massWild - plateSlipRate) * w.share * normal(d-w.mean, trait.v+massSD*massSD+w.sd*w.sd)
			}
			return l
		}
		requireMixture(t, x.splitMass(&q, maxRemains, &c, []part{p}, 0), p.w, &p.g, like)
	}
}

// TestObserveCoil likewise for one counted coil: one component, moved to the mean of what the count allows. The share of a
// count that means nothing is in its weight and leaves the mean alone.
func TestObserveCoil(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c, p := sampleContext(x)
	mean, sd := x.coilShare(c.site.rotor, p.g.phases, p.g.poles, uint16(c.site.slots))
	turns := math.Round(math.Exp(p.g.n + mean + 0.05))
	q := coilQuery{otherQuery{ln: math.Log(turns)}, coilSD, winding.Main}
	like := func(n, a float64) float64 { return normal(q.ln-mean-n, sd*sd+coilSD*coilSD) }
	out := x.observeCoil(&q, 0, &c, []part{p}, 0)
	require.Len(t, out, 1)
	all, meanN, meanA := overPrior(&p.g, like)
	require.InEpsilon(t, p.w*((1-coilWild-plateSlipRate)*all+coilWild*wildDensity), out[0].w, 2e-3)
	require.InDelta(t, meanN, out[0].g.n, 1e-3)
	require.InDelta(t, meanA, out[0].g.a, 1e-3)
}

// TestSplitScrap: a scrap as thick as expected raises a part, moves its area towards the scrap's, and less so the wider
// its reading; two wires in hand have twice the area; one of another machine leaves everything where it was.
func TestSplitScrap(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	c, p := sampleContext(x)
	split := func(mm, sd float64, strands int) (weight, area float64) {
		m := unit.Of(mm)
		m.Uncertainty = sd
		s := x.newScrap(&ScrapWire{Diameter: m, Coating: "bare", Condition: "clean", Role: winding.Main, Strands: strands})
		for _, o := range x.splitScrap(&s, &c, []part{p}, 0) {
			weight, area = weight+o.w, area+o.w*o.g.a
		}
		return weight / p.w, area / weight
	}
	d := math.Sqrt(0.15 * 4 / math.Pi)
	fits, at := split(d, 0.002, 1)
	require.InDelta(t, p.g.a, at, 0.02)
	thicker, above := split(d*1.1, 0.002, 1)
	require.Greater(t, fits, thicker)
	require.InDelta(t, p.g.a+2*math.Log(1.1), above, 0.03)
	_, less := split(d*1.1, 0.05, 1)
	require.Less(t, less, above)
	require.Greater(t, less, p.g.a)
	twice, _ := split(d/math.Sqrt2, 0.002, 2)
	once, _ := split(d/math.Sqrt2, 0.002, 1)
	require.Greater(t, twice, 3*once)
	wild, same := split(12, 0.002, 1)
	require.InDelta(t, scrapWild*wildDensity/12, wild, 1e-3)
	require.InDelta(t, p.g.a, same, 0.01)
}

// TestPruneParts: light components go, the order and the sum stay.
func TestPruneParts(t *testing.T) {
	t.Parallel()
	list := []part{{w: 7, ctx: 1}, {w: 1, ctx: 2}, {w: 0.0001, ctx: 3}, {w: 3, ctx: 4}, {w: 0, ctx: 5}}
	out := pruneParts(list, 1, 0.01)
	require.Equal(t, 7.0, out[0].w, "not of this run")
	require.Len(t, out, 3)
	require.Equal(t, []uint16{1, 2, 4}, []uint16{out[0].ctx, out[1].ctx, out[2].ctx})
	require.InDelta(t, 4.0001, out[1].w+out[2].w, 1e-12)
	require.InDelta(t, 3, out[2].w/out[1].w, 1e-12)
	require.Len(t, pruneParts([]part{{}, {}}, 0, 0.01), 0)
}

// TestContextsShareTheirKind: what is not followed up counts with what is, so that each hypothesis keeps its whole weight.
func TestContextsShareTheirKind(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	x := w.index
	q := w.queries[3].domain()
	p, work := x.prepare(&q), new(work)
	b := x.weigh(p, work)
	require.InDelta(t, 1, b.known+b.tail+b.winding+b.stack+b.fresh, 1e-9)
	records, others, parts := 0.0, 0.0, 0.0
	for _, c := range work.cores {
		records, others = records+c.rec, others+c.oth
	}
	require.InDelta(t, b.known, records, 1e-9)
	require.InDelta(t, b.winding, others, 1e-9)
	for i := range work.parts {
		parts += work.parts[i].w
	}
	require.InDelta(t, b.winding+b.stack+b.fresh, parts, 1e-9, "the components of all contexts")
	for i := range b.contexts {
		c := &b.contexts[i]
		sum := 0.0
		for _, pc := range c.poles {
			sum += pc.share
		}
		require.InDelta(t, 1, sum, 1e-9)
		require.Equal(t, c.hyp == hypWinding, c.core >= 0)
		require.Equal(t, c.hyp == hypNew, c.lam < 0)
	}
}

// plateOf prepares a plate on a context of the sample world, for its first design of one phase.
func plateOf(x *Index, n *winding.Nameplate) (p *prepared, c context, d *design) {
	p = x.prepare(&Query{Nameplate: n})
	c, _ = sampleContext(x)
	for i := range x.designs {
		if d = &x.designs[i]; d.phases == 1 && d.frequency == 50 && d.voltage > 0 {
			break
		}
	}
	return p, c, d
}

// TestPlateOfAPrediction: on a core without a record, the chances of all powers and of all capacitors of the catalogue sum
// to about one, and the densities of current and speed too.
func TestPlateOfAPrediction(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	const poles = 4
	like := func(n winding.Nameplate) float64 {
		p, c, d := plateOf(x, &n)
		on := x.expectOn(&c, 1, poles)
		power := x.powerOn(p, &c.site, on, d, poles, nil)
		_, _, l := x.plateEvidence(p, &c.site, on, d, poles, &power[0])
		return l
	}
	powers, caps := 0.0, 0.0
	for _, ln := range x.model.plate.powers.ln {
		powers += like(winding.Nameplate{Power: unit.Of(math.Exp(ln))})
	}
	for _, ln := range x.model.plate.caps.ln {
		caps += like(winding.Nameplate{CapacitorUF: unit.Of(math.Exp(ln))})
	}
	require.InDelta(t, 0.97, powers, 0.1)
	require.InDelta(t, 0.97, caps, 0.1)

	current := integral(math.Log(1e-3), math.Log(1e3), 0.01, func(ln float64) float64 { return like(winding.Nameplate{Current: unit.Of(math.Exp(ln))}) })
	wild := plateWild * wildDensity * (math.Log(1e6) - math.Log(60)) // it is spread over a factor of 60, and summed over a million
	require.InDelta(t, 1, current-wild, 0.02)
	speed := integral(math.Log(150), math.Log(1500), 0.002, func(ln float64) float64 { return like(winding.Nameplate{Speed: unit.Of(math.Exp(ln))}) })
	// Nearer to synchronism than 0.3 % the slip is held, so that the whole is up to a tenth too much.
	require.InDelta(t, 1.05, speed, 0.07)
}

// TestReadPower: 40 W where 400 are expected is told as a slip of the point; a figure that fits stays.
func TestReadPower(t *testing.T) {
	t.Parallel()
	f := newFigure(unit.Of(40))
	ln, chance := readPower(&f, math.Log(400), 0.2, 1e-9)
	require.InDelta(t, math.Log(400), ln, 1e-9)
	require.Positive(t, chance)
	ln, _ = readPower(&f, math.Log(40), 0.2, 0.9)
	require.InDelta(t, math.Log(40), ln, 1e-9)
}
