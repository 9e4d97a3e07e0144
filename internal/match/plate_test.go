package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// asRead is a figure without any thought of slips.
func asRead(v float64) figure { return figure{given: true, ln: math.Log(v)} }

// integral sums f over [from, to] in equal steps.
func integral(from, to, step float64, f func(float64) float64) (sum float64) {
	for x := from + step/2; x < to; x += step {
		sum += step * f(x)
	}
	return sum
}

// TestPhi: the normal distribution function by its table (Abramowitz and Stegun, 26.2).
func TestPhi(t *testing.T) {
	t.Parallel()
	for z, want := range map[float64]float64{0: 0.5, 1: 0.8413447, -1: 0.1586553, 1.6449: 0.95, 3: 0.9986501} {
		require.InDelta(t, want, phi(z), 1e-5)
	}
}

// TestTails: the normal with its wide tail is a distribution, and the chance of an interval is the integral of its density.
func TestTails(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		mean, sd := rapid.Float64Range(-3, 3).Draw(t, "mean"), rapid.Float64Range(0.02, 1).Draw(t, "sd")
		from := mean + sd*rapid.Float64Range(-4, 4).Draw(t, "from")
		to := from + sd*rapid.Float64Range(0, 6).Draw(t, "length")
		density := func(x float64) float64 { return tailedDensity(x-mean, sd*sd) }
		require.InDelta(t, integral(from, to, sd/200, density), tailedChance(from, to, mean, sd), 1e-2*tailedChance(from, to, mean, sd)+3e-3)
		require.InDelta(t, 1, integral(mean-15*sd, mean+15*sd, sd/50, density), 1e-4)
	})
}

// TestGrid: the neighbourhoods of a series tile it where it is dense, their shares sum to one, and a figure of no
// series is rarer than any of it.
func TestGrid(t *testing.T) {
	t.Parallel()
	var seen []float64
	for v, n := range map[float64]int{60: 5, 90: 10, 100: 20, 120: 40, 180: 20, 750: 5} {
		for range n {
			seen = append(seen, math.Log(v))
		}
	}
	g := newGrid(seen, 0.25)
	require.Len(t, g.ln, 6)
	sum := 0.0
	last := math.Inf(-1)
	for i, ln := range g.ln {
		from, to, share := g.interval(ln)
		require.Less(t, from, ln)
		require.Less(t, ln, to)
		require.GreaterOrEqual(t, from, last-1e-12, "neighbourhoods do not overlap")
		require.InDelta(t, g.share[i], share, 1e-12)
		last = to
		sum += share
	}
	require.InDelta(t, 1, sum, 1e-9)
	_, to, share := g.interval(math.Log(90))
	from, _, _ := g.interval(math.Log(100))
	require.InDelta(t, to, from, 1e-12)
	require.InDelta(t, math.Log(math.Sqrt(9000)), to, 1e-12, "halfway")
	require.InDelta(t, 0.1, share, 1e-12)
	_, _, odd := g.interval(math.Log(137))
	require.Less(t, odd, share/10)
	_, _, odd = (&grid{gap: 0.25}).interval(5)
	require.Positive(t, odd)
}

// TestDiscrete: the chances of all figures of a series, given that of the record, sum to no more than one; the
// record's own is far likelier than a neighbour, and a neighbour than one at the other end.
func TestDiscrete(t *testing.T) {
	t.Parallel()
	series := []float64{60, 90, 120, 180, 250, 370, 550, 750, 1100}
	var seen []float64
	for _, v := range series {
		seen = append(seen, math.Log(v))
	}
	g := newGrid(seen, 0.25)
	chance := func(read, have float64) float64 {
		f := asRead(read)
		from, to, share := g.interval(f.ln)
		return discrete(&f, packLog(have), platePowerSame, from, to, share)
	}
	for _, have := range series {
		sum := 0.0
		for _, read := range series {
			sum += chance(read, have)
		}
		require.LessOrEqual(t, sum, 1.0)
		require.Greater(t, sum, platePowerSame)
	}
	require.Greater(t, chance(120, 120), 10*chance(90, 120))
	require.Greater(t, chance(90, 120), chance(1100, 120))
	f := newFigure(unit.Of(1200))
	from, to, share := g.interval(f.ln)
	require.Greater(t, discrete(&f, packLog(120), platePowerSame, from, to, share), 3*chance(1200, 120), "the point one place off is a slip")
	require.InDelta(t, share, discrete(&f, 0, platePowerSame, from, to, share), 1e-12, "a record that does not tell")
}

// TestContinuous: the density of a current or speed sums to one over the factor of 60 of a figure that means nothing.
func TestContinuous(t *testing.T) {
	t.Parallel()
	for _, sd := range []float64{currentSD, speedSD} {
		half := math.Log(60) / 2
		sum := integral(-half, half, sd/40, func(d float64) float64 {
			f := figure{given: true, ln: math.Log(1.7) + d}
			return continuous(&f, packLog(1.7), sd)
		})
		require.InDelta(t, 1, sum, 0.01)
	}
	f := asRead(3)
	require.InDelta(t, wildDensity, continuous(&f, 0, currentSD), 1e-12)
}

// TestCountsAreChances: what may be counted or read for one truth sums to no more than one.
func TestCountsAreChances(t *testing.T) {
	t.Parallel()
	slots := 0.0
	for read := range 100 {
		slots += slotChance(read, 36)
	}
	require.InDelta(t, 1, slots, 1e-12)

	volts := 0.0
	for _, read := range []float64{100, 110, 115, 120, 127, 200, 208, 220, 230, 240, 380, 400, 415, 440, 460, 480} {
		f := asRead(read)
		volts += voltAgree(&f, math.Log(230))
	}
	require.InDelta(t, 0.98, volts, 0.03)

	p := prepared{plate: plateQuery{poles: 4}}
	poles := 0.0
	for n := 2; n <= 10; n += 2 {
		poles += p.polesFactor(n)
	}
	require.InDelta(t, 1, poles, 1e-9)
}

// TestSiteAgree: mains of 230 V are measured as 222 V now and then, hardly ever as 110 V; the volts of a winding in
// star are those of one in delta at √3 times the line.
func TestSiteAgree(t *testing.T) {
	t.Parallel()
	at := func(site, truth float64) float64 { return siteAgree(math.Log(site), math.Log(truth)) }
	require.Greater(t, at(230, 230), at(222, 230))
	require.Greater(t, at(222, 230), 10*at(200, 230))
	require.InDelta(t, siteVoltWild, at(110, 230), 1e-9)
	star := plateQuery{siteVolts: asRead(400), siteConnection: winding.ConnStar}
	delta := design{phases: 3, voltage: 230, frequency: 50, connection: winding.ConnDelta}
	require.Greater(t, star.voltFactor(&delta), 0.5, "230 V in delta is 400 V in star")
	star.siteConnection = winding.ConnDelta
	require.Less(t, star.voltFactor(&delta), 0.01)
}

// TestConnectionFactor: a connection on the plate speaks of three phases, and against the other connection.
func TestConnectionFactor(t *testing.T) {
	t.Parallel()
	pl := plateQuery{connection: winding.ConnStar}
	star, delta, untold, single := design{phases: 3, connection: winding.ConnStar}, design{phases: 3, connection: winding.ConnDelta}, design{phases: 3}, design{phases: 1}
	require.Greater(t, pl.connectionFactor(&star), pl.connectionFactor(&untold))
	require.Greater(t, pl.connectionFactor(&untold), pl.connectionFactor(&delta))
	require.Greater(t, pl.connectionFactor(&delta), pl.connectionFactor(&single))
	require.Equal(t, 1.0, (&plateQuery{}).connectionFactor(&star))
	require.Equal(t, 1.0, (&plateQuery{connection: winding.ConnSingle}).connectionFactor(&single))
}

// TestFreqAgree: the other mains frequency is half of the mistakes; 500 Hz for 50 is a slip of the point.
func TestFreqAgree(t *testing.T) {
	t.Parallel()
	agree := func(read float64) float64 { f := newFigure(unit.Of(read)); return freqAgree(&f, 50, plateFreqSame) }
	require.Equal(t, plateFreqSame, agree(50))
	require.Greater(t, agree(60), agree(70))
	require.Greater(t, agree(500), agree(170))
	require.InDelta(t, 1, agree(50)+agree(60)+agree(500)+agree(5)+agree(25)+agree(100), plateSlipRate, "slips come on top of the rest")
}

// TestBoundsHold: records are dropped early by the most that plate and remains could add to them. No record of the
// sample world gets more than that, whatever is asked.
func TestBoundsHold(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	x := w.index
	for i := 0; i < len(w.queries); i += 7 {
		q := w.queries[i].domain()
		p := x.prepare(&q)
		designs := x.designLikelihoods(p, nil)
		plate, remains := p.mostOfPlate(designs), p.mostOfRemains()
		for r := i % 11; r < len(x.recs); r += 11 {
			rec := &x.recs[r]
			require.LessOrEqual(t, designs[rec.design]*x.recordFactor(p, rec), plate)
			require.LessOrEqual(t, x.recordRemains(p, r), remains)
		}
	}
}
