package bundle

import (
	"statorbook/internal/insulation"
	"statorbook/internal/unit"
)

// InsulationClass is the JSON shape of insulation.Class. The line's id is the letter.
type InsulationClass struct {
	Letter     string      `json:"letter,omitempty" in:"runes=10"`
	MaxHotSpot float64     `json:"max_hot_spot_c,omitzero" in:"min=0,max=1000"`
	Examples   string      `json:"examples,omitempty" in:"runes=500"`
	Rises      []RiseLimit `json:"rises" in:"maxitems=50"`
	HotSpot    *HotSpot    `json:"hot_spot,omitempty"`
	Source     Basis       `json:"source,omitzero"`
	ETag       string      `json:"etag,omitempty" hash:"-"`
}

// RiseLimit is a limit of temperature rise by resistance with the machines it speaks of.
type RiseLimit struct {
	Rise   float64 `json:"rise_k" in:"min=0,max=1000"`
	Scope  string  `json:"scope" in:"runes=500"`
	Source Basis   `json:"source"`
}

// HotSpot is the hot-spot allowance of a class.
type HotSpot struct {
	Allowance float64 `json:"allowance_k" in:"min=0,max=1000"`
	Source    Basis   `json:"source"`
}

// Basis is the JSON shape of insulation.Source.
type Basis struct {
	Title    string `json:"title" in:"runes=300"`
	Evidence string `json:"evidence" in:"runes=500"`
	Note     string `json:"note,omitempty" in:"runes=500"`
	Kind     string `json:"kind" in:"enum=standard_limit|guidance"`
}

// InsulatingMaterial is the JSON shape of insulation.Material.
type InsulatingMaterial struct {
	ID           string  `json:"id,omitempty" in:"format=slug"`
	Name         string  `json:"name,omitempty"`
	Use          string  `json:"use,omitempty" in:"runes=60"`
	ThermalClass string  `json:"thermal_class,omitempty"`
	ThicknessMin float64 `json:"thickness_min_mm,omitzero" in:"min=0.001,max=100"`
	ThicknessMax float64 `json:"thickness_max_mm,omitzero" in:"min=0.001,max=100"`
	Note         string  `json:"note,omitempty" in:"runes=500"`
	Source       Basis   `json:"source,omitzero"`
	ETag         string  `json:"etag,omitempty" hash:"-"`
}

// ToDomain gives the class as the domain has it.
func (c InsulationClass) ToDomain() insulation.Class {
	out := insulation.Class{
		Letter: c.Letter, MaxHotSpot: unit.Celsius(c.MaxHotSpot), Examples: c.Examples, Source: c.Source.toDomain(),
		Rises: convert(c.Rises, func(r RiseLimit) insulation.RiseLimit {
			return insulation.RiseLimit{Rise: unit.Kelvin(r.Rise), Scope: r.Scope, Source: r.Source.toDomain()}
		}),
	}
	if c.HotSpot != nil {
		out.HotSpot = &insulation.Figure{Value: c.HotSpot.Allowance, Source: c.HotSpot.Source.toDomain()}
	}
	return out
}

// InsulationClassOf gives the JSON shape of a class.
func InsulationClassOf(c insulation.Class) InsulationClass {
	out := InsulationClass{
		Letter: c.Letter, MaxHotSpot: float64(c.MaxHotSpot), Examples: c.Examples, Source: basisOf(c.Source),
		Rises: filled(convert(c.Rises, func(r insulation.RiseLimit) RiseLimit {
			return RiseLimit{Rise: float64(r.Rise), Scope: r.Scope, Source: basisOf(r.Source)}
		})),
	}
	if c.HotSpot != nil {
		out.HotSpot = &HotSpot{Allowance: c.HotSpot.Value, Source: basisOf(c.HotSpot.Source)}
	}
	return out
}

// ToDomain gives the material as the domain has it.
func (m InsulatingMaterial) ToDomain() insulation.Material {
	return insulation.Material{
		ID: m.ID, Name: m.Name, Use: m.Use, ThermalClass: m.ThermalClass, ThicknessMin: unit.Millimetre(m.ThicknessMin),
		ThicknessMax: unit.Millimetre(m.ThicknessMax), Note: m.Note, Source: m.Source.toDomain(),
	}
}

// InsulatingMaterialOf gives the JSON shape of a material.
func InsulatingMaterialOf(m insulation.Material) InsulatingMaterial {
	return InsulatingMaterial{
		ID: m.ID, Name: m.Name, Use: m.Use, ThermalClass: m.ThermalClass, ThicknessMin: float64(m.ThicknessMin),
		ThicknessMax: float64(m.ThicknessMax), Note: m.Note, Source: basisOf(m.Source),
	}
}

func (b Basis) toDomain() insulation.Source {
	return insulation.Source{Title: b.Title, Evidence: b.Evidence, Note: b.Note, Kind: b.Kind}
}

func basisOf(s insulation.Source) Basis {
	return Basis{Title: s.Title, Evidence: s.Evidence, Note: s.Note, Kind: s.Kind}
}
