package match

import (
	"fmt"
	"math"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/winding"
)

// SheetVerdict is what a record check says of a data sheet. LnOdds are the ln odds of the best
// single slip against the sheet as it stands, about -5 to 0 for a sound one; -Inf never, NaN never.
// Verdict is coherent, suspect or impossible.
type SheetVerdict struct {
	Findings []errs.Finding
	LnOdds   float64
	Slip     *errs.Slip // the best slip, nil when none was tried
	Verdict  winding.Verdict
}

// Beyond these odds a sheet is suspect: about one sound sheet in a hundred reaches them with mass and
// resistance of all windings given, respectively with some missing (measured on simulated worlds).
const (
	flagFull   = 4.5
	flagPartly = 5.0
	noOdds     = -20.0 // nothing to judge by
)

// CheckRecord judges a data sheet by explanation: the likelihood of the sheet as it stands, by what
// the catalogue's sheets are like, against about a hundred single slips. It names the slip and what the sheet would
// say without it. Every field is optional. Geometric and layout impossibilities are findings of
// severity error; it never refuses.
func (x *Index) CheckRecord(s winding.Sheet) SheetVerdict {
	basic := winding.Check(s, x.wires)
	v := SheetVerdict{LnOdds: noOdds, Verdict: basic.Verdict}
	for _, f := range basic.Findings {
		// The catalogue's own scatter judges agreement more sharply than limits for an unknown maker.
		if !replaced[f.Code] {
			v.Findings = append(v.Findings, f)
		}
	}
	if v.Verdict != winding.Impossible {
		v.Verdict = verdictFrom(v.Findings)
	}
	facts, ok := factsOf(&s, x.wires)
	if !ok {
		return v
	}
	best, odds := x.bestSlip(&facts)
	v.LnOdds = odds
	if best != nil {
		slip := best.slip
		v.Slip = &slip
		if odds > flagAt(&facts) {
			v.Findings = append(v.Findings, slipFinding(&slip, odds))
			if v.Verdict == winding.Coherent {
				v.Verdict = winding.Suspect
			}
		}
	}
	return v
}

// replaced are findings of the check without a catalogue that this check makes with its own limits.
var replaced = map[string]bool{"wire_disagrees": true, "turns_disagree": true, "mass_disagrees": true, "resistance_disagrees": true}

func verdictFrom(findings []errs.Finding) winding.Verdict {
	v := winding.Coherent
	for _, f := range findings {
		switch f.Severity {
		case errs.SeverityError:
			return winding.Impossible
		case errs.SeverityWarning:
			v = winding.Suspect
		}
	}
	return v
}

// bestSlip compares the sheet with every single slip undone.
func (x *Index) bestSlip(f *sheetFacts) (best *edit, odds float64) {
	sc := scorer{x: x, m: &x.model.sheet}
	stands := sc.logLikelihood(f)
	odds = noOdds
	slips := sc.slipsOf(f)
	for i := range slips {
		o := slips[i].log - stands + math.Log(slips[i].weight)
		if o > odds {
			odds, best = o, &slips[i]
		}
	}
	return best, odds
}

// flagAt is the limit for a sheet: lower where everything is given.
func flagAt(f *sheetFacts) float64 {
	for i := range f.n {
		if f.sets[i].mass.n == 0 || f.sets[i].ohm.n == 0 {
			return flagPartly
		}
	}
	return flagFull
}

// slipFinding words the best explanation.
func slipFinding(s *errs.Slip, odds float64) errs.Finding {
	return errs.Finding{Code: "likely_slip", Severity: errs.SeverityWarning, Fields: []string{s.Field}, LikelySlip: s, Odds: &odds,
		Message: fmt.Sprintf("%s: with %s in its place the sheet agrees with itself and with like records %s times better", slipText(s.Code), s.Corrected, timesText(odds))}
}

// timesText words exp(odds) in two digits; beyond a million the figure says nothing more.
func timesText(odds float64) string {
	const most = 1e6
	v := math.Exp(odds)
	if !(v < most) {
		return "more than a million"
	}
	step := math.Pow(10, math.Floor(math.Log10(v))-1)
	return "about " + strconv.FormatFloat(math.Round(v/step)*step, 'f', int(math.Max(0, -math.Log10(step)+0.5)), 64)
}

// slipText words a slip's code.
func slipText(code string) string {
	if t, ok := slipTexts[code]; ok {
		return t
	}
	return code
}

var slipTexts = map[string]string{
	"swg_awg_swapped": "the gauge number may be of the other gauge system", "gauge_off_by_1": "the gauge may be one off", "gauge_off_by_2": "the gauge may be two off",
	"turns_halved": "the turns may be half of what they are", "turns_doubled": "the turns may be double what they are", "turns_digit_swap": "two digits of the turns may be swapped", "turns_digit_wrong": "a digit of the turns may be wrong",
	"strands_forgotten": "strands in hand may be forgotten", "strands_wrong": "the strands in hand may be another number", "coils_halved": "only half of the coil groups may be entered", "paths_wrong": "the parallel paths may be wrong",
	"mass_of_both": "the mass may be that of all windings", "mass_swapped": "the masses of main and auxiliary may be swapped", "mass_digit_swap": "digits of the mass may be wrong",
	"throw_off_by_1": "a throw may be one off", "throw_off_by_2": "a throw may be two off", "r_line_to_line": "the resistance may be measured between two leads", "r_digit_swap": "digits of the resistance may be wrong",
	"star_delta_swapped": "star and delta may be swapped", "poles_wrong": "the number of poles may be wrong", "stack_blunder": "the stack length may be read wrong",
	"main_aux_swapped": "main and auxiliary may be swapped", "voltage_wrong": "the voltage may be of another class", "material_wrong": "the metal may be the other one",
}
