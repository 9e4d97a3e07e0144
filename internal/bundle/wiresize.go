package bundle

import (
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// WireSize is the answer of a wire look-up, and the body of a bundle line of kind wire. A figure
// that no source gives is absent, and the evidence beside it says why.
type WireSize struct {
	ID         string         `json:"id,omitempty" in:"runes=64"`
	System     string         `json:"system,omitempty" in:"enum=swg|awg|metric"`
	Size       string         `json:"size,omitempty" in:"runes=20"`
	Conductor  SizeConductor  `json:"conductor,omitzero"`
	Covered    []Cover        `json:"covered" in:"maxitems=10"`
	Resistance SizeResistance `json:"resistance,omitzero"`
	Mass       float64        `json:"mass_g_per_m,omitzero" in:"min=0,max=100000"`
	Material   string         `json:"material,omitempty" in:"enum=copper|aluminium"`
	Enamels    []Enamel       `json:"enamels,omitempty" in:"maxitems=60"`
	Sources    []Source       `json:"sources" in:"maxitems=60"`
	ETag       string         `json:"etag,omitempty" hash:"-"`
}

// SizeConductor is the bare conductor of a size. The nominal diameter keeps the digits of its source.
type SizeConductor struct {
	Diameter    M       `json:"diameter_mm,omitzero" in:"min=0.001,max=100"`
	DiameterMin float64 `json:"diameter_min_mm,omitzero" in:"min=0.001,max=100"`
	DiameterMax float64 `json:"diameter_max_mm,omitzero" in:"min=0.001,max=100"`
	Area        float64 `json:"area_mm2,omitzero" in:"min=0,max=10000"`
	ByRule      bool    `json:"by_rule"`
	Evidence    string  `json:"evidence,omitempty" in:"runes=500"`
}

// Cover is one enamel build of a size.
type Cover struct {
	Build       string  `json:"build" in:"required,enum=grade_1|grade_2|grade_3|single|heavy|triple"`
	IncreaseMin float64 `json:"increase_min_mm,omitzero" in:"min=0,max=10"`
	OverallMin  float64 `json:"overall_min_mm,omitzero" in:"min=0.001,max=100"`
	OverallMax  float64 `json:"overall_max_mm,omitzero" in:"min=0.001,max=100"`
	ByRule      bool    `json:"by_rule"`
	Evidence    string  `json:"evidence,omitempty" in:"runes=500"`
}

// SizeResistance is the resistance per kilometre of a size, with the convention that it rests on.
type SizeResistance struct {
	Convention string        `json:"convention,omitempty" in:"runes=60"`
	Printed    bool          `json:"printed"` // a figure is the table's own, not computed from the diameters
	Ohms       OhmLimits     `json:"ohm_per_km_20c"`
	At         *ResistanceAt `json:"at,omitempty" hash:"-"`
}

// OhmLimits holds minimum, nominal and maximum.
type OhmLimits struct {
	Min     float64 `json:"min,omitzero" in:"min=0,max=100000000"`
	Nominal float64 `json:"nominal,omitzero" in:"min=0,max=100000000"`
	Max     float64 `json:"max,omitzero" in:"min=0,max=100000000"`
}

// ResistanceAt is the nominal resistance per kilometre at a temperature that was asked for.
type ResistanceAt struct {
	Temperature float64 `json:"temperature_c"`
	Nominal     float64 `json:"nominal"`
}

// Enamel is the JSON shape of wire.Enamel.
type Enamel struct {
	Name         string `json:"name" in:"runes=200"`
	ThermalClass string `json:"thermal_class" in:"runes=20"`
	Source       string `json:"source" in:"runes=500"`
}

// Source is the JSON shape of wire.Source.
type Source struct {
	Title    string `json:"title" in:"runes=300"`
	Edition  string `json:"edition,omitempty"`
	Place    string `json:"place,omitempty" in:"runes=300"`
	Evidence string `json:"evidence,omitempty" in:"runes=500"`
}

// WireSizeOf gives the look-up of a size in a metal. Computed figures are rounded to six digits. at
// asks for the resistance at one more temperature; nil leaves it out.
func WireSizeOf(s wire.Size, metal wire.Conductor, at *unit.Celsius) WireSize {
	ohms := s.Ohms(metal, wire.ReferenceTemperature)
	out := WireSize{
		ID: s.ID, System: string(s.System), Size: s.Size, Material: string(metal), Mass: sixDigits(float64(s.Mass(metal))),
		Conductor: SizeConductor{
			Diameter:    M{unit.Measured{Given: true, Value: float64(s.Diameter), Text: s.Text}},
			DiameterMin: float64(s.DiameterMin), DiameterMax: float64(s.DiameterMax), Area: sixDigits(float64(s.Area())),
			ByRule: s.ByRule, Evidence: s.Evidence + borrowed(metal, s.DiameterMax+s.DiameterMin),
		},
		Covered: filled(convert(s.Covers, func(c wire.Cover) Cover {
			return Cover{string(c.Build), float64(c.IncreaseMin), float64(c.OverallMin), float64(c.OverallMax), c.ByRule, c.Evidence + borrowed(metal, c.OverallMax+c.IncreaseMin)}
		})),
		Resistance: SizeResistance{
			Convention: string(ohms.Convention), Printed: ohms.Printed,
			Ohms: OhmLimits{sixDigits(float64(ohms.Min)), sixDigits(float64(ohms.Nominal)), sixDigits(float64(ohms.Max))},
		},
		Enamels: convert(s.EnamelsFor(metal), func(e wire.Enamel) Enamel { return Enamel(e) }),
		Sources: filled(convert(s.Sources, func(src wire.Source) Source { return Source(src) })),
	}
	if at != nil {
		out.Resistance.At = &ResistanceAt{float64(*at), sixDigits(float64(s.Ohms(metal, *at).Nominal))}
	}
	return out
}

// borrowed says of figures shown for aluminium that they come from a table of copper wire.
func borrowed(metal wire.Conductor, figure unit.Millimetre) string {
	if metal != wire.Aluminium || figure == 0 {
		return ""
	}
	return "; the table is for copper wire, taken for aluminium"
}

// ToDomain gives the published row. Area, mass and computed resistances follow from it and are not
// taken over; resistances that differ from the computed ones are figures that the table prints.
func (w WireSize) ToDomain() wire.Size {
	s := wire.Size{
		ID: w.ID, System: wire.System(w.System), Size: w.Size, Text: w.Conductor.Diameter.Digits(),
		Diameter: unit.Millimetre(w.Conductor.Diameter.Value), DiameterMin: unit.Millimetre(w.Conductor.DiameterMin),
		DiameterMax: unit.Millimetre(w.Conductor.DiameterMax), ByRule: w.Conductor.ByRule, Evidence: w.Conductor.Evidence,
		Covers: convert(w.Covered, func(c Cover) wire.Cover {
			return wire.Cover{
				Build: wire.Build(c.Build), IncreaseMin: unit.Millimetre(c.IncreaseMin), OverallMin: unit.Millimetre(c.OverallMin),
				OverallMax: unit.Millimetre(c.OverallMax), ByRule: c.ByRule, Evidence: c.Evidence,
			}
		}),
		Enamels: convert(w.Enamels, func(e Enamel) wire.Enamel { return wire.Enamel(e) }),
		Sources: convert(w.Sources, func(src Source) wire.Source { return wire.Source(src) }),
	}
	if by := wire.Convention(w.Resistance.Convention); by != wire.ConventionOf(s.System) {
		s.Convention = by
	}
	if w.Material == string(wire.Copper) {
		computed := s.Ohms(wire.Copper, wire.ReferenceTemperature)
		s.PrintedMin = printed(w.Resistance.Ohms.Min, computed.Min)
		s.PrintedNominal = printed(w.Resistance.Ohms.Nominal, computed.Nominal)
		s.PrintedMax = printed(w.Resistance.Ohms.Max, computed.Max)
	}
	return s
}

// printed returns given if it is not the computed figure rounded to six digits, else 0.
func printed(given float64, computed unit.OhmPerKilometre) unit.OhmPerKilometre {
	if given == 0 || given == sixDigits(float64(computed)) || math.Abs(given-float64(computed)) <= 2e-6*given {
		return 0
	}
	return unit.OhmPerKilometre(given)
}

// sixDigits rounds a computed figure to six significant digits, so that no answer depends on the
// last bit of a processor.
func sixDigits(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return v
	}
	scale := math.Pow(10, 6-math.Ceil(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}
