// Package insulation knows thermal classes and slot-insulation materials, their allowances and the
// ten-kelvin life rule. The tables come in as values; each row names its source.
package insulation

import "statorbook/internal/unit"

// Class is a thermal class of IEC 60085.
type Class struct {
	Letter     string       // "A".."R"; "250" for the class without a letter
	MaxHotSpot unit.Celsius // the class temperature
	Examples   string
	Rises      []RiseLimit
	HotSpot    *Figure // hot-spot allowance, if a source gives one
	Source     Source
}

// RiseLimit is a limit of temperature rise by resistance with the machines it speaks of.
type RiseLimit struct {
	Rise   unit.Kelvin
	Scope  string
	Source Source
}

// Figure is a number with the place it comes from.
type Figure struct {
	Value  float64
	Source Source
}

// Source names where a row comes from and how it is known: evidence is "seen ..." or "from memory".
type Source struct {
	Title, Evidence, Note string
	Kind                  string // standard_limit | guidance
}

// Material is an insulating material of the bench. Thicknesses in mm, 0 = not stated.
type Material struct {
	ID           string // slug
	Name         string
	Use          string // liner|wedge|sleeving|separator|...
	ThermalClass string // as the source words it
	ThicknessMin unit.Millimetre
	ThicknessMax unit.Millimetre
	Note         string
	Source       Source
}
