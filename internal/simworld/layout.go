package simworld

import (
	"math"

	"statorbook/internal/winding"
)

// turnGrade is how a concentric group shares its turns.
type turnGrade int

const (
	equalTurns  turnGrade = iota // all coils alike
	sineTurns                    // by the sine of half the coil's span, which kills harmonics
	middleTurns                  // halfway between
)

// setLayout is where the coils of one role lie, before they have turns.
type setLayout struct {
	role    winding.Role
	ring    winding.RingName
	pattern winding.Pattern // Turns hold weights that add up to 1
}

// ringLayout puts one coil round each tooth (whole-coil) or each second one (half-coil) of a
// two-ring fan; the rings stand half a pitch apart, so both windings start at slot 1.
func ringLayout(d dice, poles int, half bool) []setLayout {
	rings := []winding.RingName{winding.RingGap, winding.RingBack}
	if d.chance(0.5) { // which ring carries the main winding differs between makers
		rings[0], rings[1] = rings[1], rings[0]
	}
	groups, alternate := poles, true
	if half {
		groups, alternate = poles/2, false
	}
	sets := make([]setLayout, 2)
	for i, role := range []winding.Role{winding.Main, winding.Auxiliary} {
		sets[i] = setLayout{role: role, ring: rings[i], pattern: pattern(winding.Tooth, []int{2}, []float64{1}, groups, 1, alternate)}
	}
	return sets
}

// pattern makes a pattern with its own copy of the sense.
func pattern(kind winding.PatternKind, throws []int, weights []float64, groups, first int, alternate bool) winding.Pattern {
	return winding.Pattern{Kind: kind, Throws: throws, Turns: weights, Groups: groups, FirstSlot: first, Alternate: &alternate}
}

// singleLayout lays main and auxiliary of a single-phase machine: groups of nMain and nAux
// concentric coils, their centres 90 electrical degrees (half a pole pitch) apart.
func singleLayout(slots, poles, nMain, nAux int, grade turnGrade) []setLayout {
	pitch := slots / poles
	outer := pitch - 1
	if pitch == 2 {
		outer = 2
	}
	// Whole slots for the auxiliary: its outer span has the parity that puts its centre right.
	outerAux := pitch
	if (outerAux-outer-pitch)%2 != 0 {
		outerAux--
	}
	first := 1 + (outer+pitch-outerAux)/2
	return []setLayout{
		{role: winding.Main, ring: winding.RingGap, pattern: concentric(outer, nMain, poles, 1, slots, poles, grade)},
		{role: winding.Auxiliary, ring: winding.RingGap, pattern: concentric(outerAux, nAux, poles, first, slots, poles, grade)},
	}
}

// concentric makes groups of n coils, two slots less for each coil further in.
func concentric(outer, n, groups, first, slots, poles int, grade turnGrade) winding.Pattern {
	var throws []int
	var weights []float64
	sum := 0.0
	for i := 0; i < n && outer-2*i >= 1; i++ {
		y := outer - 2*i
		sine := math.Sin(math.Pi / 2 * float64(y*poles) / float64(slots))
		w := 1.0
		switch grade {
		case sineTurns:
			w = sine
		case middleTurns:
			w = (1 + sine) / 2
		}
		throws, weights, sum = append(throws, y+1), append(weights, w), sum+w
	}
	for i := range weights {
		weights[i] /= sum
	}
	kind := winding.Concentric
	if len(throws) == 1 {
		kind = winding.Lap // one coil for each pole: neither word is wrong, the trade says lap
	}
	return pattern(kind, throws, weights, groups, first, groups == poles)
}

// coilCounts returns sensible numbers of coils for main and auxiliary groups.
func coilCounts(d dice, pitch int, alike bool) (nMain, nAux int) {
	switch {
	case pitch <= 4:
		return 1, 1
	case pitch <= 6:
		nMain, nAux = 2, 1
	case pitch <= 9:
		nMain, nAux = pick(d, 3, 3, 4), 2
	default:
		nMain, nAux = pitch/3, pick(d, pitch/6, pitch/6, pitch/4)
	}
	if pitch == 6 && d.chance(0.3) || pitch == 9 && d.chance(0.5) {
		nAux++
	}
	if alike {
		nMain, nAux = pitch/3, pitch/3
	}
	return nMain, nAux
}

// threeStyle is one way of laying three phases.
type threeStyle int

const (
	doubleLap      threeStyle = iota // double-layer lap, short pitched
	wholeConcentre                   // single layer, a group for each pole
	halfConcentre                    // single layer, a group for each pole pair
)

// threeLayout lays three phases 120 electrical degrees apart. It returns nil where the style does
// not fit: whole-coil concentric groups need an even number of slots for each pole and phase.
func threeLayout(slots, poles int, style threeStyle, short int) []setLayout {
	if slots%(3*poles) != 0 && style != doubleLap {
		return nil
	}
	pitch, belt := slots/poles, slots/(3*poles)
	var p winding.Pattern
	switch style {
	case doubleLap:
		p = pattern(winding.Lap, []int{pitch - short + 1}, []float64{1}, slots/3, 1, false)
		p.Alternate = nil // the belts give the sense
	case wholeConcentre:
		if belt%2 != 0 {
			return nil
		}
		p = concentric(pitch-1, belt/2, poles, 1, slots, poles, equalTurns)
		if belt == 2 { // one coil for each pole and phase: a single-layer lap
			p.Groups, p.Alternate = slots/6, nil
		}
	case halfConcentre:
		if poles < 4 || belt < 2 {
			return nil
		}
		p = concentric(pitch+belt-1, belt, poles/2, 1, slots, poles, equalTurns)
	}
	sets := make([]setLayout, 3)
	for i, role := range []winding.Role{winding.PhaseU, winding.PhaseV, winding.PhaseW} {
		own := p
		own.FirstSlot = 1 + i*2*slots/(3*poles)
		sets[i] = setLayout{role: role, ring: winding.RingGap, pattern: own}
	}
	return sets
}

// manner asks for a layout; zero leaves it to the maker.
type manner int

const (
	anyManner manner = iota
	wholeCoil        // a group for each pole, concentric in three-phase machines
	halfCoil         // a group for each pole pair
	lapCoils         // double-layer lap
)

// lay chooses a layout for a machine; nil if the draw does not fit its slots.
func lay(d dice, l *lamination, poles int, m *maker, asked manner, alike bool) []setLayout {
	switch {
	case l.kind.twoRings:
		half := d.chance(l.kind.half)
		if asked != anyManner {
			half = asked == halfCoil
		}
		return ringLayout(d, poles, half)
	case l.kind.phases == 3:
		style := threeStyle(d.index(m.doubleLayer, 1-m.doubleLayer, l.kind.half*(1-m.doubleLayer)))
		if asked != anyManner {
			style = map[manner]threeStyle{wholeCoil: wholeConcentre, halfCoil: halfConcentre, lapCoils: doubleLap}[asked]
		}
		short := 0
		if pitch := l.slots / poles; style == doubleLap {
			short = pick(d, max(1, pitch/6), max(1, pitch/6), max(1, pitch/5), pitch/9)
		}
		return threeLayout(l.slots, poles, style, short)
	}
	if l.slots%poles != 0 || l.slots/poles < 2 {
		return nil
	}
	nMain, nAux := coilCounts(d, l.slots/poles, alike)
	return singleLayout(l.slots, poles, nMain, nAux, m.grade)
}
