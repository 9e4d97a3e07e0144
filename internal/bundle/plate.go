package bundle

import "statorbook/internal/winding"

// Nameplate is the JSON shape of winding.Nameplate. Every figure may come in the long form of M.
type Nameplate struct {
	Voltage         M      `json:"voltage_v,omitzero" in:"min=0.1,max=100000"`
	Frequency       M      `json:"frequency_hz,omitzero" in:"min=0.1,max=10000"`
	Power           M      `json:"power_w,omitzero" in:"min=0.01,max=10000000"`
	Current         M      `json:"current_a,omitzero" in:"min=0.0001,max=100000"`
	Speed           M      `json:"speed_rpm,omitzero" in:"min=0.1,max=1000000"`
	Poles           Count  `json:"poles,omitzero" in:"min=1,max=120"`
	CapacitorUF     M      `json:"capacitor_uf,omitzero" in:"min=0.001,max=1000000"`
	CapacitorV      M      `json:"capacitor_v,omitzero" in:"min=0.1,max=100000"`
	InsulationClass string `json:"insulation_class,omitempty" in:"runes=20"`
	Duty            string `json:"duty,omitempty" in:"runes=60"`
	Sweep           M      `json:"sweep_mm,omitzero" in:"min=1,max=10000"`
	SpeedTaps       Count  `json:"speed_taps,omitzero" in:"min=0,max=20"`
	Connection      string `json:"connection,omitempty" in:"enum=single|star|delta"`
}

// ToDomain gives the nameplate as the trade's packages take it.
func (n Nameplate) ToDomain() winding.Nameplate {
	return winding.Nameplate{
		Voltage: n.Voltage.Measured, Frequency: n.Frequency.Measured, Power: n.Power.Measured, Current: n.Current.Measured, Speed: n.Speed.Measured,
		Poles: int(n.Poles), CapacitorUF: n.CapacitorUF.Measured, CapacitorV: n.CapacitorV.Measured, InsulationClass: n.InsulationClass, Duty: n.Duty,
		SweepMM: n.Sweep.Measured, SpeedTaps: int(n.SpeedTaps), Connection: winding.Connection(n.Connection),
	}
}

// NameplateOf gives the JSON shape of a nameplate.
func NameplateOf(n winding.Nameplate) Nameplate {
	return Nameplate{
		Voltage: M{n.Voltage}, Frequency: M{n.Frequency}, Power: M{n.Power}, Current: M{n.Current}, Speed: M{n.Speed},
		Poles: Count(n.Poles), CapacitorUF: M{n.CapacitorUF}, CapacitorV: M{n.CapacitorV}, InsulationClass: n.InsulationClass, Duty: n.Duty,
		Sweep: M{n.SweepMM}, SpeedTaps: Count(n.SpeedTaps), Connection: string(n.Connection),
	}
}

// Supply is the JSON shape of winding.Supply: what is on site, told by the user.
type Supply struct {
	Voltage    M      `json:"voltage_v,omitzero" in:"min=0.1,max=100000"`
	Frequency  M      `json:"frequency_hz,omitzero" in:"min=0.1,max=10000"`
	Phases     Count  `json:"phases,omitzero" in:"enum=1|3"`
	Connection string `json:"connection,omitempty" in:"enum=single|star|delta"`
}

// ToDomain gives the supply as the trade's packages take it.
func (s Supply) ToDomain() winding.Supply {
	return winding.Supply{Voltage: s.Voltage.Measured, Frequency: s.Frequency.Measured, Phases: int(s.Phases), Connection: winding.Connection(s.Connection)}
}

// SupplyOf gives the JSON shape of a supply.
func SupplyOf(s winding.Supply) Supply {
	return Supply{Voltage: M{s.Voltage}, Frequency: M{s.Frequency}, Phases: Count(s.Phases), Connection: string(s.Connection)}
}
