package httpapi

import (
	"math"
	"slices"
	"strconv"

	"statorbook/internal/bundle"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// wireView is a wire size as GET shows it.
type wireView struct {
	bundle.WireSize
	InchPound *inchPoundView `json:"inch_pound,omitempty"`
}

type inchPoundView struct {
	Diameter   float64 `json:"diameter_in"`
	Area       float64 `json:"area_cmil"`
	Resistance float64 `json:"ohm_per_1000ft"`
	Mass       float64 `json:"lb_per_1000ft"`
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
	v := wireView{WireSize: bundle.WireSizeOf(s, o.material, o.temperature)}
	if o.build != "" {
		v.Covered = slices.DeleteFunc(v.Covered, func(c bundle.Cover) bool { return c.Build != string(o.build) })
	}
	if o.inchPound {
		ohms := s.Ohms(o.material, wire.ReferenceTemperature)
		v.InchPound = &inchPoundView{
			sixDigits(wire.Inches(s.Diameter)), sixDigits(wire.CircularMils(s.Area())),
			sixDigits(wire.OhmsPerThousandFeet(ohms.Nominal)), sixDigits(wire.PoundsPerThousandFeet(s.Mass(o.material))),
		}
	}
	return v
}

// sixDigits rounds a computed figure to six significant digits: more than any input here bears,
// and the same on every processor.
func sixDigits[F ~float64](v F) float64 {
	if v == 0 || math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
		return float64(v)
	}
	var digits [24]byte
	rounded, err := strconv.ParseFloat(string(strconv.AppendFloat(digits[:0], float64(v), 'e', 5, 64)), 64)
	if err != nil {
		return float64(v)
	}
	return rounded
}
