package diagram

import (
	"fmt"
	"math"
	"strings"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// section is the cross-section of a core in its own millimetres.
type section struct {
	core  stator.Core
	sign  float64 // +1: slots run outward from the gap (inside rotor), -1: inward
	gap   float64 // radius at the gap
	back  float64 // radius at the back, 0 = not known
	scale float64 // drawing units per mm
	at    point
}

const (
	sectionRadius = 140.0 // of the larger circle in the drawing
	mouthHeight   = 0.8   // mm, drawn height of a slot mouth; the record does not tell it
)

// drawCore draws the cross-section to scale and lists the dimensions with the letters that mark them.
func drawCore(in Input) ([]byte, error) {
	c := in.Core
	if !c.GapDiameter.Given || c.Slots == 0 {
		return nil, tooLittle("core", "gap_diameter_mm", "slots")
	}
	s := section{core: c, sign: 1, gap: c.GapDiameter.Value / 2, at: point{width / 2, 196}}
	if c.RotorPosition == stator.RotorOutside {
		s.sign = -1
	}
	if c.BackDiameter.Given {
		s.back = c.BackDiameter.Value / 2
	}
	outer := math.Max(s.gap, s.back)
	if s.back == 0 && s.sign > 0 {
		outer += c.SlotDepth.Value + c.BackIron.Value
	}
	if outer <= 0 {
		return nil, tooLittle("core", "gap_diameter_mm")
	}
	s.scale = sectionRadius / outer

	var cv canvas
	cv.text(point{width / 2, 18}, 13, "middle", in.Title)
	cv.text(point{width / 2, 34}, 11, "middle", "core, seen from the lead side; status: "+in.Status)
	s.draw(&cv)
	rows, marks := s.dimensions()
	for _, m := range marks {
		cv.circle(m.at, 7, "fill=\"#fff\" stroke=\"#000\" stroke-width=\"0.8\"")
		cv.text(point{m.at.x, m.at.y + 3.6}, 10, "middle", m.letter)
	}
	rows = append(rows, "scale: the bar is 10 mm long")
	y := cv.lines(10, 362, 11, rows)
	cv.rect(point{10, y - 4}, 10*s.scale, 4, "fill=\"#000\"")
	desc := fmt.Sprintf("Cross-section of a stator with %d slots in the ring at the gap, rotor %s. %s", c.Slots, c.RotorPosition, strings.Join(rows, "; "))
	return cv.document(y+14, in.Title+": core", desc), nil
}

// draw draws circles and slots.
func (s section) draw(cv *canvas) {
	cv.circle(s.at, s.gap*s.scale, stroke(1.2, ""))
	if s.back > 0 {
		cv.circle(s.at, s.back*s.scale, stroke(1.2, ""))
	}
	depth, ok := stator.SlotDepthOf(s.core)
	if !ok || !s.core.ToothWidth.Given {
		s.ticks(cv)
		return
	}
	opening := s.core.SlotOpening.Value
	s.ring(cv, s.gap, s.core.Slots, s.core.ToothWidth.Value, float64(depth.Value), opening, 0)
	if r := s.core.SecondRing; r != nil && r.ToothWidth.Given && r.SlotDepth.Given {
		turned := 0.5
		if r.TurnedSlots.Given {
			turned = r.TurnedSlots.Value
		}
		s.ring(cv, s.gap+s.sign*(float64(depth.Value)+mouthHeight), stator.RingSlots(s.core, true), r.ToothWidth.Value, r.SlotDepth.Value, r.SlotOpening.Value, turned)
	}
}

// ticks marks the slots by short strokes when their shape is not known.
func (s section) ticks(cv *canvas) {
	for i := range s.core.Slots {
		deg := (float64(i) + 0.5) * 360 / float64(s.core.Slots)
		cv.line(s.at.polar(s.gap*s.scale, deg), s.at.polar(s.gap*s.scale+s.sign*6, deg), stroke(0.8, ""))
	}
}

// ring draws the slots of one ring that begins at radius start; teeth are drawn of equal width.
func (s section) ring(cv *canvas, start float64, slots int, tooth, depth, opening, turned float64) {
	r1, r2 := start+s.sign*mouthHeight, start+s.sign*depth
	w := func(r float64) float64 { return math.Max((2*math.Pi*r/float64(slots)-tooth)/2, 0.1) }
	mouth := opening / 2
	if mouth == 0 {
		mouth = w(r1) / 3
	}
	for i := range slots {
		deg := (float64(i) + 0.5 + turned) * 360 / float64(slots)
		corners := []point{{start, mouth}, {r1, mouth}, {r1, w(r1)}, {r2, w(r2)}, {r2, -w(r2)}, {r1, -w(r1)}, {r1, -mouth}, {start, -mouth}}
		d := ""
		for k, p := range corners {
			d += map[bool]string{true: "M", false: "L"}[k == 0] + s.place(p.x, p.y, deg).String()
		}
		cv.path(d, "fill=\"#ddd\" stroke=\"#000\" stroke-width=\"0.6\"")
	}
}

// place turns a place in a slot (radius and distance across, in mm) into a place in the drawing.
func (s section) place(r, across, deg float64) point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return point{s.at.x + s.scale*(r*sin+across*cos), s.at.y - s.scale*(r*cos-across*sin)}
}

// mark is a letter in the drawing.
type mark struct {
	letter string
	at     point
}

// dimensions lists the measured dimensions with their letters, and where the letters stand.
func (s section) dimensions() ([]string, []mark) {
	var rows []string
	var marks []mark
	add := func(letter, name string, m unit.Measured, unitName string, at point) {
		if !m.Given {
			return
		}
		text := m.Text
		if text == "" {
			text = num(m.Value)
		}
		rows = append(rows, letter+"  "+name+": "+text+" "+unitName)
		if at != (point{}) {
			marks = append(marks, mark{letter, at})
		}
	}
	c, slot := s.core, 360/float64(s.core.Slots)
	mid := s.gap + s.sign*c.SlotDepth.Value/2
	rows = append(rows, fmt.Sprintf("%d slots at the gap, rotor %s", c.Slots, c.RotorPosition))
	add("A", "gap diameter", c.GapDiameter, "mm", s.at.polar(s.gap*s.scale-s.sign*12, 200))
	add("B", "back diameter", c.BackDiameter, "mm", s.at.polar(s.back*s.scale+s.sign*12, 160))
	add("C", "tooth width", c.ToothWidth, "mm", s.at.polar(mid*s.scale, 0))
	add("D", "slot depth", c.SlotDepth, "mm", s.at.polar(mid*s.scale, slot/2+math.Round(float64(c.Slots)/4)*slot))
	add("E", "slot opening", c.SlotOpening, "mm", s.at.polar(s.gap*s.scale-s.sign*10, slot/2+math.Round(float64(c.Slots)*0.62)*slot))
	add("F", "back iron", c.BackIron, "mm", s.at.polar((s.back-s.sign*c.BackIron.Value/2)*s.scale, 310))
	add("G", "stack length (along the shaft)", c.StackLength, "mm", point{})
	add("H", "slot area, "+string(c.SlotAreaBasis), c.SlotArea, "mm2", point{})
	if r := c.SecondRing; r != nil {
		rows = append(rows, fmt.Sprintf("second ring behind: %d slots", stator.RingSlots(c, true)))
		add("J", "its tooth width", r.ToothWidth, "mm", point{})
		add("K", "its slot depth", r.SlotDepth, "mm", point{})
		add("L", "its slot opening", r.SlotOpening, "mm", point{})
		add("M", "its slot area", r.SlotArea, "mm2", point{})
	}
	return rows, marks
}
