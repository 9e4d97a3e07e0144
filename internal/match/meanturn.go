package match

import (
	"math"

	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// What tells a mean turn better than the rule, as an analysis says it.
const (
	turnOfRecord    = "by the copper mass of the record"
	turnOfCatalogue = "as long as the catalogue's records of such coils have it"
)

// recordTurnSpread is how far the mean turn of a record's own copper may be off, as a share (common practice,
// no source), besides what the weighing leaves open.
const recordTurnSpread = 0.03

// meanTurn is the mean turn of a set of the proposal: that of the record which it repeats, by its copper, else
// the one that the catalogue's records have on average. Nothing where neither tells.
func (m *maker) meanTurn(r *winding.RoleAnalysis) winding.KnownTurn {
	if r.MeanTurn == nil || !(*r.MeanTurn > 0) {
		return winding.KnownTurn{}
	}
	which := 0
	if r.Role == winding.Auxiliary {
		which = 1
	}
	if k := m.turnOfRecord(r, which); k.Length > 0 {
		return k
	}
	if len(m.x.recs) < fewRecords {
		return winding.KnownTurn{}
	}
	set := &m.out.Scheme.CoilSets[r.Set]
	coils, _, err := winding.Expand(*set, m.poles, m.core)
	if err != nil {
		return winding.KnownTurn{}
	}
	sheet, ok := winding.MeanTurnOf(m.core, set.Ring, coils, winding.SheetMeanTurn)
	if !ok {
		return winding.KnownTurn{}
	}
	f := sheetFacts{phases: m.design.phases, rotor: m.rotor, core: &m.core, slots: float64(m.core.Slots), poles: m.poles, gap: nanIf(given(m.core.GapDiameter)), stack: nanIf(given(m.core.StackLength)),
		volts: m.design.voltage, freq: m.design.frequency, power: math.NaN()}
	ends, fit := m.x.model.sheet.longer(&f, set, coils)
	if fit.n < fewRecords || math.IsNaN(ends) {
		return winding.KnownTurn{}
	}
	return winding.KnownTurn{Length: sheet * unit.Millimetre(ends), Spread: fit.sd, From: turnOfCatalogue}
}

// turnOfRecord is the mean turn by the copper that the repeated record weighed in its main (or one phase) or
// auxiliary set; nothing for a mass that nobody weighed, or one that no winding of this size has.
func (m *maker) turnOfRecord(r *winding.RoleAnalysis, which int) winding.KnownTurn {
	if m.out.Basis.Method != methodRecord || r.Mass == nil || r.ConductorArea == nil || r.Role == winding.Speed {
		return winding.KnownTurn{}
	}
	rec := &m.x.recs[m.from]
	area := m.x.main(rec).area
	if which == 1 {
		area = m.x.aux(rec).area
	}
	mass, sd := recMass(rec, which), float64(rec.massSD[which])*massStep
	if !(mass > 0) || !(area > 0) || sd > massWeighed+massStep {
		return winding.KnownTurn{}
	}
	// The wire that is proposed may be another than the record's, from the stock.
	ratio := mass / float64(*r.Mass) * float64(*r.ConductorArea) / float64(area)
	if math.Abs(math.Log(ratio)) > 3*winding.RuleSpread {
		return winding.KnownTurn{}
	}
	return winding.KnownTurn{Length: *r.MeanTurn * unit.Millimetre(ratio), Spread: math.Hypot(recordTurnSpread, sd), From: turnOfRecord}
}
