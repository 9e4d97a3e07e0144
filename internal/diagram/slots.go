package diagram

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"statorbook/internal/stator"
	"statorbook/internal/winding"
)

// ringPlace is where a ring of slots is drawn.
type ringPlace struct {
	at     point
	r      float64
	slots  int
	turned float64 // slot pitches
}

// angle gives the clockwise angle of a slot, slot 1 at the top.
func (p ringPlace) angle(slot int) float64 {
	return (float64(slot-1) + p.turned) * 360 / float64(p.slots)
}

// drawSlots draws every coil as a curve between its two slots. Curves outside a ring belong to the
// first coil set in it, curves inside to the others; an arrow shows in -> out.
func drawSlots(in Input) ([]byte, error) {
	if in.Core.Slots == 0 {
		return nil, tooLittle("slots", "slots")
	}
	coils, assumed, err := winding.ExpandScheme(in.Scheme, in.Core)
	if err != nil {
		return nil, err
	}
	var cv canvas
	cv.text(point{width / 2, 18}, 13, "middle", in.Title)
	cv.text(point{width / 2, 34}, 11, "middle", fmt.Sprintf("%d poles, seen from the lead side; status: %s", in.Scheme.Poles, in.Status))
	centre := point{width / 2, 216}
	rings := map[winding.RingName]ringPlace{winding.RingGap: {at: centre, r: 104, slots: in.Core.Slots}}
	if in.Core.SecondRing != nil {
		turned := 0.5
		if t := in.Core.SecondRing.TurnedSlots; t.Given {
			turned = t.Value
		}
		gap, back := 128.0, 76.0
		if in.Core.RotorPosition == stator.RotorInside {
			gap, back = back, gap
		}
		rings[winding.RingGap] = ringPlace{at: centre, r: gap, slots: in.Core.Slots}
		rings[winding.RingBack] = ringPlace{at: centre, r: back, slots: stator.RingSlots(in.Core, true), turned: turned}
	}
	drawCoils(&cv, in, coils, rings)
	for _, name := range []winding.RingName{winding.RingGap, winding.RingBack} {
		if p, ok := rings[name]; ok {
			drawRing(&cv, p)
		}
	}
	rows := coilRows(in.Scheme, coils)
	for _, a := range assumed {
		rows = append(rows, fmt.Sprintf("assumed: %s = %v (%s)", spoken(a.Field, in.Scheme), a.Value, a.Why))
	}
	y := cv.lines(10, 408, 11, rows)
	return cv.document(y+6, in.Title+": slots", "Coils in their slots. "+strings.Join(rows, "; ")), nil
}

// spoken names a field of a coil set as people do: "first slot of main".
func spoken(field string, s winding.Scheme) string {
	set, name, inSet := strings.Cut(strings.TrimPrefix(field, "coil_sets["), "].")
	if i, err := strconv.Atoi(set); inSet && err == nil && i < len(s.CoilSets) {
		field = name + " of " + roleWords(s.CoilSets[i].Role)
	}
	return strings.NewReplacer("_", " ", ".", " ").Replace(field)
}

// drawRing draws the numbered slots of a ring over the coils.
func drawRing(cv *canvas, p ringPlace) {
	size := math.Min(9, math.Max(5, 620/float64(p.slots)/2))
	for slot := 1; slot <= p.slots; slot++ {
		at := p.at.polar(p.r, p.angle(slot))
		cv.circle(at, size*0.95, "fill=\"#fff\" stroke=\"#000\" stroke-width=\"0.6\"")
		cv.text(point{at.x, at.y + size*0.36}, size, "middle", fmt.Sprint(slot))
	}
}

// drawCoils draws the coils of all sets.
func drawCoils(cv *canvas, in Input, coils [][]winding.Coil, rings map[winding.RingName]ringPlace) {
	seen := map[winding.RingName]int{}
	for i, set := range in.Scheme.CoilSets {
		name := set.Ring
		if name == "" {
			name = winding.RingGap
		}
		p, ok := rings[name]
		if !ok {
			continue
		}
		side := 1.0 // outside the ring
		if seen[name] > 0 {
			side = -1
		}
		seen[name]++
		for _, c := range coils[i] {
			drawCoil(cv, p, c, side, line(set.Role))
		}
	}
}

// drawCoil draws one coil as a curve on one side of its ring; the longer the span, the farther out.
func drawCoil(cv *canvas, p ringPlace, c winding.Coil, side float64, dashes string) {
	span := math.Remainder(float64(c.Out-c.In), float64(p.slots)) // the short way round
	if span == -float64(p.slots)/2 {
		span = -span
	}
	from := p.angle(c.In)
	mid := from + span*180/float64(p.slots)
	to := from + span*360/float64(p.slots)
	// The curve's middle lies halfway between its control point and the chord; put it reach away from the ring.
	reach := 10 + 7*math.Min(math.Abs(span), 8)
	if side < 0 {
		reach = math.Min(reach, p.r-20)
	}
	chord := p.r * math.Cos(span*math.Pi/float64(p.slots))
	a, b, ctl := p.at.polar(p.r, from), p.at.polar(p.r, to), p.at.polar(2*(p.r+side*reach)-chord, mid)
	cv.path("M"+a.String()+"Q"+ctl.String()+" "+b.String(), stroke(1.1, dashes))
	// In its middle a quadratic curve runs along its chord.
	top := point{(a.x+b.x)/4 + ctl.x/2, (a.y+b.y)/4 + ctl.y/2}
	arrow(cv, top, math.Atan2(b.y-a.y, b.x-a.x))
}

// arrow draws a small filled arrow head.
func arrow(cv *canvas, at point, angle float64) {
	const size = 3.6
	tip := func(turn, r float64) point {
		s, k := math.Sincos(angle + turn)
		return point{at.x + r*k, at.y + r*s}
	}
	cv.path("M"+tip(0, size).String()+"L"+tip(2.5, size).String()+"L"+tip(-2.5, size).String()+"Z", "fill=\"#000\"")
}

// coilRows tells each set in words: line style, ring, and every coil as in -> out x turns.
func coilRows(s winding.Scheme, coils [][]winding.Coil) []string {
	var rows []string
	for i, set := range s.CoilSets {
		ring := ""
		if set.Ring == winding.RingBack {
			ring = ", second ring"
		}
		rows = append(rows, fmt.Sprintf("%s (%s%s), %d coils, in > out x turns:", roleWords(set.Role), lineWords(set.Role), ring, len(coils[i])))
		parts := make([]string, len(coils[i]))
		for k, c := range coils[i] {
			parts[k] = fmt.Sprintf("%d>%d x %s", c.In, c.Out, num(c.Turns))
		}
		rows = append(rows, "  "+strings.Join(parts, ", "))
	}
	return rows
}
