package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// TestWhereThingsLie: the lamination of every core and the core of every record are those whose run holds it, cores
// without records included; a sample takes whole laminations.
func TestWhereThingsLie(t *testing.T) {
	t.Parallel()
	b := NewBuilder(nil)
	s := invented(t, 21, 90)
	for i, f := range s.families {
		f.Cores = append([]CoreEntry{{ID: "first of " + f.ID}, {ID: "and second"}}, f.Cores...)
		if i%3 == 0 {
			f.Cores = nil
		}
		b.AddFamily(f)
	}
	for _, e := range s.records {
		b.AddRecord(e)
	}
	x := b.Build()
	for l := range x.lam.slots {
		for c := x.lam.coreStart[l]; c < x.lam.coreStart[l+1]; c++ {
			require.Equal(t, l, x.lamOf(int(c)))
			for r := x.core.recStart[c]; r < x.core.recStart[c+1]; r++ {
				require.Equal(t, int(c), x.coreOfRecord(int(r)))
			}
		}
	}
	require.Len(t, x.sampleRecords(len(x.recs)), len(x.recs))
	sample := x.sampleRecords(20)
	require.NotEmpty(t, sample)
	in := map[int]int{}
	for _, r := range sample {
		in[x.lamOf(x.coreOfRecord(r))]++
	}
	for l, n := range in {
		from, to := x.recordsOf(l, l+1)
		require.Equal(t, to-from, n, "all records of a lamination, or none")
	}
}

// TestDominantPoles: what most records have, the smaller of two equals; records that do not tell do not count.
func TestDominantPoles(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		poles []uint8
		want  float64
	}{{nil, 0}, {[]uint8{0, 0}, 0}, {[]uint8{4}, 4}, {[]uint8{0, 0, 6}, 6}, {[]uint8{6, 4, 4}, 4}, {[]uint8{6, 4}, 4}, {[]uint8{4, 6}, 4}, {[]uint8{255, 255, 2}, 255}} {
		b := &Builder{}
		var recs []uint32
		for i, p := range c.poles {
			b.recs = append(b.recs, recBuild{record: record{poles: p}})
			recs = append(recs, uint32(i))
		}
		require.Equal(t, c.want, b.dominantPoles(recs), "%v", c.poles)
	}
}

// TestPhasesOf: the roles of the windings tell, else the core as measured, else its family.
func TestPhasesOf(t *testing.T) {
	t.Parallel()
	sets := func(roles ...winding.Role) (s winding.Scheme) {
		for _, r := range roles {
			s.CoilSets = append(s.CoilSets, winding.CoilSet{Role: r})
		}
		return s
	}
	three, one := &stator.Core{Phases: 3}, &stator.Core{Phases: 1}
	for _, c := range []struct {
		e      RecordEntry
		family int
		want   int
	}{
		{RecordEntry{Scheme: sets(winding.Main, winding.Auxiliary), CoreAsMeasured: three}, 3, 1},
		{RecordEntry{Scheme: sets(winding.PhaseU), CoreAsMeasured: one}, 1, 3},
		{RecordEntry{Scheme: sets(winding.Speed, winding.Auxiliary)}, 3, 1},
		{RecordEntry{Scheme: sets(winding.Speed), CoreAsMeasured: three}, 1, 3},
		{RecordEntry{}, 3, 3}, {RecordEntry{}, 0, 1}, {RecordEntry{CoreAsMeasured: &stator.Core{}}, 3, 3},
	} {
		require.Equal(t, c.want, phasesOf(&c.e, &famBuild{phases: c.family}))
	}
}

// TestRemoved: an index shares nothing with the builder that made it: what goes later stays in the old one.
func TestRemoved(t *testing.T) {
	t.Parallel()
	s := invented(t, 22, 40)
	b := NewBuilder(testWires())
	for _, f := range s.families {
		b.AddFamily(f)
	}
	for _, e := range s.records {
		b.AddRecord(e)
	}
	x := b.Build()
	q := Query{Measurements: *s.records[0].CoreAsMeasured, Nameplate: &s.records[0].Nameplate, MotorType: s.records[0].MotorType}
	before := mustMatch(t, x, q)
	for i, e := range s.records {
		if i%2 == 0 {
			require.True(t, b.RemoveRecord(e.ID))
		} else {
			e.TimesSeen = 99
			b.AddRecord(e)
		}
	}
	after := mustMatch(t, b.Build(), q)
	require.NotEqual(t, before, after)
	require.Equal(t, before, mustMatch(t, x, q))
}
