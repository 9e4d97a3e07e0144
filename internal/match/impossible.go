package match

import (
	"fmt"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// maxRepairs is how many figures of one query may be doubtful before it is refused.
const maxRepairs = 2

// checkGeometry checks whether any stator can have these readings. An impossibility that one
// alternative reading of one figure removes is told, and the query is answered; else it is refused.
func checkGeometry(c *stator.Core) (repaired []ReadAs, findings []errs.Finding, err error) {
	if fields := beyondMeasure(c); len(fields) > 0 {
		return nil, nil, errs.New(errs.KindImpossible, fmt.Sprintf("no instrument of the trade reads this (%d figures)", len(fields)), fields...)
	}
	findings = stator.Check(*c)
	if !stator.Impossible(findings) {
		return nil, hints(findings), nil
	}
	trial, left := *c, errorCount(findings)
	for left > 0 && len(repaired) < maxRepairs {
		d, value, rest, share := repair(c, &trial, left)
		if rest >= left {
			break
		}
		left = rest
		trial = withReading(&trial, d, value)
		repaired = append(repaired, ReadAs{Field: dims[d].field, Typed: d.of(c).Value, ReadAs: roundFigure(value), Probability: altShare * share})
	}
	if left > 0 {
		return nil, nil, impossibleError(findings)
	}
	for i := range findings {
		if f := &findings[i]; f.Severity == errs.SeverityError {
			f.Severity = errs.SeverityWarning
			f.LikelySlip = doubtOf(f, repaired)
		}
	}
	return repaired, hints(findings), nil
}

// Dimensions that matching takes at all, mm or mm²; a slip of the decimal point stays well inside.
const (
	leastLength = 1e-3
	mostLength  = 1e5
)

// beyondMeasure names dimensions that are no figure of a stator in any reading.
func beyondMeasure(c *stator.Core) []errs.Field {
	var out []errs.Field
	for d := dGap; d < nDims; d++ {
		if v := d.of(c).Value; d.of(c).Given && v > 0 && (v < leastLength || v > mostLength) {
			out = append(out, errs.Field{Pointer: "/measurements/" + strings.ReplaceAll(dims[d].field, ".", "/"), Code: "OUT_OF_RANGE",
				Detail: fmt.Sprintf("%s must be from %g to %g", dims[d].field, leastLength, mostLength), Allowed: [2]float64{leastLength, mostLength}, Got: formatFloat(v)})
		}
	}
	return out
}

// slipReading is the slip of a dimension that was probably read as another.
const slipReading = "reading_doubtful"

// doubtOf is the doubtful reading that a finding is about. The names of the finding's fields may be
// those of a core or of the request.
func doubtOf(f *errs.Finding, doubtful []ReadAs) *errs.Slip {
	r := doubtful[0]
	for _, d := range doubtful {
		if slices.Contains(f.Fields, d.Field) || slices.Contains(f.Fields, "measurements."+d.Field) {
			r = d
			break
		}
	}
	return &errs.Slip{Code: slipReading, Field: "measurements." + r.Field, Corrected: formatFloat(r.ReadAs)}
}

func errorCount(findings []errs.Finding) int {
	n := 0
	for i := range findings {
		if findings[i].Severity == errs.SeverityError {
			n++
		}
	}
	return n
}

// repair finds the alternative reading of one figure of c that leaves the fewest impossibilities in
// trial, the likeliest of equals, and its share among those.
func repair(c, trial *stator.Core, left int) (field dim, value float64, rest int, share float64) {
	rest = left
	most, all := 0.0, 0.0
	for d := dGap; d < nDims; d++ {
		m := d.of(c)
		if !usable(m) {
			continue
		}
		for _, a := range alternatives(m) {
			n := errorCount(stator.Check(withReading(trial, d, a.value)))
			if n < rest {
				most, all = 0, 0
			}
			if n > rest || n == left {
				continue
			}
			all += a.share
			if n < rest || a.share > most {
				field, value, rest, most = d, a.value, n, a.share
			}
		}
	}
	if all > 0 {
		share = most / all
	}
	return field, value, rest, share
}

// hints keeps the findings of a geometry check that a person at the bench can act on, with the names of the request.
func hints(findings []errs.Finding) []errs.Finding {
	out := findings[:0:0]
	for _, f := range findings {
		fields := make([]string, len(f.Fields))
		for i, name := range f.Fields {
			fields[i] = "measurements." + name
		}
		f.Fields = fields
		out = append(out, f)
	}
	return out
}

// withReading returns a copy of c with dimension d set to v.
func withReading(c *stator.Core, d dim, v float64) stator.Core {
	out := *c
	if c.SecondRing != nil {
		ring := *c.SecondRing
		out.SecondRing = &ring
	}
	m := unit.Of(v)
	switch d {
	case dGap:
		out.GapDiameter = m
	case dBack:
		out.BackDiameter = m
	case dTooth:
		out.ToothWidth = m
	case dDepth:
		out.SlotDepth = m
	case dOpening:
		out.SlotOpening = m
	case dYoke:
		out.BackIron = m
	case dArea:
		out.SlotArea = m
	case dStack:
		out.StackLength = m
	case dTooth2:
		out.SecondRing.ToothWidth = m
	case dDepth2:
		out.SecondRing.SlotDepth = m
	case dOpening2:
		out.SecondRing.SlotOpening = m
	case dArea2:
		out.SecondRing.SlotArea = m
	}
	return out
}

// impossibleError names every figure that no stator can have.
func impossibleError(findings []errs.Finding) error {
	var fields []errs.Field
	for _, f := range findings {
		if f.Severity != errs.SeverityError {
			continue
		}
		pointer := "/measurements"
		if len(f.Fields) > 0 {
			pointer += "/" + strings.ReplaceAll(f.Fields[0], ".", "/")
		}
		e := errs.Field{Pointer: pointer, Code: strings.ToUpper(f.Code), Detail: f.Message + "; no single other reading of one figure removes this: measure again"}
		if f.Found != nil {
			e.Got = formatFloat(*f.Found)
		}
		if f.Expected != nil {
			e.Allowed = [2]float64{f.Expected.Low, f.Expected.High}
		}
		fields = append(fields, e)
	}
	return errs.New(errs.KindImpossible, fmt.Sprintf("no stator has these dimensions (%d contradictions)", len(fields)), fields...)
}
