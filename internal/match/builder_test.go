package match

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"statorbook/internal/simworld"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// stock is a catalogue from which builders are fed.
type stock struct {
	families []FamilyEntry
	records  []RecordEntry
}

// invented takes a catalogue from the project's own generator. A tenth of the records has lost its
// core, and a tenth its family too.
func invented(t testing.TB, seed uint64, records int) stock {
	t.Helper()
	w, err := simworld.NewWorld(simworld.Config{Records: records, Seed: seed}, testWires())
	require.NoError(t, err)
	var s stock
	for f, windings := range w.Catalogue() {
		e := FamilyEntry{ID: f.ID, Application: f.Application, Core: f.Core}
		for _, c := range f.Cores {
			e.Cores = append(e.Cores, CoreEntry{ID: c.ID, StackLength: c.StackLength})
		}
		s.families = append(s.families, e)
		for i := range windings {
			r := &windings[i]
			e := RecordEntry{ID: r.ID, CoreID: r.CoreID, FamilyID: r.FamilyID, Status: "demo", MotorType: r.MotorType, Origin: r.Origin, TimesSeen: r.TimesSeen, CoreAsMeasured: r.CoreAsMeasured, Nameplate: r.Nameplate, Scheme: r.Scheme}
			switch len(s.records) % 10 {
			case 3:
				e.CoreID = ""
			case 7:
				e.CoreID, e.FamilyID = "", ""
			}
			s.records = append(s.records, e)
		}
	}
	return s
}

// holding is what a builder should hold after some changes.
type holding struct {
	families map[string]FamilyEntry
	records  map[string]RecordEntry
}

// fresh builds from what is held, in the order of a shuffle.
func (h *holding) fresh(seed uint64) *Index {
	r := rand.New(rand.NewPCG(seed, 1))
	b := NewBuilder(testWires())
	each(r, h.families, b.AddFamily)
	each(r, h.records, b.AddRecord)
	return b.Build()
}

func each[T any](r *rand.Rand, from map[string]T, add func(T)) {
	ids := make([]string, 0, len(from))
	for id := range from {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	r.Shuffle(len(ids), func(i, j int) { ids[i], ids[j] = ids[j], ids[i] })
	for _, id := range ids {
		add(from[id])
	}
}

// requireSame compares two indexes bit for bit, and two answers of theirs.
func requireSame(t require.TestingT, want, got *Index, q Query) {
	require.Equal(t, want.Stats(), got.Stats())
	require.Equal(t, want.recs, got.recs)
	require.Equal(t, want.lam, got.lam)
	require.Equal(t, want.core, got.core)
	require.Equal(t, want.model, got.model)
	require.Equal(t, *want, *got)
	a, errA := want.Match(q)
	b, errB := got.Match(q)
	require.Equal(t, errA, errB)
	require.Equal(t, a, b)
}

// TestBuilderForgetsItsHistory: whatever was added, replaced and removed before, the index is that
// of a fresh builder with the same families and records, in any order.
func TestBuilderForgetsItsHistory(t *testing.T) {
	t.Parallel()
	s := invented(t, 11, 120)
	q := Query{Measurements: *s.records[5].CoreAsMeasured, Nameplate: &s.records[5].Nameplate}
	rapid.Check(t, func(t *rapid.T) {
		b := NewBuilder(testWires())
		h := holding{map[string]FamilyEntry{}, map[string]RecordEntry{}}
		anyRecord := rapid.IntRange(0, len(s.records)-1)
		anyFamily := rapid.IntRange(0, len(s.families)-1)
		for _, f := range s.families {
			b.AddFamily(f)
			h.families[f.ID] = f
		}
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "step") {
			case 0:
				id := s.records[anyRecord.Draw(t, "leaves")].ID
				_, there := h.records[id]
				require.Equal(t, there, b.RemoveRecord(id))
				delete(h.records, id)
			case 1:
				changeFamily(t, b, &h, &s.families[anyFamily.Draw(t, "family")])
			case 2:
				b.Build()
			case 3:
				e := s.records[anyRecord.Draw(t, "changes")]
				e.TimesSeen, e.Nameplate.InsulationClass = rapid.IntRange(0, 50).Draw(t, "seen"), rapid.SampledFrom([]string{"", "A", "B", "F", "H"}).Draw(t, "class")
				e.Scheme = s.records[anyRecord.Draw(t, "winding")].Scheme
				h.add(b, e)
			default:
				h.add(b, s.records[anyRecord.Draw(t, "comes")])
			}
		}
		require.True(t, b.Complete())
		requireSame(t, h.fresh(rapid.Uint64().Draw(t, "shuffle")), b.Build(), q)
	})
}

// add adds a record if its family is there.
func (h *holding) add(b *Builder, e RecordEntry) {
	if _, there := h.families[e.FamilyID]; there || e.FamilyID == "" {
		b.AddRecord(e)
		h.records[e.ID] = e
	}
}

// changeFamily takes a family out and perhaps puts it in again with another tooth.
func changeFamily(t *rapid.T, b *Builder, h *holding, f *FamilyEntry) {
	_, there := h.families[f.ID]
	require.Equal(t, there, b.RemoveFamily(f.ID))
	delete(h.families, f.ID)
	var of []RecordEntry
	for id, e := range h.records {
		if e.FamilyID == f.ID {
			of = append(of, e)
			delete(h.records, id)
		}
	}
	if rapid.Bool().Draw(t, "returns") {
		again := *f
		again.Core.ToothWidth = unit.Of(rapid.Float64Range(3, 6).Draw(t, "tooth"))
		b.AddFamily(again)
		h.families[f.ID] = again
		for _, e := range of {
			h.add(b, e)
		}
	}
}

// TestLargeBuilder: the same where the sample of sheets is thinned: all of it against a shuffled
// half that is removed again.
func TestLargeBuilder(t *testing.T) {
	t.Parallel()
	s := invented(t, 12, 300)
	h := holding{map[string]FamilyEntry{}, map[string]RecordEntry{}}
	b := NewBuilder(testWires())
	for _, f := range s.families {
		b.AddFamily(f)
		h.families[f.ID] = f
	}
	const copies = 70
	for i := range s.records {
		for k := range copies {
			e := s.records[i]
			e.ID = e.ID[:len(e.ID)-3] + fmt.Sprintf("%03x", (i*copies+k)%4096)
			b.AddRecord(e)
			h.records[e.ID] = e
		}
	}
	require.Greater(t, b.sheets.floor, 0)
	n := 0
	for _, e := range s.records[:len(s.records)/3] {
		for k := range 4096 {
			id := e.ID[:len(e.ID)-3] + fmt.Sprintf("%03x", k)
			if b.RemoveRecord(id) {
				delete(h.records, id)
				n++
			}
		}
	}
	require.Greater(t, n, 0)
	require.True(t, b.Complete())
	requireSame(t, h.fresh(3), b.Build(), Query{Measurements: *s.records[8].CoreAsMeasured})
	for id := range h.records {
		if len(h.records) <= sheetMost {
			break
		}
		b.RemoveRecord(id)
		delete(h.records, id)
	}
	require.False(t, b.Complete(), "a fresh builder would learn from all of them")
	require.NotNil(t, b.Build())
}

// TestEmptiedBuilder: after everything went, nothing is left.
func TestEmptiedBuilder(t *testing.T) {
	t.Parallel()
	s := invented(t, 13, 40)
	b := NewBuilder(testWires())
	for _, f := range s.families {
		b.AddFamily(f)
	}
	for _, e := range s.records {
		b.AddRecord(e)
		b.AddRecord(e)
	}
	full := b.Build()
	require.Equal(t, len(s.records), full.Stats().Records)
	require.False(t, b.RemoveFamily("no such"))
	require.False(t, b.RemoveRecord("no such"))
	for _, f := range s.families {
		require.True(t, b.RemoveFamily(f.ID))
	}
	for _, e := range s.records {
		require.Equal(t, e.FamilyID == "", b.RemoveRecord(e.ID))
	}
	empty := b.Build()
	require.Equal(t, NewBuilder(testWires()).Build().Stats(), empty.Stats())
	requireSame(t, NewBuilder(testWires()).Build(), empty, Query{Measurements: demoCore()})
	require.Equal(t, len(s.records), full.Stats().Records, "an index never changes")
}

// TestRecordsWithoutFamily: stators without a family are not thrown together.
func TestRecordsWithoutFamily(t *testing.T) {
	t.Parallel()
	s := invented(t, 14, 30)
	b := NewBuilder(testWires())
	var apart []int // two records of different laminations
	for i := range s.records {
		e := s.records[i]
		if len(apart) == 0 || len(apart) == 1 && e.FamilyID != s.records[apart[0]].FamilyID {
			apart = append(apart, i)
		}
		e.FamilyID, e.CoreID = "", ""
		b.AddRecord(e)
	}
	x := b.Build()
	require.Equal(t, Stats{Families: 30, Cores: 30, Records: 30, Bytes: x.Stats().Bytes}, x.Stats())
	for _, i := range apart {
		a := mustMatch(t, x, Query{Measurements: *s.records[i].CoreAsMeasured, Nameplate: &s.records[i].Nameplate})
		require.Equal(t, s.records[i].ID, a.Candidates[0].WindingID)
		require.Empty(t, a.Candidates[0].FamilyID)
	}
}

// TestFamilyFromRecords: a family that only its records tell of is that of the first of them, and
// goes with the last.
func TestFamilyFromRecords(t *testing.T) {
	t.Parallel()
	b := NewBuilder(nil)
	for i, slots := range []int{36, 24} {
		c := stator.Core{Slots: slots, GapDiameter: unit.Of(70), BackDiameter: unit.Of(120), Phases: 3, RotorPosition: stator.RotorInside}
		b.AddRecord(RecordEntry{ID: strconv.Itoa(2 - i), FamilyID: "f", CoreID: "c", CoreAsMeasured: &c})
	}
	x := b.Build()
	require.Equal(t, []uint16{24}, x.lam.slots)
	require.True(t, b.RemoveRecord("1"))
	require.Equal(t, []uint16{36}, b.Build().lam.slots)
	require.True(t, b.RemoveRecord("2"))
	require.Equal(t, 0, b.Build().Stats().Families)
	require.Equal(t, []uint16{24}, x.lam.slots)
}

// TestSorted: the order of identifiers is that of their text, UUIDs first, however many there are.
func TestSorted(t *testing.T) {
	t.Parallel()
	var l idList
	r := rand.New(rand.NewPCG(1, 2))
	n := make([]uint32, 20000)
	for i := range n {
		n[i] = l.add(formatUUID([16]byte{0: byte(r.Uint32()), 1: byte(r.Uint32()), 9: byte(r.Uint32()), 15: byte(r.Uint32())}))
	}
	n = append(n, l.add("b"), l.add("a"), l.add(""))
	l.sorted(n)
	for i := range n[1 : len(n)-3] {
		require.LessOrEqual(t, l.at(n[i]), l.at(n[i+1]))
	}
	require.Equal(t, []string{"", "a", "b"}, []string{l.at(n[20000]), l.at(n[20001]), l.at(n[20002])})
}
