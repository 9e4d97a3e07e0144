package httpapi

import (
	"fmt"
	"slices"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/winding"
)

// alerts is what a page about a winding says right after the cautions, before anything that can be
// done with the winding.
type alerts struct {
	For       string           // what the winding is for: volts, hertz, phases or connection, poles
	Untold    string           // which of volts and hertz nobody told, but the proposal takes: volts, hertz or both
	Settle    []string         // what is to be settled first
	Unlike    []string         // what was left in the core and does not fit this winding
	Site      string           // the voltage on site, where the winding is for another
	SiteHertz string           // the frequency on site, likewise
	Unlikely  bool             // it is likelier that another winding was in the core
	TooFull   bool             // the wire needs more room than the slots have
	Tight     bool             // the slots come out fuller than hands lay them
	ReadAs    []readAsRow      // readings that were taken for other ones
	Warnings  []bundle.Finding // gravest first
	Notes     []bundle.Finding // these can wait until the basis is told
}

// likelierThanNot is the probability from which a winding may be called the likely one.
const likelierThanNot = 0.5

// squareFull is the slot fill, each wire taken as a square of its overall diameter, above which the
// wire cannot lie in the slot as hands lay it.
const squareFull = 1

// siteElse gives the voltage on site where a winding for the plate may not be connected to it; "" otherwise.
func siteElse(site *bundle.Supply, plate bundle.Nameplate) string {
	if site == nil || !site.Voltage.Given || !plate.Voltage.Given || !winding.SupplyDiffers(site.Voltage.Value, plate.Voltage.Value) {
		return ""
	}
	return site.Voltage.Digits()
}

// sort parts findings by their grade and tells each once, whoever found it first.
func (a *alerts) sort(findings ...[]bundle.Finding) {
	told := map[string]bool{}
	for _, severity := range []string{"error", "warning", "note"} {
		for _, f := range slices.Concat(findings...) {
			key := f.Code + " " + strings.Join(f.Fields, " ")
			if f.Severity != severity || told[key] {
				continue
			}
			told[key] = true
			a.Tight = a.Tight || f.Code == winding.CodeSquareFill
			a.TooFull = a.TooFull || f.Code == winding.CodeSquareFill && f.Found != nil && *f.Found > squareFull
			if severity == "note" {
				a.Notes = append(a.Notes, f)
			} else {
				a.Warnings = append(a.Warnings, f)
			}
		}
	}
}

// alertsOf gathers the alerts of a winding that was worked out.
func (t texts) alertsOf(work workView, plate bundle.Nameplate, more ...[]bundle.Finding) alerts {
	a := alerts{For: t.plateFor(plate, work.Scheme)}
	if work.Analysis != nil {
		more = append(more, work.Analysis.Findings)
	}
	a.sort(more...)
	return a
}

// plateFor says in one line what a winding is for.
func (t texts) plateFor(p bundle.Nameplate, s bundle.Scheme) string {
	volts, connection, pole := quantity("V", p.Voltage), "", ""
	if volts == "" {
		volts = t["plate.no_volts"]
	}
	if p.Connection != "" {
		connection = t.name("choice", p.Connection)
	} else if len(s.CoilSets) > 0 {
		connection = t.name("choice", phaseWords[0])
		if winding.Role(s.CoilSets[0].Role).IsPhase() {
			connection = t.name("choice", phaseWords[1])
		}
	}
	if n := max(p.Poles, s.Poles); n > 0 {
		pole = fmt.Sprintf(t["plate.poles"], n)
	}
	return joined(", ", volts, quantity("Hz", p.Frequency), connection, pole)
}
