package match

import (
	"fmt"
	"math"
	"slices"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// plateAgainst is the likelihood ratio from which a figure of the plate speaks against the proposed record: ten times
// likelier on any machine of the catalogue than on that one ("strong evidence", Jeffreys, Theory of Probability, App. B).
const plateAgainst = 10

// plateFigure is a figure of the plate beside that of a record: its density if the record is right, with no slip
// thought of, and if nothing is known of the machine.
type plateFigure struct {
	field, unit string
	read        figure
	here, there float64
	have        float64 // ln of the record's figure
	known       bool
}

// plateDisagrees names the figures of the plate that speak against the record which the first proposal repeats: a
// misread plate, the plate of another machine, or a winding that is not listed.
func (x *Index) plateDisagrees(p *prepared, w *work, a *Answer) {
	if p.q.Nameplate == nil || len(a.Proposals) == 0 || a.Proposals[0].Basis.Method != methodRecord {
		return
	}
	at := slices.IndexFunc(w.recs, func(r recWeight) bool { return x.recIDs.at(r.rec) == a.Proposals[0].Basis.WindingIDs[0] })
	if at < 0 {
		return
	}
	for _, f := range x.plateFigures(p, &x.recs[w.recs[at].rec]) {
		if !f.read.given || !f.known || f.here*plateAgainst >= f.there {
			continue
		}
		found, have := roundFigure(math.Exp(f.read.ln)), threeFigures(math.Exp(f.have))
		a.Findings = append(a.Findings, errs.Finding{
			Code: "plate_disagrees", Severity: errs.SeverityWarning, Fields: []string{"nameplate." + f.field}, Found: &found, Expected: &errs.Expected{Value: have, Low: have, High: have},
			Message: fmt.Sprintf("%.4g %s on the nameplate speaks against the record that is proposed first, which has %.4g %[2]s: read it again, and ask whether the plate belongs to this machine", found, f.unit, have),
		})
	}
}

// brushSpeed is the multiple of the speed of two poles from which a plate speed is that of a motor with a commutator,
// which matching does not answer for (common practice, no source: mixers and drills run at 8,000 to 25,000 r/min).
const brushSpeed = 1.5

// fasterThanField names a plate speed that no induction motor has on its frequency: a slip, or a motor with a
// commutator. Where no frequency of the service is told, the one with more speed counts, 60 Hz; 1 % is left for a
// rounded speed.
func fasterThanField(n *winding.Nameplate, s *winding.Supply) []errs.Finding {
	if n == nil || !usable(n.Speed) {
		return nil
	}
	sound := func(f unit.Measured) bool {
		return usable(f) && f.Value >= winding.ServiceFrequencyLow && f.Value <= winding.ServiceFrequencyHigh
	}
	frequency := 60.0
	switch {
	case sound(n.Frequency):
		frequency = n.Frequency.Value
	case s != nil && sound(s.Frequency):
		frequency = s.Frequency.Value
	}
	v, most := n.Speed.Value, float64(winding.SynchronousSpeed(unit.Hertz(frequency), 2))
	if v <= 1.01*most {
		return nil
	}
	code, then := "speed_above_synchronous", "a motor with brushes and commutator (a mixer, a drill) is another machine, and no winding here is for it"
	if v > brushSpeed*most {
		code, then = "outside_service_range", "a motor with brushes and commutator (a mixer, a drill) gets wire answers only; no stator is named and no winding proposed"
	}
	return []errs.Finding{{
		Code: code, Severity: errs.SeverityWarning, Fields: []string{"nameplate.speed_rpm"}, Found: &v, Expected: &errs.Expected{Value: most, Low: 0, High: most},
		Message: fmt.Sprintf("a plate speed of %g r/min is above the %g r/min of two poles at %g Hz, and no induction motor runs so: correct it if it was mistyped; %s", v, most, frequency, then),
	}}
}

// plateFigures sets the figures of the plate beside those of a record.
func (x *Index) plateFigures(p *prepared, r *record) []plateFigure {
	pl := &p.plate
	typed := func(f figure) figure { f.slips = nil; return f }
	of := func(field, unit string, f figure, packed uint16, like func(*figure) float64, there float64) plateFigure {
		have, ok := unpackLog(packed)
		f = typed(f)
		return plateFigure{field, unit, f, like(&f), there, have, ok}
	}
	d := &x.designs[r.design]
	volts := plateFigure{field: "voltage_v", unit: "V", read: pl.volts, known: d.voltage > 0}
	if volts.known && pl.volts.given {
		f := typed(pl.volts)
		volts.have = math.Log(d.voltage)
		// Voltages of one class stand for one another: their chance is that of the class.
		volts.here, volts.there = voltAgree(&f, volts.have), x.voltShare(pl.volts.ln, d.phases)
		if math.Abs(pl.volts.ln-volts.have) < nearVolts {
			volts.there = 0
		}
	}
	return []plateFigure{
		volts,
		of("power_w", "W", pl.power, r.power, func(f *figure) float64 {
			return discrete(f, r.power, platePowerSame, pl.powerFrom, pl.powerTo, pl.powerShare)
		}, pl.powerShare),
		of("capacitor_uf", "µF", pl.cap, r.capacitor, func(f *figure) float64 {
			return discrete(f, r.capacitor, plateCapSame, pl.capFrom, pl.capTo, pl.capShare)
		}, pl.capShare),
		of("current_a", "A", pl.current, r.current, func(f *figure) float64 { return continuous(f, r.current, currentSD) }, wildDensity),
		of("speed_rpm", "rpm", pl.speed, r.speed, func(f *figure) float64 { return continuous(f, r.speed, speedSD) }, wildDensity),
	}
}

// voltShare is the share of a voltage among the windings of these phases in the catalogue, at least that of one of the
// thirty in use (see voltAgree).
func (x *Index) voltShare(ln float64, phases int) float64 {
	sum := 0.0
	for i := range x.designs {
		if d := &x.designs[i]; d.phases == phases && d.voltage > 0 && math.Abs(math.Log(d.voltage)-ln) < sameFigure {
			sum += x.model.design[i]
		}
	}
	return math.Max(sum, 1.0/30)
}

// threeFigures drops what the steps of the index add to a figure of a record.
func threeFigures(v float64) float64 {
	scale := math.Pow(10, 3-math.Ceil(math.Log10(v)))
	return math.Round(v*scale) / scale
}
