package httpapi

import (
	"encoding/base64"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"statorbook/internal/bundle"
	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/simworld"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"

	"github.com/stretchr/testify/require"
)

// demoSubject is a record of the demo set with its family, as a page shows it.
func demoSubject(t testing.TB, n int) (*Snapshot, subject) {
	t.Helper()
	snap, err := demoSnapshot()
	require.NoError(t, err)
	return snap, subjectOf(simworld.Demo(1, snap.Wires), n)
}

func subjectOf(set simworld.Catalogue, n int) subject {
	w := set.Windings[n%len(set.Windings)]
	var family *catalog.Family
	for i := range set.Families {
		if set.Families[i].ID == w.FamilyID {
			family = &set.Families[i]
		}
	}
	return subject{w.ID, w.Slug, w.Status, family.Application, winding.AnalysisInput{
		Core: catalog.CoreOfRecord(w, family), Nameplate: &w.Nameplate, Scheme: w.Scheme, MotorType: w.MotorType,
	}}
}

// A demo record is worked out whole: analysis, cut list, tests, three drawings, coils as a list.
func TestWorkUp(t *testing.T) {
	t.Parallel()
	for n := 0; n < 180; n += 20 {
		snap, s := demoSubject(t, n)
		v := snap.workUp(s)
		require.Empty(t, v.Faults, s.title)
		require.NotNil(t, v.Analysis, s.title)
		require.NotNil(t, v.Materials, s.title)
		require.NotEmpty(t, v.Materials.Liners, s.title)
		require.NotEmpty(t, v.Plan.Steps, s.title)
		require.Len(t, v.Coils, len(s.input.Scheme.CoilSets), s.title)
		for _, view := range []string{"core", "slots", "connection"} {
			d := v.Drawing(view)
			require.NotNil(t, d, "%s: %s", s.title, view)
			svg, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(string(d.Image), "data:image/svg+xml;base64,"))
			require.NoError(t, err)
			require.NoError(t, wellFormed(svg), "%s: %s", s.title, view)
		}
		require.Nil(t, v.Drawing("other"))
	}
}

func wellFormed(text []byte) error {
	dec := xml.NewDecoder(strings.NewReader(string(text)))
	for {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// With little known the page shows what can be shown and says what is missing; it never fails.
func TestWorkUpOfLittle(t *testing.T) {
	t.Parallel()
	snap, whole := demoSubject(t, 0)
	for name, spoil := range map[string]func(*subject){
		"no slots":       func(s *subject) { s.input.Core.Slots = 0 },
		"no core":        func(s *subject) { s.input.Core = stator.Core{} },
		"no stack":       func(s *subject) { s.input.Core.StackLength = unit.Measured{} },
		"no plate":       func(s *subject) { s.input.Nameplate = nil },
		"no scheme":      func(s *subject) { s.input.Scheme = winding.Scheme{} },
		"an odd throw":   func(s *subject) { s.input.Scheme.CoilSets[0].Pattern.Throws = []int{300} },
		"a mad core":     func(s *subject) { s.input.Core.GapDiameter = unit.Of(1) },
		"nothing at all": func(s *subject) { *s = subject{status: catalog.StatusEstimated} },
	} {
		s := whole
		s.input.Scheme.CoilSets = append([]winding.CoilSet(nil), whole.input.Scheme.CoilSets...)
		for i := range s.input.Scheme.CoilSets {
			if p := s.input.Scheme.CoilSets[i].Pattern; p != nil {
				own := *p
				s.input.Scheme.CoilSets[i].Pattern = &own
			}
		}
		spoil(&s)
		v := snap.workUp(s)
		require.NotEmpty(t, v.Cautions, name)
		require.NotEmpty(t, v.Plan.Steps, name)
		require.True(t, len(v.Faults)+len(v.Missing)+len(v.Assumed) > 0, "%s: something must be said", name)
		for _, f := range v.Faults {
			require.Regexp(t, `[.?]$`, f, name)
		}
		p, err := loadPages()
		require.NoError(t, err)
		_, err = (&server{pages: p}).renderPage("winding", pageView{Body: windingBody{Sets: setsOf(v, nil), Work: v}})
		require.NoError(t, err, name)
		_, err = (&server{pages: p}).renderPage("sheet", pageView{Body: windingBody{Sets: setsOf(v, nil), Work: v}})
		require.NoError(t, err, name)
	}
}

// A fault of ours is never shown; a refusal is shown once.
func TestWorkFaults(t *testing.T) {
	t.Parallel()
	var v workView
	v.fault(errors.New("secret of the stack"))
	v.fault(errs.Wrap(errs.KindInternal, "secret", errors.New("more")))
	require.Empty(t, v.Faults)
	refusal := errs.New(errs.KindImpossible, "the stator cannot be analysed", errs.Field{Detail: "14 teeth do not fit"})
	v.fault(refusal)
	v.fault(refusal)
	require.Equal(t, []string{"The stator cannot be analysed.", "14 teeth do not fit."}, v.Faults)
}

// Cautions come gravest first, each once.
func TestGravestFirst(t *testing.T) {
	t.Parallel()
	all := viewCautions(winding.StandardCautions())
	sorted := gravestFirst(append(append([]cautionView(nil), all...), all...))
	require.Len(t, sorted, len(all))
	grade := map[winding.CautionSeverity]int{winding.CautionDanger: 0, winding.CautionWarning: 1, winding.CautionCaution: 2, winding.CautionNotice: 3}
	for i := 1; i < len(sorted); i++ {
		require.LessOrEqual(t, grade[sorted[i-1].Severity], grade[sorted[i].Severity])
	}
	require.Equal(t, winding.CautionDanger, sorted[0].Severity)
}

// Each set of a winding is shown with its own figures and its own range.
func TestSetsOf(t *testing.T) {
	t.Parallel()
	snap, s := demoSubject(t, 0)
	v := snap.workUp(s)
	ranges := each(v.Scheme.CoilSets, func(set bundle.CoilSet) proposedSetView {
		return proposedSetView{Role: winding.Role(set.Role), TurnsPerCoil: []bundle.Range{{P05: 1, P50: 2, P95: 3}}}
	})
	for i, set := range setsOf(v, ranges) {
		require.Equal(t, set.CoilSet.Role, string(set.Proposed.Role))
		require.Equal(t, i, set.Figures.Set)
		require.Equal(t, len(v.Coils[i].Coils), set.Coils)
		require.NotEmpty(t, set.Throws)
		require.Regexp(t, `^1–[0-9]+$`, set.Throws[0].Throw)
		require.NotNil(t, set.Throws[0].Range)
	}
	for _, set := range setsOf(v, nil) {
		require.Nil(t, set.Proposed)
		require.Nil(t, set.Throws[0].Range)
	}
}

// What a limit allows, in words: open ends, a single value, a pure number, nothing but its name.
func TestBand(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	f := func(v float64) *float64 { return &v }
	for want, l := range map[string]limitView{
		"1 – 2 Ω":         {Low: f(1), High: f(2), Unit: "ohm"},
		"at least 5 MΩ":   {Low: f(5), Unit: "megohm"},
		"at most 0.1 Ω":   {High: f(0.1), Unit: "ohm"},
		"14":              {Low: f(14), High: f(14), Unit: "1"},
		"1500 V, no more": {Low: f(1500), Value: f(1500), Unit: "V"},
		"3 V":             {Value: f(3), Unit: "V"},
		"":                {Unit: "1"},
	} {
		require.Equal(t, want, p.texts.band(l))
	}
}

// A record's page shows what it says and leaves out what it does not.
func TestRecordFacts(t *testing.T) {
	t.Parallel()
	p, err := loadPages()
	require.NoError(t, err)
	m := func(text string, v float64) bundle.M {
		return bundle.M{Measured: unit.Measured{Given: true, Value: v, Text: text}}
	}
	w := bundle.Winding{TimesSeen: 3, Sheet: bundle.Sheet{
		Nameplate: bundle.Nameplate{Voltage: m("230", 230), Connection: "star"}, Scheme: bundle.Scheme{Poles: 4},
		OverhangLead: m("12.50", 12.5), OverhangFar: m("11", 11), Liner: &bundle.Liner{Material: "DMD", Thickness: m("0.2", 0.2)}, Remarks: "two\nlines",
	}}
	said := map[string]string{}
	for _, f := range p.texts.recordFacts(w) {
		require.Contains(t, p.texts, f.Name)
		said[f.Name] = f.Text
	}
	require.Equal(t, map[string]string{
		"record.voltage": "230 V", "record.connection": "star", "record.poles": "4", "record.overhang": "12.50 mm, 11 mm", "record.liner": "DMD 0.2 mm",
		"record.remarks": "two\nlines", "record.seen": "3",
	}, said)
	core := coreFields(bundle.Core{GapDiameter: m("118.20", 118.2), SecondRing: &bundle.Ring{Slots: 14}})
	require.Equal(t, []fact{{"gap_diameter_mm", "118.20 mm"}, {"second_ring.slots", "14"}}, core)
}

// A cut list that would run short of the wire that the record weighed says so.
func TestWeighed(t *testing.T) {
	t.Parallel()
	mass := func(g float64) bundle.CoilSet { return bundle.CoilSet{Mass: bundle.M{Measured: unit.Of(g)}} }
	v := workView{Materials: &materialsView{}}
	require.Zero(t, v.Weighed(), "nothing weighed")
	v.Scheme.CoilSets = []bundle.CoilSet{mass(164), mass(184)}
	require.InDelta(t, 348, v.Weighed(), 1e-9)
	v.Scheme.CoilSets = append(v.Scheme.CoilSets, bundle.CoilSet{})
	require.Zero(t, v.Weighed(), "one set was not weighed")
	v.Scheme.CoilSets = v.Scheme.CoilSets[:2]
	v.Materials.Wires = []wireNeed{{Buy: 200}, {Buy: 148}}
	require.Zero(t, v.Weighed(), "the list buys as much")
}

// The cut list of a record is long enough for the copper that the record weighed: it follows the record's own
// mean turn and no rule, and the analysis and the tests beside it follow the same.
func TestCutListOfARecord(t *testing.T) {
	t.Parallel()
	fans := 0
	snap, err := demoSnapshot()
	require.NoError(t, err)
	set := simworld.Demo(1, snap.Wires)
	for n := range 180 {
		s := subjectOf(set, n)
		s.input.MeanTurns = winding.MeanTurnsOnRecord(s.input.Core, s.input.Scheme, snap.Wires)
		w := snap.workUp(s)
		weighed, listed, metal := 0.0, 0.0, 0.0
		for i, set := range s.input.Scheme.CoilSets {
			share, _ := winding.EnamelShare(set.MassState)
			weighed += set.Mass.Value / (1 + share)
			metal += *w.Analysis.Roles[i].Mass
			if !set.Mass.Given {
				weighed = math.NaN()
			}
		}
		for _, wire := range w.Materials.Wires {
			listed += wire.Mass
		}
		require.InEpsilon(t, metal, listed, 1e-5, s.title)
		if math.IsNaN(weighed) {
			continue
		}
		require.InEpsilon(t, weighed, listed, 1e-4, s.title)
		if s.application == "ceiling_fan" {
			fans++
		}
	}
	require.Greater(t, fans, 10)
}

// A slot that is fuller than hands lay it is told apart from one that cannot hold the wire.
func TestTightAndTooFull(t *testing.T) {
	t.Parallel()
	for found, want := range map[float64][2]bool{0.79: {true, false}, 1: {true, false}, 1.01: {true, true}} {
		var a alerts
		a.sort([]bundle.Finding{{Code: winding.CodeSquareFill, Severity: "warning", Found: &found}})
		require.Equal(t, want, [2]bool{a.Tight, a.TooFull}, "%v", found)
	}
	var a alerts
	found := 0.9
	a.sort([]bundle.Finding{{Code: "fill_copper_above_band", Severity: "warning", Found: &found}})
	require.False(t, a.Tight || a.TooFull)
}
