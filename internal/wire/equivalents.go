package wire

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
)

// Bounds of an equivalents search.
const (
	// DefaultAreaLow and DefaultAreaHigh bound the area error in per cent when no band is asked for:
	// less than half or more than double the area is no equivalent. Common practice, no source.
	DefaultAreaLow, DefaultAreaHigh = -50.0, 100.0
	// DefaultEquivalents and MaxEquivalents bound the number of answers.
	DefaultEquivalents, MaxEquivalents = 10, 200
	// DefaultMaxStrands is the most strands in hand when none is asked for.
	DefaultMaxStrands = 4
	// MaxStock is the longest stock list that is searched.
	MaxStock = 500
)

// Limits of an equivalents search; zero values set no limit.
type Limits struct {
	AreaErrorLow, AreaErrorHigh *float64        // %, of the area with the same resistance
	MaxOverall                  unit.Millimetre // what passes the slot opening, one wire at a time
	MaxBare                     unit.Millimetre // thickest single wire that is wound by hand
	MinThermalClass             string          // letter or number
}

// EquivalentOptions says what may replace a wire.
type EquivalentOptions struct {
	Systems    []System  // none: all
	Builds     []Build   // none: the old wire's own build where a system lists it, else each build that it lists
	Conductor  Conductor // "" keeps the metal
	MaxStrands int       // 1-8; 0 is DefaultMaxStrands
	Mixed      bool      // two unlike gauges in hand are allowed
	Stock      []Wire    // searched instead of the tables when StockGiven
	StockGiven bool      // an empty stock then has an empty answer
	Limits     Limits
	Limit      int // answers wanted, 1-200; 0 is DefaultEquivalents
	// ClassTemperature turns a thermal class into its temperature (see insulation.Temperature). Without
	// it only classes written as numbers are understood.
	ClassTemperature func(class string) (unit.Celsius, bool)
}

// Reasons in EquivalentResult.Excluded. The gauge ones count single gauges (a size in one build, or a
// stock wire), the combination one counts single-gauge combinations with 1 to MaxStrands strands.
const (
	ExcludedStockEmpty     = "stock_empty"                           // table gauges left alone because the stock list is empty
	ExcludedSystem         = "gauge_of_another_system"               // stock wires
	ExcludedConductor      = "gauge_of_another_conductor"            // stock wires
	ExcludedBuild          = "gauge_without_the_build"               // sizes that are not made in any build asked for
	ExcludedBare           = "gauge_bare_above_max_bare_mm"          //
	ExcludedOverallUnknown = "gauge_overall_unknown"                 // max_overall_mm cannot be proved
	ExcludedOverall        = "gauge_overall_above_max_overall_mm"    //
	ExcludedClassUnknown   = "gauge_thermal_class_unknown"           // min_thermal_class cannot be proved
	ExcludedClass          = "gauge_below_min_thermal_class"         //
	ExcludedArea           = "combination_outside_area_error_pct"    //
	ExcludedBandEmpty      = "gauges_under_an_empty_area_error_band" // low above high
)

// Ratio pairs the two definitions of enamelled slot area: Σ Do² and Σ πDo²/4 over the strands.
type Ratio struct{ Square, Circle float64 }

// Equivalent is one wire, or two unlike gauges in hand, in place of the old wire. Every ratio is new
// over old, all strands counted.
type Equivalent struct {
	Wires               []Wire
	AreaErrorPct        float64           // conductor area against the area of equal resistance (same metal: equal area)
	DiameterRatio       float64           // of the solid wires with the same total area
	Overall             []unit.Millimetre // largest overall diameter of each wire, 0 if not known
	ResistanceRatio     float64           // per metre of conductor
	CurrentDensityRatio float64           // at the same current
	SlotArea            *Ratio            // enamel included; nil if an overall diameter is not known
	MassRatio           float64           // bare conductor, per metre
	ThermalClassChange  *float64          // K, nil if a class is not known
	Findings            []errs.Finding
	RankReason          string
}

// EquivalentResult is the answer of Equivalents, best first.
type EquivalentResult struct {
	From       Wire
	TargetArea unit.SquareMillimetre // area with the old wire's resistance
	Items      []Equivalent
	Excluded   map[string]int
}

// Equivalents says what may replace a wire: all strands of one gauge, or (Mixed) of two gauges of unlike
// diameter, up to MaxStrands together. Two gauges share a build unless one is an IEC grade and the
// other a NEMA build, or they come from a stock.
//
// The search is exact: no combination that ranks before a listed one is left out. The rank, in this
// order: combinations without a warning of the kinds area_low, does_not_fit, fit_unknown (when the old
// wire's overall diameter is known), class_lower, enamel_thinner and gauges_far_apart first; then the area error without its sign, in steps of 0.1 % (a twentieth of what
// the conductor's tolerance moves); one gauge before two; fewer strands; less slot area with enamel
// (unknown last; in millionths); the area error in millionths of a per cent; the order swg, awg, metric, thick to thin, thin builds first.
//
// Errors are *errs.Error of KindImpossible; their fields carry JSON pointers such as /from/size or
// /stock/3/build. An empty stock and limits that nothing meets are no errors: Excluded says why.
func (t *Table) Equivalents(from Wire, o EquivalentOptions) (EquivalentResult, error) {
	q, err := t.newQuery(from, o)
	if err != nil {
		return EquivalentResult{}, err
	}
	res := EquivalentResult{From: from, TargetArea: unit.SquareMillimetre(q.target), Excluded: q.excluded}
	best := q.search()
	res.Items = make([]Equivalent, 0, len(best))
	for i := range best {
		res.Items = append(res.Items, q.describe(&best[i], i))
	}
	return res, nil
}

// query is one search with everything resolved.
type query struct {
	table     *Table
	from      Wire
	old       Resolved
	o         EquivalentOptions
	metal     Conductor
	target    float64 // mm², the area with the old resistance
	low, high float64 // band of the area error, %
	fromClass float64 // °C, 0 if not known
	minClass  float64 // °C, 0 if no limit
	oldSquare float64 // Σ Do² of the old wire, 0 if not known
	hands     []hand  // thin to thick
	excluded  map[string]int
	leastTier int // no combination can have a lower tier
}

func (t *Table) newQuery(from Wire, o EquivalentOptions) (*query, error) {
	old, err := t.resolveSole(from)
	if err != nil {
		return nil, pointed(err, "/from")
	}
	o.MaxStrands = cmp.Or(o.MaxStrands, DefaultMaxStrands)
	o.Limit = cmp.Or(o.Limit, DefaultEquivalents)
	q := &query{table: t, from: from, old: old, o: o, metal: cmp.Or(o.Conductor, from.Conductor), excluded: map[string]int{}}
	if err := q.check(); err != nil {
		return nil, err
	}
	q.target = float64(old.TotalArea) * Resistivity(q.metal, AnnealedCopper) / old.Resistivity
	q.oldSquare = float64(old.Strands) * float64(old.Overall) * float64(old.Overall)
	q.low, q.high = DefaultAreaLow, DefaultAreaHigh
	if l := o.Limits.AreaErrorLow; l != nil {
		q.low = *l
	}
	if h := o.Limits.AreaErrorHigh; h != nil {
		q.high = *h
	}
	if err := q.collect(); err != nil {
		return nil, err
	}
	return q, nil
}

// check refuses options that make no sense, all of them together.
func (q *query) check() error {
	var bad []errs.Field
	add := func(pointer, code, detail string, allowed any, got string) {
		bad = append(bad, errs.Field{Pointer: pointer, Code: code, Detail: detail, Allowed: allowed, Got: shorten(got)})
	}
	o := &q.o
	if math.IsNaN(Density(q.metal)) {
		add("/to/conductor", CodeBadConductor, "the conductor must be copper or aluminium", []Conductor{Copper, Aluminium}, string(q.metal))
	}
	if o.MaxStrands < 1 || o.MaxStrands > MaxStrands {
		add("/to/max_strands", CodeBadStrands, "max_strands must be 1 to 8", [2]int{1, MaxStrands}, fmt.Sprint(o.MaxStrands))
	}
	if o.Limit < 1 || o.Limit > MaxEquivalents {
		add("/limit", "OUT_OF_RANGE", "limit must be 1 to 200", [2]int{1, MaxEquivalents}, fmt.Sprint(o.Limit))
	}
	band := func(name string, v *float64) {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			add("/limits/area_error_pct/"+name, "OUT_OF_RANGE", name+" must be a finite number of per cent", nil, fmt.Sprint(*v))
		}
	}
	band("low", o.Limits.AreaErrorLow)
	band("high", o.Limits.AreaErrorHigh)
	if len(o.Stock) > MaxStock {
		add("/stock", "TOO_MANY", fmt.Sprintf("a stock list has at most %d wires", MaxStock), [2]int{0, MaxStock}, fmt.Sprint(len(o.Stock)))
	}
	for i, s := range o.Systems {
		if !slices.Contains(Systems(), s) {
			add(fmt.Sprintf("/to/systems/%d", i), CodeUnknownSystem, "a target system must be swg, awg or metric", Systems(), string(s))
		}
	}
	for i, b := range o.Builds {
		if !slices.Contains(Builds(), b) {
			add(fmt.Sprintf("/to/builds/%d", i), CodeBadBuild, "the build must be grade_1, grade_2, grade_3, single, heavy or triple", Builds(), string(b))
		}
	}
	length := func(name string, v unit.Millimetre) {
		if !(v >= 0) {
			add("/limits/"+name, "OUT_OF_RANGE", name+" must be above zero", nil, fmt.Sprint(v))
		}
	}
	length("max_overall_mm", o.Limits.MaxOverall)
	length("max_bare_mm", o.Limits.MaxBare)
	q.checkClass(&q.fromClass, q.from.ThermalClass, "/from/thermal_class", add)
	q.checkClass(&q.minClass, o.Limits.MinThermalClass, "/limits/min_thermal_class", add)
	if bad == nil {
		return nil
	}
	slices.SortFunc(bad, func(a, b errs.Field) int { return strings.Compare(a.Pointer, b.Pointer) })
	return errs.New(errs.KindImpossible, bad[0].Detail, bad...)
}

// checkClass reads a thermal class; "" stays 0.
func (q *query) checkClass(into *float64, class, pointer string, add func(pointer, code, detail string, allowed any, got string)) {
	if class == "" {
		return
	}
	temp, ok := q.classTemp(class)
	if !ok {
		add(pointer, "UNKNOWN_CLASS", "the thermal class must be a letter such as F or a temperature such as 155", nil, class)
		return
	}
	*into = temp
}

// classTemp reads a thermal class by the caller's table, or as a number of degrees.
func (q *query) classTemp(class string) (float64, bool) {
	if q.o.ClassTemperature != nil {
		if c, ok := q.o.ClassTemperature(class); ok {
			return float64(c), true
		}
	}
	v := gaugeIndex(strings.TrimSpace(strings.TrimSuffix(strings.ToUpper(strings.TrimSpace(class)), "L")))
	return v, v >= 90 && v <= 275
}

// fieldOf names the field of a Wire that an error code speaks of.
var fieldOf = map[string]string{
	CodeBadConductor: "conductor", CodeBadStrands: "strands", CodeBadBuild: "build", CodeUnknownSystem: "system",
	CodeBadDiameter: "diameter_mm", CodeAmbiguousSize: "system", CodeBadSize: "size", CodeUnknownSize: "size",
	CodeContradiction: "diameter_mm",
}

// pointed puts JSON pointers on the fields of an error of Find or Resolve.
func pointed(err error, base string) error {
	e, ok := err.(*errs.Error)
	if !ok {
		return err
	}
	fields := slices.Clone(e.Fields)
	for i := range fields {
		fields[i].Pointer = base + "/" + fieldOf[fields[i].Code]
	}
	return errs.New(e.Kind, e.Detail, fields...)
}
