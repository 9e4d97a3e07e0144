package winding

import (
	"statorbook/internal/errs"
	"statorbook/internal/stator"
	"statorbook/internal/unit"
)

// AnalysisInput is what an analysis is made from. Nameplate and Supply may be nil, and any of
// their fields absent: what can be computed is computed, the rest is listed as missing.
type AnalysisInput struct {
	Core      stator.Core
	Nameplate *Nameplate
	Supply    *Supply // what is on site; where given it goes before the nameplate
	Scheme    Scheme
	MotorType string      // as of a record, "" if not known; it tells what the plate's capacitor is for
	MeanTurns []KnownTurn // of the coil sets, where something tells them better than the rule; may be shorter than the sets
}

// Harmonic is the winding factor of one harmonic of the working pole pair.
type Harmonic struct {
	Order  int
	Factor float64
}

// HarmonicOrders are the orders that an analysis lists.
var HarmonicOrders = []int{1, 3, 5, 7, 9, 11, 13}

// SpanTurn is the mean turn of the coils of one span.
type SpanTurn struct {
	Span     int // slot pitches
	Coils    int
	MeanTurn unit.Millimetre
}

// WarmResistance is a resistance at a temperature.
type WarmResistance struct {
	Ohm         unit.Ohm
	Temperature unit.Celsius
}

// RoleAnalysis is what an analysis says of one coil set. A nil figure could not be computed; the
// Missing list of the analysis tells why.
type RoleAnalysis struct {
	Set            int // index of the coil set
	Role           Role
	Ring           RingName
	Coils          int
	TotalTurns     float64  // turns of all coils
	SeriesTurns    float64  // turns in series in one path
	WindingFactor  *float64 // of the working field
	Harmonics      []Harmonic
	AxisDeg        *float64 // electrical degrees, slot 0 of the ring at the gap = 0
	EffectiveTurns *float64 // series turns × winding factor
	MeanTurn       *unit.Millimetre
	MeanTurns      []SpanTurn // one for each span, widest first
	MeanTurnSpread float64    // how far the mean turn may be off, as a share
	MeanTurnFrom   string     // what tells it better than the rule, "" for the rule
	Length         *unit.Metre
	Resistance20   *unit.Ohm
	ResistanceAt   *WarmResistance
	Mass           *unit.Gram
	ConductorArea  *unit.SquareMillimetre // metal of one turn: strands × paths
	CurrentDensity *unit.AmperePerSquareMillimetre
	conductor      Conductor
	haveWire       bool
}

// SlotFill is the fill of one slot.
type SlotFill struct {
	Ring       RingName
	Slot       int
	Fill       Fill
	Conductors float64 // all sides × strands
	Area       unit.SquareMillimetre
	AreaBasis  stator.AreaBasis
}

// SpeedAnalysis is the synchronous speed, and the slip where the nameplate tells a speed.
type SpeedAnalysis struct {
	Synchronous unit.RevolutionPerMinute
	Slip        *float64 // fraction
}

// CapacitorAnalysis is what a run capacitor has to bear and whether its size is plausible.
type CapacitorAnalysis struct {
	UF             *unit.Microfarad // as on the plate
	Volts          unit.Volt        // across it at the highest supply, balanced
	HighestSupply  unit.Volt
	RatedVolts     *unit.Volt // as on the plate
	PlausibleLow   *unit.Microfarad
	PlausibleHigh  *unit.Microfarad
	BalancedUF     *unit.Microfarad // balances the windings at the plate current
	AuxiliaryAmps  *unit.Ampere     // through the capacitor at nominal supply
	PlausibleBasis string
}

// Terminal is the resistance between two terminals at 20 °C.
type Terminal struct {
	Pair         string
	Resistance20 unit.Ohm
}

// Method tells how a figure was computed, and from which fields.
type Method struct {
	Method string
	Inputs []string
}

// Analysis is all that follows from a scheme on a core.
type Analysis struct {
	Poles            int
	Roles            []RoleAnalysis
	Displacement     *float64 // main against auxiliary, or phase u against v, electrical degrees
	TurnsRatio       *float64 // auxiliary/main effective turns
	FluxPerPole      *unit.Milliweber
	Densities        *Densities
	AverageGap       *unit.Tesla
	Fill             []SlotFill
	Slots            []SlotUse
	Speed            *SpeedAnalysis
	Capacitor        *CapacitorAnalysis
	EMF              *unit.Volt
	AmpereConductors *float64 // A/m of gap circumference, main winding or all phases
	Terminals        []Terminal
	Methods          map[string]Method
	Missing          []string
	Assumed          []Assumption
	Findings         []errs.Finding
}

// Fullest is the fill of the slot with the greatest square fill (copper fill where no overall diameter
// is known), nil when no fill could be computed.
func (a Analysis) Fullest() *SlotFill {
	var best *SlotFill
	key := func(f Fill) float64 {
		if f.Square > 0 {
			return f.Square
		}
		return f.Copper
	}
	for i := range a.Fill {
		if best == nil || key(a.Fill[i].Fill) > key(best.Fill) {
			best = &a.Fill[i]
		}
	}
	return best
}

// RoleOf is the first set of a role, nil if there is none.
func (a Analysis) RoleOf(r Role) *RoleAnalysis {
	for i := range a.Roles {
		if a.Roles[i].Role == r {
			return &a.Roles[i]
		}
	}
	return nil
}

// ref returns a pointer to a copy.
func ref[T any](v T) *T { return &v }
