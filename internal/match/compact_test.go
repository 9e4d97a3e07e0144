package match

import (
	"fmt"
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/simworld"
	"statorbook/internal/stator"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

func TestSmall(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, smallMost).Draw(t, "n")
		require.Equal(t, n, newSmall(n).int())
	})
	require.Equal(t, smallMost, newSmall(smallMost).int())
}

// TestDictionary: equal values have one number, and a full dictionary gives 0.
func TestDictionary(t *testing.T) {
	t.Parallel()
	d := newDictionary[string](2)
	require.Equal(t, []int{1, 2, 1, 0, 2, 0}, []int{d.add("b"), d.add("a"), d.add("b"), d.add("c"), d.add("a"), d.add("")})
	require.Equal(t, []string{"", "b", "a"}, d.list)
}

// TestSeries: turns in series come back as they went in, whole or not; what is no number of turns is 0.
func TestSeries(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		odd := newDictionary[float32](wholeTurns - 1)
		want := rapid.SliceOf(rapid.OneOf(
			rapid.Custom(func(t *rapid.T) float32 { return float32(rapid.IntRange(0, 1<<25).Draw(t, "whole")) }),
			rapid.Float32Range(0, 1e9),
		)).Draw(t, "turns")
		packed := make([]small, len(want))
		for i := range want {
			packed[i] = packSeries(want[i], &odd)
		}
		x := Index{oddTurns: odd.list}
		for i := range want {
			require.Equal(t, want[i], x.series(packed[i]))
		}
	})
	odd := newDictionary[float32](wholeTurns - 1)
	for _, v := range []float32{0, -3, float32(math.NaN())} {
		require.Equal(t, small{}, packSeries(v, &odd))
	}
	require.Len(t, odd.list, 1)
}

func TestTextList(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOf(rapid.String()).Draw(t, "texts")
		l := newTextList(want)
		for i := range want {
			require.Equal(t, want[i], l.at(i))
		}
	})
}

func TestExact(t *testing.T) {
	t.Parallel()
	s := append(make([]int, 0, 9), 1, 2, 3)
	require.Equal(t, s, exact(s))
	require.Equal(t, 3, cap(exact(s)))
	require.Nil(t, exact([]int(nil)))
}

// TestFound: what is found from every eighth place is what going over all of them finds; families
// without any stack stand between.
func TestFound(t *testing.T) {
	t.Parallel()
	s := invented(t, 21, 300)
	b := NewBuilder(testWires())
	for i, f := range s.families {
		b.AddFamily(f)
		for k := range i % 12 { // without a stack
			b.AddFamily(FamilyEntry{ID: fmt.Sprint("bare ", i, " ", k), Core: f.Core})
		}
	}
	for _, r := range s.records {
		b.AddRecord(r)
	}
	x := b.Build()
	require.NotEmpty(t, x.core.stack)
	for l := range x.lam.slots {
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			require.Equal(t, l, x.lamOf(int(c)))
		}
	}
	arena := x.figures
	for r := range x.recs {
		require.Equal(t, len(arena), len(x.figuresOf(r)))
		size := x.shapeSize[x.recs[r].shape.int()]
		arena = arena[figuresLen(arena, int(size.turns+size.wires)):]
	}
	require.Empty(t, arena)
}

// TestSchemesKept: every record has its scheme, its conductors and its words, whatever was built before.
func TestSchemesKept(t *testing.T) {
	t.Parallel()
	s := invented(t, 22, 200)
	b := NewBuilder(testWires())
	for _, f := range s.families {
		b.AddFamily(f)
	}
	entry := map[string]*RecordEntry{}
	for i := range s.records {
		r := &s.records[i]
		if i%3 == 0 { // two taps, of other wires, the second wound of two
			taps := winding.CoilSet{Role: winding.Speed, Ring: winding.RingGap, Coils: []winding.Coil{{In: 1, Out: 4, Turns: 20.5}}, Wires: []wire.Wire{{System: wire.SWG, Size: fmt.Sprint(20 + i%10), Conductor: wire.Copper, Strands: 1}, {System: wire.AWG, Size: "21", Conductor: wire.Aluminium, Strands: 2}}}
			r.Scheme.CoilSets = append(r.Scheme.CoilSets, taps)
		}
		entry[r.ID] = r
		b.AddRecord(*r)
		if i == 50 {
			b.Build()
			require.True(t, b.RemoveRecord(s.records[7].ID))
			b.Build()
			b.AddRecord(s.records[7])
		}
	}
	x := b.Build()
	require.Len(t, x.recs, len(s.records))
	for n := range x.recs {
		rec, e := &x.recs[n], entry[x.recIDs.at(uint32(n))]
		got := x.schemeOf(n)
		require.Equal(t, e.Scheme.Poles, got.Poles)
		require.Len(t, got.CoilSets, len(e.Scheme.CoilSets))
		for i := range got.CoilSets {
			require.Equal(t, e.Scheme.CoilSets[i].Wires, got.CoilSets[i].Wires)
			require.Equal(t, setTurns(&e.Scheme.CoilSets[i]), setTurns(&got.CoilSets[i]))
		}
		area, _, err := winding.ConductorArea(e.Scheme.CoilSets[primarySet(&e.Scheme)], testWires())
		require.NoError(t, err)
		require.InEpsilon(t, float64(area), float64(x.main(rec).area), 1e-6)
		require.Equal(t, e.MotorType, x.texts.motor.at(x.kindOf(rec).motor))
		require.Equal(t, e.Nameplate.SpeedTaps, int(x.kindOf(rec).taps))
		require.InDelta(t, float64(e.TimesSeen)+0.5, rec.weight(), 0)
	}
}

// TestShortTurns: a pattern with fewer turns than throws keeps its own turns, and its neighbours theirs.
func TestShortTurns(t *testing.T) {
	t.Parallel()
	b := NewBuilder(nil)
	for i, turns := range [][]float64{{30, 20, 10}, {40}, {50, 60}, nil, {11, 12, 13}} {
		b.AddRecord(RecordEntry{ID: fmt.Sprint(i), CoreAsMeasured: &stator.Core{Slots: 24, RotorPosition: stator.RotorInside},
			Scheme: winding.Scheme{Poles: 4, CoilSets: []winding.CoilSet{{Role: winding.Main, Pattern: &winding.Pattern{Kind: winding.Concentric, Throws: []int{6, 4, 2}, Turns: turns, Groups: 4}}}}})
	}
	x := b.Build()
	for n, want := range [][]float64{{30, 20, 10}, {40, 40, 40}, {50, 60, 0}, {0, 0, 0}, {11, 12, 13}} {
		sc := x.schemeOf(n)
		require.Equal(t, want, setTurns(&sc.CoilSets[0]))
	}
}

// bytesApart is by how much, of the count, the memory that goes with an index may differ from the
// count: what the allocator rounds up.
const bytesApart = 0.06

// TestBytesAreMeasured holds 120 bytes a record at 2,000 records, where the fixed part weighs most, and
// that what an index says of its size is what the heap loses when it goes. Not parallel: it watches
// the heap of the process.
func TestBytesAreMeasured(t *testing.T) {
	testWires()
	for seed := range uint64(3) {
		x, _ := simIndex(t, simworld.Config{Records: 2000, Queries: 1, Seed: seed + 1})
		said, records := float64(x.Stats().Bytes), float64(x.Stats().Records)
		with := heapInUse()
		runtime.KeepAlive(x)
		x = nil
		lost := float64(with - heapInUse())
		t.Logf("seed %d: %.1f bytes a record said, %.1f measured", seed+1, said/records, lost/records)
		require.LessOrEqual(t, said/records, 120.0)
		require.InEpsilon(t, said, lost, bytesApart)
	}
}

// heapInUse collects until nothing more comes free: a pool, and what has a finalizer, go one round later, and what
// other tests left must not count as the index.
func heapInUse() int64 {
	var m runtime.MemStats
	for last := uint64(math.MaxUint64); ; last = m.HeapAlloc {
		runtime.GC()
		if runtime.ReadMemStats(&m); m.HeapAlloc >= last {
			return int64(m.HeapAlloc)
		}
	}
}
