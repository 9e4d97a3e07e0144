package match

import (
	"testing"

	"github.com/stretchr/testify/require"

	"statorbook/internal/winding"
)

// TestClassWord: letters and temperatures of IEC 60085, as they are stamped in several ways (common practice, no source).
func TestClassWord(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"B": "B", "b": "B", " B ": "B", "class B": "B", "Class b": "B", "CL.B": "B", "cl B": "B", "Ins. cl. B": "B", "insulation class B": "B",
		"130": "B", "130 C": "B", "130°C": "B", "130 °C": "B", "Y": "Y", "a": "A", "E": "E", "120": "E", "155": "F", "H": "H", "n": "N", "R": "R", "220": "R", "250": "250",
		"": "", "  ": "", "C": "", "Q": "", "FF": "", "131": "", "class": "", "?": "", "B/F": "",
	} {
		require.Equal(t, want, classWord(text), text)
	}
}

// TestClassReadAlike: however a class is stamped, the odds are the same; what names no class says nothing, and that is told.
func TestClassReadAlike(t *testing.T) {
	t.Parallel()
	w := sampleWorld()
	q, r := exactQuery(w, 10)
	with := func(class string) Answer {
		n := winding.Nameplate{InsulationClass: class}
		asked := q
		asked.Nameplate = &n
		return mustMatch(t, w.index, asked)
	}
	bare := with("")
	own := r.domain().Nameplate.InsulationClass
	require.NotEmpty(t, own)
	told := with(own)
	require.NotEqual(t, bare.None, told.None, "a class is evidence")
	for _, text := range []string{"class " + own, " " + own, "Cl." + own} {
		a := with(text)
		require.Equal(t, []any{told.None, told.Candidates, told.Cores, told.Findings}, []any{a.None, a.Candidates, a.Cores, a.Findings}, text)
	}
	odd := with("Q")
	require.Equal(t, bare.None, odd.None)
	require.Equal(t, bare.Candidates, odd.Candidates)
	require.Equal(t, "class_unknown", odd.Findings[len(odd.Findings)-1].Code)
	require.Equal(t, []string{"nameplate.insulation_class"}, odd.Findings[len(odd.Findings)-1].Fields)
}

// TestRecordClassReadAlike: the record may spell its class in words too.
func TestRecordClassReadAlike(t *testing.T) {
	t.Parallel()
	s := invented(t, 5, 60)
	index := func(spell func(string) string) *Index {
		b := NewBuilder(testWires())
		for _, f := range s.families {
			b.AddFamily(f)
		}
		for _, r := range s.records {
			r.Nameplate.InsulationClass = spell(r.Nameplate.InsulationClass)
			b.AddRecord(r)
		}
		return b.Build()
	}
	plain := index(func(c string) string { return c })
	wordy := index(func(c string) string { return "class " + c })
	q := Query{Measurements: *s.records[0].CoreAsMeasured, Nameplate: &s.records[0].Nameplate}
	a, b := mustMatch(t, plain, q), mustMatch(t, wordy, q)
	require.Equal(t, []any{a.None, a.Candidates}, []any{b.None, b.Candidates})
}

// TestShadedPoleIsNotMatched: such motors are recorded, not matched: neither asked for nor offered.
func TestShadedPoleIsNotMatched(t *testing.T) {
	t.Parallel()
	s := invented(t, 6, 60)
	r := s.records[0]
	b := NewBuilder(testWires())
	for _, f := range s.families {
		b.AddFamily(f)
	}
	for _, r := range s.records {
		b.AddRecord(r)
	}
	q := Query{Measurements: *r.CoreAsMeasured, Nameplate: &r.Nameplate, Limit: 50}
	holds := func(a Answer) bool {
		for _, c := range a.Candidates {
			if c.WindingID == r.ID {
				return true
			}
		}
		return false
	}
	require.True(t, holds(mustMatch(t, b.Build(), q)))
	asked := q
	asked.MotorType = shadedPole
	a := mustMatch(t, b.Build(), asked)
	require.Empty(t, a.Candidates)
	require.Empty(t, a.Proposals)
	require.Equal(t, Unlisted{1, 1, 1}, a.None)
	require.Equal(t, []string{"motor_type"}, a.Findings[0].Fields)
	require.Equal(t, "outside_service_range", a.Findings[0].Code)
	require.NotEmpty(t, a.Cautions)

	r.MotorType = shadedPole // a correction says that it is one
	b.AddRecord(r)
	require.False(t, holds(mustMatch(t, b.Build(), q)))
	require.False(t, b.RemoveRecord(r.ID), "it is not there any more")
}
