package httpapi

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"statorbook/internal/bundle"
	"statorbook/internal/stator"
)

// fact is a line of a table on a page. Name is a field's name, or a key of the text catalogue.
type fact struct{ Name, Text string }

// coreFields lists the dimensions of a core that are known, with their units.
func coreFields(c bundle.Core) []fact {
	facts := each(stator.Fields(c.ToDomain()), func(f stator.Field) fact {
		u, _ := unitOf(f.Name)
		return fact{f.Name, bundle.M{Measured: f.Value}.Digits() + " " + u.Label}
	})
	if r := c.SecondRing; r != nil && r.Slots != 0 {
		facts = append(facts, fact{"second_ring.slots", fmt.Sprint(r.Slots)})
	}
	return facts
}

// recordFacts lists what a record says besides core and coils, as far as it says anything.
func (t texts) recordFacts(w bundle.Winding) []fact {
	p, connection, liner := w.Nameplate, "", ""
	if p.Connection != "" {
		connection = t.name("choice", p.Connection)
	}
	if w.Liner != nil {
		liner = joined(" ", w.Liner.Material, quantity("mm", w.Liner.Thickness))
	}
	all := []fact{
		{"voltage", quantity("V", p.Voltage)}, {"frequency", quantity("Hz", p.Frequency)}, {"power", quantity("W", p.Power)}, {"current", quantity("A", p.Current)},
		{"speed", quantity("r/min", p.Speed)}, {"poles", count(int(max(p.Poles, w.Scheme.Poles)))}, {"class", p.InsulationClass}, {"duty", p.Duty},
		{"connection", connection}, {"cutout", w.ThermalCutout}, {"overhang", quantity("mm", w.OverhangLead, w.OverhangFar)}, {"coil", quantity("mm", w.CoilLength, w.CoilWidth)},
		{"liner", liner}, {"wedge", w.Wedge}, {"binding", w.Binding}, {"sleeving", w.Sleeving}, {"varnish", w.Varnish}, {"direction", w.Direction},
		{"viewing", w.ViewingEnd}, {"mark", w.Slot1Mark}, {"remarks", w.Remarks}, {"source", w.Source}, {"licence", w.Licence}, {"institute", w.Institute},
		{"seen", count(w.TimesSeen)}, {"revision", count(w.Revision)},
	}
	var said []fact
	for _, f := range all {
		if f.Text != "" {
			said = append(said, fact{"record." + f.Name, f.Text})
		}
	}
	return said
}

// quantity writes the figures that are given, each with the unit.
func quantity(unit string, list ...bundle.M) string {
	var parts []string
	for _, m := range list {
		if m.Given {
			parts = append(parts, m.Digits()+" "+unit)
		}
	}
	return strings.Join(parts, ", ")
}

func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// joined puts the parts that say something together.
func joined(by string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), by)
}

// band writes what a limit allows; "" where its figure says it all.
func (t texts) band(l limitView) string {
	text, after := "", ""
	switch {
	case l.Low != nil && l.High == nil && l.Value != nil && *l.Value == *l.Low: // a voltage to apply: "at least" would ask for more
		text, after = num(l.Low), t["test.no_more"]
	case l.Low != nil && l.High != nil && *l.Low == *l.High:
		text = num(l.Low)
	case l.Low != nil && l.High != nil:
		text = num(l.Low) + " – " + num(l.High)
	case l.Low != nil:
		text = fmt.Sprintf(t["test.at_least"], num(l.Low))
	case l.High != nil:
		text = fmt.Sprintf(t["test.at_most"], num(l.High))
	case l.Value != nil:
		text = num(l.Value)
	default:
		return ""
	}
	if l.Unit != "1" {
		text += " " + t.name("unit", l.Unit)
	}
	return text + after
}
