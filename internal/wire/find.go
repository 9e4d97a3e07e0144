package wire

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Codes of the fields that Find and Resolve return. The caller adds pointer or parameter.
const (
	CodeUnknownSize   = "UNKNOWN_SIZE"
	CodeBadSize       = "BAD_SIZE"
	CodeAmbiguousSize = "AMBIGUOUS_SIZE"
	CodeUnknownSystem = "UNKNOWN_SYSTEM"
	CodeBadDiameter   = "BAD_DIAMETER"
	CodeBadStrands    = "BAD_STRANDS"
	CodeBadConductor  = "BAD_CONDUCTOR"
	CodeBadBuild      = "BAD_BUILD"
	CodeContradiction = "CONTRADICTION"
)

// Find returns the size of a system by its text, read as ParseSize does. Every error is an
// *errs.Error of KindImpossible with one Field that has neither pointer nor parameter yet: an
// unreadable text, a size that the table lacks (Allowed holds its neighbours' sizes), or a gauge of
// which neither s nor the text names the system ("36 SWG" does), which names every reading of it.
func (t *Table) Find(s System, size string) (Size, error) {
	i, err := t.locate(s, size)
	if err != nil {
		return Size{}, err
	}
	return t.sizes[i], nil
}

// locate is Find by index.
func (t *Table) locate(s System, size string) (int, error) {
	if s == "" {
		s = systemIn(size)
	}
	if s == "" {
		return 0, t.ambiguous(size)
	}
	return t.find(s, size)
}

// find is locate in a system that is told.
func (t *Table) find(s System, size string) (int, error) {
	if !slices.Contains(Systems(), s) {
		return 0, impossible(CodeUnknownSystem, fmt.Sprintf("the system %q has no sizes; name swg, awg or metric", shorten(string(s))), Systems(), string(s))
	}
	// Ids first: a local supply size may have a text that is no gauge number.
	if i, ok := t.byID[string(s)+"-"+size]; ok {
		return i, nil
	}
	text, err := ParseSize(s, size)
	if err != nil {
		return 0, impossible(CodeBadSize, err.Error(), nil, size)
	}
	if i, ok := t.byID[SizeID(s, text)]; ok {
		return i, nil
	}
	near := t.neighbours(s, text)
	return 0, impossible(CodeUnknownSize, t.unknownDetail(s, text, near), near, size)
}

// unknownDetail says what the table has instead.
func (t *Table) unknownDetail(s System, text string, near []string) string {
	name := strings.ToUpper(string(s)) + " " + text
	if s == Metric {
		name = text + " mm"
	}
	if len(near) == 0 {
		return fmt.Sprintf("there is no %s in the table, nor any other %s size", name, s)
	}
	detail := fmt.Sprintf("there is no %s in the table; the nearest are %s", name, strings.Join(near, " and "))
	if s == Metric {
		detail += "; give another diameter with system bare and diameter_mm"
	}
	return detail
}

// neighbours returns the sizes on either side of a text that the table lacks, thick before thin.
func (t *Table) neighbours(s System, text string) []string {
	want := gaugeIndex(text)
	if math.IsNaN(want) {
		return nil
	}
	sp := t.bySystem[s]
	list := t.sizes[sp.from:sp.to]
	// Gauge numbers rise, metric diameters fall from thick to thin.
	after, _ := slices.BinarySearchFunc(list, want, func(x Size, w float64) int {
		v := gaugeIndex(x.Size)
		if s == Metric {
			v, w = -v, -w
		}
		switch {
		case v < w:
			return -1
		case v > w:
			return 1
		}
		return 0
	})
	var near []string
	for _, i := range []int{after - 1, after} {
		if i >= 0 && i < len(list) {
			near = append(near, list[i].Size)
		}
	}
	if len(near) == 1 && len(list) > 1 { // beyond an end: the last two
		if after == 0 {
			return []string{list[0].Size, list[1].Size}
		}
		return []string{list[len(list)-2].Size, list[len(list)-1].Size}
	}
	return near
}

// ambiguous is the refusal of a gauge without a system. It names each reading with its diameter.
func (t *Table) ambiguous(size string) error {
	var readings []string
	for _, s := range Systems() {
		if i, err := t.find(s, size); err == nil {
			readings = append(readings, fmt.Sprintf("%s (%s)", readingName(t.sizes[i]), readingDiameter(&t.sizes[i])))
		}
	}
	if len(readings) == 0 {
		return impossible(CodeUnknownSystem, fmt.Sprintf("the size %q needs its system: swg, awg or metric", shorten(size)), Systems(), size)
	}
	detail := fmt.Sprintf("size %s without a system may be %s; name the system", shorten(size), strings.Join(readings, " or "))
	return impossible(CodeAmbiguousSize, detail, readings, size)
}

// readingDiameter words a diameter to three decimals. An American gauge is worded by its series, which
// is what most lists print (12 is 2.053 mm), and by the inch figure that it is drawn to.
func readingDiameter(s *Size) string {
	if n := gaugeIndex(s.Size); s.System == AWG && math.Abs(float64(AWGFormulaDiameter(n)/s.Diameter)-1) < 0.02 {
		return fmt.Sprintf("%.3f mm, drawn to %.4g in", AWGFormulaDiameter(n), Inches(s.Diameter))
	}
	return fmt.Sprintf("%.3f mm", s.Diameter)
}

func readingName(s Size) string {
	if s.System == Metric {
		return "metric " + s.Size
	}
	return strings.ToUpper(string(s.System)) + " " + s.Size
}

// impossible builds the one kind of error that this package returns.
func impossible(code, detail string, allowed any, got string) error {
	return errs.New(errs.KindImpossible, detail, errs.Field{Code: code, Detail: detail, Allowed: allowed, Got: shorten(got)})
}

// shorten keeps what a caller sent short and printable in a message.
func shorten(s string) string {
	const most = 40
	clean := strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\uFFFD' {
			return '?'
		}
		return r
	}, s)
	if r := []rune(clean); len(r) > most {
		return string(r[:most]) + "…"
	}
	return clean
}

// Resolved is a Wire with its figures. Lengths and areas are of one strand unless the name says otherwise.
type Resolved struct {
	Bare          unit.Millimetre       // nominal conductor diameter
	Tolerance     unit.Millimetre       // half the width of the conductor's tolerance band (or the one side that is published), 0 if not known
	Overall       unit.Millimetre       // largest diameter with enamel, 0 if not known (no build given, or none published)
	OverallMin    unit.Millimetre       // smallest diameter with enamel, 0 if not known
	OverallByRule bool                  // by the intermediate-size rule
	Area          unit.SquareMillimetre // copper or aluminium of one strand
	TotalArea     unit.SquareMillimetre // of all strands in hand
	Strands       int                   // at least 1
	Density       float64               // g/cm³
	Resistivity   float64               // Ω·mm²/m at 20 °C, 1/58 for copper (see ResistivityAnnealedCopper)
}

// Resolve looks a wire up. Strands 0 counts as 1. A build that the size does not list comes from
// the intermediate-size rule if it is an IEC grade, and stays unknown (Overall 0) if it is a NEMA
// build: the two are never mapped onto each other. Errors are as those of Find.
func (t *Table) Resolve(w Wire) (Resolved, error) {
	r := Resolved{Strands: max(w.Strands, 1), Density: Density(w.Conductor)}
	switch {
	case math.IsNaN(r.Density):
		return Resolved{}, impossible(CodeBadConductor, "the conductor must be copper or aluminium", []Conductor{Copper, Aluminium}, string(w.Conductor))
	case w.Strands < 0 || w.Strands > MaxStrands:
		return Resolved{}, impossible(CodeBadStrands, "strands in hand must be 1 to 8", [2]int{1, MaxStrands}, fmt.Sprint(w.Strands))
	case w.Build != "" && !slices.Contains(Builds(), w.Build):
		return Resolved{}, impossible(CodeBadBuild, "the build must be grade_1, grade_2, grade_3, single, heavy or triple", Builds(), string(w.Build))
	}
	r.Resistivity = Resistivity(w.Conductor, AnnealedCopper)
	cover, err := t.resolveSize(w, &r)
	if err != nil {
		return Resolved{}, err
	}
	r.Overall, r.OverallMin, r.OverallByRule = cover.OverallMax, cover.OverallMin, cover.ByRule
	r.Area = AreaOf(r.Bare)
	r.TotalArea = unit.SquareMillimetre(r.Strands) * r.Area
	return r, nil
}

// How far a stated diameter may lie from its size's nominal one before the two are two wires: half a step
// of the preferred sizes R 40 (ISO 3: 6 % from one to the next), or what rounding to hundredths and a touch of the
// thimble make of a thin wire (common practice, no source).
const clashShare, clashMillimetres = 0.03, 0.006

// Clash tells whether a wire is named twice and not alike: a size and a diameter that are not the
// same wire's, or system bare with a size. Resolve goes by the size (bare: by the diameter); who
// cannot ask back shows the clash instead. Nil if there is none or the size is not known.
func (t *Table) Clash(w Wire) error {
	if w.System == Bare && w.Size != "" {
		return impossible(CodeBadSize, fmt.Sprintf("system bare has no sizes; give diameter_mm alone, or name the system of size %s", shorten(w.Size)), nil, w.Size)
	}
	if w.System == Bare || !w.Diameter.Given {
		return nil
	}
	s, err := t.Find(w.System, w.Size)
	if err != nil {
		return nil //nolint:nilerr // Resolve says so
	}
	off := math.Abs(w.Diameter.Value - float64(s.Diameter))
	if off <= math.Max(clashShare*float64(s.Diameter), clashMillimetres) {
		return nil
	}
	name := readingName(s)
	return impossible(CodeContradiction, fmt.Sprintf("%s is %s mm, not %s mm: give the size alone, or system bare and the diameter", name, s.Text, shorten(formatted(w.Diameter.Value))), []string{s.Text}, formatted(w.Diameter.Value))
}

// resolveSole is Resolve for somebody who can be asked back: a clash is refused.
func (t *Table) resolveSole(w Wire) (Resolved, error) {
	if err := t.Clash(w); err != nil {
		return Resolved{}, err
	}
	return t.Resolve(w)
}

// CheckWires refuses a list of wires of which one is not known, or is named twice and not alike: all of
// them together, each with its place in the list at pointer base.
func (t *Table) CheckWires(list []Wire, base string) error {
	var fields []errs.Field
	for i, w := range list {
		_, err := t.resolveSole(w)
		var known *errs.Error
		if errors.As(pointed(err, fmt.Sprintf("%s/%d", base, i)), &known) {
			fields = append(fields, known.Fields...)
		}
	}
	if fields == nil {
		return nil
	}
	return errs.New(errs.KindImpossible, "", fields...)
}

func formatted(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// resolveSize fills bare diameter and tolerance and returns the cover, zero if it is not known.
func (t *Table) resolveSize(w Wire, r *Resolved) (Cover, error) {
	if w.System == Bare {
		d := unit.Millimetre(w.Diameter.Value)
		if !w.Diameter.Given || !inRange(d) {
			detail := fmt.Sprintf("system bare needs diameter_mm from %v to %v", MinDiameter, MaxDiameter)
			return Cover{}, impossible(CodeBadDiameter, detail, [2]float64{float64(MinDiameter), float64(MaxDiameter)}, w.Diameter.Text)
		}
		r.Bare = d
		r.Tolerance, _ = t.ToleranceFor(d)
		c, _, _ := t.ruleCover(d, w.Build)
		return c, nil
	}
	i, err := t.locate(w.System, w.Size)
	if err != nil {
		return Cover{}, err
	}
	s := &t.sizes[i]
	r.Bare, r.Tolerance = s.Diameter, s.tolerance()
	if c, ok := s.Cover(w.Build); ok {
		return c, nil
	}
	c, _, _ := t.ruleCover(s.Diameter, w.Build)
	return c, nil
}

// tolerance returns half the width of the tolerance band, or the one side that is known; 0 if neither is.
func (s *Size) tolerance() unit.Millimetre {
	switch {
	case s.DiameterMin == 0 && s.DiameterMax == 0:
		return 0
	case s.DiameterMin == 0:
		return s.DiameterMax - s.Diameter
	case s.DiameterMax == 0:
		return s.Diameter - s.DiameterMin
	}
	return (s.DiameterMax - s.DiameterMin) / 2
}
