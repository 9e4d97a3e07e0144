// Package wire knows round winding wire: the gauge systems, conductor tolerances, enamel
// increases, resistance, mass, what may replace a wire and what wire a scrap may be. Published
// tables come in as values (Table); only formulas live here.
package wire

import "statorbook/internal/unit"

// System is a series of wire sizes.
type System string

// The systems. Bare means a free bare diameter that belongs to no series.
const (
	SWG    System = "swg"    // Imperial Standard Wire Gauge
	AWG    System = "awg"    // American Wire Gauge, ASTM B258
	Metric System = "metric" // preferred sizes of IEC 60317-0-1 (R20 and R40)
	Bare   System = "bare"
)

// Conductor is the metal of a wire.
type Conductor string

// The conductors.
const (
	Copper    Conductor = "copper"
	Aluminium Conductor = "aluminium"
)

// Build is an enamel thickness class. IEC grades and NEMA builds are never mapped onto each other.
type Build string

// The builds: IEC 60317-0-1 grades, then NEMA MW 1000 builds.
const (
	Grade1 Build = "grade_1"
	Grade2 Build = "grade_2"
	Grade3 Build = "grade_3"
	Single Build = "single"
	Heavy  Build = "heavy"
	Triple Build = "triple"
)

// Wire is a wire as somebody names it, with its strands in hand. Either System and Size, or System
// Bare and Diameter.
type Wire struct {
	System       System
	Size         string        // as in the series: "34", "4/0", "0.500"
	Diameter     unit.Measured // bare diameter in mm, for System Bare
	Conductor    Conductor
	Build        Build  // "" if not known
	ThermalClass string // letter or number, "" if not known
	Strands      int    // strands in hand, 1-8
}

// Cover is one enamel build of a size. Lengths in mm on the diameter; 0 means that no source gives the
// figure. OverallMin of an IEC grade is nominal conductor + minimum increase, as supplier tables print
// it; of a NEMA build smallest conductor + minimum increase, as its tables print it.
type Cover struct {
	Build                               Build
	IncreaseMin, OverallMin, OverallMax unit.Millimetre
	ByRule                              bool   // by the intermediate-size rule of IEC 60317-0-1, not a printed row
	Evidence                            string // how the figures are known
}

// Source names where figures come from. Evidence is "seen ...", "from memory" or "derived ...".
type Source struct {
	Title, Edition, Place, Evidence string
}

// Enamel is an enamel system that is made for a size, with the thermal class of its standard. A
// class asks for a temperature index of at least that number; it is not by itself the recommended
// working temperature (scope texts of the IEC 60317 parts).
type Enamel struct {
	Name         string // standard and resin: "IEC 60317-8 polyesterimide"
	ThermalClass string // "155", "130 L"
	Source       string // standard, and how it is known
}

// Size is one row of a published series. Lengths in mm; 0 means that no source gives the figure.
type Size struct {
	ID                                 string // swg-34, awg-4-0, metric-0.500
	System                             System
	Size                               string
	Text                               string // the nominal diameter as decimal digits in mm
	Diameter, DiameterMin, DiameterMax unit.Millimetre
	ByRule                             bool   // DiameterMin and Max by the intermediate-size rule
	Evidence                           string // how DiameterMin and Max are known, or why they are missing
	// Resistance of copper at 20 degrees Celsius as a table prints it; 0 where it follows from the
	// diameters by the size's Convention (see Ohms).
	PrintedMin, PrintedNominal, PrintedMax unit.OhmPerKilometre
	Convention                             Convention // "" = ConventionOf(System)
	Covers                                 []Cover
	Enamels                                []Enamel
	Sources                                []Source
}
