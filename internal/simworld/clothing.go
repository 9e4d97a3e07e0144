package simworld

import (
	"math"

	"statorbook/internal/catalog"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// clothe adds to a record what a school writes down besides turns and wire: overhang, former,
// slot insulation, leads. Lengths follow from the coils.
func (g *design) clothe(d dice, w *catalog.Winding) {
	height, width := g.coilHead()
	straight := g.maker.straight / 4
	far := height + straight
	lead := far + d.between(1.5, 4) // joints and leads lie on this side
	w.OverhangLead, w.OverhangFar = read(lead, 0.5), read(far+d.normal(0.4), 0.5)
	w.CoilLength, w.CoilWidth = read(g.stack+2*far-d.between(0, 1.5), 0.5), read(width, 0.5)
	w.Liner = g.liner(d)
	w.Wedge = pick(d, "bamboo strip", "vulcanised fibre strip", "glass-polyester strip", "leatheroid strip")
	w.Binding = pick(d, "thread", "thread", "tape")
	w.Sleeving = pick(d, "varnished glass sleeving", "acrylic glass sleeving", "silicone glass sleeving")
	w.Varnish = pick(d, "air-drying alkyd", "baking varnish, class B", "baking varnish, class F", "polyester resin, dipped")
	w.Direction = pick(d, "anticlockwise", "clockwise")
	if g.lam.kind.application == "ceiling_fan" {
		w.Direction = "anticlockwise, seen from below"
	}
	if g.lam.kind.application == "washing_machine" {
		w.Direction = "both, by change of the capacitor"
	}
	w.ViewingEnd = "lead side"
	w.Slot1Mark = pick(d, "slot beside the cable notch", "slot with a punch mark on its tooth", "slot at the weld of the stack", "slot that holds the first lead")
	w.Leads = g.leads(d)
	if g.lam.kind.application == "pump" || g.lam.kind.application == "washing_machine" {
		if d.chance(0.5) {
			w.ThermalCutout = "bimetal disc, 130 C, tied into the overhang at the lead side"
		}
	}
}

// coilHead gives how far the outermost coil stands out of the stack without its straight run, and
// how wide it is, in mm.
func (g *design) coilHead() (height, width float64) {
	core := g.lam.core(g.stack)
	for i := range g.sets {
		s := &g.sets[i]
		mid, _, _ := winding.MidSlotDiameter(core, s.ring)
		y := float64(s.pattern.Throws[0] - 1)
		y = math.Min(y, float64(g.lam.slots)-y)
		chord := float64(mid) * math.Sin(math.Pi*y/float64(g.lam.slots))
		width = math.Max(width, chord)
		height = math.Max(height, 0.3*chord*g.maker.end/1.35)
	}
	return height, width
}

// liner takes a material that comes in the thickness that the slots were drawn for.
func (g *design) liner(d dice) *catalog.Liner {
	names := []string{"leatheroid", "polyester-film", "polyester-laminate", "pressboard"}
	thick := []float64{0.25, 0.19, 0.23, 0.25}
	i := d.index(0.25, 0.3, 0.35, 0.1)
	return &catalog.Liner{Material: names[i], Thickness: unit.Measured{Given: true, Value: thick[i], Text: plain(thick[i])}}
}

// leads names the flexible ends. Marks S, R, C are the trade's for capacitor motors; U, V, W are
// those of IEC 60034-8. A colour is written only where one was seen.
func (g *design) leads(d dice) []catalog.Lead {
	section := unit.Measured{Given: true, Value: 0.5, Text: "0.5"}
	if g.line > 2.5 {
		section = unit.Measured{Given: true, Value: 1, Text: "1.0"}
	}
	var list []catalog.Lead
	add := func(mark, goes string) {
		list = append(list, catalog.Lead{Mark: mark, GoesTo: goes, SectionMM2: section})
	}
	switch {
	case g.lam.kind.phases == 1:
		add("R", "supply, and one side of the capacitor")
		add("S", "other side of the capacitor")
		add("C", "supply, joint of main and auxiliary")
		if g.motorType == splitPhase || g.motorType == capacitorStart {
			list[0].GoesTo, list[1].GoesTo = "supply", "start switch"
		}
	case g.supply.connection == winding.ConnStar:
		add("U1", "line L1")
		add("V1", "line L2")
		add("W1", "line L3")
	default:
		for _, m := range []string{"U1", "V1", "W1", "U2", "V2", "W2"} {
			add(m, "terminal box")
		}
	}
	if d.chance(0.6) {
		colours := []string{"red", "blue", "black", "yellow", "white", "brown", "grey"}
		d.r.Shuffle(len(colours), func(i, j int) { colours[i], colours[j] = colours[j], colours[i] })
		for i := range list {
			list[i].ColourSeen = colours[i%len(colours)]
		}
	}
	return list
}

// quality says how each figure of a complete record was got.
func quality() map[string]string {
	return map[string]string{
		"core_as_measured": "measured", "scheme.poles": "counted", "scheme.coil_sets.pattern.turns": "counted", "scheme.coil_sets.wires": "measured",
		"scheme.coil_sets.mass_g": "measured", "scheme.coil_sets.resistance_ohm": "measured", "nameplate": "plate",
		"overhang_lead_mm": "measured", "overhang_far_mm": "measured", "coil_length_mm": "measured", "coil_width_mm": "measured", "liner.thickness_mm": "measured",
	}
}
