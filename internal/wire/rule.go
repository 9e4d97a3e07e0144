package wire

import (
	"math"
	"slices"
	"sort"

	"statorbook/internal/unit"
)

// r40 holds the rounded values of the R40 series from 1 to 10 (ISO 3, as IEC 60317-0-1 uses them).
// Every second one, from the first, is R20.
var r40 = [...]float64{
	1.00, 1.06, 1.12, 1.18, 1.25, 1.32, 1.40, 1.50, 1.60, 1.70, 1.80, 1.90, 2.00, 2.12, 2.24, 2.36, 2.50, 2.65, 2.80, 3.00,
	3.15, 3.35, 3.55, 3.75, 4.00, 4.25, 4.50, 4.75, 5.00, 5.30, 5.60, 6.00, 6.30, 6.70, 7.10, 7.50, 8.00, 8.50, 9.00, 9.50,
}

// Builds lists the builds: IEC grades, then NEMA builds, thin to thick.
func Builds() []Build { return []Build{Grade1, Grade2, Grade3, Single, Heavy, Triple} }

// IsGrade tells whether b is an enamel grade of IEC 60317-0-1.
func (b Build) IsGrade() bool { return b == Grade1 || b == Grade2 || b == Grade3 }

// round3 rounds to the third decimal, half away from zero: 0.13208 is 0.132.
func round3(d unit.Millimetre) unit.Millimetre {
	// A tiny push keeps decimal halves, such as 0.0335, from falling to the wrong side in binary.
	return unit.Millimetre(math.Floor(float64(d)*1000+0.5+1e-9) / 1000)
}

// IsPreferred tells whether d is a preferred size of IEC 60317-0-1: a value of R20 or R40 from 0.018
// to 5.000 mm, rounded to the third decimal.
func IsPreferred(d unit.Millimetre) bool {
	if d < 0.018-1e-9 || d > 5+1e-9 {
		return false
	}
	for _, decade := range [...]float64{0.01, 0.1, 1} {
		for _, m := range r40 {
			if math.Abs(float64(round3(unit.Millimetre(m*decade))-d)) < 1e-9 {
				return true
			}
		}
	}
	return false
}

// step returns the preferred size that rules a diameter: the diameter is rounded to the third
// decimal, and the next preferred size that is not smaller counts (IEC 60317-0-1, intermediate
// sizes; from 0.212 mm on, R40 rows are themselves such sizes). False below 0.018 mm or above 5.000 mm, or when the table has no metric sizes.
func (t *Table) step(d unit.Millimetre) (rounded unit.Millimetre, s *Size, ok bool) {
	rounded = round3(d)
	if len(t.preferred) == 0 || rounded < t.preferred[0].diameter {
		return rounded, nil, false
	}
	i := sort.Search(len(t.preferred), func(i int) bool { return t.preferred[i].diameter >= rounded-1e-9 })
	if i == len(t.preferred) {
		return rounded, nil, false
	}
	return rounded, &t.sizes[t.preferred[i].index], true
}

// ToleranceFor returns the conductor tolerance (plus or minus, mm) of any bare diameter by the
// intermediate-size rule. False where the standard gives none: below 0.065 mm it limits the
// resistance instead, and above 5 mm it ends.
func (t *Table) ToleranceFor(d unit.Millimetre) (unit.Millimetre, bool) {
	_, s, ok := t.step(d)
	if !ok || s.tolerance() == 0 {
		return 0, false
	}
	return round3(s.tolerance()), true
}

// CoverFor returns the cover of an IEC grade on any bare diameter by the intermediate-size rule of
// IEC 60317-0-1: minimum increase as of the next larger preferred size, maximum overall diameter =
// diameter (rounded to the third decimal) + what the preferred size adds to its own. OverallMin is
// nominal conductor + minimum increase, as supplier tables print it (0.100 mm grade 1: 0.108 mm,
// seen); a conductor at its lower limit may come out thinner. Figures that the preferred size lacks stay 0.
// ByRule is set always. False for a NEMA build, and beyond the table.
func (t *Table) CoverFor(d unit.Millimetre, b Build) (Cover, bool) {
	c, s, ok := t.ruleCover(d, b)
	if !ok {
		return Cover{}, false
	}
	if c.OverallMax == 0 {
		c.Evidence = "missing: the preferred size " + s.Size + " mm that rules this one has no published figure for this grade"
	} else {
		c.Evidence = "derived: intermediate-size rule of IEC 60317-0-1 from the preferred size " + s.Size + " mm"
	}
	return c, true
}

// ruleCover is CoverFor without the words.
func (t *Table) ruleCover(d unit.Millimetre, b Build) (Cover, *Size, bool) {
	if !b.IsGrade() {
		return Cover{}, nil, false
	}
	rounded, s, ok := t.step(d)
	if !ok {
		return Cover{}, nil, false
	}
	from, ok := s.Cover(b)
	if !ok {
		return Cover{}, nil, false
	}
	c := Cover{Build: b, IncreaseMin: from.IncreaseMin, ByRule: true}
	if from.OverallMax > 0 {
		c.OverallMax = round3(rounded + from.OverallMax - s.Diameter)
	}
	if from.IncreaseMin > 0 {
		c.OverallMin = round3(rounded + from.IncreaseMin)
	}
	return c, s, true
}

// RuleSize returns the size text of the preferred size whose tolerance and increase rule d, "" beyond the table.
func (t *Table) RuleSize(d unit.Millimetre) string {
	_, s, ok := t.step(d)
	if !ok {
		return ""
	}
	return s.Size
}

// Covers returns the three IEC grades of any bare diameter by the rule, without those that the rule cannot give.
func (t *Table) Covers(d unit.Millimetre) []Cover {
	var all []Cover
	for _, b := range []Build{Grade1, Grade2, Grade3} {
		if c, ok := t.CoverFor(d, b); ok {
			all = append(all, c)
		}
	}
	return slices.Clip(all)
}
