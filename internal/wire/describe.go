package wire

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// describe turns a combination into an answer with its figures.
func (q *query) describe(c *combination, place int) Equivalent {
	x := &q.hands[c.x]
	area := float64(c.a) * x.area
	e := Equivalent{
		Wires:   []Wire{q.wire(x.gauge, c.a)},
		Overall: []unit.Millimetre{x.overall},
	}
	lowest, square := q.classOf(x.gauge), float64(c.a)*x.square
	if c.y >= 0 {
		y := &q.hands[c.y]
		area += float64(c.b) * y.area
		e.Wires = append(e.Wires, q.wire(y.gauge, c.b))
		e.Overall = append(e.Overall, y.overall)
		lowest = math.Min(lowest, q.classOf(y.gauge)) // 0 if either is not known
		square += float64(c.b) * y.square
	}
	ratio := area / float64(q.old.TotalArea)
	e.AreaErrorPct = q.errorOf(area)
	e.DiameterRatio = math.Sqrt(ratio)
	e.CurrentDensityRatio = 1 / ratio
	e.ResistanceRatio = Resistivity(q.metal, AnnealedCopper) / q.old.Resistivity / ratio
	e.MassRatio = Density(q.metal) / q.old.Density * ratio
	if c.key.slot != unknownSlot {
		// The factor π/4 of the circle stands in both sums, so the two ratios are one number.
		e.SlotArea = &Ratio{Square: square / q.oldSquare, Circle: square / q.oldSquare}
	}
	if q.fromClass > 0 && lowest > 0 {
		change := lowest - q.fromClass
		e.ThermalClassChange = &change
	}
	e.Findings = q.findings(c, &e)
	e.RankReason = rankReason(&c.key, e.AreaErrorPct, place, q.metal)
	return e
}

// rankReason says in words what placed an answer.
func rankReason(k *rankKey, areaError float64, place int, metal Conductor) string {
	warned := "no warning"
	switch {
	case metal == Aluminium && k.tier > 0:
		warned = "after those without a warning but for the joints"
	case metal == Aluminium:
		warned = "no warning but for the joints"
	case k.tier > 0:
		warned = "after those without a warning"
	}
	gauges := "one gauge"
	if k.gauges == 2 {
		gauges = "two gauges"
	}
	strands := " strand; "
	if k.strands > 1 {
		strands = " strands; "
	}
	b := make([]byte, 0, 208) // fmt would take a good part of a whole search
	b = strconv.AppendInt(append(b, "rank "...), int64(place)+1, 10)
	b = append(append(append(b, ": "...), warned...), "; area error "...)
	if !math.Signbit(areaError) {
		b = append(b, '+')
	}
	b = strconv.AppendFloat(b, areaError, 'f', 1, 64)
	b = append(append(append(b, " % (ranked without its sign, in steps of 0.1 %); "...), gauges...), ", "...)
	b = append(strconv.AppendInt(b, int64(k.strands), 10), strands...)
	if k.slot == unknownSlot {
		return string(append(b, "enamelled slot area not known"...))
	}
	return string(strconv.AppendFloat(append(b, "enamelled slot area x"...), float64(k.slot)*millionth, 'f', 3, 64))
}

func finding(code string, severity errs.Severity, message string, fields ...string) errs.Finding {
	return errs.Finding{Code: code, Severity: severity, Fields: fields, Message: message}
}

// judged is a finding with the figure found and the band that would have passed.
func judged(f errs.Finding, found, value, low, high float64) errs.Finding {
	f.Found, f.Expected = &found, &errs.Expected{Value: value, Low: low, High: high}
	return f
}

// maxAreaHigh is the area error in per cent above which area_high is noted. Common practice, no source.
const maxAreaHigh = 10.0

// findings lists what to heed about one answer, warnings first.
func (q *query) findings(c *combination, e *Equivalent) []errs.Finding {
	all := q.warnings(c, e)
	if e.AreaErrorPct >= areaLow && e.AreaErrorPct < -errorStep/2 {
		all = append(all, finding("area_slightly_low", errs.SeverityNote, fmt.Sprintf("the conductor is %.1f %% smaller, within the tolerance of the wire", -e.AreaErrorPct), "area_error_pct"))
	}
	if e.AreaErrorPct > maxAreaHigh {
		all = append(all, finding("area_high", errs.SeverityNote, fmt.Sprintf("the conductor is %.0f %% larger: check the fill of the slot and the mass", e.AreaErrorPct), "area_error_pct"))
	}
	if e.SlotArea == nil && q.oldSquare == 0 {
		all = append(all, finding("fit_unknown", errs.SeverityNote, "the old wire's overall diameter is not known, so nothing is said of the fit: give its build", "from.build"))
	}
	byRule, noClass := q.hands[c.x].byRule, q.classOf(q.hands[c.x].gauge) == 0
	if c.y >= 0 {
		byRule, noClass = byRule || q.hands[c.y].byRule, noClass || q.classOf(q.hands[c.y].gauge) == 0
		all = append(all, finding("mixed_gauges", errs.SeverityNote, "two unlike gauges in hand: wind them together, join them at both ends, and expect each to carry current by its area", "wires"))
	}
	if q.fromClass > 0 && noClass {
		all = append(all, finding("class_not_stated", errs.SeverityNote, fmt.Sprintf("the thermal class is not stated: order class %.0f °C or higher", q.fromClass), "thermal_class_change"))
	}
	if q.metal == Aluminium && slices.ContainsFunc(e.Overall, func(d unit.Millimetre) bool { return d > 0 }) {
		all = append(all, finding("overall_from_copper_table", errs.SeverityNote, "the overall diameter is that of the tables for copper wire: measure the aluminium wire before counting on the fit", "overall_mm"))
	}
	if byRule {
		all = append(all, finding("overall_by_rule", errs.SeverityNote, "an overall diameter comes from the intermediate-size rule of IEC 60317-0-1, not from a printed row", "overall_mm"))
	}
	return all
}

// warnings lists the findings that put an answer behind others, and the one for joints.
func (q *query) warnings(c *combination, e *Equivalent) []errs.Finding {
	var all []errs.Finding
	if e.AreaErrorPct < areaLow {
		f := finding("area_low", errs.SeverityWarning, fmt.Sprintf("the conductor is %.1f %% smaller than the old wire needs: it will run hotter", -e.AreaErrorPct), "area_error_pct")
		all = append(all, judged(f, e.AreaErrorPct, 0, areaLow, q.high))
	}
	if e.SlotArea != nil && e.SlotArea.Square > slotFits {
		f := finding("does_not_fit", errs.SeverityWarning, fmt.Sprintf("it takes %.0f %% more slot area with enamel on than the old wire: it will not fit a slot that was full", 100*(e.SlotArea.Square-1)), "slot_area_ratio")
		all = append(all, judged(f, e.SlotArea.Square, 1, 0, slotFits))
	}
	if e.SlotArea == nil && q.oldSquare > 0 {
		all = append(all, finding("fit_unknown", errs.SeverityWarning, "no overall diameter is published or known for this wire: measure it before counting on the fit", "slot_area_ratio"))
	}
	thin, lowClass := q.thin(q.hands[c.x].gauge), q.lowClass(q.hands[c.x].gauge)
	if c.y >= 0 {
		thin, lowClass = thin || q.thin(q.hands[c.y].gauge), lowClass || q.lowClass(q.hands[c.y].gauge)
	}
	if lowClass {
		all = append(all, finding("class_lower", errs.SeverityWarning, "the thermal class is lower than that of the old wire: do not fit it", "thermal_class_change"))
	}
	if thin {
		all = append(all, finding("enamel_thinner", errs.SeverityWarning, "the enamel is thinner than that of the old wire's build", "wires"))
	}
	if c.y >= 0 && q.hands[c.x].bare > farApart*q.hands[c.y].bare {
		all = append(all, finding("gauges_far_apart", errs.SeverityWarning, "the two gauges are of very unlike thickness: the thin one carries next to nothing and breaks easily", "wires"))
	}
	if q.metal == Aluminium {
		all = append(all, finding("needs_joint_practice", errs.SeverityWarning, "aluminium needs its own practice at every joint (oxide removed, crimped or welded, never plain soft solder to copper) and more slot area", "wires"))
	}
	if q.metal != q.from.Conductor {
		all = append(all, finding("conductor_changed", errs.SeverityNote, fmt.Sprintf("the area error is reckoned against the %s area of the same resistance, %.4g mm²", q.metal, q.target), "area_error_pct"))
	}
	return all
}
