package bundle

import "statorbook/internal/wire"

// Wire is the JSON shape of wire.Wire: a wire as somebody names it.
type Wire struct {
	System       string `json:"system,omitempty" in:"enum=swg|awg|metric|bare"`
	Size         string `json:"size,omitempty" in:"runes=20"`
	Diameter     M      `json:"diameter_mm,omitzero" in:"min=0.001,max=100"`
	Conductor    string `json:"conductor" in:"required,enum=copper|aluminium"`
	Build        string `json:"build,omitempty" in:"enum=grade_1|grade_2|grade_3|single|heavy|triple"`
	ThermalClass string `json:"thermal_class,omitempty" in:"runes=20"`
	Strands      int    `json:"strands" in:"required,min=1,max=8"`
}

// ToDomain gives the wire as the trade's packages take it. Without a system, a diameter alone is a
// bare diameter; a size alone stays ambiguous, and wire.Table says so.
func (w Wire) ToDomain() wire.Wire {
	system := wire.System(w.System)
	if system == "" && w.Size == "" && w.Diameter.Given {
		system = wire.Bare
	}
	return wire.Wire{
		System: system, Size: w.Size, Diameter: w.Diameter.Measured, Conductor: wire.Conductor(w.Conductor),
		Build: wire.Build(w.Build), ThermalClass: w.ThermalClass, Strands: w.Strands,
	}
}

// WireOf gives the JSON shape of a wire.
func WireOf(w wire.Wire) Wire {
	return Wire{
		System: string(w.System), Size: w.Size, Diameter: M{w.Diameter}, Conductor: string(w.Conductor),
		Build: string(w.Build), ThermalClass: w.ThermalClass, Strands: w.Strands,
	}
}

// WiresToDomain converts a list of wires; nil stays nil.
func WiresToDomain(list []Wire) []wire.Wire { return convert(list, Wire.ToDomain) }

// WiresOf gives the JSON shape of a list of wires; nil becomes empty.
func WiresOf(list []wire.Wire) []Wire { return filled(convert(list, WireOf)) }
