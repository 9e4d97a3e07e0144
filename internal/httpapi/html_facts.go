package httpapi

import (
	"fmt"

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
	var facts []fact
	add := func(name, text string) {
		if text != "" {
			facts = append(facts, fact{"record." + name, text})
		}
	}
	measured := func(name, unit string, list ...bundle.M) {
		text := ""
		for _, m := range list {
			if m.Given && text != "" {
				text += ", "
			}
			if m.Given {
				text += m.Digits() + " " + unit
			}
		}
		add(name, text)
	}
	count := func(name string, n int) {
		if n != 0 {
			add(name, fmt.Sprint(n))
		}
	}
	p := w.Nameplate
	measured("voltage", "V", p.Voltage)
	measured("frequency", "Hz", p.Frequency)
	measured("power", "W", p.Power)
	measured("current", "A", p.Current)
	measured("speed", "1/min", p.Speed)
	count("poles", int(max(p.Poles, w.Scheme.Poles)))
	add("class", p.InsulationClass)
	add("duty", p.Duty)
	if p.Connection != "" {
		add("connection", t.name("choice", p.Connection))
	}
	add("cutout", w.ThermalCutout)
	measured("overhang", "mm", w.OverhangLead, w.OverhangFar)
	measured("coil", "mm", w.CoilLength, w.CoilWidth)
	if w.Liner != nil {
		add("liner", w.Liner.Material)
		measured("liner", "mm", w.Liner.Thickness)
	}
	for _, f := range []fact{
		{"wedge", w.Wedge}, {"binding", w.Binding}, {"sleeving", w.Sleeving}, {"varnish", w.Varnish}, {"direction", w.Direction},
		{"viewing", w.ViewingEnd}, {"mark", w.Slot1Mark}, {"remarks", w.Remarks}, {"source", w.Source}, {"licence", w.Licence}, {"institute", w.Institute},
	} {
		add(f.Name, f.Text)
	}
	count("seen", w.TimesSeen)
	count("revision", w.Revision)
	return facts
}

// band writes what a limit allows; "" where its figure says it all.
func (t texts) band(l limitView) string {
	text := ""
	switch {
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
		text += " " + l.Unit
	}
	return text
}
