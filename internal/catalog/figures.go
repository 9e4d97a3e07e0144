package catalog

import (
	"strconv"
	"strings"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// visitor hears of every number of a record that is given: its dotted name with [] for indexes, its
// JSON pointer, and its value.
type visitor func(name, pointer string, v float64)

// at joins a name; both forms are kept together while walking.
type place struct{ name, pointer string }

func (p place) member(name string) place {
	if p.name == "" {
		return place{name, "/" + name}
	}
	return place{p.name + "." + name, p.pointer + "/" + name}
}

func (p place) item(i int) place { return place{p.name + "[]", p.pointer + "/" + strconv.Itoa(i)} }

func (visit visitor) measured(p place, m unit.Measured) {
	if m.Given {
		visit(p.name, p.pointer, m.Value)
	}
}

// count visits a count; 0 stands for "not given".
func (visit visitor) count(p place, n int) {
	if n != 0 {
		visit(p.name, p.pointer, float64(n))
	}
}

func (visit visitor) core(p place, c stator.Core) {
	visit.count(p.member("phases"), c.Phases)
	visit.count(p.member("slots"), c.Slots)
	if c.SecondRing != nil {
		visit.count(p.member("second_ring").member("slots"), c.SecondRing.Slots)
	}
	for _, f := range stator.Fields(c) {
		at := p
		for part := range strings.SplitSeq(f.Name, ".") {
			at = at.member(part)
		}
		visit.measured(at, f.Value)
	}
}

func (visit visitor) nameplate(p place, n winding.Nameplate) {
	visit.measured(p.member("voltage_v"), n.Voltage)
	visit.measured(p.member("frequency_hz"), n.Frequency)
	visit.measured(p.member("power_w"), n.Power)
	visit.measured(p.member("current_a"), n.Current)
	visit.measured(p.member("speed_rpm"), n.Speed)
	visit.count(p.member("poles"), n.Poles)
	visit.measured(p.member("capacitor_uf"), n.CapacitorUF)
	visit.measured(p.member("capacitor_v"), n.CapacitorV)
	visit.measured(p.member("sweep_mm"), n.SweepMM)
	visit.count(p.member("speed_taps"), n.SpeedTaps)
}

func (visit visitor) scheme(p place, s winding.Scheme) {
	visit.count(p.member("poles"), s.Poles)
	for i, set := range s.CoilSets {
		visit.coilSet(p.member("coil_sets").item(i), set)
	}
}

func (visit visitor) coilSet(p place, s winding.CoilSet) {
	for i, c := range s.Coils {
		at := p.member("coils").item(i)
		visit(at.name+".in", at.pointer+"/in", float64(c.In)) // 0 is not a slot
		visit(at.name+".out", at.pointer+"/out", float64(c.Out))
		visit(at.name+".turns", at.pointer+"/turns", c.Turns)
	}
	if s.Pattern != nil {
		visit.pattern(p.member("pattern"), *s.Pattern)
	}
	visit.count(p.member("parallel_paths"), s.ParallelPaths)
	for i, w := range s.Wires {
		at := p.member("wires").item(i)
		visit.measured(at.member("diameter_mm"), w.Diameter)
		visit(at.name+".strands", at.pointer+"/strands", float64(w.Strands))
	}
	visit.measured(p.member("mass_g"), s.Mass)
	visit.measured(p.member("resistance_ohm"), s.Resistance)
	visit.measured(p.member("temperature_c"), s.Temperature)
	visit.count(p.member("tap"), s.Tap)
}

func (visit visitor) pattern(p place, s winding.Pattern) {
	for i, t := range s.Throws {
		at := p.member("throws").item(i)
		visit(at.name, at.pointer, float64(t))
	}
	for i, t := range s.Turns {
		at := p.member("turns").item(i)
		visit(at.name, at.pointer, t)
	}
	visit.count(p.member("groups"), s.Groups)
	visit.count(p.member("first_slot"), s.FirstSlot)
}

func (visit visitor) winding(w Winding) {
	var root place
	if w.CoreAsMeasured != nil {
		visit.core(root.member("core_as_measured"), *w.CoreAsMeasured)
	}
	visit.nameplate(root.member("nameplate"), w.Nameplate)
	visit.scheme(root.member("scheme"), w.Scheme)
	visit.measured(root.member("overhang_lead_mm"), w.OverhangLead)
	visit.measured(root.member("overhang_far_mm"), w.OverhangFar)
	visit.measured(root.member("coil_length_mm"), w.CoilLength)
	visit.measured(root.member("coil_width_mm"), w.CoilWidth)
	if w.Liner != nil {
		visit.measured(root.member("liner").member("thickness_mm"), w.Liner.Thickness)
	}
	for i, l := range w.Leads {
		visit.measured(root.member("leads").item(i).member("section_mm2"), l.SectionMM2)
	}
	visit.count(root.member("times_seen"), w.TimesSeen)
	visit.count(root.member("revision"), w.Revision)
}

func (visit visitor) family(f Family) {
	var root place
	visit.core(root.member("core"), f.Core)
	for i, c := range f.Cores {
		visit.measured(root.member("cores").item(i).member("stack_length_mm"), c.StackLength)
	}
	visit.count(root.member("revision"), f.Revision)
}

func shortNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
