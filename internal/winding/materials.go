package winding

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// Allowances are what a bench adds to the bare sizes. The defaults are common practice, no source,
// where nothing else is said; a record's own sizes go before them.
type Allowances struct {
	Cuff           unit.Millimetre // liner beyond the core, each end; 4 to 8 in small motors
	LinerLap       unit.Millimetre // liner beyond the outline at each side of the mouth, folded over the wire
	WedgeLap       unit.Millimetre // wedge wider than the mouth, each side, at least
	SeparatorFold  unit.Millimetre // separator turned up at each side
	SleeveJoint    unit.Millimetre // sleeving over one joint: at least 13 beyond the bare wire on each side (a repair manual, read)
	SleeveLead     unit.Millimetre // sleeving over one lead end
	LacingFactor   float64         // lacing cord over the circumference of one end
	WireWaste      float64         // share of wire mass added
	SheetWaste     float64         // share of sheet pieces added
	FormerStraight unit.Millimetre // straight run of the former beyond the core, each end
}

// DefaultAllowances are those of common practice.
func DefaultAllowances() Allowances {
	return Allowances{Cuff: 6, LinerLap: 2, WedgeLap: 1, SeparatorFold: 1.5, SleeveJoint: 40, SleeveLead: 100, LacingFactor: 3, WireWaste: 0.07, SheetWaste: 0.05, FormerStraight: 6}
}

// Cut is a number of equal pieces of sheet or strip to cut.
type Cut struct {
	Ring          RingName
	Count         int // pieces used
	CountToCut    int // with waste
	Length, Width unit.Millimetre
}

// Former is the former of the coils of one span.
type Former struct {
	Set       int
	Role      Role
	Span      int // slot pitches
	Throw     int // span + 1
	Coils     int
	Turns     []float64       // turns of the coils of this span, each value once, most first
	Length    unit.Millimetre // the stack and a straight run at each end, but no more than the mean turn has room for
	Width     unit.Millimetre // across the ends, along the arc at mid-slot; round one tooth the tooth and one coil side
	Perimeter unit.Millimetre // one turn
}

// WireNeed is the wire of one kind.
type WireNeed struct {
	Wire  wire.Wire // strands 1
	Roles []Role
	Metre unit.Metre // of single strand
	Mass  unit.Gram  // bare metal in the winding
	Buy   unit.Gram  // with waste; enamel comes on top
}

// Bill is what to cut and buy for a winding.
type Bill struct {
	Liners, Wedges, Separators []Cut
	PhasePapers                int             // pieces between the coil groups of unlike phases, both ends
	Joints, Leads              int             // joints between coil groups; ends brought out
	Sleeving                   unit.Millimetre // total length
	Lacing                     unit.Millimetre // total length of cord
	Formers                    []Former
	Wires                      []WireNeed
	Varnish                    string
	Allowances                 Allowances
	Missing                    []string
	Assumed                    []Assumption
	Cautions                   []Caution
}

// Materials lists what to cut and buy. Only slots that hold wire get a liner. It fails as Analyse does.
func Materials(in AnalysisInput, with Allowances, t *wire.Table) (Bill, error) {
	a, err := Analyse(in, t)
	if err != nil {
		return Bill{}, err
	}
	in.Scheme.Poles = a.Poles
	coils, _, err := ExpandScheme(in.Scheme, in.Core)
	if err != nil {
		return Bill{}, underScheme(err)
	}
	b := &biller{in: in, analysis: a, coils: coils, with: with}
	b.out = Bill{Allowances: with, Missing: a.Missing, Assumed: a.Assumed, Cautions: StandardCautions(MaterialCautions...)}
	b.sheet(false)
	if in.Core.SecondRing != nil {
		b.sheet(true)
	}
	b.joints()
	b.formers()
	if err := b.wires(t); err != nil {
		return Bill{}, err
	}
	class := ""
	if in.Nameplate != nil {
		class = in.Nameplate.InsulationClass
	}
	b.out.Varnish = varnishNote(class)
	slices.Sort(b.out.Missing)
	b.out.Missing = slices.Compact(b.out.Missing)
	return b.out, nil
}

type biller struct {
	in       AnalysisInput
	analysis Analysis
	coils    [][]Coil
	with     Allowances
	out      Bill
}

// sheet counts and sizes liners, wedges and separators of one ring.
func (b *biller) sheet(back bool) {
	ring := RingGap
	if back {
		ring = RingBack
	}
	used, layers := 0, 0
	for _, s := range b.analysis.Slots {
		if s.Ring == ring && len(s.Sides) > 0 {
			used++
			layers += len(s.Sides) - 1
		}
	}
	core := b.in.Core
	if used == 0 {
		return
	}
	if !core.StackLength.Given {
		return // the analysis lists it as missing
	}
	length := unit.Millimetre(core.StackLength.Value) + 2*b.with.Cuff
	piece := func(n int, width unit.Millimetre) Cut {
		return Cut{Ring: ring, Count: n, CountToCut: int(math.Ceil(float64(n)*(1+b.with.SheetWaste) - 1e-9)), Length: length, Width: width}
	}
	o, ok := b.outline(back)
	if !ok {
		b.out.Missing = append(b.out.Missing, "core.slot_depth_mm", "core.tooth_width_mm")
		return
	}
	b.out.Liners = append(b.out.Liners, piece(used, o.around+2*b.with.LinerLap))
	b.out.Wedges = append(b.out.Wedges, piece(used, max(o.mouth+2*b.with.WedgeLap, o.top)))
	if layers > 0 {
		b.out.Separators = append(b.out.Separators, piece(layers, o.mean+2*b.with.SeparatorFold))
	}
}

// outline is what sheet needs to know of a slot.
type outline struct{ around, top, mean, mouth unit.Millimetre }

// outline takes the slot from its derived form, else from area and depth as a rectangle.
func (b *biller) outline(back bool) (outline, bool) {
	core := b.in.Core
	opening, area, depth := core.SlotOpening, core.SlotArea, core.SlotDepth
	if back {
		opening, area, depth = core.SecondRing.SlotOpening, core.SecondRing.SlotArea, core.SecondRing.SlotDepth
	}
	mouth := unit.Millimetre(opening.Value)
	if d, ok := stator.DerivedRingSlotArea(core, back); ok {
		return outline{around: d.Outline, top: d.TopWidth, mean: unit.Millimetre(float64(d.Gross) / float64(d.Height)), mouth: mouth}, true
	}
	if !area.Given || !depth.Given || depth.Value <= 0 {
		return outline{}, false
	}
	w := unit.Millimetre(area.Value / depth.Value)
	b.out.Assumed = append(b.out.Assumed, Assumption{Field: "slot_shape", Value: string(stator.SlotRectangular), Why: "tooth width or diameters are not known; width from slot area and depth, for the cutting of sheet only"})
	return outline{around: unit.Millimetre(2*depth.Value) + w, top: w, mean: w, mouth: mouth}, true
}

// joints counts joints and leads, and what goes over them.
func (b *biller) joints() {
	three := false
	groupsInAll := 0
	for i, set := range b.in.Scheme.CoilSets {
		groups := groupsOf(set, b.coils[i], b.in.Scheme.Poles)
		groupsInAll += groups
		b.out.Joints += groups - 1
		b.out.Leads += 2
		three = three || set.Role.IsPhase()
	}
	if three {
		b.out.PhasePapers = 2 * groupsInAll
	}
	b.out.Sleeving = unit.Millimetre(b.out.Joints)*b.with.SleeveJoint + unit.Millimetre(b.out.Leads)*b.with.SleeveLead
	ring := RingGap
	if d, _, ok := MidSlotDiameter(b.in.Core, ring); ok {
		b.out.Lacing = unit.Millimetre(2 * math.Pi * float64(d) * b.with.LacingFactor)
	}
}

// groupsOf is the number of coil groups of a set: those of its pattern, or, for belts and explicit coils,
// runs of coils in neighbouring slots of one sense.
func groupsOf(set CoilSet, coils []Coil, poles int) int {
	if p := set.Pattern; p != nil && p.Groups > 0 && !(set.Role.IsPhase() && len(p.Throws) == 1 && (p.Kind == Lap || p.Kind == Tooth)) {
		return p.Groups
	}
	if poles > 0 && len(coils)%poles == 0 {
		return poles
	}
	if poles > 1 && len(coils)%(poles/2) == 0 {
		return poles / 2
	}
	return len(coils)
}

// formers gives one former for each span of each set.
func (b *biller) formers() {
	core := b.in.Core
	for _, r := range b.analysis.Roles {
		set := b.in.Scheme.CoilSets[r.Set]
		q := stator.RingSlots(core, set.Ring == RingBack)
		d, _, ok := MidSlotDiameter(core, set.Ring)
		if !ok || !core.StackLength.Given {
			continue
		}
		for _, m := range r.MeanTurns {
			width := unit.Millimetre(math.Pi * float64(d) * float64(m.Span) / float64(q))
			if m.Span == 1 {
				width = b.roundTooth(set, width)
			}
			stack := unit.Millimetre(core.StackLength.Value)
			f := Former{Set: r.Set, Role: r.Role, Span: m.Span, Throw: m.Span + 1, Coils: m.Coils, Perimeter: m.MeanTurn, Width: width,
				Length: max(stack, min(stack+2*b.with.FormerStraight, m.MeanTurn/2-width))}
			for _, c := range b.coils[r.Set] {
				span := wrap(c.Out-c.In, q)
				if min(span, q-span) == m.Span && !slices.Contains(f.Turns, c.Turns) {
					f.Turns = append(f.Turns, c.Turns)
				}
			}
			slices.SortFunc(f.Turns, func(x, y float64) int { return cmp.Compare(y, x) })
			b.out.Formers = append(b.out.Formers, f)
		}
	}
}

// roundTooth is the width of a coil round one tooth, from the middle of one side to that of the other: the tooth
// and one side, which is half a slot where two coils share it; the slot pitch where the tooth is not known.
func (b *biller) roundTooth(set CoilSet, pitch unit.Millimetre) unit.Millimetre {
	a := analyser{in: b.in, out: b.analysis}
	tooth, back := b.in.Core.ToothWidth, set.Ring == RingBack
	if back && b.in.Core.SecondRing != nil {
		tooth = b.in.Core.SecondRing.ToothWidth
	}
	w, ok := a.sideWidth(back, set)
	if !ok || !tooth.Given {
		return pitch
	}
	return unit.Millimetre(tooth.Value + w)
}

// wires adds up the wire of each kind over all sets.
func (b *biller) wires(t *wire.Table) error {
	for _, r := range b.analysis.Roles {
		if r.Length == nil {
			continue
		}
		for _, w := range b.in.Scheme.CoilSets[r.Set].Wires {
			res, err := t.Resolve(w)
			if err != nil {
				return err
			}
			metre := float64(*r.Length) * float64(res.Strands)
			w.Strands = 1
			at := slices.IndexFunc(b.out.Wires, func(n WireNeed) bool { return n.Wire == w })
			if at < 0 {
				b.out.Wires = append(b.out.Wires, WireNeed{Wire: w})
				at = len(b.out.Wires) - 1
			}
			n := &b.out.Wires[at]
			n.Metre += unit.Metre(metre)
			n.Mass += unit.Gram(metre * float64(res.Area) * res.Density)
			n.Buy = n.Mass * unit.Gram(1+b.with.WireWaste)
			if !slices.Contains(n.Roles, r.Role) {
				n.Roles = append(n.Roles, r.Role)
			}
		}
	}
	return nil
}

// varnishNote says what usually goes with a thermal class (common practice, no source).
func varnishNote(class string) string {
	bake := map[string]string{"A": "up to about 105 °C winding temperature; old practice bakes at 90 at most", "E": "up to 120 °C", "B": "bake at 120 to 130 °C for 6 to 8 h", "F": "bake at 140 to 155 °C for 4 to 6 h", "H": "bake at 160 to 180 °C for 4 to 8 h"}
	if s, ok := bake[class]; ok {
		return fmt.Sprintf("varnish of class %s or higher, %s; preheat and drive out moisture first; the varnish maker's sheet decides", class, s)
	}
	return "the thermal class is not known: take varnish, wire, liner and sleeving of one class, not below that of the old winding; the varnish maker's sheet decides"
}
