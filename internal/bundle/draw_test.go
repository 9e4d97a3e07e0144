package bundle

import (
	"strconv"
	"time"

	"pgregory.net/rapid"

	"statorbook/internal/catalog"
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// drawMeasured draws a reading with digits as somebody types them, trailing zeros included.
func drawMeasured(t *rapid.T, label string, low, high float64) unit.Measured {
	v := rapid.Float64Range(low, high).Draw(t, label)
	text := strconv.FormatFloat(v, 'f', rapid.IntRange(0, 6).Draw(t, label+" decimals"), 64)
	if v, _ = strconv.ParseFloat(text, 64); v < low || v > high || v == 0 {
		text = strconv.FormatFloat(high, 'f', 1, 64)
		v = high
	}
	m := unit.Measured{Given: true, Value: v, Text: text}
	switch rapid.IntRange(0, 3).Draw(t, label+" form") {
	case 1:
		m.Uncertainty = rapid.Float64Range(1e-6, 10).Draw(t, label+" uncertainty")
	case 2:
		m.Resolution = rapid.SampledFrom([]float64{0.001, 0.01, 0.02, 0.05, 0.1, 1}).Draw(t, label+" resolution")
		m.Method = rapid.SampledFrom([]string{"", "calliper", "messschieber ü"}).Draw(t, label+" method")
	}
	return m
}

// maybe draws a reading or none.
func maybe(t *rapid.T, label string, low, high float64) unit.Measured {
	if rapid.Bool().Draw(t, label+" given") {
		return drawMeasured(t, label, low, high)
	}
	return unit.Measured{}
}

func word(t *rapid.T, label string, words ...string) string {
	return rapid.SampledFrom(append(words, "")).Draw(t, label)
}

func text(t *rapid.T, label string) string {
	return rapid.SampledFrom([]string{"", "demo", "é über", "a \"quoted\" <b>&", "वायर", "tab-free text"}).Draw(t, label)
}

const drawnUUID = "01234567-89ab-4def-8123-456789abcdef"

func drawCore(t *rapid.T) stator.Core {
	c := stator.Core{
		Phases: rapid.SampledFrom([]int{0, 1, 3}).Draw(t, "phases"), RotorPosition: stator.RotorPosition(word(t, "rotor", "inside", "outside")),
		Slots: rapid.SampledFrom([]int{0, 8, 24, 36, 360}).Draw(t, "slots"), GapDiameter: maybe(t, "gap", 0.01, 10000),
		BackDiameter: maybe(t, "back", 0.01, 10000), StackLength: maybe(t, "stack", 0.01, 10000), ToothWidth: maybe(t, "tooth", 0.001, 10000),
		SlotDepth: maybe(t, "depth", 0.001, 10000), SlotOpening: maybe(t, "opening", 0.001, 10000), BackIron: maybe(t, "iron", 0.001, 10000),
		SlotArea: maybe(t, "area", 0.001, 1e6), SlotAreaBasis: stator.AreaBasis(word(t, "basis", "net", "gross")),
		SlotShape: stator.SlotShape(word(t, "shape", "round", "parallel_tooth")),
	}
	if rapid.Bool().Draw(t, "two rings") {
		c.SecondRing = &stator.Ring{Slots: 16, ToothWidth: maybe(t, "tooth 2", 0.001, 100), SlotArea: maybe(t, "area 2", 0.001, 100), TurnedSlots: maybe(t, "turned", -360, 360)}
	}
	return c
}

func drawWire(t *rapid.T) wire.Wire {
	w := wire.Wire{
		Conductor: wire.Conductor(rapid.SampledFrom([]string{"copper", "aluminium"}).Draw(t, "metal")),
		Build:     wire.Build(word(t, "build", "grade_1", "heavy")), ThermalClass: word(t, "thermal", "F", "130 L"),
		Strands: rapid.IntRange(1, 8).Draw(t, "strands"),
	}
	if rapid.Bool().Draw(t, "bare") {
		w.System, w.Diameter = wire.Bare, drawMeasured(t, "diameter", 0.001, 100)
		return w
	}
	w.System, w.Size = wire.SWG, rapid.SampledFrom([]string{"34", "4/0"}).Draw(t, "size")
	return w
}

func drawCoilSet(t *rapid.T) winding.CoilSet {
	s := winding.CoilSet{
		Role: winding.Role(rapid.SampledFrom([]string{"main", "auxiliary", "speed", "phase_u"}).Draw(t, "role")), Ring: winding.RingName(word(t, "ring", "gap", "back")),
		ParallelPaths: rapid.IntRange(0, 4).Draw(t, "paths"), Wires: []wire.Wire{}, Mass: maybe(t, "mass", 0.001, 1e6),
		MassState: word(t, "mass state", "bare", "varnished"), Resistance: maybe(t, "ohm", 1e-6, 1e7), Temperature: maybe(t, "temperature", -60, 300),
		LeadPair: word(t, "pair", "U1-U2"), Joining: word(t, "joining", "end_to_end"), Tap: rapid.IntRange(0, 5).Draw(t, "tap"),
	}
	for range rapid.IntRange(0, 2).Draw(t, "wires") {
		s.Wires = append(s.Wires, drawWire(t))
	}
	turns := rapid.SampledFrom([]float64{1, 0.5, 280, 1195, 20000, 33.3333333333333})
	if rapid.Bool().Draw(t, "listed") {
		s.Coils = []winding.Coil{{In: 1, Out: 8, Turns: turns.Draw(t, "turns")}, {In: 360, Out: 1, Turns: 3}}
		return s
	}
	alternate := rapid.Bool().Draw(t, "alternate")
	s.Pattern = &winding.Pattern{Kind: winding.Concentric, Throws: []int{8, 6}, Turns: []float64{turns.Draw(t, "a"), turns.Draw(t, "b")}, Groups: rapid.IntRange(0, 6).Draw(t, "groups")}
	if rapid.Bool().Draw(t, "sense") {
		s.Pattern.Alternate = &alternate
	}
	return s
}

func drawProvenance(t *rapid.T) catalog.Provenance {
	p := catalog.Provenance{
		Revision: rapid.IntRange(0, 9).Draw(t, "revision"), State: catalog.State(word(t, "state", "published", "withdrawn")),
		Status: catalog.Status(word(t, "status", "demo", "foreign")), Source: text(t, "source"), Licence: word(t, "licence", "CC0-1.0"),
		Institute: word(t, "institute", "demo-winding-school"), Demo: rapid.Bool().Draw(t, "demo"), Reason: text(t, "reason"),
	}
	if rapid.Bool().Draw(t, "dated") {
		p.CreatedAt = time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "created"), 123000).UTC()
		p.ModifiedAt = p.CreatedAt.Add(time.Hour)
	}
	return p
}

func drawWinding(t *rapid.T) catalog.Winding {
	w := catalog.Winding{
		ID: word(t, "id", drawnUUID), Slug: word(t, "slug", "demo-fan-1"), CoreID: word(t, "core id", drawnUUID), FamilyID: word(t, "family id", drawnUUID),
		MotorType: word(t, "motor", "split_phase", "unknown"), Origin: word(t, "origin", "factory"),
		Nameplate: winding.Nameplate{
			Voltage: maybe(t, "volt", 0.1, 1e5), Power: maybe(t, "watt", 0.01, 1e7), Poles: rapid.SampledFrom([]int{0, 2, 16}).Draw(t, "poles"),
			CapacitorUF: maybe(t, "uf", 0.001, 1e6), InsulationClass: word(t, "class", "B"), Duty: text(t, "duty"), SpeedTaps: rapid.IntRange(0, 5).Draw(t, "taps"),
			Connection: winding.Connection(word(t, "connection", "star")), SweepMM: maybe(t, "sweep", 1, 10000),
		},
		Scheme:        winding.Scheme{Poles: rapid.SampledFrom([]int{0, 4}).Draw(t, "scheme poles")},
		ThermalCutout: text(t, "cutout"), OverhangLead: maybe(t, "overhang", 0.01, 1000), CoilWidth: maybe(t, "coil width", 0.01, 1000),
		Wedge: text(t, "wedge"), Binding: word(t, "binding", "thread"), Varnish: text(t, "varnish"), Remarks: text(t, "remarks"),
		ViewingEnd: text(t, "end"), TimesSeen: rapid.IntRange(0, 9).Draw(t, "seen"), Provenance: drawProvenance(t),
	}
	for range rapid.IntRange(0, 2).Draw(t, "sets") {
		w.Scheme.CoilSets = append(w.Scheme.CoilSets, drawCoilSet(t))
	}
	if rapid.Bool().Draw(t, "cored") {
		c := drawCore(t)
		w.CoreAsMeasured = &c
	}
	if rapid.Bool().Draw(t, "lined") {
		w.Liner = &catalog.Liner{Material: text(t, "liner"), Thickness: maybe(t, "liner mm", 0.001, 100)}
	}
	if rapid.Bool().Draw(t, "led") {
		w.Leads = []catalog.Lead{{Mark: "U1", ColourSeen: text(t, "colour"), SectionMM2: maybe(t, "section", 0.001, 1000)}}
		w.Quality = map[string]string{"nameplate.power_w": "plate", "scheme": "counted"}
	}
	if rapid.Bool().Draw(t, "found") {
		v := 4.5
		w.Findings = []errs.Finding{{
			Code: "unproved", Severity: errs.SeverityNote, Fields: []string{"state"}, Found: &v, Odds: &v, Message: "no proof",
			Expected: &errs.Expected{Value: 1, Low: 0.5, High: 2}, LikelySlip: &errs.Slip{Code: "turns_halved", Field: "scheme", Corrected: "560"},
		}}
	}
	return w
}

func drawFamily(t *rapid.T) catalog.Family {
	f := catalog.Family{
		ID: word(t, "id", drawnUUID), Slug: word(t, "slug", "demo-fan"), Title: text(t, "title"), Application: word(t, "application", "pump"),
		Core: drawCore(t), Provenance: drawProvenance(t),
	}
	for range rapid.IntRange(0, 2).Draw(t, "cores") {
		f.Cores = append(f.Cores, catalog.FamilyCore{ID: drawnUUID, StackLength: maybe(t, "stack", 0.01, 10000)})
	}
	return f
}
