package httpapi

import (
	"encoding/json"
	"math"
	"strconv"

	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// wireView is a wire size as GET shows it: the published row with the figures that follow from it.
// A figure that no source gives is left out; evidence says why.
type wireView struct {
	ID         string         `json:"id"`
	System     wire.System    `json:"system"`
	Size       string         `json:"size"`
	Conductor  conductorView  `json:"conductor"`
	Covered    []coverView    `json:"covered"`
	Resistance resistanceView `json:"resistance"`
	Mass       float64        `json:"mass_g_per_m"`
	Material   wire.Conductor `json:"material"`
	InchPound  *inchPoundView `json:"inch_pound,omitempty"`
	Enamels    []enamelView   `json:"enamels,omitempty"`
	Sources    []sourceView   `json:"sources"`
	ETag       string         `json:"etag"`
}

type conductorView struct {
	Diameter    json.Number `json:"diameter_mm"`
	DiameterMin float64     `json:"diameter_min_mm,omitempty"`
	DiameterMax float64     `json:"diameter_max_mm,omitempty"`
	Area        float64     `json:"area_mm2"`
	ByRule      bool        `json:"by_rule"`
	Evidence    string      `json:"evidence,omitempty"`
}

type coverView struct {
	Build       wire.Build `json:"build"`
	IncreaseMin float64    `json:"increase_min_mm,omitempty"`
	OverallMin  float64    `json:"overall_min_mm,omitempty"`
	OverallMax  float64    `json:"overall_max_mm,omitempty"`
	ByRule      bool       `json:"by_rule"`
	Evidence    string     `json:"evidence"`
}

type resistanceView struct {
	Convention wire.Convention `json:"convention"`
	Printed    bool            `json:"printed"` // a figure of a printed table, not reckoned from the diameters
	At20       ohmsView        `json:"ohm_per_km_20c"`
	At         *ohmsAtView     `json:"at,omitempty"`
}

type ohmsView struct {
	Min     float64 `json:"min,omitempty"`
	Nominal float64 `json:"nominal"`
	Max     float64 `json:"max,omitempty"`
}

type ohmsAtView struct {
	Temperature float64 `json:"temperature_c"`
	ohmsView
}

type inchPoundView struct {
	Diameter   float64 `json:"diameter_in"`
	Area       float64 `json:"area_cmil"`
	Resistance float64 `json:"ohm_per_1000ft"`
	Mass       float64 `json:"lb_per_1000ft"`
}

type enamelView struct {
	Name         string `json:"name"`
	ThermalClass string `json:"thermal_class"`
	Source       string `json:"source"`
}

type sourceView struct {
	Title    string `json:"title"`
	Edition  string `json:"edition,omitempty"`
	Place    string `json:"place,omitempty"`
	Evidence string `json:"evidence"`
}

// wireOptions is what a caller may ask of a wire beside its row.
type wireOptions struct {
	build       wire.Build     // only this build's cover, "" = all
	material    wire.Conductor // copper or aluminium
	temperature *unit.Celsius
	inchPound   bool
}

// plainWire asks for what most callers ask for, which is held encoded.
var plainWire = wireOptions{material: wire.Copper}

func (o wireOptions) plain() bool {
	return o.build == "" && o.material == wire.Copper && o.temperature == nil && !o.inchPound
}

// viewWire builds the view of a size, without its tag.
func viewWire(s wire.Size, o wireOptions) wireView {
	ohms := s.Ohms(o.material, wire.ReferenceTemperature)
	v := wireView{
		ID: s.ID, System: s.System, Size: s.Size, Material: o.material, Mass: sixDigits(s.Mass(o.material)),
		Conductor: conductorView{
			Diameter: json.Number(s.Text), DiameterMin: float64(s.DiameterMin), DiameterMax: float64(s.DiameterMax),
			Area: sixDigits(s.Area()), ByRule: s.ByRule, Evidence: s.Evidence,
		},
		Covered:    []coverView{},
		Resistance: resistanceView{Convention: ohms.Convention, Printed: ohms.Printed, At20: viewOhms(ohms)},
		Sources:    []sourceView{},
	}
	for _, c := range s.Covers {
		if o.build == "" || c.Build == o.build {
			v.Covered = append(v.Covered, coverView{
				c.Build, float64(c.IncreaseMin), float64(c.OverallMin), float64(c.OverallMax), c.ByRule, c.Evidence,
			})
		}
	}
	for _, e := range s.Enamels {
		v.Enamels = append(v.Enamels, enamelView(e))
	}
	for _, from := range s.Sources {
		v.Sources = append(v.Sources, sourceView(from))
	}
	if o.temperature != nil {
		v.Resistance.At = &ohmsAtView{float64(*o.temperature), viewOhms(s.Ohms(o.material, *o.temperature))}
	}
	if o.inchPound {
		v.InchPound = &inchPoundView{
			sixDigits(wire.Inches(s.Diameter)), sixDigits(wire.CircularMils(s.Area())),
			sixDigits(wire.OhmsPerThousandFeet(ohms.Nominal)), sixDigits(wire.PoundsPerThousandFeet(s.Mass(o.material))),
		}
	}
	return v
}

func viewOhms(o wire.Ohms) ohmsView {
	return ohmsView{sixDigits(o.Min), sixDigits(o.Nominal), sixDigits(o.Max)}
}

// sixDigits rounds a computed figure to six significant digits: more than any input here bears,
// and the same on every processor.
func sixDigits[F ~float64](v F) float64 {
	if v == 0 || math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
		return float64(v)
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(float64(v), 'e', 5, 64), 64)
	if err != nil {
		return float64(v)
	}
	return rounded
}
