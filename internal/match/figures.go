package match

import (
	"fmt"
	"math"
	"strconv"

	"statorbook/internal/errs"
	"statorbook/internal/unit"
	"statorbook/internal/winding"
)

// figures adds what follows from a proposed scheme: fill, densities, current density, resistance,
// mass, capacitor. What cannot be computed stays away; a scheme that cannot lie in the core is a finding.
func (m *maker) figures() {
	in := winding.AnalysisInput{Core: m.core, Scheme: m.out.Scheme, Supply: supplyFor(m.p.q.Supply), MotorType: m.motorType()}
	plate := m.plateFor()
	in.Nameplate, m.out.Nameplate = &plate, plate
	a, err := winding.Analyse(in, m.x.wires)
	if err != nil {
		m.out.Findings = append(m.out.Findings, errs.Finding{Code: "layout_doubtful", Severity: errs.SeverityWarning, Fields: []string{"scheme"},
			Message: "the pattern of the record does not lie in this core as it stands: lay the coils out by hand and check slots and poles (" + err.Error() + ")"})
		return
	}
	m.out.Densities = a.Densities
	for _, f := range a.Findings {
		if f.Severity != errs.SeverityNote || f.Code == winding.CodeMouth {
			m.out.Findings = append(m.out.Findings, f)
		}
	}
	m.tellFill(&a)
	m.out.MeanTurns = make([]winding.KnownTurn, len(a.Roles))
	for i := range a.Roles {
		m.out.MeanTurns[i] = m.meanTurn(&a.Roles[i])
	}
	for i := range m.out.CoilSets {
		m.setFigures(&m.out.CoilSets[i], &a)
	}
	m.capacitor(&a)
}

// motorType is the kind of motor as told, else that of the record from which the pattern comes; "" if not known.
func (m *maker) motorType() string {
	if t := m.p.q.MotorType; t != "" && t != "unknown" {
		return t
	}
	if m.from >= 0 {
		if t := m.x.texts.motor.at(m.x.kindOf(&m.x.recs[m.from]).motor); t != "unknown" {
			return t
		}
	}
	return ""
}

// plateFor is the nameplate under which the proposal is judged: what was read, and what was assumed for it.
func (m *maker) plateFor() winding.Nameplate {
	var n winding.Nameplate
	if m.p.q.Nameplate != nil {
		n = *m.p.q.Nameplate
	}
	if m.design.voltage > 0 {
		n.Voltage = unit.Of(m.design.voltage)
	}
	if m.design.frequency > 0 {
		n.Frequency = unit.Of(m.design.frequency)
	}
	n.Poles = m.poles
	n.Connection = m.design.connection
	if m.from >= 0 && m.out.Basis.Method == methodRecord && !n.CapacitorUF.Given {
		if ln, ok := unpackLog(m.x.recs[m.from].capacitor); ok {
			n.CapacitorUF = unit.Of(round3(math.Exp(ln)))
		}
	}
	for _, f := range []*unit.Measured{&n.CapacitorUF, &n.Current, &n.Power, &n.Speed, &n.CapacitorV} {
		if !usable(*f) {
			*f = unit.Measured{}
		}
	}
	return n
}

// supplyFor is the supply on site, without what is no figure of use.
func supplyFor(s *winding.Supply) *winding.Supply {
	if s == nil {
		return nil
	}
	out := *s
	for _, f := range []*unit.Measured{&out.Voltage, &out.Frequency} {
		if !usable(*f) {
			*f = unit.Measured{}
		}
	}
	return &out
}

// round3 keeps three significant digits.
func round3(v float64) float64 {
	f, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	if err != nil {
		return v
	}
	return f
}

// setFigures copies the figures of one role; ranges follow the spread of turns and area, and what is not
// known of the mean turn and of the wire.
func (m *maker) setFigures(s *ProposedSet, a *winding.Analysis) {
	r := a.RoleOf(s.Role)
	if r == nil {
		return
	}
	spread := 0.0
	if !s.Role.IsPhase() && s.Role != winding.Main && m.out.Basis.Method != methodRecord {
		spread = m.x.model.aux.turns[m.rotor].sd
	}
	ends, wide := 1.0, math.Hypot(r.MeanTurnSpread, areaTolerance/2)
	if k := m.out.MeanTurns[r.Set]; k.Length > 0 {
		ends, wide = float64(k.Length / *r.MeanTurn), math.Hypot(k.Spread, areaTolerance/2)
	}
	if r.Resistance20 != nil {
		s.Resistance20 = m.around(float64(*r.Resistance20)*ends, func(q *point) float64 { return q.n - q.a }, math.Hypot(2*spread, wide))
	}
	if r.Mass != nil {
		s.Mass = m.around(float64(*r.Mass)*ends, func(q *point) float64 { return q.n + q.a }, math.Hypot(spread, wide))
	}
	if r.CurrentDensity != nil {
		j := float64(*r.CurrentDensity)
		s.CurrentDensity = &j
	}
	ring := r.Ring
	if ring == "" {
		ring = winding.RingGap
	}
	var fullest *winding.Fill
	for i := range a.Fill {
		f := &a.Fill[i]
		if f.Ring == ring && (fullest == nil || f.Fill.Copper > fullest.Copper) {
			fullest = &f.Fill
		}
	}
	if fullest != nil {
		f := *fullest
		s.Fill = &f
	}
}

// capacitor proposes the run capacitor of a single-phase winding: the plate's, the record's, or what
// such motors usually have, with the voltage that it bears at the highest supply.
func (m *maker) capacitor(a *winding.Analysis) {
	if m.design.phases != 1 || a.Capacitor == nil || !(a.Capacitor.Volts > 0) {
		return
	}
	c := CapacitorProposal{VoltageV: float64(a.Capacitor.Volts)}
	const toleranceLow, toleranceHigh = 0.95, 1.05 // run capacitors are sold to 5 % (common practice)
	switch uf, scaled := a.Capacitor.UF, m.scaledCapacitor(); {
	case uf != nil:
		v := float64(*uf)
		c.UF = unit.Range{P05: v * toleranceLow, P50: v, P95: v * toleranceHigh}
	case scaled > 0:
		c.UF = unit.Range{P05: scaled / capacitorSpread, P50: scaled, P95: scaled * capacitorSpread}
		m.out.Basis.Steps = append(m.out.Basis.Steps, fmt.Sprintf("capacitor as in record %s, scaled by 1/(f² N² D L); rough, choose it by a trial: balance of the currents, least hum, the auxiliary's heat", m.x.recIDs.at(uint32(m.from))))
	case a.Capacitor.PlausibleLow != nil && a.Capacitor.PlausibleHigh != nil:
		low, high := float64(*a.Capacitor.PlausibleLow), float64(*a.Capacitor.PlausibleHigh)
		c.UF = unit.Range{P05: low, P50: math.Sqrt(low * high), P95: high}
	default:
		return
	}
	m.out.Capacitor = &c
}

// capacitorSpread is how far a scaled capacitor may be off, as a factor (common practice, no source).
const capacitorSpread = 1.4

// scaledCapacitor is the run capacitor in µF of the record from which the pattern comes, scaled to the proposal: the
// reactance that balances goes with f·N²·D·L at one air gap, so the capacitance with 1/(f²·N²·D·L); on one core that is
// 1/N². 0 where the record has none, or for a motor that does not run on it.
func (m *maker) scaledCapacitor() float64 {
	if m.from < 0 || m.out.Basis.Method == methodRecord || m.motorType() != "permanent_split_capacitor" {
		return 0
	}
	rec := &m.x.recs[m.from]
	ln, ok := unpackLog(rec.capacitor)
	d := &m.x.designs[rec.design]
	was, turns := m.x.siteOf(m.x.coreOfRecord(m.from)), float64(m.x.series(rec.turnsMain))
	if !ok || !(turns > 0) || !(d.frequency > 0) || !(m.design.frequency > 0) {
		return 0
	}
	x := func(f, n, gap, stack float64) float64 { return f * f * n * n * gap * stack }
	uf := math.Exp(ln) * x(d.frequency, turns, was.v[dGap], was.stack) / x(m.design.frequency, math.Exp(m.box.n), m.core.GapDiameter.Value, m.core.StackLength.Value)
	if !(uf > 0) || math.IsInf(uf, 0) {
		return 0
	}
	return round3(uf)
}
