package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
)

// TestGeoArea: the area between two parallel teeth is the ring of that depth, a slot's share of it, less the tooth.
func TestGeoArea(t *testing.T) {
	t.Parallel()
	ring := func(inner, outer float64) float64 { return math.Pi / 4 * (outer*outer - inner*inner) }
	require.InDelta(t, ring(66, 66+2*11.5)/24-4.1*11.5, geoArea(rotorInside, 66, 24, 4.1, 11.5), 1e-9)
	require.InDelta(t, ring(130-2*8, 130)/14-12*8, geoArea(rotorOutside, 130, 14, 12, 8), 1e-9)
	for _, rotor := range []uint8{rotorInside, rotorOutside} {
		for _, v := range [][2]float64{{math.NaN(), math.NaN()}, {4, math.NaN()}, {math.NaN(), 12}, {500, 12}, {4, 1e4}} {
			require.Positive(t, geoArea(rotor, 70, 24, v[0], v[1]), "%v", v)
		}
	}
}

// overReading integrates a density over all that may be read of one dimension, in steps of its logarithm.
func overReading(x *Index, from stator.Core, d dim, low, high, step float64, density func(p *prepared) float64) float64 {
	return integral(math.Log(low), math.Log(high), step, func(ln float64) float64 {
		v := math.Round(math.Exp(ln)*1e5) / 1e5
		return v * density(x.prepare(&Query{Measurements: withReading(&from, d, v)}))
	})
}

// TestNewSitesAreADensity: the weights of the ways in which a stator may be new are a density of what was read: summed
// over all readings of one dimension they are what they are without it, whatever else was read.
func TestNewSitesAreADensity(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	weight := func(p *prepared) (sum float64) {
		for _, s := range x.newSites(p, rotorInside, nil) {
			sum += s.weight
		}
		return sum
	}
	alone := stator.Core{Slots: 24, RotorPosition: stator.RotorInside}
	gap := withReading(&alone, dGap, 66)
	for _, c := range []struct {
		name      string
		from      stator.Core
		d         dim
		low, high float64
	}{
		{"gap", alone, dGap, 4, 2000}, {"back", gap, dBack, 20, 1000}, {"tooth", gap, dTooth, 0.3, 60}, {"opening", gap, dOpening, 0.1, 60},
		{"back iron", gap, dYoke, 0.4, 200}, {"depth", gap, dDepth, 0.5, 200}, {"area", gap, dArea, 2, 2000}, {"tooth, without a gap", alone, dTooth, 0.1, 100},
		{"depth beside a back", withReading(&gap, dBack, 112), dDepth, 0.5, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			want := weight(x.prepare(&Query{Measurements: c.from}))
			require.InEpsilon(t, want, overReading(x, c.from, c.d, c.low, c.high, 0.005, weight), 0.05)
		})
	}
}

// TestCopyLikeIsADensity likewise for a near-copy of a catalogued lamination: all readings of one dimension together
// have the chance of the slot count.
func TestCopyLikeIsADensity(t *testing.T) {
	t.Parallel()
	x := sampleWorld().index
	l := int(x.buckets[0].from)
	core := stator.Core{Slots: int(x.lam.slots[l])}
	for d := dGap; d < dTooth2; d++ {
		at := x.lam.value(l, d)
		density := func(p *prepared) float64 { return x.copyLike(p, l) }
		sum := overReading(x, core, d, at/70, at/1.1, 0.005, density) + overReading(x, core, d, at/1.1, at*1.1, 2e-4, density) + overReading(x, core, d, at*1.1, at*70, 0.005, density)
		require.InDelta(t, slotsRight, sum, 0.04, dims[d].field)
	}
	core.Slots++
	require.InDelta(t, slotsOff1, x.copyLike(x.prepare(&Query{Measurements: core}), l), 1e-9)
	core.Slots += 5
	require.Zero(t, x.copyLike(x.prepare(&Query{Measurements: core}), l))
}

// TestMultiply: the fast product of the coarse scan is the plain one: known figures by their own spread, guessed ones by
// theirs and wider, none beyond the cut.
func TestMultiply(t *testing.T) {
	t.Parallel()
	col := []float32{10, -10, 12, -12, 500, -500}
	inv, wider := [2]float32{2, 0.5}, [2]float32{1, 1.25}
	out := []float32{1, 1, 1, 1, 3, 3}
	multiply(out, col, 11, &inv, &wider)
	for i, v := range col {
		k := 0
		if v < 0 {
			k = 1
		}
		z := (math.Abs(float64(v)) - 11) * float64(inv[k])
		want := math.Min((1+z*z)*float64(wider[k]), coarseMost)
		if i > 3 {
			want *= 3
		}
		require.InDelta(t, want, out[i], 1e-5)
	}
}
