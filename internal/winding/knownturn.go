package winding

import (
	"fmt"
	"math"

	"statorbook/internal/stator"
	"statorbook/internal/unit"
	"statorbook/internal/wire"
)

// RuleSpread is how far a mean turn computed from the core alone may be off, as a share: ends differ so
// much between makers (common practice, no source).
const RuleSpread = 0.10

// recordSpread is how far a mean turn that a weighed or measured winding tells may be off, as a share:
// scales, bridge and the tolerance of wire together (common practice, no source).
const recordSpread = 0.03

// KnownTurn is the mean turn of a coil set where something tells it better than the rule does.
type KnownTurn struct {
	Length unit.Millimetre // 0 = not known
	Spread float64         // how far it may be off, as a share
	From   string          // what tells it, as part of a sentence
}

// known is what the input tells of the mean turn of a set; ok is false for nothing.
func (in AnalysisInput) known(set int) (k KnownTurn, ok bool) {
	if set >= len(in.MeanTurns) || !(in.MeanTurns[set].Length > 0) {
		return KnownTurn{}, false
	}
	return in.MeanTurns[set], true
}

// plausibleTurn is the greatest log ratio between the mean turn of a record and that of the rule: three
// times RuleSpread. Beyond it a figure of the sheet is wrong, and the rule stays.
const plausibleTurn = 3 * RuleSpread

// MeanTurnsOnRecord tells the mean turns of the sets of a record by its own masses, else by its own
// resistances: l = m/(density × metal), l = R·a²·metal/resistivity, over the turns of all coils. A set whose
// mass and resistance contradict each other, or whose turn no core of this size has, tells nothing.
func MeanTurnsOnRecord(core stator.Core, s Scheme, t *wire.Table) []KnownTurn {
	coils, _, err := ExpandScheme(s, core)
	if err != nil {
		return nil
	}
	a := analyser{in: AnalysisInput{Core: core, Scheme: s}, coils: coils, out: Analysis{Methods: map[string]Method{}, Slots: Occupancy(s, coils, core)}}
	out := make([]KnownTurn, len(s.CoilSets))
	for i, set := range s.CoilSets {
		rule := RoleAnalysis{Set: i, TotalTurns: TurnsOf(coils[i])}
		a.lengths(&rule, set)
		if c, ok, err := ConductorOf(set, t); err == nil && ok && rule.MeanTurn != nil {
			out[i] = onRecord(set, c, rule.TotalTurns, *rule.MeanTurn)
		}
	}
	return out
}

// onRecord is what mass and resistance of a set tell of its mean turn.
func onRecord(set CoilSet, c Conductor, turns float64, rule unit.Millimetre) KnownTurn {
	f := SetFigures{conductor: c, BareMass: math.NaN(), R20: math.NaN()}
	f.measured(set)
	paths := float64(Paths(set))
	byMass := KnownTurn{unit.Millimetre(1000 * f.BareMass / (c.perMetre * turns)), math.Hypot(recordSpread, f.MassSD), "by the mass on record"}
	byOhm := KnownTurn{unit.Millimetre(1000 * f.R20 * paths * paths * c.conductance / turns), recordSpread, "by the resistance on record"}
	if set.LeadPair != "" && set.Role.IsPhase() {
		byOhm.Length = unit.Millimetre(math.NaN()) // between two lines, not of the phase alone
	}
	return better(byMass, byOhm, rule)
}

// better takes the first of two mean turns that is known, if the other and the rule bear it out.
func better(first, second KnownTurn, rule unit.Millimetre) KnownTurn {
	apart := func(a, b unit.Millimetre) float64 { return math.Abs(math.Log(float64(a / b))) } // NaN where one is not known
	if apart(first.Length, second.Length) > plausibleTurn/2 {
		return KnownTurn{}
	}
	for _, k := range []KnownTurn{first, second} {
		if apart(k.Length, rule) <= plausibleTurn {
			return k
		}
	}
	return KnownTurn{}
}

// takeKnown puts the known mean turn of a set in the place of the rule's; its spans keep their proportion.
func (a *analyser) takeKnown(r *RoleAnalysis) {
	k, ok := a.in.known(r.Set)
	if !ok {
		return
	}
	if r.MeanTurn != nil {
		for i := range r.MeanTurns {
			r.MeanTurns[i].MeanTurn *= k.Length / *r.MeanTurn
		}
	}
	r.MeanTurn, r.MeanTurnSpread, r.MeanTurnFrom = &k.Length, k.Spread, k.From
}

// tellKnown says which mean turns do not come from the rule.
func (a *analyser) tellKnown() {
	m, told := a.out.Methods["mean_turn_mm"], ""
	for i := range a.out.Roles {
		if r := &a.out.Roles[i]; r.MeanTurnFrom != "" {
			told += fmt.Sprintf("of the %s winding %s; ", r.Role, r.MeanTurnFrom)
		}
	}
	if told != "" {
		a.method("mean_turn_mm", told+"the rule: "+m.Method, m.Inputs...)
	}
}
