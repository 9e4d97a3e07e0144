package httpapi

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/errs"
	"statorbook/internal/match"
	"statorbook/internal/winding"
	"statorbook/internal/wire"
)

// readAsRow is a reading that was taken for another one, as people write both.
type readAsRow struct {
	Field, Said, Taken string
	Probability        float64
}

// millimetresPerInch is exact by definition.
const millimetresPerInch = 25.4

// readAs writes a reading as it was typed beside what fits better, each with its unit; in inches too where it was
// read in inches.
func (f *form) readAs(t texts, r match.ReadAs) readAsRow {
	name := f.nameOf(r.Field)
	unit := t.unitAfter(name)
	row := readAsRow{Field: name, Said: num(r.Typed) + unit, Taken: num(r.ReadAs) + unit, Probability: r.Probability}
	at := slices.IndexFunc(f.inputs, func(in input) bool { return in.Name == name })
	if at < 0 || f.values[name] == "" {
		return row
	}
	row.Said = f.values[name] + unit
	if f.inputs[at].Kind == askLength && f.tool(name).Unit != instruments[0].Unit {
		inch := " " + t["unit.inch"]
		row.Said, row.Taken = f.values[name]+inch, row.Taken+" ("+num(r.ReadAs/millimetresPerInch)+inch+")"
	}
	return row
}

// nameOf is the question whose answer a field of the request came from: rows that were left empty have closed up.
func (f *form) nameOf(field string) string {
	dotted := rowBracket.ReplaceAllString(field, ".$1")
	at := "/" + strings.ReplaceAll(dotted, ".", "/")
	return cmp.Or(f.places["/measurements"+at], f.places[at], dotted)
}

// unitAfter is the unit of a field as it stands after a figure, "" if it has none.
func (t texts) unitAfter(field string) string {
	base, _, _ := strings.Cut(field, "_g.") // the copper of a role is told in grams by the name before it
	if base != field {
		field = base + "_g"
	}
	u, _ := unitOf(field[strings.LastIndexByte(field, '.')+1:])
	if u.Label == "" {
		return ""
	}
	return " " + t.name("unit", u.Label)
}

// misreadAt lists the fields whose reading was likelier another one: what else is said of the figure as typed is moot.
func misreadAt(readings []match.ReadAs) map[string]bool {
	at := map[string]bool{}
	for _, r := range readings {
		at[r.Field] = at[r.Field] || r.Probability > likelierThanNot
	}
	return at
}

// beyondService tells that nothing was looked for, since a figure is outside the machines that matching answers for.
func beyondService(a match.Answer) bool {
	return len(a.Candidates) == 0 && len(a.Proposals) == 0 &&
		slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.Code == "outside_service_range" })
}

// contradicting tells that no core can have the readings as typed.
func contradicting(a match.Answer) bool {
	return slices.ContainsFunc(a.Findings, func(f errs.Finding) bool { return f.LikelySlip != nil })
}

// unsettled says what a bench has to settle before it winds any of the proposals.
func (t texts) unsettled(req matchRequest, proposals []match.Proposal) []string {
	var out []string
	if n, s := req.Nameplate, req.Supply; n != nil {
		if site := siteElse(s, *n); site != "" && !starAndDelta(s.Voltage.Value, n.Voltage.Value) {
			out = append(out, fmt.Sprintf(t["settle.plate_volts"], n.Voltage.Digits(), site))
		}
	}
	if tapped(req) && len(proposals) > 0 && !slices.ContainsFunc(proposals, func(p match.Proposal) bool { return hasTaps(p.Scheme) }) {
		out = append(out, t["settle.taps"])
	}
	return out
}

// starAndDelta tells whether two voltages are those of one three-phase winding in star and in delta.
func starAndDelta(a, b float64) bool {
	return math.Abs(math.Max(a, b)/math.Min(a, b)/math.Sqrt(3)-1) < 0.05
}

// tapped tells whether the motor has speed taps.
func tapped(req matchRequest) bool {
	if n := req.Nameplate; n != nil && n.SpeedTaps > 0 {
		return true
	}
	speed := string(winding.Speed)
	return req.Remains != nil && (slices.ContainsFunc(req.Remains.Coils, func(c coilCount) bool { return c.Role == speed }) ||
		slices.ContainsFunc(req.Remains.Wires, func(w scrapWire) bool { return w.Role == speed }))
}

func hasTaps(s winding.Scheme) bool {
	return slices.ContainsFunc(s.CoilSets, func(c winding.CoilSet) bool { return c.Role == winding.Speed })
}

// stockUnused tells that a list of wires was given and no proposal takes one of them.
func stockUnused(req matchRequest, proposals []match.Proposal) bool {
	return len(req.Stock) > 0 && len(proposals) > 0 && !slices.ContainsFunc(proposals, func(p match.Proposal) bool {
		return slices.ContainsFunc(p.CoilSets, func(s match.ProposedSet) bool { return s.FromStock })
	})
}

// kindFrom is the probability from which a record's kind of motor counts as a likely one.
const kindFrom = 0.1

// kindsOf lists the kinds of motor of the likely records where they are more than one and nobody told which.
func (t texts) kindsOf(req matchRequest, rows []candidateRow) string {
	var kinds []string
	for _, r := range rows {
		if kind := t.name("choice", r.Record.MotorType); r.Kind == "record" && r.Probability >= kindFrom && !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	if len(kinds) < 2 || req.MotorType != "" {
		return ""
	}
	return strings.Join(kinds, "; ")
}

// unlike says what was left in the core and does not fit this proposal, other than what fits none of them.
func (f *form) unlike(t texts, req matchRequest, p match.Proposal, said []errs.Finding, wires *wire.Table) []string {
	var out []string
	for _, d := range match.Disagreements(req.toDomain().Remains, []match.Proposal{p}, wires) {
		if slices.ContainsFunc(said, func(s errs.Finding) bool { return s.Code == d.Code && slices.Equal(s.Fields, d.Fields) }) {
			continue
		}
		name := f.nameOf(d.Fields[0])
		unit := t.unitAfter(name)
		out = append(out, fmt.Sprintf(t["settle.unlike"], t.named(name), num(*d.Found)+unit, num(d.Expected.Value)+unit))
	}
	return out
}

// untold tells which of volts and hertz a proposal takes though nobody told them: volts, hertz, both or "".
func untold(req matchRequest, taken bundle.Nameplate) string {
	volts, hertz := taken.Voltage.Given, taken.Frequency.Given
	if s := req.Supply; s != nil {
		volts, hertz = volts && !s.Voltage.Given, hertz && !s.Frequency.Given
	}
	if n := req.Nameplate; n != nil {
		volts, hertz = volts && !n.Voltage.Given, hertz && !n.Frequency.Given
	}
	switch {
	case volts && hertz:
		return "both"
	case volts:
		return "volts"
	case hertz:
		return "hertz"
	}
	return ""
}

// hertzElse gives the frequency on site where the winding is for another; "" otherwise.
func hertzElse(site *bundle.Supply, plate bundle.Nameplate) string {
	if site == nil || !site.Frequency.Given || !plate.Frequency.Given || math.Abs(site.Frequency.Value/plate.Frequency.Value-1) < 0.05 {
		return ""
	}
	return site.Frequency.Digits()
}
