package match

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

func TestPackLog(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := math.Exp(rapid.Float64Range(-10, 10).Draw(t, "ln"))
		ln, ok := unpackLog(packLog(v))
		require.True(t, ok)
		require.InDelta(t, math.Log(v), ln, 2e-4)
	})
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, ok := unpackLog(packLog(v))
		require.False(t, ok)
	}
	ln, ok := unpackLog(packLog(1e12))
	require.True(t, ok)
	require.InDelta(t, packSpan, ln, 1e-3)
}

func TestPackFigures(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOf(rapid.OneOf(
			rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(0, 20000).Draw(t, "whole")) }),
			rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(1, 200000).Draw(t, "tenths")) / 10 }),
		)).Draw(t, "turns")
		arena := packFigures(nil, v)
		got := unpackFigures(arena, len(v))
		require.Len(t, got, len(v))
		for i := range v {
			require.InDelta(t, v[i], got[i], 1e-3)
			if v[i] == math.Trunc(v[i]) {
				require.Equal(t, v[i], got[i])
			}
		}
	})
	require.Equal(t, []float64{0, 0}, unpackFigures(nil, 2))
	require.Equal(t, []float64{0}, unpackFigures([]uint16{math.MaxUint16, 1}, 1))
}

func TestPackFam(t *testing.T) {
	t.Parallel()
	n, b, f := packFam(7.5, 0.0431, -0.2).unpack()
	require.Equal(t, 7.5, n)
	require.InDelta(t, 0.0431, b, famStep)
	require.InDelta(t, -0.2, f, famStep)
	n, b, _ = packFam(1e9, 99, 0).unpack()
	require.Greater(t, n, 30000.0)
	require.Less(t, b, 2.0)
}

func TestIDs(t *testing.T) {
	t.Parallel()
	var l idList
	ids := []string{"25133e11-72c6-50cf-aefe-5a3928690095", "demo-fan-1", "", "25133E11-72c6-50cf-aefe-5a3928690095", "25133e11-72c6-50cf-aefe-5a392869009", "ffffffff-ffff-ffff-ffff-ffffffffffff", "25133e1172c6-50cf-aefe--5a3928690095"}
	for _, id := range ids {
		l.add(id)
	}
	for i, id := range ids {
		require.Equal(t, id, l.at(uint32(i)))
	}
	back := l.pick([]uint32{3, 0, 1})
	require.Equal(t, ids[3], back.at(0))
	require.Equal(t, ids[0], back.at(1))
	require.Equal(t, ids[1], back.at(2))
	require.Greater(t, l.bytes(), 16*len(ids))
}

// TestInterned: a text is kept once; an index numbers what it uses in the order of first use.
func TestInterned(t *testing.T) {
	t.Parallel()
	var x interned
	a, b, c := x.add([]byte("a")), x.add([]byte("b")), x.add([]byte("c"))
	require.Equal(t, []uint32{a, b, c}, []uint32{x.add([]byte("a")), x.add([]byte("b")), x.add([]byte("c"))})
	r := renumber(&x)
	require.Equal(t, []uint32{0, 1, 0}, []uint32{r.at(c), r.at(a), r.at(c)})
	require.Equal(t, []string{"c", "a"}, r.list)
	l := newTextList(append(r.list, ""))
	require.Equal(t, []string{"c", "a", ""}, []string{l.at(0), l.at(1), l.at(2)})
}

// TestCode: what is spelled is read back.
func TestCode(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n, f := rapid.Int().Draw(t, "int"), rapid.Float64().Draw(t, "float")
		s := rapid.OneOf(rapid.String(), rapid.SampledFrom(codeWords[:])).Draw(t, "text")
		c := code(appendFloat(appendText(appendInt(nil, n), s), f))
		require.Equal(t, n, c.int())
		require.Equal(t, s, c.text())
		require.Equal(t, f, c.float())
		require.Empty(t, c)
	})
}

// TestShapesRoundTrip: a scheme taken apart and put together again is the same scheme.
func TestShapesRoundTrip(t *testing.T) {
	t.Parallel()
	yes, no := true, false
	bare := wire.Wire{System: wire.Bare, Diameter: unit.Measured{Given: true, Value: 0.41, Text: "0.41", Unit: "mm", Uncertainty: 0.005, Resolution: 0.01, Method: "micrometer"}, Conductor: wire.Aluminium, ThermalClass: "155", Strands: 3}
	metric := func(size string) []wire.Wire {
		return []wire.Wire{{System: wire.Metric, Size: size, Conductor: wire.Copper, Build: wire.Grade2, Strands: 1}}
	}
	schemes := []winding.Scheme{
		{Poles: 4, CoilSets: []winding.CoilSet{
			{Role: winding.Main, Ring: winding.RingGap, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4}, Turns: []float64{153, 126}, Groups: 4, Alternate: &yes}, ParallelPaths: 1, Wires: metric("0.450")},
			{Role: winding.Auxiliary, Ring: winding.RingBack, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{6}, Turns: []float64{250.5}, Groups: 4, FirstSlot: 4, Alternate: &no}, ParallelPaths: 2, Joining: "end_to_end", Wires: metric("0.315")},
			{Role: winding.Speed, Tap: 1, Coils: []winding.Coil{{In: 1, Out: 6, Turns: 40}, {In: 7, Out: 12, Turns: 41}}, Wires: append(metric("0.315"), bare)},
		}},
		{Poles: 2, CoilSets: []winding.CoilSet{
			{Role: winding.PhaseU, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{11}, Turns: []float64{39}, Groups: 8}, Wires: metric("0.750")},
			{Role: winding.PhaseV, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{11}, Turns: []float64{39}, Groups: 8}, Wires: metric("0.750")},
			{Role: winding.PhaseW, Pattern: &winding.Pattern{Kind: winding.Lap, Throws: []int{11}, Turns: []float64{40}, Groups: 8}, Wires: metric("0.750")},
		}},
		{},
	}
	var s, w interned
	for pass := range 2 {
		for i := range schemes {
			key, turns, wires := splitScheme(&schemes[i], &w)
			n := s.add(key)
			require.Equal(t, uint32(i), n, "pass %d: equal shapes share a number", pass)
			arena := packFigures(nil, turns)
			require.Equal(t, len(arena), figuresLen(append(arena, 7, 8), len(turns)))
			got := shape(s.list[n]).scheme(unpackFigures(arena, len(turns)), wires, func(n int) wire.Wire { return readWire(code(w.list[n])) })
			require.Equal(t, len(schemes[i].CoilSets), len(got.CoilSets))
			for c := range got.CoilSets {
				require.Equal(t, schemes[i].CoilSets[c], got.CoilSets[c])
			}
		}
	}
	// Phases u and v are kept once, w differs.
	var like []int
	_, r := shape(s.list[1]).read()
	for set := (setShape{}); r.next(&set); {
		like = append(like, set.like)
	}
	require.Equal(t, []int{0, 0, 2}, like)
}

func TestPrimaryAndAuxiliary(t *testing.T) {
	t.Parallel()
	sc := winding.Scheme{CoilSets: []winding.CoilSet{{Role: winding.Auxiliary}, {Role: winding.Main}}}
	require.Equal(t, 1, primarySet(&sc))
	require.Equal(t, 0, auxiliarySet(&sc))
	require.Equal(t, -1, primarySet(&winding.Scheme{}))
	require.Equal(t, -1, auxiliarySet(&winding.Scheme{}))
	sc = winding.Scheme{CoilSets: []winding.CoilSet{{Role: winding.Speed}}}
	require.Equal(t, 0, primarySet(&sc))
}

func TestDesigns(t *testing.T) {
	t.Parallel()
	b := NewBuilder(nil)
	a := b.design(design{phases: 1, voltage: 230, frequency: 50, connection: "single"})
	require.Equal(t, a, b.design(design{phases: 1, voltage: 230, frequency: 50}))
	star := design{phases: 3, voltage: 400, frequency: 50, connection: winding.ConnStar}
	require.InDelta(t, 230.94, star.phaseVoltage(), 0.01) // 400/√3
	star.connection = winding.ConnDelta
	require.Equal(t, 400.0, star.phaseVoltage())
	for i := range maxDesigns + 10 {
		b.design(design{phases: 1, voltage: 300 + float64(i), frequency: 50})
	}
	d := newDesignTable(len(b.designs))
	n := d.add(a, b.designs[a])
	require.Equal(t, n, d.add(a, b.designs[a]))
	require.InDelta(t, 2+priorDesignWeight, d.seen[n], 1e-9)
	for i := range b.designs {
		n = d.add(uint32(i), b.designs[i])
	}
	require.Equal(t, uint16(0), n)
	require.Len(t, d.list, maxDesigns)
	shares := designShares(d.list, d.seen)
	sum := map[int]float64{}
	for i, s := range shares {
		sum[d.list[i].phases] += s
	}
	require.InDelta(t, 1, sum[1], 1e-9)
	require.InDelta(t, 1, sum[3], 1e-9)
}
